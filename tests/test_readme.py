"""What the README, the tour and the examples show runs as shown."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SNIPPETS = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(), flags=re.DOTALL)
OTHER_PACKAGES = ("lab_streaming_layer",)  # has a test of its own, beside what it needs
EXAMPLES = sorted(
    path for path in (ROOT / "examples").glob("*.py") if path.stem not in OTHER_PACKAGES
)


def run(arguments, folder):
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error"}
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_one_snippet_for_each_caller():
    assert len(SNIPPETS) == 3


@pytest.mark.parametrize("snippet", SNIPPETS, ids=["notebook", "stream", "scoring"])
def test_snippet_runs_and_says_something(snippet, tmp_path):
    done = run(["-c", snippet], tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


def test_the_tour_runs_as_it_stands(tmp_path):
    tour = (ROOT / "docs" / "tour.md").read_text()
    (limits,) = re.findall(r"```toml\n# limits.toml\n(.*?)```", tour, flags=re.DOTALL)
    (tmp_path / "limits.toml").write_text(limits)
    done = run(["-c", "".join(re.findall(r"```python\n(.*?)```", tour, flags=re.DOTALL))], tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].startswith("2 0 ")  # both true apneas, found
    assert (tmp_path / "review.html").exists()
    command = re.search(r"    infantmon (review night.edf .*)", tour)[1]
    done = run(["-m", "infantmon", *command.split()], tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "review" / "review.html").exists()


def test_what_the_page_on_streams_shows_runs(tmp_path):
    page = (ROOT / "docs" / "streaming.md").read_text()
    source, stored = re.findall(r"```python\n(.*?)```", page, flags=re.DOTALL)
    done = run(["-c", source], tmp_path)
    assert done.returncode == 0, done.stderr
    assert "signal unusable, 5.50 s after its onset" in done.stdout
    assert "apnea, 23.26 s after its onset" in done.stdout
    assert "'impedance': 10.0" in done.stdout
    done = run(["-c", stored], tmp_path)
    assert done.returncode == 0, done.stderr
    assert "overwritten, the oldest first" in done.stdout
    assert (tmp_path / "stored.json").exists()


def test_the_front_page_of_the_docs_links_every_page():
    """README leads there; on a host of repositories the hidden menu is not seen."""
    docs = ROOT / "docs"
    front = (docs / "index.md").read_text()
    others = {"index.md", "gallery-head.md", "developers.md"}  # parts, and for contributors
    pages = {path.name for path in docs.glob("*.md")} - others
    assert {name for name in pages if f"({name})" not in front} == set()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_example_runs_and_says_something(example, tmp_path):
    done = run([str(example)], tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()
    assert not list(tmp_path.iterdir()), "an example leaves files behind"
