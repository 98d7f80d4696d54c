"""Work that kills its worker: always, or only the first time that it is tried."""

import os
from pathlib import Path

from infantmon.corpus.working import work


def dies_on_poison(task):
    if "poison" in task.address:
        os._exit(9)
    return work(task)


def dies_once(task):
    mark = Path(task.out) / "died-once"
    if "b" in Path(task.address).stem and not mark.exists():
        mark.touch()
        os._exit(9)
    return work(task)
