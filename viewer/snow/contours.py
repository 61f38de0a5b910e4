"""Bands of equal snow pressure: exact polygons, since pressures are linear in every cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.units import UnitSystem
from viewer.snow.findings import Cells

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]

BANDS = 9  # wanted number


@dataclass(frozen=True)
class Scale:
    """Bands common to all cases.

    Attributes
    ----------
    levels : (n + 1,) float
        Bounds of the bands, from 0. [Pa]
    labels : tuple of str, (n + 1,)
        The bounds in the units of the reader.
    """

    levels: Array
    labels: tuple[str, ...]

    @property
    def count(self) -> int:
        """Number of bands."""
        return len(self.levels) - 1


def round_step(least: float) -> float:
    """Smallest of 1, 2, 2.5, 5 times a power of ten that is not below `least`."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(n for n in (1.0, 2.0, 2.5, 5.0, 10.0) if n * power >= least * (1.0 - 1e-9)) * power)


def pressure_scale(largest: float, units: UnitSystem) -> Scale:
    """Bands with round bounds in the reader's units, from 0 to just above the largest pressure [Pa]."""
    top = units.convert(largest if largest > 0.0 else 1e3, "pressure")
    step = round_step(top / BANDS)
    count = max(int(np.ceil(top / step - 1e-9)), 1)
    bounds = step * np.arange(count + 1)
    places = next(p for p in range(9) if abs(round(step, p) - step) < 1e-9 * step)
    one = units.convert(1.0, "pressure")
    return Scale(np.asarray(bounds / one, dtype=float), tuple(f"{b:.{places}f}" for b in bounds))


def bands(cells: Cells, scale: Scale) -> tuple[Shapes, NDArray[np.int64]]:
    """Parts of cells between two levels each.

    Parameters
    ----------
    cells : Cells
    scale : Scale

    Returns
    -------
    (n,) shapely geometry, (n,) int
        Plan polygons [m] and the band of each.
    """
    corners, owner = shapely.get_coordinates(cells.polygon, return_index=True)
    values = cells.pressure[owner, 0] + np.sum(corners * cells.pressure[owner, 1:], axis=1)
    low, high = np.full(len(cells.plane), np.inf), np.full(len(cells.plane), -np.inf)
    np.minimum.at(low, owner, values)
    np.maximum.at(high, owner, values)
    slack = 1e-9 * scale.levels[-1]
    # A uniform pressure on a level belongs to the band that ends there.
    last = np.clip(np.searchsorted(scale.levels, high - slack) - 1, 0, scale.count - 1)
    begun = np.clip(np.searchsorted(scale.levels, low + slack) - 1, 0, scale.count - 1)
    first = np.minimum(begun, last)
    whole = first == last
    cell = np.repeat(np.arange(len(cells.plane)), np.where(whole, 0, last - first + 1))
    if not len(cell):
        return cells.polygon, last
    start = np.concatenate([[0], np.cumsum(np.where(whole, 0, last - first + 1))[:-1]])
    band = first[cell] + np.arange(len(cell)) - start[cell]
    cut = shapely.intersection(cells.polygon[cell], _strips(cells, cell, band, scale, corners))
    kept = shapely.area(cut) > 0.0
    return (
        np.concatenate([cells.polygon[whole], cut[kept]]),
        np.concatenate([last[whole], band[kept]]),
    )


def _strips(
    cells: Cells, cell: NDArray[np.int64], band: NDArray[np.int64], scale: Scale, corners: Array
) -> Shapes:
    """Long rectangles between the lines of a band's two levels in each cell's pressure field."""
    gradient = cells.pressure[cell, 1:]
    steep = np.linalg.norm(gradient, axis=1, keepdims=True)
    way = gradient / steep
    across = np.stack([-way[:, 1], way[:, 0]], axis=1)
    middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    reach = float(np.linalg.norm(np.ptp(corners, axis=0))) + 1.0
    here = cells.pressure[cell, 0] + gradient @ middle
    sides = [(scale.levels[band + end] - here) / steep[:, 0] for end in (0, 1)]
    sides = [np.clip(side, -reach, reach) for side in sides]
    foot = [middle + side[:, None] * way for side in sides]
    rings = np.stack(
        [
            foot[0] - reach * across,
            foot[1] - reach * across,
            foot[1] + reach * across,
            foot[0] + reach * across,
        ],
        axis=1,
    )
    return np.asarray(shapely.polygons(rings))
