"""Stretches of time as sorted pairs that do not overlap: joined, cut out, measured."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Stretch = tuple[float, float]


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Return stretches in order, overlapping and touching ones as one.

    Parameters
    ----------
    stretches : iterable of (float, float)
        Start and end; those without length are left out.
    """
    whole: list[Stretch] = []
    for start, end in sorted(s for s in stretches if s[1] > s[0]):
        if whole and start <= whole[-1][1]:
            whole[-1] = whole[-1][0], max(whole[-1][1], end)
        else:
            whole.append((start, end))
    return whole


def without(stretches: Sequence[Stretch], cut: Iterable[Stretch]) -> list[Stretch]:
    """Return what is left of joined stretches where others are cut out."""
    left = list(stretches)
    for start, end in joined(cut):
        left = [
            piece
            for one in left
            for piece in ((one[0], min(one[1], start)), (max(one[0], end), one[1]))
            if piece[1] > piece[0]
        ]
    return left


def within(stretches: Iterable[Stretch], start: float, end: float) -> float:
    """Return how much of joined stretches lies between two times."""
    return sum(max(0.0, min(e, end) - max(s, start)) for s, e in stretches)
