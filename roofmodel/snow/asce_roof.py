"""ASCE/SEI 7 on a recognized roof: factors, balanced and minimum loads, rain on snow."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow.asce7_22 import LOW_SLOPE, sloped_roof_load
from roofmodel.snow.asce_folded import folded_planes
from roofmodel.snow.asce_rules import AsceRules, asce_rules
from roofmodel.snow.asce_working import slope_formula
from roofmodel.snow.cases import Bare, SnowCase, Value, Zone
from roofmodel.snow.inputs import Asce16Site, AsceSite
from roofmodel.snow.patches import UNREDUCED, UNREDUCED_NOTE
from roofmodel.snow.reasons import any_below, grouped_reasons
from roofmodel.snow.regions import (
    WHOLE,
    Plan,
    held_planes,
    obstructed_planes,
    roof_plan,
    uniform,
    with_snow,
)
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
LOW_CURVE = np.radians(10.0)  # 7.3.3, 7.3.4 in 7-16: curved roofs [rad]


@dataclass(frozen=True)
class AsceRoof:
    """A roof with everything that every ASCE/SEI 7 case needs.

    Attributes
    ----------
    roof, plan, site
    rules : AsceRules
        The edition.
    retained : frozenset of int
        Planes that carry rows.
    slope_factor : (p,) float
        C_s.
    obstructed : dict of int to str
        Planes that may not take the slippery reduction, and why.
    balanced : (p,) float
        p_s. [Pa]
    unreduced : dict of int to float
        Planes whose held snow takes no slope reduction at all in this variant, and their C_s else.
    folded : frozenset of int
        Planes of folded plates, saw-teeth and multiple vaults.
    room : dict of int to tuple of Value
        Planes with a step at their eave that snow fills, and its depths.
    """

    roof: RoofSurface
    plan: Plan
    site: AsceSite | Asce16Site
    rules: AsceRules
    retained: frozenset[int]
    slope_factor: Array
    obstructed: dict[int, str]
    balanced: Array
    unreduced: dict[int, float]
    folded: frozenset[int] = frozenset()
    room: dict[int, tuple[Value, ...]] = field(default_factory=dict)

    def case(self, name: str, zones: Iterable[Zone], notes: Iterable[str] = ()) -> SnowCase:
        """Assemble a case of this standard."""
        said = list(notes)
        if self.unreduced:
            name = f"{name}, {UNREDUCED}"
            names = ", ".join(self.roof.planes.name[plane] for plane in self.unreduced)
            said.append(UNREDUCED_NOTE.format(names=names))
        return SnowCase(
            name, self.rules.code, self.rules.level, tuple(zones), self.light_density.value, tuple(said)
        )

    @property
    def depth(self) -> Array:
        """h_b (p,). [m]."""
        return self.balanced / self.rules.weight_density

    @property
    def light_density(self) -> Value:
        """Density for depth, and where it comes from. [kg/m^3]."""
        if self.site.light_density is not None:
            return Value("rho", self.site.light_density, "kg/m**3", "for depth, from the user")
        return Value(
            "rho",
            self.rules.weight_density / STANDARD_GRAVITY,
            "kg/m**3",
            "for depth, gamma of Eq. 7.7-1 over g",
        )


def prepare(roof: RoofSurface, site: AsceSite | Asce16Site, retained: frozenset[int]) -> AsceRoof:
    """Factors and balanced loads of a roof."""
    rules = asce_rules(site)
    plan = roof_plan(roof)
    obstructed = obstructed_planes(roof, plan, retained)
    folded = folded_planes(roof, plan)
    bare = np.zeros(roof.planes.count)
    known = AsceRoof(roof, plan, site, rules, retained, bare, obstructed, bare, {}, folded)
    return with_factors(known, slope_factors(roof, rules, site, obstructed, folded))


def with_factors(known: AsceRoof, factor: Array) -> AsceRoof:
    """The same roof with other C_s (p,), p_s that goes with them, and the steps that it fills."""
    known = replace(known, slope_factor=factor, balanced=sloped_roof_load(known.rules.flat_load, factor))
    return replace(known, plan=with_snow(known.plan, known.roof, known.depth))


def slope_factors(
    roof: RoofSurface,
    rules: AsceRules,
    site: AsceSite | Asce16Site,
    obstructed: Collection[int],
    folded: Collection[int],
) -> Array:
    """C_s (p,): 1.0 on folded plates (7.4.4), the slippery line where nothing obstructs the snow."""
    slippery = site.slippery and not rules.slippery_bar
    free = np.array([slippery and i not in obstructed for i in range(roof.planes.count)], dtype=bool)
    return np.where(
        np.isin(np.arange(roof.planes.count), list(folded)), 1.0, rules.slope_factor(roof.planes.slope, free)
    )


def without_reduction(known: AsceRoof) -> AsceRoof | None:
    """The same roof with C_s = 1.0 where rows hold the snow; None where that changes nothing."""
    held = held_planes(known.roof, known.plan, known.retained)
    reduced = {i: float(known.slope_factor[i]) for i in sorted(held) if known.slope_factor[i] < WHOLE}
    if not reduced:
        return None
    factor = known.slope_factor.copy()
    factor[list(reduced)] = 1.0
    return with_factors(replace(known, unreduced=reduced), factor)


def balanced_zones(known: AsceRoof, share: Array | None = None) -> list[Zone]:
    """One uniform zone of balanced snow on each plane that carries any, times an optional share (p,)."""
    part = np.ones(known.roof.planes.count) if share is None else share
    zones = []
    for plane in np.flatnonzero(known.balanced * part > 0.0):
        name = known.roof.planes.name[plane]
        reduced = part[plane] != 1.0
        zones.append(
            Zone(
                f"{'windward' if reduced else 'balanced'} snow on {name}",
                int(plane),
                known.plan.polygon[plane],
                uniform(float(part[plane] * known.balanced[plane])),
                f"{known.rules.code} {'7.6.1' if reduced else '7.4'}",
                "0.3 p_s" if reduced else "p_s = C_s p_f",
                balanced_values(known, int(plane)),
            )
        )
    return zones


def balanced_values(known: AsceRoof, plane: int) -> tuple[Value, ...]:
    """What the symbols of p_s stand for on a plane."""
    rules, site = known.rules, known.site
    free = site.slippery and not rules.slippery_bar and plane not in known.obstructed
    formula: Bare | str = slope_formula(rules.slope_start(free))
    if plane in known.unreduced or plane in known.folded:
        formula = ""
    if plane in known.unreduced:
        why = f"judgment: held snow; {known.unreduced[plane]:.3g} on an obstructed surface by Fig. 7.4-1"
    elif plane in known.folded:
        why = "folded plate, saw-tooth or multiple vault (7.4.4, from memory)"
    elif not site.slippery:
        why = "surface not slippery"
    elif plane in known.obstructed:
        why = f"obstructed surface, no slippery reduction: {any_below(known.obstructed[plane])}"
    else:
        why = rules.slippery_bar or "unobstructed slippery surface"
    return (
        *rules.flat,
        Value("theta", float(known.roof.planes.slope[plane]), "rad", "slope"),
        Value("C_s", float(known.slope_factor[plane]), "", f"Fig. 7.4-1: {why}" if formula else why, formula),
        Value("p_s", float(known.balanced[plane]), "Pa", "Eq. 7.4-1", "C_s p_f"),
        *known.room.get(plane, ()),
        known.light_density,
    )


def chord_slope(rise: float, run: float) -> float:
    """Slope of the line from the eave of a curved roof to its crown. [rad]."""
    return float(np.arctan2(rise, run))


def balanced_case(known: AsceRoof) -> SnowCase:
    """Balanced snow, 7.3 and 7.4."""
    return known.case("balanced", balanced_zones(known), slope_notes(known))


def slope_notes(known: AsceRoof) -> list[str]:
    """Say which planes took the slippery reduction and which may not."""
    names = known.roof.planes.name
    notes = []
    if known.folded:
        which = ", ".join(names[plane] for plane in sorted(known.folded))
        notes.append(
            f"C_s = 1.0 on {which}: folded plates, saw-teeth or multiple vaults (7.4.4, from memory)."
        )
    if not known.site.slippery:
        return [*notes, "The covering was declared not slippery: C_s of all other surfaces everywhere."]
    if known.rules.slippery_bar:
        return [*notes, f"C_s of all other surfaces everywhere: {known.rules.slippery_bar}."]
    notes += [
        f"{planes} {'take' if ', ' in planes else 'takes'} no slippery reduction in C_s: {why}."
        for planes, why in grouped_reasons(
            names, {plane: why for plane, why in known.obstructed.items() if plane not in known.folded}
        )
    ]
    free = [name for i, name in enumerate(names) if i not in known.obstructed and i not in known.folded]
    if free:
        notes.append(
            f"C_s of unobstructed slippery surfaces on {', '.join(free)}: the ground below each eave must"
            " have room for the snow that slides off. On roofs below there is room above p_f, drift and the"
            " snow of 7.9."
        )
    return notes


def minimum_case(known: AsceRoof) -> SnowCase | str:
    """Minimum load of low-slope roofs; or why there is none."""
    rules = known.rules
    low = _low_slope(known.roof)
    if not low.any():
        return f"no plane is below 15 degrees, no curved roof below 10 ({rules.minimum_clause})"
    zones = [zone for zone in balanced_zones(known) if not low[zone.plane]]
    zones += [
        Zone(
            f"minimum snow on {known.roof.planes.name[plane]}",
            int(plane),
            known.plan.polygon[plane],
            uniform(rules.minimum_load),
            f"{rules.code} {rules.minimum_clause}",
            rules.minimum_formula,
            rules.minimum_values,
        )
        for plane in np.flatnonzero(low)
    ]
    notes = [
        "A uniform case of its own; planes from 15 degrees up keep their balanced load, and so do curved"
        " roofs whose line from eave to crown is 10 degrees or steeper."
    ]
    return known.case("minimum", zones, notes)


def _low_slope(roof: RoofSurface) -> NDArray[np.bool_]:
    """Planes that take the minimum load (p,): by slope, on curved roofs by the line from eave to crown."""
    low = roof.planes.slope < LOW_SLOPE
    for vault in roof.vaults:
        ends = np.abs(vault.ends)
        low[vault.plane] = min(chord_slope(vault.rise_to(end), end) for end in ends) < LOW_CURVE
    for dome in roof.domes:
        if not dome.pitch:
            low[dome.plane] = chord_slope(dome.rise, dome.outer) < LOW_CURVE
    return np.asarray(low)


def rain_case(known: AsceRoof) -> SnowCase | str:
    """Rain on balanced snow, 7.10; or why there is none."""
    planes, rules = known.roof.planes, known.rules
    if rules.rain_bar:
        return rules.rain_bar
    surcharge = rules.rain(planes.slope, known.plan.run)
    if not surcharge.any():
        return "no plane is flatter than W / 50 (degrees, ft) (7.10)"
    zones = balanced_zones(known) + [
        Zone(
            f"rain in the snow on {planes.name[plane]}",
            int(plane),
            known.plan.polygon[plane],
            uniform(float(surcharge[plane])),
            f"{rules.code} 7.10",
            rules.rain_formula,
            (
                Value("theta", float(planes.slope[plane]), "rad", "slope"),
                Value("W", float(known.plan.run[plane]), "m", "plan run of the plane"),
            ),
        )
        for plane in np.flatnonzero(surcharge)
    ]
    return known.case("rain on snow", zones, ["Rain is added to balanced snow only."])
