"""Where sliding snow goes: a graph from cell to cell, into valleys, onto rows, over edges.

Nodes are the cells of the sliding mesh and the pieces of the valleys, two streams to a valley, one for
each side, and one along the sloping foot of a wall. Every node passes all it has to the nodes below it, to
a row, or over an edge; shares add up to one, so nothing is lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.sliding.across import Across, End, ways_across
from roofmodel.sliding.cells import Cells
from roofmodel.sliding.contacts import Contacts, contacts_of, overlaps, side_of, take
from roofmodel.sliding.levels import flow_levels, open_loops
from roofmodel.sliding.strip_marks import closed_by
from roofmodel.sliding.walls import held_by_walls, turned_by_walls
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST = 0.5  # part of an edge that the upper bounds of one plane cover where it is a pitch break [-]
NARROW = 0.02  # narrower strips take no stream of a valley where a wider one lies beside them [m]
SAME = 1e-7  # places on a valley closer than this part of its length are one [-]
NEAR = 5e-3  # two corners closer than this are one [m]
LEVEL_VALLEY = 1e-3  # valleys flatter than this hold what reaches them [-]


class Exit(IntEnum):
    """How snow leaves the sliding mesh other than onto a row."""

    EDGE = 0  # over a free edge
    GUTTER = 1  # held in a level valley by the balance of both sides
    WALL = 2  # held by a wall that stands at the foot of the slope


KINDS = {End.EDGE: Exit.EDGE, End.WALL: Exit.WALL, End.PIT: Exit.GUTTER}


@dataclass(frozen=True)
class FlowGraph:
    """Routes of sliding snow.

    Attributes
    ----------
    cells : Cells
    node_count : int
        Cells first, then valley pieces.
    valley_edge : (m,) int
        Roof edge of each valley piece.
    valley_plane : (m,) int
        Plane whose stream the piece carries.
    valley_way : (m, 3) float
        Unit vector down the valley.
    valley_middle : (m, 3) float
        Middle of each valley piece. [m]
    valley_drop : (m,) float
        Height of each piece's top above its foot. [m]
    source, target : (k,) int
        Links between nodes.
    share : (k,) float
        Part of the source's flow that takes the link. [-]
    crossing : (k,) bool
        Whether the link leaves the plane (into a valley, over a pitch break).
    catch_node, catch_row : (c,) int
        Nodes whose flow a row catches.
    catch_span : (c, 2) float
        Where along the row; a valley stream arrives over its spread at the row's end. [m]
    catch_end : (c,) int
        End of the row that a valley stream comes to, 0 for its start or 1 for its end; else -1.
    catch_gap : (c,) float
        Part of a valley stream that arrives beyond the row's end, which is short of the valley; else 0. [-]
    exit_node, exit_edge : (x,) int
    exit_kind : (x,) int
        A member of `Exit`.
    exit_share : (x,) float
    exit_lip : (x, 2, 3) float
        Stretch of edge that snow leaves over that came straight across flat roof; NaN for that below its cell
        or at the foot of its valley. [m]
    exit_way : (x, 2) float
        And its direction on plan, unit vectors; NaN as above.
    exit_slope : (x,) float
        And the fall of the roof that it leaves, negative where that rises; NaN as above. [rad]
    across : Across
        Ways straight across flat parts; their links and exits are among those above.
    level : (node_count,) int
        Every link goes to a higher level; nodes of one level are independent.
    """

    cells: Cells
    node_count: int
    valley_edge: IntArray
    valley_plane: IntArray
    valley_way: Array
    valley_middle: Array
    valley_drop: Array
    source: IntArray
    target: IntArray
    share: Array
    crossing: NDArray[np.bool_]
    catch_node: IntArray
    catch_row: IntArray
    catch_span: Array
    catch_end: IntArray
    catch_gap: Array
    exit_node: IntArray
    exit_edge: IntArray
    exit_kind: IntArray
    exit_share: Array
    exit_lip: Array
    exit_way: Array
    exit_slope: Array
    across: Across
    level: IntArray


# Rows that close a stream: (edge, plane) -> [(fraction from the valley's top, row, which end, how far off)].
_Stops = dict[tuple[int, int], list[tuple[float, int, int, float]]]


@dataclass(frozen=True)
class _Valleys:
    """Valley pieces, sorted by edge, side, and from top to bottom."""

    edge: IntArray
    plane: IntArray
    t: Array  # (m, 2) upper and lower end as fractions from the valley's top
    way: Array


def exit_ends(roof: RoofSurface, graph: FlowGraph, exits: NDArray[np.bool_]) -> Array:
    """Line (n, 2, 3) that exits of cells, some of (x,), send their snow over. [m].

    The lower end of the cell, or where it comes straight across flat roof.
    """
    cells, cell = graph.cells, graph.exit_node[exits]
    corners = cells.corners[cell, :2].reshape(-1, 2)
    world = roof.planes.to_world(np.repeat(cells.plane[cell], 2), corners).reshape(-1, 2, 3)
    return np.where(np.isnan(graph.exit_lip[exits]), world, graph.exit_lip[exits])


def build_flow(
    roof: RoofSurface, layout: Layout, cells: Cells, valley_spread: float, *, ahead: bool = False
) -> FlowGraph:
    """Route every cell.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    cells : Cells
    valley_spread : float
        A row whose end comes this close to a valley closes it, and takes the stream over this length.
        [m]
    ahead : bool
        Whether snow goes straight on, in part, over planes that slope aside a little too much to be flat: the
        other reading of these.

    Returns
    -------
    FlowGraph
    """
    lower = contacts_of(roof, cells, cells.lower_edge, cells.corners[:, :2])
    upper = contacts_of(roof, cells, cells.upper_edge, cells.corners[:, [3, 2]])
    passing = _match(roof, cells, lower, upper)
    passes = np.isin(lower.cell, passing[0])
    interior = roof.edges.plane[lower.edge, 1] >= 0
    # A wall with a sloping foot turns the stream along it: a valley of one side. Notches: see below.
    turned = turned_by_walls(roof)[lower.edge] & (cells.beyond[lower.cell] < 0)
    across = ways_across(roof, layout, cells, lower.cell[interior], passing[:2], ahead=ahead)
    rest = np.ones(cells.count)  # of what leaves each cell, goes the usual way
    np.subtract.at(rest, across.cell, across.share)
    into_valley = (interior & ~passes) | turned
    stopped = _valley_rows(roof, layout, np.unique(lower.edge[into_valley]), valley_spread)
    valleys = _valley_pieces(roof, cells, take(lower, into_valley), stopped)
    feeding = _feed_valleys(roof, cells, take(lower, into_valley), valleys)
    chain = _chain_valleys(roof, layout, cells, valleys, stopped, valley_spread)
    over = ~into_valley & ~passes
    # A hole or notch holds nothing back: what reaches it goes on below it, the safe reading.
    jump = over & (cells.beyond[lower.cell] >= 0)
    over &= ~jump
    next_down = cells.below.copy()
    next_down[lower.cell[jump]] = cells.beyond[lower.cell[jump]]
    inner = np.flatnonzero(next_down >= 0)
    caught = np.flatnonzero(cells.lower_row >= 0)
    n = cells.count
    straight = _straight_links(roof, layout, cells, across, upper)
    source = np.concatenate([inner, passing[0], feeding[0], chain.source, straight[0]])
    target = np.concatenate([next_down[inner], passing[1], feeding[1] + n, chain.target, straight[1]])
    usual = (passing[2] * rest[passing[0]], feeding[2] * rest[feeding[0]])
    share = np.concatenate([np.ones(len(inner)), *usual, np.ones(len(chain.source)), straight[2]])
    crossing = np.arange(len(source)) >= len(inner)
    used = share > 0.0
    source, target, crossing, share = source[used], target[used], crossing[used], share[used]
    source, target, share, crossing = open_loops(n + len(valleys.edge), source, target, share, crossing)
    level, source, target, share, crossing, cut = flow_levels(
        n + len(valleys.edge), source, target, share, crossing
    )
    cut_edge = np.where(cut[0] < n, cells.lower_edge[np.minimum(cut[0], n - 1)], -1)
    ends = across.end >= End.EDGE
    plain = int(over.sum()) + len(chain.exit_node) + len(cut[0])
    return FlowGraph(
        cells=cells,
        node_count=n + len(valleys.edge),
        valley_edge=valleys.edge,
        valley_plane=valleys.plane,
        valley_way=valleys.way,
        valley_middle=_piece_middles(roof, valleys),
        valley_drop=np.abs((roof.edges.end - roof.edges.start)[valleys.edge, 2]) * np.ptp(valleys.t, axis=1),
        source=source,
        target=target,
        share=share,
        crossing=crossing,
        catch_node=np.concatenate([caught, chain.catch_node]),
        catch_row=np.concatenate([cells.lower_row[caught], chain.catch_row]),
        catch_span=np.concatenate([_row_span(layout, cells, caught), chain.catch_span]),
        catch_end=np.concatenate([np.full(len(caught), -1), chain.catch_end]),
        catch_gap=np.concatenate([np.zeros(len(caught)), chain.catch_gap]),
        exit_node=np.concatenate([lower.cell[over], chain.exit_node, cut[0], across.cell[ends]]),
        exit_edge=np.concatenate([lower.edge[over], chain.exit_edge, cut_edge, across.edge[ends]]),
        exit_kind=np.concatenate(
            [
                np.where(held_by_walls(roof)[lower.edge[over]], Exit.WALL, Exit.EDGE),
                chain.exit_kind,
                np.full(len(cut[0]), Exit.EDGE),
                np.array([KINDS[End(end)] for end in across.end[ends]], dtype=np.int64),
            ]
        ),
        exit_share=np.concatenate([np.ones(over.sum() + len(chain.exit_node)), cut[1], across.share[ends]]),
        exit_lip=np.concatenate([np.full((plain, 2, 3), np.nan), across.lip[ends]]),
        exit_way=np.concatenate([np.full((plain, 2), np.nan), across.way[ends]]),
        exit_slope=np.concatenate([np.full(plain, np.nan), across.slope[ends]]),
        across=across,
        level=level,
    )


def _match(
    roof: RoofSurface, cells: Cells, lower: Contacts, upper: Contacts
) -> tuple[IntArray, IntArray, Array]:
    """Flow over pitch breaks: from cells whose lower bound it is to cells whose upper bound it is.

    An edge is a pitch break over its whole length or not at all: it is one where upper bounds of the plane
    on its other side make up most of it.
    """
    here = 2 * upper.edge + side_of(roof, cells, upper)
    there = 2 * lower.edge + 1 - side_of(roof, cells, lower)
    covered = np.bincount(here, upper.t[:, 1] - upper.t[:, 0], 2 * len(roof.edges.name))
    passing, receiving = covered[there] > MOST, covered[here] > MOST
    across = Contacts(lower.cell[passing], there[passing], lower.t[passing])
    i, j, share = overlaps(across, here[receiving], upper.t[receiving])
    return across.cell[i], upper.cell[receiving][j], share


def _straight_links(
    roof: RoofSurface, layout: Layout, cells: Cells, across: Across, upper: Contacts
) -> tuple[IntArray, IntArray, Array]:
    """Links of ways across flat parts, to the cells below the edge, or above the row, that they come to."""
    on = np.flatnonzero(across.target >= 0)
    cell, number, target = across.cell[on], across.edge[on], across.target[on]
    by_row = across.end[on] == End.ROW
    edge, row = np.where(by_row, 0, number), np.where(by_row, number, 0)
    start, stop = roof.edges.start[edge], roof.edges.end[edge]
    if by_row.any():
        plane = layout.row_plane[row]
        ends = [roof.planes.to_world(plane, uv[row]) for uv in (layout.row_start, layout.row_end)]
        start = np.where(by_row[:, None], ends[0], start)
        stop = np.where(by_row[:, None], ends[1], stop)
    way = stop - start
    t = np.einsum("nij,nj->ni", across.lip[on] - start[:, None], way) / np.sum(way * way, axis=1)[:, None]
    rows = 2 * len(roof.edges.kind)  # rows are numbered after both sides of the edges
    side = cells.plane[target] == roof.edges.plane[edge, 1]
    key = np.where(by_row, rows + row, 2 * edge + side)
    contacts = Contacts(np.arange(len(on)), key, np.clip(np.sort(t, axis=1), 0.0, 1.0))
    caught = np.flatnonzero(cells.lower_row >= 0)
    along = _row_span(layout, cells, caught) / layout.row_length[cells.lower_row[caught]][:, None]
    known = np.concatenate([2 * upper.edge + side_of(roof, cells, upper), rows + cells.lower_row[caught]])
    i, j, share = overlaps(contacts, known, np.concatenate([upper.t, np.sort(along, axis=1)]))
    alone = np.setdiff1d(np.arange(len(on)), i)
    which = np.concatenate([i, alone])
    part = np.concatenate([share, np.ones(len(alone))]) * across.share[on][which]
    return cell[which], np.concatenate([np.concatenate([upper.cell, caught])[j], target[alone]]), part


def _valley_pieces(roof: RoofSurface, cells: Cells, lower: Contacts, stops: _Stops) -> _Valleys:
    """Divide each valley at strip bounds and rows, one stream a side, both reaching its foot."""
    falling = roof.edges.start[:, 2] >= roof.edges.end[:, 2]
    t = np.where(falling[lower.edge, None], lower.t, 1.0 - lower.t[:, ::-1])
    edges = np.unique(lower.edge)
    plane = roof.edges.plane[edges].ravel()
    both, plane = np.repeat(edges, 2)[plane >= 0], plane[plane >= 0]
    rows = np.array([(e, p, t) for (e, p), stop in stops.items() for t, *_ in stop]).reshape(-1, 3)
    key = np.concatenate([lower.edge, lower.edge, both, both, rows[:, 0].astype(int)])
    side = np.concatenate(
        [cells.plane[lower.cell], cells.plane[lower.cell], plane, plane, rows[:, 1].astype(int)]
    )
    where = np.concatenate([t[:, 0], t[:, 1], np.zeros(len(both)), np.ones(len(both)), rows[:, 2]])
    order = np.lexsort((where, side, key))
    key, side, where = key[order], side[order], where[order]
    same = (key[1:] == key[:-1]) & (side[1:] == side[:-1]) & (where[1:] - where[:-1] > SAME)
    first = np.flatnonzero(same)
    edge = key[first]
    way = (roof.edges.end - roof.edges.start)[edge] * np.where(falling[edge], 1.0, -1.0)[:, None]
    return _Valleys(
        edge=edge,
        plane=side[first],
        t=np.stack([where[first], where[first + 1]], axis=1),
        way=way / np.linalg.norm(way, axis=1, keepdims=True),
    )


def _piece_middles(roof: RoofSurface, valleys: _Valleys) -> Array:
    start, end = roof.edges.start[valleys.edge], roof.edges.end[valleys.edge]
    top = np.where((start[:, 2] >= end[:, 2])[:, None], start, end)
    length = np.linalg.norm(end - start, axis=1)
    return np.asarray(top + (valleys.t.mean(axis=1) * length)[:, None] * valleys.way)


def _feed_valleys(
    roof: RoofSurface, cells: Cells, lower: Contacts, valleys: _Valleys
) -> tuple[IntArray, IntArray, Array]:
    """Links from cells to valley pieces of their own side."""
    falling = roof.edges.start[:, 2] >= roof.edges.end[:, 2]
    t = np.where(falling[lower.edge, None], lower.t, 1.0 - lower.t[:, ::-1])
    second_piece = valleys.plane == roof.edges.plane[valleys.edge, 1]
    contacts = Contacts(lower.cell, 2 * lower.edge + side_of(roof, cells, lower), t)
    i, j, share = overlaps(contacts, 2 * valleys.edge + second_piece, valleys.t)
    return lower.cell[i], j, share


def _valley_rows(roof: RoofSurface, layout: Layout, edges: IntArray, spread: float) -> _Stops:
    """Rows that close the streams of these valleys."""
    stops: _Stops = {}
    for row, plane in enumerate(layout.row_plane.tolist()):
        own = edges[np.any(roof.edges.plane[edges] == plane, axis=1)]
        tips = np.stack([layout.row_start[row], layout.row_end[row]])
        for which, point in enumerate(roof.planes.to_world(plane, tips)):
            for edge, t, off in zip(*closed_by(roof, own, point, spread), strict=True):
                stops.setdefault((int(edge), plane), []).append((float(t), row, which, float(off)))
    for edge in edges:
        planes = [int(p) for p in roof.edges.plane[edge] if p >= 0]
        have = [p for p in planes if (int(edge), p) in stops]
        if len(have) == 1:  # one row alone holds both streams: the safe reading
            for plane in planes:
                stops[(int(edge), plane)] = stops[(int(edge), have[0])]
    return stops


@dataclass(frozen=True)
class _Chain:
    source: IntArray
    target: IntArray
    catch_node: IntArray
    catch_row: IntArray
    catch_span: Array
    catch_end: IntArray
    catch_gap: Array
    exit_node: IntArray
    exit_edge: IntArray
    exit_kind: IntArray


def _chain_valleys(
    roof: RoofSurface,
    layout: Layout,
    cells: Cells,
    valleys: _Valleys,
    stops: _Stops,
    spread: float,
) -> _Chain:
    """Link each valley piece to the next, to a row, to what lies below its foot, or over the edge."""
    n = cells.count
    count = len(valleys.edge)
    target = np.full(count, -1)
    if count:
        follows = (valleys.edge[1:] == valleys.edge[:-1]) & (valleys.plane[1:] == valleys.plane[:-1])
        target[:-1][follows] = np.flatnonzero(follows) + 1
    caught = np.full(count, -1)
    caught_end, caught_off = np.zeros(count, dtype=np.int64), np.zeros(count)
    for (edge, plane), stop in stops.items():
        pieces = np.flatnonzero((valleys.edge == edge) & (valleys.plane == plane))
        for t, row, which, off in stop:
            inside = np.flatnonzero(valleys.t[pieces, 1] >= t - 2.0 * SAME)
            piece = pieces[inside[0]] if len(inside) else pieces[-1]
            caught[piece], caught_end[piece], caught_off[piece] = row, which, off
    level = np.abs(valleys.way[:, 2]) < LEVEL_VALLEY
    open_end = (target < 0) & (caught < 0) & ~level
    next_node = np.full(count, -1)
    next_node[open_end] = _below_foot(roof, cells, valleys, np.flatnonzero(open_end))
    target = np.where(target >= 0, target + n, next_node)
    target[(caught >= 0) | level] = -1
    linked = np.flatnonzero(target >= 0)
    stopped = np.flatnonzero(caught >= 0)
    leaving = np.flatnonzero((target < 0) & (caught < 0))
    length = layout.row_length[caught[stopped]]
    gap = caught_off[stopped]
    low = np.where(caught_end[stopped] == 0, 0.0, np.maximum(length - spread + gap, 0.0))
    return _Chain(
        source=linked + n,
        target=target[linked],
        catch_node=stopped + n,
        catch_row=caught[stopped],
        catch_span=np.stack([low, np.minimum(low + spread - gap, length)], axis=1),
        catch_end=caught_end[stopped],
        catch_gap=gap / spread,
        exit_node=leaving + n,
        exit_edge=valleys.edge[leaving],
        exit_kind=np.where(level[leaving], Exit.GUTTER, Exit.EDGE),
    )


def _below_foot(roof: RoofSurface, cells: Cells, valleys: _Valleys, pieces: IntArray) -> IntArray:
    """Node that takes over at the foot of a valley: another valley's top, or a cell; -1 for the open."""
    result = np.full(len(pieces), -1)
    ends = np.stack([roof.edges.start, roof.edges.end], axis=1)
    high = np.argmax(ends[..., 2], axis=1)
    tops = ends[np.arange(len(ends)), high]
    feet = ends[np.arange(len(ends)), 1 - high]
    for k, piece in enumerate(pieces):
        foot = feet[valleys.edge[piece]]
        near = np.flatnonzero(np.linalg.norm(tops[valleys.edge] - foot, axis=1) < NEAR)
        near = near[(valleys.t[near, 0] < 1e-9) & (valleys.edge[near] != valleys.edge[piece])]
        if len(near):
            own = near[valleys.plane[near] == valleys.plane[piece]]
            result[k] = (own[0] if len(own) else near[0]) + cells.count
            continue
        planes = np.flatnonzero(np.abs(np.sum((foot - roof.planes.origin) * roof.planes.normal, 1)) < NEAR)
        probe = np.array([roof.planes.to_plane(p, foot) - [0.0, 0.02] for p in planes.tolist()]).reshape(
            -1, 2
        )
        inside = [
            p
            for p, uv in zip(planes.tolist(), probe, strict=True)
            # A valley may end at the cheek of a dormer, on the bound of the plane that takes over.
            if roof.planes.outline[p].distance(shapely.Point(uv)) < NEAR
        ]
        if inside:
            plane = max(inside, key=lambda p: float(roof.planes.slope[p]))
            uv = roof.planes.to_plane(plane, foot) - [0.0, 0.02]
            result[k] = _nearest_cell(cells, plane, uv, valleys.edge[piece])
    return result


def _nearest_cell(cells: Cells, plane: int, uv: Array, valley: int) -> int:
    """Cell of a plane that takes a valley's stream at a point.

    Corners of real roofs leave strips of less than a millimeter beside a dormer's wall, which end there or
    run on to a row; a stream is wider than they and goes on beside them.
    """
    own = np.flatnonzero(cells.plane == plane)
    off = cells.corners[own] - uv
    least = np.linalg.norm(np.maximum(np.maximum(off.min(axis=1), -off.max(axis=1)), 0.0), axis=1)  # of boxes
    own = own[least <= np.linalg.norm(off, axis=2).min() + NARROW]
    away = shapely.distance(shapely.polygons(cells.corners[own]), shapely.Point(uv))
    first = int(np.argmin(away))
    width = np.ptp(cells.corners[own, :2, 0], axis=1)
    if width[first] >= NARROW:
        return int(own[first])
    good = (width >= NARROW) & (cells.lower_edge[own] != valley) & (away <= NARROW)
    return int(own[np.argmin(np.where(good, away, np.inf)) if good.any() else first])


def _row_span(layout: Layout, cells: Cells, caught: IntArray) -> Array:
    """Stretch of the row, from its start, under each caught cell. [m]."""
    row = cells.lower_row[caught]
    delta = cells.corners[caught, :2] - layout.row_start[row][:, None]
    found = np.clip(np.linalg.norm(delta, axis=2), 0.0, layout.row_length[row][:, None])
    return np.sort(found, axis=1)  # of a sliver at the row's start, rounding alone says which end is first
