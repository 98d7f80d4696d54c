"""The table of a bench as JSON for machines and as one self-contained page for people."""

from __future__ import annotations

import json
from dataclasses import asdict

from infantmon.report.cautions import CAUTIONS
from infantmon.report.rendering import templates_of
from infantmon.selftest.bench import Bench

FORMAT = 1
NOTES = (
    "The signals are invented and seeded, with their own truth; some rows use recorded waveforms.",
    "The limits of the rows were known while the chain was built.",
    "Sources marked as from memory were not read; common practice has no published source.",
    "No row shows that a device is safe or follows a standard.",
)
NO_DELAY = (
    "The detector does not say when it knows a beat; times to a rate leave out its own delay."
)


def notes(bench: Bench) -> tuple[str, ...]:
    """Return what has to be said beside the table."""
    return (*NOTES, *(() if bench.states_delay else (NO_DELAY,)))


def as_json(bench: Bench) -> str:
    """Return the bench as JSON."""
    told = {
        "format": FORMAT,
        "subject": bench.subject,
        "version": bench.version,
        "counts": bench.counts,
        "notes": notes(bench),
        "cautions": CAUTIONS,
        "rows": [asdict(row) for row in bench.rows],
    }
    return json.dumps(_finite(told), indent=1, ensure_ascii=False) + "\n"


def _finite(value: object) -> object:
    """Return plain data without infinities and NaN, which JSON does not know."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    if isinstance(value, float) and value - value != 0.0:
        return None
    return value


def as_html(bench: Bench) -> str:
    """Return the bench as one page that needs no other file."""
    page = templates_of("infantmon.selftest").get_template("bench.html")
    return page.render(bench=bench, notes=notes(bench), cautions=CAUTIONS)
