"""Samples equal to those of wfdb and pyedflib, sample for sample, on the shared recordings."""

import numpy as np
import pytest
from format_files import edf_file

from infantmon.formats import read
from infantmon.formats.reading import open_source
from infantmon.formats.wfdb_files import wfdb_package

WFDB_FOLDERS = ("mitdb", "nstdb", "aami-ec13", "challenge2015", "mimicdb")


def samples(channel):
    return np.concatenate([segment.values for segment in channel.segments])


@pytest.mark.recordings
@pytest.mark.parametrize("folder", WFDB_FOLDERS)
def test_every_wfdb_record_equals_what_the_wfdb_package_gives(recordings, folder, monkeypatch):
    """Every signal of every record, read block by block; NaN at the same places."""
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", 0)
    headers = sorted((recordings / folder).rglob("*.hea"))
    assert headers
    for header in headers:
        source = open_source(header)
        with wfdb_package() as wfdb:
            told = wfdb.rdrecord(str(header.with_suffix("")), smooth_frames=False)
        assert len(source.channels) == told.n_sig
        for listed in source.channels:
            channel = source.load(listed)
            place = listed.index
            assert channel.rate_hz == told.fs * told.samps_per_frame[place]
            np.testing.assert_array_equal(samples(channel), told.e_p_signal[place])


def assert_equal_to_pyedflib(path, count):
    import pyedflib

    source = open_source(path)
    assert len(source.channels) == count
    with pyedflib.EdfReader(str(path)) as told:
        for listed in source.channels:
            channel = source.load(listed)
            assert channel.rate_hz == told.getSampleFrequency(listed.index)
            assert listed.name == told.getLabel(listed.index)
            physical = told.readSignal(listed.index)
            mine = samples(channel)
            # both scale by (whole number + offset) * gain; the last bit may differ by the order
            np.testing.assert_allclose(mine, physical, rtol=1e-14, atol=1e-12)
            digital = told.readSignal(listed.index, digital=True)
            low, high = told.getPhysicalMinimum(listed.index), told.getPhysicalMaximum(listed.index)
            bottom, top = told.getDigitalMinimum(listed.index), told.getDigitalMaximum(listed.index)
            counts = (mine - low) / (high - low) * (top - bottom) + bottom
            np.testing.assert_array_equal(np.rint(counts), digital)


@pytest.mark.recordings
@pytest.mark.parametrize("name", ["r01", "r04", "r07"])
@pytest.mark.parametrize("held", [0, 10**9])
def test_every_edf_file_equals_what_pyedflib_gives(recordings, name, held, monkeypatch):
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", held)
    assert_equal_to_pyedflib(recordings / "adfecgdb" / f"{name}.edf", 5)


@pytest.mark.parametrize("bdf", [False, True])
@pytest.mark.parametrize("kind", ["", "C"])
def test_files_of_our_own_making_equal_what_pyedflib_gives(tmp_path, bdf, kind):
    """pyedflib reads no discontinuous files: those are tested against what was packed."""
    most = 2**23 if bdf else 2**15
    counts = np.random.default_rng(1).integers(-most, most, (8, 250))
    signals = [("ECG II", "uV", counts), ("Resp", "ohm", counts[:, 7:57])]
    plus = f"{'BDF' if bdf else 'EDF'}+C" if kind else "24BIT" if bdf else ""
    path = edf_file(
        tmp_path / ("a.bdf" if bdf else "a.edf"),
        signals,
        bdf=bdf,
        kind=plus,
        onsets=[f"+{i}" for i in range(8)] if kind else None,
        physical=("-3276.8", "3276.7"),
        digital=(str(-most), str(most - 1)),
    )
    assert_equal_to_pyedflib(path, 2)
    assert read(path).ecg.unit == "uV"
