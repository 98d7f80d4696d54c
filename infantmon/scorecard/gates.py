"""Gates: figures that have to be reached, over all records, in every record, or for certain."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from infantmon.errors import ArgumentError, require_text
from infantmon.scorecard.card import Card
from infantmon.scoring.tallies import Tally, percent

_FIGURES = {"se": "sensitivity", "ppv": "positive_predictivity", "f1": "f1"}
_WORDS = {"se": "Se", "ppv": "PPV", "f1": "F1"}
_SHOWN = 5  # records furthest below that are named
_MOST_DECIMALS = 9


@dataclass(frozen=True)
class Gate:
    """One figure that has to be reached.

    Attributes
    ----------
    figure : str
        "se", "ppv" or "f1".
    least : float
        What it has to be at least, in percent.
    """

    figure: str
    least: float

    @property
    def words(self) -> str:
        """The gate in words."""
        return f"{_WORDS[self.figure]} >= {self.least:g} %"

    def of(self, tally: Tally) -> float | None:
        """Return the figure of some counts, between 0 and 1; None where undefined."""
        found: float | None = getattr(tally, _FIGURES[self.figure])
        return found

    def lower_of(self, tally: Tally) -> float | None:
        """Return the lower end of the figure's 95 % Wilson interval; None where undefined."""
        interval = getattr(tally, f"{_FIGURES[self.figure]}_interval")()
        return None if interval is None else float(interval[0])

    def figure_of(self, tally: Tally, *, lower: bool) -> float | None:
        """Return the figure of some counts, or the lower end of its interval."""
        return self.lower_of(tally) if lower else self.of(tally)

    def holds(self, found: float | None) -> bool:
        """Tell whether a figure reaches the gate; an undefined one does not."""
        return found is not None and 100.0 * found >= self.least - 1e-9


@dataclass(frozen=True)
class Verdict:
    """What came of one gate.

    Attributes
    ----------
    card, gate, scope : str
        What was scored, the gate, and over what it was taken, in words.
    found : float or None
        The figure, between 0 and 1.
    holds : bool
        Whether the gate holds.
    furthest : tuple of (str, float or None)
        The records furthest below, worst first, with their figure.
    least : float
        What has to be reached, in percent.
    """

    card: str
    gate: str
    scope: str
    found: float | None
    holds: bool
    furthest: tuple[tuple[str, float | None], ...] = ()
    least: float = 0.0

    @property
    def words(self) -> str:
        """The verdict in a line."""
        told = f"{self.card}: {self.gate}, {self.scope}: {self._percent(self.found)} %"
        if self.holds:
            return f"{told}: holds"
        named = ", ".join(f"{record} {self._percent(found)}" for record, found in self.furthest)
        return f"{told}: NOT reached" + (f"; furthest below: {named}" if named else "")

    def _percent(self, figure: float | None) -> str:
        """Return a figure in percent, with more digits where it would be rounded up to the gate."""
        if figure is not None and 100.0 * figure < self.least:
            for decimals in range(2, _MOST_DECIMALS):
                shown = percent(figure, decimals)
                if float(shown) < self.least:
                    return shown
        return percent(figure)


def parse_gates(text: str, *, lower: bool = False) -> tuple[Gate, ...]:
    """Read gates such as ``se>=99.5,ppv>=99.5``.

    Parameters
    ----------
    text : str
        Gates with commas between them.
    lower : bool
        Whether the lower end of the interval will have to reach them.

    Raises
    ------
    ArgumentError
        If a part is no gate, its figure lies outside 0 to 100 % or looks like a share of 1, or it
        has no interval.
    """
    gates = []
    for part in require_text(text, name="the gate").split(","):
        match = re.fullmatch(r"\s*(\w+)\s*>=\s*([0-9.]+)\s*%?\s*", part)
        if match is None or match[1].lower() not in _FIGURES or match[2].count(".") > 1:
            raise ArgumentError(
                f"{part.strip()!r} is no gate; write se>=99.5, ppv>=99.5 or f1>=99.5, in percent, "
                "several with commas."
            )
        least = float(match[2]) if match[2].strip(".") else -1.0
        if not 0.0 <= least <= 100.0:
            raise ArgumentError(f"the gate {part.strip()!r} lies outside 0 to 100 %.")
        if 0.0 < least <= 1.0:  # it would hold for nearly every detector
            raise ArgumentError(
                f"the gate {part.strip()!r} asks for {least:g} %; gates are in percent, a share of "
                f"{least:g} is {100.0 * least:g}."
            )
        gates.append(Gate(match[1].lower(), least))
    _require_intervals(gates, lower=lower)
    return tuple(gates)


def _require_intervals(gates: Sequence[Gate], *, lower: bool) -> None:
    if lower and any(gate.figure == "f1" for gate in gates):
        raise ArgumentError("F1 is no share and has no interval; gate se and ppv by lower end.")


def judge(
    card: Card, gates: Sequence[Gate], *, each: bool = False, lower: bool = False
) -> list[Verdict]:
    """Hold a card against gates.

    Parameters
    ----------
    card : Card
        What was scored.
    gates : sequence of Gate
        What has to be reached.
    each : bool
        Every record has to, besides all together.
    lower : bool
        The lower end of the 95 % interval has to, instead of the figure itself.

    Raises
    ------
    ArgumentError
        If the lower end of F1 is asked for, which has no such interval.
    """
    _require_intervals(gates, lower=lower)
    verdicts = []
    for gate in gates:
        verdicts.append(_together(card, gate, lower=lower))
        if each:
            verdicts.append(_each(card, gate, lower=lower))
    return verdicts


def _together(card: Card, gate: Gate, *, lower: bool) -> Verdict:
    """Hold the counts of all records together against a gate."""
    found = gate.figure_of(card.gross(), lower=lower)
    holds = gate.holds(found)
    scope = "all records together" + (", lower end of the interval" if lower else "")
    shown = () if holds else tuple(_below(card, gate, lower=lower)[:_SHOWN])
    return Verdict(card.title, gate.words, scope, found, holds, shown, gate.least)


def _each(card: Card, gate: Gate, *, lower: bool) -> Verdict:
    """Hold every record against a gate; the figure told is that of the worst."""
    rows, below = _rows(card, gate, lower=lower), _below(card, gate, lower=lower)
    worst = below[0][1] if below else min((f for _, f in rows if f is not None), default=None)
    scope = f"each of {len(rows)} records" + (", lower end" if lower else "")
    holds = bool(rows) and not below
    shown = tuple(below[:_SHOWN])
    return Verdict(card.title, gate.words, scope, worst, holds, shown, gate.least)


def _rows(card: Card, gate: Gate, *, lower: bool) -> list[tuple[str, float | None]]:
    """Return the figure of each record that has any mark."""
    return [
        (score.record, gate.figure_of(score.tally, lower=lower))
        for score in card.records
        if score.tally.reference_count or score.tally.test_count
    ]


def _below(card: Card, gate: Gate, *, lower: bool) -> list[tuple[str, float | None]]:
    """Return the records that do not reach a gate, the furthest below first."""
    missed = [row for row in _rows(card, gate, lower=lower) if not gate.holds(row[1])]
    return sorted(missed, key=lambda row: -1.0 if row[1] is None else row[1])
