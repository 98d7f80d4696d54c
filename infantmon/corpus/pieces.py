"""One recording in pieces of time: the chain's state is handed on, so the joins are exact."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from infantmon.chain import BLOCK_S, SignalChain, replay, settings_of
from infantmon.corpus.dataset import half_written
from infantmon.errors import ArgumentError, StateError
from infantmon.events.batch import TABLES, Batch
from infantmon.model.carried import decode, encode
from infantmon.model.findings import Findings
from infantmon.model.recording import Recording
from infantmon.model.spans import ContactMarks


@dataclass
class Found:
    """What has been found of a recording so far, and the chain that goes on from there.

    Attributes
    ----------
    chain : SignalChain
        As it stands.
    whole : Batch or None
        All findings so far, without the effort.
    until_s : float
        How far the recording was fed to the chain, in seconds.
    stands_for : str
        Of which files, settings and version this is.
    pieces : int
        How many pieces were done.
    processor_s, wall_s, peak_mib : float
        Time (s) and memory that they took.
    """

    chain: SignalChain
    whole: Batch | None
    until_s: float
    stands_for: str
    pieces: int = 0
    processor_s: float = 0.0
    wall_s: float = 0.0
    peak_mib: float = 0.0

    @property
    def ended(self) -> bool:
        """Whether the recording has been reviewed to its end."""
        return self.whole is not None and self.whole.last

    @classmethod
    def begun(cls, recording: Recording, stands_for: str) -> Found:
        """Return the state before the first sample."""
        return cls(SignalChain(settings_of(recording)), None, 0.0, stands_for)

    @classmethod
    def resumed(cls, path: Path, stands_for: str) -> Found | None:
        """Return the state that was kept, or None where there is none, or one of something else.

        A damaged state is none: the recording is begun anew.
        """
        try:
            parts = decode(path.read_bytes())
            if parts.get("stands_for") != stands_for:
                return None
            chain = SignalChain(parts["channels"])
            chain.restore(parts["chain"])
        except (OSError, StateError):
            return None
        whole = Batch(
            **{name: _table(kind, parts[name]) for name, kind in TABLES.items()},
            contact={role: _table(ContactMarks, t) for role, t in parts["contact"].items()},
            reached_s=parts["reached_s"],
        )
        return cls(chain, whole, parts["until_s"], stands_for, parts["pieces"], *parts["cost"])

    def keep(self, path: Path) -> None:
        """Write the state, whole or not at all."""
        if self.whole is None:
            return
        whole = self.whole
        blob = encode(
            {
                "channels": self.chain.channels,
                "chain": self.chain.snapshot(),
                "contact": {role: _plain(marks) for role, marks in whole.contact.items()},
                "reached_s": whole.reached_s,
                "until_s": self.until_s,
                "stands_for": self.stands_for,
                "pieces": self.pieces,
                "cost": [self.processor_s, self.wall_s, self.peak_mib],
                **{name: _plain(getattr(whole, name)) for name in TABLES},
            }
        )
        path.parent.mkdir(parents=True, exist_ok=True)
        with half_written(path) as half:
            half.write_bytes(blob)


def find_piece(recording: Recording, found: Found, piece_s: float | None) -> None:
    """Feed the next piece of a recording to the chain, and add what it finds.

    Parameters
    ----------
    recording : Recording
        The whole recording.
    found : Found
        What was found before; goes on from there.
    piece_s : float or None
        Length of a piece (s), a multiple of the block of 300 s; None takes all the rest.
    """
    until_s = math.inf if piece_s is None else found.until_s + whole_blocks_s(piece_s)
    batches = [] if found.whole is None else [found.whole]
    fed = replay(recording, found.chain, from_s=found.until_s, until_s=until_s)
    # The effort goes at once: it is by far the largest part.
    batches.extend(dataclasses.replace(batch, effort=None) for batch in fed)
    found.whole = Batch.joined(batches)
    found.until_s = until_s
    found.pieces += 1


def whole_blocks_s(piece_s: float) -> float:
    """Return the length of a piece, or say why it cannot be one.

    Parameters
    ----------
    piece_s : float
        Length asked for, in seconds.

    Raises
    ------
    ArgumentError
        If it is not a multiple of the block.
    """
    if not piece_s >= BLOCK_S or piece_s % BLOCK_S or math.isinf(piece_s):
        raise ArgumentError(
            f"a piece of {piece_s:g} s is asked for; pass a multiple of {BLOCK_S:g} s."
        )
    return float(piece_s)


def _plain(table: Findings) -> dict[str, Any]:
    columns = {name: getattr(table, name) for name in table.columns()}
    return {"settled_until_s": table.settled_until_s, **columns}


def _table(kind: type[Findings], columns: dict[str, Any]) -> Any:
    return kind(**columns)
