"""A bench of published tests for this chain, or for any detector of heart beats.

>>> from infantmon import selftest
>>> len({trial.name for trial in selftest.TRIALS}) == len(selftest.TRIALS)
True
"""

from infantmon.selftest.bench import TRIALS, Bench, run_bench
from infantmon.selftest.row import FALLS_SHORT, NOT_RUN, PASS, Row
from infantmon.selftest.subject import ForeignDetector, OwnChain, Subject, load_detector

__all__ = [
    "FALLS_SHORT",
    "NOT_RUN",
    "PASS",
    "TRIALS",
    "Bench",
    "ForeignDetector",
    "OwnChain",
    "Row",
    "Subject",
    "load_detector",
    "run_bench",
]
