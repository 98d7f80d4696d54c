"""Arithmetic of rows of six numbers: cosine and sine of three harmonics of the beat.

In come rows and numbers, out come rows and numbers. Written out, and without numpy or calls of min
and max: these run once a beat, a quarter of a million times a day.
"""

from __future__ import annotations

Row = tuple[float, float, float, float, float, float]
NOTHING: Row = (0.0,) * 6


def mixed(one: Row, other: Row, share: float) -> Row:
    """Return a mean of two rows, `share` of it from the other."""
    if share == 0.0:
        return one
    if share == 1.0:
        return other
    a, b, c, d, e, f = one
    u, v, w, x, y, z = other
    return (
        a + share * (u - a),
        b + share * (v - b),
        c + share * (w - c),
        d + share * (x - d),
        e + share * (y - e),
        f + share * (z - f),
    )


def moved(row: Row, by: Row, times: float) -> Row:
    """Return a row with so many times another one added."""
    a, b, c, d, e, f = row
    u, v, w, x, y, z = by
    return (
        a + times * u,
        b + times * v,
        c + times * w,
        d + times * x,
        e + times * y,
        f + times * z,
    )


def scaled(row: Row, by: float) -> Row:
    """Return a row times a number."""
    a, b, c, d, e, f = row
    return by * a, by * b, by * c, by * d, by * e, by * f


def slope_power_of(row: Row) -> float:
    """Return the sum of the squares, each harmonic times its number: how much the slope varies."""
    a, b, c, d, e, f = row
    return a * a + b * b + 4.0 * (c * c + d * d) + 9.0 * (e * e + f * f)


def power_of(row: Row) -> float:
    """Return the sum of the squares."""
    a, b, c, d, e, f = row
    return a * a + b * b + c * c + d * d + e * e + f * f


def compared(known: Row, new: Row) -> tuple[float, float]:
    """Return the square of the difference, and how much less the slope varies without `known`."""
    a, b, c, d, e, f = known
    u, v, w, x, y, z = new
    first, second, third = u - a, w - c, y - e
    fourth, fifth, sixth = v - b, x - d, z - f
    wrong = first**2 + second**2 + third**2 + fourth**2 + fifth**2 + sixth**2
    smoother = a * (u + first) + b * (v + fourth)
    smoother += 4.0 * (c * (w + second) + d * (x + fifth))
    smoother += 9.0 * (e * (y + third) + f * (z + sixth))
    return wrong, smoother
