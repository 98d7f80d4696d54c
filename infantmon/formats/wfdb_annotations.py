"""WFDB annotation files out: marks at sample numbers, with the rate they count in stated."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from infantmon.errors import ArgumentError, require_rate
from infantmon.formats.files import written_whole

NORMAL, VENTRICULAR, NOTE = 1, 5, 22
"""Codes of the WFDB annotation format: a normal beat, a ventricular ectopic one, a comment."""
_SKIP, _AUX = 59, 63
_LONGEST_TEXT = 255
_SHORT = 1024


@dataclass(frozen=True, slots=True)
class Annotation:
    """One mark.

    Attributes
    ----------
    sample : int
        Sample number.
    code : int
        What it is, as the format has it.
    text : str
        A comment, up to 255 bytes.
    """

    sample: int
    code: int
    text: str = ""


def write_annotations(
    annotations: Sequence[Annotation], path: str | os.PathLike[str], *, rate_hz: float
) -> Path:
    """Write marks in the MIT format; return the path.

    Parameters
    ----------
    annotations : sequence of Annotation
        In order of their samples.
    path : str or path
        The file; its suffix is the annotator's name.
    rate_hz : float
        The rate in which the sample numbers count, in Hz; stated in the file's first mark, so that
        nobody has to assume it.

    Raises
    ------
    ArgumentError
        If the rate cannot be used, the marks are not in order, or the folder does not exist.
    """
    rate = require_rate(rate_hz)
    target = Path(path)
    stated = f"## time resolution: {repr(rate).removesuffix('.0')}"
    with written_whole(target.parent, (target.name,)) as scratch:
        blocks = _words([Annotation(0, NOTE, stated), *annotations])
        (scratch / target.name).write_bytes(b"".join(blocks) + b"\x00\x00")
    return target


def _words(annotations: Sequence[Annotation]) -> Iterator[bytes]:
    at = 0
    for mark in annotations:
        step = mark.sample - at
        if step < 0:
            raise ArgumentError(
                f"a mark at sample {mark.sample} follows one at {at}; pass marks in order of time."
            )
        at = mark.sample
        if step >= _SHORT:
            yield (_SKIP << 10).to_bytes(2, "little")
            yield (step >> 16).to_bytes(2, "little") + (step & 0xFFFF).to_bytes(2, "little")
            step = 0
        yield (mark.code << 10 | step).to_bytes(2, "little")
        if mark.text:
            text = mark.text.encode("ascii", "replace")[:_LONGEST_TEXT]
            yield (_AUX << 10 | len(text)).to_bytes(2, "little") + text + b"\x00" * (len(text) % 2)
