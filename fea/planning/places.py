"""Pieces of rows that may stand, by level: heights that the planes of a group share, so that rows meet.

Level 0 is the lowest row above every level eave that counts, wherever it lies. The other levels begin above
the lowest of these: on a plane whose eave lies higher, such as a dormer's, rows begin above its own.
Lengths are whole centimeters or inches, as the project file will say them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.planning.ladder import Place
from fea.planning.threats import Eave, Threats
from roofmodel.errors import InputError
from roofmodel.project.load import Project
from roofmodel.project.placement import line_pieces
from roofmodel.project.plan_schema import PlanTable
from roofmodel.project.row_edges import edge_name
from roofmodel.project.schema import RowTable
from roofmodel.splices import USUAL_BAR
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STEPS = 24  # levels of a slope where the project gives no step
MOST_LEVELS = 60
TO_EDGE = 1.0  # a row that comes so near to the end of its plane runs on to it (judgment) [m]
ROOM = 0.1  # kept between rails and what stands on the roof (judgment) [m]
TOP_GAP = 0.3  # rows stay this far below the top of their plane [m]
SHORTEST = 1.5  # seams that a piece of row crosses at least
UNEVEN = 0.02  # that round numbers may lengthen a rail by [m]
RAIL = ("edge_distance", "cantilever", "splice_every", "splice_kind")


@dataclass(frozen=True)
class Levels:
    """Pieces of rows by level, for the planes of one group.

    Attributes
    ----------
    planes : tuple of int
    places : tuple of tuple of Place, (h,)
    up : (planes, h + 1) float
        How far up each plane every level lies, also beyond its ends; at last the plane's top. [m]
    lowest : (planes, 2) float
        The lowest row above the lowest and the highest eave of each plane; -inf without an eave. [m]
    """

    planes: tuple[int, ...]
    places: tuple[tuple[Place, ...], ...]
    up: Array
    lowest: Array

    def only(self, kept: set[int]) -> Levels:
        """The same with some places left out (by `id`), and levels that have none."""
        left = [[place for place in level if id(place) in kept] for level in self.places]
        use = [a for a, level in enumerate(left) if level]
        places = tuple(tuple(replace(p, level=k) for p in left[a]) for k, a in enumerate(use))
        return Levels(self.planes, places, self.up[:, [*use, self.up.shape[1] - 1]], self.lowest)

    @property
    def there(self) -> BoolArray:
        """Which planes have a row on which level, (planes, h)."""
        on = [[any(place.plane == p for place in level) for level in self.places] for p in self.planes]
        return np.array(on, dtype=bool)

    def allowed(self, least: float, most: float | None) -> BoolArray:
        """Arcs (h, h + 1) that the spacings permit, measured on each plane that has rows to be apart. [m]."""
        there = self.there
        h = there.shape[1]
        own = there[:, 0]
        apart = self.up[:, None, :] - self.up[:, :-1, None]  # planes, from, to
        below = np.logical_or.accumulate(np.where(np.arange(h) > 0, there, False), axis=1)
        above = np.logical_or.accumulate(there[:, ::-1], axis=1)[:, ::-1]
        counts = (below[:, :, None] | (~own[:, None] & there)[:, None, :]) & above[:, None, :]
        counts[own, 0] = False  # rows keep away from their own lowest one as it is
        allowed = np.triu(np.ones((h, h + 1), dtype=bool), 1)
        allowed[:, :h] &= (~counts | (apart[..., :h] >= least - 1e-9)).all(axis=0)
        if most is not None:
            floor = np.maximum(self.lowest[:, 1:], 0.0)
            inside = np.clip(self.up, floor, np.maximum(self.up[:, -1:], floor))
            near = (self.up[:, :-1] < floor + least - 1e-9) & ~there & np.isfinite(self.lowest[:, 1:])
            inside[:, :-1] = np.where(near, floor, inside[:, :-1])  # the lowest row is the last one there
            allowed &= (inside[:, None, :] - inside[:, :-1, None] <= most + 1e-9).all(axis=0)
        return allowed

    def open(self, least: float) -> bool:
        """Whether rows leave gaps, or the next level has no row on some plane that has one further up."""
        there = self.there
        more = np.logical_or.accumulate(there[:, ::-1], axis=1)[:, ::-1]
        settled = there | ~more
        settled[:, 1:] &= (self.up[:, 1:-1] >= self.lowest[:, 1:] + least - 1e-9) | ~more[:, 1:]
        rows = [place.row for level in self.places for place in level]
        return not settled[:, 1:].all() or any(has_ends(r) for r in rows)


def lowest_distance(project: Project) -> float:
    """Distance of the lowest rows from their eave, as the project file says it. [m]."""
    return _snap(project, project.table.plan.eave_distance)


def lowest_rows(project: Project, threats: Threats) -> list[bool]:
    """Which rows of a project are the lowest above an eave that counts."""
    names, distance = project.roof.planes.name, project.table.plan.eave_distance
    forced = [(names[e.plane], _snap(project, e.v + distance)) for e in threats.eaves]
    return [any(row.plane == p and abs(row.up - v) < UNEVEN for p, v in forced) for row in project.table.row]


def room_for_lowest(project: Project, threats: Threats, eave: Eave) -> tuple[float, float]:
    """Longest stretch for the lowest row above an eave, and what a rail needs there. [m]."""
    up = _snap(project, eave.v + project.table.plan.eave_distance)
    ends = rail_choices(project, eave.plane)[0]["edge_distance"]
    pieces = _around(line_pieces(project.roof, eave.plane, up), _in_the_way(project, eave.plane, up))
    known = [(a, b, threats.reach(eave.plane, up, a, b)) for a, b in pieces]
    found = [_reaching(a, b, *reach) for a, b, reach in known if reach]
    longest = max((end - start for start, end in found), default=0.0)
    return max(longest, 0.0), 2.0 * ends + SHORTEST * project.panel.seam_spacing


def _snap(project: Project, length: float) -> float:
    """To what the project file says in round numbers."""
    unit = unit_of(project)
    return float(np.round(length / unit) * unit)


def unit_of(project: Project) -> float:
    """Of lengths in the project file, an inch or a centimeter. [m]."""
    return 0.0254 if project.table.project.units == "US" else 0.01


def levels_of(project: Project, threats: Threats, group: tuple[int, ...], *, full: bool) -> Levels:
    """Places by level for the planes of a group.

    Parameters
    ----------
    project : Project
    threats : Threats
    group : tuple of int
        Planes.
    full : bool
        Rows over the whole width of their planes where snow threatens at all.

    Returns
    -------
    Levels

    Raises
    ------
    InputError
        A plane on which no lowest row can stand.
    """
    roof, plan = project.roof, project.table.plan
    eaves = [e for e in threats.eaves if e.plane in group]
    slope = roof.planes.slope[list(group)]
    foot = roof.planes.origin[list(group), 2]
    top = np.array([roof.planes.outline[p].bounds[3] for p in group])
    lowest = {e: _snap(project, e.v + plan.eave_distance) for e in eaves}
    single = {p: sum(e.plane == p for e in eaves) == 1 for p in group}
    first = [
        place
        for e in eaves
        for place in _pieces(project, threats, e.plane, 0, lowest[e], None if single[e.plane] else e.u, full)
    ]
    for e in eaves:
        if not any(place.plane == e.plane for place in first):
            units = SYSTEMS[project.table.project.units]
            there, least = room_for_lowest(project, threats, e)
            message = (
                f"plan.eave_distance: no row fits on plane {roof.planes.name[e.plane]} at "
                f"{units.text(lowest[e], 'length')} up the slope: the stretch whose snow threatens is "
                f"{units.text(there, 'length')} long there, a rail needs {units.text(least, 'length')}"
            )
            raise InputError(message)
    own = [[lowest[e] for e in eaves if e.plane == p] or [-np.inf] for p in group]
    forced = np.array([[min(one), max(one)] for one in own])
    base = float((foot + forced[:, 0] * np.sin(slope))[np.isfinite(forced[:, 0])].min())
    summit = float(np.max(foot + top * np.sin(slope)))
    step = plan.step or max(0.2, (summit - base) / np.sin(slope.max()) / STEPS)
    rises = base + np.arange(1, MOST_LEVELS) * step * float(np.sin(slope.max()))
    at_base = np.where(np.isfinite(forced[:, 0]), forced[:, 0], (base - foot) / np.sin(slope))
    levels, up = [tuple(first)], [at_base]
    for rise in rises[rises < summit]:
        v = np.array([_snap(project, x) for x in (rise - foot) / np.sin(slope)])
        stands = (v >= forced[:, 0] + plan.least_spacing - 1e-9) & (v <= top - TOP_GAP) & (v > 0.05)
        places: list[Place] = []
        for plane, at, there in zip(group, v.tolist(), stands, strict=True):
            if there:
                near = [e.u for e in eaves if e.plane == plane and at < lowest[e] + plan.least_spacing - 1e-9]
                places += _pieces(project, threats, plane, len(levels), at, None, full, near)
        if places:
            levels.append(tuple(places))
            up.append(v)
    return Levels(group, tuple(levels), np.stack([*up, top], axis=1), forced)


def _pieces(
    project: Project,
    threats: Threats,
    plane: int,
    level: int,
    up: float,
    only: tuple[float, float] | None,
    full: bool,
    near: Sequence[tuple[float, float]] = (),
) -> list[Place]:
    """Rows on one line of a plane: one on each piece that snow threatens from, as far as it does or whole.

    Kept away from stretches that are too near to a lowest row.
    """
    roof, spacing, rail = project.roof, project.panel.seam_spacing, rail_choices(project, plane)[0]
    pieces = line_pieces(roof, plane, up)
    if not pieces:
        return []
    left, single = pieces[0][0], len(pieces) == 1
    pieces = _around(pieces, [*_in_the_way(project, plane, up), *near])
    single &= len(pieces) == 1
    low, high = only or (-np.inf, np.inf)
    found: list[RowTable] = []
    for a, b in pieces:
        reach = threats.reach(plane, up, max(a, low), min(b, high))
        if reach is None:
            continue
        start, end = (a, b) if full and only is None else _reaching(a, b, *(only or reach))
        if end - start - 2.0 * rail["edge_distance"] < SHORTEST * spacing:
            continue
        length = min(end, b - rail["edge_distance"]) - max(start, a + rail["edge_distance"])
        found.append(
            RowTable.model_construct(
                name=f"{plane} {level} {len(found)}",
                plane=roof.planes.name[plane],
                up=up,
                **_end(project, plane, up, "start", start, (left, a, b), single and start == a),
                **_end(project, plane, up, "end", end, (left, a, b), single and end == b),
                **{**rail, **_pieces_of_rail(project, rail["splice_every"], length)},
            )
        )
    return [Place(plane, level, row) for row in found]


def has_ends(row: RowTable) -> bool:
    """Whether a row says where it ends, other than at the edges of a plane that is whole on its line."""
    return any(getattr(row, name) is not None for name in ("start", "end", "start_at", "end_at"))


def _end(
    project: Project,
    plane: int,
    up: float,
    name: str,
    place: float,
    piece: tuple[float, float, float],
    whole: bool,
) -> dict[str, Any]:
    """What a row says of one of its ends: nothing, the edge that it stays at, or how far from the left.

    `piece` is the left end of the plane and both ends of the row's piece of it. [m]
    """
    left, a, b = piece
    if whole:
        return {}
    if place == (a if name == "start" else b):
        edge = edge_name(project.roof, plane, np.array([place, up]))
        if edge is not None:
            return {f"{name}_at": edge}
    return {name: _inside(project, place - left, a - left, b - left)}


def bar_length(project: Project) -> float:
    """Length of the bars that rails are made of, a usual one where the project does not say it. [m]."""
    return project.table.rail.stock_length or USUAL_BAR[project.table.project.units]


def _pieces_of_rail(project: Project, every: float | None, length: float) -> dict[str, Any]:
    """How a rail is spliced; no pieces if it is not.

    As chosen, if clamps surely stand on the last one; else in equal pieces that are no longer than chosen.
    Where nothing was chosen, in equal pieces no longer than the bars as bought, else than usual ones.
    """
    most, seams = every or bar_length(project), max(project.table.plan.every)
    if length <= most:
        return {"splice_every": every}
    if every and not UNEVEN < length % every < seams * project.panel.seam_spacing:
        return {"splice_every": every}
    return {"splice_every": most, "splice_even": True}


def _reaching(a: float, b: float, low: float, high: float) -> tuple[float, float]:
    """Ends on a piece from a to b of a row that is to reach from low to high. [m]."""
    return a if low <= a + TO_EDGE else low, b if high >= b - TO_EDGE else high


def _in_the_way(project: Project, plane: int, up: float) -> list[tuple[float, float]]:
    """Stretches of a level line that boxes and solar arrays stand on, with a little room. [m]."""
    roof = project.roof
    known, arrays = roof.obstacles, roof.arrays
    feet = [
        roof.planes.to_plane(
            plane, np.concatenate([known.start[known.face == i], known.end[known.face == i]])
        )
        for i in np.flatnonzero(~known.parapet & (known.plane == plane))
    ]
    feet += list(arrays.corners[arrays.plane == plane]) if arrays.count else []
    boxes = [(corners.min(axis=0) - ROOM, corners.max(axis=0) + ROOM) for corners in feet]
    return sorted((float(a[0]), float(b[0])) for a, b in boxes if a[1] < up < b[1])


def _around(
    pieces: list[tuple[float, float]], blocked: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Pieces without what is blocked."""
    for low, high in blocked:
        cut = [part for a, b in pieces for part in ((a, min(b, low)), (max(a, high), b))]
        pieces = [(a, b) for a, b in cut if b > a]
    return pieces


def rail_choices(project: Project, plane: int) -> tuple[dict[str, Any], str]:
    """How rails on a plane end and are spliced, and the row of the project file that this follows, if any.

    What the table plan does not say is as in the first row on the plane, else in the first row of the file.
    """
    plan, rows = project.table.plan, project.table.row
    on = [row for row in rows if row.plane == project.roof.planes.name[plane]]
    model = next(iter(on or rows), plan)
    follows = [name for name in RAIL if name not in plan.model_fields_set and model is not plan]
    chosen = {name: getattr(model if name in follows else plan, name) for name in RAIL}
    plain = all(chosen[name] == PlanTable.model_fields[name].default for name in follows)
    return chosen, "" if plain or isinstance(model, PlanTable) else model.name


def _inside(project: Project, place: float, low: float, high: float) -> float:
    """A round length near to a place, on the plane."""
    unit = unit_of(project)
    least, most = np.ceil(low / unit - 1e-6) * unit, np.floor(high / unit + 1e-6) * unit
    return float(np.clip(_snap(project, place), least, most))
