"""A stretch that another device listed, whose times may be off by a margin."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Listed:
    """A listed stretch, whole or as far as it lies in the recording.

    Attributes
    ----------
    kind : str
        Kind of the recorded event.
    start_s, end_s : float
        The stretch, in seconds.
    margin_s : float
        How far these times may be off, in seconds.
    """

    kind: str
    start_s: float
    end_s: float
    margin_s: float

    @property
    def length_s(self) -> float:
        """From start to end, in seconds."""
        return self.end_s - self.start_s

    def is_reached(self, start_s: float, end_s: float) -> bool:
        """Tell whether a stretch (seconds) reaches into it, give or take the margin.

        Parameters
        ----------
        start_s, end_s : float
            The other stretch, in seconds.
        """
        return start_s < self.end_s + self.margin_s and end_s > self.start_s - self.margin_s
