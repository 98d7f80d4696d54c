"""Recordings and prescriptions in and out of files."""
