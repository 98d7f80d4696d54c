"""A review of a recording, as far as recorded events need it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from infantmon.model.event import Event, Excursion
from infantmon.model.marks import RPeaks
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.recorded.measures import Findings


class Reviewed(Findings, Protocol):
    """A review, as far as recorded events need it."""

    @property
    def recording(self) -> Recording:
        """The channels that were reviewed."""

    @property
    def plan(self) -> Prescription:
        """The limits in force."""

    @property
    def events(self) -> Sequence[Event]:
        """Excursions that went active."""

    @property
    def excursions(self) -> Sequence[Excursion]:
        """Those that did not last long enough."""

    @property
    def r_peaks(self) -> RPeaks:
        """Heart beats."""
