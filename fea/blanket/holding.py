"""What the layer leans on: rails on their clamps, single stops, valleys and boxes that may hold.

Rails are the rows of `fea.rails` with a node at every station, so that the layer meets them with all their
flexibility. Springs between layer and rail stand for the snow in front of it, E H / d per length, with H the
height over which the rail meets a layer of depth d (judgment). In a valley the snow of both sides leans on
itself: no motion into it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.blanket.data import BOX, ROW, STOP, VALLEY, Contacts, Layer, Snow, Structure
from fea.blanket.mesh import corner_shares
from fea.rails.actions import row_axes
from fea.rails.frame import build_frame
from fea.rails.rows import Frame
from roofmodel.counting import within
from roofmodel.hardware import Clamp, Rail
from roofmodel.layout import Layout, SpliceKind
from roofmodel.stops import Stops
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.upper_faces import upper_faces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

APART = 2e-3  # stations keep this far from splices and clamps of the user [m]
RIGID = 30.0  # stiffness of a valley or box against that of the snow beside it [-]


@dataclass(frozen=True)
class Stations:
    """Pieces of rail over which the layer's pressure counts as even.

    Attributes
    ----------
    row : (k,) int
    span : (k, 2) float
        Along the row. [m]
    dof : (k,) int
        Unknown of the frame: motion up the slope, square to the rail, near the middle.
    """

    row: IntArray
    span: Array
    dof: IntArray


def make_stations(
    layout: Layout, rail: Rail, clamp: Clamp, step: float, support: sparse.csr_array | None = None
) -> tuple[Frame | None, Stations]:
    """The rows as a frame with nodes at the middles of stations.

    Parameters
    ----------
    layout, rail, clamp
    step : float
        Longest station. [m]
    support : sparse, optional
        Clamps and panels in series, as in `build_frame`.

    Returns
    -------
    Frame or None
        None without rows.
    Stations
    """
    none = np.zeros(0, dtype=np.int64)
    if not len(layout.row_name):
        return None, Stations(none, np.zeros((0, 2)), none)
    length = layout.row_length
    count = np.maximum(np.ceil(length / step - 1e-9), 1).astype(np.int64)
    row = np.repeat(np.arange(len(length)), count)
    number = within(count)
    width = (length / count)[row]
    span = np.stack([number * width, (number + 1) * width], axis=1)
    middle = span.mean(axis=1)
    taken_row = np.concatenate([layout.splice_row, layout.clamp_row])
    taken_s = np.concatenate([layout.splice_s, layout.clamp_s])
    reach = 2.0 * float(length.max()) + 1.0
    key = np.sort(taken_row * reach + taken_s)
    mine = row * reach + middle
    near = np.searchsorted(key, mine).clip(0, len(key) - 1)
    gap = np.minimum(np.abs(key[near] - mine), np.abs(key[np.maximum(near - 1, 0)] - mine))
    new = gap > APART
    finer = replace(
        layout,
        splice_row=np.concatenate([layout.splice_row, row[new]]).astype(np.int64),
        splice_s=np.concatenate([layout.splice_s, middle[new]]),
        splice_kind=(*layout.splice_kind, *(SpliceKind.CONTINUOUS for _ in range(int(new.sum())))),
    )
    frame = build_frame(finer, rail, clamp, support=support)
    place = frame.node_row * reach + frame.node_s
    at = np.searchsorted(place, mine).clip(0, len(place) - 1)
    before = np.maximum(at - 1, 0)
    nearest = np.where(np.abs(place[before] - mine) < np.abs(place[at] - mine), before, at)
    return frame, Stations(row, span, frame.dof[nearest, 1])


def make_structure(
    layout: Layout, frame: Frame | None, stops: Stops, clamp: Clamp, line: tuple[Stations, Array]
) -> Structure:
    """Rails and stops as springs, with what acts on the rails beside the layer.

    Parameters
    ----------
    layout : Layout
    frame : Frame or None
    stops : Stops
    clamp : Clamp
    line : Stations and (k, 2) float
        Force on every station along the plane's (u, v), such as that of valleys. [N]
    """
    spring = stop_stiffness(clamp, stops)
    if frame is None:
        matrix = sparse.csr_array(sparse.diags_array(np.full(stops.count, spring)))
        return Structure(
            matrix=matrix,
            load=np.zeros(stops.count),
            group=np.arange(stops.count),
            place=stops.uv,
            plane=stops.plane,
        )
    d = frame.matrix.shape[0]
    matrix = sparse.csr_array(
        sparse.block_diag([frame.matrix, sparse.diags_array(np.full(stops.count, spring))])
        if stops.count
        else frame.matrix
    )
    load = np.zeros(d + stops.count)
    stations, force = line
    along, up = row_axes(layout).swapaxes(0, 1)
    np.add.at(load, stations.dof, np.sum(up[stations.row] * force, axis=1))
    group = np.zeros(d, dtype=np.int64)
    # The right node of a hinge shares motions with the left one, which owns them.
    for k in range(frame.dof.shape[1]):
        group[frame.dof[::-1, k]] = np.arange(len(frame.node_row))[::-1]
    place = layout.row_start[frame.node_row] + frame.node_s[:, None] * along[frame.node_row]
    return Structure(
        matrix=matrix,
        load=load,
        group=np.concatenate([group, len(place) + np.arange(stops.count)]),
        place=np.concatenate([place, stops.uv]),
        plane=np.concatenate([layout.row_plane[frame.node_row], stops.plane]),
    )


def stop_stiffness(clamp: Clamp, stops: Stops) -> float:
    """Stiffness of one stop at the height where the snow pushes: its clamp slides and tips. [N/m]."""
    tips = float(clamp.stiffness[4, 4])
    give = 1.0 / float(clamp.stiffness[0, 0]) + (stops.lever**2 / tips if tips > 0.0 else 0.0)
    return 1.0 / give


def locate(layer: Layer, plane: IntArray, uv: Array) -> tuple[IntArray, Array, IntArray]:
    """Cell around each point and shape functions there; points without snow are left out.

    Returns
    -------
    point : (k,) int
    share : (k, 4) float
    cell : (k,) int
    """
    points, cells = [], []
    for number in np.unique(plane):
        on, here = np.flatnonzero(plane == number), np.flatnonzero(layer.plane == number)
        if not len(here):
            continue
        low, high = layer.low[here], layer.low[here] + layer.size[here]
        columns, rows = np.unique(low[:, 0]), np.unique(low[:, 1])
        key = np.searchsorted(columns, low[:, 0]) * (len(rows) + 1) + np.searchsorted(rows, low[:, 1])
        order = np.argsort(key)
        tiny = 1e-9
        column = np.searchsorted(columns, uv[on, 0] + tiny, side="right") - 1
        row = np.searchsorted(rows, uv[on, 1] + tiny, side="right") - 1
        best = np.full(len(on), -1)
        # A point on the rim of the snow may lie in the cell before or below.
        for dc, dr in ((0, 0), (0, -1), (-1, 0), (-1, -1)):
            wanted = (column + dc) * (len(rows) + 1) + row + dr
            at = np.searchsorted(key[order], wanted).clip(0, len(order) - 1)
            cell = order[at]
            slack = 1e-6
            inside = (
                (key[cell] == wanted)
                & np.all(uv[on] >= low[cell] - slack, axis=1)
                & np.all(uv[on] <= high[cell] + slack, axis=1)
            )
            best = np.where((best < 0) & inside, cell, best)
        points.append(on[best >= 0])
        cells.append(here[best[best >= 0]])
    if not points:
        none = np.zeros(0, dtype=np.int64)
        return none, np.zeros((0, 4)), none
    point, found = np.concatenate(points), np.concatenate(cells)
    at = np.clip((uv[point] - layer.low[found]) / layer.size[found], 0.0, 1.0)
    return point, corner_shares(at), found


def _contacts(
    layer: Layer, plane: IntArray, uv: Array, way: Array, stiffness: Array, more: dict[str, Any]
) -> tuple[Contacts, IntArray]:
    point, share, cell = locate(layer, plane, uv)
    rest = {name: values[point] for name, values in more.items()}
    found = Contacts(
        corner=layer.corner[cell], share=share, way=way[point], stiffness=stiffness[point], **rest
    )
    return found, point


def row_contacts(
    layer: Layer, snow: Snow, layout: Layout, stations: Stations, height: float
) -> tuple[Contacts, IntArray]:
    """The layer against the rails, a point at the middle of each station; and whose station each is.

    Parameters
    ----------
    layer, snow
    layout : Layout
    stations : Stations
    height : float
        Of the face that the rail turns to the snow. [m]
    """
    along, up = row_axes(layout).swapaxes(0, 1)
    middle = stations.span.mean(axis=1)
    uv = layout.row_start[stations.row] + middle[:, None] * along[stations.row]
    way = -up[stations.row]
    k = len(middle)
    stiffness = np.diff(stations.span, axis=1)[:, 0] * _front(
        layer, snow, layout.row_plane[stations.row], uv, height
    )
    more = {
        "cap": np.full(k, np.inf),
        "dof": stations.dof,
        "lever": np.full(k, -1.0),  # the unknown is a motion up the slope
        "kind": np.full(k, ROW),
        "item": stations.row,
    }
    return _contacts(layer, layout.row_plane[stations.row], uv, way, stiffness, more)


def _front(layer: Layer, snow: Snow, plane: IntArray, uv: Array, height: float) -> Array:
    """Stiffness per length of the snow in front of a stop at each point. [N/m^2]."""
    point, _, cell = locate(layer, plane, uv)
    front = np.ones(len(uv))
    front[point] = snow.young[cell] * np.minimum(height / layer.depth[cell], 1.0)
    return front


def stop_contacts(
    layer: Layer, snow: Snow, stops: Stops, first: int, height: float, step: float
) -> tuple[Contacts, IntArray]:
    """The layer against single stops; `first` is the unknown of the first stop; and whose point each is."""
    many = np.maximum(np.ceil(2.0 * stops.width / step), 2).astype(np.int64)
    item = np.repeat(np.arange(stops.count), many)
    number = within(many)
    across = ((number + 0.5) / many[item] - 0.5) * stops.width[item]
    uv = stops.uv[item] + across[:, None] * np.array([1.0, 0.0])
    plane = stops.plane[item]
    stiffness = stops.width[item] / many[item] * _front(layer, snow, plane, uv, height)
    k = len(item)
    more = {
        "cap": np.full(k, np.inf),
        "dof": first + item,
        "lever": np.ones(k),
        "kind": np.full(k, STOP),
        "item": item,
    }
    return _contacts(layer, plane, uv, np.tile([0.0, -1.0], (k, 1)), stiffness, more)


def fixed_contacts(layer: Layer, snow: Snow, roof: RoofSurface, step: float) -> Contacts:
    """Valleys, and boxes that the user counts on up to their strength."""
    uv, way, size, plane, cap, kind, item = ([] for _ in range(7))
    present = set(layer.plane.tolist())
    for edge in range(roof.edges.count):
        if roof.edges.kind[edge] is not EdgeKind.VALLEY:
            continue
        for p in roof.edges.plane[edge]:
            if int(p) not in present:
                continue
            ends = roof.planes.to_plane(int(p), np.stack([roof.edges.start[edge], roof.edges.end[edge]]))
            points, width, line = _along(ends, step)
            out = np.array([line[1], -line[0]])
            inside = np.array(roof.planes.outline[int(p)].representative_point().coords[0])
            out = -out if (inside - ends[0]) @ out > 0.0 else out
            uv.append(points - 1e-3 * step * out)
            way.append(np.tile(out, (len(points), 1)))
            size.append(width)
            plane.append(np.full(len(points), p))
            cap.append(np.full(len(points), np.inf))
            kind.append(np.full(len(points), VALLEY))
            item.append(np.full(len(points), edge))
    faces = upper_faces(roof)
    for face in np.flatnonzero((faces.strength > 0.0) & (faces.obstacle >= 0)):
        if int(faces.plane[face]) not in present:
            continue
        points, width, line = _along(faces.ends[face], step)
        uv.append(points)
        way.append(np.tile([line[1], -line[0]], (len(points), 1)))
        size.append(width)
        plane.append(np.full(len(points), faces.plane[face]))
        cap.append(np.full(len(points), faces.strength[face] / len(points)))
        kind.append(np.full(len(points), BOX))
        item.append(np.full(len(points), faces.obstacle[face]))
    if not uv:
        return no_contacts()
    points, planes = np.concatenate(uv), np.concatenate(plane).astype(np.int64)
    front = RIGID * np.concatenate(size) * _front(layer, snow, planes, points, np.inf)
    k = len(points)
    more = {
        "cap": np.concatenate(cap),
        "dof": np.full(k, -1),
        "lever": np.zeros(k),
        "kind": np.concatenate(kind),
        "item": np.concatenate(item),
    }
    return _contacts(layer, planes, points, np.concatenate(way), front, more)[0]


def _along(ends: Array, step: float) -> tuple[Array, Array, Array]:
    """Middles of pieces of a line, their lengths, and its direction."""
    way = ends[1] - ends[0]
    length = float(np.linalg.norm(way))
    count = max(int(np.ceil(length / step)), 1)
    t = (np.arange(count) + 0.5) / count
    return ends[0] + t[:, None] * way, np.full(count, length / count), way / length


def no_contacts() -> Contacts:
    """Nothing to lean on."""
    none = np.zeros(0, dtype=np.int64)
    return Contacts(
        corner=np.zeros((0, 4), dtype=np.int64), share=np.zeros((0, 4)), way=np.zeros((0, 2)),
        stiffness=np.zeros(0), cap=np.zeros(0), dof=none, lever=np.zeros(0), kind=none, item=none,
    )  # fmt: skip


def join(parts: Sequence[Contacts]) -> Contacts:
    """All contacts of several kinds."""
    names = Contacts.__dataclass_fields__
    return Contacts(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})
