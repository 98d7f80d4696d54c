"""The R-peak detector on recorded ECGs with reference marks; the full tables are in benchmarks."""

from __future__ import annotations

import numpy as np
import pytest

from infantmon.formats.wfdb_files import wfdb_package
from infantmon.labelled.known import database
from infantmon.scoring.marks import score_marks
from infantmon.stages.r_peaks import detect_r_peaks

pytestmark = pytest.mark.recordings


def gross_figures(folder, name, windows_s, *, start_s=0.0, only=None):
    """Gross sensitivity and positive predictivity in percent at each window, stretches left out.

    And the share of marks that are unreliable, the same stretches left out.
    """
    shelf = database(name, folder)
    hits, misses, extras = np.zeros((3, len(windows_s)))
    unreliable = marks = 0
    for record in only or shelf.names:
        labelled = shelf.load(record)
        ecg = labelled.recording.ecg
        peaks = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
        counts = peaks.time_s >= start_s
        for apart in labelled.set_apart:
            counts &= (peaks.time_s < apart.start_s) | (peaks.time_s > apart.end_s)
        unreliable += int(np.sum(~peaks.reliable[counts]))
        marks += int(np.sum(counts))
        edges = [start_s]
        for apart in labelled.set_apart:
            edges += [max(start_s, apart.start_s), max(start_s, apart.end_s)]
        edges.append(np.inf)
        for k, window_s in enumerate(windows_s):
            for low, high in zip(edges[0::2], edges[1::2], strict=True):
                if low == high:
                    continue
                found = score_marks(
                    labelled.beats_s, peaks.time_s, window_s, start_s=low, end_s=high
                ).tally
                hits[k] += found.true_positives
                misses[k] += found.false_negatives
                extras[k] += found.false_positives
    return 100 * hits / (hits + misses), 100 * hits / (hits + extras), unreliable / marks


def test_preterm_segments(recordings):
    """Against stored marks of a detector, within 100 ms; one artefact with wrong marks left out."""
    sensitivity, predictivity, unreliable = gross_figures(recordings, "picsdb", [0.1])
    assert sensitivity[0] >= 99.7
    assert predictivity[0] >= 99.7
    assert unreliable <= 0.01


def test_arrhythmia_database(recordings):
    """Manual beats of 26 adults, after 5 min, flutter left out (ANSI/AAMI EC57)."""
    sensitivity, predictivity, unreliable = gross_figures(
        recordings, "mitdb", [0.15, 0.05], start_s=300.0
    )
    assert sensitivity[0] >= 99.80
    assert predictivity[0] >= 99.90
    assert sensitivity[1] >= 99.4
    assert predictivity[1] >= 99.4
    assert unreliable <= 0.01


def test_fetal_scalp_lead(recordings):
    """Verified beats of three fetuses during labour, 126-132 a minute."""
    sensitivity, predictivity, _ = gross_figures(recordings, "adfecgdb", [0.15, 0.05])
    assert sensitivity[0] >= 99.7
    assert predictivity[0] >= 99.7
    assert sensitivity[1] >= 99.0
    assert predictivity[1] >= 99.0


def test_a_little_electrode_motion_changes_nothing(recordings):
    """118 of the arrhythmia database with electrode motion at 24 and 18 dB, after 5 min."""
    for record in ("118e24", "118e18"):
        sensitivity, predictivity, unreliable = gross_figures(
            recordings, "nstdb", [0.15], start_s=300.0, only=[record]
        )
        assert sensitivity[0] == 100.0
        assert predictivity[0] >= 99.8
        assert unreliable <= 0.01


@pytest.mark.parametrize(
    ("record", "rate_bpm"), [("aami3a", 80), ("aami3b", 60), ("aami3c", 120), ("aami3d", 90)]
)
def test_irregular_rhythms(recordings, record, rate_bpm):
    """ANSI/AAMI EC13 4.1.2.1 (e): the expected rate after 20 s of settling, from memory."""
    with wfdb_package() as wfdb:
        stored = wfdb.rdrecord(str(recordings / "aami-ec13" / record))
    ecg = stored.p_signal[:, 0]
    found = detect_r_peaks(ecg, stored.fs, unit="mV").time_s
    counted = np.sum(found > 20.0) / (len(ecg) / stored.fs - 20.0)
    assert 60.0 * counted == pytest.approx(rate_bpm, rel=0.02)
