"""A review as JSON, for machines: the same content as the page, with the cautions in `notice`."""

from __future__ import annotations

import dataclasses
import json
import math
import os
from collections.abc import Mapping
from typing import Any

import numpy as np

from infantmon.formats.files import write_whole
from infantmon.model.channel import Channel
from infantmon.model.event import Event
from infantmon.model.spans import Reason, Spans
from infantmon.report.cautions import NOTICE
from infantmon.report.reviewed import Reviewed

FORMAT = 1
"""Raised when a field changes its meaning or goes away."""


def write_json(reviewed: Reviewed, path: str | os.PathLike[str]) -> None:
    """Write a review as JSON, whole or not at all.

    Parameters
    ----------
    reviewed : Reviewed
        A review, as it is to be shown.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the folder does not exist, or nothing can be written to it.
    """
    write_whole(path, events_as_json(reviewed) + "\n")


def events_as_json(reviewed: Reviewed) -> str:
    """Return a review as JSON text: notice, recording, limits, every event with all its fields.

    Units are in the names. A value that is not known or not finite is null, never NaN.

    Parameters
    ----------
    reviewed : Reviewed
        A review, as it is to be shown.
    """
    recording = reviewed.recording
    whole = {
        "notice": NOTICE,
        "format": FORMAT,
        "version": reviewed.version,
        "recording": {
            "name": recording.name,
            "started_at": recording.started_at.isoformat() if recording.started_at else None,
            "recorded_s": reviewed.recorded_s,
            "notes": list(recording.notes),
            "missing_roles": list(reviewed.missing_roles),
            "channels": {role: _channel(c) for role, c in recording.channels.items()},
            "usable_s": dict(reviewed.usable_s),
            "unusable": {role: _spans(spans) for role, spans in reviewed.contact.items()},
        },
        "prescription": reviewed.plan.model_dump(mode="json"),
        "not_watched": list(reviewed.plan.why_not_watched(reviewed.latencies_s)),
        "latencies_s": dict(reviewed.latencies_s),
        "events": [_event(event) for event in reviewed.events],
        "excursions": [dataclasses.asdict(one) for one in reviewed.excursions],
        "decisions": [dataclasses.asdict(made) for made in reviewed.decisions],
    }
    return json.dumps(finite(whole), allow_nan=False, ensure_ascii=False, indent=1)


def _event(event: Event) -> dict[str, Any]:
    fields = {f.name: getattr(event, f.name) for f in dataclasses.fields(event)}
    fields["reasons"] = [dataclasses.asdict(reason) for reason in event.reasons]
    fields["unusable"] = [dataclasses.asdict(stretch) for stretch in event.unusable]
    return fields | {"assessable": event.assessable, "length_s": event.length_s}


def _channel(channel: Channel) -> dict[str, Any]:
    return {
        "name": channel.name,
        "unit": channel.unit,
        "rate_hz": channel.rate_hz,
        "start_s": channel.start_s if channel.sample_count else None,
        "sample_count": channel.sample_count,
    }


def _spans(spans: Spans) -> list[dict[str, Any]]:
    return [
        {"start_s": float(start), "end_s": float(end), "reason": Reason(int(reason)).words}
        for start, end, reason in zip(spans.start_s, spans.end_s, spans.reason, strict=True)
    ]


def finite(value: Any) -> Any:
    """Return plain data with every number that is not finite replaced by None.

    Parameters
    ----------
    value : mapping, sequence, number or text
        Nested as deep as it may be.
    """
    if isinstance(value, Mapping):
        return {str(key): finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(item) for item in value]
    if isinstance(value, np.generic):
        return finite(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
