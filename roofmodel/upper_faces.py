"""Chimneys, skylights, other boxes and solar arrays in the way of the sliding blanket.

The blanket above a box pushes on its upper face: a demand on the box. Rows below are loaded as if the box
were not there, less what the user says that it holds. Beside this the blanket may part at the box: half of
what arrives at its face then goes down along each side, within half the face's width (judgment). Both are
counted, the second as an upper bound beside the balance, so that neither a box that lets go nor one that
stands is missed. A solar array is such a box as far as snow above it may lean on it; around its ends goes
what lies within the run above it, at most half the width to each side (45 degrees; judgment).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Faces:
    """Upper faces of the boxes on the roof, then of its solar arrays.

    Attributes
    ----------
    obstacle : (o,) int
        Which of the roof's obstacles, -1 for an array.
    array : (o,) int
        Which of the roof's arrays, -1 for a box.
    plane : (o,) int
    ends : (o, 2, 2) float
        Ends of the face in the plane's (u, v), rising u. [m]
    strength : (o,) float
        Force down the slope that is counted on, 0 for none. [N]
    reach : (o,) float
        How far beside each end of the face a parted blanket comes down. [m]
    """

    obstacle: IntArray
    array: IntArray
    plane: IntArray
    ends: Array
    strength: Array
    reach: Array

    @property
    def count(self) -> int:
        """Number of boxes and arrays."""
        return len(self.obstacle)

    @property
    def sides(self) -> Array:
        """Stretches beside each face that a parted blanket takes, (o, 2 sides, 2) along u. [m]."""
        low, high = self.ends[:, 0, 0], self.ends[:, 1, 0]
        return np.stack(
            [np.stack([low - self.reach, low], 1), np.stack([high, high + self.reach], 1)], axis=1
        )

    @property
    def parted(self) -> Array:
        """Part of what arrives at each face that goes around its ends, (o,). [-]."""
        return 2.0 * self.reach / (self.ends[:, 1, 0] - self.ends[:, 0, 0])


def upper_faces(roof: RoofSurface) -> Faces:
    """Upper face of every box on the roof and of every array that snow may lean on.

    Parameters
    ----------
    roof : RoofSurface

    Returns
    -------
    Faces
    """
    known = roof.obstacles
    boxes = np.flatnonzero(~known.parapet)
    ends = np.zeros((len(boxes), 2, 2))
    for number, box in enumerate(boxes):
        on = known.face == box
        feet = np.stack([known.start[on], known.end[on]], axis=1).reshape(-1, 3)
        uv = roof.planes.to_plane(int(known.plane[box]), feet).reshape(-1, 2, 2)
        top = uv[int(np.argmax(uv[:, :, 1].mean(axis=1)))]
        ends[number] = top[np.argsort(top[:, 0])]
    strength = known.strength[boxes] if len(known.strength) else np.zeros(len(boxes))
    arrays = roof.arrays
    dams = np.flatnonzero(arrays.dams)
    tops = arrays.corners[dams][:, [3, 2]]
    above = np.array([roof.planes.outline[p].bounds[3] for p in arrays.plane[dams]]) - tops[:, 0, 1]
    half = 0.5 * np.diff(np.concatenate([ends, tops])[..., 0], axis=1)[:, 0]
    return Faces(
        obstacle=np.concatenate([boxes, np.full(len(dams), -1)]),
        array=np.concatenate([np.full(len(boxes), -1), dams]),
        plane=np.concatenate([known.plane[boxes], arrays.plane[dams]]),
        ends=np.concatenate([ends, tops]),
        strength=np.concatenate([np.nan_to_num(strength, nan=0.0), arrays.counted_on[dams]]),
        reach=np.minimum(half, np.concatenate([np.full(len(boxes), np.inf), above])),
    )
