"""Unbalanced snow on domes, NBCC 2020 4.1.6.10."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow import nbcc2020
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.domed import (
    DOME_NOTE,
    disc,
    dome_name,
    dome_winds,
    dome_zones,
    place_values,
    sphere_values,
)
from roofmodel.snow.nbcc_roof import CODE, Array, Cases, NbccRoof, common_values, notes_of, uniform_zones
from roofmodel.snow.nbcc_working import slope_formula
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
        law = _law(known, dome)
        like = Zone(
            f"drifted snow on {name}",
            int(dome.plane[0]),
            known.plan.polygon[dome.plane[0]],
            uniform(0.0),
            f"{CODE} 4.1.6.10",
            "",
        )
        notes = [*notes_of(known), DOME_NOTE.format(kind=dome.kind), NOTE]
        for wind in dome_winds(known.roof, dome):
            zones = others(uniform_zones(known), dome.plane)
            regions = _regions(known, dome, wind, law.middle)
            field, told = partial(_field, law, wind), partial(_told, law, wind)
            zones += dome_zones(known.plan, dome, regions, field, like, told)
            cases.append(known.case(f"unbalanced on {name}, wind toward {compass(wind)}", zones, notes))
    return cases, skipped


@dataclass(frozen=True)
class _Law:
    """What S of a dome needs: x_30 [m], C_b, whether the surface slips, and whether no slope reduces."""

    known: NbccRoof
    dome: Dome
    middle: float
    basic: float
    slippery: bool
    whole: bool

    def arch(self, x: Array | float) -> Array:
        """C_a on the axis."""
        b = 2.0 * self.dome.reach
        return nbcc2020.arch_factor(np.maximum(x, 0.0), self.dome.rise, b, self.basic, self.middle)

    def slope(self, away: Array | float) -> Array:
        """C_s at distances from the crown [m]."""
        angle = self.dome.slope_at(np.minimum(away, self.dome.reach))
        return np.ones(np.shape(angle)) if self.whole else nbcc2020.slope_factor(angle, self.slippery)

    def load(self, x: Array | float, y: Array | float) -> Array:
        """S downwind and across of the crown [m]. [Pa]."""
        shape = nbcc2020.dome_factor(x, y, self.dome.outer, self.arch(x))
        site, factors = self.known.site, (self.basic, self.slope(np.hypot(x, y)), shape)
        return nbcc2020.specified_load(
            site.ground_snow, site.associated_rain, self.known.importance, *factors
        )


def _law(known: NbccRoof, dome: Dome) -> _Law:
    return _Law(
        known,
        dome,
        min(dome.radius * float(np.sin(MIDDLE)), dome.reach),
        float(known.calm[dome.plane[0]]),
        bool(known.site.slippery and not np.isin(dome.plane, list(known.obstructed)).any()),
        bool(np.isin(dome.plane, list(known.unreduced)).any()),
    )


def _field(law: _Law, wind: Array, xy: Array) -> Array:
    """S at plan points. [Pa]."""
    local = xy - law.dome.center
    return law.load(local @ wind, local @ np.array([wind[1], -wind[0]]))


def _told(law: _Law, wind: Array, place: Array) -> tuple[str, tuple[Value, ...]]:
    """Formula of 4.1.6.10 and its values at a plan point."""
    known, dome = law.known, law.dome
    away, _, x, y = place_values(dome, wind, place)
    along, site = float(law.arch(x)), known.site
    shape = float(nbcc2020.dome_factor(x, y, dome.outer, along))
    snow = site.ground_snow * law.basic * float(law.slope(away)) * shape
    main = "S = I_s (S_s C_b C_w C_s C_a + S_r)"
    if snow < site.associated_rain:
        main = "S = 2 I_s S_s C_b C_w C_s C_a where S_r is no more than the snow that holds it"
    values = (
        *common_values(known, int(dome.plane[0])),
        *sphere_values(dome),
        Value("b", 2.0 * dome.reach, "m", "across the plan", "2 x_s"),
        Value(
            "x_30", law.middle, "m", "from the crown to 30 degrees, or to the eave", "min(x_s, R sin(30°))"
        ),
        Value("x", x, "m", "downwind of the crown, where this zone has its largest pressure"),
        Value("y", y, "m", "beside the axis there"),
        Value("r", dome.outer, "m", "to the farthest corner, the safe reading", "r_c"),
        Value("C_a0", along, "", "on the axis at x"),
        Value("C_a", shape, "", "at x and y"),
        Value(
            "alpha",
            float(dome.slope_at(np.array(min(away, dome.reach)))),
            "rad",
            "slope at x and y, at most that at the eave",
            "asin(min(sqrt(x^2 + y^2), x_s) / R)",
        ),
        Value(
            "C_s",
            float(law.slope(away)),
            "",
            "held snow: not reduced for slope" if law.whole else "4.1.6.2, at x and y",
            "" if law.whole else slope_formula(law.slippery),
        ),
        known.light_density,
    )
    return f"{main}, C_a = C_a0 (1 - y / r), C_a0 = min(h / (0.06 b), 2) min(x / x_30, 1) / C_b", values


def _regions(known: NbccRoof, dome: Dome, wind: Array, middle: float) -> list[BaseGeometry]:
    """Downwind half of the plan, cut along the axis, at x_30 and at 30 degrees. [m]."""
    side, far = np.array([wind[1], -wind[0]]), 2.0 * dome.outer

    def box(near: float, end: float, way: float) -> Polygon:
        corners = [near * wind, end * wind, end * wind + way * far * side, near * wind + way * far * side]
        return Polygon(dome.center + np.array(corners))

    regions: list[BaseGeometry] = [
        box(near, end, way) for near, end in ((0.0, middle), (middle, far)) for way in (-1.0, 1.0)
    ]
    inner = disc(known.plan, dome, middle, wind)
    return [part for r in regions for part in (r.intersection(inner), r.difference(inner)) if part.area > 0.0]
