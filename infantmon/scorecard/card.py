"""A card: one detector over one database, all records and what they add up to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from infantmon.scorecard.record_score import RecordScore, Trusted
from infantmon.scoring.bootstrap import positive_predictivities, record_interval, sensitivities
from infantmon.scoring.tallies import Tally, average, gross

_SEED = 57  # of the bootstrap: the same card gives the same interval


@dataclass(frozen=True, eq=False)
class Card:
    """One detector over one database.

    Attributes
    ----------
    database, population, label_origin, tuned_on : str
        What was scored, whom it shows, who made the labels, whether detectors were tuned on it.
    what : str
        "beats", "breaths" or "alarms".
    detector : str
        What was scored.
    from_s : float
        Where the scored period of each record begins, in seconds.
    noise : str
        What was added to the signals, in words; empty for nothing.
    records : tuple of RecordScore
        One a record.
    """

    database: str
    population: str
    label_origin: str
    tuned_on: str
    what: str
    detector: str
    from_s: float
    records: tuple[RecordScore, ...]
    noise: str = ""

    @property
    def title(self) -> str:
        """What it is, in words."""
        noise = f", {self.noise}" if self.noise else ""
        return f"{self.what} of {self.database}, {self.detector}{noise}"

    def __repr__(self) -> str:
        counts = self.gross()
        return f"Card({self.title}: {len(self.records)} records, {counts})"

    @property
    def windows_s(self) -> tuple[float | None, ...]:
        """The match windows, in seconds; the first is the headline."""
        return tuple(window.window_s for window in self.records[0].windows)

    @property
    def groups(self) -> tuple[str, ...]:
        """What records are counted under, such as the kinds of alarms."""
        return tuple(sorted({score.group for score in self.records}))

    def tallies(self, window: int = 0, group: str | None = None) -> list[Tally]:
        """Return the counts of each record under a match window."""
        return [
            score.windows[window].tally
            for score in self.records
            if group is None or score.group == group
        ]

    def gross(self, window: int = 0, group: str | None = None) -> Tally:
        """Return the counts of all records together."""
        return gross(self.tallies(window, group))

    def average(self, window: int = 0) -> tuple[float | None, float | None]:
        """Return mean sensitivity and mean positive predictivity over records (EC57)."""
        tallies = self.tallies(window)
        return (
            average(tally.sensitivity for tally in tallies),
            average(tally.positive_predictivity for tally in tallies),
        )

    def record_intervals(
        self, window: int = 0
    ) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
        """Return the bootstrap intervals of both gross figures over records."""
        tallies = self.tallies(window)
        return (
            record_interval(tallies, sensitivities, seed=_SEED),
            record_interval(tallies, positive_predictivities, seed=_SEED),
        )

    def timing_s(self, window: int = 0) -> tuple[float | None, float | None]:
        """Return mean and standard deviation of the errors in time over all pairs, in seconds."""
        return pooled_timing(
            (w.bias_s, w.spread_s, sum(w.errors))
            for w in (score.windows[window] for score in self.records)
        )

    def errors(self) -> list[int]:
        """Return the counts of errors in time of all records, headline window."""
        rows = [score.windows[0].errors for score in self.records if score.windows[0].errors]
        return [sum(column) for column in zip(*rows, strict=True)]

    @property
    def shutdown(self) -> tuple[float, int, int, Tally] | None:
        """Seconds, reference and test marks in shutdown, and the counts outside; None untold."""
        told = [score.shutdown for score in self.records if score.shutdown is not None]
        if not told:
            return None
        return (
            sum(part.seconds for part in told),
            sum(part.reference for part in told),
            sum(part.test for part in told),
            gross(part.outside for part in told),
        )

    @property
    def trusted(self) -> Trusted | None:
        """How the detector's trust in its marks agrees with the reference; None untold."""
        told = [score.trusted for score in self.records if score.trusted is not None]
        return sum(told, Trusted()) if told else None

    @property
    def known_wrong(self) -> Tally | None:
        """The counts without stretches of wrong reference; None where there are none."""
        if all(score.known_wrong is None for score in self.records):
            return None
        return gross(score.known_wrong or score.tally for score in self.records)

    @property
    def worst(self) -> list[RecordScore]:
        """The records with errors, most errors first."""

        def errors(score: RecordScore) -> int:
            return score.tally.false_negatives + score.tally.false_positives

        return sorted((s for s in self.records if errors(s)), key=errors, reverse=True)


def pooled_timing(
    parts: Iterable[tuple[float | None, float | None, int]],
) -> tuple[float | None, float | None]:
    """Return mean and standard deviation over everything, from those of parts and their counts."""
    rows = [(m, s, n) for m, s, n in parts if m is not None and s is not None and n]
    count = sum(n for _, _, n in rows)
    if not count:
        return None, None
    mean = sum(n * m for m, _, n in rows) / count
    square = sum(n * (s * s + (m - mean) ** 2) for m, s, n in rows) / count
    return mean, float(square**0.5)
