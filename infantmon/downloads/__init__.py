"""Many downloads of one infant: read, laid on one calendar, summed up."""
