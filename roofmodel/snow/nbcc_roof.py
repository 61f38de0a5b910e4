"""NBCC 2020 on a recognized roof: factors, balanced, partial and gable loads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from roofmodel.snow import nbcc2020 as nbcc
from roofmodel.snow.cases import Bare, LoadLevel, SnowCase, Value, Zone
from roofmodel.snow.inputs import NbccSite, validate_nbcc
from roofmodel.snow.nbcc_working import BASIC, GABLE, LOAD, slope_formula, snow_alone
from roofmodel.snow.patches import UNREDUCED, UNREDUCED_NOTE, spread
from roofmodel.snow.reasons import any_below, grouped_reasons
from roofmodel.snow.regions import (
    SAME_WAY,
    WHOLE,
    Plan,
    compass,
    crest_segments,
    held_planes,
    obstructed_planes,
    roof_plan,
    uniform,
    wind_directions,
    with_snow,
)
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]

CODE = NbccSite.standard


@dataclass(frozen=True)
class NbccRoof:
    """A roof with everything that every NBCC 2020 case needs.

    Attributes
    ----------
    roof, plan, site
    retained : frozenset of int
        Planes that carry rows.
    obstructed : dict of int to str
        Planes that may not take the slippery reduction, and why.
    importance : float
        I_s, ultimate limit states.
    wind : (p,) float
        C_w of undrifted snow.
    sides : (p, 2) float
        Short and long side of the smallest rectangle around each plane's level. [m]
    length, basic : (p,) float
        l_c [m] and C_b of each plane's level.
    calm : (p,) float
        C_b with C_w = 1.0, where snow accumulates.
    slope_factor : (p,) float
        C_s.
    weight_density : float
        gamma. [N/m^3]
    unreduced : dict of int to float
        Planes whose held snow takes no slope reduction at all in this variant, and their C_s else.
    room : dict of int to tuple of Value
        Planes with a step at their eave that snow fills, and its depths.
    """

    roof: RoofSurface
    plan: Plan
    site: NbccSite
    retained: frozenset[int]
    obstructed: dict[int, str]
    importance: float
    wind: Array
    sides: Array
    length: Array
    basic: Array
    calm: Array
    slope_factor: Array
    weight_density: float
    unreduced: dict[int, float]
    room: dict[int, tuple[Value, ...]] = field(default_factory=dict)

    def case(self, name: str, zones: Iterable[Zone], notes: Iterable[str] = ()) -> SnowCase:
        """Assemble a case of this standard."""
        said = list(notes)
        if self.unreduced:
            name = f"{name}, {UNREDUCED}"
            names = ", ".join(self.roof.planes.name[plane] for plane in self.unreduced)
            said.append(UNREDUCED_NOTE.format(names=names))
        service = nbcc.SERVICE_IMPORTANCE / self.importance
        return SnowCase(
            name,
            CODE,
            LoadLevel.CHARACTERISTIC,
            tuple(zones),
            self.light_density.value,
            tuple(said),
            service,
        )

    def load(self, plane: int, accumulation: float) -> float:
        """S on a plane with a C_a; above 1 with C_w = 1.0, since snow is blown there, 4.1.6.2.(4). [Pa]."""
        if accumulation > 1.0:
            return self._load(self.calm[plane], 1.0, self.slope_factor[plane], accumulation)
        return self._load(self.basic[plane], self.wind[plane], self.slope_factor[plane], accumulation)

    def drifted(self, plane: int, accumulation: float, slope: float = 1.0) -> float:
        """S on a plane where snow accumulates: C_w = 1.0, C_s = 1.0 if no other, 4.1.6.2.(4), (7). [Pa]."""
        return self._load(self.calm[plane], 1.0, slope, accumulation)

    def _load(self, *factors: float) -> float:
        return float(self._loads(*factors))

    def _loads(self, *factors: Array | float) -> Array:
        site = self.site
        return nbcc.specified_load(site.ground_snow, site.associated_rain, self.importance, *factors)

    @property
    def depth(self) -> Array:
        """Depth (p,) of balanced snow, without importance. [m]."""
        load = self._loads(self.basic, self.wind, self.slope_factor, 1.0)
        return load / self.importance / self.weight_density

    @property
    def light_density(self) -> Value:
        """Density for depth, and where it comes from. [kg/m^3]."""
        if self.site.light_density is not None:
            return Value("rho", self.site.light_density, "kg/m**3", "for depth, from the user")
        return Value(
            "rho", self.weight_density / STANDARD_GRAVITY, "kg/m**3", "for depth, gamma of 4.1.6.13 over g"
        )


def prepare(roof: RoofSurface, site: NbccSite, retained: frozenset[int]) -> NbccRoof:
    """Factors of a roof."""
    importance = validate_nbcc(site)
    plan = roof_plan(roof)
    obstructed = obstructed_planes(roof, plan, retained)
    free = np.array([site.slippery and i not in obstructed for i in range(roof.planes.count)], dtype=bool)
    density = float(nbcc.snow_weight_density(site.ground_snow))
    wind = _wind_factors(roof, plan, site, density)
    slope = nbcc.slope_factor(roof.planes.slope, free)
    none = np.zeros(roof.planes.count)
    size = (np.zeros((roof.planes.count, 2)), none, none, none)
    known = NbccRoof(roof, plan, site, retained, obstructed, importance, wind, *size, slope, density, {})
    return with_factors(_sized(known), slope)


def with_factors(known: NbccRoof, slope: Array) -> NbccRoof:
    """The same roof with other C_s (p,), the steps that its snow fills, and the sizes that these give."""
    known = replace(known, slope_factor=slope)
    while True:
        plan = with_snow(known.plan, known.roof, known.depth)
        if plan is known.plan:
            return known
        known = _sized(replace(known, plan=plan))


def _sized(known: NbccRoof) -> NbccRoof:
    """The same roof with l_c and C_b of its drift levels, or levels where those are longer."""
    plan, given = known.plan, known.site.basic_factor
    both = [
        np.array([level_sides(outline) for outline in outlines])[level]
        for outlines, level in (
            (plan.level_outline, plan.level),
            (plan.drift_outline, plan.drift_level),
        )
    ]
    one, other = (nbcc.characteristic_length(*sides.T) for sides in both)
    sides = np.where((one >= other)[:, None], *both)
    length = np.maximum(one, other)
    basic, calm = nbcc.basic_factor(length, known.wind), nbcc.basic_factor(length, 1.0)
    if given is not None:
        basic = calm = np.full(len(length), given)
    return replace(known, sides=sides, length=length, basic=basic, calm=calm)


def _wind_factors(roof: RoofSurface, plan: Plan, site: NbccSite, density: float) -> Array:
    """C_w (p,): 1.0 on levels with a higher roof beside them or with obstacles that stand out of the snow.

    4.1.6.2.(4) asks for ten times what stands out of the snow as free distance. Taking whole levels is safe.
    """
    wind = np.full(roof.planes.count, site.wind_factor)
    depth = nbcc.LEAST_BASIC * site.wind_factor * site.ground_snow / density
    shelter = [*roof.steps.lower, *roof.obstacles.plane[roof.obstacles.height > depth]]
    wind[np.isin(plan.level, plan.level[np.array(shelter, dtype=np.int64)])] = 1.0
    return wind


def level_sides(outline: BaseGeometry) -> Array:
    """Short and long side (2,) of the smallest rectangle around a level's outline. [m]."""
    box = shapely.get_coordinates(shapely.oriented_envelope(outline))[:3]
    return np.sort(np.linalg.norm(np.diff(box, axis=0), axis=1))


def without_reduction(known: NbccRoof) -> NbccRoof | None:
    """The same roof with C_s = 1.0 where rows hold the snow; None where that changes nothing."""
    held = held_planes(known.roof, known.plan, known.retained)
    reduced = {i: float(known.slope_factor[i]) for i in sorted(held) if known.slope_factor[i] < WHOLE}
    if not reduced:
        return None
    factor = known.slope_factor.copy()
    factor[list(reduced)] = 1.0
    return with_factors(replace(known, unreduced=reduced), factor)


def common_values(known: NbccRoof, plane: int, *, blown: bool = True) -> tuple[Value, ...]:
    """S_s, S_r, I_s, C_w, l_c and C_b of a plane, those of accumulated snow or of the rest."""
    site = known.site
    factor, wind = (known.calm, 1.0) if blown else (known.basic, float(known.wind[plane]))
    free = "" if site.basic_factor is None else ", not used, C_b given"
    if blown:
        origin = "4.1.6.2.(4), 1.0 where snow accumulates"
    elif wind == site.wind_factor:
        origin = "from the user"
    else:
        origin = "1.0 beside higher roofs and obstacles"
    width, length = (float(side) for side in known.sides[plane])
    return (
        Value("S_s", site.ground_snow, "Pa", "ground snow, 1 in 50 years, from the user"),
        Value("S_r", site.associated_rain, "Pa", "rain, no more than the snow that holds it, from the user"),
        Value("I_s", known.importance, "", f"{site.importance} importance, ultimate limit states"),
        Value("w", width, "m", f"short side of the smallest rectangle around the roof's level{free}"),
        Value("l", length, "m", "long side"),
        Value("l_c", float(known.length[plane]), "m", "4.1.6.2.(2)", "2 w - w^2 / l"),
        Value("C_w", wind, "", origin),
        Value(
            "C_b",
            float(factor[plane]),
            "",
            "4.1.6.2.(2)" if site.basic_factor is None else "given",
            BASIC if site.basic_factor is None else "",
        ),
    )


def slope_value(known: NbccRoof, plane: int) -> Value:
    """C_s of a plane, its formula and why."""
    formula: Bare | str = slope_formula(known.site.slippery and plane not in known.obstructed)
    if plane in known.unreduced:
        formula = ""
        why = f"judgment: held snow; {known.unreduced[plane]:.3g} on an obstructed surface by 4.1.6.2.(5)"
    elif not known.site.slippery:
        why = "4.1.6.2.(5), surface not slippery"
    elif plane in known.obstructed:
        why = f"4.1.6.2.(5), obstructed surface, no slippery reduction: {any_below(known.obstructed[plane])}"
    else:
        why = "4.1.6.2.(6), unobstructed slippery surface"
    return Value("C_s", float(known.slope_factor[plane]), "", why, formula)


def load_values(known: NbccRoof, plane: int, accumulation: float) -> tuple[Value, ...]:
    """What the symbols of S stand for on a plane."""
    blown = accumulation > 1.0
    wind, basic = (1.0, known.calm[plane]) if blown else (known.wind[plane], known.basic[plane])
    slope = slope_value(known, plane)
    alone = known.site.ground_snow * float(basic) * float(wind) * slope.value * accumulation
    return (
        *common_values(known, plane, blown=blown),
        Value("alpha", float(known.roof.planes.slope[plane]), "rad", "slope"),
        slope,
        Value(
            "C_a",
            accumulation,
            "",
            "4.1.6.9, case II, from memory" if blown else "nothing accumulates",
            GABLE if blown else "",
        ),
        snow_alone(alone, "C_b", "C_w", "C_s", "C_a"),
        Value("S", known.load(plane, accumulation), "Pa", "4.1.6.2.(1)", LOAD),
        *known.room.get(plane, ()),
        known.light_density,
    )


def drifted_values(
    known: NbccRoof, plane: int, accumulation: float, note: str, formula: str
) -> tuple[Value, ...]:
    """S where snow accumulates with C_s = C_w = 1.0, and what its symbols stand for, C_a with its formula."""
    alone = known.site.ground_snow * float(known.calm[plane]) * accumulation
    return (
        *common_values(known, plane),
        Value("C_a", accumulation, "", note, formula),
        snow_alone(alone, "C_b", "C_a"),
        Value("S", known.drifted(plane, accumulation), "Pa", "C_s = C_w = 1.0", LOAD),
    )


def drift_rain(known: NbccRoof, plane: int, peak: float) -> Value:
    """Rain in a drift with C_a0, the same all over it. [Pa]."""
    held = min(known.site.associated_rain, known.site.ground_snow * float(known.calm[plane]) * peak)
    return Value("rain", known.importance * held, "Pa", "in the drift", "I_s min(S_r, S_s C_b C_a0)")


FORMULA = f"S = {LOAD}"
DRIFT = "S(x) - S balanced, S(x) = I_s S_s C_b C_a + rain, C_a = C_a0 - (C_a0 - 1) x / x_d"


def uniform_zones(
    known: NbccRoof, accumulation: Array | None = None, share: Array | None = None, clause: str = "4.1.6.2"
) -> list[Zone]:
    """One uniform zone on each plane that carries any snow, with C_a (p,) and times a share (p,)."""
    count = known.roof.planes.count
    factor = np.ones(count) if accumulation is None else accumulation
    part = np.ones(count) if share is None else share
    zones = []
    for plane in range(count):
        drifted = factor[plane] > 1.0
        load = part[plane] * known.load(plane, float(factor[plane]))
        if load <= 0.0:
            continue
        half = part[plane] != 1.0
        kind = "half the " if half else "drifted " if drifted else ""
        zones.append(
            Zone(
                f"{kind}snow on {known.roof.planes.name[plane]}",
                plane,
                known.plan.polygon[plane],
                uniform(load),
                f"{CODE} {clause if half or drifted else '4.1.6.2'}",
                "0.5 S" if half else FORMULA,
                load_values(known, plane, float(factor[plane])),
            )
        )
    return zones


def above_balanced(known: NbccRoof, drift: Zone, base: float) -> list[Zone]:
    """Cut a drift to the planes it crosses, as what it adds to their balanced load.

    Parameters
    ----------
    known : NbccRoof
    drift : Zone
        What C_a - 1 adds, from the wall to x_d.
    base : float
        S with C_a = C_s = C_w = 1.0 and the rain of the drift. [Pa]
    """
    found = []
    for zone in spread(known.plan, [drift]):
        there = known.load(zone.plane, 1.0)
        under = f"already there: snow on {known.roof.planes.name[zone.plane]} in the balanced case"
        values = (*zone.values, Value("S balanced", there, "Pa", under))
        found.append(replace(zone, pressure=zone.pressure + uniform(base - there), values=values))
    return found


def notes_of(known: NbccRoof) -> list[str]:
    """What every case says: slope factors, C_b near the ground, importance."""
    names, site = known.roof.planes.name, known.site
    notes = [
        f"S holds I_s = {known.importance:g} for ultimate limit states; deflection is checked with"
        f" {nbcc.SERVICE_IMPORTANCE:g} in its place."
    ]
    if site.basic_factor is None:
        height = 1.0 + site.ground_snow / known.weight_density
        notes.append(
            f"C_b is that of roofs whose mean height is at least 1 + S_s / gamma = {height:.2f} m above the"
            " ground; lower roofs need basic_factor = 1.0."
        )
    if not site.slippery:
        return [*notes, "The covering was declared not slippery: C_s of all other surfaces everywhere."]
    notes += [
        f"{planes} {'take' if ', ' in planes else 'takes'} no slippery reduction in C_s: {why}."
        for planes, why in grouped_reasons(names, known.obstructed)
    ]
    free = [name for i, name in enumerate(names) if i not in known.obstructed]
    if free:
        notes.append(
            f"C_s of unobstructed slippery surfaces on {', '.join(free)}: snow and ice must be able to slide"
            " off completely there."
        )
    return notes


def balanced_case(known: NbccRoof) -> SnowCase:
    """Full load with C_a = 1.0, 4.1.6.2 and 4.1.6.3.(1)."""
    return known.case("balanced", uniform_zones(known), notes_of(known))


def gable_cases(known: NbccRoof) -> Cases:
    """Case II of 4.1.6.9 above 15 degrees, half load of 4.1.6.3.(2) below; one case for each wind."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    directions = wind_directions(known.roof, known.plan, domes=True)
    if not directions:
        skipped.append(("unbalanced", "the roof has no ridge and no hip (4.1.6.9)"))
    slope, level = known.roof.planes.slope, known.plan.level
    for wind in directions:
        along = np.round(known.plan.fall @ wind, 4)  # facets at 60 degrees, to 32 bits, are on neither side
        crests = [
            (plane, across)
            for plane, across, _, _ in crest_segments(known.roof, domes=True)
            if along[plane] > SAME_WAY and along[across] <= SAME_WAY
        ]
        if not crests:
            why = "no ridge or hip parts a slope that faces this way from others (4.1.6.9)"
            skipped.append((f"unbalanced, wind toward {compass(wind)}", why))
            continue
        levels = np.isin(level, [level[plane] for plane, _ in crests])
        lee, bare = levels & (along > SAME_WAY), levels & (along < -SAME_WAY)
        steep = lee & (slope > nbcc.PARTIAL_SLOPE + 1e-9)
        if steep.any():
            high = np.isin(level, level[steep])  # case II is for levels above 15 degrees only
            cases.append(_gable_case(known, compass(wind), lee & high, bare & high))
        if (lee & ~steep).any():
            cases.append(_half_case(known, compass(wind), lee))
    return cases, skipped


def _gable_case(known: NbccRoof, way: str, lee: NDArray[np.bool_], bare: NDArray[np.bool_]) -> SnowCase:
    factor = np.where(lee, nbcc.gable_factor(known.roof.planes.slope), np.where(bare, 0.0, 1.0))
    notes = [
        *notes_of(known),
        "C_a on the side away from the wind, nothing on the side toward it (4.1.6.9 case II, from memory);"
        " C_s stays in. The article shows a gable: planes beside the wind keep C_a = 1.0.",
    ]
    return known.case(f"unbalanced, wind toward {way}", uniform_zones(known, factor, clause="4.1.6.9"), notes)


def _half_case(known: NbccRoof, way: str, lee: NDArray[np.bool_]) -> SnowCase:
    notes = [*notes_of(known), "Full load on one side, half of it on all the rest (4.1.6.3.(2))."]
    share = np.where(lee, 1.0, 0.5)
    return known.case(
        f"partial, full on the side facing {way}", uniform_zones(known, share=share, clause="4.1.6.3"), notes
    )
