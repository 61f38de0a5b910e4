"""Ladders: rows on the levels of each group of planes, their material and least demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.combinations import project_factors
from fea.checks.limits import height_limit
from fea.planning.grips import with_grips_on_sheets
from fea.planning.ladder import Ladder, Place
from fea.planning.places import Levels, levels_of
from fea.planning.threats import Threats
from fea.rails.rows import loose_rows
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.memory import Memory, recall
from roofmodel.project.load import Project
from roofmodel.project.placement import place_rows
from roofmodel.sliding.thrust import ValleyThrust, slide
from roofmodel.sliding.tributary import row_depths
from roofmodel.snow.registry import snow_cases
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MOST_OPTIONS = 27  # of one level; beyond, the planes of a group share one spacing
FOOT = 0.3048


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
    spots = [
        with_grips_on_sheets(project, levels_of(project, threats, group, full=full))
        for group in threats.groups
    ]
    by_option = [_placed(project, _flat(spots), n) for n in every]
    held = np.any([placed.held for placed in by_option], axis=0)
    if not held.all() and min(every) > min(project.table.plan.every):
        spots = _with_closer(project, spots, every, held)
        by_option = [_placed(project, _flat(spots), n) for n in every]
        held = np.any([placed.held for placed in by_option], axis=0)
    if not held.all():  # a piece that no choice of clamps holds does not take its level away from the others
        kept = {id(place) for place, one in zip(_flat(spots), held, strict=True) if one or place.level == 0}
        spots = [spot.only(kept) for spot in spots]
        by_option = [_placed(project, _flat(spots), n) for n in every]
    demand = _Demand.of(project, _flat(spots), by_option[0].layout, memory)
    found, first = [], 0
    for group, spot in zip(threats.groups, spots, strict=True):
        count = sum(len(level) for level in spot.places)
        own = np.arange(first, first + count)
        found.append(_ladder(project, group, spot, own, by_option, demand))
        first += count
    return tuple(found)


def _with_closer(
    project: Project, spots: list[Levels], every: tuple[int, ...], held: BoolArray
) -> list[Levels]:
    """Lowest rows that no spacing holds, such as very short ones, with the widest of the plan's that does."""
    places = _flat(spots)
    closer: dict[int, int] = {}
    for n in sorted((n for n in project.table.plan.every if n < min(every)), reverse=True):
        placed = _placed(project, places, n)
        for place, before, now in zip(places, held, placed.held, strict=True):
            if not before and now and place.level == 0:
                closer.setdefault(id(place), n)
    return [
        replace(
            spot,
            places=tuple(
                tuple(replace(place, closer=closer.get(id(place))) for place in level)
                for level in spot.places
            ),
        )
        for spot in spots
    ]


def _flat(spots: list[Levels]) -> list[Place]:
    return [place for spot in spots for level in spot.places for place in level]


@dataclass(frozen=True)
class _Placed:
    """Rows of all places with one choice of clamps: rail length, clamps, whether and why not held, layout."""

    length: Array
    clamps: IntArray
    held: BoolArray
    loose: tuple[str, ...]
    layout: Layout


def _placed(project: Project, places: list[Place], every: int) -> _Placed:
    rows = [
        place.row.model_copy(update={"every": place.closer or every, "name": str(i)})
        for i, place in enumerate(places)
    ]
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


def _refuse_loose(
    project: Project, rows: IntArray, places: Sequence[Place], by_option: list[_Placed]
) -> None:
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
        snow = recall(memory, ("snow cases", planes), lambda: snow_cases(roof, project.site, planes))
        _, force = slide(roof, snow.cases, layout, project.slide, memory, both=False, ends=False)
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
    spot: Levels,
    own: IntArray,
    by_option: list[_Placed],
    demand: _Demand,
) -> Ladder:
    plan, places = project.table.plan, spot.places
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
        once = there[p][:, None] | (choice[:, p] == 0) | (len(choice) == n)  # not the same rows many times
        cost += np.where(once, single[p][:, choice[:, p]], np.inf)
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
        allowed=spot.allowed(plan.least_spacing, plan.most_spacing),
        alike=_alike(plane, level, own, by_option[0].layout),
        least=least,
        height=_height(project, own, level, h, by_option[0].layout, demand),
        strips=strips,
        most_rows=plan.most_rows,
        choice=choice if len(group) > 1 else None,
        open=spot.open(plan.least_spacing),
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
