"""Recordings in and out: WFDB, EDF, CSV."""

from infantmon.formats.reading import read, read_csv
from infantmon.formats.writing import write_csv, write_edf, write_wfdb

__all__ = ["read", "read_csv", "write_csv", "write_edf", "write_wfdb"]
