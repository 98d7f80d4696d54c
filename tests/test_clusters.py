"""Apneas close to each other are judged by the breaths between them."""

import pytest

from benchmarks.clusters import judged, pauses_of
from benchmarks.judged_pauses import NOT_LISTED
from infantmon.model.event import SUPPORTED

SEED = 400


@pytest.mark.parametrize(
    ("between_s", "least_share"),
    [((5.0, 16.0), 1.0), ((2.5, 6.0), 0.98), ((1.5, 4.0), 0.98)],
)
def test_they_are_supported_and_so_are_the_slow_hearts_in_them(between_s, least_share):
    counts = judged(SEED, between_s)
    assert counts["apneas"] == len(pauses_of(SEED, between_s)) >= 50
    assert counts[NOT_LISTED] == counts["other"] == 0
    assert counts[SUPPORTED] >= least_share * counts["apneas"]
    assert counts["slow_supported"] == counts["slow"] >= 20
    assert counts["slow_elsewhere"] == 0
