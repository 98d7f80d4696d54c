"""Marks and episodes compared with a reference."""
