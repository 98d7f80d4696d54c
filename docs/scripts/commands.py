"""The help of every command, as the program prints it."""

from __future__ import annotations

import contextlib
import io
import os

from infantmon.cli import main

WIDTH = "96"


def help_of(*words: str) -> str:
    """Return what a command says of itself."""
    told = io.StringIO()
    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = os.environ["TERMINAL_WIDTH"] = WIDTH
    try:
        with contextlib.redirect_stdout(told):
            code = main([*words, "--help"])
    finally:
        os.environ.pop("TERMINAL_WIDTH", None)
        if before is None:
            del os.environ["COLUMNS"]
        else:
            os.environ["COLUMNS"] = before
    if code != 0:
        raise RuntimeError(f"infantmon {' '.join(words)} --help ended with {code}")
    return told.getvalue().rstrip()


def command_names() -> list[str]:
    """Return the commands in the order in which the program lists them."""
    listed = help_of().partition("Commands:\n")[2].partition("\n\n")[0]
    return [
        line.split()[0] for line in listed.splitlines() if line.startswith("  ") and line[2] != " "
    ]


def commands_page() -> str:
    """Return the help of the program and of every command as Markdown."""
    parts = [f"```text\n{help_of()}\n```"]
    for name in command_names():
        parts += [f"## {name}", f"```text\n{help_of(name)}\n```"]
    return "\n\n".join(parts) + "\n"
