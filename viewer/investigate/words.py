"""Numbers in words."""

from __future__ import annotations

import re

import numpy as np

from roofmodel.units import UnitSystem


def weight_text(units: UnitSystem, *values: float) -> tuple[str, ...]:
    """Weights of snow to three digits of the largest, none below nothing; they are known no better."""
    largest = max(abs(units.convert(one, "force")) for one in values)
    digits = max(2 - int(np.floor(np.log10(largest))), 0) if largest > 0.0 else 0
    label = units.label("force")
    return tuple(f"{max(units.convert(one, 'force'), 0.0):,.{digits}f} {label}" for one in values)


def sentences(text: str) -> tuple[str, ...]:
    """Sentences of a text, as each begins with a capital or a quotation mark after a full stop."""
    return tuple(re.split(r'(?<=\.) (?=["A-Z])', text))
