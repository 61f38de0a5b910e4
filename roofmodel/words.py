"""Words that several reports share."""

from __future__ import annotations

from collections.abc import Sequence


def shortlist(words: Sequence[str], most: int) -> str:
    """The first words with commas between them, and how many more there are."""
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more
