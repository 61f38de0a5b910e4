"""Rows of a plan off their places by the tolerance of a site, and rows near by that bear that better.

The check of a place says nothing of the place beside it: a load may rise in a step, so that rows that pass
fail when they stand a little higher, or a row's line may meet a dormer there. Rows above the lowest ones are
then moved by a few centimeters, past the step or away from it, all or one by one, or get closer clamps, and
checked anew, as often as `TRIES` allows. What is left then is said: such rows do not pass.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from fea.analysis import Analysis, analyze, check_limits
from fea.checks.governing import worst_attachment
from fea.checks.limits import Limit
from fea.moving import on_rigid_seams
from fea.newly_over import Over, newly_over, others_over
from fea.off_place import ABOUT, change_words, distance, use_change
from fea.planning.apart import gaps, too_far
from fea.planning.checking import allowed_share, target_rows
from fea.planning.failing import LEAK, LOOSE, limits_excess
from fea.planning.passing import passing_by
from fea.planning.places import TOP_GAP, lowest_rows, unit_of
from fea.planning.threats import Threats
from fea.row_moves import with_ups
from fea.sensitivity import TOLERANCE, Tolerance, out_of_place, softer_limits
from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.project.load import Project, with_rows
from roofmodel.project.schema import RowTable
from roofmodel.sliding.end_steps import PLACED
from roofmodel.units import SYSTEMS

MOVES = (-1, 1, -2, 2, -3, 3, -4, 4)  # of the tolerance that a check tells
TOGETHER = 4  # of these with all rows at once
HELD = {"SI": 0.05, "US": 0.0508}  # what a plan holds: hands on a roof (judgment, common practice) [m]
TRIES = 60  # other rows whose limits are looked at
REPAIRS = 2  # times that rows of a trial which exceed get closer clamps

Change = dict[str, dict[str, float]]  # of each row its distance from the eave and clamp spacing


class Trouble(NamedTuple):
    """What rows do not bear a little off their places.

    Attributes
    ----------
    rows : tuple of str
        Rows that it hangs on.
    use : float
        Largest utilization then; infinite where it cannot be calculated.
    at : str
        The attachment that is used most then, or the target of `limit`.
    words : str
    limit : str
        The limit that it is; empty for those of attachments.
    """

    rows: tuple[str, ...]
    use: float
    at: str
    words: str
    limit: str = ""


class Steady(NamedTuple):
    """Rows, their check, what they do off their places, and what they still do not bear, the worst first."""

    rows: tuple[RowTable, ...]
    analysis: Analysis
    place: Tolerance | None
    trouble: tuple[Trouble, ...]

    @property
    def score(self) -> tuple[int, int, float]:
        """What is untested, how much there is to mend, and the worst of it."""
        known = [one.use for one in self.trouble if math.isfinite(one.use)]
        return len(self.trouble) - len(known), len(known), round(max(known, default=0.0), 3)


def row_steps(analysis: Analysis) -> tuple[Trouble, ...]:
    """Rows that keep their limits, but not once one of them alone is a little off, past a valley's step."""
    project = analysis.project
    names, units = project.layout.row_name, SYSTEMS[project.table.project.units]
    found = []
    for end in analysis.off_place:
        if end.exceeds:
            row, other, off = names[end.step.row], names[end.step.other], distance(end.step.off, units)
            way = f"{other} {off} lower" if end.step.other_moves else f"{row} {off} higher"
            change = use_change(end.use, end.then, end.at, f"{row}'s")
            found.append(Trouble((row, other), end.then, end.at, f"with {way} {change}"))
    for foot in analysis.past_foot:
        if foot.exceeds:
            row, gains = names[foot.step.row], names[foot.row]
            way = f"{row} {ABOUT[units.name]} {'higher' if foot.step.up else 'lower'}"
            change = use_change(foot.use, foot.then, foot.at, f"{gains}'s")
            words = f"with {way} {change}" if foot.tested else f"{way} cannot be calculated"
            found.append(Trouble(tuple(dict.fromkeys((row, gains))), foot.then, foot.at, words))
    return tuple(sorted(found, key=lambda one: -one.use))


def moved_alone(analysis: Analysis, step: float, memory: Memory | None = None) -> tuple[Trouble, ...]:
    """Rows beside valleys that take a kept limit over it once one of them alone is off by `step` [m].

    A row that parts from another at a valley takes more than a step of its own end tells: what it takes then
    grows with its place, and its overhang at a slanting edge does. Every limit counts; a row that cannot be
    there is not tested. Runs on rigid seams count by `softer_limits`.
    """
    project, names = on_rigid_seams(analysis.project), analysis.project.layout.row_name
    worst, edges = analysis.attachment, np.unique(analysis.graph.valley_edge)
    if worst is None or worst.utilization > 1.0 or project.table.as_built is not None or not len(edges):
        return ()
    near = analysis.force.end_bound.max(axis=(0, 2)) > 0.0
    near[[row for one in analysis.off_place for row in (one.step.row, one.step.other)]] = True
    near &= np.isin(project.layout.row_plane, np.unique(project.roof.edges.plane[edges]))
    part, off = softer_limits(analysis, project, memory), ABOUT[project.table.project.units]
    ups, found = [row.up for row in project.table.row], []
    for number in np.flatnonzero(near).tolist():
        for way, by in (("higher", step), ("lower", -step)):
            moving = f"{names[number]} alone {off} {way}"
            try:
                moved = with_ups(project, [*ups[:number], max(ups[number] + by, 0.01), *ups[number + 1 :]])
                limits = check_limits(moved, memory)
            except InputError:
                found.append(Trouble((names[number],), math.inf, "", f"{moving} cannot be calculated"))
                continue
            then = worst_attachment(limits)
            soft = 1.0 if then is None else part[limits[then.limit].name]
            if then is not None and soft * then.utilization > 1.0:
                at, use = limits[then.limit].target_name[then.target], soft * then.utilization
                words = f"with {moving} {use_change(worst.utilization, use, at, 'the')}"
                on = (names[number], *_row_of(analysis, at))
                found.append(Trouble(tuple(dict.fromkeys(on)), use, at, words))
            over = others_over(newly_over(analysis.limits, limits, moved, part), limits)
            found += [_of_limit(one, f"with {moving}", names[number]) for one in over]
    return tuple(found)


def _of_limit(over: Over, moving: str, *moved: str) -> Trouble:
    """A limit of anything but attachments that is exceeded off its place."""
    words = f"{moving} {change_words(over.limit, over.before, over.use, over.at)}"
    rows = tuple(dict.fromkeys(row for row in (*moved, over.row) if row))
    return Trouble(rows, over.use, over.at, words, over.limit)


def troubles(
    analysis: Analysis, place: Tolerance | None, alone: Sequence[Trouble] = ()
) -> tuple[Trouble, ...]:
    """What rows that keep their limits do not bear a little off their places, the worst first.

    Parameters
    ----------
    analysis : Analysis
    place : Tolerance or None
        As `fea.sensitivity.out_of_place` has it, for `HELD`.
    alone : sequence of Trouble
        Of `moved_alone`.
    """
    off, found = ABOUT[analysis.project.table.project.units], []
    stay: tuple[str, ...] = ()
    if place is not None:
        if place.failed:
            stay = place.stay or analysis.project.layout.row_name
            words = f"{' and '.join(stay)} {off} higher or lower cannot be calculated"
            found.append(Trouble(tuple(stay), math.inf, "", words))
        worst = analysis.attachment
        now = 0.0 if worst is None else worst.utilization
        for use, at, over, what in (
            (place.rows, place.rows_at, place.rows_over, f"with all rows together {off} higher or lower"),
            (place.clamps, place.clamps_at, place.clamps_over, f"with clamps {off} off along the rail"),
        ):
            if use > 1.0 >= now:  # NaN is not
                change = use_change(now, use, at, "the")
                found.append(Trouble(_row_of(analysis, at), use, at, f"{what} {change}"))
            found += [_of_limit(one, what) for one in over]
    found += _worst_of_each([*row_steps(analysis), *alone], stay)
    return tuple(sorted(found, key=lambda one: -one.use))


def _worst_of_each(found: Sequence[Trouble], stay: Sequence[str]) -> list[Trouble]:
    """Of those at one clamp, or of one limit there, the worse; what is not tested once for its row.

    Rows that `stay` are told already not to be tested.
    """
    worst: dict[tuple[str, ...], Trouble] = {}
    for one in sorted(found, key=lambda one: -one.use):
        if math.isfinite(one.use):
            worst.setdefault((one.limit, one.at), one)
        elif not set(one.rows) <= set(stay):
            worst.setdefault(("", *one.rows), one)
    return list(worst.values())


def _row_of(analysis: Analysis, attachment: str) -> tuple[str, ...]:
    """Row of a clamp; none of a panel strip."""
    layout = analysis.project.layout
    on = [row for name, row in zip(layout.clamp_name, layout.clamp_row, strict=True) if name == attachment]
    return tuple(layout.row_name[row] for row in on[:1])


def steadied(
    analysis: Analysis, rows: tuple[RowTable, ...], threats: Threats, every: tuple[int, ...] = ()
) -> Steady:
    """Planned rows off their places by `HELD`, and, where that exceeds a limit, rows near by that bear it.

    Parameters
    ----------
    analysis : Analysis
        Of the rows, which pass.
    rows : tuple of RowTable
    threats : Threats
    every : tuple of int, optional
        Clamp spacings that rows may get.

    Returns
    -------
    Steady
        The rows as they are where they bear their tolerance, or where nothing near by does better.
    """
    leak = passing_by(analysis, threats)
    leak = LEAK if leak <= LEAK else leak + LEAK
    search = _Search(threats, every, leak, Memory(), Memory(), {_places(rows)})
    best = _steady(rows, analysis, search)
    while best.trouble:
        better = None
        for change in _changes(best, threats, every):
            there = _tried(best, change, search)
            if there is not None and there.score < (better or best).score:
                better = there
                if better.score[:2] < best.score[:2]:
                    break
        if better is None:
            break
        whole = analyze(better.analysis.project)
        if not whole.passed:  # by a self-check that trials leave out
            break
        best = _steady(better.rows, whole, search)
    return best


def steadied_words(before: Sequence[RowTable], steady: Steady) -> str:
    """Which rows stand elsewhere than the cheapest ones, so that they bear to be a little out of place."""
    parts, units = [], SYSTEMS[steady.analysis.project.table.project.units]
    for old, new in zip(before, steady.rows, strict=True):
        by = new.up - old.up
        if abs(by) > LOOSE:
            parts.append(f"{new.name} {units.text(abs(by), 'size')} {'higher' if by > 0.0 else 'lower'}")
        if new.every != old.every:
            parts.append(
                f"{new.name} with clamps {new.every} seam{'s' * (new.every > 1)} apart, not {old.every}"
            )
    off = ABOUT[units.name]
    return f"So that rows {off} or so out of place bear it better than at first: {', '.join(parts)}."


class _Search(NamedTuple):
    """What all trials share.

    `leak` is the most that may pass the rows; `seen` are the rows looked at, one for each check.
    """

    threats: Threats
    every: tuple[int, ...]
    leak: float
    memory: Memory
    rigid: Memory
    seen: set[tuple[tuple[float, int], ...]]


def _steady(
    rows: tuple[RowTable, ...], analysis: Analysis, search: _Search, best: Steady | None = None
) -> Steady:
    """Rows with what they do off their places; of those no better than `best` only so much as shows that."""
    place = out_of_place(analysis, HELD[analysis.project.table.project.units], search.rigid)
    found = Steady(rows, analysis, place, troubles(analysis, place))
    if best is not None and found.score >= best.score:
        return found
    alone = moved_alone(analysis, HELD[analysis.project.table.project.units], search.rigid)
    return Steady(rows, analysis, place, troubles(analysis, place, alone))


def _tried(best: Steady, change: Change, search: _Search) -> Steady | None:
    """Rows with a change, and with closer clamps where that takes a limit over; None where no better."""
    rows = tuple(row.model_copy(update=change.get(row.name, {})) for row in best.rows)
    project = best.analysis.project
    for _ in range(REPAIRS + 1):
        if _places(rows) in search.seen or len(search.seen) > TRIES:
            return None
        search.seen.add(_places(rows))
        placed = _placed(project, rows)
        if placed is None:
            return None
        try:
            limits = check_limits(placed, search.memory, stiff=True)
            over = _rows_over(placed, limits)
            if not over:
                analysis = analyze(placed, memory=search.memory, beyond=False, trial=True)
                break
        except InputError:  # no clamps can stand so
            return None
        closer = {row.name: n for row in rows if row.name in over for n in search.every if n < row.every}
        if set(closer) != over:  # `every` rises, so that the last is the next closer one
            return None
        rows = tuple(row.model_copy(update={"every": closer.get(row.name, row.every)}) for row in rows)
    else:
        return None
    kept = analysis.passed and limits_excess(analysis.limits, project.table.plan.target) <= 1.0 + LOOSE
    if not kept or passing_by(analysis, search.threats) > search.leak:
        return None
    if Steady(rows, analysis, None, troubles(analysis, None)).score >= best.score:
        return None
    return _steady(rows, analysis, search, best)


def _rows_over(project: Project, limits: Sequence[Limit]) -> set[str]:
    """Rows at which a limit is over what the plan allows."""
    over = set[str]()
    for limit in limits:
        if limit.target.startswith("solar"):  # no row's clamps mend that
            over |= {limit.name} if np.nan_to_num(limit.utilization).max(initial=0.0) > 1.0 + LOOSE else set()
            continue
        share = np.nan_to_num(limit.utilization).max(axis=0) / allowed_share(limit, project.table.plan.target)
        rows = target_rows(limit, project.layout)[share > 1.0 + LOOSE]
        over |= {project.layout.row_name[row] for row in rows.tolist()}
    return over


def _places(rows: tuple[RowTable, ...]) -> tuple[tuple[float, int], ...]:
    return tuple((round(row.up, 6), row.every) for row in rows)


def _changes(now: Steady, threats: Threats, every: tuple[int, ...]) -> Iterator[Change]:
    """Other places and clamp spacings for what rows do not bear, what costs nothing first."""
    project = now.analysis.project
    unit = unit_of(project)
    rows = {row.name: row for row in now.rows}
    free = {row.name for row, low in zip(now.rows, lowest_rows(project, threats), strict=True) if not low}
    step = math.ceil(TOLERANCE[project.table.project.units] / unit - 1e-9) * unit
    past = _past_steps(now.analysis, unit)

    def moved(name: str, by: float) -> Change:
        return {name: {"up": round(rows[name].up + by, 6)}} if name in free else {}

    for trouble in now.trouble:
        if math.isinf(trouble.use):
            ways = ((name, times * step) for times in MOVES for name in trouble.rows if name in free)
            yield from (moved(name, by) for name, by in ways if _calculable(project, now, name, by))
            continue
        places = [moved(name, by) for name, by in past if name in trouble.rows and name in free]
        yield from places
        alone = [moved(name, times * step) for times in MOVES for name in trouble.rows if name in free]
        closer: list[Change] = [
            {name: {"every": n}}
            for name in trouble.rows
            for n in sorted(every, reverse=True)
            if n < rows[name].every
        ]
        yield from closer
        yield from (_joined(place, more) for place in places for more in closer)
        yield from (_joined(one, other) for one in closer for other in closer if one.keys() != other.keys())
        for times in MOVES[:TOGETHER]:
            yield {name: {"up": round(rows[name].up + times * step, 6)} for name in rows if name in free}
        yield from alone
        yield from (_joined(place, more) for place in alone for more in closer)


def _joined(one: Change, other: Change) -> Change:
    return {name: one.get(name, {}) | other.get(name, {}) for name in (*one, *other)}


def _past_steps(analysis: Analysis, unit: float) -> list[tuple[str, float]]:
    """Rows, and by how much to move each past a step that it is near to, or away from it. [m].

    As far beyond as rows on site may be off, in round numbers.
    """
    project = analysis.project
    roof, names = project.roof, project.layout.row_name
    found: list[tuple[str, float]] = []
    for end in analysis.off_place:
        rows = (end.step.row, 1.0), (end.step.other, -1.0)
        rise = np.sin(roof.planes.slope[project.layout.row_plane[[row for row, _ in rows]]])
        for (row, way), off in zip(rows, (end.step.off * rise.max() / rise).tolist(), strict=True):
            found += [(names[row], way * _round_out(far, unit)) for far in (off + PLACED, off - PLACED)]
    for foot in analysis.past_foot:
        way, off = (1.0 if foot.step.up else -1.0), foot.step.off
        found += [(names[foot.step.row], way * _round_out(far, unit)) for far in (off + PLACED, off - PLACED)]
    return sorted(dict.fromkeys(found), key=lambda one: abs(one[1]))


def _round_out(by: float, unit: float) -> float:
    """In round numbers, farther. [m]."""
    return math.copysign(math.ceil(abs(by) / unit + 0.5) * unit, by)


def _calculable(project: Project, now: Steady, name: str, by: float) -> bool:
    """Whether a row that is moved can be off its new place, both ways."""
    held, ups = HELD[project.table.project.units], [row.up for row in now.rows]
    i = [row.name for row in now.rows].index(name)
    try:
        for off in (by, by - held, by + held):
            with_ups(project, [*ups[:i], ups[i] + off, *ups[i + 1 :]])
    except InputError:
        return False
    return True


def _placed(project: Project, rows: tuple[RowTable, ...]) -> Project | None:
    """The project with other rows; None where they cannot stand or break a rule of the plan."""
    try:
        placed, plan = with_rows(project, rows), project.table.plan
    except InputError:
        return None
    now, then = gaps(project, project.layout), gaps(placed, placed.layout)
    nearest = min((one.height for one in now if one.upper >= 0), default=math.inf)
    least = min(plan.least_spacing, nearest)
    if any(one.height < least - LOOSE for one in then if one.upper >= 0):
        return None
    if any(one.height < TOP_GAP - LOOSE for one in then if one.upper < 0 and one not in now):
        return None
    return None if too_far(placed, placed.layout) > too_far(project, project.layout) + LOOSE else placed
