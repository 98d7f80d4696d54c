"""From chest impedance and ECG of an infant to judged cardiorespiratory events.

Research software for offline study, not a medical device, not for live use on an infant. Impedance
cannot see obstructive apnea; no monitor is shown to prevent SIDS.

    import infantmon as im

    recording = im.read("night.edf")
    plan = im.Prescription.from_toml("limits.toml")
    review = im.review(recording, plan)
    print(review)
    review.to_html("review.html")
"""

from importlib import import_module
from typing import TYPE_CHECKING

from infantmon.errors import (
    ArgumentError,
    InfantmonError,
    PrescriptionError,
    RecordingError,
    StateError,
)

if TYPE_CHECKING:
    __version__: str
    from infantmon.effort import detect_breaths
    from infantmon.events.log import EventLog
    from infantmon.formats.reading import read
    from infantmon.model.channel import Channel
    from infantmon.model.event import Change, Event
    from infantmon.model.prescription import Prescription
    from infantmon.model.recording import Recording
    from infantmon.monitor import Monitor
    from infantmon.monitor_state import MonitorState
    from infantmon.recorded.decisions import Decisions
    from infantmon.recorded.event import RecordedEvents
    from infantmon.recorded.reading import read_recorded
    from infantmon.reviewing import Review, review
    from infantmon.stages.lead_fusion import fuse_r_peaks
    from infantmon.stages.r_peaks import detect_r_peaks
    from infantmon.stored_findings import sweep

# Loaded when first asked for, so that importing the package stays light.
_HOMES = {
    "Change": "infantmon.model.event",
    "Channel": "infantmon.model.channel",
    "Decisions": "infantmon.recorded.decisions",
    "Event": "infantmon.model.event",
    "EventLog": "infantmon.events.log",
    "Monitor": "infantmon.monitor",
    "MonitorState": "infantmon.monitor_state",
    "Prescription": "infantmon.model.prescription",
    "RecordedEvents": "infantmon.recorded.event",
    "Recording": "infantmon.model.recording",
    "Review": "infantmon.reviewing",
    "__version__": "infantmon.version",
    "detect_breaths": "infantmon.effort",
    "detect_r_peaks": "infantmon.stages.r_peaks",
    "fuse_r_peaks": "infantmon.stages.lead_fusion",
    "read": "infantmon.formats.reading",
    "read_recorded": "infantmon.recorded.reading",
    "review": "infantmon.reviewing",
    "sweep": "infantmon.stored_findings",
}

__all__ = [
    "ArgumentError",
    "Change",
    "Channel",
    "Decisions",
    "Event",
    "EventLog",
    "InfantmonError",
    "Monitor",
    "MonitorState",
    "Prescription",
    "PrescriptionError",
    "RecordedEvents",
    "Recording",
    "RecordingError",
    "Review",
    "StateError",
    "detect_breaths",
    "detect_r_peaks",
    "fuse_r_peaks",
    "read",
    "read_recorded",
    "review",
    "sweep",
]


def __getattr__(name: str) -> object:
    """Load a public name from its home."""
    if name not in _HOMES:
        raise AttributeError(f"infantmon has no {name!r}")
    found: object = getattr(import_module(_HOMES[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """Return the public names."""
    return list(__all__)
