"""Periodic breathing as AASM, NIH 1986, a clinical handbook and an encyclopaedia have it.

AASM: three pauses or more, each longer than 3 s, 20 s of breathing or less between. NIH Consensus
Statement 1986 (from memory): longer than 3 s, less than 20 s. 5-Minute Pediatric Consult: 3 s or
more, less than 20 s. An encyclopaedic entry: 4 s or more, 30 s or less.
"""

import pytest
from rule_set_findings import breathing, stored, told

from infantmon.events.rule_sets import PAUSE_ROWS


def row(count, length, gap, start=100.0):
    return [(start + k * (length + gap), length) for k in range(count)]


def found(variant, pauses, **more):
    breaths = breathing(*pauses, interval=0.5)
    return told(PAUSE_ROWS[variant].episodes(stored(breaths=breaths, **more)))


@pytest.mark.parametrize("variant", ["sleep scoring", "consensus statement", "clinical handbook"])
@pytest.mark.parametrize(("count", "events"), [(2, 0), (3, 1), (6, 1)])
def test_three_pauses_or_more(variant, count, events):
    assert len(found(variant, row(count, 5.0, 10.0))) == events


@pytest.mark.parametrize(
    ("variant", "at_3_s"),
    [("sleep scoring", 0), ("consensus statement", 0), ("clinical handbook", 1)],
)
def test_exactly_3_s_counts_in_one_wording_only(variant, at_3_s):
    assert len(found(variant, row(3, 3.0, 10.0))) == at_3_s
    assert len(found(variant, row(3, 3.1, 10.0))) == 1
    assert len(found(variant, row(3, 2.9, 10.0))) == 0


@pytest.mark.parametrize(
    ("variant", "at_20_s"),
    [("sleep scoring", 1), ("consensus statement", 0), ("clinical handbook", 0)],
)
def test_exactly_20_s_apart_counts_in_one_wording_only(variant, at_20_s):
    assert len(found(variant, row(3, 5.0, 20.0))) == at_20_s
    assert len(found(variant, row(3, 5.0, 19.5))) == 1
    assert len(found(variant, row(3, 5.0, 20.5))) == 0


@pytest.mark.parametrize(
    ("length", "gap", "events"), [(4.0, 30.0, 1), (3.9, 30.0, 0), (4.0, 30.5, 0)]
)
def test_longer_pauses_further_apart(length, gap, events):
    assert len(found("longer pauses", row(2, length, gap))) == events


def test_a_row_does_not_reach_over_an_unusable_stretch():
    pauses = row(4, 5.0, 10.0)
    assert len(found("sleep scoring", pauses)) == 1
    assert found("sleep scoring", pauses, unusable=[(122.0, 125.0)]) == []


def test_what_a_row_measures():
    breaths = breathing(*row(3, 5.0, 10.0), interval=0.5)
    (episode,) = PAUSE_ROWS["sleep scoring"].episodes(stored(breaths=breaths)).episodes
    assert episode.measures["pauses"] == 3
    assert episode.measures["time_in_pauses_s"] == pytest.approx(15.0)
    assert (episode.start_s, episode.length_s) == (100.0, pytest.approx(35.0))


def test_every_variant_names_its_source():
    assert all(variant.source for variant in PAUSE_ROWS.values())
