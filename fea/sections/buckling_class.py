"""Buckling class of aluminum walls, EN 1999-1-1 table 3.2: what was taken and what the other would give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fea.sections.effective import effective
from roofmodel.hardware import DesignFormat, Rail


def class_words(name: str, rail: Rail, alloy: str, form: DesignFormat) -> list[str]:
    """One sentence where the class counts: it was given as A, or A would leave more of the walls.

    Parameters
    ----------
    name : str
        What to call the rail.
    rail : Rail
    alloy : str
        Alloy and temper, in the user's words.
    form : DesignFormat
    """
    metal, profile = rail.material, rail.profile
    if metal.name != "aluminum" or form is not DesignFormat.EN:
        return []
    if metal.buckling_class == "A":
        return [
            f"Walls of {name} by buckling class A of EN 1999-1-1, as given for {alloy}: read it in table 3.2 "
            "against the maker's certificate."
        ]
    if profile is None:
        return []
    share = [
        effective(profile, replace(metal, buckling_class=one), form, welded=rail.welded).share for one in "AB"
    ]
    if not (np.nan_to_num(share[0]) > np.nan_to_num(share[1]) + 1e-9).any():
        return []
    given = f" ({alloy})" if alloy else ""
    return [
        f"Walls of {name}{given} by buckling class B of EN 1999-1-1, safe for every temper: where table 3.2 "
        'has class A (most of temper T6), rail.alloy with rail.buckling_class = "A" leaves more of them, in '
        f"compression {100.0 * share[0][0]:.0f} % in place of {100.0 * share[1][0]:.0f} %."
    ]
