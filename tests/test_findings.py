"""Tables of findings: cut, empty, and columns that do not fit."""

import math

import numpy as np
import pytest

from infantmon.errors import ArgumentError
from infantmon.model.marks import RPeaks


def peaks(count):
    time_s = np.arange(float(count))
    reliable = np.ones(count, dtype=np.bool_)
    return RPeaks(time_s, time_s + 1.0, np.arange(count), time_s, reliable, settled_until_s=7.0)


def test_rows_are_cut_and_all_of_them_are_the_table_itself():
    found = peaks(5)
    assert found.rows(1, 3).time_s.tolist() == [1.0, 2.0]
    assert found.rows(1, 3).settled_until_s == 7.0
    assert found.rows(0, 5) is found.rows(0, 9) is found
    assert found.rows(0, 4).equals(peaks(4))


def test_empty_tables_keep_the_type_of_each_column_and_say_how_far_they_go():
    assert RPeaks.empty().settled_until_s == math.inf
    assert RPeaks.empty(3.0).settled_until_s == 3.0
    for empty in (RPeaks.empty(), RPeaks.empty(3.0), peaks(2).rows(0, 0)):
        assert len(empty) == 0
        types = [getattr(empty, name).dtype for name in RPeaks.columns()]
        assert types == [getattr(peaks(1), name).dtype for name in RPeaks.columns()]


def test_columns_of_another_length_are_refused_by_name():
    with pytest.raises(ArgumentError, match=r"'time_s': 2, 'known_s': 3, .*pass equal lengths"):
        RPeaks(np.zeros(2), np.zeros(3), np.zeros(2, np.int64), np.zeros(2), np.ones(2, np.bool_))
