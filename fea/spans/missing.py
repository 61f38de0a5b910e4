"""Which directions of a clamp are loaded by a span table and have no strength."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import clamp_components, component_utilization, row_largest
from fea.checks.member_strength import LATERAL, LOCAL
from fea.spans.bench import CLAMP, CRUSHED, LIMITS, SCANNED, SCREWS, solved
from fea.spans.capacity import Choices
from fea.spans.lines import Arrangement
from fea.spans.rows import Hardware, clamp_forces
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]

_WALLS = (
    "walls were not recognized (such as curved ones); give tested moments (rail.moment_slope and "
    "moment_normal), which for a profile with a cell say enough of compression too"
)
# What keeps a cell from being verified, by its limit, and what would give it.
WANTED = {
    CLAMP: "a direction of the clamp is loaded that has no strength; give it in clamp.strength",
    SCREWS: "a screw is loaded in a way that has no strength; give its sizes or tests in clamp.screws",
    CRUSHED: "no wall carries the force; give rail.bearing_strength from tests",
    LIMITS.index(LOCAL): _WALLS,
    LIMITS.index(LATERAL): _WALLS,
}
DIRECTIONS = ("along", "across", "pull", "push", "roll", "twist")  # of `Clamp.strength`


def direction_demand(roof: RoofSurface, hardware: Hardware, choices: Choices, load: Array) -> Array:
    """Largest demand on a clamp in each direction at line loads (n, a) of a table, (n, a, 6). [N, N m].

    Parameters
    ----------
    roof : RoofSurface
    hardware : Hardware
    choices : Choices
    load : (n, a) float
        By span and arrangement; what is not known or has no limit counts as none. [N/m]
    """
    most = np.zeros((*load.shape, len(DIRECTIONS)))
    known = np.where(np.isfinite(load), load, 0.0)
    for a, arrangement in enumerate(choices.arrangements):
        shapes = choices.lines(arrangement)
        lines, rows = solved(roof, shapes, choices.spans, hardware, choices.splice)
        every = np.flatnonzero(np.concatenate([line.counts_clamp for line in lines]))
        force = clamp_forces(rows, np.tile(known[:, a], len(shapes))[None], every)
        parts = clamp_components(force, hardware.clamp)
        of_clamp = parts.max(axis=tuple(range(parts.ndim - 2)))
        span = rows.layout.clamp_row[every] % len(load)  # a shape's spans follow one another
        np.maximum.at(most[:, a], span, of_clamp)
    return most


def missing_directions(
    roof: RoofSurface, hardware: Hardware, choices: Choices, cells: Iterable[tuple[Arrangement, Array]]
) -> set[str]:
    """Fields of `clamp.strength` that are loaded and not given, in some cells of a table.

    Parameters
    ----------
    roof : RoofSurface
    hardware : Hardware
    choices : Choices
    cells : iterable of (Arrangement, (n,) float)
        Arrangements with spans. [m]
    """
    clamp, found = hardware.clamp, set[str]()
    for arrangement, spans in cells:
        _, rows = solved(roof, choices.lines(arrangement), spans, hardware, choices.splice)
        every = np.arange(len(rows.layout.clamp_row))
        load = np.repeat(np.geomspace(*SCANNED, 4)[:, None], len(rows.layout.row_name), axis=1)
        parts = clamp_components(clamp_forces(rows, load, every), clamp)
        most = row_largest(parts[..., 0].max(axis=1), rows.layout.clamp_row)[:, None]
        use = component_utilization(parts, clamp, most)
        found |= {DIRECTIONS[at] for at in np.flatnonzero(np.isnan(use).any(axis=(0, 1, 2)))}
    return found
