"""Run the command line with ``python -m infantmon``."""

from infantmon.cli import run

if __name__ == "__main__":
    run()
