"""WFDB records in: of one segment or many, with holes where a segment or a channel is missing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from infantmon.errors import RecordingError
from infantmon.formats.files import file_beside, told_clearly
from infantmon.formats.source import Listed, Source, channel_of
from infantmon.formats.utc_offset import with_offset
from infantmon.formats.wfdb_files import NOTHING, Header, read_header
from infantmon.formats.wfdb_signals import open_signal
from infantmon.model.channel import Channel, StoredSamples

MOST_SEGMENTS = 100_000


@dataclass(frozen=True)
class _Part:
    """A stretch of the record: a segment with its header, or nothing."""

    header: Header | None
    first_frame: int
    frames: int | None


class WfdbSource(Source):
    """A WFDB record.

    Parameters
    ----------
    path : pathlib.Path
        Its header file (.hea).

    Raises
    ------
    RecordingError
        If the header or that of a segment is missing or cannot be read, or lists no signal.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.name = path.stem
        self.notes = []
        self._headers: dict[str, Header] = {}
        self._told: set[str] = set()
        top = read_header(path)
        comments = " ".join(getattr(top.fields, "comments", None) or ())
        self.started_at: datetime | None = with_offset(
            getattr(top.fields, "base_datetime", None), comments
        )
        self._frame_hz = top.frame_hz
        if top.has_segments:
            self._parts = self._segments(top)
            self.channels = self._channels_of_segments(top)
        else:
            self._parts = [_Part(top, 0, None)]
            self.channels = list(top.channels)
        if not self.channels:
            raise RecordingError(f"{path} lists no signals; there is nothing to read.")

    def load(self, listed: Listed) -> Channel:
        """Read one channel at its own rate; NaN marks invalid samples."""
        pieces: list[tuple[float, StoredSamples]] = []
        for part in self._parts:
            stored = self._open_part(part, listed)
            if stored is not None:
                pieces.append((part.first_frame / self._frame_hz, stored))
        if not pieces:
            raise RecordingError(
                f"{self.path}: channel {listed.words} holds no samples. Choose another channel; "
                f"there are {', '.join(other.words for other in self.channels)}."
            )
        return channel_of(listed, pieces, listed.rate_hz, listed.unit)

    def _open_part(self, part: _Part, listed: Listed) -> StoredSamples | None:
        if part.header is None:
            return None
        found = _same_channel(part.header, listed)
        if found is None:
            return None
        if found.rate_hz != listed.rate_hz or found.unit != listed.unit:
            raise RecordingError(
                f"{part.header.path} has {found.words}, but elsewhere in {self.path.name} it is "
                f"{listed.words}; a channel must keep its rate and unit. Read the segments apart."
            )
        stored, notes = open_signal(part.header, found.index, part.frames)
        there = len(stored) if stored is not None else 0
        promised = (part.frames or 0) * part.header.samples_per_frame(found.index)
        if not notes and there < promised:
            notes = [f"segment {part.header.path.stem} is shorter than the record says"]
        self.notes += [note for note in notes if note not in self._told]
        self._told.update(notes)
        return stored

    def _segments(self, top: Header) -> list[_Part]:
        fields = top.fields
        names, lengths = list(fields.seg_name), [int(length) for length in fields.seg_len]
        if len(names) != fields.n_seg or len(names) > MOST_SEGMENTS:
            raise RecordingError(
                f"{self.path} promises {fields.n_seg} segments and lists {len(names)}; "
                "the header is damaged. Get it again from where it was recorded."
            )
        parts, first = [], 0
        for name, length in zip(names, lengths, strict=True):
            if length:
                header = None if name == NOTHING else self._segment_header(top, name)
                parts.append(_Part(header, first, length))
            first += length
        if fields.sig_len not in {None, first}:
            self.notes.append(
                f"{self.path.name} states {fields.sig_len} frames, its segments add up to {first}"
            )
        return parts

    def _segment_header(self, top: Header, name: str) -> Header:
        """Return the header of a segment; a record may use one segment several times."""
        if name not in self._headers:
            self._headers[name] = self._read_segment_header(top, name)
        return self._headers[name]

    def _read_segment_header(self, top: Header, name: str) -> Header:
        with told_clearly(self.path, f"segment {name}"):
            header = read_header(file_beside(self.path, f"{name}.hea", what="a segment's header"))
        if header.has_segments or header.frame_hz != top.frame_hz:
            raise RecordingError(
                f"segment {name} of {self.path} has {header.frame_hz:g} frames a second, the "
                f"record {top.frame_hz:g}, or it has segments itself; it cannot be placed in time."
            )
        return header

    def _channels_of_segments(self, top: Header) -> list[Listed]:
        """Return the channels that any segment has, as the first of them lists it.

        The order is that of the layout, where the record has one. A channel of the layout that is
        in no segment is left out: there is nothing to read.
        """
        order: dict[str, None] = {}
        if int(top.fields.seg_len[0]) == 0 and top.fields.seg_name[0] != NOTHING:
            layout = self._segment_header(top, top.fields.seg_name[0])
            order |= dict.fromkeys(listed.name for listed in layout.channels)
        first: dict[str, Listed] = {}
        for part in self._parts:
            for listed in part.header.channels if part.header else ():
                first.setdefault(listed.name, listed)
        names = [*order, *(name for name in first if name not in order)]
        found = [first[name] for name in names if name in first]
        return [replace(listed, index=place) for place, listed in enumerate(found)]


def _same_channel(header: Header, listed: Listed) -> Listed | None:
    """Return a segment's channel of the same name."""
    for candidate in header.channels:
        if candidate.name == listed.name:
            return candidate
    return None
