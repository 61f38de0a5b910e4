"""Virtual tests: rows of rail pushed until nothing more can be held, event by event."""
