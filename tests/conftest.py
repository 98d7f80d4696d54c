"""Fixtures that every test may use."""

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

AXE = "axe-core@4.14.1"
"""Accessibility rules as a script, from the npm registry."""


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


def missing(what: str) -> None:
    """Skip, or fail where every test is asked for."""
    if _requires_all():
        pytest.fail(f"{what}, and INFANTMON_REQUIRE_ALL=1 asks for all tests")
    pytest.skip(what)


@pytest.fixture(scope="session")
def chromium() -> str:
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome"):
        if found := shutil.which(name):
            return found
    missing("no headless Chromium found (chromium on the path)")
    raise AssertionError


@pytest.fixture(scope="session")
def axe() -> str:
    """The text of axe-core, kept in the environment once it has been fetched."""
    folder = Path(sys.prefix) / "axe-core"
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not script.is_file():
        npm = shutil.which("npm")
        if npm is None:
            missing("no npm found, from which axe-core comes")
        half = tempfile.mkdtemp(prefix="axe-core", dir=sys.prefix)
        told = subprocess.run(
            [str(npm), "install", "--no-save", "--no-audit", "--prefix", half, AXE],
            capture_output=True,
            text=True,
            timeout=100,
            check=False,
        )
        if told.returncode != 0:
            missing(f"axe-core could not be fetched: {told.stderr[-300:]}")
        with contextlib.suppress(OSError):  # another worker may have been first
            Path(half).rename(folder)
    return script.read_text(encoding="utf-8")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item):
    """Where everything has to be at hand (INFANTMON_REQUIRE_ALL=1) a skipped test is a failure."""
    report = (yield).get_result()
    if report.skipped and not hasattr(report, "wasxfail") and _requires_all():
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped although INFANTMON_REQUIRE_ALL=1"


def _requires_all() -> bool:
    return os.environ.get("INFANTMON_REQUIRE_ALL") == "1"
