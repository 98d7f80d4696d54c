"""Apneas in which no air flows although the infant makes an effort: impedance cannot see them.

`peak_s` are the peaks of the efforts, in seconds, of shape (n,); so is what is returned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between, require_number
from infantmon.model.arrays import Bools, Floats
from infantmon.simulate.heart import RateChange, SlowingInPause
from infantmon.simulate.pauses import Pause


@dataclass(frozen=True)
class ObstructiveApnea:
    """No air flows, and the effort goes on: the chest's impedance keeps changing.

    Parameters
    ----------
    onset_s, length_s : float
        When air stops flowing, and for how long, in seconds.
    effort_start, effort_end : float
        Size of the first and of the last effort, as a share of the breath that it would be.
    bradycardia : SlowingInPause or None
        How the heart slows, if it does.

    Notes
    -----
    Impedance alarmed in 7 of 26 apneas of 15 s and more, mostly obstructive (Werthammer et al.,
    Pediatrics 1983;71:53-55). Sizes of the effort: project choice.
    """

    onset_s: float
    length_s: float
    effort_start: float = 0.8
    effort_end: float = 1.4
    bradycardia: SlowingInPause | None = None

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.onset_s, name="onset_s", unit="s")
        require_between(self.length_s, 0.1, 1e6, name="length_s", unit="s")
        for name in ("effort_start", "effort_end"):
            require_between(getattr(self, name), 0.05, 5.0, name=name, unit="of a breath")
        if self.bradycardia is not None:
            self.bradycardia.change(self.onset_s, self.length_s)

    @property
    def start_s(self) -> float:
        """When air stops flowing, in seconds."""
        return self.onset_s

    @property
    def effort_from_s(self) -> float:
        """From when on there is effort without flow, in seconds."""
        return self.onset_s

    @property
    def end_s(self) -> float:
        """When air flows again, in seconds."""
        return self.onset_s + self.length_s

    @property
    def pause(self) -> Pause | None:
        """The part without effort: none."""
        return None

    @property
    def slowing(self) -> RateChange | None:
        """What the heart does, if anything."""
        return _slowing(self.bradycardia, self.onset_s, self.length_s)

    def covers(self, peak_s: Floats) -> Bools:
        """Tell which breaths, by their peaks (s), move no air."""
        return _covers(self.effort_from_s, self.end_s, peak_s)

    def times(self, peak_s: Floats) -> Floats:
        """Return the size of efforts at their peaks (s), as a share of a breath."""
        return _times(self, peak_s)


@dataclass(frozen=True)
class MixedApnea:
    """A pause without effort, then efforts that move no air.

    Parameters
    ----------
    onset_s : float
        The inspiratory peak of the last breath, in seconds.
    central_s : float
        From there to the peak of the first effort, in seconds: all that impedance can see.
    obstructed_s : float
        From there until air flows again, in seconds.
    effort_start, effort_end : float
        Size of the first and of the last effort, as a share of the breath that it would be.
    bradycardia : SlowingInPause or None
        How the heart slows, if it does, counted from the onset.

    Notes
    -----
    Of 2082 apneas of 15 s and more 49.6 % were mixed, 39.9 % central, 10.5 % obstructive (Finer et
    al., J Pediatr, about 1992).
    """

    onset_s: float
    central_s: float
    obstructed_s: float
    effort_start: float = 0.6
    effort_end: float = 1.3
    bradycardia: SlowingInPause | None = None

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.onset_s, name="onset_s", unit="s")
        for name in ("central_s", "obstructed_s"):
            require_between(getattr(self, name), 0.1, 1e6, name=name, unit="s")
        for name in ("effort_start", "effort_end"):
            require_between(getattr(self, name), 0.05, 5.0, name=name, unit="of a breath")
        if self.bradycardia is not None:
            self.bradycardia.change(self.onset_s, self.end_s - self.onset_s)

    @property
    def start_s(self) -> float:
        """The onset, in seconds."""
        return self.onset_s

    @property
    def effort_from_s(self) -> float:
        """From when on there is effort without flow, in seconds."""
        return self.onset_s + self.central_s

    @property
    def end_s(self) -> float:
        """When air flows again, in seconds."""
        return self.effort_from_s + self.obstructed_s

    @property
    def pause(self) -> Pause | None:
        """The part without effort."""
        return Pause(self.onset_s, self.central_s)

    @property
    def slowing(self) -> RateChange | None:
        """What the heart does, if anything."""
        return _slowing(self.bradycardia, self.onset_s, self.end_s - self.onset_s)

    def covers(self, peak_s: Floats) -> Bools:
        """Tell which breaths, by their peaks (s), move no air."""
        # the first effort is marked exactly where the pause ends
        return _covers(self.effort_from_s - 1e-6, self.end_s, peak_s)

    def times(self, peak_s: Floats) -> Floats:
        """Return the size of efforts at their peaks (s), as a share of a breath."""
        return _times(self, peak_s)


Obstruction = ObstructiveApnea | MixedApnea


def _covers(start_s: float, end_s: float, peak_s: Floats) -> Bools:
    return (peak_s >= start_s) & (peak_s < end_s)


def _times(apnea: Obstruction, peak_s: Floats) -> Floats:
    gone = np.clip((peak_s - apnea.effort_from_s) / (apnea.end_s - apnea.effort_from_s), 0.0, 1.0)
    return np.asarray(apnea.effort_start + gone * (apnea.effort_end - apnea.effort_start))


def _slowing(slows: SlowingInPause | None, onset_s: float, length_s: float) -> RateChange | None:
    return None if slows is None else slows.change(onset_s, length_s)
