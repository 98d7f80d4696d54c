"""The open annotated databases that are known here: where they lie, and how each is read.

They belong to PhysioNet's contributors: Goldberger AL et al., Circulation 101(23):e215-e220, 2000,
and the reference of each. Nothing of them comes with this library.
"""

from __future__ import annotations

import json
import lzma
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from edfio import read_edf

from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.labelled.database import Database, Labelled, SetApart
from infantmon.labelled.places import recordings_folder
from infantmon.labelled.wfdb_folder import with_beats
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording

LEARNING_S = 300.0
"""A detector may learn so long before it is scored (ANSI/AAMI EC57)."""
SEEN = "yes: looked at while the detectors were built"


def databases(folder: Path | None = None) -> dict[str, Database]:
    """Return all known databases by name.

    Parameters
    ----------
    folder : Path or None
        The folder that holds one folder a database; by default where `recordings_folder` finds it.

    Raises
    ------
    RecordingError
        If there is no such folder.
    """
    root = folder if folder is not None else recordings_folder()
    return {name: maker(root) for name, maker in _MAKERS.items()}


def database(name: str, folder: Path | None = None) -> Database:
    """Return one database.

    Raises
    ------
    ArgumentError
        If it is not known, or none of its recordings are at hand.
    RecordingError
        If there is no folder of recordings, or the database's own holds none that can be read.
    """
    if name not in _MAKERS:
        raise ArgumentError(f"there is no database {name!r}; there are {', '.join(_MAKERS)}.")
    root = folder if folder is not None else recordings_folder()
    if not (root / name).is_dir():
        raise ArgumentError(
            f"{name} is not at {root}; put its folder there, or fetch it: infantmon fetch {name}."
        )
    try:
        found = _MAKERS[name](root)
    except OSError as fault:
        raise RecordingError(f"{name} at {root} cannot be read ({fault}).") from fault
    if not found.names:
        raise RecordingError(
            f"{root / name} holds none of the files that are read of {name}; see docs/scoring.md."
        )
    return found


def known_names() -> Iterable[str]:
    """Return the names of the databases that are known."""
    return _MAKERS.keys()


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
        tuned_on=SEEN,
    )


def _mitdb(root: Path) -> Database:
    folder = root / "mitdb"
    return Database(
        "mitdb",
        population="adults",
        label_origin="manual",
        names=_stems(folder, "*.hea"),
        load=lambda name: with_beats(folder, name),
        tuned_on=SEEN,
        learning_s=LEARNING_S,
    )


def _nstdb(root: Path) -> Database:
    folder = root / "nstdb"
    return Database(
        "nstdb",
        population="one adult (record 118 of mitdb) with electrode-motion noise added",
        label_origin="manual, those of the clean record",
        names=_stems(folder, "118*.hea"),
        load=lambda name: with_beats(folder, name),
        tuned_on=SEEN,
        learning_s=LEARNING_S,
    )


def _adfecgdb(root: Path) -> Database:
    folder = root / "adfecgdb"

    def load(name: str) -> Labelled:
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
        tuned_on=SEEN,
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
        tuned_on=SEEN,
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
        tuned_on=SEEN,
    )


def _stems(folder: Path, pattern: str) -> tuple[str, ...]:
    """Return the names of the files that fit, without their last suffix."""
    return tuple(sorted(path.stem for path in folder.glob(pattern)))


_MAKERS = {
    "mitdb": _mitdb,
    "nstdb": _nstdb,
    "adfecgdb": _adfecgdb,
    "bidmc": _bidmc,
    "picsdb": _picsdb,
    "challenge2015": _challenge2015,
}
