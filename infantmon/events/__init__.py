"""Findings in, events out. No samples are seen here."""
