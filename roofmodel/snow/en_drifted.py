"""Drifted arrangements of EN 1991-1-3: pitched roofs and valleys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.cases import Bare, SnowCase, Value, Zone
from roofmodel.snow.corners import AROUND, corner_slices
from roofmodel.snow.en_roof import CODE, EnRoof, balanced_zones, load_values
from roofmodel.snow.envelope import larger
from roofmodel.snow.regions import (
    SAME_WAY,
    band,
    compass,
    crest_segments,
    falling_pressure,
    falls_toward_wall,
    left_normal,
    polygonal,
    wind_directions,
)
from roofmodel.snow.sharing import GRID
from roofmodel.surface import EdgeKind

Array = NDArray[np.float64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]

VALLEY_SHAPE = Bare("0.8 + 0.8 min(1, alpha_m / 30)")
LEVEL = 1e-3  # valleys that rise less have no head [m]
UPRIGHT = 0.5 * np.pi  # slope of a wall that is one side of a valley [rad]
UPRIGHT_NOTE = (
    "A plane that falls toward a wall, as saw-teeth do, is one side of a valley whose other side is upright:"
    " mu_2 of the mean slope, 1.6 (judgment; 5.3.4 asks for special consideration above 60 degrees). The"
    " drift of 5.3.6 at the same wall is a case of its own."
)


def pitched_cases(known: EnRoof) -> Cases:
    """Arrangements (ii) and (iii) of 5.3.3: half of mu_1 on one side, one case for each side."""
    names = known.roof.planes.name
    cases: list[SnowCase] = []
    for wind in wind_directions(known.roof, known.plan):
        along = np.round(known.plan.fall @ wind, 4)  # facets at 60 degrees, to 32 bits, are on neither side
        halved = sorted(
            {
                across
                for plane, across, _, _ in crest_segments(known.roof)
                if along[plane] > SAME_WAY and along[across] < -SAME_WAY
            }
            | set(_opposite_ends(known, along))
        )
        if not halved:
            continue
        share = np.ones(len(names))
        share[halved] = 0.5
        notes = [f"Half of mu_1 on {', '.join(names[i] for i in halved)}, 5.3.3."]
        if any(kind is EdgeKind.HIP for kind in known.roof.edges.kind):
            notes.append(
                "The standard gives no figure for hips: each pair of opposite planes is treated as a duopitch"
                " roof, planes beside the wind keep mu_1."
            )
        cases.append(
            known.case(f"unbalanced, wind toward {compass(wind)}", balanced_zones(known, share), notes)
        )
    if cases:
        return cases, []
    return [], [("unbalanced", "no two planes fall away from a common ridge or hip roof (5.3.3)")]


def _opposite_ends(known: EnRoof, along: Array) -> list[int]:
    """Hip ends that face the wind where a hip end of the same level faces away from it."""
    ends = {
        int(plane)
        for kind, pair in zip(known.roof.edges.kind, known.roof.edges.plane, strict=True)
        if kind is EdgeKind.HIP
        for plane in pair
        if plane >= 0
    }
    level = known.plan.level
    lee = {int(level[i]) for i in ends if along[i] > SAME_WAY}
    return [i for i in ends if along[i] < -SAME_WAY and int(level[i]) in lee]


def valley_cases(known: EnRoof) -> Cases:
    """Arrangement (ii) of 5.3.4, read for the valleys of roofs with wings and for those beside a wall."""
    zones: list[Zone] = []
    edges = known.roof.edges
    for e, kind in enumerate(edges.kind):
        pair = edges.plane[e]
        if kind is EdgeKind.VALLEY and pair.min() >= 0:
            mean = float(known.roof.planes.slope[pair].mean())
            for plane, start, end in (
                (int(pair[0]), edges.start[e], edges.end[e]),
                (int(pair[1]), edges.end[e], edges.start[e]),
            ):
                zones += _valley_zone(known, plane, start, end, mean)
    steps, into = known.roof.steps, falls_toward_wall(known.roof, known.plan)
    for i in np.flatnonzero(into):
        plane = int(steps.lower[i])
        mean = 0.5 * (float(known.roof.planes.slope[plane]) + UPRIGHT)
        zones += _valley_zone(known, plane, steps.start[i], steps.end[i], mean)
    if not zones:
        return [], [("snow in the valleys", "no valley, and no plane falls toward a wall (5.3.4)")]
    notes = [UPRIGHT_NOTE] if into.any() else []
    notes += [
        "5.3.4 shows valleys between parallel ridges; here mu falls from mu_2 along the valley linearly,"
        " square to it on plan, to mu_1 at the farthest point of each plane beside the valley. Where two"
        " valleys reach the same place the larger counts.",
        "Judgment: above the head of a valley mu falls from mu_2 radially, as around a corner (5.3.4 shows no"
        " shape for it).",
    ]
    return [known.case("snow in the valleys", balanced_zones(known) + larger(zones), notes)], []


def _valley_zone(known: EnRoof, plane: int, start: Array, end: Array, mean: float) -> list[Zone]:
    """What mu_2 adds to mu_1 on one side of a valley, from the valley to the far end of the plane."""
    polygon = known.plan.polygon[plane]
    normal = left_normal(start, end)
    low_x, low_y, high_x, high_y = polygon.bounds
    side = band(start[:2], end[:2], 0.0, float(np.hypot(high_x - low_x, high_y - low_y)))
    part = polygonal(shapely.intersection(side, polygon))
    if part is None:
        return []
    width = float(((shapely.get_coordinates(part) - start[:2]) @ normal).max())
    mu_2 = float(en.mu_2(mean))
    peak = (mu_2 - float(known.shape[plane])) * known.unit_load
    values = (
        *load_values(known, plane),
        Value(
            "alpha_2", 2.0 * mean - float(known.roof.planes.slope[plane]), "rad", "slope across the valley"
        ),
        Value("alpha_m", mean, "rad", "mean of the two slopes", "(alpha + alpha_2) / 2"),
        Value("mu_2", mu_2, "", "at the valley, Table 5.2", VALLEY_SHAPE),
        Value("b", width, "m", "plan distance from the valley to the farthest point beside it"),
    )
    beside = Zone(
        f"valley snow on {known.roof.planes.name[plane]}",
        plane,
        part,
        falling_pressure(start, normal, peak, width),
        f"{CODE} 5.3.4",
        "(mu_2 - mu_1) (1 - x / b) C_e C_t s_k",
        values,
    )
    return [beside, *_above_head(beside, polygon, (start, end), peak, width)]


def _above_head(
    beside: Zone, polygon: Polygon, valley: tuple[Array, Array], peak: float, width: float
) -> list[Zone]:
    """What runs on around the upper end of a valley, from square to it to straight on; none if level."""
    start, end = valley
    if abs(end[2] - start[2]) < LEVEL:
        return []
    normal, on = left_normal(start, end), (end - start)[:2] / np.linalg.norm((end - start)[:2])
    turn = (normal, on) if end[2] > start[2] else (-on, normal)
    head = (end if end[2] > start[2] else start)[None, :2]
    sizes = (np.array([one]) for one in (peak, width, 0.0))
    parts = corner_slices(head, turn[0][None], turn[1][None], *sizes)
    cut = [polygonal(shapely.intersection(one, polygon, grid_size=GRID)) for one in parts.polygon]
    return [
        replace(beside, name=f"{beside.name}{AROUND}", polygon=one, pressure=law)
        for one, law in zip(cut, parts.pressure, strict=True)
        if one is not None
    ]
