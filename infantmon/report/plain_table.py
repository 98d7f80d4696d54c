"""A table in plain text, for terminals of any width and for pipes."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

GAP = "  "
LEAST_ROOM = 24
"""Characters a line that a folded column needs at least."""


def plain_table(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> str:
    """Return rows under their heads; where they do not fit, the last column is folded.

    Where less than `LEAST_ROOM` is left for that, each row is a short paragraph.

    Parameters
    ----------
    heads : sequence of str
        One a column.
    rows : sequence of sequence of str
        One cell a column; a cell of digits is set to the right.
    width : int
        Characters a line; at least 30 are used.

    Returns
    -------
    str
        No line is longer than `width`, unless one word is.
    """
    width = max(width, 30)
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    room = width - sum(widths[:-1]) - len(GAP) * (len(widths) - 1)
    if room < min(widths[-1], LEAST_ROOM):
        return "\n".join(_paragraph(heads, row, width) for row in rows)
    rows = [line for row in rows for line in _folded(row, room)]
    widths[-1] = min(widths[-1], room)
    right = [_is_number_column(column) for column in zip(*rows, strict=True)] or [False] * len(
        heads
    )
    lines = [
        GAP.join(
            cell.rjust(size) if to_right else cell.ljust(size)
            for cell, size, to_right in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in (heads, *rows)
    ]
    lines.insert(1, "-" * max(map(len, lines)))
    return "\n".join(lines)


def _folded(row: Sequence[str], room: int) -> list[list[str]]:
    """Return a row as lines, its last cell in pieces of no more than so many characters."""
    first, *more = textwrap.wrap(row[-1], room) or [""]
    blank = [""] * (len(row) - 1)
    return [[*row[:-1], first], *([*blank, piece] for piece in more)]


def _is_number_column(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell and cell != "-"]
    return bool(filled) and all(
        cell[0].isdigit() and cell.split()[0][-1].isdigit() for cell in filled
    )


def _paragraph(heads: Sequence[str], row: Sequence[str], width: int) -> str:
    first, *more = (f"{head} {cell}" for head, cell in zip(heads, row, strict=True) if cell)
    return textwrap.fill("; ".join([first, *more]), width, subsequent_indent=GAP)
