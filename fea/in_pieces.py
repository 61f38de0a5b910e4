"""Rails that are longer than can be bought or hauled: checked again with the splices they need as hinges.

A hinge is the weaker reading of a splice that nobody described. Where it stands is not known either: pieces
of one length and whole bars from the left are both solved, and the worse counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fea.checks.anchorage import StripLoads
from fea.checks.combinations import LoadFactors, factor_arrays
from fea.checks.limits import Limit, combine
from fea.checks.structure import structure_limits
from fea.off_place import OVER
from fea.panel.support import PanelSupport
from fea.rails.actions import Basis
from fea.rails.frame import solve_frame
from fea.rails.loads import RailLoads
from fea.rails.rows import loose_rows
from fea.solvers.direct import Solver
from fea.states import structure_states
from roofmodel.project.load import Project
from roofmodel.splices import USUAL_BAR, MissingSplices, hinged, missing_splices
from roofmodel.units import SYSTEMS

NAMED = 3  # limits in one sentence
WORTH = 0.01  # smaller changes of the worst use are not told [-]


@dataclass(frozen=True)
class InPieces:
    """What rails use with the splices that are missing, as hinges.

    Attributes
    ----------
    missing : MissingSplices
    bar : float
        Length of the bars. [m]
    even : bool
        Whether pieces of one length are worse than whole bars from the left.
    use, then : float
        Largest utilization as calculated and in pieces; 0 where nobody gave a resistance.
    over : tuple of (str, str, float)
        Limit, target and utilization in pieces, the worst target of each limit that is exceeded there, else
        the worst of all; strength before service.
    loose : str
        Why the pieces cannot stand at all, however they are cut; empty if they can.
    """

    missing: MissingSplices
    bar: float
    even: bool
    use: float
    then: float
    over: tuple[tuple[str, str, float], ...]
    loose: str

    @property
    def exceeds(self) -> bool:
        """Whether rails that keep their limits as calculated do not in pieces."""
        return self.use <= 1.0 and (self.then > 1.0 or bool(self.loose))


def in_pieces(
    project: Project,
    solved: tuple[RailLoads, Basis, PanelSupport, Sequence[LoadFactors], Sequence[LoadFactors], StripLoads],
    limits: Sequence[Limit],
) -> InPieces | None:
    """The structure again with its missing splices as hinges; None where none is missing.

    Parameters
    ----------
    project : Project
    solved : (loads, basis, support, strength factors, service factors, strip loads)
        Of the rails as calculated.
    limits : sequence of Limit
        As calculated.
    """
    stock = project.table.rail.stock_length
    missing = missing_splices(project.layout, stock)
    if not missing.count:
        return None
    bar = USUAL_BAR[project.table.project.units] if stock is None else stock
    found: list[InPieces] = []
    loose = ""
    for even in (True, False):
        layout = hinged(project.layout, missing, bar, even=even)
        free = [
            f"row {name}: {words}"
            for name, words in zip(
                layout.row_name, loose_rows(layout, project.rail, project.clamp), strict=True
            )
            if words
        ]
        if free:  # bars that end so are cut otherwise
            loose = loose or free[0]
            continue
        after = _limits(replace(project, layout=layout), solved)
        before = [one for one in limits if one.name in {limit.name for limit in after}]
        use, then = (max((_worst(one)[1] for one in each), default=0.0) for each in (before, after))
        worst = sorted(after, key=lambda one: (one.service, -_worst(one)[1]))
        over = [one for one in worst if _worst(one)[1] > 1.0] or [max(worst, key=lambda one: _worst(one)[1])]
        told = tuple((one.name, *_worst(one)) for one in over)
        found.append(InPieces(missing, bar, even, use, then, told, ""))
    if not found:
        use = max((_worst(one)[1] for one in limits if not one.target.startswith("solar")), default=0.0)
        return InPieces(missing, bar, True, use, use, (), loose)
    return max(found, key=lambda one: one.then)


def _limits(
    project: Project,
    solved: tuple[RailLoads, Basis, PanelSupport, Sequence[LoadFactors], Sequence[LoadFactors], StripLoads],
) -> tuple[Limit, ...]:
    loads, basis, support, factors, service, strips = solved
    solver, strength = Solver(project.table.analysis.solver), factor_arrays(tuple(factors))
    states = structure_states(project, support)
    responses = tuple(solve_frame(state.frame(), loads, solver=solver) for state in states)
    demands = tuple(combine(one, basis, *strength) for one in responses)
    return structure_limits(project, (responses, demands), basis, service, strips)


def _worst(limit: Limit) -> tuple[str, float]:
    """Target that is used most, and its utilization."""
    use = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
    if not use.size:
        return "", 0.0
    return limit.target_name[int(use.argmax())], float(use.max())


def in_pieces_words(project: Project, found: InPieces | None) -> tuple[str, ...]:
    """A sentence for the cautions, loud where only the pieces exceed a limit; none where little changes."""
    if found is None or not (found.loose or found.then > (1.0 + WORTH) * found.use):
        return ()
    units, layout = SYSTEMS[project.table.project.units], project.layout
    rows = [name for name, count in zip(layout.row_name, found.missing.per_row, strict=True) if count]
    what = f"row{'s' * (len(rows) > 1)} {', '.join(rows)}"
    head = f"A RAIL IN PIECES {OVER}" if found.exceeds else "Rails in pieces use more"
    bars = f"every {units.text(found.bar, 'length')}"
    ends = (
        "Splices that pass on bending may keep the limits, but nothing says that these do: give "
        "row.splice_every and row.splice_kind, or rail.stock_length where longer rails come in one piece, "
        "and check again."
    )
    if found.loose:
        return (
            f"{head}: {what} must be spliced, and with splices {bars} as hinges, even or not, the pieces "
            f"cannot stand ({found.loose}). {ends}",
        )
    cut = f"in even pieces of up to {units.text(found.bar, 'length')}" if found.even else bars
    shown = found.over[:NAMED]
    over = ", ".join(f"{name} {100.0 * use:.0f} % ({at})" for name, at, use in shown)
    over += f", {len(found.over) - len(shown)} more" if len(found.over) > len(shown) else ""
    return (
        f"{head}: {what} must be spliced, which is not in this calculation; with splices {cut} as hinges: "
        f"{over}, in place of {100.0 * found.use:.0f} % at most. {ends}",
    )
