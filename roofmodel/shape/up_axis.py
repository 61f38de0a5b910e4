"""Whether the axis that is said to point up does: a house on its side is told."""

from __future__ import annotations

import numpy as np

from roofmodel.shape.cleaning import distinct
from roofmodel.surface import Array, IntArray, RoofSurface

DOUBT = "Is the up axis right?"  # what notes begin with
LEVEL, UPRIGHT = np.cos(np.radians(3.0)), np.sin(np.radians(1.0))  # |n_z| of floors above, of walls below
GENTLE = np.cos(
    np.radians(45.0)
)  # most roofs are flatter, and steeper when they lie on their side (judgment)
LEAST_WALLS = 0.3  # share of walls in one reading; a roof without its house is not doubted here (judgment)
HIGHEST_RISE, LEAST_ACROSS, MOST_ACROSS = 50.0, 1.0, 1000.0  # of roofs that are not doubted (judgment) [m]
MORE_ROOF, MORE_RISE = 0.05, 0.1  # by which the other axis must be better (judgment)


def doubted_up(points: Array, faces: IntArray, up: str) -> tuple[str, ...]:
    """What speaks for the other up axis, in one note; none where nothing does.

    A house on its side shows its slopes steeper than 45 degrees, and no higher than its walls; upright, most
    of its sloping faces are flatter and stand above the walls. Both must speak for the other axis (judgment).
    Flat roofs, slopes above 45 degrees and towers askew to the file's axes are not found.

    Parameters
    ----------
    points : (n, 3) float
        z up as read. [m]
    faces : (m, 3) int
    up : str
        "z" or "y", the axis of the file that was taken.
    """
    if not len(faces):
        return ()
    corner = points[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    twice = np.linalg.norm(normal, axis=1)
    middle = corner.mean(axis=1)
    extent = np.ptp(points[distinct(faces)], axis=0)
    sign = -1.0 if up == "y" else 1.0
    with np.errstate(invalid="ignore", divide="ignore"):
        rise = np.nan_to_num(np.abs(normal / twice[:, None]))
    here = _reading(rise[:, 2], middle[:, 2], twice, extent[2])
    there = _reading(rise[:, 1], sign * middle[:, 1], twice, extent[1])
    better = np.isfinite(there[3]) and there[0] > here[0] + MORE_ROOF and there[1] > here[1] + MORE_RISE
    if max(here[2], there[2]) < LEAST_WALLS or not better:
        return ()
    other = "y" if up == "z" else "z"
    note = (
        f"{DOUBT} With {up} up, as read, the model stands {extent[2]:.1f} m high, its slopes are mostly "
        f"{here[3]:.0f} degrees and lie no higher than its walls; with {other} up it would be "
        f"{extent[1]:.1f} m high, with slopes of {there[3]:.0f} degrees above the walls."
    )
    return (note,)


def doubts(roof: RoofSurface) -> tuple[str, ...]:
    """What speaks against the up axis or the unit of a roof."""
    return (*doubted_size(roof), *(note for note in roof.notes if note.startswith(DOUBT)))


def doubted_size(roof: RoofSurface) -> tuple[str, ...]:
    """A roof that rises or spreads as hardly any house does, with its size; none for others."""
    size = np.ptp(roof.points[roof.faces].reshape(-1, 3), axis=0)
    if size[2] <= HIGHEST_RISE and LEAST_ACROSS <= size[:2].max() <= MOST_ACROSS:
        return ()
    return (
        f"IS THE UNIT RIGHT? As read, the roof is {size[0]:.4g} m by {size[1]:.4g} m on plan and rises "
        f"{size[2]:.3g} m from its lowest to its highest point.",
    )


def _reading(rise: Array, height: Array, area: Array, extent: float) -> tuple[float, float, float, float]:
    """Share of gentle less steep slopes; their height above the walls', over all; share of walls; slope."""
    total = float(area.sum())
    wall, sloping = rise <= UPRIGHT, (rise > UPRIGHT) & (rise < LEVEL)
    if not (area[wall].sum() > 0.0 and area[sloping].sum() > 0.0 and extent > 0.0):
        return 0.0, 0.0, float(area[wall].sum()) / total if total else 0.0, np.nan
    gentle = float(area[sloping & (rise >= GENTLE)].sum())
    steep = float(area[sloping].sum()) - gentle
    lift = np.average(height[sloping], weights=area[sloping]) - np.average(height[wall], weights=area[wall])
    order = np.argsort(rise[sloping])
    share = np.cumsum(area[sloping][order])
    median = rise[sloping][order][np.searchsorted(share, 0.5 * share[-1])]
    slope = float(np.degrees(np.arccos(median)))
    return (gentle - steep) / total, float(lift) / extent, float(area[wall].sum()) / total, slope
