"""What readers decided of events: kept beside the library's judgement, never over it."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from infantmon.errors import (
    ArgumentError,
    RecordingError,
    as_floats,
    require_each,
    require_kind,
    require_number,
    require_path,
    require_text,
)
from infantmon.formats.files import readable_file, told_clearly, write_whole
from infantmon.model.counting import counted
from infantmon.model.event import Event
from infantmon.recorded.event import RecordedEvent
from infantmon.scoring.agreement import Agreement, cohen_kappa

REAL, MISDETECTED, ARTEFACT, CANNOT_TELL = "real", "misdetected", "artefact", "cannot tell"
DECISIONS = (REAL, MISDETECTED, ARTEFACT, CANNOT_TELL)
"""What a reader can decide; the classes of the published series (see docs)."""
FORMAT = "infantmon decisions 1"
NOTICE = "Research software, not a medical device; not for live use on an infant."
AS_DECIDED = {"supported": REAL, "not assessable": CANNOT_TELL}
"""A judgement of the library as a decision; doubtful and not found are "not real"."""
NOT_REAL = "not real"


@dataclass(frozen=True, slots=True)
class Decision:
    """One reader's decision of one event.

    Attributes
    ----------
    kind, onset_s, end_s, recording
        Which event: kind, times in seconds (None where open or not given), excerpt or "".
    decision : str
        One of `DECISIONS`.
    by : str
        Who decided.
    note : str
        In the reader's words.
    decided_at_utc : str or None
        When, as ISO 8601 in UTC; None where it is not told.
    """

    kind: str
    onset_s: float | None
    end_s: float | None
    recording: str
    decision: str
    by: str
    note: str = ""
    decided_at_utc: str | None = None

    def __post_init__(self) -> None:
        as_floats(self)
        for name in ("kind", "recording", "decision", "note"):
            require_text(getattr(self, name), name=name)
        for name in ("onset_s", "end_s"):
            if getattr(self, name) is not None:
                require_number(getattr(self, name), name=name, unit="s")
        if self.decision not in DECISIONS:
            raise ArgumentError(
                f"the decision is {self.decision!r}; choose one of {', '.join(DECISIONS)}."
            )
        if not isinstance(self.by, str) or not self.by.strip():
            raise ArgumentError(f"by is {self.by!r}; say who decided.")
        if self.decided_at_utc is not None and not _is_utc(self.decided_at_utc):
            raise ArgumentError(
                f"decided_at_utc is {self.decided_at_utc!r}; give an ISO 8601 time in UTC, such as "
                "2031-03-01T22:15:00Z."
            )

    @property
    def key(self) -> tuple[str, str, float | None, float | None]:
        """Which event it is about."""
        return self.recording, self.kind, self.onset_s, self.end_s


def _is_utc(text: object) -> bool:
    try:
        told = datetime.fromisoformat(str(text))
    except ValueError:
        return False
    return isinstance(text, str) and told.utcoffset() == timedelta(0)


def _when(made: Decision) -> float:
    """Return the time of a decision as a number; before all others where it is not told."""
    if made.decided_at_utc is None:
        return -math.inf
    return datetime.fromisoformat(made.decided_at_utc).timestamp()


def key_of(event: Event | RecordedEvent) -> tuple[str, str, float | None, float | None]:
    """Return what tells an event from others: excerpt, kind, onset and end in seconds.

    Raises
    ------
    ArgumentError
        If it is no event.
    """
    require_kind(event, (Event, RecordedEvent), name="event", called="an event of the review")
    recording = event.recording if isinstance(event, RecordedEvent) else ""
    times = (None if t is None or not math.isfinite(t) else t for t in (event.onset_s, event.end_s))
    onset_s, end_s = times
    return recording, event.kind, onset_s, end_s


class Decisions:
    """All decisions, in the order made. Nothing is ever taken out or replaced.

    Parameters
    ----------
    made : iterable of Decision
        Earlier ones, such as of a file.

    Raises
    ------
    ArgumentError
        If they are no decisions.

    Examples
    --------
    >>> apnea = Event(1, "apnea", onset_s=20.0, known_s=40.0, end_s=45.0)
    >>> decisions = Decisions()
    >>> made = decisions.add(apnea, "real", by="a reader", note="no effort seen")
    >>> [(one.by, one.decision) for one in decisions.of(apnea)]
    [('a reader', 'real')]
    """

    def __init__(self, made: Iterable[Decision] = ()) -> None:
        self._made = list(require_each(made, Decision, name="made", called="Decision objects"))

    def __len__(self) -> int:
        return len(self._made)

    def __iter__(self) -> Iterator[Decision]:
        return iter(self._made)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Decisions) and self._made == other._made

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        readers = list(dict.fromkeys(decision.by for decision in self._made))
        return f"Decisions({len(self)} by {counted(len(readers), 'reader')})"

    def add(
        self, event: Event | RecordedEvent, decision: str, *, by: str, note: str = ""
    ) -> Decision:
        """Add a reader's decision, made now, and return it; earlier ones of the reader stay.

        Parameters
        ----------
        event : Event or RecordedEvent
            The event.
        decision : str
            One of `DECISIONS`.
        by, note : str
            Who decided, and a note.

        Raises
        ------
        ArgumentError
            If the decision is none, nobody is named, or this is no event.
        """
        recording, kind, onset_s, end_s = key_of(event)
        now = datetime.now(UTC).isoformat(timespec="seconds")
        made = Decision(kind, onset_s, end_s, recording, decision, by, note, now)
        self._made.append(made)
        return made

    def of(self, event: Event | RecordedEvent) -> tuple[Decision, ...]:
        """Return all decisions of an event, the earliest first.

        Parameters
        ----------
        event : Event or RecordedEvent
            The event.
        """
        wanted = key_of(event)
        return tuple(made for made in self._made if made.key == wanted)

    @property
    def readers(self) -> tuple[str, ...]:
        """Who decided, in the order of their first decision."""
        return tuple(dict.fromkeys(made.by for made in self._made))

    @property
    def conflicts(self) -> tuple[tuple[Decision, ...], ...]:
        """Events of which there is more than one decision: each with all that was decided."""
        by_key: dict[object, list[Decision]] = {}
        for made in self._made:
            by_key.setdefault(made.key, []).append(made)
        return tuple(
            tuple(some) for some in by_key.values() if len({one.decision for one in some}) > 1
        )

    def last_by(self, reader: str) -> dict[tuple[str, str, float | None, float | None], str]:
        """Return the last decision of a reader for each event.

        By the time at which each was made; where that is not told, it counts as earlier than all
        whose time is told, and among such the order made decides.

        Parameters
        ----------
        reader : str
            As in `by`.
        """
        own = sorted((made for made in self._made if made.by == reader), key=_when)
        return {made.key: made.decision for made in own}

    def merged(self, other: Decisions) -> Decisions:
        """Return both together; a decision that stands in both stands once, none is overwritten.

        Parameters
        ----------
        other : Decisions
            Those of another reader, or another file.

        Raises
        ------
        ArgumentError
            If these are no decisions.
        """
        require_kind(other, Decisions, name="other", called="infantmon.Decisions")
        return Decisions(dict.fromkeys([*self._made, *other._made]))

    def agreement(self, one: str, other: str) -> Agreement:
        """Return the agreement of two readers over the events that both decided.

        Parameters
        ----------
        one, other : str
            Readers, as in `by`.
        """
        first, second = self.last_by(one), self.last_by(other)
        both = [key for key in first if key in second]
        return cohen_kappa([first[key] for key in both], [second[key] for key in both])

    def agreement_with(
        self, reader: str, judged: Iterable[tuple[Event | RecordedEvent, str]]
    ) -> Agreement:
        """Return the agreement of a reader with the library: real, not real, cannot tell.

        Parameters
        ----------
        reader : str
            As in `by`.
        judged : iterable of (Event or RecordedEvent, str)
            Events and the library's judgement of each.
        """
        said = self.last_by(reader)
        pairs = [(said[key_of(e)], judgement) for e, judgement in judged if key_of(e) in said]
        fold = {MISDETECTED: NOT_REAL, ARTEFACT: NOT_REAL}
        readers = [fold.get(decision, decision) for decision, _ in pairs]
        return cohen_kappa(readers, [AS_DECIDED.get(j, NOT_REAL) for _, j in pairs])

    def without_identity(self) -> Decisions:
        """Return the decisions with numbers for readers' names, without their notes and dates."""
        numbers = {by: f"reader {place}" for place, by in enumerate(self.readers, start=1)}
        return Decisions(
            dataclasses.replace(made, by=numbers[made.by], note="", decided_at_utc=None)
            for made in self._made
        )

    def write(self, path: str | Path) -> None:
        """Write all decisions as JSON, whole or not at all.

        Parameters
        ----------
        path : str or path
            The file; an existing one is replaced, so merge it first.

        Raises
        ------
        ArgumentError
            If the folder does not exist.
        """
        rows = [dataclasses.asdict(made) for made in self._made]
        plain = {"format": FORMAT, "notice": NOTICE, "decisions": rows}
        text = json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=1)
        write_whole(path, text + "\n")

    @classmethod
    def read(cls, path: str | Path) -> Decisions:
        """Read what `write` or the review page wrote; equal to what was written.

        Parameters
        ----------
        path : str or path
            The file.

        Returns
        -------
        Decisions
            In the order of the file.

        Raises
        ------
        RecordingError
            If the file is missing, damaged, or of another format.
        """
        source = readable_file(require_path(path), what="a file of decisions")
        with told_clearly(source, "a file of decisions"):
            plain = json.loads(source.read_text(encoding="utf-8"))
            if plain.get("format") != FORMAT:
                raise RecordingError(
                    f"{source} states the format {plain.get('format')!r}; {FORMAT!r} is expected."
                )
            return cls(_read_row(row) for row in plain["decisions"])


def _read_row(row: dict[str, Any]) -> Decision:
    """Return one row of a file; a time may be written without a point, as browsers do."""
    times = {name: row[name] for name in ("onset_s", "end_s")}
    texts = [row[name] for name in ("kind", "recording", "decision", "by")]
    texts += [row.get("note", "")]
    if not all(isinstance(text, str) for text in texts):
        raise TypeError(f"kind, recording, decision, by and note are to be texts in {row!r}")
    numbers = {name: None if time is None else float(time) for name, time in times.items()}
    return Decision(**{**row, **numbers})
