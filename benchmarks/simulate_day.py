"""How long a simulated day takes to be written, and in how much memory, format by format.

python -m benchmarks.simulate_day --out benchmarks/results/simulate_day.json
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from benchmarks.results import run_facts, write_result
from infantmon.simulated_files import WRITERS

CHILD = """
import sys
from pathlib import Path
from infantmon.cli import main
code = main(sys.argv[1:])
# the high mark of this process alone; that of `resource` counts what it was forked from too
lines = Path("/proc/self/status").read_text().splitlines()
print(next(line.split()[1] for line in lines if line.startswith("VmHWM")))
sys.exit(code)
"""
HOURS = 24.0
LONGEST_S, MOST_MIB = 60.0, 300.0
PAUSES = 250


def scenario(hours: float) -> str:
    """Return a day as TOML: pauses all through it, a loose electrode, movement, missing samples."""
    lines = [f"duration_s = {3600.0 * hours}", "ecg_hz = 250", "impedance_hz = 62.5", "seed = 7"]
    lines += ["[infant]", "age_months = 1"]
    every = 3600.0 * hours / (PAUSES + 1)
    for number in range(PAUSES):
        lines += ['[[event]]\nkind = "pause"', f"onset_s = {100.0 + number * every:.1f}"]
        lines += [f"length_s = {5 + number % 20}"]
    for kind, start_s, length_s in (
        ("loose electrode", 0.1, 100.0),
        ("missing samples", 0.2, 10.5),
        ("movement", 0.3, 300.0),
    ):
        lines += [f'[[event]]\nkind = "{kind}"', f"start_s = {start_s * 3600.0 * hours:.1f}"]
        lines += [f"length_s = {length_s}"]
    return "\n".join(lines) + "\n"


def timed(form: str, hours: float, folder: Path) -> dict[str, Any]:
    """Run the command for one format; return seconds, memory and bytes written."""
    told = folder / "day.toml"
    told.write_text(scenario(hours), encoding="utf-8")
    out = folder / form
    command = [sys.executable, "-c", CHILD, "simulate", str(told), "--out", str(out)]
    begin, before = time.monotonic(), os.times()
    done = subprocess.run(  # noqa: S603
        [*command, "--format", form], capture_output=True, text=True, check=True
    )
    after = os.times()
    spent_s = after.children_user + after.children_system
    spent_s -= before.children_user + before.children_system
    return {
        "format": form,
        "seconds": round(time.monotonic() - begin, 1),
        "processor_s": round(spent_s, 1),
        "mib": round(int(done.stdout.split()[-1]) / 1024.0, 0),
        "written_mb": round(sum(path.stat().st_size for path in out.iterdir()) / 1e6, 1),
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result for people."""
    facts = result["run"]
    lines = ["# A simulated day written to disk", ""]
    lines += [f"{result['hours']:g} h at 250 and 62.5 Hz, the whole command; bar: {LONGEST_S:g} s"]
    lines += [f"and {MOST_MIB:g} MiB. Made {facts['made_at']} on {facts['processors']} processors"]
    lines += [f"shared with other work, at commit {str(facts['commit'])[:12]}.", ""]
    lines += ["| format | s | processor s | MiB | MB written |", "|---|---|---|---|---|"]
    lines += [f"| {' | '.join(str(cell) for cell in row.values())} |" for row in result["rows"]]
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True, help="where the JSON is written")
    parser.add_argument("--hours", type=float, default=HOURS)
    options = parser.parse_args(arguments)
    rows = []
    for form in WRITERS:
        with tempfile.TemporaryDirectory() as folder:
            rows.append(timed(form, options.hours, Path(folder)))
        print(rows[-1], flush=True)
    result = {"run": run_facts(), "hours": options.hours, "rows": rows}
    write_result(options.out, result, as_markdown(result))
    return 0


if __name__ == "__main__":
    sys.exit(main())
