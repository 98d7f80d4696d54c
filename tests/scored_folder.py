"""Folders of annotated WFDB records, invented: what the scoring command is tried on."""

from pathlib import Path

import numpy as np

from infantmon.formats import write_wfdb
from infantmon.formats.wfdb_annotations import Annotation, write_annotations
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording
from infantmon.selftest.drawing import ECG_HZ, at_rate, drawn

NORMAL = 1  # code of a normal beat
LENGTH_S = 40.0


def make_folder(folder: Path, rates=(100.0, 140.0, 180.0), *, extra_marks=0) -> Path:
    """Write one record a heart rate; the last gets reference marks where there is no beat."""
    folder.mkdir()
    for place, rate in enumerate(rates):
        ecg = drawn(at_rate(rate, LENGTH_S, seed=place), LENGTH_S, seed=place)
        name = f"invented{place}"
        lead = Channel(ecg.samples_mv, ECG_HZ, "mV", name="ECG")
        write_wfdb(Recording({"ecg": lead}, name=name), folder, name)
        samples = np.rint(ecg.beat_s * ECG_HZ).astype(int)
        samples = samples[(samples > 0) & (samples < len(ecg.samples_mv))]
        if place == len(rates) - 1 and extra_marks:
            between = (samples[:-1] + samples[1:]) // 2
            samples = np.sort(np.concatenate((samples, between[:extra_marks])))
        marks = [Annotation(int(sample), NORMAL) for sample in samples]
        write_annotations(marks, folder / f"{name}.atr", rate_hz=ECG_HZ)
    return folder
