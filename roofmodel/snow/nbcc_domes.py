"""Unbalanced snow on domes, NBCC 2020 4.1.6.10."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow import nbcc2020
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.domed import DOME_NOTE, disc, dome_name, dome_winds, dome_zones
from roofmodel.snow.nbcc_roof import CODE, Array, Cases, NbccRoof, common_values, notes_of, uniform_zones
from roofmodel.snow.regions import compass, uniform
from roofmodel.snow.vault_cases import ARCH, MIDDLE
from roofmodel.snow.vaulted import others
from roofmodel.surface import Dome

NOTE = (
    "C_a on the axis along the wind is that of an arch with b = 2 r; beside it C_a(x, y) = C_a(x, 0)"
    " (1 - y / r) (4.1.6.10.(7), from memory), with r to the farthest corner; none upwind."
)


def nbcc_domes(known: NbccRoof) -> Cases:
    """Unbalanced load of domes with h / b above 0.05; cones stay hips and gables."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for dome in known.roof.domes:
        name = dome_name(known.roof, dome)
        if dome.pitch:
            skipped.append(
                (f"unbalanced on {name} as a dome", "a cone takes 4.1.6.9 facet by facet (judgment)")
            )
            continue
        rise, wide = dome.rise, 2.0 * dome.reach
        if rise <= ARCH * wide:
            skipped.append((f"unbalanced on {name}", "h / b is at most 0.05 (4.1.6.10)"))
            continue
        law, values, middle = _law(known, dome)
        like = Zone(
            f"drifted snow on {name}",
            int(dome.plane[0]),
            known.plan.polygon[dome.plane[0]],
            uniform(0.0),
            f"{CODE} 4.1.6.10",
            "S_30 = I_s (S_s C_b C_w C_s C_a + S_r), C_a = min(h / (0.06 b), 2) / C_b",
            values,
        )
        notes = [*notes_of(known), DOME_NOTE.format(kind=dome.kind), NOTE]
        for wind in dome_winds(known.roof, dome):
            zones = others(uniform_zones(known), dome.plane)
            regions = _regions(dome, wind, middle)
            zones += dome_zones(known.plan, dome, regions, partial(_field, law, dome, wind), like)
            cases.append(known.case(f"unbalanced on {name}, wind toward {compass(wind)}", zones, notes))
    return cases, skipped


def _field(law: Callable[[Array, Array], Array], dome: Dome, wind: Array, xy: Array) -> Array:
    """S at plan points. [Pa]."""
    local = xy - dome.center
    return law(local @ wind, local @ np.array([wind[1], -wind[0]]))


def _regions(dome: Dome, wind: Array, middle: float) -> list[BaseGeometry]:
    """Downwind half of the plan, cut along the axis, at x_30 and at 30 degrees. [m]."""
    side, far = np.array([wind[1], -wind[0]]), 2.0 * dome.outer

    def box(near: float, end: float, way: float) -> Polygon:
        corners = [near * wind, end * wind, end * wind + way * far * side, near * wind + way * far * side]
        return Polygon(dome.center + np.array(corners))

    regions: list[BaseGeometry] = [
        box(near, end, way) for near, end in ((0.0, middle), (middle, far)) for way in (-1.0, 1.0)
    ]
    inner = disc(dome, middle, wind)
    return [part for r in regions for part in (r.intersection(inner), r.difference(inner)) if part.area > 0.0]


def _law(known: NbccRoof, dome: Dome) -> tuple[Callable[[Array, Array], Array], tuple[Value, ...], float]:
    """S downwind and across of the crown, the values of its formula, and x_30."""
    reach, plane, rise = dome.reach, int(dome.plane[0]), dome.rise
    middle = min(dome.radius * float(np.sin(MIDDLE)), reach)
    basic = float(known.calm[plane])
    slippery = known.site.slippery and not np.isin(dome.plane, list(known.obstructed)).any()
    whole = bool(np.isin(dome.plane, list(known.unreduced)).any())

    def slope_factor(away: Array) -> Array:
        slope = dome.slope_at(np.minimum(away, reach))
        return np.ones(slope.shape) if whole else nbcc2020.slope_factor(slope, slippery)

    def law(x: Array, y: Array) -> Array:
        along = nbcc2020.arch_factor(np.maximum(x, 0.0), rise, 2.0 * reach, basic, middle)
        shape = nbcc2020.dome_factor(x, y, dome.outer, along)
        site = known.site
        return nbcc2020.specified_load(
            site.ground_snow,
            site.associated_rain,
            known.importance,
            basic,
            slope_factor(np.hypot(x, y)),
            shape,
        )

    peak, none = np.array([middle]), np.array([0.0])
    values = (
        *common_values(known, plane),
        Value("h", rise, "m", "crown above the eave"),
        Value("b", 2.0 * reach, "m", "across the plan"),
        Value("x_30", middle, "m", "from the crown to 30 degrees, or to the eave"),
        Value(
            "C_a",
            float(nbcc2020.arch_factor(middle, rise, 2.0 * reach, basic, middle)),
            "",
            "on the axis from x_30 on",
        ),
        Value("C_w", 1.0, "", "4.1.6.2.(4), where snow accumulates"),
        Value("C_s", float(slope_factor(peak)[0]), "", "at x_30"),
        Value("S_30", float(law(peak, none)[0]), "Pa", "on the axis at x_30"),
        known.light_density,
    )
    return law, values, middle
