"""The score of one recording: counts, timing, what lies in shutdown, and where it went wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from infantmon.labelled.database import Labelled, SetApart
from infantmon.model.arrays import Bools, Floats
from infantmon.scorecard.detectors import Detected
from infantmon.scoring.marks import MarkMatch, match_marks
from infantmon.scoring.tallies import Tally, gross

HISTOGRAM_BINS = 31
"""The errors in time are counted in so many equal parts of plus and minus the match window."""


@dataclass(frozen=True)
class WindowScore:
    """Counts of one recording under one match window.

    Attributes
    ----------
    window_s : float or None
        The match window, in seconds; None where no marks are matched.
    tally : Tally
        Everything in the scored period, unusable time included, summed over annotators.
    bias_s, spread_s : float or None
        Mean and standard deviation of test time minus reference time (first annotator), in seconds.
    errors : tuple of int
        Pairs by their error in time, from minus to plus the window, in `HISTOGRAM_BINS` parts.
    """

    window_s: float | None
    tally: Tally
    bias_s: float | None = None
    spread_s: float | None = None
    errors: tuple[int, ...] = ()


@dataclass(frozen=True)
class Shutdown:
    """What lies in stretches that the detector itself calls unusable (EC57's shutdown).

    Attributes
    ----------
    seconds : float
        How long they are together, in seconds.
    reference, test : int
        Reference and test marks inside, summed over annotators as in `Tally`.
    outside : Tally
        The counts without them.
    """

    seconds: float
    reference: int
    test: int
    outside: Tally


@dataclass(frozen=True)
class Trusted:
    """How the detector's own trust in its marks agrees with the reference.

    Attributes
    ----------
    right_trusted, right_doubted, wrong_trusted, wrong_doubted : int
        Marks that are right or wrong, and that the detector trusts or doubts.
    """

    right_trusted: int = 0
    right_doubted: int = 0
    wrong_trusted: int = 0
    wrong_doubted: int = 0

    def __add__(self, other: Trusted) -> Trusted:
        return Trusted(
            self.right_trusted + other.right_trusted,
            self.right_doubted + other.right_doubted,
            self.wrong_trusted + other.wrong_trusted,
            self.wrong_doubted + other.wrong_doubted,
        )


@dataclass(frozen=True, eq=False)
class ErrorStrip:
    """A short stretch of a recording where most errors are, to be drawn.

    Attributes
    ----------
    start_s, rate_hz : float
        Time of its first sample in seconds, and samples a second.
    values : numpy.ndarray, shape (n,)
        The signal.
    reference_s, test_s, missed_s, extra_s : numpy.ndarray
        Marks inside, in seconds.
    """

    start_s: float
    rate_hz: float
    values: Floats
    reference_s: Floats
    test_s: Floats
    missed_s: Floats
    extra_s: Floats


@dataclass(frozen=True, eq=False)
class RecordScore:
    """All that is told of one recording.

    Attributes
    ----------
    record : str
        Its name.
    group : str
        What it is counted under, such as the kind of an alarm; empty where all are alike.
    recorded_s, scored_s : float
        How long it is, and how much of it is scored, in seconds.
    windows : tuple of WindowScore
        One a match window; the first is the headline.
    shutdown : Shutdown or None
        None for a detector that does not tell.
    trusted : Trusted or None
        None for a detector that does not tell.
    known_wrong : Tally or None
        The headline counts without stretches whose reference is known to be wrong; None where
        there are none.
    notes : tuple of str
        What is left out of the scoring or apart from it, and failures, in words.
    failed : bool
        Whether the detector failed on it: then every reference mark is missed.
    strip : ErrorStrip or None
        Where most errors are; None where there are none.
    """

    record: str
    recorded_s: float
    scored_s: float
    windows: tuple[WindowScore, ...]
    group: str = ""
    shutdown: Shutdown | None = None
    trusted: Trusted | None = None
    known_wrong: Tally | None = None
    notes: tuple[str, ...] = ()
    failed: bool = False
    strip: ErrorStrip | None = None

    @property
    def tally(self) -> Tally:
        """The headline counts."""
        return self.windows[0].tally


@dataclass(frozen=True)
class _Scored:
    """The scored period of a recording: from a time on, without stretches that have no marks."""

    from_s: float
    unmarked: tuple[SetApart, ...]

    def inside(self, times_s: Floats) -> Bools:
        keep: Bools = times_s >= self.from_s
        return keep & ~_within(times_s, self.unmarked)

    def between_s(self, start_s: float, end_s: float) -> float:
        """Return how much of a stretch is scored, in seconds."""
        start = max(start_s, self.from_s)
        lost = sum(max(0.0, min(s.end_s, end_s) - max(s.start_s, start)) for s in self.unmarked)
        return max(0.0, end_s - start) - lost


def score_record(
    record: str,
    labelled: Labelled,
    references: tuple[Floats, ...],
    detected: Detected,
    *,
    windows_s: tuple[float, ...],
    from_s: float,
    signal_role: str,
) -> RecordScore:
    """Compare what a detector found in a recording with its reference marks.

    Parameters
    ----------
    record : str
        Its name.
    labelled : Labelled
        The recording.
    references : tuple of numpy.ndarray
        Reference marks, in seconds, one array an annotator; counts are summed over them.
    detected : Detected
        What was found.
    windows_s : tuple of float
        Match windows, in seconds; the first is the headline.
    from_s : float
        Where the scored period begins, in seconds.
    signal_role : str
        The channel that the strip of errors shows.
    """
    scored = _Scored(from_s, tuple(s for s in labelled.set_apart if s.unmarked))
    end_s = labelled.recording.end_s
    matches = [
        [match_marks(reference, detected.time_s, window) for reference in references]
        for window in windows_s
    ]
    first = matches[0]
    wrong = tuple(s for s in labelled.set_apart if not s.unmarked)
    return RecordScore(
        record,
        recorded_s=end_s,
        scored_s=scored.between_s(0.0, end_s),
        windows=tuple(_window_score(some, scored) for some in matches),
        shutdown=_shutdown(first, scored, detected),
        trusted=_trusted(first[0], scored, detected),
        known_wrong=_without(first, scored, wrong) if wrong else None,
        notes=tuple(_notes(labelled, detected, end_s)),
        strip=_strip(labelled, first[0], scored, signal_role),
    )


def _window_score(matches: list[MarkMatch], scored: _Scored) -> WindowScore:
    tally = gross(_counts(match, scored.inside) for match in matches)
    match = matches[0]
    errors = match.error_s[scored.inside(match.reference_s[match.reference_index])]
    bias, spread = (float(errors.mean()), float(errors.std())) if len(errors) else (None, None)
    reach = match.window_s * (1.0 + 1e-6)
    counts, _ = np.histogram(errors, bins=HISTOGRAM_BINS, range=(-reach, reach))
    return WindowScore(match.window_s, tally, bias, spread, tuple(counts.tolist()))


def _counts(match: MarkMatch, keep: Callable[[Floats], Bools]) -> Tally:
    """Count pairs where their reference lies, misses and extras where they lie themselves."""
    return Tally(
        int(np.count_nonzero(keep(match.reference_s[match.reference_index]))),
        int(np.count_nonzero(keep(match.missed_s))),
        int(np.count_nonzero(keep(match.extra_s))),
    )


def _without(matches: list[MarkMatch], scored: _Scored, apart: tuple[SetApart, ...]) -> Tally:
    return gross(
        _counts(match, lambda times: scored.inside(times) & ~_within(times, apart))
        for match in matches
    )


def _shutdown(matches: list[MarkMatch], scored: _Scored, detected: Detected) -> Shutdown | None:
    if detected.shutdown_s is None:
        return None
    spans = tuple(SetApart(float(a), float(b), "") for a, b in detected.shutdown_s)
    inside = [(scored.inside(m.reference_s) & _within(m.reference_s, spans)).sum() for m in matches]
    test = scored.inside(detected.time_s) & _within(detected.time_s, spans)
    return Shutdown(
        seconds=sum(scored.between_s(s.start_s, s.end_s) for s in spans),
        reference=int(sum(inside)),
        test=int(test.sum()) * len(matches),
        outside=_without(matches, scored, spans),
    )


def _trusted(match: MarkMatch, scored: _Scored, detected: Detected) -> Trusted | None:
    if detected.reliable is None:
        return None
    keep = scored.inside(match.test_s)
    right, trusted = match.test_right[keep], detected.reliable[keep]
    return Trusted(
        int((right & trusted).sum()),
        int((right & ~trusted).sum()),
        int((~right & trusted).sum()),
        int((~right & ~trusted).sum()),
    )


def _within(times_s: Floats, stretches: tuple[SetApart, ...]) -> Bools:
    within = np.zeros(len(times_s), dtype=np.bool_)
    for stretch in stretches:
        within |= (times_s >= stretch.start_s) & (times_s < stretch.end_s)
    return within


def _notes(labelled: Labelled, detected: Detected, end_s: float) -> list[str]:
    notes = list(labelled.notes)
    if detected.doubled:
        notes.append(f"{detected.doubled} marks stood at the instant of another; counted once")
    for stretch in labelled.set_apart:
        end = min(stretch.end_s, end_s)
        found = int(((detected.time_s >= stretch.start_s) & (detected.time_s < end)).sum())
        how = "not scored" if stretch.unmarked else "scored, and told without"
        notes.append(
            f"{stretch.start_s:.1f} to {end:.1f} s: {stretch.why}; {how} ({found} test marks there)"
        )
    return notes


def _strip(labelled: Labelled, match: MarkMatch, scored: _Scored, role: str) -> ErrorStrip | None:
    """Return the stretch with the most errors."""
    errors = np.sort(np.concatenate((match.missed_s, match.extra_s)))
    errors = errors[scored.inside(errors)]
    channel = labelled.recording.channels.get(role)
    if not len(errors) or channel is None:
        return None
    length_s = 8.0 if role == "ecg" else 60.0
    count = np.searchsorted(errors, errors + 0.8 * length_s) - np.arange(len(errors))
    first = float(errors[np.argmax(count)]) - 0.1 * length_s
    start = max(0.0, min(first, labelled.recording.end_s - length_s))
    end = start + length_s
    step = max(1, round(channel.rate_hz * length_s / 1600.0))
    _, values = channel.between(start, end)

    def near(times_s: Floats) -> Floats:
        return times_s[(times_s >= start) & (times_s < end)]

    return ErrorStrip(
        start,
        channel.rate_hz / step,
        values[::step],
        near(match.reference_s),
        near(match.test_s),
        near(match.missed_s),
        near(match.extra_s),
    )
