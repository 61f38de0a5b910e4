"""Solar arrays on the planes: glass over a gap, on clamps that share seams with the rows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def _none() -> Array:
    return np.zeros(0)


def _no_number() -> IntArray:
    return np.zeros(0, dtype=np.int64)


def _no_flag() -> NDArray[np.bool_]:
    return np.zeros(0, dtype=bool)


@dataclass(frozen=True)
class SolarArrays:
    """Rectangles of glass parallel to their plane, a of them, on l lines of clamps along seams.

    Attributes
    ----------
    name : tuple of str, (a,)
    plane : (a,) int
    low, high : (a, 2) float
        Lower left and upper right corner in the plane's (u, v). [m]
    gap : (a,) float
        Clear height between roof and glass. [m]
    weight : (a,) float
        Weight of glass and frame for each area of it. [Pa]
    dams : (a,) bool
        Whether snow above the upper edge and on the glass may load the array; False where the user says that
        all of it slides over and off.
    passes : (a,) bool
        Whether snow that is nowhere deeper than the gap slides through below the glass.
    counted_on : (a,) float
        Force down the slope that relieves the rows below, before load factors; 0 for none. [N]
    strength : (a,) float
        Design strength of one clamp along the seam; NaN for not given. [N]
    clamps_up : (a,) int
        Clamps of each line.
    shared : (a,) bool
        Whether the clamps of a line share what leans on the upper edge; else the uppermost takes it.
    line_array, line_seam : (l,) int
        Array and seam number of each line of clamps.
    line_u : (l,) float
        Where the seam crosses the array's upper edge. [m]
    line_reach : (l, 2) float
        Stretch of the upper edge whose snow the line takes, half way to its neighbors. [m]
    angle, zero : (a,) float
        Seam angle [rad], and place of seam 0 square to the seams [m], as in `fea.checks.strips`.
    """

    name: tuple[str, ...] = ()
    plane: IntArray = field(default_factory=_no_number)
    low: Array = field(default_factory=lambda: np.zeros((0, 2)))
    high: Array = field(default_factory=lambda: np.zeros((0, 2)))
    gap: Array = field(default_factory=_none)
    weight: Array = field(default_factory=_none)
    dams: NDArray[np.bool_] = field(default_factory=_no_flag)
    passes: NDArray[np.bool_] = field(default_factory=_no_flag)
    counted_on: Array = field(default_factory=_none)
    strength: Array = field(default_factory=_none)
    clamps_up: IntArray = field(default_factory=_no_number)
    shared: NDArray[np.bool_] = field(default_factory=_no_flag)
    line_array: IntArray = field(default_factory=_no_number)
    line_seam: IntArray = field(default_factory=_no_number)
    line_u: Array = field(default_factory=_none)
    line_reach: Array = field(default_factory=lambda: np.zeros((0, 2)))
    angle: Array = field(default_factory=_none)
    zero: Array = field(default_factory=_none)

    @property
    def count(self) -> int:
        """Number of arrays."""
        return len(self.name)

    @property
    def corners(self) -> Array:
        """Corners on the plane, lower left first, counter-clockwise, (a, 4, 2). [m]."""
        (u0, v0), (u1, v1) = self.low.T, self.high.T
        return np.stack([np.stack(p, -1) for p in ((u0, v0), (u1, v0), (u1, v1), (u0, v1))], axis=1)

    @property
    def line_share(self) -> Array:
        """Part of its array that each line carries, by width, (l,). [-]."""
        width = (self.high - self.low)[self.line_array, 0]
        return np.asarray((self.line_reach[:, 1] - self.line_reach[:, 0]) / width)
