"""The published JSON Schema of a review's JSON: what readers of other programs may rely on."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any


def review_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what `write_json` writes.

    It is the file ``review.schema.json`` beside this module. Its `format` is raised when a field
    changes its meaning or goes away.

    Returns
    -------
    dict
        Plain data, new each time.
    """
    text = files("infantmon.report").joinpath("review.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
