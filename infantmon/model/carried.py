"""What a streaming object carries from push to push, and how that is saved and brought back.

A streaming object names the attributes that make up its running state in ``carried``. Everything
else follows from its settings and is made anew. The saved form is plain data (numbers, text, lists,
arrays): no pickle is ever read, so a damaged or foreign blob cannot run code.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import struct
from collections import deque
from collections.abc import Collection, Iterator, Mapping
from typing import Any, ClassVar, Generic, TypeVar

import numpy as np

from infantmon.errors import StateError

MAGIC = b"infantmon state\n"
STATE_FORMAT = 1  # raised when the meaning of a saved state changes; not the library's version

_T = TypeVar("_T")
_C = TypeVar("_C", bound="Carried")
_RECORDS: dict[str, type[Any]] = {}
_TYPES = {kind: np.dtype(kind) for kind in ("<f8", "<f4", "<i8", "<i4", "<i2", "|i1", "|u1", "|b1")}
"""Types of arrays that a saved state may hold. Any other word is damage: numpy would read it as a
little language of its own."""


def record(cls: type[_T]) -> type[_T]:
    """Class decorator: let a dataclass of plain values be part of a saved state."""
    _RECORDS[cls.__name__] = cls
    return cls


class Carried:
    """Base of everything that carries state from one push to the next.

    Subclasses name their running state in `carried`; attributes that are themselves `Carried` are
    saved and restored in place.
    """

    carried: ClassVar[tuple[str, ...]] = ()

    def snapshot(self) -> dict[str, Any]:
        """Return the running state as plain data that shares no memory with this object."""
        return {name: _to_plain(getattr(self, name)) for name in self.carried}

    def restore(self, snapshot: dict[str, Any]) -> None:
        """Take up a running state that `snapshot` of an equally set object returned.

        Raises
        ------
        StateError
            If the snapshot does not have exactly this object's parts.
        """
        if set(snapshot) != set(self.carried):
            raise StateError(
                f"the saved state of {type(self).__name__} has the parts {sorted(snapshot)}; "
                f"{sorted(self.carried)} are expected. It was saved by another version or object."
            )
        for name in self.carried:
            present = getattr(self, name)
            if isinstance(present, Carried):
                present.restore(snapshot[name])
            else:
                setattr(self, name, _from_plain(snapshot[name]))


class CarriedSet(Carried, Generic[_C]):
    """Streaming objects by name, saved and restored together."""

    def __init__(self, members: Mapping[str, _C]) -> None:
        self._members = dict(members)

    def __getitem__(self, name: str) -> _C:
        return self._members[name]

    def __contains__(self, name: object) -> bool:
        return name in self._members

    def __iter__(self) -> Iterator[str]:
        return iter(self._members)

    def values(self) -> Collection[_C]:
        """Return the members."""
        return self._members.values()

    def items(self) -> Collection[tuple[str, _C]]:
        """Return names and members."""
        return self._members.items()

    def snapshot(self) -> dict[str, Any]:
        """Return the running state of all members as plain data."""
        return {name: member.snapshot() for name, member in self._members.items()}

    def restore(self, snapshot: dict[str, Any]) -> None:
        """Take up the running state of all members."""
        if set(snapshot) != set(self._members):
            raise StateError(
                f"the saved state is of {sorted(snapshot)}; {sorted(self._members)} is expected."
            )
        for name, member in self._members.items():
            member.restore(snapshot[name])


def _to_plain(value: Any) -> Any:  # noqa: C901 - one case a kind of value, nothing more
    if isinstance(value, Carried):
        return value.snapshot()
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.copy()
    if isinstance(value, list):
        return [_to_plain(item) for item in value]
    if isinstance(value, tuple):
        return {"~": "tuple", "items": [_to_plain(item) for item in value]}
    if isinstance(value, deque):
        items = [_to_plain(item) for item in value]
        return {"~": "deque", "items": items, "maxlen": value.maxlen}
    if isinstance(value, dict):
        return {"~": "dict", "items": [[_to_plain(k), _to_plain(v)] for k, v in value.items()]}
    if dataclasses.is_dataclass(value) and type(value).__name__ in _RECORDS:
        fields = {f.name: _to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return {"~": "record", "name": type(value).__name__, "fields": fields}
    raise TypeError(f"a {type(value).__name__} cannot be part of a saved state")


def _from_plain(value: Any) -> Any:
    if isinstance(value, list):
        return [_from_plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return value.copy()
    if not isinstance(value, dict):
        return value
    kind = value.get("~")
    if kind == "tuple":
        return tuple(_from_plain(item) for item in value["items"])
    if kind == "deque":
        return deque((_from_plain(item) for item in value["items"]), maxlen=value["maxlen"])
    if kind == "dict":
        return {_from_plain(k): _from_plain(v) for k, v in value["items"]}
    if kind == "record" and value.get("name") in _RECORDS:
        fields = {name: _from_plain(item) for name, item in value["fields"].items()}
        return _RECORDS[value["name"]](**fields)
    raise StateError(
        f"the saved state holds an unknown kind of value ({value.get('name', kind)!r})"
    )


def encode(parts: dict[str, Any]) -> bytes:
    """Write plain data and its arrays as one block of bytes.

    Layout: magic, state-format number and header length (little-endian), a JSON header, the arrays
    (little-endian), and the SHA-256 of all that. The checksum finds damage; it is no protection
    against forgery.
    """
    arrays: list[np.ndarray[Any, Any]] = []
    header = json.dumps(_lift_arrays(_to_plain(parts), arrays)).encode()
    body = MAGIC + struct.pack("<IQ", STATE_FORMAT, len(header)) + header
    body += b"".join(array.tobytes() for array in arrays)
    return body + hashlib.sha256(body).digest()


def decode(blob: bytes) -> dict[str, Any]:
    """Read what `encode` wrote.

    Raises
    ------
    StateError
        If the blob is not one of ours, is of another state format, or is damaged.
    """
    fixed = len(MAGIC) + 12
    if not isinstance(blob, (bytes, bytearray)) or not bytes(blob).startswith(MAGIC):
        raise StateError("this is not a saved infantmon state; pass the bytes that save() returned")
    if len(blob) < fixed + 32:
        raise StateError("the saved state is cut short; save again")
    state_format, header_length = struct.unpack("<IQ", blob[len(MAGIC) : fixed])
    if state_format != STATE_FORMAT:
        raise StateError(
            f"the saved state has format {state_format}; this version reads format {STATE_FORMAT}. "
            "Resume it with the version that saved it."
        )
    body, digest = blob[:-32], blob[-32:]
    if hashlib.sha256(body).digest() != digest or fixed + header_length > len(body):
        raise StateError("the saved state is damaged (its checksum does not fit); save again")
    try:
        header = json.loads(body[fixed : fixed + header_length])
        parts = _from_plain(_lower_arrays(header, memoryview(body)[fixed + header_length :]))
    except (LookupError, TypeError, ValueError, RecursionError, MemoryError) as fault:
        raise StateError(f"the saved state does not hold together ({fault}); save again") from fault
    if not isinstance(parts, dict):
        raise StateError("the saved state does not hold named parts; save again")
    return parts


def _lift_arrays(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    """Replace each array by a note of its place among the arrays."""
    if isinstance(value, np.ndarray):
        little = np.ascontiguousarray(value, dtype=value.dtype.newbyteorder("<"))
        start = sum(array.nbytes for array in arrays)
        arrays.append(little)
        return {"~": "array", "type": little.dtype.str, "shape": value.shape, "start": start}
    if isinstance(value, list):
        return [_lift_arrays(item, arrays) for item in value]
    if isinstance(value, dict):
        return {key: _lift_arrays(item, arrays) for key, item in value.items()}
    return value


def _lower_arrays(value: Any, raw: memoryview) -> Any:
    """Put the arrays back where `_lift_arrays` took them out."""
    if isinstance(value, list):
        return [_lower_arrays(item, raw) for item in value]
    if not isinstance(value, dict):
        return value
    if value.get("~") == "array":
        kind = _TYPES[value["type"]]
        count = int(np.prod(value["shape"], dtype=np.int64))
        flat = np.frombuffer(raw, dtype=kind, count=count, offset=value["start"])
        return flat.reshape(value["shape"]).astype(kind.newbyteorder("="))
    return {key: _lower_arrays(item, raw) for key, item in value.items()}
