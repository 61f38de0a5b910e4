"""Which directions of a clamp are loaded by a span table and have no strength."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import clamp_components, component_utilization, row_largest
from fea.spans.bench import SCANNED, bench_of
from fea.spans.capacity import Choices
from fea.spans.lines import Arrangement
from fea.spans.rows import Hardware, clamp_forces
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]

DIRECTIONS = ("along", "across", "pull", "push", "roll", "twist")  # of `Clamp.strength`


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
        rows = bench_of(roof, choices.lines(arrangement), spans, hardware, choices.splice).rows
        every = np.arange(len(rows.layout.clamp_row))
        load = np.repeat(np.geomspace(*SCANNED, 4)[:, None], len(rows.layout.row_name), axis=1)
        parts = clamp_components(clamp_forces(rows, load, every), clamp)
        most = row_largest(parts[..., 0].max(axis=1), rows.layout.clamp_row)[:, None]
        use = component_utilization(parts, clamp, most)
        found |= {DIRECTIONS[at] for at in np.flatnonzero(np.isnan(use).any(axis=(0, 1, 2)))}
    return found
