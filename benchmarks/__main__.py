"""Every benchmark, one after the other, as one run: ``python -m benchmarks [--peers] [NAME ...]``.

Each stores its figures under benchmarks/results with the same run number, so that docs/results.md
is made of one run and says when it is not.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime

from benchmarks.results import PROJECT, RUN_VARIABLE


@dataclass(frozen=True)
class Benchmark:
    """One benchmark.

    Attributes
    ----------
    name : str
        Its module, and the name of its results.
    minutes : float
        About how long it takes on two processors.
    peers : bool
        Whether it runs other detectors (group `bench` of pyproject.toml).
    out : bool
        Whether it is told where to write.
    """

    name: str
    minutes: float
    peers: bool = False
    out: bool = True


ALL = (
    Benchmark("musts", 1.5, out=False),
    Benchmark("scores", 2.0),
    Benchmark("alarms", 0.3),
    Benchmark("made_pauses", 1.2),
    Benchmark("child_breaths", 0.3),
    Benchmark("small_breaths", 1.7),
    Benchmark("breathing_rates", 0.5),
    Benchmark("replayed_faster", 0.3),
    Benchmark("matching", 1.5),
    Benchmark("recorded", 2.0),
    Benchmark("recorded_alarms", 0.3),
    Benchmark("two_leads", 0.5),
    Benchmark("nights", 5.0),
    Benchmark("pulsation", 4.0),
    Benchmark("clusters", 0.5),
    Benchmark("pause_rows", 0.8),
    Benchmark("handling", 0.3),
    Benchmark("apnea_opinions", 0.3),
    Benchmark("impedance_quality", 0.2),
    Benchmark("realism", 0.5),
    Benchmark("streams", 3.5),
    Benchmark("stream_faults", 9.0),
    Benchmark("simulate_day", 1.0),
    Benchmark("beats", 6.0, peers=True),
    Benchmark("second_source", 1.0, peers=True),
    Benchmark("selftest_peers", 4.0, peers=True),
)


def main(words: list[str] | None = None) -> int:
    """Run them; return 1 if one failed."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", help=f"some of {', '.join(b.name for b in ALL)}")
    parser.add_argument("--peers", action="store_true", help="those with other detectors too")
    told = parser.parse_args(words)
    known = {benchmark.name for benchmark in ALL}
    if unknown := sorted(set(told.names) - known):
        parser.error(f"there is no benchmark {', '.join(unknown)}")
    chosen = [b for b in ALL if (b.name in told.names if told.names else told.peers or not b.peers)]
    print(f"about {sum(b.minutes for b in chosen):.0f} min: {', '.join(b.name for b in chosen)}")
    environment = os.environ | {RUN_VARIABLE: datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")}
    failed = [benchmark.name for benchmark in chosen if not _run(benchmark, environment)]
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return int(bool(failed))


def _run(benchmark: Benchmark, environment: dict[str, str]) -> bool:
    """Run one in a process of its own; exit code 1 says that a bar is missed, and is stored."""
    command = [sys.executable, "-m", f"benchmarks.{benchmark.name}"]
    if benchmark.out:
        command += ["--out", f"benchmarks/results/{benchmark.name}.json"]
    begin = time.perf_counter()
    code = subprocess.run(command, cwd=PROJECT, env=environment, check=False).returncode  # noqa: S603
    print(f"{benchmark.name}: {time.perf_counter() - begin:.0f} s, exit code {code}", flush=True)
    return code in (0, 1)


if __name__ == "__main__":
    sys.exit(main())
