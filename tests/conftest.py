"""Fixtures that every test may use."""

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def recordings() -> Path:
    """The folder of shared recordings; a test that asks for it is skipped where there is none."""
    told = os.environ.get("INFANTMON_RECORDINGS")
    folder = Path(told) if told else Path(__file__).parents[2] / "shared" / "recordings"
    if not folder.is_dir():
        reason = f"the shared recordings are not at {folder} (set INFANTMON_RECORDINGS)"
        if os.environ.get("INFANTMON_REQUIRE_ALL") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    return folder
