"""The gallery: every example run, with its source, what it prints, and what it draws."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"

ORDER = (
    "review_a_night",
    "thresholds_on_a_stream",
    "score_a_detector",
    "other_limits",
    "recorded_events",
    "pulsation_in_an_apnea",
    "add_a_stage",
    "from_csv",
    "folder_of_recordings",
    "invented_case",
    "sum_up_downloads",
    "lab_streaming_layer",
)
"""The order in which they are shown; a new example stands at the end."""


NOT_RUN = ("lab_streaming_layer",)
"""Examples that need a package of their own: shown, but not run here; a test runs them."""

DRAWING = """
import json, runpy, sys
from infantmon.report.drawing import Drawing
path, kept = sys.argv.pop(1), sys.argv.pop(1)
names = runpy.run_path(path, run_name="__main__")
drawn = [(d.title, d.svg) for d in names.values() if isinstance(d, Drawing)]
open(kept, "w", encoding="utf-8").write(json.dumps(drawn))
"""
"""Runs an example and keeps what it drew; only for examples that draw."""


def names_in_order() -> list[str]:
    """Return the names of the examples in the order in which they are shown."""
    found = sorted(path.stem for path in EXAMPLES.glob("*.py"))
    return [name for name in ORDER if name in found] + [n for n in found if n not in ORDER]


def make_gallery(folder: Path) -> None:
    """Run every example and write a page for each."""
    folder.mkdir(parents=True, exist_ok=True)
    names = names_in_order()
    with ThreadPoolExecutor(max_workers=2) as pool:
        pages = pool.map(lambda name: _page(EXAMPLES / f"{name}.py", folder), names)
        for name, text in zip(names, pages, strict=True):
            (folder / f"{name}.md").write_text(text, encoding="utf-8")


def _page(path: Path, folder: Path) -> str:
    source = path.read_text(encoding="utf-8")
    said, drawings = "", list[tuple[str, str]]()
    if path.stem not in NOT_RUN:
        said, drawings = _run(path, folder, draws=".plot" in source or "draw_" in source)
    docstring, _, code = source[3:].partition('"""')
    title, _, more = docstring.strip().partition(":")
    first = more.strip()
    parts = [f"# {title.splitlines()[0].rstrip('.')}"]
    if first:
        parts.append(first[0].upper() + first[1:])
    for number, (told, svg) in enumerate(drawings, start=1):
        name = f"{path.stem}-{number}.svg"
        (folder / name).write_text(svg, encoding="utf-8")
        parts.append(f"```{{image}} {name}\n:alt: {told}\n```")
    parts += [f"`examples/{path.name}`", f"```python\n{code.strip()}\n```"]
    if said:
        parts += ["## What it prints", f"```text\n{said.strip()}\n```"]
    return "\n\n".join(parts) + "\n"


def _run(path: Path, folder: Path, *, draws: bool) -> tuple[str, list[tuple[str, str]]]:
    """Run an example; return what it printed, and title and text of what it drew."""
    kept = folder / f"{path.stem}.json"
    command = ["-c", DRAWING, str(path), str(kept)] if draws else [str(path)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise RuntimeError(f"{path} failed:\n{done.stderr}")
    drawn = json.loads(kept.read_text(encoding="utf-8")) if draws else []
    kept.unlink(missing_ok=True)
    return done.stdout, [(title, svg) for title, svg in drawn]
