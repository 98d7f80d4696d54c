"""What a rule set gives: episodes with measures, and how much of the recording it could judge.

A rule set is a definition from print. It takes the stored findings of a recording (`Stored`) and
gives `Episodes`; nothing that it finds becomes an event or raises an alarm.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from infantmon.events.batch import Batch
from infantmon.events.rule_sets.intervals import ROUNDING_S

if TYPE_CHECKING:
    import pandas as pd


class Stored(Protocol):
    """Anything that holds all findings of a recording, as `Review.findings` does."""

    @property
    def whole(self) -> Batch:
        """All findings as one batch."""


@dataclass(frozen=True)
class Episode:
    """One stretch that a rule set names.

    Attributes
    ----------
    what : str
        "apnea", "bradycardia" or "periodic breathing".
    clause : str
        The clause of the rule set that it meets, in words.
    start_s, end_s : float
        Where it begins and ends, in seconds; one still going on ends where the findings end.
    measures : mapping of str to float
        What was measured, the unit in the name.
    complete : bool
        False where it began or ended with the recording or with an unusable stretch, so that it may
        have been longer.
    """

    what: str
    clause: str
    start_s: float
    end_s: float
    measures: Mapping[str, float] = field(default_factory=dict)
    complete: bool = True

    @property
    def length_s(self) -> float:
        """From start to end, in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Episodes:
    """What a rule set makes of a recording.

    Attributes
    ----------
    rule : str
        The rule in words, with its limits.
    source : str
        Where it was published, and what of it is from memory.
    episodes : tuple of Episode
        In the order in which they begin.
    judged_s : mapping of str to float
        By channel: for how many seconds it could be used.
    """

    rule: str
    source: str
    episodes: tuple[Episode, ...]
    judged_s: Mapping[str, float]

    def __len__(self) -> int:
        return len(self.episodes)

    def to_frame(self) -> pd.DataFrame:
        """Return a pandas table, one row an episode, times in seconds."""
        import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

        own = ["what", "clause", "start_s", "end_s", "length_s", "complete"]
        rows = [
            {name: getattr(episode, name) for name in own} | dict(episode.measures)
            for episode in self.episodes
        ]
        measured = dict.fromkeys(name for episode in self.episodes for name in episode.measures)
        return pd.DataFrame(rows, columns=[*own, *measured])


def in_order(episodes: Iterable[Episode]) -> tuple[Episode, ...]:
    """Return episodes in the order in which they begin."""
    return tuple(sorted(episodes, key=lambda episode: (episode.start_s, episode.what)))


def joined(episodes: Iterable[Episode], gap_s: float) -> list[Episode]:
    """Join episodes of one kind no further apart than `gap_s`, end to start (exactly it counts).

    Of the measures the lowest of each `lowest_...` is kept, the highest of each `longest_...`.
    """
    found: list[Episode] = []
    for episode in in_order(episodes):
        if found and episode.start_s - found[-1].end_s <= gap_s + ROUNDING_S:
            found[-1] = _as_one(found[-1], episode)
        else:
            found.append(episode)
    return found


def _as_one(one: Episode, other: Episode) -> Episode:
    measures = dict(one.measures)
    for name, value in other.measures.items():
        keep = max if name.startswith("longest") else min
        measures[name] = keep(measures.get(name, value), value)
    return dataclasses.replace(
        one,
        end_s=max(one.end_s, other.end_s),
        measures=measures,
        complete=one.complete and other.complete,
    )
