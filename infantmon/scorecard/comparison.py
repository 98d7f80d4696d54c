"""Cards compared with a stored result: what moved, and in which records most."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from infantmon.errors import ArgumentError
from infantmon.scorecard.card import Card
from infantmon.scorecard.tables import FORMAT
from infantmon.scoring.tallies import Tally, percent

_SHOWN = 10


@dataclass(frozen=True)
class Moved:
    """How one card differs from the stored one.

    Attributes
    ----------
    title : str
        What was scored.
    before, after : Tally
        The headline counts of the records that both hold.
    records : tuple of (str, Tally, Tally)
        Records whose counts differ, those with the largest change of errors first.
    only_before, only_after : tuple of str
        Records that only one of the two holds.
    """

    title: str
    before: Tally
    after: Tally
    records: tuple[tuple[str, Tally, Tally], ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        """The difference in words."""
        told = [f"{self.title}: {_both(self.before)} before, {_both(self.after)} now"]
        for record, before, after in self.records[:_SHOWN]:
            told.append(f"  {record}: {_errors(before)} before, {_errors(after)} now")
        if len(self.records) > _SHOWN:
            told.append(f"  and {len(self.records) - _SHOWN} more records")
        for names, where in ((self.only_before, "stored result"), (self.only_after, "present run")):
            if names:
                told.append(f"  only in the {where}: {', '.join(names)}")
        return told


def read_stored(path: Path) -> dict[str, Any]:
    """Read a stored result.

    Raises
    ------
    ArgumentError
        If it cannot be read, or is no result of this kind.
    """
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or fault
        raise ArgumentError(
            f"the stored result {path} cannot be read ({why}); give a score.json that an earlier "
            "run wrote."
        ) from fault
    if not isinstance(stored, dict) or stored.get("format") != FORMAT or "cards" not in stored:
        raise ArgumentError(
            f"{path} is no stored score of format {FORMAT}; give a score.json that an earlier run "
            "wrote."
        )
    return stored


def compare(cards: Sequence[Card], stored: dict[str, Any]) -> list[Moved]:
    """Compare cards with those of a stored result that scored the same.

    Raises
    ------
    ArgumentError
        If the stored result holds none of them, or was scored by other rules.
    """
    before = {card["title"]: card for card in stored["cards"]}
    moved = [_moved(card, before[card.title]) for card in cards if card.title in before]
    if not moved:
        raise ArgumentError(
            f"the stored result holds {', '.join(before)}; none of it is scored now "
            f"({', '.join(card.title for card in cards)})."
        )
    return moved


def _moved(card: Card, stored: dict[str, Any]) -> Moved:
    rules = (stored["windows"][0]["window_s"], stored["scored_from_s"])
    if rules != (card.windows_s[0], card.from_s):
        raise ArgumentError(
            f"{card.title} was stored with window and start {rules} s, now they are "
            f"{(card.windows_s[0], card.from_s)} s; such runs are not compared."
        )
    old = {row["record"]: _tally(row["windows"][0]) for row in stored["records"]}
    new = {score.record: score.tally for score in card.records}
    common = [record for record in new if record in old]
    changed = [(r, old[r], new[r]) for r in common if old[r] != new[r]]
    changed.sort(key=lambda row: -abs(_count(row[2]) - _count(row[1])))
    return Moved(
        card.title,
        sum((old[r] for r in common), Tally()),
        sum((new[r] for r in common), Tally()),
        tuple(changed),
        tuple(r for r in old if r not in new),
        tuple(r for r in new if r not in old),
    )


def _tally(row: dict[str, Any]) -> Tally:
    return Tally(row["true_positives"], row["false_negatives"], row["false_positives"])


def _count(tally: Tally) -> int:
    return tally.false_negatives + tally.false_positives


def _both(tally: Tally) -> str:
    return f"Se {percent(tally.sensitivity)}, PPV {percent(tally.positive_predictivity)} %"


def _errors(tally: Tally) -> str:
    return f"{tally.false_negatives} missed and {tally.false_positives} extra"
