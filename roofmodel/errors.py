"""The one error that user input can cause."""

from __future__ import annotations


class InputError(ValueError):
    """Bad input, told in one line: what, where, the value, and what would be right.

    Parameters
    ----------
    message : str
        One line for the person who wrote the input.
    """

    def __init__(self, message: str) -> None:
        super().__init__(" ".join(message.split()))
