"""Where rows may stand: levels of each group of planes, the rows on them, their material and least demand.

Level 0 is the lowest row above every level eave that counts. Above it the planes of a group share levels of
one height above the ground, so that rows meet in their valleys. Lengths are whole centimeters or inches, as
the project file will say them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.checks.combinations import project_factors
from fea.checks.limits import height_limit
from fea.planning.ladder import Ladder, Place
from fea.planning.threats import Eave, Threats
from fea.rails.rows import loose_rows
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.memory import Memory
from roofmodel.project.load import Project
from roofmodel.project.placement import line_pieces, place_rows
from roofmodel.project.plan_schema import PlanTable
from roofmodel.project.schema import RowTable
from roofmodel.sliding.thrust import ValleyThrust, slide
from roofmodel.sliding.tributary import row_depths
from roofmodel.snow.registry import snow_cases
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

STEPS = 24  # levels of a slope where the project gives no step
MOST_LEVELS = 60
TO_EDGE = 1.0  # a row that comes so near to the end of its plane runs on to it (judgment) [m]
ROOM = 0.1  # kept between rails and what stands on the roof (judgment) [m]
TOP_GAP = 0.3  # rows stay this far below the top of their plane [m]
MOST_OPTIONS = 27  # of one level; beyond, the planes of a group share one spacing
SHORTEST = 1.5  # seams that a piece of row crosses at least
UNEVEN = 0.02  # that round numbers may lengthen a rail by [m]
FOOT = 0.3048
RAIL = ("edge_distance", "cantilever", "splice_every", "splice_kind")


def ladders(
    project: Project,
    threats: Threats,
    every: tuple[int, ...],
    memory: Memory | None = None,
    *,
    full: bool = False,
) -> tuple[Ladder, ...]:
    """Choices for all groups.

    Parameters
    ----------
    project : Project
    threats : Threats
    every : tuple of int
        Clamps on every n-th seam.
    memory : Memory, optional
    full : bool
        Rows over the whole width of their planes (between valleys and notches) where snow threatens at all,
        not only as far as it does.

    Returns
    -------
    tuple of Ladder

    Raises
    ------
    InputError
        A plane on which no lowest row can stand.
    """
    spots = [_places(project, threats, group, full) for group in threats.groups]
    flat = [place for places, _ in spots for level in places for place in level]
    by_option = [_placed(project, flat, n) for n in every]
    demand = _Demand.of(project, flat, by_option[0].layout, memory)
    found, first = [], 0
    for group, (places, rise) in zip(threats.groups, spots, strict=True):
        count = sum(len(level) for level in places)
        own = np.arange(first, first + count)
        found.append(_ladder(project, group, places, rise, own, by_option, demand))
        first += count
    return tuple(found)


def lowest_distance(project: Project) -> float:
    """Distance of the lowest rows from their eave, as the project file says it. [m]."""
    return _snap(project, project.table.plan.eave_distance)


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
    unit = 0.0254 if project.table.project.units == "US" else 0.01
    return float(np.round(length / unit) * unit)


def _places(
    project: Project, threats: Threats, group: tuple[int, ...], full: bool
) -> tuple[list[list[Place]], Array]:
    """Places by level, and how far up its plane each level lies for each plane, (planes, h + 1). [m]."""
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
    forced = np.array([max([lowest[e] for e in eaves if e.plane == p], default=-np.inf) for p in group])
    base = float(np.max(foot + np.where(np.isfinite(forced), forced, 0.0) * np.sin(slope)))
    summit = float(np.max(foot + top * np.sin(slope)))
    step = plan.step or max(0.2, (summit - base) / np.sin(slope.max()) / STEPS)
    rises = base + np.arange(1, MOST_LEVELS) * step * float(np.sin(slope.max()))
    levels, up = [first], [np.where(np.isfinite(forced), forced, 0.0)]
    for rise in rises[rises < summit]:
        v = np.array([_snap(project, x) for x in (rise - foot) / np.sin(slope)])
        stands = (v >= forced + plan.least_spacing - 1e-9) & (v <= top - TOP_GAP) & (v > 0.05)
        places = [
            place
            for plane, at, there in zip(group, v, stands, strict=True)
            if there
            for place in _pieces(project, threats, plane, len(levels), float(at), None, full)
        ]
        if places:
            levels.append(places)
            up.append(v)
    return levels, np.stack([*up, top], axis=1)


def _pieces(
    project: Project,
    threats: Threats,
    plane: int,
    level: int,
    up: float,
    only: tuple[float, float] | None,
    full: bool,
) -> list[Place]:
    """Rows on one line of a plane: one on each piece that snow threatens from, as far as it does or whole."""
    roof, spacing, rail = project.roof, project.panel.seam_spacing, rail_choices(project, plane)[0]
    pieces = line_pieces(roof, plane, up)
    if not pieces:
        return []
    left, single = pieces[0][0], len(pieces) == 1
    pieces = _around(pieces, _in_the_way(project, plane, up))
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
                start=None if start == a and single else _inside(project, start - left, a - left, b - left),
                end=None if end == b and single else _inside(project, end - left, a - left, b - left),
                **{**rail, "splice_every": _pieces_of_rail(project, rail["splice_every"], length)},
            )
        )
    return [Place(plane, level, row) for row in found]


def _pieces_of_rail(project: Project, every: float | None, length: float) -> float | None:
    """Length of the pieces of a rail; none if it is not spliced. [m].

    As chosen, if clamps surely stand on the last one; else in equal pieces that are no longer than chosen.
    Where nothing was chosen, in equal pieces no longer than the bars as bought.
    """
    most, seams = every or project.table.rail.stock_length, max(project.table.plan.every)
    if most is None or length <= most:
        return every
    if every and not UNEVEN < length % every < seams * project.panel.seam_spacing:
        return every
    unit = 0.0254 if project.table.project.units == "US" else 0.01
    return min(float(np.ceil((length + UNEVEN) / np.ceil(length / most) / unit - 1e-6) * unit), most)


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
    unit = 0.0254 if project.table.project.units == "US" else 0.01
    least, most = np.ceil(low / unit - 1e-6) * unit, np.floor(high / unit + 1e-6) * unit
    return float(np.clip(_snap(project, place), least, most))


@dataclass(frozen=True)
class _Placed:
    """Rows of all places with one choice of clamps: rail length, clamps, whether and why not held, layout."""

    length: Array
    clamps: IntArray
    held: BoolArray
    loose: tuple[str, ...]
    layout: Layout


def _placed(project: Project, places: list[Place], every: int) -> _Placed:
    rows = [place.row.model_copy(update={"every": every, "name": str(i)}) for i, place in enumerate(places)]
    units = SYSTEMS[project.table.project.units]
    layout = place_rows(project.roof, rows, project.table.plane, project.panel, units)
    loose = loose_rows(layout, project.rail, project.clamp)
    held = np.array([not words for words in loose])
    if any(row.cantilever is not None for row in rows):
        whole = [row.model_copy(update={"cantilever": None}) for row in rows]
        uncut = place_rows(project.roof, whole, project.table.plane, project.panel, units)
        cut = np.abs(np.stack([layout.row_start - uncut.row_start, layout.row_end - uncut.row_end])[..., 0])
        held &= cut.max(axis=0) <= project.panel.seam_spacing
    clamps = np.bincount(layout.clamp_row, minlength=len(rows))
    return _Placed(layout.row_length, clamps, held, loose, layout)


def _refuse_loose(project: Project, rows: IntArray, places: list[Place], by_option: list[_Placed]) -> None:
    """A lowest row that no choice of clamps holds, before anything is checked in vain."""
    for i, place in zip(rows.tolist(), places, strict=True):
        if all(placed.loose[i] for placed in by_option):
            up = SYSTEMS[project.table.project.units].text(place.row.up, "length")
            message = (
                f"plan.every: no choice of clamps holds the lowest rail on plane {place.row.plane}, {up} up "
                f"the slope: {by_option[0].loose[i]}; allow clamps on more seams, or other splices "
                "(plan.splice_every, plan.splice_kind)"
            )
            raise InputError(message)


@dataclass(frozen=True)
class _Demand:
    """What must be held at least, with rows on all places: stations of rows and the thrust they stop.

    Attributes
    ----------
    row : (k,) int
        Place of each station.
    u : (k,) float
        Its middle across the plane. [m]
    thrust : (k, q) float
        Factored. [N]
    depth : (q, r) float
        Snow depth above each place. [m]
    sure : bool
        Whether thrusts of rows add up when rows between them go, so that bounds hold.
    """

    row: IntArray
    u: Array
    thrust: Array
    depth: Array
    sure: bool

    @classmethod
    def of(cls, project: Project, places: list[Place], layout: Layout, memory: Memory | None) -> _Demand:
        roof = project.roof
        planes = frozenset(place.plane for place in places if place.level == 0)
        snow = snow_cases(roof, project.site, planes)
        _, force = slide(roof, snow.cases, layout, project.slide, memory)
        factor = [project_factors(project, case).snow for case in snow.cases]
        sure = (
            project.slide.friction == 0.0
            and project.slide.valley is ValleyThrust.SCALAR
            and not np.nan_to_num(roof.obstacles.strength, nan=0.0).any()
            and not roof.arrays.count
            and all(place.plane in planes for place in places)
        )
        way = (layout.row_end - layout.row_start)[force.row, 0] / layout.row_length[force.row]
        return cls(
            row=force.row,
            u=layout.row_start[force.row, 0] + force.span.mean(axis=1) * way,
            thrust=-force.thrust[..., 1].T * np.array(factor),
            depth=np.array([row_depths(roof, layout, force, case) for case in snow.cases]),
            sure=sure,
        )

    def over(self, layout: Layout, rows: IntArray, level: IntArray, a: int) -> Array:
        """Thrust (h, q) that places (rows) of each level stop over the stretch of those on level a. [N]."""
        at = np.flatnonzero(np.isin(self.row, rows))
        low = np.minimum(layout.row_start, layout.row_end)[rows[level == a], 0]
        high = np.maximum(layout.row_start, layout.row_end)[rows[level == a], 0]
        inside = ((self.u[at, None] > low) & (self.u[at, None] < high)).any(axis=1)
        place = np.searchsorted(rows, self.row[at[inside]])
        out = np.zeros((int(level.max()) + 1, self.thrust.shape[1]))
        np.add.at(out, level[place], self.thrust[at[inside]])
        return out


def _ladder(
    project: Project,
    group: tuple[int, ...],
    places: list[list[Place]],
    up: Array,
    own: IntArray,
    by_option: list[_Placed],
    demand: _Demand,
) -> Ladder:
    plan = project.table.plan
    h, n = len(places), len(by_option)
    level = np.repeat(np.arange(h), [len(one) for one in places])
    plane = np.array([place.plane for one in places for place in one])
    choice = _choices(n, len(group))
    _refuse_loose(project, own[: len(places[0])], places[0], by_option)
    per_meter = plan.rail_cost / (FOOT if project.table.project.units == "US" else 1.0)
    number = np.array([group.index(p) for p in plane.tolist()], dtype=np.int64)
    single = np.zeros((len(group), h, n))
    for spacing, placed in enumerate(by_option):
        each = per_meter * placed.length[own] + plan.clamp_cost * placed.clamps[own] + plan.row_cost
        np.add.at(single[..., spacing], (number, level), np.where(placed.held[own], each, np.inf))
    there = np.array([np.bincount(level[plane == p], minlength=h) > 0 for p in group])
    cost = np.zeros((h, len(choice)))
    for p in range(len(group)):
        cost += np.where(there[p][:, None] | (choice[:, p] == 0), single[p][:, choice[:, p]], np.inf)
    apart = up[:, None, :] - up[:, :-1, None]  # planes, from, to
    allowed = np.triu(np.ones((h, h + 1), dtype=bool), 1)
    allowed[:, :h] &= (apart[..., :h] >= plan.least_spacing - 1e-9).all(axis=0)
    if plan.most_spacing is not None:
        allowed &= (apart <= plan.most_spacing + 1e-9).all(axis=0)
    least, strips = np.zeros((h, h + 1, len(choice))), np.zeros(2**n)
    if demand.sure:
        for k, p in enumerate(group):
            rows, at = own[plane == p], level[plane == p]
            mine = _least_use(project, rows, at, h, by_option, demand)
            least = np.maximum(least, mine[..., choice[:, k]])
            strips = np.maximum(strips, _least_strips(project, rows, at, by_option, demand))
    return Ladder(
        planes=group,
        places=tuple(tuple(one) for one in places),
        cost=cost,
        allowed=allowed,
        alike=_alike(plane, level, own, by_option[0].layout),
        least=least,
        height=_height(project, own, level, h, by_option[0].layout, demand),
        strips=strips,
        most_rows=plan.most_rows,
        choice=choice if len(group) > 1 else None,
    )


def _choices(spacings: int, planes: int) -> IntArray:
    """Spacing of each plane for each option: all products, or all alike where these are too many."""
    if spacings**planes > MOST_OPTIONS:
        return np.repeat(np.arange(spacings)[:, None], planes, axis=1)
    grid = np.meshgrid(*[np.arange(spacings)] * planes, indexing="ij")
    return np.stack([one.ravel() for one in grid], axis=1)


def _alike(plane: IntArray, level: IntArray, own: IntArray, layout: Layout) -> BoolArray:
    """Levels whose rows have the same planes, ends across them, and seams."""
    seams = np.searchsorted(layout.clamp_row, [own, own + 1])
    shape = [
        (int(p), round(float(a), 6), round(float(b), 6), layout.clamp_seam[i:j].tobytes())
        for p, a, b, i, j in zip(plane, layout.row_start[own, 0], layout.row_end[own, 0], *seams, strict=True)
    ]
    kinds = [tuple(x for x, n in zip(shape, level, strict=True) if n == a) for a in range(level.max() + 1)]
    number = np.array([kinds.index(kind) for kind in kinds])
    return np.asarray(number[:, None] == number)


def _least_use(
    project: Project, rows: IntArray, level: IntArray, h: int, by_option: list[_Placed], demand: _Demand
) -> Array:
    """Mean share of the clamps of one plane's rows, which the most used one cannot be below.

    The rows of a level hold together, in each case, all that the places above their stretch stop up to the
    next row when all places stand; forces along the seams add up to it (equilibrium).
    """
    out = np.zeros((h, h + 1, len(by_option)))
    strength, layout = project.clamp.strength[0], by_option[0].layout
    if not strength > 0.0 or not len(rows):
        return out
    angle = layout.seam_angle[rows[0]]
    clamps = np.array([np.bincount(level, p.clamps[rows], minlength=h) for p in by_option])
    for a in np.unique(level).tolist():
        band = demand.over(layout, rows, level, a)
        band = np.concatenate([band, np.zeros((h - len(band), band.shape[1]))])
        held = np.cumsum(band[a:], axis=0).max(axis=1) * np.cos(angle)
        out[a, a + 1 :] = held[:, None] / (clamps[:, a] * strength)
    return out / project.table.plan.target


def _least_strips(
    project: Project, rows: IntArray, level: IntArray, by_option: list[_Placed], demand: _Demand
) -> Array:
    """Mean share of the panel strips that may carry clamps, by set of options: all thrust ends there."""
    m, layout = len(by_option), by_option[0].layout
    out = np.zeros(2**m)
    if not project.panel.anchorage > 0.0 or not (level == 0).any():
        return out
    held = demand.over(layout, rows, level, 0).sum(axis=0).max() * np.cos(layout.seam_angle[rows[0]])
    seams = [p.layout.clamp_seam[np.isin(p.layout.clamp_row, rows)] for p in by_option]
    for mask in range(1, 2**m):
        carry = np.unique(np.concatenate([s for bit, s in enumerate(seams) if mask >> bit & 1]))
        out[mask] = held / (len(carry) * project.panel.anchorage)
    return out / project.table.plan.target


def _height(
    project: Project, own: IntArray, level: IntArray, h: int, layout: Layout, demand: _Demand
) -> Array:
    """Utilization of the rail's height at each level, 0 where nothing is asked."""
    ratio = project.table.design.rail_height_ratio
    top = project.clamp.grip_height + project.clamp.height + project.rail.section.lowest_top
    limit = height_limit(demand.depth, top, np.nan if ratio is None else ratio, layout)
    out = np.zeros(h)
    np.maximum.at(out, level, np.nan_to_num(limit.utilization.max(axis=0), nan=0.0)[own])
    return out
