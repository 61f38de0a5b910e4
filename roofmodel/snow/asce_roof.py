"""ASCE/SEI 7-22 on a recognized roof: factors, balanced and minimum loads, rain on snow."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.constants import g

from roofmodel.snow import asce7_22
from roofmodel.snow.cases import LoadLevel, SnowCase, Value, Zone
from roofmodel.snow.inputs import AsceSite, validate_asce
from roofmodel.snow.regions import Plan, held_planes, roof_plan, uniform
from roofmodel.surface import EdgeKind, RoofSurface

Array = NDArray[np.float64]

CODE = AsceSite.standard
# Cosine, judgment: snow that falls within 6 degrees of the line of a wall slides past it; else it jams there.
TOWARD_WALL = 0.1


@dataclass(frozen=True)
class AsceRoof:
    """A roof with everything that every ASCE/SEI 7-22 case needs.

    Attributes
    ----------
    roof, plan, site
    retained : frozenset of int
        Planes that carry rows.
    exposure, thermal : float
        C_e, C_t.
    flat_load : float
        p_f. [Pa]
    slope_factor : (p,) float
        C_s.
    obstructed : dict of int to str
        Planes that may not take the slippery reduction, and why.
    balanced : (p,) float
        p_s. [Pa]
    weight_density : float
        gamma. [N/m^3]
    """

    roof: RoofSurface
    plan: Plan
    site: AsceSite
    retained: frozenset[int]
    exposure: float
    thermal: float
    flat_load: float
    slope_factor: Array
    obstructed: dict[int, str]
    balanced: Array
    weight_density: float

    def case(self, name: str, zones: Iterable[Zone], notes: Iterable[str] = ()) -> SnowCase:
        """Assemble a case of this standard."""
        return SnowCase(name, CODE, LoadLevel.STRENGTH, tuple(zones), self.light_density.value, tuple(notes))

    @property
    def light_density(self) -> Value:
        """Density for depth, and where it comes from. [kg/m^3]."""
        if self.site.light_density is not None:
            return Value("rho", self.site.light_density, "kg/m**3", "for depth, from the user")
        return Value("rho", self.weight_density / g, "kg/m**3", "for depth, gamma of Eq. 7.7-1 over g")


def prepare(roof: RoofSurface, site: AsceSite, retained: frozenset[int]) -> AsceRoof:
    """Factors and balanced loads of a roof."""
    exposure, thermal = validate_asce(site)
    plan = roof_plan(roof)
    obstructed = _obstructed(roof, plan, retained)
    free = np.array([site.slippery and i not in obstructed for i in range(roof.planes.count)], dtype=bool)
    flat = float(asce7_22.flat_roof_load(site.ground_snow, exposure, thermal))
    factor = asce7_22.slope_factor(roof.planes.slope, thermal, free)
    return AsceRoof(
        roof,
        plan,
        site,
        retained,
        exposure,
        thermal,
        flat,
        factor,
        obstructed,
        asce7_22.sloped_roof_load(flat, factor),
        float(asce7_22.snow_weight_density(site.ground_snow)),
    )


def _obstructed(roof: RoofSurface, plan: Plan, retained: frozenset[int]) -> dict[int, str]:
    """Planes that snow cannot leave freely: held by rows, running into a valley or against a wall."""
    found = held_planes(roof, plan, retained)
    for kind, pair in zip(roof.edges.kind, roof.edges.plane, strict=True):
        if kind is EdgeKind.VALLEY:
            for plane in pair[pair >= 0]:
                found.setdefault(int(plane), "its snow runs into a valley")
    for lower, start, end in zip(roof.steps.lower, roof.steps.start, roof.steps.end, strict=True):
        wall = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start)[:2])
        if wall @ plan.fall[lower] > TOWARD_WALL:
            found.setdefault(int(lower), "it falls toward a wall")
    return found


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
                f"{CODE} {'7.6.1' if reduced else '7.4'}",
                f"{'0.3 ' if reduced else ''}p_s, p_s = C_s p_f, p_f = 0.7 C_e C_t p_g",
                balanced_values(known, int(plane)),
            )
        )
    return zones


def balanced_values(known: AsceRoof, plane: int) -> tuple[Value, ...]:
    """What the symbols of p_s stand for on a plane."""
    if not known.site.slippery:
        why = "surface not slippery"
    elif plane in known.obstructed:
        why = f"obstructed surface, no slippery reduction: {known.obstructed[plane]}"
    else:
        why = "unobstructed slippery surface"
    return (
        Value("p_g", known.site.ground_snow, "Pa", "ground snow, strength level, from the user"),
        Value("C_e", known.exposure, "", "Table 7.3-1" if known.site.exposure_factor is None else "given"),
        Value(
            "C_t", known.thermal, "", "Table 7.3-2 or 7.3-3" if known.site.thermal_factor is None else "given"
        ),
        Value("p_f", known.flat_load, "Pa", "Eq. 7.3-1"),
        Value("theta", float(known.roof.planes.slope[plane]), "rad", "slope"),
        Value("C_s", float(known.slope_factor[plane]), "", why),
        Value("p_s", float(known.balanced[plane]), "Pa", "Eq. 7.4-1"),
        known.light_density,
    )


def balanced_case(known: AsceRoof) -> SnowCase:
    """Balanced snow, 7.3 and 7.4."""
    return known.case("balanced", balanced_zones(known), slope_notes(known))


def slope_notes(known: AsceRoof) -> list[str]:
    """Say which planes took the slippery reduction and which may not."""
    names = known.roof.planes.name
    if not known.site.slippery:
        return ["The covering was declared not slippery: C_s of all other surfaces everywhere."]
    notes = [
        f"{names[plane]} takes no slippery reduction in C_s: {why}."
        for plane, why in sorted(known.obstructed.items())
    ]
    free = [name for i, name in enumerate(names) if i not in known.obstructed]
    if free:
        notes.append(
            f"C_s of unobstructed slippery surfaces on {', '.join(free)}: the ground or roof below each"
            " eave must have room for the snow that slides off."
        )
    return notes


def minimum_case(known: AsceRoof) -> SnowCase | str:
    """Minimum load of low-slope roofs, 7.3.3; or why there is none."""
    low = known.roof.planes.slope < asce7_22.LOW_SLOPE
    if not low.any():
        return "no plane is below 15 degrees (7.3.3)"
    pressure = float(asce7_22.minimum_load(known.site.ground_snow, known.site.risk_category))
    zones = [zone for zone in balanced_zones(known) if not low[zone.plane]]
    zones += [
        Zone(
            f"minimum snow on {known.roof.planes.name[plane]}",
            int(plane),
            known.plan.polygon[plane],
            uniform(pressure),
            f"{CODE} 7.3.3",
            "p_m = min(p_g, p_m,max)",
            (
                Value("p_g", known.site.ground_snow, "Pa", "ground snow, strength level, from the user"),
                Value("p_m,max", asce7_22.MINIMUM_CAP[known.site.risk_category], "Pa", "Table 7.3-4"),
            ),
        )
        for plane in np.flatnonzero(low)
    ]
    notes = ["A uniform case of its own; planes from 15 degrees up keep their balanced load."]
    return known.case("minimum", zones, notes)


def rain_case(known: AsceRoof) -> SnowCase | str:
    """Rain on balanced snow, 7.10; or why there is none."""
    site, planes = known.site, known.roof.planes
    cap = asce7_22.MINIMUM_CAP[site.risk_category]
    if site.ground_snow > cap:
        psf = cap / asce7_22.PSF
        return f"p_g is above p_m,max = {psf:.0f} psf of risk category {site.risk_category} (7.10)"
    surcharge = asce7_22.rain_on_snow(site.ground_snow, planes.slope, known.plan.run, site.risk_category)
    if not surcharge.any():
        return "no plane is flatter than W / 50 (degrees, ft) (7.10)"
    zones = balanced_zones(known) + [
        Zone(
            f"rain in the snow on {planes.name[plane]}",
            int(plane),
            known.plan.polygon[plane],
            uniform(float(surcharge[plane])),
            f"{CODE} 7.10",
            "8 psf where theta < W / 50",
            (
                Value("theta", float(planes.slope[plane]), "rad", "slope"),
                Value("W", float(known.plan.run[plane]), "m", "plan run of the plane"),
            ),
        )
        for plane in np.flatnonzero(surcharge)
    ]
    return known.case("rain on snow", zones, ["Rain is added to balanced snow only."])
