"""What things are: clock, signals, findings, spans, channels, recordings, prescriptions, events."""
