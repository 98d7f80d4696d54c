"""Rows of pauses: periodic breathing is supported, shallow breathing and long silences are not."""

from __future__ import annotations

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim

LIMITS = im.Prescription(periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20})


def rows(*happen, seed=1, pulsation=0.3, ecg=True, length_s=400.0):
    """What is listed as periodic breathing."""
    scenario = sim.Scenario(
        length_s, 250.0, 62.5, pulsation=sim.PulsationByPhase(pulsation), events=happen
    )
    recording = sim.simulate_night(scenario, seed).recording
    if not ecg:
        recording = im.Recording({"impedance": recording.impedance})
    return im.review(recording, LIMITS).events.of_kind("periodic breathing")


def side_of(event, words):
    (side,) = [reason.side for reason in event.reasons if words in reason.text]
    return side


@pytest.mark.parametrize("ecg", [True, False])
@pytest.mark.parametrize("pulsation", [0.1, 0.5])
def test_pauses_in_a_row_are_supported_with_an_ecg_and_without(pulsation, ecg):
    pauses = [sim.Pause(60.0 + 18.0 * n, 5.0 + 0.5 * n) for n in range(8)]
    (row,) = rows(*pauses, pulsation=pulsation, ecg=ecg)
    assert row.judgement == "supported"
    assert side_of(row, "of a breath were left in its pauses") == "for"


@pytest.mark.parametrize("ecg", [True, False])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_breathing_that_is_shallow_again_and_again_is_doubtful(seed, ecg):
    shallow = [sim.ShallowBreathing(60.0 + 18.0 * n, 7.0, 0.25) for n in range(8)]
    listed = rows(*shallow, seed=seed, ecg=ecg)
    assert listed
    for row in listed:
        assert row.judgement == "doubtful"
        assert side_of(row, "effort may have gone on") == "against"


def test_long_shallow_breathing_that_counts_in_part_is_doubtful():
    listed = [
        row for seed in range(6) for row in rows(sim.ShallowBreathing(60.0, 120.0, 0.3), seed=seed)
    ]
    assert listed
    assert {row.judgement for row in listed} == {"doubtful"}
    assert any("were shallow" in reason.text for row in listed for reason in row.reasons)


def test_a_pause_of_more_than_a_minute_is_none_of_periodic_breathing():
    pauses = [sim.Pause(60.0, 6.0), sim.Pause(78.0, 6.0), sim.Pause(96.0, 80.0)]
    (row,) = rows(*pauses)
    assert row.judgement == "doubtful"
    assert side_of(row, "those of periodic breathing are short") == "against"
    (shorter,) = rows(*pauses[:2], sim.Pause(96.0, 55.0))
    assert shorter.judgement == "supported"


def test_pauses_too_short_to_look_into_say_so_beside():
    pauses = [sim.Pause(60.0 + 12.0 * n, 3.2) for n in range(8)]
    listed = rows(*pauses)
    assert listed
    told = [r.side for row in listed for r in row.reasons if "too short to see" in r.text]
    assert "beside" in told


def test_noise_where_no_infant_is_connected_is_no_periodic_breathing():
    """Brown noise for half an hour, in ohm of a usual level: no contact is lost, nothing beats."""
    night = sim.simulate_night(sim.Scenario(300.0, 250.0, 62.5), 3).recording
    draw = np.random.default_rng(1)
    walk = np.cumsum(draw.standard_normal(round(1800 * 62.5)))
    walk -= np.convolve(walk, np.full(625, 1 / 625), "same")
    z = night.impedance.segments[0].values
    alone = im.Channel(np.concatenate((z, z[-1] + 0.1 * walk / walk.std())), 62.5, "ohm")
    listed = im.review(im.Recording({"impedance": alone}), LIMITS).events
    assert [e.judgement for e in listed.of_kind("periodic breathing")]
    assert "supported" not in {e.judgement for e in listed.of_kind("periodic breathing")}
