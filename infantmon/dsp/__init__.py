"""Building blocks for streams of samples; each sample is scanned once per need."""
