"""How like real infants the invented one is: published figures, and the preterm segments."""

import numpy as np
import pytest

from benchmarks import realism
from infantmon import simulate as sim
from infantmon.simulate.ages import RATES, rates_at

STILL = sim.EcgChannel(noise_mv=0.0, wander_mv=0.0)


@pytest.mark.parametrize("months", [0.0, 1.0, 4.0, 8.0, 11.0])
def test_rates_of_a_night_lie_between_the_published_centiles(months):
    """Fleming et al., Lancet 2011;377:1011-1018: between the 25th and the 75th centile."""
    scenario = sim.Scenario(
        3600.0, 250.0, 62.5, heart=sim.heart_at(months), breathing=sim.breathing_at(months)
    )
    truth = sim.InventedInfant(scenario, 4).truth
    row = rates_at(months)
    assert row.heart_bpm[2] <= 60.0 / np.median(np.diff(truth.beat_s)) <= row.heart_bpm[4]
    breathing = 60.0 / np.median(np.diff(truth.breath_s))
    assert row.breathing_per_min[2] <= breathing <= row.breathing_per_min[4]


def test_the_published_table_is_the_one_printed():
    """Medians at birth and 0-3, 3-6, 6-9, 9-12, 12-18, 18-24, 24-36 months."""
    assert [row.heart_bpm[3] for row in RATES] == [127, 143, 140, 134, 128, 123, 116, 110]
    assert [row.breathing_per_min[3] for row in RATES] == [43, 43, 41, 39, 37, 35, 31, 28]


def wave_edges(ecg, rate, at_s, low_s, high_s, share):
    """Return begin and end (s from R) of the wave around its top between two times from R."""
    first, last = (round((at_s + edge) * rate) for edge in (low_s, high_s))
    part = ecg[first:last]
    above = np.flatnonzero(np.abs(part) > share * np.max(np.abs(part)))
    return (above[0] + first) / rate - at_s, (above[-1] + first) / rate - at_s


def test_intervals_of_the_ecg_are_a_newborns():
    """QRS 40 +- 10 ms (another series 50 to 53), PR 90 +- 20, QT 260 +- 20: abstracts, n = 364.

    Edges are taken where a wave has 2 % (QRS) or 10 % (P, T) of its height, so within twice the
    published deviation.
    """
    rate = 2000.0
    steady = sim.Heart(120.0, 0.0, 0.0, 0.0)
    scenario = sim.Scenario(20.0, rate, 50.0, heart=steady, ecg=STILL, lead=sim.newborn_lead())
    made = sim.InventedInfant(scenario, 1)
    ecg = made.night().recording.channels["ecg"].segments[0].values
    at_s = made.truth.beat_s[10]
    q, s = wave_edges(ecg, rate, at_s, -0.03, 0.035, 0.02)
    p, _ = wave_edges(ecg, rate, at_s, -0.16, -0.035, 0.1)
    _, t = wave_edges(ecg, rate, at_s, 0.06, 0.35, 0.1)
    assert 0.020 <= s - q <= 0.060
    assert 0.050 <= q - p <= 0.130
    assert 0.220 <= t - q <= 0.300


@pytest.mark.recordings
def test_the_invented_infant_is_like_the_preterm_segments(recordings, monkeypatch):
    """The median of ten invented infants lies within half to twice what ten segments range over.

    The pulsation is left out: it is stronger on purpose.
    """
    monkeypatch.setenv("INFANTMON_RECORDINGS", str(recordings))
    real = [realism.measured(marked) for marked in realism.recorded()]
    made = [realism.measured(marked) for marked in realism.invented()]
    assert len(real) == 10
    for measure in realism.MEASURES:
        if measure.name.startswith("pulsation") or measure.name.endswith("10 Hz"):
            continue
        values = [one[measure.name] for one in real]
        median = np.median([one[measure.name] for one in made])
        if measure.name == "ECG power in 45 to 100 Hz":  # white noise, set apart from the segments'
            assert median < 0.05
        else:
            assert 0.5 * min(values) <= median <= 2.0 * max(values), measure.name
