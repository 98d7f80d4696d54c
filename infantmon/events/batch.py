"""What flows from the signal chain into the events: findings up to one common time.

Channels run at their own rates and latencies. A `Batch` is what all of them together have settled
since the one before, so that every rule, and the evidence, sees the same state of knowledge.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from infantmon.model.carried import record
from infantmon.model.findings import Findings
from infantmon.model.marks import ApneaProbabilities, Breaths, Pulsations, RPeaks
from infantmon.model.signal import Signal
from infantmon.model.spans import ContactMarks

TABLES: Mapping[str, type[Findings]] = {
    "r_peaks": RPeaks,
    "second_beats": RPeaks,
    "breaths": Breaths,
    "pulsation": Pulsations,
    "apnea_probability": ApneaProbabilities,
}
"""The tables of a `Batch` by their names there; contact marks stand apart, one table a channel."""


@record
@dataclass(frozen=True, slots=True)
class Latencies:
    """How far behind the input each finding may be known, in seconds (constants of the stages)."""

    beats_s: float
    breaths_s: float
    contact_s: float


@dataclass(frozen=True, eq=False)
class Batch:
    """Findings that all channels together have settled since the batch before.

    Attributes
    ----------
    r_peaks, breaths, pulsation : RPeaks, Breaths, Pulsations
        Findings with `known_s` up to `reached_s`; empty where a channel was not recorded.
    second_beats : RPeaks
        Heart beats of a second ECG lead; only the evidence looks at them.
    contact : mapping of str to ContactMarks
        By role ("ecg", "ecg2", "impedance").
    apnea_probability : ApneaProbabilities
        Where the published probability says more than that the infant breathes, a second opinion
        that only the evidence looks at.
    reached_s : float
        Stream time that every channel has reached, in seconds.
    last : bool
        Whether the stream has ended.
    effort : Signal or None
        The impedance with the pulsation taken out, for pictures; no rule reads it.
    """

    r_peaks: RPeaks
    breaths: Breaths
    pulsation: Pulsations
    second_beats: RPeaks
    contact: Mapping[str, ContactMarks]
    reached_s: float
    last: bool = False
    effort: Signal | None = None
    apnea_probability: ApneaProbabilities = field(default_factory=ApneaProbabilities.empty)

    @classmethod
    def joined(cls, batches: Sequence[Batch]) -> Batch:
        """Return consecutive batches as one (at least one is needed), without the effort."""
        tables: dict[str, Any] = {
            name: kind.joined([getattr(batch, name) for batch in batches])
            for name, kind in TABLES.items()
        }
        contact = {
            role: ContactMarks.joined([batch.contact[role] for batch in batches])
            for role in batches[0].contact
        }
        end = batches[-1]
        return cls(**tables, contact=contact, reached_s=end.reached_s, last=end.last)


def with_views(batches: Sequence[Batch]) -> tuple[Batch, list[Batch]]:
    """Join batches, so that nothing is held twice.

    Returns
    -------
    (Batch, list of Batch)
        All of them as one, and each again with views of its tables, all without the effort.
    """
    whole = Batch.joined(batches)
    views = [dataclasses.replace(batch, effort=None) for batch in batches]
    for name in TABLES:
        table: Any = getattr(whole, name)
        first = 0
        for place, batch in enumerate(batches):
            part: Any = getattr(batch, name)
            rows = table.rows(first, first + len(part))
            view = dataclasses.replace(rows, settled_until_s=part.settled_until_s)
            views[place] = dataclasses.replace(views[place], **{name: view})
            first += len(part)
    return whole, views
