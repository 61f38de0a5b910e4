"""Seam detail from the project file."""

from __future__ import annotations

import numpy as np

from roofmodel.errors import InputError
from roofmodel.hardware import (
    Bearing,
    DesignFormat,
    FixedPoint,
    Material,
    SeamDetail,
    SeamLock,
)
from roofmodel.project.hardware_tables import (
    SHEET_DENSITY,
    YIELD_FACTORS,
    check_factor,
    check_yield,
    design_strength,
)
from roofmodel.project.schema import PanelTable
from roofmodel.project.seam_schema import SeamTable
from roofmodel.units import SI, UnitSystem

# E [Pa], Poisson's ratio, expansion [1/K] of sheet metals: EN 1993-1-1 3.2.6, EN 1999-1-1 3.2.5, EN 1993-1-4
# 2.1.3, copper and zinc-copper-titanium from handbooks. All from memory.
_SHEETS = {
    "steel": (210e9, 0.30, 12e-6),
    "stainless steel": (200e9, 0.30, 16e-6),
    "aluminum": (70e9, 0.33, 23e-6),
    "copper": (120e9, 0.34, 17e-6),
    "zinc": (90e9, 0.25, 22e-6),
}

# Judgment: a crimped fold gives way by tenths of a millimeter under a few newtons per millimeter.
_DOUBLE_LOCK = np.array([5e6, 20e6, 20e6])  # along, across, vertical [N/m^2]
_DECK = 50e6  # [N/m^3]
_PURLIN = 5e6  # [N/m^2]

ONE_PLACE = 1e-3  # screws nearer than this are one [m]
RIB_ROOM = 0.02  # of flat pan beside all ribs [m]


def make_seam(table: SeamTable, panel: PanelTable, form: DesignFormat, units: UnitSystem = SI) -> SeamDetail:
    """Seam detail from its table.

    Raises
    ------
    InputError
        Sizes that do not fit each other, strengths without their factor.
    """
    _check_sizes(table, panel, units)
    check_yield("seam.yield_strength", table.yield_strength, panel.metal, units)
    fold = 0.25 * panel.seam_height if table.fold_height is None else table.fold_height
    spacing = float(panel.clip_spacing or np.nan)
    width = 0.0 if table.pan_rib_width is None else table.pan_rib_width
    opening, clip = _strengths(table, form)
    strength, clause = _sheet_strength(table, panel, form)
    lock = SeamLock(table.lock)
    given = table.lock_stiffness
    usual = _DOUBLE_LOCK * (1.0 if lock is SeamLock.DOUBLE else 0.5)
    clips, bearing = table.clip_stiffness, Bearing(table.bearing)
    modulus, poisson, alpha = _SHEETS[panel.metal]
    modulus = table.E or modulus
    return SeamDetail(
        sheet=Material(
            name=panel.metal,
            E=modulus,
            G=modulus / (2.0 * (1.0 + poisson)),
            alpha=alpha,
            density=SHEET_DENSITY[panel.metal],
            yield_strength=table.yield_strength,
        ),
        sheet_strength=strength,
        sheet_clause=clause,
        lock=lock,
        fold_height=fold,
        lock_stiffness=usual if given is None else np.array([given.along, given.across, given.vertical]),
        opening_strength=opening,
        pan_ribs=table.pan_ribs,
        pan_rib_height=table.pan_rib_height or 0.0,
        pan_rib_width=width,
        clip_spacing=spacing,
        clip_first=0.5 * spacing if table.clip_first is None else table.clip_first,
        clip_length=table.clip_length,
        clip_stiffness=np.array([clips.across if table.fixed_clips else 0.0, clips.across, clips.pull]),
        clip_gap=table.clip_gap,
        clip_strength=clip,
        clamps_pin_clips=table.clamps_pin_clips,
        fixed_at=FixedPoint(table.fixed_at),
        fixed_stiffness=table.fixed_stiffness,
        bearing=bearing,
        bearing_stiffness=_bed(table, bearing),
        purlin_spacing=np.nan if table.purlin_spacing is None else table.purlin_spacing,
        through_fixings=np.sort(np.array(table.through_fixings, dtype=float)),
        thermal=table.temperature_change,
    )


def _check_sizes(table: SeamTable, panel: PanelTable, units: UnitSystem) -> None:
    """Refuse sizes that do not fit each other."""

    def told(size: float) -> str:
        return units.text(size, "size")

    fold, screws = table.fold_height, np.sort(table.through_fixings)
    spacing, width = float(panel.clip_spacing or np.nan), table.pan_rib_width or 0.0
    twice = np.flatnonzero(np.diff(screws) < ONE_PLACE)
    message = ""
    if fold is not None and fold >= panel.seam_height:
        message = (
            f"seam.fold_height: {told(fold)} must be less than panel.seam_height, {told(panel.seam_height)}"
        )
    elif table.clip_length >= spacing:
        length = told(table.clip_length)
        message = f"seam.clip_length: {length} must be less than panel.clip_spacing, {told(spacing)}"
    elif table.clip_first is not None and table.clip_first < 0.5 * table.clip_length:
        message = (
            f"seam.clip_first: {told(table.clip_first)} is to the middle of the clip, so it must be at least "
            f"half of seam.clip_length, {told(0.5 * table.clip_length)}"
        )
    elif table.pan_ribs * width + RIB_ROOM > panel.seam_spacing:
        message = (
            f"seam.pan_rib_width: {table.pan_ribs} ribs {told(width)} wide do not fit into "
            f"panel.seam_spacing, {told(panel.seam_spacing)}"
        )
    elif len(twice):
        message = (
            f"seam.through_fixings: {units.text(screws[twice[0]], 'length')} is given twice; give every "
            "screw along the seam once"
        )
    if message:
        raise InputError(message)


def _bed(table: SeamTable, bearing: Bearing) -> float:
    if bearing is Bearing.DECK:
        return table.bearing_stiffness or _DECK
    return table.purlin_stiffness or _PURLIN


def _strengths(table: SeamTable, form: DesignFormat) -> tuple[float, float]:
    """Design resistances of the fold and of a clip, NaN for not given."""
    nominal = np.array(
        [np.nan if v is None else v for v in (table.opening_strength, table.clip_strength)], dtype=float
    )
    if np.isnan(nominal).all():
        if table.factor is not None:
            message = "seam.factor: goes with opening_strength or clip_strength; leave it out"
            raise InputError(message)
        return np.nan, np.nan
    strength, _ = design_strength(nominal, table.strength_kind, table.factor, form, "seam")
    return float(strength[0]), float(strength[1])


def _sheet_strength(table: SeamTable, panel: PanelTable, form: DesignFormat) -> tuple[float, str]:
    usual = YIELD_FACTORS.get((panel.metal, form))
    if table.yield_factor is None and usual is None:
        return np.nan, f"no usual factor for {panel.metal}; give seam.yield_factor"
    factor, clause = usual if usual is not None else (1.0, "")
    if table.yield_factor is not None:
        factor, clause = table.yield_factor, "factor given by the user"
        check_factor("seam.yield_factor", factor, form)
    nominal = table.yield_strength
    return (nominal * factor if form is DesignFormat.LRFD else nominal / factor), clause
