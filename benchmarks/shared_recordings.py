"""The shared recordings as `Recording`s with their reference marks.

They are looked for in the folder that INFANTMON_RECORDINGS names, then in ../shared/recordings
beside the project. Each database says whom it shows and where its marks come from. The recordings
belong to PhysioNet's contributors: see the README there for citations.
"""

from __future__ import annotations

import json
import lzma
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording

BEAT_CODES = frozenset("NLRBAaJSVrFejnE/fQ?")
"""Annotation codes that stand for a beat; all others are rhythm, quality or comment (WFDB)."""


@dataclass(frozen=True, eq=False)
class SetApart:
    """A stretch whose marks are known not to be right, or that holds no beats to find."""

    start_s: float
    end_s: float
    why: str


@dataclass(frozen=True, eq=False)
class Labelled:
    """A recording with what is known about it.

    Attributes
    ----------
    recording : Recording
        The signals.
    beats_s : numpy.ndarray or None
        Reference heart beats, in seconds; None where there are none.
    breaths_s : tuple of numpy.ndarray
        Reference breaths, in seconds, one array an annotator.
    set_apart : tuple of SetApart
        Stretches that are scored apart.
    alarm : tuple of str and bool, or None
        Kind of the alarm at the end of the recording, and whether it was a true one.
    """

    recording: Recording
    beats_s: Floats | None = None
    breaths_s: tuple[Floats, ...] = ()
    set_apart: tuple[SetApart, ...] = ()
    alarm: tuple[str, bool] | None = None


@dataclass(frozen=True)
class Database:
    """A set of recordings of one origin.

    Attributes
    ----------
    name : str
        Its folder.
    population : str
        Whom it shows.
    label_origin : str
        Who or what made the reference marks.
    names : tuple of str
        The recordings that are here.
    load : callable
        Returns one of them.
    """

    name: str
    population: str
    label_origin: str
    names: tuple[str, ...]
    load: Callable[[str], Labelled] = field(repr=False)


def recordings_folder() -> Path:
    """Return the folder of the shared recordings.

    Raises
    ------
    RecordingError
        If there is none.
    """
    told = os.environ.get("INFANTMON_RECORDINGS")
    folder = Path(told) if told else Path(__file__).parents[2] / "shared" / "recordings"
    if not folder.is_dir():
        raise RecordingError(
            f"the recordings are not at {folder}; set INFANTMON_RECORDINGS to their folder."
        )
    return folder


def databases(folder: Path | None = None) -> dict[str, Database]:
    """Return all databases by name, from `folder` or where `recordings_folder` finds them."""
    root = folder if folder is not None else recordings_folder()
    makers = (_picsdb, _mitdb, _nstdb, _adfecgdb, _bidmc, _challenge2015)
    return {database.name: database for database in (make(root) for make in makers)}


def database(name: str, folder: Path | None = None) -> Database:
    """Return one database, or say which there are."""
    known = databases(folder)
    if name not in known:
        raise ArgumentError(f"there is no database {name!r}; there are {', '.join(known)}.")
    return known[name]


def _picsdb(root: Path) -> Database:
    folder = root / "picsdb"

    def load(name: str) -> Labelled:
        with np.load(folder / f"{name}.npz") as stored:
            ecg_hz, resp_hz = float(stored["ecg_fs"]), float(stored["resp_fs"])
            ecg = Channel(stored["ecg"], ecg_hz, "mV", name="ECG")
            resp = Channel(stored["resp"], resp_hz, None, name="RESP")
            beats, breaths = stored["locmax_ecg"] / ecg_hz, stored["locmax_resp"] / resp_hz
        wrong = (SetApart(84.0, 88.0, "electrode artefact, one mark missed and one false"),)
        return Labelled(
            Recording({"ecg": ecg, "impedance": resp}, name=name),
            beats_s=np.unique(beats),
            breaths_s=(np.unique(breaths),),
            set_apart=wrong if name == "infant2_segment0" else (),
        )

    return Database(
        "picsdb",
        population="preterm infants (2 infants, 10 clean segments)",
        label_origin="program: the exporter's own detectors, thresholds by hand; not manual",
        names=_stems(folder, "infant*_segment*.npz"),
        load=load,
    )


def _mitdb(root: Path) -> Database:
    folder = root / "mitdb"
    return Database(
        "mitdb",
        population="adults",
        label_origin="manual",
        names=_stems(folder, "*.hea"),
        load=lambda name: _with_beats(folder, name),
    )


def _nstdb(root: Path) -> Database:
    folder = root / "nstdb"
    return Database(
        "nstdb",
        population="one adult (record 118 of mitdb) with electrode-motion noise added",
        label_origin="manual, those of the clean record",
        names=_stems(folder, "118*.hea"),
        load=lambda name: _with_beats(folder, name),
    )


def _with_beats(folder: Path, name: str) -> Labelled:
    """Read a WFDB record of two leads with its beat annotations."""
    with wfdb_package() as wfdb:
        record = wfdb.rdrecord(str(folder / name))
        marks = wfdb.rdann(str(folder / name), "atr")
    rate_hz = float(record.fs)
    leads = {
        role: Channel(record.p_signal[:, k], rate_hz, record.units[k], name=record.sig_name[k])
        for k, role in enumerate(("ecg", "ecg2"))
    }
    codes = np.array(marks.symbol)
    beats = np.asarray(marks.sample)[np.isin(codes, sorted(BEAT_CODES))]
    return Labelled(
        Recording(leads, name=name),
        beats_s=np.unique(beats) / rate_hz,
        set_apart=_flutter(codes, np.asarray(marks.sample) / rate_hz),
    )


def _flutter(
    codes: np.ndarray[tuple[int], np.dtype[np.str_]], times_s: Floats
) -> tuple[SetApart, ...]:
    """Return the stretches of ventricular flutter ([ to ]), in which no beats are marked."""
    starts, ends = times_s[codes == "["], times_s[codes == "]"]
    return tuple(
        SetApart(float(start), float(end), "ventricular flutter: no beats are marked")
        for start, end in zip(starts, ends, strict=True)
    )


def _adfecgdb(root: Path) -> Database:
    folder = root / "adfecgdb"

    def load(name: str) -> Labelled:
        from edfio import read_edf

        signal = read_edf(folder / f"{name}.edf").get_signal("Direct_1")
        rate_hz = float(signal.sampling_frequency)
        scalp = Channel(signal.data, rate_hz, signal.physical_dimension, name="Direct_1")
        with wfdb_package() as wfdb:
            marks = wfdb.rdann(str(folder / f"{name}.edf"), "qrs")
        beats = np.unique(marks.sample) / rate_hz
        return Labelled(Recording({"ecg": scalp}, name=name), beats_s=beats)

    return Database(
        "adfecgdb",
        population="fetuses (direct scalp ECG)",
        label_origin="fetal R peaks, verified by hand",
        names=_stems(folder, "*.edf"),
        load=load,
    )


def _bidmc(root: Path) -> Database:
    folder = root / "bidmc" / "bidmc_csv"
    rate_hz = 125.0

    def load(name: str) -> Labelled:
        with lzma.open(folder / f"{name}_Signals.csv.xz", "rt") as lines:
            header = [cell.strip() for cell in next(lines).split(",")]
            places = (header.index("RESP"), header.index("II"))
            resp, ecg = np.loadtxt(lines, delimiter=",", usecols=places, unpack=True)
        marks = np.genfromtxt(folder / f"{name}_Breaths.csv", delimiter=",", skip_header=1)
        breaths = tuple(np.unique(column[~np.isnan(column)]) / rate_hz for column in marks.T)
        channels = {
            "ecg": Channel(ecg, rate_hz, None, name="II"),
            "impedance": Channel(resp, rate_hz, None, name="RESP"),
        }
        return Labelled(Recording(channels, name=name), breaths_s=breaths)

    names = (stem.removesuffix("_Signals.csv") for stem in _stems(folder, "*_Signals.csv.xz"))
    return Database(
        "bidmc",
        population="adults in intensive care",
        label_origin="manual, two annotators",
        names=tuple(names),
        load=load,
    )


def _challenge2015(root: Path) -> Database:
    folder = root / "challenge2015"
    with (folder / "index.json").open() as text:
        index = json.load(text)
    rate_hz = float(index["fs"])

    def load(name: str) -> Labelled:
        told = index["records"][name]
        with np.load(folder / f"excerpts_{told['alarm'].lower()}.npz") as stored:
            raw = stored[name].astype(np.float64)
        raw[raw == -32768.0] = np.nan  # the format's sign for a missing sample
        channels: dict[str, Channel] = {}
        free = ["ecg", "ecg2"]
        for k, label in enumerate(told["channels"]):
            if label == "RESP":
                role = "impedance"
            elif free:
                role = free.pop(0)
            else:
                continue
            values = (raw[k] - told["baseline"][k]) / told["adc_gain"][k]
            unit = None if label == "RESP" else told["units"][k]  # RESP is in no unit of its own
            channels[role] = Channel(values, rate_hz, unit, name=label)
        return Labelled(
            Recording(channels, name=name), alarm=(str(told["alarm"]), bool(told["true_alarm"]))
        )

    return Database(
        "challenge2015",
        population="intensive care, adults mostly",
        label_origin="manual: whether the alarm was a true one; no beats or breaths",
        names=tuple(sorted(index["records"])),
        load=load,
    )


def _stems(folder: Path, pattern: str) -> tuple[str, ...]:
    """Return the names of the files that fit, without their last suffix."""
    return tuple(sorted(path.stem for path in folder.glob(pattern)))
