"""One interface to the event log, and the stores that keep it."""
