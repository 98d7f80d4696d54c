"""The median of the latest values, against a loop."""

import numpy as np
import pytest

from infantmon.dsp.latest_median import LatestMedian


def slow_twin(values, count):
    course = []
    for k in range(len(values) + 1):
        latest = values[max(0, k - count) : k]
        course.append(float(np.median(latest)) if len(latest) else 0.0)
    return course


@pytest.mark.parametrize("count", [1, 2, 5, 8])
@pytest.mark.parametrize("size", [1, 3, 50, 300])
def test_equals_its_slow_twin_however_cut(count, size):
    values = np.random.default_rng(count).standard_normal(700)
    latest, course = LatestMedian(count), [0.0]
    for start in range(0, 700, size):
        some = values[start : start + size]
        ahead = latest.course(some)
        assert ahead[0] == course[-1]
        course.extend(ahead[1:].tolist())
        latest.push(some)
    assert course == slow_twin(values, count)
    assert len(latest) == count
    latest.clear()
    assert latest.course(values[:0]).tolist() == [0.0]
