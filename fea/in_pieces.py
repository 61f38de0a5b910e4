"""Rails that are longer than can be bought or hauled: checked again with the splices they need as hinges.

A hinge is the weaker reading of a splice that nobody described. Where it stands is not known either: pieces
of one length and whole bars from either end are all solved, and the worst counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fea.checks.anchorage import StripLoads
from fea.checks.combinations import LoadFactors, factor_arrays
from fea.checks.limits import Limit
from fea.checks.structure import solved_frames, structure_limits
from fea.off_place import OVER
from fea.panel.support import PanelSupport
from fea.rails.actions import Basis
from fea.rails.loads import RailLoads
from fea.rails.rows import loose_rows
from fea.states import structure_states
from roofmodel.project.load import Project
from roofmodel.splices import USUAL_BAR, Cut, MissingSplices, hinged, missing_splices
from roofmodel.units import SYSTEMS

NAMED = 3  # limits in one sentence
WORTH = 0.01  # smaller changes of a limit's use are not told [-]
WORDS = {Cut.LEFT: "from the left", Cut.RIGHT: "from the right"}


@dataclass(frozen=True)
class InPieces:
    """What rails use with the splices that are missing, as hinges.

    Attributes
    ----------
    missing : MissingSplices
    bar : float
        Length of the bars. [m]
    cut : Cut
        The worst of them.
    use, then : float
        Largest utilization as calculated and in pieces; 0 where nobody gave a resistance.
    over : tuple of (str, str, float, float)
        Limit, target, utilization in pieces and that as calculated (of the worst target of each): limits that
        only the pieces exceed; else those that they exceed by more; else the worst, if it is used more.
    loose : str
        Why the pieces cannot stand at all, however they are cut; empty if they can.
    """

    missing: MissingSplices
    bar: float
    cut: Cut
    use: float
    then: float
    over: tuple[tuple[str, str, float, float], ...]
    loose: str

    @property
    def exceeds(self) -> bool:
        """Whether rails that keep a limit as calculated do not in pieces, whatever other limits do."""
        return (self.use <= 1.0 and bool(self.loose)) or any(_breaks(one) for one in self.over)


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
    for cut in Cut:
        layout = hinged(project.layout, missing, bar, cut)
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
        after = tuple(sorted(after, key=lambda one: (one.service, -_worst(one)[1])))
        each = [(one.name, *_worst(one), _used(limits, one)) for one in after]
        use, then = max((one[3] for one in each), default=0.0), max((one[2] for one in each), default=0.0)
        told = [one for one in each if one[2] > (1.0 + WORTH) * one[3]]
        over = [one for one in told if _breaks(one)] or [one for one in told if one[2] > 1.0]
        if not over and then > (1.0 + WORTH) * use:
            over = [max(told, key=lambda one: one[2])]
        found.append(InPieces(missing, bar, cut, use, then, tuple(over), ""))
    if not found:
        use = max((_worst(one)[1] for one in limits if not one.target.startswith("solar")), default=0.0)
        return InPieces(missing, bar, Cut.EVEN, use, use, (), loose)
    return max(found, key=lambda one: (one.exceeds, max((o[2] for o in one.over), default=0.0), one.then))


def _breaks(one: tuple[str, str, float, float]) -> bool:
    """Whether only the pieces exceed a limit of `InPieces.over`."""
    return one[3] <= 1.0 < one[2]


def _limits(
    project: Project,
    solved: tuple[RailLoads, Basis, PanelSupport, Sequence[LoadFactors], Sequence[LoadFactors], StripLoads],
) -> tuple[Limit, ...]:
    loads, basis, support, factors, service, strips = solved
    frames = (state.frame() for state in structure_states(project, support))
    found = solved_frames(project, frames, loads, basis, factor_arrays(tuple(factors)))
    return structure_limits(project, found, basis, service, strips)


def _used(limits: Sequence[Limit], limit: Limit) -> float:
    """Largest utilization of a limit as calculated; 0 for one that only pieces have."""
    same = (one for one in limits if (one.name, one.target) == (limit.name, limit.target))
    return max((_worst(one)[1] for one in same), default=0.0)


def _worst(limit: Limit) -> tuple[str, float]:
    """Target that is used most, and its utilization."""
    use = np.nan_to_num(limit.utilization, nan=0.0).max(axis=0, initial=0.0)
    if not use.size:
        return "", 0.0
    return limit.target_name[int(use.argmax())], float(use.max())


def in_pieces_words(project: Project, found: InPieces | None) -> tuple[str, ...]:
    """A sentence for the cautions, loud where only the pieces exceed a limit; none where little changes."""
    if found is None or not (found.loose or found.over):
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
    cut = f"in even pieces of up to {units.text(found.bar, 'length')}"
    cut = cut if found.cut is Cut.EVEN else f"{bars} {WORDS[found.cut]}"
    shown = found.over[:NAMED]
    over = ", ".join(
        f"{name} {100.0 * use:.0f} % ({at}) in place of {100.0 * was:.0f} %" for name, at, use, was in shown
    )
    over += f", {len(found.over) - len(shown)} more" if len(found.over) > len(shown) else ""
    return (
        f"{head}: {what} must be spliced, which is not in this calculation; with splices {cut} as hinges: "
        f"{over}. {ends}",
    )
