"""How what things are shows itself in a notebook: drawn by the report, which lies above."""

from __future__ import annotations

from importlib import import_module


def notebook_html(kind: str, value: object) -> str:
    """Return the HTML of a "recording" or of "events".

    The drawing is loaded by name, and only when a notebook asks: nothing here rests on it.
    """
    drawn: object = getattr(import_module("infantmon.report.notebook"), f"{kind}_html")(value)
    return str(drawn)
