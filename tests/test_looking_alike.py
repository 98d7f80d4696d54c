"""How benchmarks count what looks like a pause, or like a row of pauses."""

from types import SimpleNamespace

import numpy as np
import pytest

from benchmarks.pause_rows import _best
from benchmarks.small_breaths import _back_after, _breathless


def test_breathing_is_back_with_the_first_of_three_breaths_within_20_s():
    assert _back_after(np.array([3.0, 40.0, 45.0, 59.0, 63.0]), 100.0) == 40.0
    assert _back_after(np.array([3.0, 40.0]), 100.0) == 100.0


@pytest.mark.parametrize(("end_s", "real"), [(40.0, False), (75.0, True), (None, True)])
def test_an_apnea_is_real_where_somebody_saw_20_s_without_a_breath(end_s, real):
    marks = np.array([*np.arange(0.0, 60.0, 3.0), *np.arange(80.0, 120.0, 3.0)])
    assert _breathless(marks, 15.0, end_s) == real


def test_the_best_that_is_said_of_a_stretch_counts_and_a_touch_is_none():
    listed = [
        SimpleNamespace(onset_s=10.0, end_s=30.0, judgement="doubtful"),
        SimpleNamespace(onset_s=40.0, end_s=60.0, judgement="supported"),
    ]
    assert _best(listed, 0.0, 44.0) == "doubtful"
    assert _best(listed, 0.0, 46.0) == "supported"
    assert _best(listed, 61.0, 90.0) == "not listed"
