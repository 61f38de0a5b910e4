"""Limits that hang on how the structure answers: clamps, rails and strips, the worst of its states."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from fea.checks.anchorage import StripLoads, anchorage_limit
from fea.checks.combinations import LoadFactors, factor_arrays
from fea.checks.limits import (
    Demands,
    Limit,
    clamp_limits,
    combine,
    rail_deflection_limit,
    rail_stress_limit,
    worse,
)
from fea.checks.member import member_limits
from fea.checks.screw_strength import screw_rule
from fea.checks.screws import screw_limits
from fea.rails.actions import Basis
from fea.rails.frame import solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.rows import Frame
from fea.solvers.direct import Solver
from roofmodel.hardware import DesignFormat
from roofmodel.project.load import Project

Array = NDArray[np.float64]


def solved_frames(
    project: Project,
    frames: Iterable[Frame],
    loads: RailLoads,
    basis: Basis,
    factors: tuple[Array, Array, Array],
) -> tuple[tuple[FrameResult, ...], tuple[Demands, ...]]:
    """Unit responses and factored demands of each state's frame; `factors` as `factor_arrays` has them."""
    solver = Solver(project.table.analysis.solver)
    responses = tuple(solve_frame(frame, loads, solver=solver) for frame in frames)
    return responses, tuple(combine(one, basis, *factors) for one in responses)


def attachment_limits(project: Project, demands: Sequence[Demands]) -> tuple[Limit, ...]:
    """Limits of clamps and of their screws, the worst of all states."""
    layout, clamp, form = project.layout, project.clamp, DesignFormat(project.table.design.format)
    force = np.concatenate([one.clamp for one in demands], axis=1)
    return (
        *clamp_limits(force, clamp, layout),
        *screw_limits(force, clamp, layout, screw_rule(form, project.site.standard)),
    )


def structure_limits(
    project: Project,
    solved: tuple[tuple[FrameResult, ...], tuple[Demands, ...]],
    basis: Basis,
    service: Sequence[LoadFactors],
    strips: StripLoads,
) -> tuple[Limit, ...]:
    """Limits of clamps, screws, rails and panel strips.

    Parameters
    ----------
    project : Project
    solved : (responses, demands)
        Unit responses and factored demands, one for each state.
    basis : Basis
    service : sequence of LoadFactors
        Of serviceability, one of each case.
    strips : StripLoads
        What loads the strips besides the clamps.
    """
    responses, demands = solved
    layout, rail = project.layout, project.rail
    form = DesignFormat(project.table.design.format)
    force = np.concatenate([one.clamp for one in demands], axis=1)
    lasting = factor_arrays(tuple(service))
    return (
        *attachment_limits(project, demands),
        worse(
            [
                rail_stress_limit(d.rail, r, rail, layout, form)
                for d, r in zip(demands, responses, strict=True)
            ]
        ),
        *member_limits(demands, responses, rail, layout, form),
        worse([rail_deflection_limit(r, basis, lasting, rail, layout) for r in responses]),
        anchorage_limit(force, basis.readings, project.panel, layout, strips),
    )
