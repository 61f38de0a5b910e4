"""Which notes a screen says in full: those that warn in capitals. The others stand in the pages."""

from __future__ import annotations

import re
from collections.abc import Iterable

SHORT = frozenset(
    ("AISI", "ASCE", "ASD", "ASTM", "CSA", "CSV", "DXF", "ISO", "LRFD", "NBCC", "SHA", "SEI", "TOML")
)  # capitals that warn of nothing
# What `span` repeats of notes that `tests` has said on its own screen.
GRAVE = ("CHECK", "UNSAFE", "UNSUPPORTED", "TOO HIGH", "DO NOT", "NOT VERIFIED", "NO SAFETY", "BELOW")


def is_loud(text: str) -> bool:
    """Whether a note warns in capitals."""
    return "DO NOT" in text or any(word not in SHORT for word in re.findall(r"\b[A-Z]{3,}\b", text))


def is_grave(text: str) -> bool:
    """Whether a note of the tests must be read with every table of theirs too."""
    return any(word in text for word in GRAVE)


def rest_words(count: int, page: str, more: Iterable[str] = ()) -> str:
    """Where the rest stands."""
    notes = [f"{count} more note{'s' if count > 1 else ''}"] if count else []
    parts = [*notes, *more]
    if not parts:
        return ""
    listed = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{listed[0].upper()}{listed[1:]} stand{'s' if len(parts) == 1 and count == 1 else ''} in {page}."
