"""What a level of snow is called, in one place for tables, sentences and notes."""

from __future__ import annotations

from roofmodel.snow.cases import LoadLevel

CALLED = {
    LoadLevel.STRENGTH: "strength-level",
    LoadLevel.CHARACTERISTIC: "characteristic",
    LoadLevel.MEASURED: "measured",
}
_FACTORED = {
    LoadLevel.STRENGTH: "factored by the standard already",
    LoadLevel.CHARACTERISTIC: "before load factors",
    LoadLevel.MEASURED: "not factored",
}


def level_words(level: LoadLevel, what: str = "") -> str:
    """Such as "characteristic, before load factors", or "characteristic snow, before load factors"."""
    return f"{CALLED[level]}{f' {what}' if what else ''}, {_FACTORED[level]}"
