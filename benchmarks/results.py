"""What every stored result says of the run that made it, and how results are written."""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from infantmon.formats.files import write_whole
from infantmon.scoring.tallies import wilson_interval

RUN_VARIABLE = "INFANTMON_BENCHMARK_RUN"
"""Names the run that a result belongs to; set by `python -m benchmarks`."""
PROJECT = Path(__file__).parents[1]
CAUTION = (
    "Research software. These figures hold for these recordings and say nothing of others; most "
    "show adults. Labels are no more right than their origin."
)


def run_facts(packages: tuple[str, ...] = ("infantmon", "numpy", "scipy")) -> dict[str, Any]:
    """Return when, on what and with which versions a run was made."""
    return {
        "run_number": os.environ.get(RUN_VARIABLE),
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        "processors": os.cpu_count(),
        "versions": {name: _version(name) for name in packages},
        "commit": _git("rev-parse", "HEAD"),
        "changed_since_commit": bool(_git("status", "--porcelain", "--", "infantmon")),
        "caution": CAUTION,
    }


def share_of(count: int, of: int) -> dict[str, Any]:
    """Return a share with its 95 % Wilson interval, as it is stored."""
    interval = wilson_interval(count, of)
    ends = None if interval is None else [round(end, 4) for end in interval]
    return {"count": count, "of": of, "interval_95": ends}


def make_result(
    name: str,
    about: str | None,
    arguments: list[str] | None,
    rows: Callable[[], list[dict[str, Any]]],
    as_markdown: Callable[[dict[str, Any], list[dict[str, Any]]], str],
) -> int:
    """Run a benchmark that makes rows: measure, print, store; return 0.

    `about` is the module's docstring; `as_markdown` gets the run's facts and the rows.
    """
    parser = argparse.ArgumentParser(description=(about or "").partition("\n")[0])
    default = PROJECT / "benchmarks" / "results" / f"{name}.json"
    parser.add_argument("--out", type=Path, default=default, help="JSON file; Markdown beside it")
    told = parser.parse_args(arguments)
    found, run = rows(), run_facts()
    text = as_markdown(run, found)
    print(text)
    write_result(told.out, {"run": run, "rows": found}, text)
    return 0


def write_result(path: Path, result: dict[str, Any], markdown: str) -> None:
    """Write a result as JSON and, beside it, as Markdown; each file whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, json.dumps(result, indent=1, ensure_ascii=False) + "\n")
    write_whole(path.with_suffix(".md"), markdown)


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _git(*words: str) -> str | None:
    """Return what git says, or None where the tree is not under git."""
    command = ("git", "-C", str(PROJECT), *words)
    try:
        told = subprocess.run(command, capture_output=True, text=True, check=True)  # noqa: S603
    except (OSError, subprocess.CalledProcessError):
        return None
    return told.stdout.strip()
