"""The cautions that stand on every output that a person could rely on."""

from __future__ import annotations

CAUTIONS = (
    "Research software for offline study: not a medical device, not for live use on an infant.",
    "Limits come from a licensed prescriber; no limit, change or stopping is advised.",
    "Chest impedance shows effort, not the flow of air: it cannot see obstructive apnea.",
    "No monitor has been shown to prevent SIDS.",
    "Events can be missed and can be wrong. Time that could not be used never counts as normal.",
)
"""One caution a line, for the top of a page."""

NOTICE = " ".join(CAUTIONS)
"""All cautions as one text, for files that machines read."""

SHORT_NOTICE = "Research software, not a medical device; not for live use on an infant."
"""The shortest of them, for each row of a table."""

BLIND_SPOT = "impedance cannot see obstructive apnea (effort without air flow)"
"""What stands beside every "none found" that rests on the impedance."""
