"""What keeps a check from passing: its kinds in their order, the worst first, and the word that counts."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum


class Finding(StrEnum):
    """A reason not to pass, as data files name it; the order is that of the verdict."""

    EXCEEDED = "exceeded"
    NOT_PROTECTED = "not protected"
    NOT_SETTLED = "not settled"
    NOT_VERIFIED = "not verified"
    AUDIT_FAILED = "audit failed"

    @property
    def word(self) -> str:
        """As people read it, such as "NOT SETTLED"."""
        return "SELF-CHECK FAILED" if self is Finding.AUDIT_FAILED else self.upper()


PASS = "pass"


def ranked(there: Mapping[Finding, object]) -> tuple[Finding, ...]:
    """The findings that are there, the worst first.

    Parameters
    ----------
    there : mapping of Finding to anything
        What was found of each kind; empty, None and False for nothing.
    """
    return tuple(one for one in Finding if there.get(one))


def code(found: tuple[Finding, ...]) -> str:
    """The word of data files for `ranked` findings: the worst one, or "pass"."""
    return str(found[0]) if found else PASS
