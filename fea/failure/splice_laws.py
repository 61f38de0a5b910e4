"""What splices hold and what they do past it, as the project gives it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.failure.assembled import ALONE, OPENS, PARTS
from fea.failure.splices import BENDING_Y, LIFT, PULL, SHEAR, Splices
from fea.failure.study import SpliceCase
from roofmodel.errors import InputError
from roofmodel.layout import Layout, SpliceKind
from roofmodel.project.uncertainty_schema import SpliceLaw
from roofmodel.units import UnitSystem

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class SpliceStrength:
    """One splice, by the six forces of `fea.failure.splices.PARTS`.

    Attributes
    ----------
    capacity : (6,) float
        In the mean; infinite without a limit. [N, N m]
    residual : (6,) float
        Share of it that is left. [-]
    takes : (6,) int
        As `fea.failure.assembled.SpliceLoads`.
    scatter : float
        Coefficient of variation. [-]
    """

    capacity: Array
    residual: Array
    takes: IntArray
    scatter: float


def strength_of(law: SpliceLaw, layout: Layout, file: str) -> SpliceStrength:
    """Strength of the splices of a project.

    Raises
    ------
    InputError
        No splice, or a moment where none is continuous.
    """
    if not len(layout.splice_s):
        message = f"{file}: uncertainty.splice: no row has a splice; give row.splice or leave this table out"
        raise InputError(message)
    if law.moment is not None and SpliceKind.CONTINUOUS not in layout.splice_kind:
        message = (
            f"{file}: uncertainty.splice.moment: no splice passes on a moment; that needs "
            'splice_kind = "continuous"'
        )
        raise InputError(message)
    capacity = np.full(6, np.inf)
    for part, value in ((PULL, law.pull), (SHEAR, law.shear), (LIFT, law.shear)):
        capacity[part] = np.inf if value is None else value
    capacity[BENDING_Y:] = np.inf if law.moment is None else law.moment
    share = {"brittle": 0.0, "hinge": 0.0, "slip": law.residual or 0.0, "ductile": 1.0}[law.kind]
    alone = law.kind in ("slip", "ductile")
    takes = np.full(6, ALONE if alone else PARTS, dtype=np.int64)
    if law.kind == "hinge":
        takes[BENDING_Y:] = OPENS
    return SpliceStrength(capacity, np.full(6, share), takes, law.scatter)


def splice_case(
    strength: SpliceStrength, splices: Splices, held: Array, snow: Array, ends: Array
) -> SpliceCase:
    """All parts under a case: forces (k,) before the snow, (m, 2, k) of it, (k,) from beyond row ends."""
    capacity, share = strength.capacity[splices.part], strength.residual[splices.part]
    takes = strength.takes[splices.part]
    limited = np.isfinite(capacity)
    residual = np.where(takes == ALONE, np.inf, 0.0)
    residual[limited] = share[limited] * capacity[limited]
    return SpliceCase(held, snow, capacity, residual, takes, ends, strength.scatter)


def splice_words(law: SpliceLaw, units: UnitSystem) -> str:
    """What a splice holds and does, as the project says it."""
    given = [
        f"{units.text(value, kind)} {what}"
        for value, kind, what in (
            (law.shear, "force", "across the rail"),
            (law.pull, "force", "along it"),
            (law.moment, "moment", "of bending"),
        )
        if value is not None
    ]
    past = {
        "brittle": "parts then: the rail becomes two, and each piece goes on by itself",
        "hinge": "opens to a hinge at the moment, and parts at a force",
        "slip": f"slips then and holds {100.0 * (law.residual or 0.0):g} %",
        "ductile": "yields then and goes on holding it",
    }[law.kind]
    reason = f" ({law.reason})" if law.reason else ""
    return (
        f"A splice holds {' and '.join(given)} in the mean, scatter {law.scatter:g}; it {past}{reason} "
        "(uncertainty.splice). Each of its forces counts by itself."
    )
