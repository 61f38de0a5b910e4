"""Forces on rows from undrifted snow and from drifted snow, side by side, as EN 1991-1-3 6.4 asks."""

from __future__ import annotations

import math

import numpy as np

from fea.analysis import Analysis
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.en_roof import CODE, UNDRIFTED


def undrifted_forces(analysis: Analysis) -> tuple[list[float], list[float]]:
    """Largest total force down the slope of each row from undrifted snow (EN 1991-1-3 6.4), and from other.

    Unfactored; exceptional snow is in neither, since its factors differ. NaN where the cases are those of
    another standard, or where there is no other case. [N]
    """
    layout, force, cases = analysis.project.layout, analysis.force, analysis.snow.cases
    totals = np.zeros((len(cases), len(layout.row_name)))
    np.add.at(totals.T, force.row, -force.thrust[:, :, 1].T)
    en = [k for k, c in enumerate(cases) if c.standard == CODE and c.level is LoadLevel.CHARACTERISTIC]
    plain = [k for k in en if cases[k].name == UNDRIFTED]
    drifted = [k for k in en if cases[k].name != UNDRIFTED]
    none = [math.nan] * totals.shape[1]
    return (
        totals[plain].max(axis=0).tolist() if plain else none,
        totals[drifted].max(axis=0).tolist() if drifted else none,
    )
