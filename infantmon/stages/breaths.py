"""Breath effort: one mark an inspiration, by the rise before it and the fall after it.

In comes impedance without the heart's pulsation; out come breaths. The idea: every local maximum is
a candidate, and a breath if the signal rises to it, and falls after it, by a good share of what
breaths here usually do. There is no threshold in ohm: what is usual is learned as it goes. The
stage finds the maxima and measures around them; `BreathJudge` decides.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from infantmon.dsp.breath_judge import FOLLOWED, BreathJudge, Found, Peak, Turn
from infantmon.dsp.breath_shape import fall_ends, rise_starts, top_of
from infantmon.dsp.bridged import Bridged
from infantmon.dsp.kept import Kept
from infantmon.dsp.neighbours import steps
from infantmon.dsp.turning_points import TurningPoints
from infantmon.errors import ArgumentError, as_floats, require_between, require_number, require_rate
from infantmon.model.arrays import Floats, Ints, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.marks import Breaths
from infantmon.stages.contract import Stage, settled_before

LOWEST_HZ = 15.0
LEAST_SHARE = 0.275
"""A breath is at least so large beside the usual one where R peaks tell the heart's pulsation
(project's choice, on the shared recordings)."""
SHALLOW = 0.5  # a breath smaller than this share of the usual size is marked as shallow
RINGS_S = 0.4  # a jump of the level takes no longer from peak to trough, after the band-pass
TOP = 0.2  # the mark is the middle of what lies above this share of the size, from the top,
TOP_BEFORE_S = 0.4  # no longer before the maximum than this,
TOP_DIP = 0.5  # and not beyond a dip of this share of the least breath (project's choices)


@record
@dataclass(frozen=True)
class BreathSettings:
    """Settings of `BreathDetector`.

    Parameters
    ----------
    rate_hz : float
        Samples a second of the signal that is pushed; at least 15 Hz.
    start_s : float
        Time of its first sample, in seconds from the recording's start.
    input_lag_s : float
        How much later than its own time each sample is ready, in seconds of the raw input.
    raw_rate_hz : float or None
        Samples a second of the raw impedance; None where the raw signal itself is pushed.
    raw_start_s : float
        Time of the raw impedance's tick 0, in seconds from the recording's start.
    ahead_s : float
        How far past a peak the signal is looked at before it is judged, in seconds.
    led_by_beats : bool
        False where there is no ECG, so that pulsation may be left in: then a breath rises and
        falls by at least 0.3 of the usual size, otherwise by 0.275.
    rise_within_s : float
        What counts of a rise is what happens within this time before the peak, in seconds: a
        baseline that creeps up is no breath.
    """

    rate_hz: float
    start_s: float = 0.0
    input_lag_s: float = 0.0
    raw_rate_hz: float | None = None
    raw_start_s: float = 0.0
    ahead_s: float = 1.36
    led_by_beats: bool = True
    rise_within_s: float = 2.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_rate(self.rate_hz, lowest_hz=LOWEST_HZ)
        if self.raw_rate_hz is not None:
            require_rate(self.raw_rate_hz, name="raw_rate_hz", lowest_hz=LOWEST_HZ)
        for name in ("start_s", "raw_start_s"):
            require_number(getattr(self, name), name=name, unit="s")
        require_between(self.input_lag_s, 0.0, 60.0, name="input_lag_s", unit="s")
        require_between(self.ahead_s, 0.2, 10.0, name="ahead_s", unit="s")
        require_between(self.rise_within_s, 0.5, 10.0, name="rise_within_s", unit="s")


class BreathDetector(Stage):
    """Finds breaths in chest impedance from which the heart's pulsation was taken.

    The mark is at the **top** of a breath: the inspiratory peak where the impedance rises with
    inspiration, as it does unless the channel is inverted. For an inverted channel the mark is the
    end of expiration; count and pauses stay the same within a breath. It is the middle of what lies
    within a fifth of the size (of the usual size, where that is smaller) below the maximum, without
    a break or a dip, and no longer than 0.4 s before the maximum or `ahead_s` after it: for most
    breaths a point, for one that is held the middle of its plateau. Where breathing is brisk (more
    than 23 a minute) and the plateau is longer than that, it is a pause, and the mark is where it
    begins.

    A local maximum is a breath if it rises by at least 0.275 of the usual size (0.3 without an ECG)
    over the lowest point since the last breath (and within the last 2 s), and then falls by as much
    before anything higher comes. If it neither falls nor is overtaken within `ahead_s`, it counts
    if the rise is at least 0.65 of the usual size; where breathing is brisk it may be overtaken by
    0.15 of it. So a baseline that creeps back after the last breath of a series is no breath; nor
    is one that rebounds and sinks slowly. Where a large pulsation was taken out, a breath is at
    least 0.7 of it, or 0.4 of the usual size: some of it may be left. Where breathing is slow a
    breath may rise for longer than 2 s, if it falls. The usual size is the median of the last 25
    breaths, weighted by their square (`UsualSize`).

    Parameters
    ----------
    settings : BreathSettings
        Rates, start and lag.

    Notes
    -----
    Latency: a breath is known `ahead_s` + `input_lag_s` after its maximum, rounded up to the next
    raw sample, so at most `latency_s` after its mark, which may lie 0.2 s before the maximum; at
    the end of the stream with the last sample. Start-up: none; the first breaths are judged by the
    range of the signal around them. Memory: a few seconds of samples.
    """

    settings_type: ClassVar = BreathSettings
    carried: ClassVar[tuple[str, ...]] = (
        "_bridged",
        "_turning",
        "_kept",
        "_cycles",
        "_followed",
        "_pulse",
        "_judge",
        "_turns",
    )

    def __init__(self, settings: BreathSettings) -> None:
        super().__init__(settings)
        rate = settings.rate_hz
        self._clock = Clock(rate, settings.start_s)
        raw_rate = settings.raw_rate_hz
        own_start = settings.start_s if raw_rate is None else settings.raw_start_s
        self._raw = Clock(rate if raw_rate is None else raw_rate, own_start)
        self._ahead = max(1, math.floor(settings.ahead_s * rate + 1e-9))
        self._behind = max(1, math.floor(settings.rise_within_s * rate + 1e-9))
        self._top_before = min(round(TOP_BEFORE_S * rate), self._behind)
        self._bridged = Bridged(longest=None)
        self._turning = TurningPoints()
        self._kept = Kept()
        self._cycles = Kept()  # heart beats up to each sample
        self._followed = Kept(np.bool_)  # whether these were followed in the impedance
        self._pulse = Kept()  # size of the pulsation taken out there
        least = LEAST_SHARE if settings.led_by_beats else FOLLOWED
        self._judge = BreathJudge(rate, self._behind, self._ahead, least)
        self._turns: list[Turn] = []  # turning points not done with

    @property
    def latency_s(self) -> float:
        """The longest that a breath can be known after its mark, in seconds of the raw input."""
        needed = (self._ahead + 0.5 * self._top_before) / self.settings.rate_hz
        return float(needed + self.settings.input_lag_s + 1.0 / self._raw.rate_hz)

    @property
    def settled_until_s(self) -> float:
        """All breaths before this time have been given, in seconds."""
        judged = self._clock.time_s(self._kept.end - 1 - self._ahead)
        earlier_s = 0.5 * self._top_before / self.settings.rate_hz
        return settled_before(judged, earlier_s, ended=self._ended)

    def push(
        self,
        values: npt.ArrayLike,
        cycles: npt.ArrayLike | None = None,
        followed: npt.ArrayLike | None = None,
        pulse: npt.ArrayLike | None = None,
        *,
        last: bool = False,
    ) -> Breaths:
        """Take samples, return the breaths that they settle.

        Parameters
        ----------
        values : array_like, shape (n,)
            Impedance in any unit, after band-pass and artefact rejection; none is fine.
        cycles : array_like, shape (n,), optional
            At each sample, heart beats since any one of them, with shares, NaN where they are not
            known: `Cleaned.cycles`. After 30 s of silence small swings that keep step with the
            heart are not taken for shallow breathing.
        followed : array_like, shape (n,), optional
            Not 0 where beats were followed in the impedance: `Cleaned.followed`. There a breath
            must be as large as without an ECG.
        pulse : array_like, shape (n,), optional
            How large the pulsation is that was taken out, in the samples' unit: `Cleaned.pulse`.
            What is left of a large one must not count as a breath, which must be at least 0.7 of
            it, or 0.4 of the usual breath.
        last : bool
            Whether the stream ends here.

        Returns
        -------
        Breaths
            In order of time. `shallow` is true for a breath under half of the usual size.

        Raises
        ------
        ArgumentError
            If `cycles`, `followed` or `pulse` has not as many values as the samples.
        """
        samples = as_samples(values, name="impedance samples")
        beats = _beside(cycles, "cycles", len(samples), math.nan)
        unled = _beside(followed, "followed", len(samples), 0.0) != 0.0
        taken = _beside(pulse, "pulse", len(samples), 0.0)
        self.begin_push(last=last)
        samples, _ = self._bridged.push(samples)
        self._kept.push(samples)
        self._cycles.push(beats)
        self._followed.push(unled)
        self._pulse.push(taken)
        place, value, is_peak = self._turning.push(samples)
        self._turns.extend(zip(place.tolist(), value.tolist(), is_peak.tolist(), strict=True))
        found = self._judged(last=last)
        breaths = self._findings(found)
        self._forget()
        return breaths

    def _judged(self, *, last: bool) -> list[Found]:
        """Judge all maxima that can be judged now, in order."""
        end = self._kept.end
        until = end if last else end - self._ahead
        found: list[Found] = []
        peaks = self._ready_peaks(until)
        turns = self._turns
        done = 0
        for done, (place, value, is_peak) in enumerate(turns):
            if place >= until and is_peak:
                break
            if is_peak:
                breath = self._judge.judge(next(peaks), turns, done + 1)
                if breath is not None:
                    found.append(breath)
            else:
                self._judge.pass_minimum(place, value)
        else:
            done = len(turns)
        self._turns = turns[done:]
        return found

    def _ready_peaks(self, until: int) -> Iterator[Peak]:
        """Return the maxima before a place, with the signal around them looked up all at once."""
        ready = [(place, value) for place, value, is_peak in self._turns if is_peak]
        ready = [(place, value) for place, value in ready if place < until]
        if not ready:
            return iter(())
        places = np.array([place for place, _ in ready], dtype=np.int64)
        windows = self._kept.windows(places - self._behind, self._behind + self._ahead + 1)
        before = windows[:, : self._behind + 1]
        lowest, at = before.min(axis=1), before.argmin(axis=1)
        seen = windows.max(axis=1) - windows.min(axis=1)
        steepest = steps(before).max(axis=1)
        soon = windows[:, self._behind : self._behind + 1 + round(RINGS_S * self._clock.rate_hz)]
        drop = soon[:, 0] - soon.min(axis=1)
        last = windows[:, -1]
        cycles = self._cycles.windows(places - 2, 5)
        per_sample = (cycles[:, 4] - cycles[:, 0]) / 4.0
        columns = (
            lowest,
            places - self._behind + at,
            last,
            seen,
            steepest,
            drop,
            cycles[:, 2],
            per_sample,
            self._followed.windows(places, 1)[:, 0],
            self._pulse.windows(places, 1)[:, 0],
        )
        rows = zip(ready, *(column.tolist() for column in columns), strict=True)
        return (Peak(*head, *rest) for head, *rest in rows)

    def _findings(self, found: list[Found]) -> Breaths:
        """Return breaths as a table."""
        if not found:
            return Breaths.empty(self.settled_until_s)
        place = np.array([each.place for each in found], dtype=np.int64)
        size = np.array([each.size for each in found])
        usual = np.array([each.usual for each in found])
        least = np.array([each.least for each in found])
        lowest = np.array([each.from_place for each in found])
        behind, top = self._behind, self._behind - self._top_before
        around = self._kept.windows(place - behind, behind + self._ahead + 1)
        depth = TOP * np.minimum(size, usual)
        before, after = top_of(around[:, top:], self._top_before, depth, TOP_DIP * least)
        held = (after >= self._ahead) & [each.brisk for each in found]  # a pause begins there
        after = np.minimum(after, self._kept.end - 1 - place)  # not beyond the latest sample
        mark = place + 0.5 * (np.where(held, 0.0, after) - before)
        time_s = self._clock.start_s + mark / self._clock.rate_hz
        rises = place + rise_starts(around[:, : behind + 1], lowest - place, before)
        falls, over = fall_ends(around[:, behind:], after)
        return Breaths(
            time_s=time_s,
            known_s=self._known(place),
            sample=np.rint((time_s - self._raw.start_s) * self._raw.rate_hz).astype(np.int64),
            size=size,
            rise_start_s=self._clock.times_s(rises),
            fall_end_s=np.where(over, self._clock.times_s(place + falls), math.nan),
            shallow=size < SHALLOW * usual,
            settled_until_s=self.settled_until_s,
        )

    def _known(self, place: Ints) -> Floats:
        """Return when the raw input has brought all that each peak needs."""
        lag = self.settings.input_lag_s
        needed = self._clock.times_s(place + self._ahead) + lag
        ticks = np.ceil((needed - self._raw.start_s) * self._raw.rate_hz - 1e-6).astype(np.int64)
        if self._ended:
            ticks = np.minimum(ticks, self._last_raw_tick())
        return self._raw.times_s(ticks)

    def _last_raw_tick(self) -> int:
        """Return the raw tick that completed the last sample."""
        per_sample = max(1, round(self._raw.rate_hz / self._clock.rate_hz))
        last_s = self._clock.time_s(self._kept.end - 1) + (per_sample - 1) / 2 / self._raw.rate_hz
        return self._raw.ticks_in(last_s - self._raw.start_s)

    def _forget(self) -> None:
        """Let go of samples that nothing can need any more."""
        earliest = self._turns[0][0] if self._turns else self._kept.end - 1
        self._kept.forget_before(earliest - self._behind - 2)
        for kept in (self._cycles, self._followed, self._pulse):
            kept.forget_before(earliest - 3)


def _beside(values: npt.ArrayLike | None, name: str, count: int, none: float) -> Floats:
    """Return one value for each of so many samples; `none` for each if there are none."""
    if values is None:
        return np.full(count, none)
    found = as_samples(values, name=name)
    if len(found) != count:
        unknown = ", NaN where it is not known" if math.isnan(none) else ""
        raise ArgumentError(
            f"{name} has {len(found)} values for {count} samples; pass one for each{unknown}."
        )
    return found
