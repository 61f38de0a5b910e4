"""Tested moments of a rail against what its section can hold at all."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import DesignFormat, Rail
from roofmodel.project.schema import RailTable
from roofmodel.project.strength_doubts import READY, SAME
from roofmodel.units import UnitSystem

# Times the full plastic moment at the yield strength given that a test may reach: metal is stronger than its
# nominal value and hardens (judgment; the ultimate over the yield strength of extrusions is 1.1 to 1.3).
HARDENS = 1.2
FIELDS = ("moment_normal", "moment_slope")
AXES = ("away from the roof", "down the slope")


def moment_doubts(name: str, table: RailTable, rail: Rail, form: str, units: UnitSystem) -> dict[str, str]:
    """Tested moments above the full plastic moment of the whole section, by field; empty for none.

    A moment that holds its factor is held against the plastic moment at the design yield stress.
    """
    given, full = _moments(table), _plastic(table, rail, form)
    found = {}
    for field, way, own, most in zip(FIELDS, AXES, given, full, strict=True):
        if not own > SAME * HARDENS * most:  # NaN for not given
            continue
        found[f"{name}.{field}"] = (
            f"{field} of {name}, {units.text(own, 'moment')} ({table.moment_kind}), is {own / most:.2g} "
            f"times the full plastic moment of its section, {units.text(most, 'moment')} {way}"
            f"{_factored(table)}; no test reaches more than {HARDENS:g} times it (judgment): UNSAFE. Check "
            "its unit and digits, and the yield strength"
        )
    return found


def moment_notes(name: str, table: RailTable, rail: Rail, form: str, units: UnitSystem) -> list[str]:
    """That tested moments count, and what share of the full plastic moment they are."""
    given = _moments(table)
    if np.isnan(given).any():
        return []
    each = [
        f"{units.text(float(own), 'moment')} {way} ({100.0 * own / most:.0f} % of the full plastic moment)"
        for way, own, most in zip(AXES, given, _plastic(table, rail, form), strict=True)
    ]
    factor = "" if table.moment_factor is None else f", factor {table.moment_factor:g}"
    return [
        f"Tested moments of {name}, {table.moment_kind}{factor}: {' and '.join(each)}. They count in place "
        "of calculated local buckling."
    ]


def _moments(table: RailTable) -> NDArray[np.float64]:
    """As given, about y and z, (2,); NaN for not given. [N m]."""
    both = [getattr(table, field) for field in FIELDS]
    return np.array([np.nan if one is None else float(one) for one in both])


def _plastic(table: RailTable, rail: Rail, form: str) -> NDArray[np.float64]:
    """Full plastic moment of the whole section about y and z, (2,), factored like the tested ones.

    NaN for a rail without an outline. [N m].
    """
    if rail.profile is None:
        return np.full(2, np.nan)
    stress = rail.material.yield_strength
    if table.moment_kind in READY:
        factor = rail.resistance_factor
        stress = stress * factor if form == DesignFormat.LRFD else stress / factor
    return np.asarray(rail.profile.plastic * stress)


def _factored(table: RailTable) -> str:
    return ", with its factor" if table.moment_kind in READY else ""
