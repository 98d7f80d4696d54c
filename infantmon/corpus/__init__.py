"""Thousands of recordings: reviewed over any concurrent.futures executor, kept as Parquet.

>>> from infantmon.corpus import Settings, list_recordings, run_corpus, summarise
"""

from infantmon.corpus.cluster import dask_executor
from infantmon.corpus.dataset import TABLES, Dataset
from infantmon.corpus.listing import Listing, list_recordings
from infantmon.corpus.running import Report, local_pool, run_corpus
from infantmon.corpus.summary import Summary, summarise, write_summary
from infantmon.corpus.task import Outcome, ScoreSettings, Settings, Task
from infantmon.corpus.working import work

__all__ = [
    "TABLES",
    "Dataset",
    "Listing",
    "Outcome",
    "Report",
    "ScoreSettings",
    "Settings",
    "Summary",
    "Task",
    "dask_executor",
    "list_recordings",
    "local_pool",
    "run_corpus",
    "summarise",
    "work",
    "write_summary",
]
