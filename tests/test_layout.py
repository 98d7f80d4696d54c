"""The house stands: imports only go down, and the folders are where the guide says."""

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


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


def test_links_lead_somewhere():
    for page in [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text()):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"
