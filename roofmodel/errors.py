"""The one error that user input can cause."""

from __future__ import annotations


def printable(text: str) -> str:
    """A text without what a terminal would obey, or what would show words in another order."""
    return "".join(c if c.isprintable() or c.isspace() else "\ufffd" for c in text)


class InputError(ValueError):
    """Bad input, told in one line: what, where, the value, and what would be right.

    Parameters
    ----------
    message : str
        One line for the person who wrote the input.
    """

    def __init__(self, message: str) -> None:
        super().__init__(" ".join(printable(message).split()))
