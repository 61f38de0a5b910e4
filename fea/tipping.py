"""What clamps that do not tip would do to a check whose clamp has no measured stiffness against tipping.

A clamp that tips easily hands the moment of its rail on to others through the rail's torsion, a stiff one
keeps it. The default stiffness is a guess on the soft side, so the other end is looked at too: where it
exceeds, nothing is settled before the stiffness is measured.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import Limit, clamp_limits, combine
from fea.checks.screw_strength import screw_rule
from fea.checks.screws import screw_limits
from fea.rails.actions import Basis
from fea.rails.frame import solve_frame
from fea.rails.loads import RailLoads
from fea.rails.rows import build_frame, rails_to_solve
from fea.solvers.direct import Solver
from roofmodel.hardware import DesignFormat, upright
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

LITTLE = 0.02  # of the clamps' strength that is not worth a warning (judgment)


@dataclass(frozen=True)
class Tipping:
    """What hangs on the stiffness against tipping that nobody gave.

    Attributes
    ----------
    default, upright : float
        Most that any clamp uses with the default stiffness, and if no clamp tipped. [-]
    default_at, upright_at : str
        The clamp that does.
    words : str
        All of it in a sentence.
    """

    default: float
    default_at: str
    upright: float
    upright_at: str
    words: str

    @property
    def settles(self) -> bool:
        """Whether clamps that do not tip keep their strength too, or the default does not either."""
        return self.upright <= 1.0 or self.default > 1.0


def upright_limits(
    project: Project, loads: RailLoads, basis: Basis, strength: tuple[Array, Array, Array]
) -> tuple[Limit, ...]:
    """Limits of clamps that do not tip, on rigid seams; none where their stiffness is given.

    Parameters
    ----------
    project : Project
    loads : RailLoads
    basis : Basis
    strength : three (q,) float
        Factors on snow, dead load and temperature of each case.
    """
    table, layout = project.table, project.layout
    if table.clamp.stiffness.rocking is not None:
        return ()
    firm, solver = upright(project.clamp), Solver(table.analysis.solver)
    found = [
        solve_frame(build_frame(layout, rail, firm), loads, solver=solver)
        for rail in rails_to_solve(layout.splice_kind, project.rail)
    ]
    force = np.concatenate([combine(one, basis, *strength).clamp for one in found], axis=1)
    rule = screw_rule(DesignFormat(table.design.format), project.site.standard)
    return clamp_limits(force, firm, layout)[-1], *screw_limits(force, firm, layout, rule)


def tipping(project: Project, limits: tuple[Limit, ...], stiff: tuple[Limit, ...]) -> Tipping | None:
    """What the stiffness does that nobody gave; None where it is given or no clamp is loaded.

    Parameters
    ----------
    project : Project
    limits : tuple of Limit
        Of the check, with the default stiffness.
    stiff : tuple of Limit
        From `upright_limits`.
    """
    names = {one.name for one in stiff}
    now, at = _most(one for one in limits if one.name in names)
    then, where = _most(stiff)
    if not max(now, then) > 0.0:
        return None
    return Tipping(now, at, then, where, _words(project, (now, at), (then, where)))


def unsettled_words(tips: Tipping) -> str:
    """Such as "clamps that do not tip would use 124 % (R1-18); give clamp.stiffness.rocking, measured"."""
    return (
        f"clamps that do not tip would use {100.0 * tips.upright:.0f} % ({tips.upright_at}); give "
        "clamp.stiffness.rocking, measured"
    )


def _words(project: Project, default: tuple[float, str], stiff: tuple[float, str]) -> str:
    table, (now, at), (then, where) = project.table, default, stiff
    soft = SYSTEMS[table.project.units].text(project.clamp.stiffness[4, 4], "rotation stiffness")
    told = (
        "clamp.stiffness.rocking (against tipping down the slope) is not given and counts as pull x "
        f"grip_length^2 / 12, {soft}."
    )
    rigid = ", on rigid seams," if table.analysis.panel_flexibility else ""
    if then <= now + LITTLE:
        return f"{told} Clamps that do not tip at all{rigid} use no more ({100.0 * then:.1f} %)."
    over = ", MORE THAN IT HOLDS" if then > 1.0 else ""
    return (
        f"{told} Stiffer clamps keep more of the rail's moment: with clamps that do not tip at all{rigid} "
        f"the most used one goes from {100.0 * now:.1f} % ({at}) to {100.0 * then:.1f} % ({where}){over}. "
        "DO NOT RELY ON THE LOWER NUMBER before the stiffness is measured; then give it."
    )


def _most(limits: Iterable[Limit]) -> tuple[float, str]:
    """Largest utilization of any target, and which; 0 where none is known."""
    found = [(0.0, "")]
    for limit in limits:
        use = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
        if use.size:
            found.append((float(use.max()), limit.target_name[int(np.argmax(use))]))
    return max(found, key=lambda one: one[0])
