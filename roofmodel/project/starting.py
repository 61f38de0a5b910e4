"""Names that `new` writes into starting files, whose numbers are examples."""

from __future__ import annotations

from roofmodel.project.schema import STARTING_NAME

STARTING = {"project": STARTING_NAME, "campaign": "Example clamp", "study": "Example rails"}


def example_words(what: str, name: str) -> tuple[str, ...]:
    """That a file of a kind of `STARTING` still has the name that `new` gave it; empty for its own."""
    if not name.strip().startswith(STARTING[what]):
        return ()
    return (
        f"DO NOT RELY ON THESE NUMBERS: the {what} is still called “{name}”, and numbers of its starting "
        f"file are examples. Put in your own and give it a name ({what}.name).",
    )
