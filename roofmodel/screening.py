"""One building of a city tile: what slides over its edges when nothing holds it, and where that lands.

No rows, every snow case of the standard, unfactored. The force over the worst meter of an edge is what a row
there would have to hold; the energy over that meter is a measure of what it does to who stands below. Every
plane counts as if it held its snow, so that no standard's reduction for snow that slides off is taken: the
safe reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.layout import no_rows
from roofmodel.shape.marked_edges import marked_edges
from roofmodel.shape.roof_faces import pick_roof_faces
from roofmodel.shape.surfaces import ROOF, Building, building_mesh
from roofmodel.shape.understanding import understood
from roofmodel.sliding.across import turns_aside
from roofmodel.sliding.flow import Exit, FlowGraph, exit_ends
from roofmodel.sliding.landing import Landing, landing
from roofmodel.sliding.thrust import RowForce, SlideOptions, slide
from roofmodel.snow.cases import SnowCase
from roofmodel.snow.inputs import Site
from roofmodel.snow.registry import snow_cases
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

AHEAD = (
    "Planes of 5 to 15 degrees are taken to turn snow that steeper ones push onto them. It may go straight "
    "on: edges straight ahead may shed more, and farther, than said here; `eavewright check` counts both."
)
WINDOW = 1.0  # length of edge over which the worst force and weight are taken [m]
SHORTEST = 0.5  # what leaves over less of an edge counts as spread over this length [m]
LEAST = 1.0  # less than this slides over no edge: rounding [N/m]
CLOSED = 1e-9  # largest imbalance of driving and arriving force [-]
OUTLINE = 0.05  # the outline on plan is simplified by this [m]
SAME = 1e-9  # forces that differ by less of them are one: rounding [-]


@dataclass(frozen=True)
class ScreenRules:
    """What holds for every building.

    Attributes
    ----------
    site : Site
    slide : SlideOptions
    """

    site: Site
    slide: SlideOptions


def screen_building(building: Building, rules: ScreenRules) -> dict[str, Any]:
    """Screen one building.

    Parameters
    ----------
    building : Building
        Map coordinates. [m]
    rules : ScreenRules

    Returns
    -------
    dict
        Plain data, SI: `planes`, `edges` (the most dangerous first), `released`, `outline`, `ground`,
        `level`, `cases`, `shared_edges`, `notes`; the fields are described in viewer/screen.schema.json.

    Raises
    ------
    InputError
        One line: why it cannot be screened.
    """
    roof = understood(pick_roof_faces(building_mesh(building)))
    snow = snow_cases(roof, rules.site, range(roof.planes.count))
    graph, force = slide(roof, snow.cases, no_rows(), rules.slide, both=False)
    if not float(force.balance.error.max(initial=0.0)) <= CLOSED:
        message = f"the forces do not balance (by {force.balance.error.max():.1e}); look at it by itself."
        raise InputError(message)
    lands = landing(roof, graph, force, snow.cases, rules.slide, lower=False)
    worst = worst_meter(roof, graph, force, rules.slide)
    edges = _edges(roof, force, lands, snow.cases, worst)
    return {
        "cases": len(snow.cases),
        "level": str(snow.cases[0].level) if snow.cases else "",
        "ground": {"height": float(roof.ground + roof.offset[2]), "assumed": roof.ground_assumed},
        "outline": _outline(roof),
        "planes": [
            {"name": name, "slope": float(slope), "azimuth": float(azimuth), "area": float(area)}
            for name, slope, azimuth, area in zip(
                roof.planes.name, roof.planes.slope, roof.planes.azimuth, roof.planes.true_area, strict=True
            )
        ],
        "edges": edges,
        "released": _released(force, lands, snow.cases, worst[0] >= LEAST),
        "shared_edges": {"drawn": _drawn(building), "recognized": _recognized(roof)},
        "notes": [*roof.notes, *([AHEAD] if turns_aside(roof) else [])],
    }


def _drawn(building: Building) -> dict[str, int]:
    """Edges that the file's roof polygons share, by kind."""
    found = marked_edges(building.points, [rings for rings, kind in building.surfaces if kind == ROOF])
    return {"ridge": found.ridges, "hip": found.hips, "valley": found.valleys}


def _recognized(roof: RoofSurface) -> dict[str, int]:
    kinds = (EdgeKind.RIDGE, EdgeKind.HIP, EdgeKind.VALLEY)
    return {kind.value: roof.edges.kind.count(kind) for kind in kinds}


def _edges(
    roof: RoofSurface,
    force: RowForce,
    lands: Landing,
    cases: tuple[SnowCase, ...],
    worst: tuple[Array, Array],
) -> list[dict[str, Any]]:
    """Every edge that snow can leave over, the most dangerous first."""
    worst_force, moves = worst[0], np.asarray(worst[0] >= LEAST)
    sliding: NDArray[np.bool_] = np.asarray(moves.any(axis=0))
    weight = np.where(moves, worst[1], 0.0)
    largest = _largest_fall(roof, force, lands)
    fall = np.where(force.exit_edge >= 0, np.nan_to_num(lands.fall), largest)
    drop = np.maximum(fall, 0.0) + lands.speed**2 / (2.0 * STANDARD_GRAVITY)
    energy = weight.max(axis=0) * drop
    found = []
    greatest = worst_force.max(axis=0)
    for k in np.lexsort((np.arange(len(drop)), -np.round(greatest, 3), -np.round(energy, 3))):
        edge = int(force.exit_edge[k])
        known = edge >= 0
        plane = int(roof.edges.plane[edge, 0]) if known else -1
        case = int(np.argmax(worst_force[:, k] >= greatest[k] * (1.0 - SAME)))  # the first of equals
        slides = bool(sliding[k])
        amount = np.where(moves[:, k], lands.volume[:, k], 0.0)
        found.append(
            {
                "edge": roof.edges.name[edge] if known else "no edge",
                "kind": str(roof.edges.kind[edge]) if known else "none",
                "slope": float(roof.planes.slope[plane]) if known else None,
                "azimuth": float(roof.planes.azimuth[plane]) if known else None,
                "start": (roof.edges.start[edge] + roof.offset).tolist() if known else None,
                "end": (roof.edges.end[edge] + roof.offset).tolist() if known else None,
                "length": float(roof.edges.length[edge]) if known else None,
                "force": float(worst_force[case, k]) if slides else 0.0,
                "case": cases[case].name if slides else None,
                "total_force": float(force.exit_thrust[:, k].max()) if slides else 0.0,
                "weight": float(weight[:, k].max()),
                "total_weight": float(np.where(moves[:, k], force.exit_weight[:, k], 0.0).max()),
                "volume": float(amount.max()) if slides else 0.0,
                "speed": float(lands.speed[k]) if slides else 0.0,
                "fall": float(lands.fall[k]) if known else largest,
                "throw": float(lands.throw[k]) if slides else 0.0,
                "energy": float(energy[k]) if slides else 0.0,
            }
        )
    return found


def _largest_fall(roof: RoofSurface, force: RowForce, lands: Landing) -> float:
    """Of the edges that are known, to stand for those that are not; else the height of the roof. [m]."""
    fall = np.nan_to_num(lands.fall[force.exit_edge >= 0])
    if len(fall):
        return float(max(fall.max(), 0.0))
    return float(roof.points[roof.faces][..., 2].max()) - float(roof.ground or 0.0)


def worst_meter(
    roof: RoofSurface, graph: FlowGraph, force: RowForce, options: SlideOptions
) -> tuple[Array, Array]:
    """Largest force and weight over any meter of each edge.

    A valley's stream leaves over the spread. On an edge shorter than a meter, or where less than a meter of
    it lets snow go, all counts as if it were spread over that length, but over no less than `SHORTEST`
    (judgment), so that slivers do not lead every list.

    Parameters
    ----------
    roof : RoofSurface
    graph : FlowGraph
    force : RowForce
        Of the same graph, without rows.
    options : SlideOptions

    Returns
    -------
    force, weight : (q, x) float
        For each of `RowForce.exit_edge`. [N/m]
    """
    n = graph.cells.count
    over = (graph.exit_kind == Exit.EDGE) & (graph.exit_node < n)
    node, edge, share = graph.exit_node[over], graph.exit_edge[over], graph.exit_share[over]
    at = np.searchsorted(force.exit_edge, edge)
    thrust = force.cell_thrust[:, node] * share
    weight = force.node_weight[:, node] * share
    low, high = _stretches(roof, graph, over)
    count = len(force.exit_edge)
    longest = np.zeros(count)
    np.add.at(longest, at, high - low)
    window = np.clip(longest, SHORTEST, WINDOW)
    both = np.concatenate([thrust, weight])
    found = _largest_window(low, high, at, both, window, count) / window
    result = np.split(found, 2)
    streams = _streams(graph, force, at, thrust, weight, count)
    spread = max(options.valley_spread, SHORTEST)
    return result[0] + streams[0] / spread, result[1] + streams[1] / spread


def _stretches(roof: RoofSurface, graph: FlowGraph, over: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Where along their edge cells let snow go, right below them or across flat roof. [m]."""
    edge, world = graph.exit_edge[over], exit_ends(roof, graph, over)
    length = np.maximum(roof.edges.length[edge], 1e-9)
    way = (roof.edges.end[edge] - roof.edges.start[edge]) / length[:, None]
    place = np.einsum("nij,nj->ni", world - roof.edges.start[edge][:, None], way)
    place = np.sort(np.clip(place, 0.0, length[:, None]), axis=1)
    return place[:, 0], np.maximum(place[:, 1], place[:, 0] + 1e-6)


def _largest_window(
    low: Array, high: Array, group: IntArray, amount: Array, window: Array, count: int
) -> Array:
    """Largest part of `amount` (k, n) in a window (count,) along each group, (k, count).

    Amounts lie evenly between low and high (n,). The sum of all that begins or ends between two places is
    piecewise linear in them, so that the largest window begins or ends at such a place.
    """
    best = np.zeros((len(amount), count))
    if not len(low):
        return best
    apart = float(high.max() + 2.0 * WINDOW + 1.0)  # groups one after another on one line
    first, last = low + group * apart, high + group * apart
    mark = np.concatenate([first, last])
    owner = np.concatenate([group, group])
    begin = np.concatenate([mark, mark - window[owner]])
    stop = begin + np.tile(window[owner], 2)
    owner = np.tile(owner, 2)
    line = np.sort(np.concatenate([first, last]), kind="stable")
    # Cumulative amount at every mark: slopes switch on at `first` and off at `last`.
    slope = amount / (last - first)
    change = np.concatenate([slope, -slope], axis=1)[:, np.argsort(mark, kind="stable")]
    steps = np.cumsum(change, axis=1)[:, :-1] * np.diff(line)
    total = np.concatenate([np.zeros((len(amount), 1)), np.cumsum(steps, axis=1)], axis=1)

    def up_to(place: Array) -> Array:
        right = np.clip(np.searchsorted(line, place, side="right"), 1, len(line) - 1)
        left = right - 1
        gap = line[right] - line[left]
        part = np.clip((place - line[left]) / np.where(gap > 0.0, gap, 1.0), 0.0, 1.0)
        return total[:, left] + part * (total[:, right] - total[:, left])

    inside = up_to(stop) - up_to(begin)
    for row, value in zip(best, inside, strict=True):
        np.maximum.at(row, owner, value)
    return best


def _streams(
    graph: FlowGraph, force: RowForce, at: IntArray, thrust: Array, weight: Array, count: int
) -> tuple[Array, Array]:
    """What valleys bring over each edge: all that goes over it less what cells bring, (q, x). [N]."""
    has = np.zeros(count, dtype=bool)
    node = (graph.exit_kind == Exit.EDGE) & (graph.exit_node >= graph.cells.count)
    has[np.searchsorted(force.exit_edge, graph.exit_edge[node])] = True
    rest = []
    for whole, part in ((force.exit_thrust, thrust), (force.exit_weight, weight)):
        brought = np.zeros((count, len(whole)))
        np.add.at(brought, at, part.T)
        rest.append(np.where(has, np.maximum(whole - brought.T, 0.0), 0.0))
    return rest[0], rest[1]


def _released(
    force: RowForce, lands: Landing, cases: tuple[SnowCase, ...], moves: NDArray[np.bool_]
) -> dict[str, Any]:
    """All that can come down from the building at once, in the case with the most of it."""
    weight = np.where(moves, force.exit_weight, 0.0).sum(axis=1)
    volume = np.where(moves, lands.volume, 0.0).sum(axis=1)
    if not len(cases) or not weight.max(initial=0.0) > 0.0:
        return {"weight": 0.0, "volume": 0.0, "case": None}
    case = int(np.argmax(weight >= weight.max() * (1.0 - SAME)))
    return {"weight": float(weight[case]), "volume": float(volume[case]), "case": cases[case].name}


def _outline(roof: RoofSurface) -> list[list[list[float]]]:
    """Outer rings of the roof on plan, map coordinates, to the centimeter. [m]."""
    corners = roof.points[roof.faces][:, :, :2]
    whole = shapely.union_all(shapely.polygons(corners), grid_size=1e-3)
    parts = shapely.get_parts(shapely.simplify(whole, OUTLINE))
    rings = (np.round(shapely.get_coordinates(part.exterior) + roof.offset[:2], 2) for part in parts)
    return [ring.tolist() for ring in rings if len(ring) >= 4]
