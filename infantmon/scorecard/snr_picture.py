"""How a detector holds up as noise grows: Se and PPV against the signal-to-noise ratio.

In come cards; out come, for the page's template, the lines of the picture in pixels and the table
that holds the same figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase

import numpy as np

from infantmon.scorecard.card import Card
from infantmon.scoring.tallies import Tally, percent

_LEFT, _RIGHT, _TOP, _BOTTOM = 50.0, 600.0, 14.0, 230.0
_FIGURES = (("Se", "sensitivity"), ("PPV", "positive_predictivity"))
_HIGHEST_FLOOR = 95.0  # %: the picture never begins higher, so that small losses look small
_LEVELS = 5


@dataclass(frozen=True)
class _Point:
    """What one card gives: its detector, the noise in words, the ratio in dB, all counts."""

    detector: str
    kind: str
    ratio_db: float
    total: Tally


@dataclass(frozen=True)
class _Plane:
    """From a ratio and a share of 1 to pixels."""

    lowest_db: float
    highest_db: float
    floor: float  # %, at the bottom

    def place(self, ratio_db: float, share: float) -> tuple[float, float]:
        along = (ratio_db - self.lowest_db) / (self.highest_db - self.lowest_db)
        up = (100.0 * share - self.floor) / (100.0 - self.floor)
        return _LEFT + (_RIGHT - _LEFT) * along, _BOTTOM - (_BOTTOM - _TOP) * up


def snr_picture(cards: Sequence[Card]) -> dict[str, object] | None:
    """Return Se and PPV against the signal-to-noise ratio; None where there is no line to draw."""
    points = [_point(card) for card in cards if card.noise]
    ratios = sorted({point.ratio_db for point in points})
    shares = [share for point in points for share in _shares(point) if share is not None]
    if len(ratios) < 2 or not shares:
        return None
    plane = _Plane(ratios[0], ratios[-1], _floor(min(shares)))
    levels = np.linspace(plane.floor, 100.0, _LEVELS)
    return {
        "lines": _lines(points, plane),
        "ratios": [(plane.place(ratio, 1.0)[0], f"{ratio:g}") for ratio in ratios],
        "levels": [(plane.place(ratios[0], s / 100.0)[1], f"{s:g}") for s in levels],
        "left": _LEFT,
        "right": _RIGHT,
        "bottom": _BOTTOM,
        "rows": [
            (p.detector, p.kind, f"{p.ratio_db:g}", *(percent(s) for s in _shares(p)))
            for p in sorted(points, key=lambda p: (p.detector, p.kind, -p.ratio_db))
        ],
    }


def _point(card: Card) -> _Point:
    kind, ratio = card.noise.rsplit(" at ", 1)  # as `NoiseStress.words` has it
    return _Point(card.detector, kind, float(ratio.split()[0]), card.gross())


def _shares(point: _Point) -> list[float | None]:
    return [getattr(point.total, figure) for _, figure in _FIGURES]


def _floor(lowest: float) -> float:
    """Return where the picture begins, in percent: at the round ten below the lowest share."""
    return min(_HIGHEST_FLOOR, float(10.0 * np.floor(100.0 * lowest / 10.0)))


def _lines(points: Sequence[_Point], plane: _Plane) -> list[dict[str, object]]:
    """Return two lines for each detector and kind of noise, of one letter; PPV is dashed."""
    lines: list[dict[str, object]] = []
    pairs = sorted({(point.detector, point.kind) for point in points})
    for letter, pair in zip(ascii_lowercase, pairs, strict=False):
        own = sorted((p for p in points if (p.detector, p.kind) == pair), key=lambda p: p.ratio_db)
        for name, figure in _FIGURES:
            spots = [
                plane.place(point.ratio_db, share)
                for point in own
                if (share := getattr(point.total, figure)) is not None
            ]
            line = {"name": f"{name}, {pair[0]}", "spots": spots, "dashed": name == "PPV"}
            lines.append(line | {"letter": letter})
    return lines
