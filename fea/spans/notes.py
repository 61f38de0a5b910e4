"""Sentences that a span table must be read with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Note:
    """One sentence.

    Attributes
    ----------
    words : str
    sheet : bool
        Whether the loads would be dangerous without it, so that the data sheet says it too.
    rails : tuple of int
        Numbers of the rails in the study that it is about; empty for all.
    """

    words: str
    sheet: bool = False
    rails: tuple[int, ...] = ()

    def of(self, rail: int) -> bool:
        """Whether it is about a rail."""
        return not self.rails or rail in self.rails


def needed(sentences: Iterable[str], *rails: int) -> list[Note]:
    """Notes that the data sheet says too; of some rails alone where they are given."""
    return [Note(words, True, rails) for words in sentences]
