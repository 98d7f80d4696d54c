"""The table of a bench as JSON for machines and as one self-contained page for people."""

from __future__ import annotations

import json
from dataclasses import asdict

from jinja2 import Environment

from infantmon.report.cautions import CAUTIONS
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
    page = Environment(autoescape=True, trim_blocks=True).from_string(_PAGE)
    return page.render(bench=bench, notes=notes(bench), cautions=CAUTIONS)


_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Self-test of {{ bench.subject }}</title>
<style>
body { font: 15px/1.45 system-ui, sans-serif; margin: 2rem auto; max-width: 72rem;
  padding: 0 1rem; color: #1b1f24; background: #fff; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem;
  border-bottom: 1px solid #d6dbe1; }
th { border-bottom: 2px solid #5b6570; }
@media (max-width: 32rem) { body { padding: 0 .3rem; } th, td { padding: .35rem .2rem; } }
tr.group th { padding-top: 1.2rem; border-bottom: 1px solid #5b6570; }
.source { color: #4b545e; font-size: 13px; }
.verdict { white-space: nowrap; font-weight: 600; }
.short .verdict::before { content: "\\2715  "; }
.pass .verdict::before { content: "\\2713  "; }
.not .verdict { font-weight: 400; color: #4b545e; }
.short { background: #fdf0ec; }
</style>
</head>
<body>
<h1>Self-test of {{ bench.subject }}</h1>
<p>{% for verdict, count in bench.counts.items() %}{{ count }} {{ verdict }}{{ ", " if not
loop.last }}{% endfor %}. infantmon {{ bench.version }}.</p>
<ul>
{% for caution in cautions %}<li>{{ caution }}</li>
{% endfor %}
{% for note in notes %}<li>{{ note }}</li>
{% endfor %}
</ul>
<table>
<thead><tr><th>Trial</th><th>Limit</th><th>Measured</th><th>Verdict</th></tr></thead>
<tbody>
{% for row in bench.rows %}
{% if loop.first or row.group != loop.previtem.group %}
<tr class="group"><th colspan="4" scope="rowgroup">{{ row.group }}</th></tr>
{% endif %}
<tr class="{{ row.verdict.split()[0] if row.verdict != "falls short" else "short" }}">
<td>{{ row.name }}<div class="source">{{ row.source }}</div></td>
<td>{{ row.limit }}</td>
<td>{{ row.measured }}</td>
<td><span class="verdict">{{ row.verdict }}</span>{% if row.reason %}<div class="source">{{
row.reason }}</div>{% endif %}</td>
</tr>
{% endfor %}
</tbody>
</table>
</body>
</html>
"""
