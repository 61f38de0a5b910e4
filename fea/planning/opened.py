"""Which rule of the table plan stands in the way where no rows pass: the search again with rules opened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from fea.analysis import Analysis, analyze
from fea.moving import Prepared, on_rigid_seams
from fea.planning.apart import gaps, most_rows
from fea.planning.candidates import ladders
from fea.planning.checking import checked, path_rows, row_use
from fea.planning.failing import LEAK, LOOSE, forbidden_words
from fea.planning.ladder import Checked, Path
from fea.planning.passing import passing_by
from fea.planning.places import has_ends, lowest_rows
from fea.planning.search import search
from fea.planning.threats import Threats
from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.project.load import Project, with_rows
from roofmodel.units import SYSTEMS

NEARER, CLOSEST = 0.75, 0.5  # of the least spacing, and the latter of the distance from the eave
FARTHER = 2.0  # of the distance from the eave
MOST_ROWS = 8
FINE = {"SI": 0.05, "US": 0.0508}  # what spacings are rounded to [m]

TRIALS = 40  # full checks of one search

Tell = Callable[[str], None]


def opened_words(
    project: Project, best: Analysis, threats: Threats, tell: Tell | None, memory: Memory
) -> str:
    """What to open in the table plan so that rows are found, each found by a search; or that nothing does.

    Parameters
    ----------
    project : Project
    best : Analysis
        Of the best rows found, which do not pass.
    threats : Threats
    tell : callable or None
        Is told in words how far the search has come.
    memory : Memory
        Of the searches before, on rigid seams.
    """
    plan, placed = project.table.plan, best.project
    everything = {
        "least_spacing": _nearer(project, CLOSEST),
        "most_rows": MOST_ROWS,
        "every": sorted({1, *plan.every}),
        "step": None,
        "most_spacing": None,
    }
    everything = {name: value for name, value in everything.items() if value != getattr(plan, name)}
    full = any(has_ends(row) for row in placed.table.row)
    for fields in [*_likely(project, placed), *_eave_distance(project, best, threats), everything]:
        table = project.table.plan.model_copy(update=fields)
        other = replace(project, table=project.table.model_copy(update={"plan": table}))
        try:
            found = _first_passing(other, threats, tell, memory, full=full)
        except InputError:  # rows that cannot stand
            continue
        if found is not None and ("eave_distance" not in fields or _keeps(found, threats)):
            return _opens(project, fields, found)
    if not everything:
        return ""
    tried = " and ".join(_value(project, name, value) for name, value in everything.items())
    return (
        f"No rule of [plan] alone stands in the way: with {tried} no rows were found either. It takes "
        "other hardware, or rows placed by hand."
    )


def _first_passing(
    project: Project, threats: Threats, tell: Tell | None, memory: Memory, *, full: bool
) -> Project | None:
    """The project with the first rows that a search finds to keep every limit; None if it finds none."""
    rigid, every = on_rigid_seams(project), tuple(sorted(set(project.table.plan.every)))
    prepared = Prepared(rigid, memory)
    choices = ladders(rigid, threats, every, prepared.memory, full=full)
    done = 0

    def check(paths: list[Path]) -> list[Checked]:
        nonlocal done
        done += 1
        if tell is not None:
            tell(f"looking for what stands in the way, check {done}")
        return checked(prepared, choices, every, paths)

    found, _ = search(choices, check, first=True, densest=True, most_checks=TRIALS)
    paths = [one.path for one in found]
    if not all(one.feasible for one in found) or forbidden_words(project, choices, paths):
        return None
    if len(found) > 1 and any(one.worst > 1.0 + LOOSE for one in check(paths)):
        return None  # each passed beside other rows than these
    return with_rows(project, path_rows(project, choices, every, paths)[0])


def _keeps(found: Project, threats: Threats) -> bool:
    """Whether rows at another distance from the eave still hold what they are to hold."""
    analysis = analyze(found)
    return not analysis.unprotected and passing_by(analysis, threats) <= LEAK


def _nearer(project: Project, part: float) -> float:
    fine = FINE[project.table.project.units]
    return float(max(np.floor(part * project.table.plan.least_spacing / fine + LOOSE), 1.0) * fine)


def _likely(project: Project, placed: Project) -> list[dict[str, Any]]:
    """Rules to open one at a time: those that the best rows found stand at first."""
    plan, layout = project.table.plan, placed.layout
    apart = [one.height for one in gaps(placed, layout) if one.upper >= 0]
    most = most_rows(layout)
    rules: list[tuple[bool, dict[str, Any]]] = []
    if _nearer(project, NEARER) < plan.least_spacing:
        near = min(apart, default=np.inf) < plan.least_spacing + 0.05
        rules.append((near, {"least_spacing": _nearer(project, NEARER)}))
    if plan.most_rows < MOST_ROWS:
        rules.append((most >= plan.most_rows, {"most_rows": min(plan.most_rows + 2, MOST_ROWS)}))
    if min(plan.every) > 1:
        rules.append((True, {"every": sorted({1, *plan.every})}))
    return [fields for at, fields in sorted(rules, key=lambda one: not one[0])]


def _eave_distance(project: Project, best: Analysis, threats: Threats) -> list[dict[str, Any]]:
    """Lowest rows farther up where one of them is used most, which then holds less; else farther down."""
    plan, placed = project.table.plan, best.project
    use = row_use(best.limits, placed.layout, plan.target)
    lowest = lowest_rows(placed, threats)[int(use.argmax())]
    fine = FINE[project.table.project.units]
    steps = np.round((FARTHER if lowest else CLOSEST) * plan.eave_distance / fine)
    distance = float(max(steps, 1.0) * fine)
    return [] if abs(distance - plan.eave_distance) < LOOSE else [{"eave_distance": distance}]


def _value(project: Project, name: str, value: object) -> str:
    """Such as "least_spacing = 0.8 m"."""
    if value is None:
        return f"no {name}"
    if name in ("least_spacing", "most_spacing", "step", "eave_distance") and isinstance(value, float):
        return f"{name} = {SYSTEMS[project.table.project.units].text(value, 'length')}"
    return f"{name} = {value}"


def _opens(project: Project, fields: dict[str, Any], found: Project) -> str:
    """Rules that the rows found go beyond, and what they need."""
    plan, layout = project.table.plan, found.layout
    needed = {}
    for name, value in fields.items():
        if name == "least_spacing":
            near = min((one.height for one in gaps(found, layout) if one.upper >= 0), default=np.inf)
            if near >= plan.least_spacing - LOOSE:
                continue
        if name == "most_rows" and most_rows(layout) <= plan.most_rows:
            continue
        if name == "every" and all(row.every in plan.every for row in found.table.row):
            continue
        needed[name] = value
    needed = needed or fields
    given = " and ".join(_value(project, name, getattr(plan, name)) for name in needed)
    then = " and ".join(_value(project, name, value) for name, value in needed.items())
    rows, clamps = len(layout.row_name), len(layout.clamp_name)
    stands = "stands" if len(needed) == 1 else "stand"
    falls = ""
    if needed.get("eave_distance", 0.0) > plan.eave_distance:
        falls = " More snow then lies below the lowest rows, and falls."
    return (
        f"[plan] {given} {stands} in the way: with {then} rows that keep every limit are found ({rows} rows, "
        f"{clamps} clamps).{falls}"
    )
