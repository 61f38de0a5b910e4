"""What stiffer clamps would do where their stiffness against tipping is not given, or contradicts another.

A clamp that tips easily hands the moment of its rail on to others through the rail's torsion, a stiff one
keeps it. The default stiffness is a guess on the soft side, and one that is softer than the stiffness along
the seam allows is wrong and tells nothing of how stiff the clamp is at most. So clamps that do not tip are
looked at too: where they exceed, nothing is settled before the stiffness is measured.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import Limit, clamp_limits, mixed
from fea.checks.screw_strength import screw_rule
from fea.checks.screws import screw_limits
from fea.rails.actions import Basis
from fea.rails.frame import clamp_response
from fea.rails.loads import RailLoads
from fea.rails.rows import build_frame, rails_to_solve
from fea.solvers.direct import Solver
from roofmodel.hardware import Clamp, DesignFormat
from roofmodel.project.load import Project
from roofmodel.project.rocking import default_words, rocking_words, stiffest
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

LITTLE = 0.02  # of the clamps' strength that is not worth a warning (judgment)


@dataclass(frozen=True)
class Tipping:
    """What hangs on a stiffness against tipping that nobody gave, or that contradicts the one along the seam.

    Attributes
    ----------
    soft, stiff : float
        Most that any clamp uses with the stiffness that counts, and at the stiff end of what it may be. [-]
    soft_at, stiff_at : str
        The clamp that does.
    given : bool
        Whether somebody gave the stiffness.
    words : str
        All of it in a sentence.
    """

    soft: float
    soft_at: str
    stiff: float
    stiff_at: str
    given: bool
    words: str

    @property
    def settles(self) -> bool:
        """Whether the stiff end keeps its strength too, or the soft one does not either."""
        return self.stiff <= 1.0 or self.soft > 1.0

    @property
    def remedy(self) -> str:
        """What settles it."""
        return f"{'measure' if self.given else 'give'} {_MEASURED[self.given]}"


_MEASURED = {True: "clamp.stiffness.rocking and along again", False: "clamp.stiffness.rocking, measured"}


def stiff_end(project: Project) -> Clamp | None:
    """Its clamp at the stiff end of what it may be against tipping; None where that is settled."""
    return stiffest(project.clamp, given=project.table.clamp.stiffness.rocking is not None)


def stiff_force(
    project: Project, loads: RailLoads, basis: Basis, strength: tuple[Array, Array, Array]
) -> Array | None:
    """Factored forces at the grips of clamps at the stiff end, on rigid seams; None where tipping is settled.

    Parameters
    ----------
    project : Project
    loads : RailLoads
    basis : Basis
    strength : three (q,) float
        Factors on snow, dead load and temperature of each case.

    Returns
    -------
    (q, v, c, 6) float or None
        The basis's readings for each of `rails_to_solve`, as `Analysis.clamp_force`. [N, N m]
    """
    firm = stiff_end(project)
    if firm is None:
        return None
    layout, solver = project.layout, Solver(project.table.analysis.solver)
    found = [
        clamp_response(build_frame(layout, rail, firm), loads, solver=solver)
        for rail in rails_to_solve(layout.splice_kind, project.rail)
    ]
    return np.concatenate([mixed(one, basis, *strength) for one in found], axis=1)


def stiff_limits(project: Project, force: Array | None) -> tuple[Limit, ...]:
    """Limits of clamps at the stiff end, all directions together and screws; none without `stiff_force`."""
    firm = stiff_end(project)
    return () if force is None or firm is None else hardest_limits(project, force, firm)


def hardest_limits(project: Project, force: Array, clamp: Clamp) -> tuple[Limit, ...]:
    """Limits of clamps in all directions together, and of their screws, under forces (q, v, c, 6)."""
    rule = screw_rule(DesignFormat(project.table.design.format), project.site.standard)
    layout = project.layout
    return clamp_limits(force, clamp, layout)[-1], *screw_limits(force, clamp, layout, rule)


def tipping(project: Project, limits: tuple[Limit, ...], stiff: tuple[Limit, ...]) -> Tipping | None:
    """What an unsettled stiffness against tipping does; None where it is settled or no clamp is loaded.

    Parameters
    ----------
    project : Project
    limits : tuple of Limit
        Of the check, with the stiffness that counts.
    stiff : tuple of Limit
        From `stiff_limits`.
    """
    names = {one.name for one in stiff}
    now, at = _most(one for one in limits if one.name in names)
    then, where = _most(stiff)
    if not max(now, then) > 0.0:
        return None
    given = project.table.clamp.stiffness.rocking is not None
    return Tipping(now, at, then, where, given, _words(project, (now, at), (then, where), given=given))


def unsettled_words(tips: Tipping) -> str:
    """Such as "clamps that do not tip would use 124 % (R1-18); give clamp.stiffness.rocking, measured"."""
    return f"clamps that do not tip would use {100.0 * tips.stiff:.0f} % ({tips.stiff_at}); {tips.remedy}"


def _words(project: Project, soft: tuple[float, str], stiff: tuple[float, str], *, given: bool) -> str:
    table, (now, at), (then, where) = project.table, soft, stiff
    units = SYSTEMS[table.project.units]
    rigid = ", on rigid seams," if table.analysis.panel_flexibility else ""
    over = ", MORE THAN IT HOLDS" if then > 1.0 else ""
    own = units.text(project.clamp.stiffness[4, 4], "rotation stiffness")
    told, remedy = (
        "clamp.stiffness.rocking (against tipping down the slope) is not given and counts as "
        f"{default_words(project.clamp)}, {own}.",
        "the stiffness is measured; then give it",
    )
    if given:
        told, remedy = rocking_words(project.clamp, units), "both are measured again"
    if then <= now + LITTLE:
        return f"{told} Clamps that do not tip at all{rigid} use no more ({100.0 * then:.1f} %)."
    return (
        f"{told} Stiffer clamps keep more of the rail's moment: with clamps that do not tip at all{rigid} "
        f"the most used one goes from {100.0 * now:.1f} % ({at}) to {100.0 * then:.1f} % ({where}){over}. "
        f"DO NOT RELY ON THE LOWER NUMBER before {remedy}."
    )


def _most(limits: Iterable[Limit]) -> tuple[float, str]:
    """Largest utilization of any target, and which; 0 where none is known."""
    found = [(0.0, "")]
    for limit in limits:
        use = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
        if use.size:
            found.append((float(use.max()), limit.target_name[int(np.argmax(use))]))
    return max(found, key=lambda one: one[0])
