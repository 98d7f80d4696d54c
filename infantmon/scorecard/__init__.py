"""Detectors run over annotated recordings, scored, gated, and written as reports."""
