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
        if _requires_all():
            pytest.fail(reason)
        pytest.skip(reason)
    return folder


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item):
    """Where everything has to be at hand (INFANTMON_REQUIRE_ALL=1) a skipped test is a failure."""
    report = (yield).get_result()
    if report.skipped and not hasattr(report, "wasxfail") and _requires_all():
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped although INFANTMON_REQUIRE_ALL=1"


def _requires_all() -> bool:
    return os.environ.get("INFANTMON_REQUIRE_ALL") == "1"
