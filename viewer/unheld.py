"""Snow that no row holds: what leaves each edge, and the sentence about it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.sliding.thrust import RowForce
from roofmodel.surface import EdgeKind
from roofmodel.units import UnitSystem
from viewer.quantities import quantity

Array = NDArray[np.float64]

SHARE = 0.01  # edges that shed less of the roof's snow are not named in the sentence [-]
SHOWN, SHOWN_LOWER = 3, 2  # edges named, above the ground and above lower roofs
LEVEL = 1e-3  # thrust over weight below which a plane is level and only its survey tilts it (judgment) [-]
CRUMB = 10.0  # a kilogram, below which nothing is told of an edge (judgment) [N]


def leaving_weight(force: RowForce) -> Array:
    """Weight (q, x) of snow that slides over each edge; what lies level or is braked stays. [N]."""
    return np.where(force.exit_thrust > LEVEL * force.exit_weight, force.exit_weight, 0.0)


def falling_sentence(analysis: Analysis, units: UnitSystem) -> str:
    """Such as "Snow that no row holds: 187 kN at S2 eave, 101 kN at N1 eave (weight of snow, worst case).".

    Edges whose snow falls to the ground come first, then those above lower roofs; each the heaviest first.
    The farthest landing is that of every edge, also of those too light to be named.
    """
    force = analysis.force
    if not len(force.exit_edge):
        return ""
    roof = analysis.force.cell_pressure @ analysis.graph.cells.plan_area
    sliding = leaving_weight(force)
    weight = sliding.max(axis=0)
    large = (sliding >= SHARE * np.maximum(roof, 1e-9)[:, None]).any(axis=0) & (weight >= CRUMB)
    if not large.any():
        return ""
    order = np.lexsort((-weight, ~large))[: int(large.sum())]
    low = _on_lower_roofs(analysis, weight)[order]
    ground, lower = order[~low], order[low]
    parts = [", ".join(_told(analysis, i, float(weight[i]), units) for i in ground[:SHOWN])]
    onto = ", ".join(_told(analysis, i, float(weight[i]), units) for i in lower[:SHOWN_LOWER])
    parts.append(f"mostly onto lower roofs {onto}" if onto else "")
    left = max(len(ground) - SHOWN, 0) + max(len(lower) - SHOWN_LOWER, 0)
    more = f" and {left} more" if left else ""
    return (
        f"Snow that no row holds: {'; '.join(filter(None, parts))}{more} (weight of snow, worst case). It "
        f"falls and lands up to {_reach(analysis, weight, large, units)}."
    )


def _on_lower_roofs(analysis: Analysis, weight: Array) -> NDArray[np.bool_]:
    """Edges (x,) above a step or a lower roof that catches most."""
    edges, at = analysis.project.roof.edges, analysis.force.exit_edge
    step = np.array([e >= 0 and edges.kind[e] is EdgeKind.STEP for e in at])
    return step | (analysis.landing.lower.beyond.max(axis=0) < 0.5 * weight)


def _told(analysis: Analysis, exit_: int, weight: float, units: UnitSystem) -> str:
    edge = int(analysis.force.exit_edge[exit_])
    name = analysis.project.roof.edges.name[edge] if edge >= 0 else "an open edge"
    return f"{quantity(weight, 'force', units)} at {name}"


def _reach(analysis: Analysis, weight: Array, large: NDArray[np.bool_], units: UnitSystem) -> str:
    """How far out snow lands; where only an edge not named throws farthest, how much that is."""
    throw = np.where(weight >= CRUMB, analysis.landing.throw, 0.0)
    far = int(throw.argmax())
    most, named = (quantity(float(x), "length", units) for x in (throw[far], throw[large].max()))
    if most == named:
        return f"{most} out from the edge"
    return f"{named} out from the edge, {_told(analysis, far, float(weight[far]), units)} up to {most}"
