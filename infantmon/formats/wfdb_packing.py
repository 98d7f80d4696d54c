"""How WFDB signal files pack samples into bytes: any stretch of them can be taken out.

References
----------
WFDB signal files (signal(5)), WFDB Applications Guide, PhysioNet; RFC 9639 (FLAC).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from infantmon.errors import RecordingError
from infantmon.formats.files import told_clearly
from infantmon.model.arrays import Ints

Bytes = npt.NDArray[np.uint8]
AT_ONCE = 500_000
"""Samples that are unpacked together, at most (or one frame)."""


@dataclass(frozen=True)
class Packing:
    """One signal format of plain bytes.

    Attributes
    ----------
    samples, size : int
        Samples in a block, and its bytes.
    invalid : int
        The value that stands for no value.
    unpack : callable
        Turns whole blocks of bytes into samples.
    """

    samples: int
    size: int
    invalid: int
    unpack: Callable[[Bytes], Ints]

    def count(self, size: int) -> int:
        """Return how many samples so many bytes hold; the last block may be cut short."""
        blocks, rest = divmod(max(size, 0), self.size)
        return blocks * self.samples + (rest * 8) // (self.size * 8 // self.samples)

    def read(self, path: Path, offset: int, first: int, end: int) -> Ints:
        """Return samples of a file from `first` up to, not with, `end`.

        Raises
        ------
        OSError
            If the file cannot be read.
        """
        first_block, end_block = first // self.samples, -(-end // self.samples)
        with path.open("rb") as file:
            file.seek(offset + first_block * self.size)
            raw = file.read((end_block - first_block) * self.size)
        raw += b"\0" * (-len(raw) % self.size)  # of a block that was cut short
        values = self.unpack(np.frombuffer(raw, dtype=np.uint8))
        skipped = first - first_block * self.samples
        return values[skipped : skipped + end - first]


def _plain(kind: str, shift: int = 0) -> Callable[[Bytes], Ints]:
    def unpack(raw: Bytes) -> Ints:
        return raw.view(kind).astype(np.int64) - shift

    return unpack


def _unpack_24(raw: Bytes) -> Ints:
    wide = np.zeros((len(raw) // 3, 4), dtype=np.uint8)
    wide[:, 1:] = raw.reshape(-1, 3)
    return wide.view("<i4").ravel().astype(np.int64) >> 8


def _unpack_212(raw: Bytes) -> Ints:
    triples = raw.reshape(-1, 3).astype(np.int64)
    low, middle, high = triples.T
    pairs = np.stack([low | (middle & 0x0F) << 8, high | (middle >> 4) << 8], axis=1)
    return _signed(pairs.ravel(), 12)


def _unpack_310(raw: Bytes) -> Ints:
    words = raw.view("<u2").astype(np.int64).reshape(-1, 2)
    first, second = words[:, 0], words[:, 1]
    third = (first >> 11) | (second >> 11) << 5
    return _signed(np.stack([first >> 1 & 0x3FF, second >> 1 & 0x3FF, third], axis=1).ravel(), 10)


def _unpack_311(raw: Bytes) -> Ints:
    words = raw.view("<u4").astype(np.int64)
    return _signed(np.stack([words >> shift & 0x3FF for shift in (0, 10, 20)], axis=1).ravel(), 10)


def _signed(values: Ints, bits: int) -> Ints:
    return (values ^ 1 << (bits - 1)) - (1 << (bits - 1))


_NO_VALUE = -(2**62)  # a value that no sample has

PACKINGS = {
    "8": Packing(1, 1, _NO_VALUE, _plain("i1")),  # differences
    "16": Packing(1, 2, -(2**15), _plain("<i2")),
    "24": Packing(1, 3, -(2**23), _unpack_24),
    "32": Packing(1, 4, -(2**31), _plain("<i4")),
    "61": Packing(1, 2, -(2**15), _plain(">i2")),
    "80": Packing(1, 1, -(2**7), _plain("u1", 128)),
    "160": Packing(1, 2, -(2**15), _plain("<u2", 32768)),
    "212": Packing(2, 3, -(2**11), _unpack_212),
    "310": Packing(3, 4, -(2**9), _unpack_310),
    "311": Packing(3, 4, -(2**9), _unpack_311),
}
FLAC_INVALID = {"508": -(2**7), "516": -(2**15), "524": -(2**23)}
_FLAC_BITS = {"PCM_S8": 8, "PCM_16": 16, "PCM_24": 24}


@contextmanager
def _opened_flac(path: Path) -> Iterator[Any]:
    with path.open("rb") as file:
        if file.read(4) != b"fLaC":
            raise RecordingError(f"{path} is not a FLAC file, as its header says it is.")
    import soundfile  # noqa: PLC0415 - loaded only for who reads FLAC

    with told_clearly(path, "the FLAC file"), soundfile.SoundFile(path) as sound:
        yield sound


def flac_samples(path: Path, channels: int, fmt: str) -> int:
    """Return the samples a channel that a FLAC file really holds, by decoding it once.

    What its own header states need not be true, or there.

    Raises
    ------
    RecordingError
        If it is no FLAC file, or has other channels or a finer resolution than told.
    """
    with _opened_flac(path) as sound:
        bits = _FLAC_BITS.get(sound.subtype, 99)
        if sound.channels != channels or bits > int(fmt) - 500:
            raise RecordingError(
                f"{path} has {sound.channels} channels of {bits} bits where its header has "
                f"{channels} of at most {int(fmt) - 500}; the header is damaged."
            )
        count = 0
        block = np.empty((1024, channels), dtype=np.int32)
        while True:
            try:
                got = len(sound.read(out=block))
            except RuntimeError:  # damaged from here on
                return count
            count += got
            if got < len(block):
                return count


def read_flac(path: Path, first: int, end: int) -> Ints:
    """Return samples of all channels, shape (end - first, channels).

    Raises
    ------
    RecordingError
        If they cannot be decoded.
    """
    with _opened_flac(path) as sound:
        sound.seek(first)
        read = sound.read(end - first, dtype="int32", always_2d=True)
        # soundfile hands out every resolution as the upper bits of 32
        whole = read.astype(np.int64) >> (32 - _FLAC_BITS[sound.subtype])
    return cast("Ints", whole)
