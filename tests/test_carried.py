"""The saved form of running state: plain data, checked, never a pickle."""

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
import pytest

from infantmon.errors import StateError
from infantmon.model.carried import MAGIC, Carried, CarriedSet, decode, encode
from infantmon.model.event import Evidence


class Counter(Carried):
    carried = ("count", "seen")

    def __init__(self):
        self.count = 0
        self.seen = np.zeros(2)


class Pair(Carried):
    carried = ("first", "second", "name")

    def __init__(self):
        self.first, self.second, self.name = Counter(), Counter(), "pair"


VALUES = {
    "none": None,
    "numbers": [1, -2.5, True],
    "text": "Ω, é",
    "infinite": math.inf,
    "minus": -math.inf,
    "tuple": (1, (2, 3)),
    "deque": deque([1, 2, 3], maxlen=5),
    "dict": {3: "three", "a": (1,)},
    "record": Evidence("because", "for"),
    "nested": [{"x": [np.arange(3)]}],
    "empty": [],
}


@pytest.mark.parametrize("name", [name for name in VALUES if name != "nested"])
def test_plain_values_come_back_as_they_were(name):
    back = decode(encode({"value": VALUES[name]}))["value"]
    assert back == VALUES[name]
    assert type(back) is type(VALUES[name])


def test_nested_values_come_back_as_they_were():
    back = decode(encode({"value": VALUES["nested"]}))["value"]
    assert np.array_equal(back[0]["x"][0], np.arange(3))


def test_not_a_number_comes_back():
    assert math.isnan(decode(encode({"value": math.nan}))["value"])


def test_a_deque_keeps_its_length_limit():
    assert decode(encode({"value": VALUES["deque"]}))["value"].maxlen == 5


@pytest.mark.parametrize(
    "array",
    [
        np.array([1.5, np.nan, np.inf]),
        np.arange(6, dtype=np.int64).reshape(2, 3),
        np.array([True, False]),
        np.empty((0, 4)),
        np.arange(8.0)[::2],
        np.arange(3, dtype=">i4"),
    ],
    ids=lambda array: f"{array.dtype}{array.shape}",
)
def test_arrays_come_back_equal_native_and_their_own(array):
    back = decode(encode({"first": np.arange(3.0), "value": array}))["value"]
    assert np.array_equal(back, array, equal_nan=array.dtype.kind == "f")
    assert back.shape == array.shape
    assert back.dtype == array.dtype.newbyteorder("=")
    back[...] = 0  # writable: shares no memory with the blob


def test_what_is_no_plain_value_cannot_be_saved():
    @dataclass
    class Unknown:
        value: int

    for value in (object(), Unknown(1), {1, 2}, b"raw"):
        with pytest.raises(TypeError, match="cannot be part of a saved state"):
            encode({"value": value})


def test_a_snapshot_shares_no_memory():
    counter = Counter()
    shot = counter.snapshot()
    counter.seen[0] = 7.0
    assert shot["seen"][0] == 0.0
    again = Counter()
    again.restore(shot)
    again.seen[1] = 5.0
    assert shot["seen"][1] == 0.0


def test_parts_are_restored_in_place():
    pair = Pair()
    pair.first.count, pair.name = 4, "changed"
    other = Pair()
    part = other.first
    other.restore(decode(encode(pair.snapshot())))
    assert other.first is part
    assert (part.count, other.second.count, other.name) == (4, 0, "changed")


@pytest.mark.parametrize("change", [lambda s: s.pop("count"), lambda s: s.update(more=1)])
def test_other_parts_are_refused_by_name(change):
    shot = Counter().snapshot()
    change(shot)
    with pytest.raises(StateError, match=r"saved state of Counter has the parts .*are expected"):
        Counter().restore(shot)


def test_a_set_is_restored_by_name():
    some = CarriedSet({"a": Counter(), "b": Counter()})
    some["b"].count = 3
    other = CarriedSet({"a": Counter(), "b": Counter()})
    other.restore(some.snapshot())
    assert [member.count for member in other.values()] == [0, 3]
    with pytest.raises(StateError, match=r"saved state is of \['a', 'b'\]"):
        CarriedSet({"a": Counter()}).restore(some.snapshot())


BLOB = encode({"values": list(range(20)), "array": np.arange(10.0)})


@pytest.mark.parametrize("length", [0, 5, len(MAGIC), len(MAGIC) + 11, 60, len(BLOB) - 1])
def test_a_truncated_blob_is_refused(length):
    with pytest.raises(StateError):
        decode(BLOB[:length])


def test_any_flipped_bit_is_refused():
    for place in range(len(BLOB)):
        damaged = bytearray(BLOB)
        damaged[place] ^= 1 << (place % 8)
        with pytest.raises(StateError):
            decode(bytes(damaged))


def test_more_behind_the_end_is_refused():
    with pytest.raises(StateError, match="damaged"):
        decode(BLOB + b"\0")


@pytest.mark.parametrize("foreign", [b"", b"PK\x03\x04", "text", None, 5])
def test_what_is_no_state_is_refused(foreign):
    with pytest.raises(StateError, match="not a saved infantmon state"):
        decode(foreign)


def test_another_format_says_which_version_to_use():
    other = bytearray(BLOB)
    other[len(MAGIC)] = 99
    with pytest.raises(StateError, match="has format 99; this version reads format 1"):
        decode(bytes(other))
