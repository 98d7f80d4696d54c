"""Any recording out and in again: every sample at its time, whatever the pieces and the rates."""

import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from infantmon.formats import read, write_csv, write_edf, write_wfdb
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording

RATES = [(250.0, 50.0), (500.0, 125.0), (62.5, 250.0), (100.0, 100.0), (128.2, 64.1)]


@st.composite
def channels(draw, rate_hz, name, unit):
    """A channel of pieces with holes between them and invalid samples in them."""
    pieces, tick = [], draw(st.integers(0, 60))
    values = np.random.default_rng(draw(st.integers(0, 99))).normal(size=4000)
    for number in range(draw(st.integers(1, 4))):
        length = draw(st.integers(40, 300))
        piece = values[number * 1000 : number * 1000 + length].copy()
        piece[draw(st.lists(st.integers(0, length - 1), max_size=3))] = math.nan
        pieces.append((tick / rate_hz, piece))
        tick += length + draw(st.integers(0, 400))
    return Channel.joined(pieces, rate_hz, unit, name)


@st.composite
def any_recording(draw):
    ecg_hz, impedance_hz = draw(st.sampled_from(RATES))
    return {
        "ecg": draw(channels(ecg_hz, "II", "mV")),
        "impedance": draw(channels(impedance_hz, "RESP", "ohm")),
    }


def by_time(channel):
    """Time of each finite sample, rounded to a microsecond, with its value."""
    told = {}
    for segment in channel.segments:
        for k in np.flatnonzero(np.isfinite(segment.values)):
            told[round((segment.first_tick + int(k)) / channel.rate_hz, 6)] = segment.values[k]
    return told


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
@given(before=any_recording())
@settings(max_examples=40, deadline=None)
def test_every_finite_sample_comes_back_at_its_time_and_no_other(form, before):
    starts, ends = zip(*((c.start_s, c.end_s) for c in before.values()), strict=True)
    if max(starts) >= min(ends):
        return  # channels that do not overlap are no recording
    recording = Recording(before)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        if form == "wfdb":
            write_wfdb(recording, folder, "a")
        else:
            (write_csv if form == "csv" else write_edf)(recording, folder / f"a.{form}")
        again = read(folder / ("a" if form == "wfdb" else f"a.{form}"))
    frame_s = 1 / min(c.rate_hz for c in before.values())
    shift = math.floor(min(starts) / frame_s + 1e-9) * frame_s if form == "csv" else 0.0
    for role, channel in before.items():
        assert again.channels[role].rate_hz == channel.rate_hz
        told, expected = by_time(again.channels[role]), by_time(channel)
        assert len(told) == len(expected)
        np.testing.assert_allclose(np.array(list(told)) + shift, list(expected), rtol=0, atol=2e-6)
        span = max(expected.values()) - min(expected.values())
        off = np.array(list(told.values())) - np.array(list(expected.values()))
        assert np.max(np.abs(off)) <= (0.0 if form == "csv" else 0.501 * span / 65520 + 1e-6)
