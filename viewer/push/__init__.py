"""The command `push` and what it writes."""
