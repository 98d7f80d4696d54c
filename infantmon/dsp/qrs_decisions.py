"""Which candidates are heart beats: levels that follow the signal, and rules for each candidate.

In come candidates in order; out come the indices of those that are beats. Each decision rests on
levels that the decisions before it have made; how many are decided at once all the same stands with
`BeatDecider`. The rules themselves are in `qrs_rules`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from infantmon.dsp.latest_median import LatestMedian
from infantmon.dsp.neighbours import steps
from infantmon.dsp.qrs_candidates import Candidates
from infantmon.dsp.qrs_rules import (
    BEAT,
    CLEAN,
    IGNORED,
    NOISE,
    DecisionRules,
    Standing,
    is_clean,
    is_plain,
    is_stale,
    judge,
    refractory_time,
    tells_anew,
)
from infantmon.dsp.unseen_beats import UnseenBeats
from infantmon.model.arrays import NO_FLOATS, Bools, Floats, Ints
from infantmon.model.carried import Carried

MEMORY: Final = 8  # values behind each level
_WINDOW = 4096  # candidates decided at a time
_LEAST = 64  # but no fewer than this
_ROUNDS = 12
_EXPECTED = 0.6  # of the largest in sight: from here a candidate is guessed to be a beat
_NEVER = -(2**40)


@dataclass(frozen=True, eq=False)
class _Guess:
    """Verdicts on candidates, and what the levels take up because of them."""

    beat: np.ndarray
    noise: np.ndarray
    clean: np.ndarray

    @classmethod
    def of(cls, verdict: Ints) -> _Guess:
        return cls(verdict >= BEAT, verdict == NOISE, verdict == CLEAN)


class BeatDecider(Carried):
    """Goes through candidates in order and tells which are beats.

    Each decision rests on levels made by the decisions before it. Many candidates are decided at
    once nevertheless: from guessed decisions follow the levels at each candidate, from these the
    decisions, and so on until nothing changes. Up to the first change every decision rests on
    right levels, so what is reached is exactly what a loop over the candidates would find.

    Parameters
    ----------
    rate_hz : float
        Ticks of the candidates' places a second.
    rules : DecisionRules, optional
        What a beat must show.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_beat",
        "_noise",
        "_clean",
        "_interval",
        "_last",
        "_plain",
        "_unseen",
    )

    def __init__(self, rate_hz: float, rules: DecisionRules | None = None) -> None:
        self._rate_hz = rate_hz
        self._rules = rules or DecisionRules()
        self._beat = LatestMedian(MEMORY)
        self._noise = LatestMedian(MEMORY)
        self._clean = LatestMedian(MEMORY)
        self._interval = LatestMedian(MEMORY)
        self._last = _NEVER  # tick of the last beat
        self._plain = 0  # candidates since then that would be beats if nothing were known
        self._unseen = UnseenBeats(rate_hz, self._rules)

    def push(self, found: Candidates) -> tuple[Ints, Bools]:
        """Return the indices of the candidates that are beats.

        And of each of them, whether other beats may have gone unseen before it (`UnseenBeats`).
        """
        beats, unseen = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.bool_)]
        start, size = 0, _WINDOW
        while start < len(found):
            some = found.part(start, start + size)
            verdict, standing = self._settle(some)
            unseen.append(self._unseen.push(some.part(0, len(verdict)), verdict, standing))
            self._take(some, verdict)
            beats.append(start + np.flatnonzero(verdict >= BEAT))
            start += len(verdict)
            # In noise few are settled at a time: then it is quicker to look at fewer.
            size = max(_LEAST, 2 * len(verdict)) if len(verdict) < len(some) else _WINDOW
        return np.concatenate(beats), np.concatenate(unseen)

    def _settle(self, some: Candidates) -> tuple[Ints, Standing]:
        """Return the verdicts on as many of the first candidates as could be settled.

        And what was known at each of them.
        """
        verdict = self._expected(some)
        plain = is_plain(some, self._rules)
        right = 0
        for _ in range(_ROUNDS):
            guess = verdict
            standing = self._standing(some, plain, _Guess.of(guess))
            verdict = judge(some, plain, standing, self._rules, self._rate_hz)
            changed = verdict != guess
            right = int(np.argmax(changed)) + 1 if changed.any() else len(some)
            if right == len(some):
                break
        stale = is_stale(standing, self._rules, self._rate_hz)[:right]
        anew = tells_anew(some, standing, self._rules)[:right] & ~stale
        if stale.any() or anew.any():
            right = int(np.argmax(stale | anew))
            if right == 0 and stale[0]:
                self._forget()
            elif right == 0:
                self._begin_with(float(some.height[0]))
        self._count_plain(plain[:right], verdict[:right])
        return verdict[:right], standing.part(right)

    def _expected(self, some: Candidates) -> Ints:
        """Return the verdicts if all large candidates are beats and the rate stays as it is.

        In a regular signal that is right throughout, so that one round settles everything. A few
        candidates are sooner settled from a plainer guess.
        """
        rules = self._rules
        beat = some.height >= _EXPECTED * some.largest
        if len(some) < _LEAST:
            return np.where(beat, CLEAN, NOISE)
        interval = float(self._interval.course(NO_FLOATS)[0])
        before: Ints = np.cumsum(beat) - beat
        since = some.place - np.concatenate(([self._last], some.place[beat]))[before]
        clean = is_clean(some, since, interval, rules)
        verdict = np.where(beat, np.where(clean, CLEAN, BEAT), NOISE)
        return np.where(since < refractory_time(interval, rules, self._rate_hz), IGNORED, verdict)

    def _count_plain(self, plain: Bools, verdict: Ints) -> None:
        """Count the candidates since the last beat that would be beats if nothing were known."""
        beats = np.flatnonzero(verdict >= BEAT)
        since = beats[-1] + 1 if len(beats) else 0
        self._plain = int(np.count_nonzero(plain[since:])) + (0 if since else self._plain)

    def _standing(self, some: Candidates, plain: Bools, guess: _Guess) -> Standing:
        """Return the levels at each candidate if the guess were right."""
        height, beats = some.height, some.place[guess.beat]
        before = np.cumsum(guess.beat) - guess.beat
        last = np.concatenate(([self._last], beats))[before]
        seen: Ints = np.cumsum(plain)
        at_last = np.concatenate(([-self._plain], seen[guess.beat]))[before]
        unknown = int(self._last == _NEVER)
        interval = self._interval.course(self._intervals(beats))
        clean_before = np.cumsum(guess.clean) - guess.clean
        return Standing(
            since=(some.place - last).astype(np.float64),
            plain=seen - plain - at_last,
            beats=before + len(self._beat),
            cleans=clean_before + len(self._clean),
            beat=self._beat.course(height[guess.beat])[before],
            noise=self._noise.course(height[guess.noise])[np.cumsum(guess.noise) - guess.noise],
            clean=self._clean.course(height[guess.clean])[clean_before],
            interval=interval[np.maximum(before - unknown, 0)],
        )

    def _take(self, some: Candidates, verdict: Ints) -> None:
        """Let the levels take up what has been decided."""
        guess, count = _Guess.of(verdict), len(verdict)
        place, height = some.place[:count], some.height[:count]
        self._noise.push(height[guess.noise])
        if not guess.beat.any():
            return
        beats = place[guess.beat]
        self._interval.push(self._intervals(beats))
        self._last = int(beats[-1])
        self._beat.push(height[guess.beat])
        self._clean.push(height[guess.clean])

    def _intervals(self, beats: Ints) -> Floats:
        """Return the ticks up to each beat from the one before it; the first of all has none."""
        intervals = steps(np.concatenate(([self._last], beats))).astype(np.float64)
        return intervals[1:] if self._last == _NEVER else intervals

    def _begin_with(self, height: float) -> None:
        """Take beats to be so high from now on."""
        self._beat.clear()
        self._clean.clear()
        self._beat.push(np.full(self._rules.learned, height))

    def _forget(self) -> None:
        """Learn the levels anew."""
        self._plain = 0
        self._beat.clear()
        self._clean.clear()
        self._interval.clear()
