"""Snow that a slope pushes straight across nearly flat roof, and over what rises a little behind it.

A flat part brings no thrust and turns none: what comes down onto it goes on the way it came, whatever small
fall it has, to the next slope, a wall, or over an edge. A part that falls back holds no more than the push of
its own snow: with even snow on all, p h cos(theta) for each meter, h its rise, against the sum of
p H cos(alpha) of the slopes above with their heights H (judgment: even snow, rows above not counted, which is
safe). What falls back at more than `FREE` and rises high holds more: all of it from `STEEP` and a rise of
`RISE` on, and less in proportion to both (judgment). A valley that falls keeps more snow in its stream the
steeper its far side is, from `FREE` to `STEEP`, and the valley itself, up to `DRAIN`; and all of it, falling
so, where the far side slopes aside rather than back (judgment). Boxes and arrays in the way are pushed and
relieve nothing there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.shape.planes import height_at
from roofmodel.sliding.cells import Cells
from roofmodel.sliding.walls import HOLDS
from roofmodel.sliding.way_geometry import (
    STEP_OUT,
    Piece,
    Site,
    boxes_between,
    cell_at,
    cut_ends,
    edge_at,
    fall_of,
    far_end,
    other_side,
    row_between,
    stretch,
)
from roofmodel.surface import RISE, SHALLOW, STEEP, STEEPER, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STRAIGHT = np.cos(np.radians(1.0))  # planes that fall this nearly alike hand on strip by strip
FREE = SHALLOW  # from here to `STEEP` what rises holds more and more (judgment) [rad]
DRAIN = SHALLOW  # a valley that falls so turns all that its far side can turn (judgment) [rad]
AGAINST = -0.1  # cosine: a slope beyond that rises more squarely against the stream holds it (judgment)
SQUARE = 0.5  # cosine beyond that from which on a far side counts as square to the stream (judgment)
LEVEL = 1e-3  # sine: valleys that fall less carry nothing away
PLANES = 50  # that a stream crosses at most


class End(IntEnum):
    """What a way across ends at."""

    PLANE = 0  # goes on down the plane on the far side of the edge
    ROW = 1  # a row in the way takes it: on to the cells above the row
    EDGE = 2  # over a free edge
    WALL = 3  # held by a wall
    PIT = 4  # held by a slope that rises against it


@dataclass(frozen=True)
class Across:
    """Ways straight across flat parts, k of them, one or more for each cell that sends snow there.

    Attributes
    ----------
    cell : (k,) int
    share : (k,) float
        Part of what leaves the cell that goes this way. [-]
    end : (k,) int
        A member of `End`.
    edge : (k,) int
        Edge that it ends at; the row for `End.ROW`.
    target : (k,) int
        Cell that it goes on to, nearest to the middle; -1 where it does not.
    lip : (k, 2, 3) float
        Stretch of that edge or row that it comes to. [m]
    way : (k, 2) float
        Unit direction on plan.
    slope : (k,) float
        Fall of the last plane on that way, negative where it rises. [rad]
    pushes : Pushes
    """

    cell: IntArray
    share: Array
    end: IntArray
    edge: IntArray
    target: IntArray
    lip: Array
    way: Array
    slope: Array
    pushes: Pushes


@dataclass(frozen=True)
class Pushes:
    """What ways across push against boxes and arrays, b of them.

    Attributes
    ----------
    cell : (b,) int
        Where the snow comes from.
    share : (b,) float
        Part of what leaves the cell that comes there. [-]
    face : (b,) int
        Of `roofmodel.upper_faces.Faces`.
    """

    cell: IntArray
    share: Array
    face: IntArray


def ways_across(
    roof: RoofSurface,
    layout: Layout,
    cells: Cells,
    cell: IntArray,
    handed: tuple[IntArray, IntArray],
    *,
    ahead: bool = False,
) -> Across:
    """Follow what leaves cells straight on over the nearly flat planes below them, and over what falls back.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
        A row that stands in the way takes what comes, from whichever side.
    cells : Cells
    cell : (n,) int
        Cells above other planes.
    handed : (m,) int, (m,) int
        Cells that hand snow to cells of other planes over pitch breaks.
    ahead : bool
        Whether planes between `SHALLOW` and `STEEP` that slope aside let snow go straight on too, in part.

    Returns
    -------
    Across
        Only of cells of which a part goes this way.
    """
    fall = fall_of(roof)
    flat, back = _may_cross(roof, cells, cell, fall, STEEP if ahead else SHALLOW)
    cell, back = cell[flat | back], back[flat | back]
    if not len(cell):
        return _across([], [])
    onto = np.unique(np.stack([cells.plane[handed[0]], cells.plane[handed[1]]], axis=1), axis=0)
    site, top = Site.of(roof, layout, cells, fall), _tops(roof)
    pieces = {c: cut_ends(site, c) for c in cell.tolist()}
    plane = cells.plane[cell]
    slope = roof.planes.slope[other_side(roof, cells.lower_edge[cell], plane)]
    while True:  # what a way brings to a plane pushes on from there
        steepest, push = _behind(roof, onto, top)
        first = cell[back | (steepest[plane] > slope + STEEPER)]
        pushed: list[tuple[int, float, int]] = []
        found = [part for c in first.tolist() for one in pieces[c] for part in _way(site, one, push, pushed)]
        links = [
            (cells.plane[part.cell], cells.plane[part.target]) for part in found if part.end == End.PLANE
        ]
        more = np.unique(np.concatenate([onto, np.array(links, dtype=np.int64).reshape(-1, 2)]), axis=0)
        if len(more) == len(onto):
            break
        onto = more
    return _across(found, pushed)


class _Part(NamedTuple):
    """One way, as in `Across`."""

    cell: int
    share: float
    end: int
    edge: int
    target: int
    lip: Array
    way: Array
    slope: float


def _across(found: list[_Part], pushed: list[tuple[int, float, int]]) -> Across:
    """The ways found, as arrays."""
    by = list(zip(*pushed, strict=True)) if pushed else [()] * 3
    return Across(
        cell=np.array([one.cell for one in found], dtype=np.int64),
        share=np.array([one.share for one in found], dtype=np.float64),
        end=np.array([one.end for one in found], dtype=np.int64),
        edge=np.array([one.edge for one in found], dtype=np.int64),
        target=np.array([one.target for one in found], dtype=np.int64),
        lip=np.array([one.lip for one in found], dtype=np.float64).reshape(-1, 2, 3),
        way=np.array([one.way for one in found], dtype=np.float64).reshape(-1, 2),
        slope=np.array([one.slope for one in found], dtype=np.float64),
        pushes=Pushes(
            np.array(by[0], dtype=np.int64),
            np.array(by[1], dtype=np.float64),
            np.array(by[2], dtype=np.int64),
        ),
    )


def _may_cross(
    roof: RoofSurface, cells: Cells, cell: IntArray, fall: Array, flattest: float
) -> tuple[BoolArray, BoolArray]:
    """Whether snow that leaves cells (n,) may go straight on over the planes below them, for two reasons.

    They are flatter than `flattest` and do not fall alike, and it does if they are much flatter than what
    pushes. Or they fall back.
    """
    plane = cells.plane[cell]
    other = other_side(roof, cells.lower_edge[cell], plane)
    alike = np.sum(fall[plane] * fall[other], axis=1)
    flat = (roof.planes.slope[other] < flattest) & (alike < STRAIGHT)
    flat &= (roof.planes.slope[other] < SHALLOW) | (alike >= AGAINST)
    back = (alike < AGAINST) & (_turned(roof, other, cells.lower_edge[cell], alike) < 1.0)
    return (other >= 0) & flat, (other >= 0) & back


def turns_aside(roof: RoofSurface) -> bool:
    """Whether a plane between `SHALLOW` and `STEEP` borders on a much steeper one, whose snow it may turn."""
    pair = roof.edges.plane[(roof.edges.plane >= 0).all(axis=1)]
    slope = np.sort(roof.planes.slope[pair], axis=1)
    low, high = slope[:, 0], slope[:, 1]
    return bool(((low >= SHALLOW) & (low < STEEP) & (high > low + STEEPER)).any())


def _behind(roof: RoofSurface, onto: IntArray, top: Array) -> tuple[Array, Array]:
    """What pushes on each plane (p,): steepest slope [rad], and H cos(alpha) from its lowest level up. [m].

    `onto` (k, 2) are pairs of planes of which the first hands snow on to the second; `top` is from `_tops`.
    """
    planes = roof.planes
    steepest, above = planes.slope.copy(), np.zeros(planes.count)
    upper, lower = onto[:, 0], onto[:, 1]
    step = top[upper] - top[lower]
    step = np.where(step > 0.0, step * np.cos(planes.slope[upper]), step)
    for _ in range(planes.count):
        before = np.concatenate([steepest, above])
        np.maximum.at(steepest, lower, steepest[upper])
        np.maximum.at(above, lower, above[upper] + step)
        if (before == np.concatenate([steepest, above])).all():
            break
    return steepest, top * np.cos(planes.slope) + above


def _tops(roof: RoofSurface) -> Array:
    """Highest place of each plane, (p,). [m]."""
    rings = [np.asarray(outline.exterior.coords) for outline in roof.planes.outline]
    return np.array([roof.planes.to_world(p, ring)[:, 2].max() for p, ring in enumerate(rings)])


def _way(site: Site, piece: Piece, push: Array, pushed: list[tuple[int, float, int]]) -> list[_Part]:
    """One way from a piece of a cell's lower end, in a part that goes on and one that stays behind, if any.

    Of what nothing is said stays at the cell's own edge. Adds what is met to `pushed`.
    """
    roof, cells, planes, cell = site.roof, site.cells, site.roof.planes, piece.cell
    own = int(cells.plane[cell])
    way = site.fall[own]
    foot, at = float(piece.ends[:, 2].mean()), piece.ends[:, :2].mean(axis=0)
    low = foot
    height = max(float(push[own]) - foot * float(np.cos(planes.slope[own])), 1e-9)
    edge = int(cells.lower_edge[cell])
    plane = site.other(edge, own)
    back = held = 0.0  # push of what falls back, and its most so far
    kept, share = float(_turned(roof, plane, edge, site.fall[plane] @ way)), 1.0  # what valleys and rise keep
    if site.fall[plane] @ way >= AGAINST:  # what slopes aside turns a part, the more the steeper it is
        kept = float(np.clip((planes.slope[plane] - SHALLOW) / (STEEP - SHALLOW), 0.0, 1.0))
    stays: list[_Part] = []

    def kept_at(z: float, slope: float) -> float:
        steep, high = np.clip([(-slope - FREE) / (STEEP - FREE), (z - foot) / RISE], 0.0, 1.0).tolist()
        return max(kept, steep * high)

    for _ in range(PLANES):
        end, beyond = far_end(site.plan(plane), at, way)
        slope = float(np.arctan(np.tan(planes.slope[plane]) * (site.fall[plane] @ way)))
        row, stop = row_between(site, plane, at, end)
        for face, place in boxes_between(site, plane, at, stop):
            z = float(height_at(planes, plane, place[None])[0])
            comes = max(1.0 - max(held, back + (z - low) * float(np.cos(slope))) / height, 0.0)
            pushed.append((cell, piece.part * comes * (1.0 - kept_at(z, slope)), face))
        z = float(height_at(planes, plane, stop[None])[0])
        back, low = back + (z - low) * float(np.cos(slope)), z
        held, kept = max(held, back), kept_at(z, slope)
        left = max(1.0 - held / height, 0.0) * (1.0 - kept)
        if stays:
            stays[-1] = stays[-1]._replace(share=stays[-1].share + piece.part * (share - left))
        share = left
        if share <= 0.0:
            break
        edge = edge_at(site, plane, end, way)
        part = _Part(
            cell, piece.part * share, End.PLANE, edge, -1, _lip(site, edge, piece, end, plane), way, slope
        )
        if row >= 0:
            ends = site.rows[row]
            lip = stretch(ends[0], ends[1], piece.ends, way, np.append(stop, z))
            stays.append(part._replace(end=End.ROW, edge=row, target=site.cell_above(row, stop), lip=lip))
            break
        below = site.other(edge, plane)
        if below < 0 and beyond is not None:  # a hole or notch holds nothing back
            at = beyond
            continue
        if below < 0:
            stays.append(part._replace(end=End.WALL if site.walls[edge] >= HOLDS else End.EDGE))
            break
        plane, at = below, end + STEP_OUT * way
        if planes.slope[plane] >= SHALLOW:
            if site.fall[plane] @ way >= AGAINST:
                stays.append(part._replace(target=cell_at(site, plane, at)))
                break
            kept = max(kept, float(_turned(roof, plane, edge, site.fall[plane] @ way)))
            if _drain(roof, edge) == 0.0 and not stays:
                stays.append(part._replace(end=End.PIT, share=0.0))
    else:
        return []
    return [part for part in stays if part.share > 0.0]


def _lip(site: Site, edge: int, piece: Piece, end: Array, plane: int) -> Array:
    """Stretch (2, 3) of an edge that a way from a piece comes to. [m]."""
    edges, planes = site.roof.edges, site.roof.planes
    place = np.append(end, float(height_at(planes, plane, end[None])[0]))
    return stretch(edges.start[edge], edges.end[edge], piece.ends, piece.way, place)


def _drain(roof: RoofSurface, edge: IntArray | int) -> Array:
    """How much valleys carry away, from 0 for level ones to 1. [-]."""
    drop = np.abs(roof.edges.end[edge, 2] - roof.edges.start[edge, 2])
    sine = drop / np.maximum(roof.edges.length[edge], 1e-12)
    return np.where(sine < LEVEL, 0.0, np.minimum(sine / np.sin(DRAIN), 1.0))


def _turned(roof: RoofSurface, plane: IntArray | int, edge: IntArray | int, alike: Array) -> Array:
    """Part that valleys turn into their streams before far sides that are not nearly flat. [-].

    `alike` is the cosine between the ways down both sides.
    """
    slope = roof.planes.slope[plane]
    steep = np.minimum((slope - FREE) / (STEEP - FREE), 1.0)
    square = np.clip((AGAINST - alike) / SQUARE, 0.0, 1.0)
    return np.asarray(np.where(slope < SHALLOW, 0.0, _drain(roof, edge) * (1.0 - square * (1.0 - steep))))
