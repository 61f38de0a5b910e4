"""What is not kept where no rows pass, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import Limit
from fea.planning.checking import HEIGHT, allowed_share, target_rows
from fea.planning.ladder import Ladder, Path
from fea.tipping import unsettled_words
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

LOOSE = 1e-6  # of lengths and shares that count as kept
LEAK = 0.01  # of the threatening snow may pass the rows before the plan is refused [-]


def limits_excess(limits: Sequence[Limit], target: float) -> float:
    """Largest share of its target that any limit uses. [-]."""
    shares = [np.nan_to_num(one.utilization, nan=0.0) / allowed_share(one, target) for one in limits]
    return max((float(share.max(initial=0.0)) for share in shares), default=0.0)


def _asks(limit: Limit, share: Array, project: Project, sure: bool) -> str:
    """What hardware would have to have where no rows pass, if it is sure that none do."""
    if limit.name == HEIGHT:
        least = float(np.nanmax(np.where(share >= share.max(), limit.demand, np.nan)))
        units = SYSTEMS[project.table.project.units]
        there = units.text(float(np.nanmin(limit.resistance)), limit.quantity)
        return (
            f"; it asks for a rail top {units.text(least, limit.quantity)} high, not {there}"
            " (clamp.height and [rail] serve all planes)"
        )
    return "" if limit.service or not sure else f"; it asks for {share.max():.2f} times the strength"


def _where(limit: Limit, share: Array, analysis: Analysis, project: Project) -> tuple[str, float]:
    """Where a limit is over its target by most, in words, and how much of it is used there. [%]."""
    layout, names = analysis.project.layout, project.roof.planes.name
    case, which = (int(i) for i in np.unravel_index(np.argmax(share), share.shape))
    plane = ""
    if not limit.target.startswith("solar"):
        plane = f" on plane {names[layout.row_plane[int(target_rows(limit, layout)[which])]]}"
    return f"{plane}: {limit.target_name[which]}", 100.0 * float(limit.utilization[case, which])


def _also(limit: Limit, share: Array, analysis: Analysis, project: Project) -> str:
    """Another limit that is over, and what would keep it with the same rows."""
    where, use = _where(limit, share, analysis, project)
    if limit.service or limit.name == HEIGHT:
        return f"{limit.name}{where} {use:.0f} %"
    return f"{limit.name}{where} {use:.0f} % (with these rows {share.max():.2f} times the strength would do)"


def _obstacles(least: Sequence[Mapping[str, float]]) -> str:
    """Limits that no layout tried kept, each by itself, as if the others were mended."""
    names = dict.fromkeys(name for one in least for name in one)
    most = {name: max(one.get(name, 0.0) for one in least) for name in names}
    over = sorted((name for name in names if most[name] > 1.0 + LOOSE), key=lambda name: -most[name])
    if not over:
        return ""
    each = ", ".join(f"{name} {most[name]:.2f} times" for name in over)
    return (
        f". To be mended, each as if the others were: {each} what there is (the least of all layouts tried)"
    )


def failure_words(
    project: Project,
    analysis: Analysis,
    leak: float,
    sure: bool,
    least: Sequence[Mapping[str, float]] = (),
) -> str:
    """One statement of what is not kept, and where; empty if all is.

    Parameters
    ----------
    project : Project
    analysis : Analysis
        Of the best rows found.
    leak : float
        Part of the threatening snow that runs past the rows. [-]
    sure : bool
        Whether no other rows pass.
    least : sequence of mapping of str to float
        Of each group the least share of its target that each limit used, over all layouts tried.
    """
    target, over = project.table.plan.target, []
    for limit in analysis.limits:
        share = np.nan_to_num(limit.utilization, nan=0.0) / allowed_share(limit, target)
        if share.size and share.max() > 1.0 + 1e-9:
            first = limit.name == HEIGHT  # no choice of rows mends a rail that is too low
            over.append((first, float(share.max()), limit, share))
    over.sort(key=lambda one: (not one[0], -one[1]))
    if over:
        _, _, limit, share = over[0]
        case = int(np.unravel_index(np.argmax(share), share.shape)[0])
        where, use = _where(limit, share, analysis, project)
        of = "" if allowed_share(limit, target) == 1.0 else f" (target {100.0 * target:.0f} %)"
        also = [_also(limit, share, analysis, project) for _, _, limit, share in over[1:]]
        name, asks = analysis.snow.cases[case].name, _asks(limit, share, project, sure)
        return (
            f"{limit.name}{where} still uses {use:.0f} %{of} in the case"
            f' "{name}" with the best rows found{asks}'
            f"{'; also over: ' if also else ''}{', '.join(also)}{_obstacles(least)}"
        )
    broken = [proof.name for proof in analysis.proofs if not proof.met]
    if broken:
        return (
            f"the self-audit of the best rows found is not met: {', '.join(broken)}; narrower strips "
            "(analysis.strip_width) may mend it"
        )
    if leak > LEAK:
        return (
            f"{100.0 * leak:.1f} % of the snow that threatens what is protected runs past the rows from "
            "above them; bring rows closer to edges and valleys (plan.edge_distance), or place some by hand"
        )
    names = ", ".join(one.name for one in analysis.unprotected)
    if names:
        return f"snow that no row holds still comes down on {names}"
    tips = analysis.unsettled
    return "" if tips is None else f"not settled, {unsettled_words(tips)}"


def forbidden_words(project: Project, choices: Sequence[Ladder], paths: Sequence[Path]) -> str:
    """What to say where the spacings permit no path at all, so that what was checked is none; else empty."""
    for ladder, path in zip(choices, paths, strict=True):
        ends = [a for a, _ in path[1:]] + [ladder.levels]
        if all(ladder.allowed[a, b] for (a, _), b in zip(path, ends, strict=True)):
            continue
        plan, units = project.table.plan, SYSTEMS[project.table.project.units]
        names = ", ".join(project.roof.planes.name[p] for p in ladder.planes)
        most = "any" if plan.most_spacing is None else units.text(plan.most_spacing, "length")
        least = units.text(plan.least_spacing, "length")
        return (
            f"on plane {names} no heights of up to {plan.most_rows} rows (plan.most_rows) are "
            f"{least} or more apart (plan.least_spacing) and {most} or less "
            "from one another and from the top (plan.most_spacing)"
        )
    return ""
