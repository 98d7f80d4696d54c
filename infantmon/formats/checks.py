"""What every source keeps, as checks that anyone may run on a format of their own.

A format is one class with a list of channels and a way to load one of them
(`infantmon.formats.source.Source`). Call `check_source` on an opened file of it in a test.
"""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from infantmon.errors import InfantmonError
from infantmon.formats.source import Source
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel, StoredSamples


class SourceCheckError(InfantmonError):
    """A source does not keep what every source must keep."""


def check_source(open_source: Callable[[], Source]) -> int:
    """Run every check on a source; return how many were run.

    Parameters
    ----------
    open_source : callable
        Opens the file anew each time it is called.

    Raises
    ------
    SourceCheckError
        Saying which check, and what was found.
    """
    source = open_source()
    _require(bool(source.name) and source.path.exists(), "it has a name and a path that exists")
    _require(len(source.channels) > 0, "it lists a channel")
    names = [listed.name for listed in source.channels]
    _require(len(set(names)) == len(names), f"no two channels have one name ({names})")
    _require(all(name.isprintable() for name in names), f"names can be printed ({names})")
    count = 4
    for listed in source.channels:
        try:
            channel = source.load(listed)
        except InfantmonError:
            continue  # it may say that a channel holds nothing
        again = open_source().load(listed)
        count += _check_channel(channel, again, listed.name)
    _require(all(isinstance(note, str) and note for note in source.notes), "notes are texts")
    return count + 1


def _check_channel(channel: Channel, again: Channel, name: str) -> int:
    _require(
        math.isfinite(channel.rate_hz) and channel.rate_hz > 0.0,
        f"{name} has a rate above 0 Hz ({channel.rate_hz})",
    )
    ends = [(segment.first_tick, segment.end_tick) for segment in channel.segments]
    _require(
        all(before[1] <= after[0] for before, after in pairwise(ends)),
        f"the pieces of {name} follow each other ({ends})",
    )
    copied = pickle.loads(pickle.dumps(channel))  # noqa: S301 - what was just made here
    for segment, twin, copy in zip(channel.segments, again.segments, copied.segments, strict=True):
        whole = segment.values
        _require(whole.dtype == np.float64, f"{name} has float64 samples ({whole.dtype})")
        _require(len(whole) == len(segment), f"{name} has as many samples as it says")
        _require(_equal(whole, twin.values), f"{name} is equal each time it is read")
        _require(_equal(whole, copy.values), f"{name} is equal after it was pickled")
        for first, end in _stretches(len(whole)):
            part = segment.read(segment.first_tick + first, segment.first_tick + end)
            _require(
                _equal(part, whole[first:end]), f"{name} is equal in stretches ({first} to {end})"
            )
        stored = isinstance(segment.samples, StoredSamples)
        _require(not stored or len(segment.samples) == len(whole), f"{name} knows its length")
    return 8


def _stretches(count: int) -> list[tuple[int, int]]:
    third = count // 3
    return [(0, 0), (0, min(1, count)), (third, 2 * third), (third, count), (count, count)]


def _equal(one: Floats, other: Floats) -> bool:
    return np.array_equal(one, other, equal_nan=True)


def _require(holds: bool, what: str) -> None:
    if not holds:
        raise SourceCheckError(f"this does not hold of the source: {what}.")
