"""The command `blanket` and what it writes."""
