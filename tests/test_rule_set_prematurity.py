"""Finer NN et al., Pediatrics 2006;117:S47-51 (strict), Lim K et al., Front Pediatr 2020;8:570."""

import pytest
from rule_set_findings import breathing, heart, stored, told

from infantmon.events.rule_sets import ApneaOfPrematurity

SLOW = heart((106.0, 90.0, 6))


@pytest.mark.parametrize(
    ("length", "strict", "inclusive"), [(19.9, 0, 0), (20.0, 0, 1), (20.1, 1, 1)]
)
def test_a_long_pause_alone(length, strict, inclusive):
    """Longer than 20 s (strict), or 20 s or more (inclusive)."""
    given = stored(breaths=breathing((100.0, length)), beats=heart())
    assert len(ApneaOfPrematurity(strict=True).episodes(given)) == strict
    assert len(ApneaOfPrematurity(strict=False).episodes(given)) == inclusive


@pytest.mark.parametrize(
    ("length", "strict", "inclusive"), [(9.9, 0, 0), (10.0, 0, 1), (10.1, 1, 1)]
)
def test_a_shorter_pause_with_a_slow_heart(length, strict, inclusive):
    """Longer than 10 s, or 10 s or more, with a heart rate below 100."""
    given = stored(breaths=breathing((100.0, length)), beats=SLOW)
    assert len(ApneaOfPrematurity(strict=True).episodes(given)) == strict
    assert len(ApneaOfPrematurity(strict=False).episodes(given)) == inclusive


def test_a_shorter_pause_without_one_is_none():
    given = stored(breaths=breathing((100.0, 15.0)), beats=heart())
    assert told(ApneaOfPrematurity(strict=False).episodes(given)) == []


@pytest.mark.parametrize(("rate", "count"), [(100.0, 0), (99.0, 1)])
def test_exactly_100_a_minute_is_not_below(rate, count):
    given = stored(breaths=breathing((100.0, 12.0)), beats=heart((105.0, rate, 4)))
    assert len(ApneaOfPrematurity(strict=False).episodes(given)) == count


def test_its_lowest_rate_is_told():
    given = stored(breaths=breathing((100.0, 12.0)), beats=SLOW)
    (episode,) = ApneaOfPrematurity(strict=False).episodes(given).episodes
    assert episode.measures["lowest_bpm"] == pytest.approx(90.0)


def test_both_wordings_name_their_source():
    assert "Finer" in ApneaOfPrematurity(strict=True).source
    assert "Lim" in ApneaOfPrematurity(strict=False).source
