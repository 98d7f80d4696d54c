"""Files made byte by byte, apart from the library and from the packages that it reads with."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from pathlib import Path

import numpy as np

# --- WFDB signal files; formats as in signal(5) of the WFDB Applications Guide, PhysioNet ---

INVALID = {"80": -128, "212": -2048, "310": -512, "311": -512, "16": -32768, "61": -32768}
INVALID |= {"24": -(2**23), "32": -(2**31)}


def packed(samples: Sequence[int], fmt: str) -> bytes:
    """Pack whole numbers, one after the other, as a WFDB signal file has them."""
    whole = [int(s) for s in samples]
    if fmt == "212":
        return _pack_212(whole)
    if fmt in {"310", "311"}:
        return _pack_31x(whole, fmt)
    if fmt == "24":
        return b"".join((s & 0xFFFFFF).to_bytes(3, "little") for s in whole)
    code = {"16": "<h", "61": ">h", "32": "<i", "80": "B", "8": "b"}[fmt]
    shift = 128 if fmt == "80" else 0
    return b"".join(struct.pack(code, s + shift) for s in whole)


def _pack_212(whole: list[int]) -> bytes:
    out = bytearray()
    for first, second in zip(whole[0::2], [*whole[1::2], 0], strict=False):
        a, b = first & 0xFFF, second & 0xFFF
        out += bytes([a & 0xFF, (a >> 8) | ((b >> 8) << 4), b & 0xFF])
    return bytes(out[:-1]) if len(whole) % 2 else bytes(out)


def _pack_31x(whole: list[int], fmt: str) -> bytes:
    out = bytearray()
    padded = whole + [0] * (-len(whole) % 3)
    for first, second, third in zip(padded[0::3], padded[1::3], padded[2::3], strict=True):
        a, b, c = first & 0x3FF, second & 0x3FF, third & 0x3FF
        if fmt == "310":
            out += struct.pack("<HH", (a << 1) | ((c & 0x1F) << 11), (b << 1) | ((c >> 5) << 11))
        else:
            out += struct.pack("<I", a | (b << 10) | (c << 20))
    return bytes(out)


def framed(channels: Sequence[Sequence[int]], per_frame: Sequence[int]) -> list[int]:
    """Interleave channels, frame by frame."""
    frames = len(channels[0]) // per_frame[0]
    out: list[int] = []
    for frame in range(frames):
        for samples, count in zip(channels, per_frame, strict=True):
            out += [int(s) for s in samples[frame * count : (frame + 1) * count]]
    return out


def wfdb_record(
    folder: Path,
    name: str,
    channels: dict[str, Sequence[int]],
    *,
    fmt: str = "16",
    frame_hz: str = "250",
    per_frame: Sequence[int] = (),
    gain: str = "100/mV",
    length: str | None = None,
    extra: str = "",
    when: str = "",
    cut: int = 0,
) -> Path:
    """Write a record of one signal file; return its header."""
    per_frame = per_frame or [1] * len(channels)
    data = packed(framed(list(channels.values()), per_frame), fmt)
    (folder / f"{name}.dat").write_bytes(data[: len(data) - cut])
    frames = len(next(iter(channels.values()))) // per_frame[0]
    lines = [f"{name} {len(channels)} {frame_hz} {frames if length is None else length} {when}"]
    for label, count in zip(channels, per_frame, strict=True):
        many = f"x{count}" if count > 1 else ""
        lines.append(f"{name}.dat {fmt}{many}{extra} {gain} 12 0 0 0 0 {label}")
    header = folder / f"{name}.hea"
    header.write_text("\n".join(line.strip() for line in lines) + "\n", encoding="utf-8")
    return header


# --- EDF, EDF+ and BDF; layout as in Kemp et al. 1992 and Kemp and Olivan 2003 ---


def edf_file(
    path: Path,
    signals: Sequence[tuple[str, str, np.ndarray]],
    *,
    record_s: str = "1",
    records: int | None = None,
    onsets: Sequence[str] | None = None,
    kind: str = "",
    bdf: bool = False,
    physical: tuple[str, str] | list[tuple[str, str]] = ("-100", "100"),
    digital: tuple[str, str] = ("-32768", "32767"),
    when: tuple[str, str] = ("02.03.21", "04.05.06"),
) -> Path:
    """Write an EDF file; each signal is (label, unit, counts of shape (records, samples))."""
    count = len(signals[0][2])
    tals = [f"{onset}\x14\x14\0".encode().ljust(24, b"\0") for onset in onsets or ()]
    labels = [label for label, _, _ in signals]
    units = [unit for _, unit, _ in signals]
    width = [counts.shape[1] for _, _, counts in signals]
    ranges = physical if isinstance(physical, list) else [physical] * len(signals)
    ends = [(*told, *digital) for told in ranges]
    if tals:
        labels, units = [*labels, f"{'BDF' if bdf else 'EDF'} Annotations"], [*units, ""]
        width.append(24 // (3 if bdf else 2))
        whole = ("-8388608", "8388607") if bdf else ("-32768", "32767")
        ends.append(("-1", "1", *whole))
    total = len(labels)
    head = _fields(
        *(("\xffBIOSEMI" if bdf else "0", 8), ("X X X X", 80), ("Startdate X X X X", 80)),
        *((when[0], 8), (when[1], 8), (str(256 * (total + 1)), 8), (kind, 44)),
        *((str(count if records is None else records), 8), (record_s, 8), (str(total), 4)),
    )
    columns = [(labels, 16), ([""] * total, 80), (units, 8)]
    columns += [([end[i] for end in ends], 8) for i in range(4)]
    columns += [([""] * total, 80), ([str(w) for w in width], 8), ([""] * total, 32)]
    head += b"".join(_fields(*((cell, size) for cell in cells)) for cells, size in columns)
    size = 3 if bdf else 2
    body = bytearray()
    for number in range(count):
        for _, _, counts in signals:
            for value in counts[number]:
                body += int(value).to_bytes(size, "little", signed=True)
        if tals:
            body += tals[number]
    path.write_bytes(head + bytes(body))
    return path


def _fields(*cells: tuple[str, int]) -> bytes:
    return b"".join(text.encode("latin-1").ljust(size)[:size] for text, size in cells)


def edf_values(
    counts: np.ndarray, physical: tuple[float, float], digital: tuple[float, float]
) -> np.ndarray:
    """Scale counts as EDF says: a straight line through both ends."""
    slope = (physical[1] - physical[0]) / (digital[1] - digital[0])
    return physical[0] + (counts.ravel() - digital[0]) * slope
