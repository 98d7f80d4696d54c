"""The beats that lead: R peaks while they can be trusted, else beats followed in the impedance.

In come R peaks and band-passed impedance; out come beats in one numbered train, each with the
output sample from which on it may lead. R peaks come first. Where none has come for some seconds
the heart is followed in the impedance from the last of them on; where they come so unevenly that
they cannot be at the beats, or there is no ECG, from wherever it is found.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar

from infantmon.dsp.beat_train import Beat, BeatTrain
from infantmon.dsp.kept import Kept
from infantmon.dsp.pulse_follower import PulseFollower
from infantmon.model.carried import Carried
from infantmon.model.clock import Clock

# All values are the project's choice, on simulated seeds.
LOST_S = 3.0  # without an R peak
WEIGHT = 0.04  # of a new interval in what is known of how uneven they are,
MOST = 0.2  # of which no step from one interval to the next counts for more
SHAKY = 0.075  # usual step, in intervals: R peaks are not at the beats,
STEADY = 0.05  # and they are again
LATEST = 9  # R peaks from which the heart is followed on
BACK = 4  # so many close to each other lead again

Placed = tuple[int, Beat]


class BeatSource(Carried):
    """Chooses which beats lead.

    R peaks that are no longer at the beats go on to lead until the heart can be followed. They lead
    again once four have come close to each other, or come evenly.

    Parameters
    ----------
    clock : Clock
        Of the impedance.
    ahead : int
        Samples past an output sample that are known with it.
    led : bool
        Whether there is an ECG.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_train",
        "_follower",
        "_cycle",
        "_train_cycle",
        "_latest",
        "_interval_s",
        "_step",
        "_shaky",
        "_lost",
        "_begun",
        "_last_s",
    )

    def __init__(self, clock: Clock, ahead: int, *, led: bool) -> None:
        self._clock = clock
        self._ahead = ahead
        self._train = BeatTrain()
        self._follower = PulseFollower(clock.rate_hz)
        self._cycle = 0  # number of the latest beat that led
        self._train_cycle = 0  # the same in the train of R peaks
        self._latest: deque[float] = deque(maxlen=LATEST)  # times of R peaks
        self._interval_s = 0.0  # between the latest two
        self._step = 0.0  # usual step from one interval to the next, in intervals
        self._shaky = False
        self._rate_hz = clock.rate_hz
        # from the time of an R peak to that of the output sample without another for too long
        self._until_lost_s = LOST_S - clock.start_s - ahead / clock.rate_hz
        self._lost = (clock.start_s + self._until_lost_s) * self._rate_hz  # that output sample
        self._begun = not led  # whether the heart is followed in the impedance
        self._last_s = -math.inf  # time of the latest beat that led

    def take(self, place: int, time_s: float, kept: Kept, news: list[Placed]) -> None:
        """Take an R peak that is known at an output sample; add the beats up to it to `news`."""
        if self._begun or place >= self._lost:
            self.follow(place, kept, news)
        beat = self._train.take(time_s)
        if beat is None:
            return
        self._note(time_s)
        cycles = beat.cycle - self._train_cycle
        self._train_cycle = beat.cycle
        if (self._begun or self._shaky) and not self._lead_again(place, kept):
            return
        if time_s <= self._last_s:
            return
        self._cycle += cycles
        self._last_s = time_s
        if self._cycle != beat.cycle:
            beat = beat._replace(cycle=self._cycle)
        news.append((place, beat))

    def _lead_again(self, place: int, kept: Kept) -> bool:
        """Tell whether R peaks lead, though the heart is followed or they come unevenly."""
        if not self._begun:
            self._begin(place, kept)
        if self._shaky:
            return not self._follower.trusted  # for want of anything better
        self._begun = len(self._latest) < BACK
        return not self._begun

    def _note(self, time_s: float) -> None:
        """Learn how evenly R peaks come."""
        interval_s = time_s - self._latest[-1] if self._latest else math.inf
        if interval_s < LOST_S:
            step = abs(interval_s - self._interval_s) / interval_s
            self._step += WEIGHT * ((step if step < MOST else MOST) - self._step)
            self._shaky = self._step > (STEADY if self._shaky else SHAKY)
            self._interval_s = interval_s
        else:
            self._latest.clear()
        self._latest.append(time_s)
        self._lost = (time_s + self._until_lost_s) * self._rate_hz

    def follow(self, until: int, kept: Kept, news: list[Placed]) -> None:
        """Add the beats followed in the impedance that lead from samples up to one on."""
        if not self._begun:
            if until < self._lost:
                return
            self._begin(math.ceil(self._lost), kept)
        reach = min(until + self._ahead, kept.end)
        for place, at, period, trusted in self._follower.follow(kept, reach):
            if self._shaky and not trusted:
                continue  # R peaks stand in
            time_s = self._clock.start_s + at / self._clock.rate_hz
            if time_s > self._last_s:
                self._cycle += 1
                self._last_s = time_s
                usual_s = period / self._clock.rate_hz
                beat = Beat(time_s, self._cycle, usual_s, trusted, followed=True)
                news.append((max(place - self._ahead, 0), beat))

    def _begin(self, place: int, kept: Kept) -> None:
        """Follow the heart: from the latest R peaks on, unless these were not at the beats."""
        rate = self._clock.rate_hz
        latest = [] if self._shaky else self._latest
        places = [(time_s - self._clock.start_s) * rate for time_s in latest]
        self._follower.begin_at(places, place + self._ahead, kept)
        self._begun = True
