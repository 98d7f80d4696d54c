"""Recordings in and out: WFDB, EDF, CSV, Parquet."""

from infantmon.formats.reading import read, read_csv, read_parquet
from infantmon.formats.writing import write_csv, write_edf, write_parquet, write_wfdb

__all__ = [
    "read",
    "read_csv",
    "read_parquet",
    "write_csv",
    "write_edf",
    "write_parquet",
    "write_wfdb",
]
