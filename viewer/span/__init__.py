"""The command `span` and what it writes."""
