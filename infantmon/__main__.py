"""Run the command line with ``python -m infantmon``."""

from infantmon.cli import run

run()
