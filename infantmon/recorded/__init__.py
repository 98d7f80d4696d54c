"""Events that another device recorded: read, judged, decided by readers."""
