"""The layer on the recognized roof: cells with their snow, and what arrives from other planes."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from fea.blanket.data import Layer
from fea.blanket.mesh import corner_shares, cover, grid_lines
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.short_stations import evened
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import SnowCase, case_force
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_SNOW = 1.0  # less pressure is no snow [Pa]
MOST_CELLS = 400_000


def lay(
    roof: RoofSurface,
    case: SnowCase,
    planes: IntArray,
    marks: dict[int, tuple[list[float], list[float]]],
    step: float,
    density: float,
) -> Layer:
    """Cells of the layer with the snow of a case.

    Parameters
    ----------
    roof : RoofSurface
    case : SnowCase
    planes : (p,) int
        Planes to be covered.
    marks : dict
        Places along u and along v that grid lines of a plane should go through. [m]
    step : float
        Largest side of a cell. [m]
    density : float
        [kg/m^3]

    Returns
    -------
    Layer

    Raises
    ------
    InputError
        More cells than can be solved in a reasonable time.
    """
    wanted = sum(roof.planes.outline[p].area for p in planes) / step**2
    if wanted > MOST_CELLS:
        least = step * np.sqrt(wanted / MOST_CELLS)
        message = (
            f"blanket.mesh: {step:.3g} m makes {wanted:,.0f} cells on this roof, more than {MOST_CELLS:,}; "
            f"give at least {np.ceil(100.0 * least) / 100.0:g} m"
        )
        raise InputError(message)
    parts, first = [], 0
    for plane in planes:
        part = _lay_plane(roof, case, int(plane), marks.get(int(plane), ([], [])), step, density, first)
        parts.append(part)
        first += len(part["node"])
    if not parts or not sum(len(part["corner"]) for part in parts):
        message = f'case "{case.name}": no snow lies on a plane with rows or stops'
        raise InputError(message)
    return Layer(**{name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def _lay_plane(
    roof: RoofSurface,
    case: SnowCase,
    plane: int,
    marks: tuple[list[float], list[float]],
    step: float,
    density: float,
    first: int,
) -> dict[str, Array]:
    outline, slope = roof.planes.outline[plane], float(roof.planes.slope[plane])
    low_u, low_v, high_u, high_v = outline.bounds
    u, v = grid_lines(low_u, high_u, marks[0], step), grid_lines(low_v, high_v, marks[1], step)
    cell, share, middle = cover(outline, u, v)
    low = np.stack([u[cell[:, 0]], v[cell[:, 1]]], axis=1)
    size = np.stack([u[cell[:, 0] + 1], v[cell[:, 1] + 1]], axis=1) - low
    weight = _weights(roof, case, plane, outline, low, size)
    area = size[:, 0] * size[:, 1] * share
    snowy = weight > LEAST_SNOW * area * np.cos(slope)
    cell, share, middle = cell[snowy], share[snowy], middle[snowy]
    low, size, weight, area = low[snowy], size[snowy], weight[snowy], area[snowy]
    step_of = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    grid = (cell[:, None] + step_of) @ np.array([len(v), 1])
    known, corner = np.unique(grid, return_inverse=True)
    corner = corner.reshape(-1, 4)
    n = len(known)
    part = corner_shares((middle - low) / size)
    lumped = np.zeros((3, n))
    for k in range(4):
        for i, value in enumerate((weight * np.sin(slope), weight * np.cos(slope), area)):
            lumped[i] += np.bincount(corner[:, k], part[:, k] * value, n)
    return {
        "node": np.stack([u[known // len(v)], v[known % len(v)]], axis=1),
        "node_plane": np.full(n, plane),
        "corner": corner + first,
        "plane": np.full(len(corner), plane),
        "low": low,
        "size": size,
        "share": share,
        "depth": weight / area / (density * STANDARD_GRAVITY),
        "weight": weight,
        "force": np.stack([np.zeros(n), -lumped[0]], axis=1),
        "pressing": lumped[1],
        "area": lumped[2],
    }


def _weights(
    roof: RoofSurface, case: SnowCase, plane: int, outline: Polygon, low: Array, size: Array
) -> Array:
    """Vertical snow force on the part of every cell that lies on the plane, (m,). [N]."""
    if not len(low):
        return np.zeros(0)
    turns = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    corners = low[:, None] + turns * size[:, None]
    boxes = np.asarray(shapely.polygons(corners), dtype=object)
    cut = np.flatnonzero(~shapely.contains_properly(outline, boxes))
    boxes[cut] = shapely.intersection(outline, boxes[cut])
    flat = shapely.transform(boxes, lambda uv: roof.planes.to_world(plane, uv)[:, :2])
    return case_force(case, flat, np.full(len(flat), plane))


def arriving(layer: Layer, graph: FlowGraph, force: RowForce, q: int, slope: Array, friction: float) -> Array:
    """Force (n, 2) of what other planes send onto the layer, by the sliding analysis. [N].

    What it brings to a strip from beyond the plane is spread over the strip's uppermost cell; it pushes down
    the slope.
    """
    cells = graph.cells
    count = cells.count
    vertical = force.cell_pressure[q] * cells.plan_area
    tilt = slope[cells.plane]
    own = vertical * (np.sin(tilt) - friction * np.cos(tilt) * (cells.array < 0))
    inner = ~graph.crossing & (graph.source < count) & (graph.target < count)
    fed = np.bincount(
        graph.target[inner],
        graph.share[inner] * force.cell_thrust[q, graph.source[inner]],
        count,
    )
    extra = np.maximum(force.cell_arriving[q] - np.maximum(own + fed, 0.0), 0.0)
    crossed = np.zeros(count, dtype=bool)
    crossed[graph.target[graph.crossing & (graph.target < count)]] = True
    out = np.zeros((len(layer.node), 2))
    for i in np.flatnonzero(crossed & (extra > 1e-9 * max(float(vertical.sum()), 1.0))):
        box = np.concatenate([cells.corners[i].min(axis=0), cells.corners[i].max(axis=0)])
        at = np.flatnonzero(
            (layer.node_plane == cells.plane[i])
            & np.all(layer.node >= box[:2] - 1e-9, axis=1)
            & np.all(layer.node <= box[2:] + 1e-9, axis=1)
        )
        if not len(at):
            on = np.flatnonzero(layer.node_plane == cells.plane[i])
            if not len(on):
                continue
            at = on[[int(np.argmin(np.linalg.norm(layer.node[on] - cells.corners[i].mean(axis=0), axis=1)))]]
        out[at, 1] -= extra[i] * layer.area[at] / layer.area[at].sum()
    return out


def direct(layout: Layout, graph: FlowGraph, force: RowForce, q: int) -> Array:
    """Force (k, 2) on the stations of `force` that valleys bring straight to rows, in (u, v). [N].

    Streams of planes with rows are left out: their snow lies on the layer, which carries it along the valley.
    Where several streams reach a row, they share its force by the weight that they carry.
    """
    n = graph.cells.count
    cell = np.flatnonzero(graph.catch_node < n)
    order = cell[np.lexsort((graph.catch_span[cell, 0], graph.catch_row[cell]))]
    out = force.thrust[q].copy()
    own = force.cell_thrust[q, graph.catch_node[order]]
    out[:, 1] += evened(graph.catch_row[order], graph.catch_span[order], (own,))[1][0]
    out[np.abs(out) < 1e-9 * max(float(np.abs(force.thrust[q]).max(initial=0.0)), 1.0)] = 0.0
    streams = np.flatnonzero(graph.catch_node >= n)
    row, weight = graph.catch_row[streams], force.node_weight[q, graph.catch_node[streams]]
    others = ~np.isin(graph.valley_plane[graph.catch_node[streams] - n], layout.row_plane)
    rows = len(layout.row_name)
    total = np.bincount(row, weight, rows)
    foreign = np.bincount(row, weight * others, rows)
    share = np.divide(foreign, total, out=np.zeros(rows), where=total > 0.0)
    return np.asarray(out * share[force.row, None])
