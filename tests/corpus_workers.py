"""What runs in processes of its own: a driver, and work that kills its worker.

Each process imports this file anew, so it imports no more than it needs.
"""

import os
from pathlib import Path

import infantmon as im
from infantmon import corpus
from infantmon.corpus.working import work
from infantmon.what_if import neighbours

PLAN = im.Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5})
SETTINGS = corpus.Settings(PLAN, tuple(neighbours(PLAN)), beats=True, breaths=True)


def drive(folder, out):
    """Review a folder in a pool of processes."""
    corpus.run_corpus(corpus.list_recordings(folder), SETTINGS, out)


def dies_on_poison(task):
    if "poison" in task.addresses[0]:
        os._exit(9)
    return work(task)


def dies_once(task):
    mark = Path(task.out) / "died-once"
    if "b" in Path(task.addresses[0]).stem and not mark.exists():
        mark.touch()
        os._exit(9)
    return work(task)
