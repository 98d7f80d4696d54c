"""What `import infantmon` costs beside `import numpy, scipy.signal`: fresh processes by turns."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from dataclasses import dataclass

HEAVY = ("wfdb", "pandas", "matplotlib")
"""What importing the package must not load."""
MOST = 2.5
"""The most that it may cost, as a multiple of the yardstick in the same run."""
YARDSTICK = "import numpy, scipy.signal"
PACKAGE = "import infantmon"
EVERY_NAME = "import infantmon as im; [getattr(im, name) for name in im.__all__]"


@dataclass(frozen=True)
class ImportCost:
    """Medians over alternating runs, in seconds.

    Attributes
    ----------
    yardstick_s, package_s, every_name_s : float
        Of numpy and scipy.signal, of the package, and of the package with every public name used.
    """

    yardstick_s: float
    package_s: float
    every_name_s: float

    @property
    def ratio(self) -> float:
        """The package's cost as a multiple of the yardstick."""
        return self.package_s / self.yardstick_s

    @property
    def ratio_of_every_name(self) -> float:
        """The same with every public name used."""
        return self.every_name_s / self.yardstick_s


def loaded_by(code: str) -> list[str]:
    """Return which of the heavy packages a fresh process has loaded after some code."""
    ask = f"{code}; import sys; print(*[n for n in {HEAVY!r} if n in sys.modules])"
    run = subprocess.run([sys.executable, "-c", ask], check=True, capture_output=True, text=True)  # noqa: S603
    return run.stdout.split()


def measure_import(rounds: int = 5) -> ImportCost:
    """Measure in fresh processes that take turns, after one round that is not counted."""
    return ImportCost(*median_times_s((YARDSTICK, PACKAGE, EVERY_NAME), rounds))


def median_times_s(codes: tuple[str, ...], rounds: int) -> list[float]:
    """Return the median wall time of fresh processes that run some code, in seconds."""
    times_s: dict[str, list[float]] = {code: [] for code in codes}
    for number in range(rounds + 1):
        for code, found in times_s.items():
            started = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True)  # noqa: S603
            if number:
                found.append(time.perf_counter() - started)
    return [statistics.median(found) for found in times_s.values()]
