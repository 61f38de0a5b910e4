"""Exceptional snow drifts in valleys, EN 1991-1-3 B2, and the coefficient that B2, B3 and B4 share.

Clauses from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from roofmodel.snow.cases import Value, Zone
from roofmodel.snow.en_roof import CODE, EnRoof, snow_values
from roofmodel.snow.fetches import fetch, slope_run
from roofmodel.snow.regions import (
    SAME_WAY,
    SAME_WIND,
    WHOLE,
    Plan,
    band,
    compass,
    falling_pressure,
    left_normal,
    polygonal,
)
from roofmodel.surface import EdgeKind

Array = NDArray[np.float64]

VALLEY_CAP = 5.0  # B2
PER_KILONEWTON = 2000.0  # the 2 of 2 h / s_k in m and kN/m^2 [N/m^3]
NOTES = (
    "B2 shows valleys between parallel ridges: mu_1 at the valley, nothing at the ridges; other valleys are"
    " read the same way, square to the valley on plan (judgment).",
    "b_3 is the whole roof level square to the valley and h reaches from the valley's lowest point to the"
    " lower ridge: both the largest that B2 allows, which is safe.",
)


def exceptional_shape(
    height: ArrayLike, length: ArrayLike, reach: ArrayLike, ground_snow: ArrayLike, cap: float
) -> Array:
    """mu_1 = min(2 h / s_k, 2 b / l_s, cap) (m, kN/m^2), EN 1991-1-3 B2, B3 and B4, from memory.

    Parameters
    ----------
    height : (...) float
        h of the wall, parapet, obstruction or valley. [m]
    length : (...) float
        b, the larger of the roofs on both sides, b_3 for valleys; infinite where it does not count. [m]
    reach : (...) float
        l_s, for valleys that of both sides together. [m]
    ground_snow : (...) float
        s_k. [Pa]
    cap : float
        8 at walls and parapets, 5 at obstructions and in valleys.
    """
    by_height = PER_KILONEWTON * np.asarray(height, dtype=float) / np.asarray(ground_snow)
    by_length = 2.0 * np.asarray(length, dtype=float) / np.asarray(reach, dtype=float)
    return np.minimum(np.minimum(by_height, by_length), cap)


@dataclass(frozen=True)
class _Valley:
    """Drift in one valley: its zones, plan direction, and load for each meter of it. [N/m]."""

    zones: list[Zone]
    along: Array
    names: str
    line_load: float
    length: float


def valley_drifts(known: EnRoof, bare: Plan) -> list[tuple[str, list[Zone], tuple[str, ...]]]:
    """Drifts in valleys as name, zones and notes; together not more than the snow that fell, B2(4).

    `bare` is the plan of the roof without snow: what fell is blown across steps, what lies ends at them.
    """
    edges = known.roof.edges
    found = [
        _valley(known, bare, e)
        for e, kind in enumerate(edges.kind)
        if kind is EdgeKind.VALLEY and edges.plane[e].min() >= 0
    ]
    drifts: list[tuple[str, list[Zone], tuple[str, ...]]] = []
    while found:
        way = found[0].along
        same = [one for one in found if abs(one.along @ way) > SAME_WIND]
        found = [one for one in found if abs(one.along @ way) <= SAME_WIND]
        name = f"in valleys that run {compass(-way)} to {compass(way)}"
        load = sum(one.line_load for one in same)
        most = known.site.ground_snow * max(one.length for one in same)
        share = min(1.0, most / load) if load > 0.0 else 0.0
        if share < WHOLE:
            drifts += [(f"exceptional drift in the valley {one.names}", one.zones, NOTES) for one in same]
        said = (*NOTES, *(() if share >= WHOLE else (_share_note(share),)))
        zones = [_part(zone, share, most, load) for one in same for zone in one.zones]
        drifts.append((f"exceptional drift {name}", zones, said))
    return drifts


def _share_note(share: float) -> str:
    return (
        f"Drifts in several valleys at once hold {share:.3g} of what each could alone: together no more than"
        " s_k times the length of the roof square to them, B2(4)."
    )


def _part(zone: Zone, share: float, most: float, load: float) -> Zone:
    if share >= WHOLE:
        return zone
    said = (
        Value("fallen", most, "N/m", "s_k times the length of the roof square to the valleys"),
        Value("drifted", load, "N/m", "of all valleys, each 0.5 mu_1 s_k over both its sides"),
        Value("share", share, "", "of the drifts in several valleys together, B2(4)", "fallen / drifted"),
    )
    return replace(
        zone, pressure=share * zone.pressure, formula=f"share {zone.formula}", values=(*zone.values, *said)
    )


def _valley(known: EnRoof, bare: Plan, e: int) -> _Valley:
    edges, plan, planes = known.roof.edges, known.plan, known.roof.planes
    start, end = edges.start[e], edges.end[e]
    first, second = (int(plane) for plane in edges.plane[e])
    sides = ((first, start, end), (second, end, start))
    reach = [slope_run(bare, plane, a, b, left_normal(a, b)) for plane, a, b in sides]
    outline, out = plan.drift_outline[plan.drift_level[first]], left_normal(start, end)
    whole = fetch(outline, start, end, out) + fetch(outline, start, end, -out)
    height = min(_top(known, plane) for plane, _, _ in sides) - float(min(start[2], end[2]))
    ground = known.site.ground_snow
    shape = float(exceptional_shape(height, whole, sum(reach), ground, VALLEY_CAP))
    names = f"{planes.name[first]} and {planes.name[second]}"
    zones: list[Zone] = []
    for (plane, a, b), length in zip(sides, reach, strict=True):
        values = (
            *snow_values(known),
            Value("gamma_B", PER_KILONEWTON, "N/m**3", "2 of 2 h / s_k in m and kN/m^2"),
            Value("h", height, "m", "lower ridge above the lowest point of the valley"),
            Value("b_3", whole, "m", "whole roof, square to the valley"),
            Value("l_s", length, "m", "from the valley to the ridge on this side"),
            Value("l_s sum", sum(reach), "m", "of both sides"),
            Value("mu_1", shape, "", "B2", "min(gamma_B h / s_k, 2 b_3 / l_s sum, 5)"),
        )
        normal = left_normal(a, b)
        zone = Zone(
            f"exceptional drift in the valley of {names}",
            plane,
            band(a[:2], b[:2], 0.0, length),
            falling_pressure(a, normal, shape * ground, length),
            f"{CODE} B2",
            "mu_1 (1 - x / l_s) s_k",
            values,
        )
        zones += _on_slope(known, zone)
    along = (end - start)[:2] / np.hypot(*(end - start)[:2])
    along = along if tuple(np.round(along, 6)) > (0.0, 0.0) else -along  # one name for both senses
    return _Valley(zones, along, names, 0.5 * shape * ground * sum(reach), whole)


def _same_slope(known: EnRoof, plane: int) -> NDArray[np.bool_]:
    plan = known.plan
    return np.asarray((plan.level == plan.level[plane]) & (plan.fall @ plan.fall[plane] > SAME_WAY))


def _top(known: EnRoof, plane: int) -> float:
    """Highest point of the slope that a plane is part of. [m]."""
    planes = known.roof.planes
    tops = [
        planes.to_world(i, shapely.get_coordinates(planes.outline[i]))[:, 2].max()
        for i in np.flatnonzero(_same_slope(known, plane)).tolist()
    ]
    return float(max(tops))


def _on_slope(known: EnRoof, zone: Zone) -> list[Zone]:
    """Cut a patch to the planes that fall the way of its own."""
    parts = []
    for plane in np.flatnonzero(_same_slope(known, zone.plane)).tolist():
        part = polygonal(shapely.intersection(zone.polygon, known.plan.polygon[plane]))
        if part is not None:
            parts.append(replace(zone, plane=plane, polygon=part))
    return parts
