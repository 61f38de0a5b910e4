"""Table of what snow and own weight bring to solar arrays."""

from __future__ import annotations

import numpy as np

from fea.analysis import Analysis
from fea.checks.arrays import clamp_demand
from roofmodel.units import UnitSystem
from viewer.quantities import column
from viewer.report.tables import Table


def array_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Force on each array and its hardest clamp, worst case of the clamp; None without arrays."""
    arrays, forces = analysis.project.roof.arrays, analysis.array_forces
    if not arrays.count:
        return None
    snow = np.array([f.snow for f in analysis.factors])
    dead = np.array([f.dead for f in analysis.factors])
    demand = clamp_demand(arrays, forces, snow, dead)
    rows = []
    for k, name in enumerate(arrays.name):
        on = np.flatnonzero(arrays.line_array == k)
        case = int(np.argmax(demand[:, on].max(axis=1)))
        hardest = on[int(np.argmax(demand[case, on]))]
        parts = (forces.leaning[case, on].sum(), forces.on_glass[case, on].sum(), forces.weight[on].sum())
        worst = float(demand[case, hardest])
        strength = float(arrays.strength[k])
        use = "not verified" if np.isnan(strength) else f"{100.0 * worst / strength:.0f} %"
        if worst <= 0.0:
            use = "not loaded"
        shown = column(np.array([*parts, analysis.force.array_held[:, k].max(), worst]), "force", units)
        seam = f"seam {arrays.line_seam[hardest] + 1}"
        plane = analysis.project.roof.planes.name[arrays.plane[k]]
        rows.append((name, plane, *shown, seam, use, analysis.snow.cases[case].name))
    unit = units.label("force")
    heads = (
        "Array",
        "Plane",
        f"Leans on it {unit}",
        f"Snow on the glass {unit}",
        f"Own weight {unit}",
        f"Counted on {unit}",
        f"Hardest clamp, factored {unit}",
        "At",
        "Used",
        "Case",
    )
    note = (
        "Down the slope, before load factors but for the clamp. Two readings, each with the whole snow "
        "(judgment): the rows below carry it as if it slid over the glass without friction, with as much "
        "snow on the glass as on the roof beside it; the array carries what lies above its upper edge and "
        "what is frozen to its glass, unless the project says that all is released. Where both end at one "
        "panel strip, the fixed point is checked for their sum. Of the clamps on one seam the upper takes "
        "all that leans, unless they are said to share it. Uplift by wind, moments from the height of the "
        "glass, the impact of snow that drops from its lower edge, glass and frames are in no check."
    )
    return Table("Snow on and above solar arrays", heads, "ttnnnnnttt", tuple(rows), note=note)
