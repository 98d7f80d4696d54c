"""The house stands: imports only go down, and the folders are where the guide says."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SIGNALS = (
    *(".npz", ".npy", ".mat", ".edf", ".bdf", ".dat", ".hea", ".atr"),
    *(".parquet", ".xz", ".gz", ".zip", ".pkl"),
)


def test_imports_only_go_down():
    """Layers, independence of the stages, independence of the simulator (pyproject.toml)."""
    script = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([script], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:]
    assert "0 broken" in done.stdout


def test_the_guide_names_every_room():
    guide = (ROOT / "DEVELOPERS.md").read_text()
    for entry in (ROOT / "infantmon").iterdir():
        name = entry.name + "/" * entry.is_dir()
        if entry.name.startswith("__") or entry.name == "py.typed":
            continue
        assert f"`{name}`" in guide, f"{name} is not in DEVELOPERS.md"


def test_no_signal_data_is_tracked():
    """Not even marks found in a recording: what the project made lies in words and tables."""
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("no git repository here")
    done = subprocess.run([git, "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    tracked = done.stdout.splitlines()
    assert "README.md" in tracked
    assert [name for name in tracked if name.endswith(SIGNALS)] == []


def test_links_lead_somewhere():
    for page in [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text()):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"
