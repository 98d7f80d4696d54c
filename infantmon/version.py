"""Which version of the library is installed: it stands on every page and in every file."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def library_version() -> str:
    """Return the installed version of the library."""
    try:
        return version("infantmon")
    except PackageNotFoundError:
        return "not installed"


__version__ = library_version()
