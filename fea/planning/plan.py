"""Rows for a project: the search on its ladders with the real check, and what to say about the result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis, analyze
from fea.moving import Prepared, on_rigid_seams
from fea.planning.apart import too_wide_words
from fea.planning.candidates import FOOT, ladders
from fea.planning.checking import HEIGHT, checked, path_rows
from fea.planning.failing import LEAK, LOOSE, failure_words, forbidden_words, limits_excess
from fea.planning.ladder import Checked, Found, Ladder, Path
from fea.planning.opened import opened_words
from fea.planning.passing import passing_by
from fea.planning.places import MOST_LEVELS, bar_length, has_ends, lowest_distance, rail_choices
from fea.planning.search import search
from fea.planning.slivers import without_slivers
from fea.planning.steady import Trouble, steadied, steadied_words
from fea.planning.thinning import thinned
from fea.planning.threats import Threats, find_threats
from fea.refining import only_strips_fail, with_narrower_strips
from fea.sensitivity import Tolerance
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.memory import Memory
from roofmodel.project.load import Project, with_rows
from roofmodel.project.schema import RowTable
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

NARROWINGS = 3
FAR = 1.5  # rows that are over by so much are not looked for at finer steps (judgment)
TRIED = "Tried: "
LEAST_TARGET = 0.7  # of the target, for rows that bear to be out of place (judgment) [-]
FINEST = 0.1  # between levels that are looked at where wider steps do not pass (judgment) [m]


@dataclass(frozen=True)
class Plan:
    """Planned rows and what was found on the way.

    Attributes
    ----------
    threats : Threats
    rows : tuple of RowTable
        All rows, in place of those of the project file.
    analysis : Analysis
        The full check of these rows.
    groups : tuple of (tuple of str, Found)
        Planes of each group, and how its search ended.
    checks : int
        Full checks that the search took.
    length : float
        Rail in all. [m]
    clamps : int
    cost : float
        In the user's currency.
    passing_by : float
        Part of the threatening snow that runs past the rows from above them. [-]
    failure : str
        Why this is no answer, empty if every limit is kept.
    notes : tuple of str
    shared : bool
        Whether rows of one level had to share a clamp spacing: pieces on one plane, or many planes.
    thinned : bool
        Whether single pieces were then left out or given fewer clamps, one by one (`fea.planning.thinning`).
    gaps : bool
        Whether rows leave gaps, on planes in pieces or as far as snow threatens (`fea.planning.open_rows`).
    full : bool
        Whether rows run on over their planes, also where nothing threatens.
    advice : str
        Where nothing passes: which rule of the table plan to open so that rows are found.
    cautions : tuple of str
        Rules of the table plan that the rows found do not keep.
    place : Tolerance or None
        What the rows do off their places by the tolerance; None where they do not pass or nothing is loaded.
    trouble : tuple of Trouble
        What they do not bear then, the worst first; rows with such trouble do not pass.
    steadied : bool
        Whether rows were moved from the cheapest places, or got closer clamps, to bear that.
    """

    threats: Threats
    rows: tuple[RowTable, ...]
    analysis: Analysis
    groups: tuple[tuple[tuple[str, ...], Found], ...]
    checks: int
    length: float
    clamps: int
    cost: float
    passing_by: float
    failure: str
    notes: tuple[str, ...]
    shared: bool = False
    thinned: bool = False
    gaps: bool = False
    full: bool = False
    advice: str = ""
    cautions: tuple[str, ...] = ()
    place: Tolerance | None = None
    trouble: tuple[Trouble, ...] = ()
    steadied: bool = False

    @property
    def proven(self) -> bool:
        """Whether nothing cheaper passes among what `fea.planning.candidates` offers."""
        found = all(one.proven and one.feasible for _, one in self.groups)
        return found and not self.thinned and not self.steadied

    @property
    def excess(self) -> float:
        """Largest share of its target that any limit uses. [-]."""
        return limits_excess(self.analysis.limits, self.analysis.project.table.plan.target)

    @property
    def passed(self) -> bool:
        """Whether everything is kept and verified, a little out of place too."""
        return not self.failure and self.analysis.passed and not self.trouble


class _Task(NamedTuple):
    """What stays while rows are looked for: arguments of `plan_rows`, and what checks need again."""

    threats: Threats
    every: tuple[int, ...]
    most_checks: int
    tell: Callable[[str], None] | None
    memory: Memory


def plan_rows(
    project: Project,
    tell: Callable[[str], None] | None = None,
    *,
    every: Sequence[int] | None = None,
    most_checks: int = 400,
) -> Plan:
    """Rows of least material (or evenly used ones) that hold what threatens and pass every check.

    Parameters
    ----------
    project : Project
        Its rows do not count; its tables plan and protect do.
    tell : callable, optional
        Is told in words how far the search has come.
    every : sequence of int, optional
        Clamp spacings, in place of those of the table plan; a lowest row that is too short for all of them
        gets the widest that holds it.
    most_checks : int
        Full checks that the search may take.

    Returns
    -------
    Plan
        With `failure` where nothing passes: then its rows are the best found.

    Raises
    ------
    InputError
        Nothing threatens; planes on which no row can stand.
    """
    options = tuple(sorted(set(every or project.table.plan.every)))
    known = options if every is None else range(1, max(options) + 1)
    project = _with_plan(project, every=list(known))
    threats = without_slivers(project, find_threats(project))
    task = _Task(threats, options, most_checks, tell, Memory())
    plan = _nearest(project, task)
    plan = replace(plan, cautions=too_wide_words(plan.analysis.project))
    if plan.passed:
        return _steadiest(project, task, plan)
    if not plan.failure or plan.excess <= 1.0 + LOOSE or every is not None:
        return plan
    if any(one.name == HEIGHT and (one.utilization > 1.0).any() for one in plan.analysis.limits):
        return plan  # the failure says what mends that

    return replace(plan, advice=opened_words(project, plan.analysis, threats, tell, task.memory))


def _steadiest(project: Project, task: _Task, plan: Plan) -> Plan:
    """Rows that bear to be a little out of place: near those of least cost, or found with more to spare."""
    steady = _steady(plan, task.every)
    known = [one.use for one in steady.trouble if np.isfinite(one.use)]
    target = project.table.plan.target
    if not known or max(known) > FAR:
        return steady
    spare = _with_plan(project, target=target * max(1.0 / max(known), LEAST_TARGET))
    try:
        other = _nearest(spare, task)
    except InputError:  # what cannot be does not take away what was found
        return steady
    if other.failure or not other.analysis.passed:
        return steady
    asked = replace(
        other, analysis=replace(other.analysis, project=_with_plan(other.analysis.project, target=target))
    )
    other = _steady(replace(asked, cautions=too_wide_words(asked.analysis.project)), task.every)
    if other.excess > 1.0 + LOOSE or len(other.trouble) >= len(steady.trouble):
        return steady
    note = (
        "The cheapest rows that keep every limit do not bear to be a little out of place, nor do rows near "
        f"them; these were looked for with limits used to {100.0 * spare.table.plan.target:.0f} % at most."
    )
    return replace(other, steadied=True, notes=(*other.notes, note))


def _steady(plan: Plan, every: tuple[int, ...]) -> Plan:
    """The plan with what its rows do off their places; a little other rows where these mend it."""
    steady = steadied(plan.analysis, plan.rows, plan.threats, every)
    if steady.rows == plan.rows:
        return replace(plan, place=steady.place, trouble=steady.trouble)
    project, layout = steady.analysis.project, steady.analysis.project.layout
    length, clamps = float(layout.row_length.sum()), len(layout.clamp_name)
    return replace(
        plan,
        rows=steady.rows,
        analysis=steady.analysis,
        place=steady.place,
        trouble=steady.trouble,
        steadied=True,
        length=length,
        clamps=clamps,
        cost=_cost(project, length, clamps, len(steady.rows)),
        passing_by=passing_by(steady.analysis, plan.threats),
        cautions=too_wide_words(project),
        notes=(*plan.notes, steadied_words(plan.rows, steady)),
    )


def _nearest(
    project: Project,
    task: _Task,
) -> Plan:
    """Rows at the steps asked for; at finer ones where these do not pass and none were asked for."""
    plan = _shorter_or_whole(project, task)
    step = _finer_step(project, task.threats)
    if not plan.failure or project.table.plan.step is not None or plan.excess > FAR:
        return plan
    finer = _with_plan(project, step=step)
    try:
        nearer = plan.full if plan.gaps else None
        closer = _shorter_or_whole(finer, task, nearer)
    except InputError:  # what cannot be does not take away what was found
        return plan
    if closer.failure and closer.excess >= plan.excess:
        return plan
    length = SYSTEMS[project.table.project.units].text(step, "length")
    note = f"Rows at wider steps up the slope do not pass; these were looked for every {length} (plan.step)."
    return replace(closer, notes=(*closer.notes, note))


def _with_plan(project: Project, **fields: object) -> Project:
    plan = project.table.plan.model_copy(update=fields)
    return replace(project, table=project.table.model_copy(update={"plan": plan}))


def _shorter_or_whole(
    project: Project,
    task: _Task,
    only: bool | None = None,
) -> Plan:
    """Rows as far as snow threatens; on to the ends of their planes where these pass or come nearer to it.

    `only` takes the first (False) or the second (True) alone.
    """
    if only is not None:
        return _narrowed(project, task, full=only)
    plan = _narrowed(project, task, full=False)
    partial = any(has_ends(row) for row in plan.rows)
    if not plan.failure or not partial:
        return plan
    try:
        whole = _narrowed(project, task, full=True)
    except InputError:
        return plan
    if whole.failure and whole.excess >= plan.excess:
        return plan
    note = "Rows that reach only as far as snow threatens do not pass; these run on over their planes."
    return replace(whole, notes=(*whole.notes, note))


def _finer_step(project: Project, threats: Threats) -> float:
    """Step between levels that looks as closely as the number of levels allows. [m]."""
    high = max(float(project.roof.planes.outline[p].bounds[3]) for p in threats.planes)
    return max(FINEST, high / (MOST_LEVELS - 4))


def _narrowed(
    project: Project,
    task: _Task,
    *,
    full: bool,
) -> Plan:
    """The search with strips as narrow as the self-audit of its result asks for."""
    plan = _search(project, task, full=full)
    for _ in range(NARROWINGS):
        if plan.analysis.exceeded or not only_strips_fail(plan.analysis):
            return plan
        project, words = with_narrower_strips(project)
        task = task._replace(memory=Memory())
        plan = _again(plan, project) or _search(project, task, full=full)
        note = f"The self-audit asked for narrower strips: analysis.strip_width is now {words}."
        plan = replace(plan, notes=(*plan.notes, note))
    return plan


def _again(plan: Plan, project: Project) -> Plan | None:
    """The same rows on narrower strips; None if they do not pass, or might be the cheapest no more."""
    if not plan.gaps:
        return None
    analysis = analyze(with_rows(project, plan.rows))
    leak = passing_by(analysis, plan.threats)
    failure = failure_words(project, analysis, leak, sure=False)
    notes = plan.notes if failure else tuple(note for note in plan.notes if not note.startswith(TRIED))
    again = replace(plan, analysis=analysis, passing_by=leak, failure=failure, notes=notes)
    return None if again.excess > 1.0 + 1e-9 or leak > LEAK or analysis.unsettled else again


def _search(
    project: Project,
    task: _Task,
    *,
    full: bool,
) -> Plan:
    threats, every, tell = task.threats, task.every, task.tell
    rigid = on_rigid_seams(project)
    prepared = Prepared(rigid, task.memory)
    choices = ladders(rigid, threats, every, prepared.memory, full=full)
    least: list[dict[str, float]] = [{} for _ in choices]  # of each limit, by group, over all layouts tried
    done = 0
    spacing = f", clamps {every[0]} seam{'s' * (every[0] > 1)} apart" if len(every) == 1 else ""

    def check(paths: list[Path]) -> list[Checked]:
        nonlocal done
        done += 1
        if tell is not None:
            tell(f"planning rows{' over whole planes' if full else ''}, check {done}{spacing}")
        one = checked(prepared, choices, every, paths)
        for own, group in zip(least, one, strict=True):
            own |= {name: min(use, own.get(name, np.inf)) for name, use in group.limits.items()}
        return one

    plan = project.table.plan
    found, checks = search(
        choices, check, even=plan.goal == "even", densest=True, most_checks=task.most_checks
    )
    paths = [one.path for one in found]
    changes, tries = (
        thinned(prepared, choices, every, paths) if all(one.feasible for one in found) else ({}, 0)
    )
    rows, _ = path_rows(project, choices, every, paths, changes)
    analysis = analyze(with_rows(project, rows))
    layout = analysis.project.layout
    length = float(layout.row_length.sum())
    clamps = len(layout.clamp_name)
    by_group = tuple(
        (tuple(project.roof.planes.name[p] for p in ladder.planes), one)
        for ladder, one in zip(choices, found, strict=True)
    )
    leak = passing_by(analysis, threats)
    sure = all(one.proven for one in found)
    failure = forbidden_words(project, choices, paths) or failure_words(project, analysis, leak, sure, least)
    tried = _tried(project, choices, checks, sure) if failure else ()
    return Plan(
        threats=threats,
        rows=rows,
        analysis=analysis,
        groups=by_group,
        checks=checks + tries,
        length=length,
        clamps=clamps,
        cost=_cost(project, length, clamps, len(rows)),
        passing_by=leak,
        failure=failure,
        notes=(
            *threats.notes,
            *tried,
            *closer_words(rows, every),
            *_notes(project, threats, by_group, layout, stopped=checks >= task.most_checks),
        ),
        shared=any(_shares(ladder, one.path) for ladder, one in zip(choices, found, strict=True)),
        thinned=bool(changes),
        gaps=any(ladder.open for ladder in choices),
        full=full,
    )


def _cost(project: Project, length: float, clamps: int, rows: int) -> float:
    plan = project.table.plan
    per_meter = plan.rail_cost / (FOOT if project.table.project.units == "US" else 1.0)
    return per_meter * length + plan.clamp_cost * clamps + plan.row_cost * rows


def closer_words(rows: Sequence[RowTable], every: Sequence[int]) -> tuple[str, ...]:
    """A note naming rows whose clamps stand closer than asked for."""
    names = ", ".join(row.name for row in rows if row.every not in every)
    if not names:
        return ()
    seams = " or ".join(str(n) for n in every)
    return (f"Too short for clamps {seams} seams apart, so with closer ones: {names}.",)


def _shares(ladder: Ladder, path: Path) -> bool:
    """Whether rows of one level of a path have one clamp spacing because nothing else was looked for."""
    on = [[place.plane for place in ladder.places[level]] for level, _ in path]
    return ladder.together or any(len(set(planes)) < len(planes) for planes in on)


def _tried(project: Project, choices: Sequence[Ladder], checks: int, sure: bool) -> tuple[str, ...]:
    """What was looked at where no rows were found."""
    units, names = SYSTEMS[project.table.project.units], project.roof.planes.name
    parts = []
    for ladder in choices:
        for plane in ladder.planes:
            up = sorted({p.row.up for level in ladder.places[1:] for p in level if p.plane == plane})
            if up:
                low, high = units.text(up[0], "length"), units.text(up[-1], "length")
                parts.append(f"on {names[plane]} at {len(up)} heights from {low} to {high}")
    above = f"; above the lowest rows {', '.join(parts)}" if parts else ", with no room above the lowest"
    ended = "others fail by what these show" if sure else "the search ended before all were seen"
    return (
        f"{TRIED}{checks} layouts in full, of up to {project.table.plan.most_rows} rows one above the other"
        f"{above}; {ended}.",
    )


def _notes(
    project: Project,
    threats: Threats,
    groups: tuple[tuple[tuple[str, ...], Found], ...],
    layout: Layout,
    *,
    stopped: bool,
) -> tuple[str, ...]:
    found = []
    open_ones = [", ".join(names) for names, one in groups if one.feasible and not one.proven]
    if open_ones:
        found.append(
            f"Not proven to be the best on {'; '.join(open_ones)}: "
            + (
                "the search stopped at its limit of checks."
                if stopped
                else "some row does better with more snow above it, so that cheaper rows may be missed."
            )
        )
    if project.table.analysis.panel_flexibility:
        found.append("Rows were chosen on panels that do not give way; the check of the result lets them.")
    models = list(dict.fromkeys(rail_choices(project, p)[1] for p in threats.planes))
    followed = ", ".join(name for name in models if name)
    if followed:
        found.append(f"Rail ends and splices follow row {followed} of the project; [plan] may say otherwise.")
    units = SYSTEMS[project.table.project.units]
    pieces = _splices(project, threats, layout) if len(layout.splice_s) else ""
    found += [pieces] if pieces else []
    distance = units.text(lowest_distance(project), "length")
    found.append(f"What lies below the lowest rows, {distance} from the eave, still falls.")
    return tuple(found)


def _splices(project: Project, threats: Threats, layout: Layout) -> str:
    """How planned rails are spliced, what that rests on, and how to have it otherwise; empty where chosen."""
    chosen = [rail_choices(project, p)[0] for p in threats.planes]
    kinds = {one["splice_kind"] for one in chosen if one["splice_every"] is None}
    if not kinds:
        return ""
    most, given = bar_length(project), project.table.rail.stock_length is not None
    length = SYSTEMS[project.table.project.units].text(most, "length")
    bars = f"rail.stock_length ({length})" if given else f"bars of a usual {length} (assumed: no source)"
    kind = " and ".join(sorted(kinds))
    weak = ', the weakest reading; "continuous" where sleeves pass on bending' if kinds == {"hinge"} else ""
    longer = "" if given else " Where longer rails come in one piece, give rail.stock_length."
    return (
        f"Rails longer than {bars} are spliced in even pieces, {len(layout.splice_s)} in all, and checked "
        f"so: {kind} (plan.splice_kind{weak}).{longer}"
    )
