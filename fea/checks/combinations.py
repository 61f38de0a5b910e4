"""Load factors: each format's snow combination, by what the standard's own snow means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import DesignFormat
from roofmodel.project.load import Project
from roofmodel.snow.cases import LoadLevel, SnowCase

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LoadFactors:
    """Factors of one combination and where they come from."""

    dead: float
    snow: float
    thermal: float
    clause: str


# From memory of the clauses named, checked against the combinations collected in tests/data.
_COMBINATIONS = {
    (DesignFormat.ASD, LoadLevel.STRENGTH): (1.0, 0.7, "ASCE/SEI 7-22 2.4.1: D + 0.7 S"),
    (DesignFormat.ASD, LoadLevel.CHARACTERISTIC): (1.0, 1.0, "allowable strength: D + S"),
    (DesignFormat.LRFD, LoadLevel.STRENGTH): (1.2, 1.0, "ASCE/SEI 7-22 2.3.1: 1.2 D + 1.0 S"),
    (DesignFormat.LRFD, LoadLevel.CHARACTERISTIC): (1.2, 1.6, "strength design: 1.2 D + 1.6 S"),
    (DesignFormat.EN, LoadLevel.STRENGTH): (
        1.35,
        1.0,
        "EN 1990 6.4.3.2 with design-level snow given directly: 1.35 G + S_d (judgment)",
    ),
    (DesignFormat.EN, LoadLevel.CHARACTERISTIC): (1.35, 1.5, "EN 1990 6.4.3.2, Eq. 6.10: 1.35 G + 1.5 S"),
}
# Standards whose snow has factors of its own; from memory as above.
_OWN = {
    (DesignFormat.ASD, LoadLevel.CHARACTERISTIC, "ASCE/SEI 7-16"): (1.0, 1.0, "ASCE/SEI 7-16 2.4.1: D + S"),
    (DesignFormat.LRFD, LoadLevel.CHARACTERISTIC, "ASCE/SEI 7-16"): (
        1.2,
        1.6,
        "ASCE/SEI 7-16 2.3.1: 1.2 D + 1.6 S",
    ),
    (DesignFormat.LRFD, LoadLevel.CHARACTERISTIC, "NBCC 2020"): (
        1.25,
        1.5,
        "NBCC 2020 4.1.3.2, case 3: 1.25 D + 1.5 S",
    ),
    # Exceptional snow is an accidental action; snow that a user calls "strength" is not.
    (DesignFormat.EN, LoadLevel.STRENGTH, "EN 1991-1-3"): (
        1.0,
        1.0,
        "EN 1990 6.4.3.3 (accidental): G + A_d, A_d the exceptional snow",
    ),
}
# Least factor on restrained temperature, NBCC 2020 4.1.3.2.(4), from memory.
_THERMAL = {"NBCC 2020": 1.25}


def strength_factors(
    form: DesignFormat,
    level: LoadLevel,
    snow: float | None = None,
    thermal: float = 1.0,
    standard: str = "",
) -> LoadFactors:
    """Factors for the strength checks.

    Parameters
    ----------
    form : DesignFormat
    level : LoadLevel
        Measured snow is taken as it lay, factor 1, unless `snow` says otherwise.
    snow : float, optional
        Factor on snow given by the user, in place of the standard's own. [-]
    thermal : float
        Factor on restrained temperature; a standard may ask for more. [-]
    standard : str
        Where the snow comes from; "" for the usual factors of the format.

    Returns
    -------
    LoadFactors
    """
    if level is LoadLevel.MEASURED:
        dead, usual, clause = 1.0, 1.0, "measured snow, as it lay: D + S"
    elif (form, level, standard) in _OWN:
        dead, usual, clause = _OWN[(form, level, standard)]
    else:
        dead, usual, clause = _COMBINATIONS[(form, level)]
    thermal = max(thermal, _THERMAL.get(standard, 0.0))
    if snow is not None and snow != usual:
        return LoadFactors(dead, snow, thermal, f"{clause}, with {snow:g} on S given by the user")
    return LoadFactors(dead, usual, thermal, clause)


def project_factors(project: Project, case: SnowCase) -> LoadFactors:
    """Factors for the strength checks of a project under a snow case."""
    design = project.table.design
    form = DesignFormat(design.format)
    return strength_factors(form, case.level, design.snow_factor, design.thermal_factor, case.standard)


def least_dead_factor(form: DesignFormat, level: LoadLevel) -> float:
    """Factor on dead load where its weight helps.

    ASCE/SEI 7-22 2.3.1 (0.9 D) and 2.4.1 (0.6 D), EN 1990 Table A1.2(B) (1.0), from memory; that ASCE's
    factors also go with snow is judgment. Measured structures weigh what they weigh.
    """
    if level is LoadLevel.MEASURED:
        return 1.0
    return {DesignFormat.ASD: 0.6, DesignFormat.LRFD: 0.9, DesignFormat.EN: 1.0}[form]


def service_factors(form: DesignFormat, level: LoadLevel, share: float = 1.0) -> LoadFactors:
    """Factors for deflection: snow as it lies; 0.7 S where the ground snow is at strength level.

    Parameters
    ----------
    form : DesignFormat
    level : LoadLevel
    share : float
        Share of the case that the standard itself counts for serviceability, `SnowCase.service`. [-]
    """
    if share != 1.0:
        return LoadFactors(1.0, share, 1.0, f"service: D + {share:.3g} S, I_s of serviceability in S")
    if level is LoadLevel.STRENGTH and form is not DesignFormat.EN:
        return LoadFactors(1.0, 0.7, 1.0, "service: D + 0.7 S for strength-level ground snow (judgment)")
    return LoadFactors(1.0, 1.0, 1.0, "service: D + S")


def factor_arrays(factors: Sequence[LoadFactors]) -> tuple[Array, Array, Array]:
    """Factors on snow, dead load and temperature, (q,) each."""
    table = np.array([(f.snow, f.dead, f.thermal) for f in factors]).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]
