"""EN 1991-1-3 on a recognized roof: coefficients and undrifted load."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import en1991_1_3
from roofmodel.snow.cases import Bare, LoadLevel, SnowCase, Value, Zone
from roofmodel.snow.inputs import EnSite, validate_en
from roofmodel.snow.reasons import grouped_reasons
from roofmodel.snow.regions import Plan, held_planes, roof_plan, uniform, with_snow
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CODE = EnSite.standard
UNDRIFTED = "balanced"  # name of arrangement (i)
SHAPE = Bare("0.8 max(0, min(1, (60 - alpha) / (60 - 30)))")  # mu_1 of Table 5.2


@dataclass(frozen=True)
class StepLengths:
    """What one step was measured to be.

    Attributes
    ----------
    upper, lower : float
        b_1, b_2, square to the wall. [m]
    planes : (n,) int
        Facets of the upper slope that shed over it, none where nothing does.
    runs : (r, n) float
        Their plan lengths along r fall lines. [m]
    """

    upper: float
    lower: float
    planes: IntArray
    runs: Array


@dataclass(frozen=True)
class StepDrift:
    """What lies at the wall of one step, as 5.3.6 has it, whether all of it or a part is asked for.

    Attributes
    ----------
    length : float
        l_s. [m]
    blown, slid : float
        What wind and slide add to mu_1 at the wall.
    front, around : list of Zone
        In front of the wall, and around its outside corners, cut to planes; pressures for a peak of 1 Pa.
    """

    blown: float
    slid: float
    front: list[Zone]
    around: list[Zone]


@dataclass(frozen=True)
class EnRoof:
    """A roof with everything that every EN 1991-1-3 case needs.

    Attributes
    ----------
    roof, plan, site
    retained : frozenset of int
        Planes that carry rows.
    held : dict of int to str
        Planes whose mu_1 is not below 0.8, and why.
    exposure : float
        C_e.
    shape : (p,) float
        mu_1.
    unit_load : float
        C_e C_t s_k. [Pa]
    exceptional : bool
        Whether s_k is the exceptional s_Ad.
    room : dict of int to tuple of Value
        What fills the steps that planes shed over, and how high these are.
    lengths : dict of int to StepLengths
        What steps have been measured to be, kept by `en_abutting`.
    values : dict of int to tuple of Value
        What the symbols of s stand for on each plane, kept by `load_values`.
    drifts : dict of int to StepDrift
        What lies at the walls of steps, kept by `en_abutting`.
    """

    roof: RoofSurface
    plan: Plan
    site: EnSite
    retained: frozenset[int]
    held: dict[int, str]
    exposure: float
    shape: Array
    unit_load: float
    exceptional: bool
    room: dict[int, tuple[Value, ...]] = field(default_factory=dict)
    lengths: dict[int, StepLengths] = field(default_factory=dict)
    values: dict[int, tuple[Value, ...]] = field(default_factory=dict, init=False)
    drifts: dict[int, StepDrift] = field(default_factory=dict, init=False)

    def case(self, name: str, zones: Iterable[Zone], notes: Iterable[str] = ()) -> SnowCase:
        """Assemble a case of this standard."""
        level, said = LoadLevel.CHARACTERISTIC, list(notes)
        if self.exceptional:
            name, level = f"exceptional, {name}", LoadLevel.STRENGTH
            said.append("Exceptional load s_Ad = C_esl s_k, an accidental action: load factor 1.0.")
        return SnowCase(name, CODE, level, tuple(zones), self.light_density.value, tuple(said))

    @property
    def depth(self) -> Array:
        """Depth (p,) of balanced snow, by the lighter of the two densities that the site gives. [m]."""
        light = self.light_density.value * STANDARD_GRAVITY
        return self.unit_load * self.shape / min(self.site.drift_weight, light)

    @property
    def light_density(self) -> Value:
        """Density for depth, and where it comes from. [kg/m^3]."""
        if self.site.light_density is not None:
            return Value("rho", self.site.light_density, "kg/m**3", "for depth, from the user")
        return Value("rho", en1991_1_3.SETTLED, "kg/m**3", "for depth, settled snow, Annex E, from memory")


def prepare(roof: RoofSurface, site: EnSite, retained: frozenset[int], *, uphill: bool = True) -> EnRoof:
    """Coefficients of a roof under s_k, or s_n of another return period.

    `uphill` False lets planes shed onto planes that hold their snow.
    """
    exposure = validate_en(site)
    if site.return_period is not None and site.variation is not None:
        share = float(en1991_1_3.period_factor(site.return_period, site.variation))
        site = replace(site, ground_snow=share * site.ground_snow)
    plan = roof_plan(roof)
    held = held_planes(
        roof, plan, retained, walls=True, uphill=uphill
    )  # 5.3.2(2), 5.3.3(2): parapets and other obstructions
    shape = shape_coefficients(roof, held)
    unit = exposure * site.thermal_factor * site.ground_snow
    return _laid(EnRoof(roof, plan, site, retained, held, exposure, shape, unit, False))


def with_held(known: EnRoof, held: dict[int, str]) -> EnRoof:
    """The same roof where more planes hold their snow."""
    return _laid(replace(known, held=held, shape=shape_coefficients(known.roof, held)))


def _laid(known: EnRoof) -> EnRoof:
    """The same roof with the steps that its undrifted snow fills."""
    plan = with_snow(known.plan, known.roof, known.depth)
    return known if plan is known.plan else replace(known, plan=plan, lengths={})


def shape_coefficients(roof: RoofSurface, held: dict[int, str]) -> Array:
    """mu_1 (p,) of a roof of which some planes hold their snow."""
    mask = np.array([i in held for i in range(roof.planes.count)], dtype=bool)
    shape = en1991_1_3.mu_1(roof.planes.slope, mask)
    for vault in roof.vaults:  # 5.3.5: 0.8 as far as the tangent is no steeper than 60 degrees
        steep = roof.planes.slope[vault.plane] > en1991_1_3.CYLINDER_STEEPEST
        shape[vault.plane] = np.where(steep & ~mask[vault.plane], 0.0, en1991_1_3.MU_RETAINED)
    return shape


def exceptional(known: EnRoof, coefficient: float) -> EnRoof:
    """The same roof under the exceptional ground snow C_esl s_k, 4.3 and Eq. 5.2."""
    site = replace(known.site, ground_snow=coefficient * known.site.ground_snow)
    return _laid(replace(known, site=site, unit_load=coefficient * known.unit_load, exceptional=True))


def balanced_zones(known: EnRoof, share: Array | None = None) -> list[Zone]:
    """One uniform zone on each plane with mu_1 above 0, times an optional share (p,)."""
    part = np.ones(known.roof.planes.count) if share is None else share
    zones = []
    for plane in np.flatnonzero(known.shape * part > 0.0):
        half = part[plane] != 1.0
        zones.append(
            Zone(
                f"{'half the ' if half else ''}snow on {known.roof.planes.name[plane]}",
                int(plane),
                known.plan.polygon[plane],
                uniform(float(part[plane] * known.shape[plane] * known.unit_load)),
                f"{CODE} 5.3.{3 if half else 2}",
                f"s = {'0.5 ' if half else ''}mu_1 C_e C_t s_k",
                load_values(known, int(plane)),
            )
        )
    return zones


def snow_values(known: EnRoof) -> tuple[Value, ...]:
    """s_k and what it comes from: the user, another return period by Annex D, C_esl of 4.3."""
    site, ground = known.site, known.site.ground_snow
    coefficient = site.exceptional_coefficient if known.exceptional else None
    if coefficient is None and site.return_period is None:
        return (Value("s_k", ground, "Pa", "ground snow, characteristic, from the user"),)
    if coefficient is None:
        return _rare_values(site, "s_k", ground)
    plain = ground / coefficient
    before = (
        (Value("s_k,0", plain, "Pa", "ground snow, characteristic, from the user"),)
        if site.return_period is None
        else _rare_values(site, "s_k,0", plain)
    )
    return (
        *before,
        Value("C_esl", coefficient, "", "4.3, from the user"),
        Value("s_k", ground, "Pa", "s_Ad of 4.3", "C_esl s_k,0"),
    )


def _rare_values(site: EnSite, symbol: str, ground: float) -> tuple[Value, ...]:
    years, variation = site.return_period, site.variation
    assert years is not None
    assert variation is not None
    share = float(en1991_1_3.period_factor(years, variation))
    return (
        Value("s_50", ground / share, "Pa", "ground snow, characteristic, from the user"),
        Value("n", years, "", "years, from the user"),
        Value("V", variation, "", "from the user"),
        Value("pi", np.pi),
        Value(
            symbol,
            ground,
            "Pa",
            "s_n, Eq. D.1, from memory",
            "s_50 (1 - V sqrt(6) (ln(ln(n / (n - 1))) + 0.57722) / pi) / (1 + 2.5923 V)",
        ),
    )


def ground_values(known: EnRoof) -> tuple[Value, ...]:
    """s_k, C_e and C_t."""
    site = known.site
    where = "given" if site.exposure_factor is not None else f"Table 5.1, {site.topography}"
    return (
        *snow_values(known),
        Value("C_e", known.exposure, "", where),
        Value("C_t", site.thermal_factor, "", "given"),
    )


def load_values(known: EnRoof, plane: int) -> tuple[Value, ...]:
    """What the symbols of s stand for on a plane."""
    if plane not in known.values:
        known.values[plane] = _load_values(known, plane)
    return known.values[plane]


def _load_values(known: EnRoof, plane: int) -> tuple[Value, ...]:
    curved = any(plane in vault.plane for vault in known.roof.vaults)
    formula: str | Bare = ""
    if plane in known.held:
        why = f"5.3.2(2), not below 0.8: {known.held[plane]}"
    elif curved:
        why = "5.3.5, 0.8 to 60 degrees, from memory"
    else:
        why, formula = "Table 5.2, free to slide off", SHAPE
    return (
        *ground_values(known),
        Value("alpha", float(known.roof.planes.slope[plane]), "rad", "slope"),
        Value("mu_1", float(known.shape[plane]), "", why, formula),
        *known.room.get(plane, ()),
        known.light_density,
    )


def balanced_case(known: EnRoof) -> SnowCase:
    """Undrifted snow, arrangement (i)."""
    names = known.roof.planes.name
    notes = [
        f"mu_1 on {planes} is not below 0.8: {why}." for planes, why in grouped_reasons(names, known.held)
    ]
    return known.case(UNDRIFTED, balanced_zones(known), notes)
