"""The layout of an EDF or BDF file: its header checked, its records counted, their onsets read.

References
----------
Kemp B et al., Electroencephalography and Clinical Neurophysiology 82:391-393, 1992 (EDF).
Kemp B, Olivan J, Clinical Neurophysiology 114:1755-1761, 2003 (EDF+).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from infantmon.errors import RecordingError
from infantmon.formats.files import readable_file
from infantmon.formats.utc_offset import with_offset

MOST_SIGNALS = 4096
_FIRST_YEAR = 1985
_ANONYMOUS = "01.01.85"
_HEAD = {"recording": (88, 168), "date": (168, 176), "time": (176, 184)}
_HEAD |= {"header_bytes": (184, 192), "reserved": (192, 236), "record_count": (236, 244)}
_HEAD |= {"record_s": (244, 252), "signals": (252, 256)}
_FIELDS = (
    *(("label", 16), ("transducer", 80), ("unit", 8), ("physical_min", 8), ("physical_max", 8)),
    *(("digital_min", 8), ("digital_max", 8), ("filters", 80), ("samples", 8), ("reserved", 32)),
)


@dataclass(frozen=True)
class EdfScale:
    """A value is (whole number + offset) * gain."""

    offset: float
    gain: float


@dataclass(frozen=True)
class EdfLayout:
    """Where things are in an EDF or BDF file.

    Attributes
    ----------
    is_bdf : bool
        Three bytes a sample instead of two.
    plus : str
        "", "C" (continuous) or "D" (discontinuous): which kind of EDF+ it says it is.
    record_s : float
        Length of a data record, in seconds.
    declared : int
        Data records that the header states; -1 if it was never closed.
    records : int
        Whole data records that can be read.
    left_bytes : int
        Bytes after the last whole record.
    labels, units : tuple of str
        Of each signal, annotation signals included.
    scales : tuple of EdfScale or None
        Physical scaling of each signal; None where it cannot be used.
    samples : tuple of int
        Samples of each signal in a data record.
    started_at : datetime or None
        Date and time of the start, to the second; None where they are anonymised or unreadable.
    """

    path: Path
    is_bdf: bool
    plus: str
    header_bytes: int
    record_s: float
    declared: int
    records: int
    left_bytes: int
    labels: tuple[str, ...]
    units: tuple[str, ...]
    scales: tuple[EdfScale | None, ...]
    samples: tuple[int, ...]
    started_at: datetime | None

    @property
    def sample_bytes(self) -> int:
        """Bytes a sample."""
        return 3 if self.is_bdf else 2

    @property
    def annotation_label(self) -> str:
        """What a signal of annotations is called."""
        return "BDF Annotations" if self.is_bdf else "EDF Annotations"

    @property
    def annotation_places(self) -> tuple[int, ...]:
        """Places of the signals that hold annotations instead of samples."""
        wanted = self.annotation_label
        return tuple(i for i, label in enumerate(self.labels) if label == wanted)

    def bytes_of(self, place: int) -> slice:
        """Where the samples of a signal are among the bytes of a record."""
        first = sum(self.samples[:place]) * self.sample_bytes
        return slice(first, first + self.samples[place] * self.sample_bytes)

    def scale(self, place: int) -> EdfScale | None:
        """Return what turns the whole numbers of a signal into its unit; None if nothing can."""
        return self.scales[place]


def read_layout(path: Path, *, for_samples: bool = True) -> EdfLayout:
    """Read and check the header of an EDF or BDF file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    for_samples : bool
        Whether samples are wanted: then a data record must last longer than 0 s.

    Raises
    ------
    RecordingError
        If it is missing, no EDF or BDF file, damaged, or without a whole data record.
    """
    readable_file(path, what="an EDF or BDF file")
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(256)
        is_bdf = head[:8] == b"\xffBIOSEMI"
        if len(head) < 256 or not (is_bdf or head[:8].strip() == b"0"):
            raise RecordingError(f"{path} is not an EDF or BDF file: it begins with {head[:8]!r}.")
        count = _whole(path, head, "signals", 1, MOST_SIGNALS)
        _whole(path, head, "header_bytes", 256 * (count + 1), 256 * (count + 1))
        table = file.read(256 * count)
    if len(table) < 256 * count:
        raise RecordingError(f"{path} ends inside its header ({size} bytes); it holds no samples.")
    columns = _columns(table, count)
    samples = tuple(_samples(path, text) for text in columns["samples"])
    record_bytes = sum(samples) * (3 if is_bdf else 2)
    declared = _whole(path, head, "record_count", -1, 10**8)
    data_bytes = size - 256 * (count + 1)
    records = data_bytes // record_bytes if record_bytes else 0
    records = min(records, declared) if declared >= 0 else records
    if records < 1:
        raise RecordingError(f"{path} holds no whole data record ({data_bytes} bytes of data).")
    kind = _text(head[slice(*_HEAD["reserved"])])
    ends = zip(*(columns[k] for k in _FIELD_RANGES), strict=True)
    return EdfLayout(
        path=path,
        is_bdf=is_bdf,
        plus=kind[4:5] if kind[:4] in {"EDF+", "BDF+"} else "",
        header_bytes=256 * (count + 1),
        record_s=_seconds(path, head, for_samples=for_samples),
        declared=declared,
        records=records,
        left_bytes=data_bytes - records * record_bytes,
        labels=tuple(columns["label"]),
        units=tuple(columns["unit"]),
        scales=tuple(_scale(*told) for told in ends),
        samples=samples,
        started_at=_started_at(head),
    )


_FIELD_RANGES = ("physical_min", "physical_max", "digital_min", "digital_max")


def _started_at(head: bytes) -> datetime | None:
    """Return the start; EDF+ has the year in four digits behind the word Startdate."""
    told = _text(head[slice(*_HEAD["recording"])]).split()
    long_date = told[1].title() if len(told) > 1 and told[0] == "Startdate" else ""
    short_date = re.sub(r"\D", ".", _text(head[slice(*_HEAD["date"])]))
    time = re.sub(r"\D", ".", _text(head[slice(*_HEAD["time"])]))
    if long_date == "X" and short_date == _ANONYMOUS:
        return None
    for text, form in ((f"{long_date} {time}", "%d-%b-%Y"), (f"{short_date} {time}", "%d.%m.%y")):
        try:
            start = datetime.strptime(text, f"{form} %H.%M.%S")  # noqa: DTZ007 - EDF has no offset
        except ValueError:
            continue
        # two digits of a year mean 1985 to 2084 (EDF+, clipping date)
        start = start.replace(year=start.year + 100) if start.year < _FIRST_YEAR else start
        return with_offset(start, " ".join(told[2:]))
    return None


def _columns(table: bytes, count: int) -> dict[str, list[str]]:
    columns, start = {}, 0
    for name, width in _FIELDS:
        cells = [table[start + i * width : start + (i + 1) * width] for i in range(count)]
        columns[name] = [_text(cell) for cell in cells]
        start += width * count
    return columns


def _text(raw: bytes) -> str:
    # Units with a micro or an ohm sign are met in Latin-1 although the format asks for ASCII.
    return raw.decode("latin-1").replace("\0", " ").strip()


def _whole(path: Path, head: bytes, field: str, low: int, high: int) -> int:
    text = _text(head[slice(*_HEAD[field])])
    number = int(text) if re.fullmatch(r"-?\d{1,8}", text) else low - 1
    if not low <= number <= high:
        limit = f"{low}" if low == high else f"{low} to {high}"
        raise RecordingError(
            f"{path}: the header states {text!r} as its {field.replace('_', ' ')}; {limit} is "
            "expected. The header is damaged, or this is not an EDF file."
        )
    return number


def _samples(path: Path, text: str) -> int:
    if not re.fullmatch(r"\d{1,8}", text):
        raise RecordingError(
            f"{path}: the header states {text!r} samples in a data record; a whole number is "
            "expected. The header is damaged."
        )
    return int(text)


def _seconds(path: Path, head: bytes, *, for_samples: bool) -> float:
    text = _text(head[slice(*_HEAD["record_s"])])
    number = _number(text)
    if not (math.isfinite(number) and (number > 0.0 or (number == 0.0 and not for_samples))):
        raise RecordingError(
            f"{path}: the header states {text!r} s as the length of a data record; more than 0 s "
            "is expected, or the sampling rate is not known. Only annotations can have 0 s."
        )
    return number


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _scale(*ends: str) -> EdfScale | None:
    physical_min, physical_max, digital_min, digital_max = (_number(end) for end in ends)
    if digital_max == digital_min:
        return None
    gain = (physical_max - physical_min) / (digital_max - digital_min)
    if not math.isfinite(gain) or gain == 0.0:
        return None
    offset = physical_max / gain - digital_max
    return EdfScale(offset, gain) if math.isfinite(offset) else None
