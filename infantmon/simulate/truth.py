"""What is true of a simulated night, in seconds from its start."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from infantmon.errors import require_between
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.spans import Spans


@dataclass(frozen=True, eq=False)
class TruePauses:
    """Pauses in breathing, told in both ways.

    Attributes
    ----------
    onset_s, end_s : numpy.ndarray, shape (n,)
        Inspiratory peak of the last breath before, and of the first one after, in seconds. Their
        distance is what an apnea limit is compared with.
    effort_free_onset_s, effort_free_end_s : numpy.ndarray, shape (n,)
        End of the last expiration, and begin of the next inspiration, in seconds.
    with_bradycardia : numpy.ndarray of bool, shape (n,)
        Whether the heart slows in it.
    """

    onset_s: Floats
    end_s: Floats
    effort_free_onset_s: Floats
    effort_free_end_s: Floats
    with_bradycardia: Bools

    def __len__(self) -> int:
        return len(self.onset_s)

    @property
    def length_s(self) -> Floats:
        """Mark to mark, in seconds."""
        return self.end_s - self.onset_s

    @property
    def effort_free_s(self) -> Floats:
        """Edge to edge, in seconds."""
        return self.effort_free_end_s - self.effort_free_onset_s

    def lasting(self, at_least_s: float) -> TruePauses:
        """Return those of at least a length, mark to mark, in seconds.

        Parameters
        ----------
        at_least_s : float
            The least length, in seconds.
        """
        keep = self.length_s >= at_least_s - 1e-9
        return TruePauses(
            self.onset_s[keep],
            self.end_s[keep],
            self.effort_free_onset_s[keep],
            self.effort_free_end_s[keep],
            self.with_bradycardia[keep],
        )


@dataclass(frozen=True, eq=False)
class TrueRateChanges:
    """Bradycardias or tachycardias, as they were asked for.

    Attributes
    ----------
    start_s, reached_s, left_s, end_s : numpy.ndarray, shape (n,)
        When the rate begins to change, has reached the other rate, begins to come back, is back;
        in seconds.
    rate_bpm : numpy.ndarray, shape (n,)
        The other rate, in beats a minute.
    """

    start_s: Floats
    reached_s: Floats
    left_s: Floats
    end_s: Floats
    rate_bpm: Floats

    def __len__(self) -> int:
        return len(self.start_s)


@dataclass(frozen=True, eq=False)
class Intervals:
    """Stretches between two true marks, such as beats around a standstill.

    Attributes
    ----------
    onset_s, end_s : numpy.ndarray, shape (n,)
        The mark that opens and the one that closes each, in seconds.
    """

    onset_s: Floats
    end_s: Floats

    def __len__(self) -> int:
        return len(self.onset_s)

    @property
    def length_s(self) -> Floats:
        """Mark to mark, in seconds."""
        return self.end_s - self.onset_s


@dataclass(frozen=True, eq=False)
class TrueObstructions:
    """Apneas in which air does not flow though the infant makes an effort.

    Attributes
    ----------
    onset_s, end_s : numpy.ndarray, shape (n,)
        When air stops flowing and when it flows again, in seconds.
    effort_from_s : numpy.ndarray, shape (n,)
        From when on there is effort, in seconds: the onset, or the end of the pause before it.
    mixed : numpy.ndarray of bool, shape (n,)
        Whether it begins with a pause; only that part can be seen in the impedance.
    """

    onset_s: Floats
    end_s: Floats
    effort_from_s: Floats
    mixed: Bools

    def __len__(self) -> int:
        return len(self.onset_s)

    @classmethod
    def none(cls) -> TrueObstructions:
        """Return none."""
        return cls(NO_FLOATS, NO_FLOATS, NO_FLOATS, np.empty(0, dtype=np.bool_))


@dataclass(frozen=True, eq=False)
class Truth:
    """What is true of a simulated night.

    Attributes
    ----------
    duration_s : float
        Its length, in seconds.
    beat_s : numpy.ndarray, shape (n,)
        R peaks inside the night, in seconds.
    breath_s : numpy.ndarray, shape (n,)
        Inspiratory peaks of the effort itself (without pulsation, drift and noise), in seconds.
    breath_size_ohm : numpy.ndarray, shape (n,)
        The rise of each inspiration, in ohm.
    pauses : TruePauses
        All that were asked for; one may begin before the night or end after it.
    bradycardias, tachycardias : TrueRateChanges
        Those in pauses too.
    standstills : Intervals
        From the last beat before to the first beat after, in seconds.
    ecg_lost, impedance_lost : Spans
        Where the channel shows something else than the infant, or nothing.
    movements : Spans
        Where the infant moves.
    ecg2_lost : Spans
        As `ecg_lost`, for the second lead.
    obstructions : TrueObstructions
        Where air does not flow though the infant makes an effort.
    beat_ectopic : numpy.ndarray of bool, shape (n,)
        Which beats are ectopic.
    breath_obstructed : numpy.ndarray of bool, shape (m,)
        Which breaths are efforts that move no air.
    """

    duration_s: float
    beat_s: Floats
    breath_s: Floats
    breath_size_ohm: Floats
    pauses: TruePauses
    bradycardias: TrueRateChanges
    tachycardias: TrueRateChanges
    standstills: Intervals
    ecg_lost: Spans
    impedance_lost: Spans
    movements: Spans
    ecg2_lost: Spans = field(default_factory=Spans.none)
    obstructions: TrueObstructions = field(default_factory=TrueObstructions.none)
    beat_ectopic: Bools = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    breath_obstructed: Bools = field(default_factory=lambda: np.empty(0, dtype=np.bool_))

    def __repr__(self) -> str:
        counts = (
            f"{len(self.beat_s)} beats, {len(self.breath_s)} breaths, {len(self.pauses)} pauses"
        )
        return f"Truth({self.duration_s:g} s: {counts})"

    def beats_slower_than(self, limit_bpm: float, *, beats: int = 1) -> Intervals:
        """Return the longest stretches in which every interval between beats is below a rate.

        Parameters
        ----------
        limit_bpm : float
            The rate, in beats a minute; an interval must be longer than 60 / this.
        beats : int
            How many intervals in a row a stretch must have at least.

        Raises
        ------
        ArgumentError
            If the rate is not between 1 and 400 a minute.
        """
        limit = require_between(limit_bpm, 1.0, 400.0, name="limit_bpm", unit="a minute")
        slow = np.diff(self.beat_s) > 60.0 / limit
        edges = np.flatnonzero(np.diff(np.concatenate([[False], slow, [False]])))
        first, after = edges[0::2], edges[1::2]
        enough = after - first >= beats
        return Intervals(self.beat_s[first[enough]], self.beat_s[after[enough]])
