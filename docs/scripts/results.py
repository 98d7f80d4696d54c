"""docs/results.md from benchmarks/results: every stored run, with what made it.

Each benchmark writes its figures as JSON and, from the same run, as Markdown. This page puts them
together; it computes nothing and holds no figure of its own. Run it after a benchmark::

    python docs/scripts/results.py
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
STORED = ROOT / "benchmarks" / "results"
PAGE = ROOT / "docs" / "results.md"

FIRST = ("musts", "scores")
"""Results that stand in front; the others follow in the order of their names."""

HEAD = """# Results

<!-- Made by docs/scripts/results.py from benchmarks/results; do not edit. -->

Research software. Figures hold for the recordings they name and say nothing of others. No recording
with labelled infant apneas could be had: apnea figures come from simulation and made pauses, beat
and breath figures mostly from adults. Each table says which population it shows, where its labels
come from, and whether a detector was tuned on it. Bars that are missed are listed with the rest.
"""
NOTHING = "\nNo stored run yet: `python -m benchmarks`\n"


def results_page(folder: Path = STORED) -> str:
    """Return the page for a folder of stored results."""
    stored = sorted(folder.glob("*.json"), key=_place)
    return HEAD + ("".join(_section(path) for path in stored) or NOTHING)


def _place(path: Path) -> tuple[int, str]:
    first = FIRST.index(path.stem) if path.stem in FIRST else len(FIRST)
    return first, path.stem


def _section(path: Path) -> str:
    facts = json.loads(path.read_text(encoding="utf-8"))
    beside = path.with_suffix(".md")
    if beside.is_file():
        body = _shifted(beside.read_text(encoding="utf-8"))
    else:
        title = path.stem.replace("_", " ").capitalize()
        body = f"## {title}\n\nOnly in `benchmarks/results/{path.name}`.\n"
    return f"\n{body.rstrip()}\n\n{_made_with(facts, path)}\n"


def _shifted(text: str) -> str:
    """Return Markdown with every heading one level lower; code blocks are left alone."""
    lines, in_code = [], False
    for line in text.splitlines():
        in_code ^= line.startswith("```")
        lines.append(f"#{line}" if line.startswith("#") and not in_code else line)
    return "\n".join(lines)


def _made_with(facts: Any, path: Path) -> str:
    run = facts.get("run") or facts.get("made_with") or {} if isinstance(facts, dict) else {}
    versions = run.get("versions", run)
    told = ", ".join(f"{name} {made}" for name, made in versions.items() if isinstance(made, str))
    if isinstance(run.get("made_at"), str):
        told = ", ".join(part for part in (told, f"on {run['made_at'][:16]}") if part)
    return f"*Stored in `benchmarks/results/{path.name}`{f'; made with {told}' if told else ''}.*"


def runs(folder: Path = STORED) -> dict[str, list[str]]:
    """Return which results belong to which run."""
    found: dict[str, list[str]] = {}
    for path in sorted(folder.glob("*.json")):
        facts = json.loads(path.read_text(encoding="utf-8"))
        run = facts.get("run", facts) if isinstance(facts, dict) else {}
        name = run.get("run_number") or f"by itself, {run.get('made_at', 'no time told')}"
        found.setdefault(str(name), []).append(path.stem)
    return found


def main(words: list[str] | None = None) -> int:
    """Write the page; refuse results of several runs unless asked for."""
    mixed = "--mixed" in (sys.argv[1:] if words is None else words)
    found = runs()
    if len(found) > 1 and not mixed:
        told = "; ".join(f"{run}: {', '.join(names)}" for run, names in found.items())
        sys.stderr.write(
            f"the stored results belong to {len(found)} runs ({told}). Make them in one: python -m "
            "benchmarks --peers; or say --mixed, and the page tells each one's own run.\n"
        )
        return 1
    PAGE.write_text(results_page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
