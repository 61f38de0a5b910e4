"""Rows on planes: where the rail runs, which seams carry a clamp, where it is spliced."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.hardware import Panel
from roofmodel.layout import Layout, SpliceKind
from roofmodel.project.row_edges import end_on_edge, ends_of_sheet
from roofmodel.project.schema import PlaneChoice, RowTable
from roofmodel.surface import FLAT_SLOPE, EdgeKind, RoofSurface
from roofmodel.units import SI, UnitSystem, shown

Array = NDArray[np.float64]

SHORTEST_RAIL = 0.02  # less is no rail [m]
EAVE_LEVEL = 0.01  # an eave this little out of level counts as level for a row upon it [m]
TOUCH = 1e-6  # lengths below this are zero [m]
MOST_CLAMPS = 20_000  # an analysis of so many takes seconds, of more it may not end
LEAST_PIECE = 0.05  # shorter pieces of rail between splices are a slip [m]


@dataclass(frozen=True)
class _Row:
    """One row on its plane: rail ends, clamps and splices along it."""

    plane: int
    start: Array
    end: Array
    full: tuple[bool, bool]
    clamp_s: Array
    seam: NDArray[np.int64]
    seam_angle: float
    splices: list[tuple[float, SpliceKind]]


def seam_grid(choices: Iterable[PlaneChoice], plane: str, spacing: float) -> tuple[float, float]:
    """Direction of a plane's seams and distance of the first one from its left edge, across the seams.

    Parameters
    ----------
    choices : iterable of PlaneChoice
        What the user chose for planes of their own.
    plane : str
        Name of the plane.
    spacing : float
        Of the seams. [m]

    Returns
    -------
    angle : float
        From the fall line, as in `Layout.seam_angle`. [rad]
    first : float
        Half the spacing by default. [m]
    """
    choice = next((one for one in choices if one.name == plane), None)
    first = None if choice is None else choice.first_seam
    return (0.0 if choice is None else choice.seam_angle), 0.5 * spacing if first is None else first


def place_rows(
    roof: RoofSurface,
    rows: Sequence[RowTable],
    choices: Sequence[PlaneChoice],
    panel: Panel,
    units: UnitSystem = SI,
) -> Layout:
    """Place rails, clamps and splices.

    Parameters
    ----------
    roof : RoofSurface
    rows : sequence of RowTable
        Rows as the project file gives them.
    choices : sequence of PlaneChoice
        Seam direction and first seam of planes that have their own.
    panel : Panel
        Seam spacing.
    units : UnitSystem
        For messages.

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        Unknown plane or eave, row off its plane, no seam under a row, rows that cross.
    """
    named: set[str] = set()
    for choice in choices:
        _plane_index(roof, choice.name, f'plane "{choice.name}".name')
        if choice.name in named:
            message = f'plane "{choice.name}".name: is there twice; give all choices of a plane in one table'
            raise InputError(message)
        named.add(choice.name)
    placed = [_place(roof, row, choices, panel, units) for row in rows]
    _check_apart(rows, placed, roof.planes.name)
    counts = [len(row.clamp_s) for row in placed]
    if sum(counts) > MOST_CLAMPS:
        message = (
            f"row: {sum(counts):,} clamps in all, more than {MOST_CLAMPS:,}; check the size of the roof and "
            f"panel.seam_spacing, {units.text(panel.seam_spacing, 'size')}"
        )
        raise InputError(message)
    row_of = np.repeat(np.arange(len(rows)), counts)
    along = [(row.end - row.start) / np.linalg.norm(row.end - row.start) for row in placed]
    return Layout(
        row_name=tuple(row.name for row in rows),
        row_plane=np.array([row.plane for row in placed]),
        row_start=np.array([row.start for row in placed]),
        row_end=np.array([row.end for row in placed]),
        row_full=np.array([row.full for row in placed]),
        clamp_name=tuple(
            f"{row.name}-{number:02d}"
            for row, n in zip(rows, counts, strict=True)
            for number in range(1, n + 1)
        ),
        clamp_row=row_of,
        clamp_s=np.concatenate([row.clamp_s for row in placed]),
        clamp_uv=np.concatenate(
            [row.start + row.clamp_s[:, None] * way for row, way in zip(placed, along, strict=True)]
        ),
        clamp_seam=np.concatenate([row.seam for row in placed]),
        seam_angle=np.array([row.seam_angle for row in placed]),
        splice_row=np.repeat(np.arange(len(rows)), [len(row.splices) for row in placed]),
        splice_s=np.array([s for row in placed for s, _ in row.splices]),
        splice_kind=tuple(kind for row in placed for _, kind in row.splices),
    )


def _plane_index(roof: RoofSurface, name: str, field: str) -> int:
    if name not in roof.planes.name:
        known = ", ".join(roof.planes.name[:12])
        message = f"{field}: there is no plane {shown(name)}; this roof has {known}"
        raise InputError(message)
    return roof.planes.name.index(name)


def _line(roof: RoofSurface, row: RowTable) -> tuple[int, Array, Array]:
    """Plane, a point of the row's line and its direction toward +u."""
    where = f'row "{row.name}"'
    if row.plane is not None:
        plane = _plane_index(roof, row.plane, f"{where}.plane")
        point, way = np.array([0.0, row.up]), np.array([1.0, 0.0])
        return plane, _clear_of_eave(roof, plane, point, way, row.up), way
    eaves = [n for n, k in zip(roof.edges.name, roof.edges.kind, strict=True) if k is EdgeKind.EAVE]
    if row.eave not in eaves:
        known = ", ".join(f'"{name}"' for name in eaves[:12]) or "none"
        message = f"{where}.eave: there is no eave {shown(row.eave)}; this roof has {known}"
        raise InputError(message)
    edge = roof.edges.name.index(row.eave)
    plane = int(roof.edges.plane[edge, 0])
    ends = roof.planes.to_plane(plane, np.stack([roof.edges.start[edge], roof.edges.end[edge]]))
    if ends[0, 0] > ends[1, 0]:
        ends = ends[::-1]
    way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    point = ends[0] + row.up * np.array([-way[1], way[0]])
    return plane, _clear_of_eave(roof, plane, point, way, row.up), way


def _clear_of_eave(roof: RoofSurface, plane: int, point: Array, way: Array, up: float) -> Array:
    """Point of a row's line at the very eave, moved up just so far that the line runs along all of it.

    An eave of rounded corners is not quite level: a line through its lowest point leaves the plane beyond it.
    """
    if up >= EAVE_LEVEL:
        return point
    side = np.array([-way[1], way[0]])
    bases = [point + shift * side for shift in np.append(0.0, np.geomspace(1e-6, EAVE_LEVEL, 13))]
    length = np.array([sum(b - a for a, b in _pieces(roof, plane, base, way)) for base in bases])
    return bases[int(np.argmax(length > length.max() - 10.0 * EAVE_LEVEL))]


def from_left_end(roof: RoofSurface, row: RowTable, at: Array) -> float:
    """Distance of a point (u, v) on a row from the left end of the plane at its height, as `start` counts.

    [m].
    """
    plane, point, way = _line(roof, row)
    return float((at - point) @ way) - _pieces(roof, plane, point, way)[0][0]


def left_reach(roof: RoofSurface, layout: Layout, row: int, *, own: bool = False) -> float:
    """Distance of a rail's left end from the left end of the plane, along the rail's line.

    What a tape shows, over gaps of the plane too (dormers, wings): what `start` counts.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    row : int
    own : bool
        From the left end of the piece of plane that the row stands on instead.

    Returns
    -------
    float
        [m]
    """
    start, end = layout.row_start[row], layout.row_end[row]
    pieces = _pieces(roof, int(layout.row_plane[row]), start, (end - start) / np.linalg.norm(end - start))
    lefts = [a for a, _ in pieces if a <= TOUCH] or [0.0]
    return max(-(lefts[-1] if own else lefts[0]), 0.0)


def _place(
    roof: RoofSurface, row: RowTable, choices: Sequence[PlaneChoice], panel: Panel, units: UnitSystem
) -> _Row:
    plane, point, way = _line(roof, row)
    if roof.planes.slope[plane] <= FLAT_SLOPE:
        slope = units.text(roof.planes.slope[plane], "angle")
        message = (
            f'row "{row.name}": plane {roof.planes.name[plane]} is flat ({slope}): no snow of its own slides '
            "there; choose a plane with a fall; to hold what a slope behind pushes over it, that slope or "
            "the next one"
        )
        raise InputError(message)
    low, high = _extent(roof, row, plane, point, way, panel.seam_spacing, units)
    angle, first = seam_grid(choices, roof.planes.name[plane], panel.seam_spacing)
    seam, s = _clamps(roof, row, plane, point, way, (low, high), angle, first, panel.seam_spacing, units)
    start, end = low, high
    if row.cantilever is not None:
        start, end = max(low, s[0] - row.cantilever), min(high, s[-1] + row.cantilever)
        if end - start < SHORTEST_RAIL:
            message = (
                f'row "{row.name}".cantilever: {units.text(row.cantilever, "length")} leaves '
                f"{units.text(end - start, 'length')} of rail at its only clamp; give more, or more clamps"
            )
            raise InputError(message)
    free = _free_line(roof, plane, point, way, row, 0.5 * (low + high), units)
    full = (start - free[0] <= panel.seam_spacing, free[1] - end <= panel.seam_spacing)
    return _Row(
        plane=plane,
        start=point + start * way,
        end=point + end * way,
        full=full,
        clamp_s=s - start,
        seam=seam,
        seam_angle=angle,
        splices=_splices(row, end - start, units),
    )


def line_pieces(roof: RoofSurface, plane: int, up: float) -> list[tuple[float, float]]:
    """Parts of a level line on a plane, `up` its slope: (left, right) along its u, from the left. [m]."""
    point, way = np.array([0.0, up]), np.array([1.0, 0.0])
    return _pieces(roof, plane, _clear_of_eave(roof, plane, point, way, up), way)


def _pieces(roof: RoofSurface, plane: int, point: Array, way: Array) -> list[tuple[float, float]]:
    """Parts of the infinite line inside the plane, as distances along `way` from `point`."""
    outline = roof.planes.outline[plane]
    reach = 2.0 * outline.length + float(np.abs(point).max())
    side = np.array([-way[1], way[0]])
    cut: list[BaseGeometry] = []
    for shift in (0.0, TOUCH, -TOUCH):  # a line on the very edge may miss the outline by rounding
        base = point + shift * side
        line = LineString([base - reach * way, base + reach * way])
        cut = [part for part in shapely.get_parts(shapely.intersection(outline, line)) if part.length > 1e-3]
        if cut:
            break
    ends = [np.sort((shapely.get_coordinates(part) - point) @ way)[[0, -1]] for part in cut]
    return sorted((float(a), float(b)) for a, b in ends)


def _free_line(
    roof: RoofSurface, plane: int, point: Array, way: Array, row: RowTable, middle: float, units: UnitSystem
) -> tuple[float, float]:
    """The piece of the line that holds the row."""
    pieces = _pieces(roof, plane, point, way)
    if not pieces:
        top = roof.planes.outline[plane].bounds[3]
        message = (
            f'row "{row.name}".up: {units.text(row.up, "length")} is off plane {roof.planes.name[plane]}, '
            f"which reaches {units.text(top, 'length')} up the slope"
        )
        raise InputError(message)
    return next((piece for piece in pieces if piece[0] <= middle <= piece[1]), pieces[0])


def _extent(
    roof: RoofSurface, row: RowTable, plane: int, point: Array, way: Array, spacing: float, units: UnitSystem
) -> tuple[float, float]:
    """Rail ends along the line, before any cut to the cantilever."""
    where, name = f'row "{row.name}"', roof.planes.name[plane]
    pieces = _pieces(roof, plane, point, way)
    left = _free_line(roof, plane, point, way, row, pieces[0][0] if pieces else 0.0, units)[0]
    low = left + row.start if row.start is not None else -np.inf
    high = left + row.end if row.end is not None else np.inf
    if row.start_at is not None:
        lefts = [a for a, _ in pieces]
        low = end_on_edge(roof, plane, (point, way), lefts, row.start_at, f"{where}.start_at")
    if row.end_at is not None:
        rights = [b for _, b in pieces]
        high = end_on_edge(roof, plane, (point, way), rights, row.end_at, f"{where}.end_at")
    if row.start_at is not None and row.end_at is not None and low >= high:
        message = f"{where}.start_at: {shown(row.start_at)} must be left of end_at {shown(row.end_at)}"
        raise InputError(message)
    reach = " and ".join(
        f"{units.text(a - left, 'length')} to {units.text(b - left, 'length')}" for a, b in pieces
    )
    if row.start is not None and row.end is not None and row.start >= row.end:
        ends = (units.text(row.start, "length"), units.text(row.end, "length"))
        message = f"{where}.start: {ends[0]} must be left of end {ends[1]}; the plane reaches from {reach}"
        raise InputError(message)
    fitting = [
        (max(low, a + row.edge_distance), min(high, b - row.edge_distance))
        for a, b in pieces
        if min(high, b) - max(low, a) > TOUCH
    ]
    printed = 0.0051 / units.convert(1.0, "length")  # ends as the message offers them are on the plane
    fitting = [piece for piece in fitting if piece[1] - piece[0] > printed] or fitting
    if len(fitting) > 1:
        message = (
            f"{where}: its line crosses plane {name} in {len(fitting)} pieces ({reach}); "
            "choose one with start and end"
        )
        raise InputError(message)
    ok = bool(fitting) and fitting[0][1] - fitting[0][0] > TOUCH
    given_low = row.start is None or (ok and low >= fitting[0][0] - printed)
    given_high = row.end is None or (ok and high <= fitting[0][1] + printed)
    if not (ok and given_low and given_high):
        wrong = next(
            (
                f"{field}: {units.text(value, 'length')} is off"
                for field, value, good in (("start", row.start, given_low), ("end", row.end, given_high))
                if value is not None and not good
            ),
            f"edge_distance: {units.text(row.edge_distance, 'length')} leaves no rail on",
        )
        message = (
            f"{where}.{wrong} plane {name}, which at {units.text(row.up, 'length')} up the slope "
            f"reaches from {reach}"
            + (f", less edge_distance {units.text(row.edge_distance, 'length')}" if row.edge_distance else "")
        )
        raise InputError(message)
    if fitting[0][1] - fitting[0][0] < 0.5 * spacing:
        message = (
            f"{where}: is only {units.text(fitting[0][1] - fitting[0][0], 'length')} long on plane {name}, "
            f"less than half the seam spacing {units.text(spacing, 'length')}; move or lengthen it"
        )
        raise InputError(message)
    return fitting[0]


def _clamps(
    roof: RoofSurface,
    row: RowTable,
    plane: int,
    point: Array,
    way: Array,
    extent: tuple[float, float],
    angle: float,
    first: float,
    spacing: float,
    units: UnitSystem,
) -> tuple[NDArray[np.int64], Array]:
    """Seam numbers and positions along the line of the clamps of one row."""
    where = f'row "{row.name}"'
    across = np.array([np.cos(angle), -np.sin(angle)])
    rate = float(way @ across)
    if abs(rate) < 0.2:
        message = f"{where}: the rail runs within 12 degrees of the seams; clamps need rails that cross seams"
        raise InputError(message)
    left = float((shapely.get_coordinates(roof.planes.outline[plane]) @ across).min())
    w0 = float(point @ across) - left - first
    bounds = np.sort((w0 + rate * np.array(extent)) / spacing)
    number = np.arange(np.ceil(bounds[0] - 1e-6), np.floor(bounds[1] + 1e-6) + 1).astype(np.int64)
    s = np.clip((number * spacing - w0) / rate, *extent)
    under = len(number)
    if row.clamp_edge_distance:
        away = shapely.distance(shapely.points(point + s[:, None] * way), ends_of_sheet(roof, plane))
        clear = away >= row.clamp_edge_distance - TOUCH
        number, s = number[clear], s[clear]
    order = np.argsort(s)[row.first - 1 :: row.every]
    if not len(order):
        message = (
            f"{where}: no clamp; {under} seams pass under it (every {units.text(spacing, 'length')})"
            + (f", {len(number)} of them clamp_edge_distance from edges" if len(number) < under else "")
            + (f", and first = {row.first} and every = {row.every} leave none" if len(number) else "")
            + "; lengthen or move the row"
            + (", or give less clamp_edge_distance" if len(number) < under else "")
        )
        raise InputError(message)
    return number[order], s[order]


def _splices(row: RowTable, length: float, units: UnitSystem) -> list[tuple[float, SpliceKind]]:
    where = f'row "{row.name}"'
    splices = [(splice.at, SpliceKind(splice.kind)) for splice in row.splice]
    if row.splice_every is not None:
        if row.splice_every < LEAST_PIECE:
            message = (
                f"{where}.splice_every: {units.text(row.splice_every, 'size')} is too short for a piece of "
                f"rail; give at least {units.text(LEAST_PIECE, 'size')}"
            )
            raise InputError(message)
        step = row.splice_every
        if row.splice_even:
            step = length / np.ceil(length / step - TOUCH)
        regular = np.arange(step, length - TOUCH, step)
        splices += [(float(s), SpliceKind(row.splice_kind)) for s in regular]
    splices.sort()
    for at, _ in splices:
        if at >= length - TOUCH:
            message = (
                f"{where}.splice: at {units.text(at, 'length')} is beyond the rail, which is "
                f"{units.text(length, 'length')} long"
            )
            raise InputError(message)
    for (a, _), (b, _) in itertools.pairwise(splices):
        if b - a < LEAST_PIECE:
            message = (
                f"{where}.splice: two splices at {units.text(a, 'length')} and {units.text(b, 'length')}; "
                f"keep them at least {units.text(LEAST_PIECE, 'size')} apart"
            )
            raise InputError(message)
    return splices


def _check_apart(rows: Sequence[RowTable], placed: list[_Row], names: tuple[str, ...]) -> None:
    lines = np.array([LineString([row.start, row.end]) for row in placed], dtype=object)
    tree = shapely.STRtree(lines)
    a, b = tree.query(lines, predicate="dwithin", distance=0.01)
    plane = np.array([row.plane for row in placed])
    clash = np.flatnonzero((a < b) & (plane[a] == plane[b]))
    if len(clash):
        first, second = rows[int(a[clash[0]])].name, rows[int(b[clash[0]])].name
        message = (
            f'row "{second}": touches or crosses row "{first}" on plane {names[plane[a[clash[0]]]]}; '
            "give them different up, or start and end that stay apart"
        )
        raise InputError(message)


def check_grips(layout: Layout, grip_length: float, units: UnitSystem = SI) -> None:
    """Refuse clamps of different rows that would stand on the same piece of a seam.

    Raises
    ------
    InputError
        Names both rows.
    """
    plane, angle = layout.row_plane[layout.clamp_row], layout.seam_angle[layout.clamp_row]
    up = np.sum(layout.clamp_uv * np.stack([np.sin(angle), np.cos(angle)], axis=1), axis=1)
    order = np.lexsort((up, layout.clamp_seam, plane))
    same = (np.diff(plane[order]) == 0) & (np.diff(layout.clamp_seam[order]) == 0)
    near = np.flatnonzero(same & (np.diff(up[order]) < grip_length - 1e-9))
    if len(near):
        first, second = (int(order[near[0] + step]) for step in (0, 1))
        rows = [layout.row_name[layout.clamp_row[i]] for i in (first, second)]
        message = (
            f'row "{rows[1]}".up: {layout.clamp_name[second]} overlaps {layout.clamp_name[first]} on '
            f"its seam; rows must be at least clamp.grip_length apart, {units.text(grip_length, 'size')}"
        )
        raise InputError(message)
