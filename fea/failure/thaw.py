"""The roof at mean strength while its snow lies still and what holds it to the sheet goes.

Snow grows over weeks and a bond can go in an hour of sun, so that a roof can lose its rows without any new
snow. The bond is taken to hold a share of the pull down the slope that falls from all to nothing, on all
planes at once or on one after another, evenly over a plane or behind a front (`fea.failure.thaw_front`):
what it gives up comes onto the clamps (equilibrium). Snow of a row that lets go slides without bond.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.failure.cascade import FailureSamples, cascade
from fea.failure.study import RoofCase
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.project.uncertainty_schema import ThawTable
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Thaw:
    """What gives way as the bond falls.

    Attributes
    ----------
    snow : float
        That lies there, over that of the case. [-]
    planes : tuple of str
        Whose bond goes one after another; empty for all at once.
    part : (c,) int
        Place of each clamp's plane among them; the planes not named come last.
    course : FailureSamples
        One sample; factors between i and i + 1 are the share of its bond that part i has lost: a plane, or a
        strip of one.
    steps : int
        Strips of each plane that a front moves over; 1 without one.
    """

    snow: float
    planes: tuple[str, ...]
    part: IntArray
    course: FailureSamples
    steps: int = 1

    def bond_left(self, factor: float) -> tuple[int, float]:
        """Which plane loses its bond at a factor of the course, and what is left of it then, 0 to 1."""
        fronts = self.steps * max(len(self.planes), 1)
        last = fronts - 1 + int(self.part.max(initial=0) >= max(len(self.planes), 1))
        at = min(int(np.ceil(factor)) - 1, last) if factor > 0.0 else 0
        if at >= fronts:  # planes that are not named lose theirs evenly
            return at // self.steps, float(np.clip(1.0 - (factor - at), 0.0, 1.0))
        gone = (at % self.steps + np.clip(factor - at, 0.0, 1.0)) / self.steps
        return at // self.steps, float(np.clip(1.0 - gone, 0.0, 1.0))


def follow_thaw(
    case: RoofCase, roof: RoofSurface, layout: Layout, table: ThawTable, shares: Array | None = None
) -> Thaw:
    """Every clamp at its mean strength, the snow lying still, its bond falling to nothing.

    Parameters
    ----------
    case, roof, layout, table
    shares : (steps, c + k) float, optional
        Of the front that the table asks for (`front_shares`).

    Raises
    ------
    InputError
        A plane that the roof does not have, or named twice.
    """
    names = list(roof.planes.name)
    for plane in table.planes:
        if plane not in names:
            message = f'uncertainty.thaw.planes: there is no plane "{plane}"; there are {", ".join(names)}'
            raise InputError(message)
        if table.planes.count(plane) > 1:
            message = f'uncertainty.thaw.planes: "{plane}" is named twice; its bond goes once'
            raise InputError(message)
    place = np.full(len(names), len(table.planes))
    place[[names.index(plane) for plane in table.planes]] = np.arange(len(table.planes))
    part = place[layout.row_plane[layout.clamp_row]]
    planes = np.arange(int(part.max(initial=0)) + 1)
    links = case.roof.splices
    every = part if links is None else np.concatenate([part, part[links.place[links.of]]])
    steps = 1 if shares is None else len(shares)
    named = max(len(table.planes), 1)
    path = np.concatenate(
        [
            (shares if shares is not None and p < named else np.ones((1, len(every)))) * (every == p)
            for p in planes
        ]
    )
    splices, c = case.mean_splices(table.snow), len(part)
    if splices is not None:
        splices = replace(splices, path=path[:, c:])
    course = cascade(
        case.roof, case.held, table.snow * case.usual_snow.sum(axis=0), case.capacity, case.residual,
        release=case.release, impact=case.impact, path=path[:, :c], lies=True,
        splices=splices,
    )  # fmt: skip
    return Thaw(table.snow, tuple(table.planes), part, course, steps)
