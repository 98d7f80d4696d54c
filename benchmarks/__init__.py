"""Benchmarks: databases, scoring runs, stored results. Not part of the installed package."""
