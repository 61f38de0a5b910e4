"""States of the structure that every limit takes the worst of: panels that bear or not, splices that turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.cautions import flexibility_cautions
from fea.checks.limits import Demands, Limit, clamp_limits, combine, rail_stress_limit, worse
from fea.panel.support import PanelSupport
from fea.rails.actions import Basis
from fea.rails.frame import solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.rows import Frame, build_frame, rails_to_solve
from fea.solvers.direct import Solver
from roofmodel.hardware import DesignFormat, SpliceTorsion
from roofmodel.layout import SpliceKind
from roofmodel.project.load import Project

Array = NDArray[np.float64]

LITTLE = 0.005  # change of a clamp's use that is not worth a word [-]
SPLICE_WORDS = {
    SpliceTorsion.PASSED: "splices pass torsion",
    SpliceTorsion.FREE: "splices pass no torsion",
    SpliceTorsion.UNKNOWN: "",
}


@dataclass(frozen=True)
class State:
    """One state of the structure.

    Attributes
    ----------
    project : Project
        With splices of its rail as they are in this state.
    panel : int
        State of the panels, see `PanelSupport.states`; 0 where they count as rigid.
    stiffness : sparse (6 c, 6 c) or None
        Of clamps and panels in series; None where panels count as rigid.
    """

    project: Project
    panel: int
    stiffness: sparse.csr_array | None

    @property
    def splices(self) -> str:
        """What its splices pass on, in words; empty where every one is continuous or there is none."""
        hinged = any(kind is not SpliceKind.CONTINUOUS for kind in self.project.layout.splice_kind)
        return SPLICE_WORDS[self.project.rail.splice_torsion] if hinged else ""

    def frame(self) -> Frame:
        """The frame of this state."""
        one = self.project
        return build_frame(one.layout, one.rail, one.clamp, support=self.stiffness)


def structure_states(project: Project, support: PanelSupport) -> tuple[State, ...]:
    """All states: those of the panels for each of the splices."""
    return tuple(
        State(replace(project, rail=rail), panel, K)
        for rail in rails_to_solve(project.layout.splice_kind, project.rail)
        for panel, K in enumerate(support.stiffness or (None,))
    )


def on_rigid_panels(
    project: Project,
    support: PanelSupport,
    loads: RailLoads,
    basis: Basis,
    strength: tuple[Array, Array, Array],
    solved: tuple[Array, tuple[State, ...], tuple[Demands, ...], tuple[FrameResult, ...]],
) -> tuple[Array | None, tuple[str, ...]]:
    """Factored forces at the grips if panels did not give way, and what their softness changes, in words.

    Parameters
    ----------
    project, support, loads, basis
    strength : three (q,) float
        Factors of snow, dead load and temperature.
    solved : (clamp force, states, demands, responses)

    Returns
    -------
    force : (q, v, c, 6) float or None
        None where panels count as rigid anyway. [N, N m]
    words : tuple of str
    """
    if not support.stiffness:
        return None, ()
    layout, clamp, solver = project.layout, project.clamp, Solver(project.table.analysis.solver)
    form = DesignFormat(project.table.design.format)
    force, states, demands, responses = solved
    rigid = [
        solve_frame(build_frame(layout, rail, clamp), loads, solver=solver)
        for rail in rails_to_solve(layout.splice_kind, project.rail)
    ]
    firm = [(combine(one, basis, *strength), one) for one in rigid]
    each = [firm] + [
        [(demands[i], responses[i]) for i, state in enumerate(states) if state.panel == panel]
        for panel in range(len(support.stiffness))
    ]
    alone = np.concatenate([d.clamp for d, _ in firm], axis=1)
    words = flexibility_cautions(
        support,
        (force, alone),
        tuple(worse([clamp_limits(d.clamp, clamp, layout)[-1] for d, _ in pairs]) for pairs in each),
        tuple(
            worse([rail_stress_limit(d.rail, r, project.rail, layout, form) for d, r in pairs])
            for pairs in each
        ),
    )
    return alone, words


def splice_cautions(project: Project, states: Sequence[State], demands: Sequence[Demands]) -> tuple[str, ...]:
    """What hangs on splices that may pass torsion or not, where nobody says which."""
    kinds = (SpliceTorsion.PASSED, SpliceTorsion.FREE)
    sorted_out = [
        [d for d, s in zip(demands, states, strict=True) if s.project.rail.splice_torsion is kind]
        for kind in kinds
    ]
    if project.rail.splice_torsion is not SpliceTorsion.UNKNOWN or not all(sorted_out):
        return ()
    passed, free = (
        most_used(project, np.concatenate([one.clamp for one in own], axis=1)) for own in sorted_out
    )
    change = np.divide(free, passed, out=np.ones_like(free), where=passed > 0.0) - 1.0
    if np.abs(change).max(initial=0.0) <= LITTLE:
        return ()
    name = project.layout.clamp_name
    up, down, first, then = (
        int(i) for i in (change.argmax(), change.argmin(), passed.argmax(), free.argmax())
    )
    return (
        "Nothing says whether splices pass torsion on (rail.splice_torsion): both are solved and the worse "
        f"counts for every clamp and span. Without it clamps near splices get {100.0 * change[up]:+.0f} % "
        f"({name[up]}) to {100.0 * change[down]:+.0f} % ({name[down]}); the most used one is at "
        f"{100.0 * passed[first]:.0f} % ({name[first]}) with torsion passed on, {100.0 * free[then]:.0f} % "
        f"({name[then]}) without.",
    )


def most_used(project: Project, force: Array) -> Array:
    """Largest use of each clamp in all directions together, (c,), of factored forces (q, v, c, 6)."""
    together: Limit = clamp_limits(force, project.clamp, project.layout)[-1]
    return np.asarray(np.nan_to_num(together.utilization, nan=0.0).max(axis=0))
