"""The snow as it was entered: along the rows, and above the clamps that came off against what fell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.evidence.causes import Roof
from fea.evidence.weights import clamp_weights
from roofmodel.layout import Layout

Array = NDArray[np.float64]

SAME = 0.05  # between a heap's depth or density and the roof's, within which one was entered for the other
MUCH = 2.0  # times all snow entered that a heap must weigh to contradict it (judgment)
SURE = 2.0  # deviations of both by which it must be heavier besides


def depth_along(
    layout: Layout, along: Sequence[tuple[int, float, float]], shape: Array | None = None
) -> Array:
    """Depth over that of even snow at each clamp as it was entered, (c,); NaN on rows without a reading.

    Between the readings of a row it has the `shape` (c,) of the drift of the case, 1 for even snow, times
    what they are of that, straight between them and as at the last one beyond: readings at clamps that stand
    do not fill a drift above those that came off.
    """
    shape = np.ones(len(layout.clamp_row)) if shape is None else shape
    over = np.full(len(layout.clamp_row), np.nan)
    at = np.array([clamp for clamp, *_ in along], dtype=np.int64)
    told = np.array([value for _, value, *_ in along])
    for r in np.unique(layout.clamp_row[at]):  # few
        own, here = layout.clamp_row == r, layout.clamp_row[at] == r
        place, back = np.unique(layout.clamp_s[at[here]], return_inverse=True)
        part = told[here] / shape[at[here]]
        mean = np.bincount(back, part) / np.bincount(back)  # two at one clamp count both
        over[own] = shape[own] * np.interp(layout.clamp_s[own], place, mean)
    return over


@dataclass(frozen=True)
class Above:
    """Snow above the clamps that came off, up to the next row or the ridge. [N].

    Attributes
    ----------
    even : float
        Without drift.
    drifted : float
        As entered along the rows, else with the most drift that a case of the project has; at least `even`.
    """

    even: float
    drifted: float


def snow_above(roof: Roof, gave_way: NDArray[np.bool_], mass: float, over: Array) -> Above:
    """Snow above the clamps that gave way (c,).

    Parameters
    ----------
    mass : float
        Snow without drift over that of the case.
    over : (c,) float
        As `depth_along`.
    """
    still, drift = (clamp_weights(case, roof.layout.clamp_row) for case in (roof.case, roof.drifted))
    with_drift = np.where(np.isnan(over), still[0] + drift[1], still[0] * np.nan_to_num(over))
    even = float(mass * still[0][gave_way].sum())
    return Above(even, max(float(mass * with_drift[gave_way].sum()), even))


def drift_shape(roof: Roof) -> Array:
    """Depth over even snow at each clamp with the most drift that a case of the project has, (c,). [-]."""
    return np.asarray(1.0 + np.maximum(roof.deeper[1], 0.0))


def too_heavy(fallen: tuple[float, float], above: Above, doubt: float) -> bool:
    """Whether what fell is more than all snow entered above, which is known to the share `doubt`."""
    over = fallen[0] - above.drifted
    sure = SURE * float(np.hypot(fallen[1], doubt * above.drifted))
    return bool(fallen[0] > MUCH * above.drifted and over > sure)


def alike(one: float, other: float) -> bool:
    """Whether two measures are within `SAME` of each other."""
    return bool(abs(one / other - 1.0) <= SAME)
