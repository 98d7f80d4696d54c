"""The preterm segments: marks agree with the stored ones, and no event is invented.

Gee AH et al., IEEE Trans Biomed Eng 2017;64:2300-2308 (PICS database, infants 1 and 2). The stored
marks were made by a program. The bars are the project's own.
"""

import re

import pytest

from benchmarks.must_preterm import LOW_RATE_PLANS, run_segments

pytestmark = pytest.mark.recordings


@pytest.fixture(scope="module")
def segments(recordings):
    found = run_segments(recordings)
    assert len(found) == 10
    return found


def test_r_peaks_agree_at_99_percent_within_100_ms(segments):
    total = sum((found.beats for found in segments.values()), start=_none())
    assert total.reference_count > 3000
    assert total.sensitivity >= 0.99
    assert total.positive_predictivity >= 0.99


def test_breaths_agree_at_95_percent_within_half_a_second(segments):
    total = sum((found.breaths for found in segments.values()), start=_none())
    assert total.reference_count > 1300
    assert total.sensitivity >= 0.95
    assert total.positive_predictivity >= 0.95


def test_no_single_segment_is_far_off(segments):
    for name, found in segments.items():
        assert found.beats.f1 >= 0.98, name
        assert found.breaths.f1 >= 0.93, name


def test_no_apnea_is_reported_in_any_segment(segments):
    assert {name for name, found in segments.items() if found.apneas} == set()


@pytest.mark.parametrize("limits", [n for n in LOW_RATE_PLANS if n.startswith("80") and "5 s" in n])
def test_no_low_rate_is_reported_in_any_segment(segments, limits):
    assert [told for found in segments.values() for told in found.slow[limits]] == []


def test_without_a_hold_off_only_the_known_artefact_is_told_and_never_as_supported(segments):
    for limits in ("80 a minute, 8 beats, 0 s", "80 a minute, 1 beat, 0 s"):
        told = [t for found in segments.values() for t in found.slow[limits]]
        # an electrode artefact hides a beat at 85 to 87 s of infant2_segment0
        elsewhere = [t for t in told if not re.match(r"infant2_segment0 8[4-7]\.", t)]
        assert elsewhere == []
        assert [t for t in told if t.endswith("supported")] == []


def _none():
    from infantmon.scoring.tallies import Tally

    return Tally(0, 0, 0)
