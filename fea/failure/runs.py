"""How hard snow of a row that lets go runs onto rows below: travel, speed, and a static factor for its push.

Once a row is gone, its snow slides down to the next row, or over the edge of its plane and onto a lower one,
without drag. Work and energy give its speed there; a push that stops its mass over a distance d counts,
beside the pull of its weight, as

    1 + v^2 / (2 g d (sin - mu cos)),    which is 1 + s / d for a run of s on one plane.

Elementary mechanics; the distance d, and that the push is even over it, are judgment. Snow that fills the way
up to the row above cannot run: put on at once without a fall it pushes twice (`LEAST`), the least here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY, UnitSystem

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST = 2.0  # of a load put on at once without fall or rebound [-]
MOST = 50.0  # a factor above says no more than that the row below goes too [-]
STOPPING = 1.0  # distance over which snow stops that runs onto a row or the snow at it (judgment) [m]
SHOWN = 6  # pairs in words
LEVEL = 0.05  # least sin - mu cos that the pull of the weight is counted with [-]


@dataclass(frozen=True)
class Runs:
    """Snow of one row on its way to another, m pairs.

    Attributes
    ----------
    upper, lower : (m,) int
        Rows.
    way : (m,) float
        Run down the slope of the upper plane, to the row below or the foot of the plane. [m]
    drop : (m,) float
        Fall from there onto another plane; 0 on one plane. [m]
    speed : (m,) float
        Down the slope at the lower row. [m/s]
    factor : (m,) float
        Push over that at rest. [-]
    """

    upper: IntArray
    lower: IntArray
    way: Array
    drop: Array
    speed: Array
    factor: Array


def runs_between(
    roof: RoofSurface, layout: Layout, friction: float, lands: Array, stopping: float = STOPPING
) -> Runs:
    """Runs between all rows where something lands.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    friction : float
        Coefficient of the sheet. [-]
    lands : (r, c) float
        What of each row's snow comes onto each clamp; 0 for none.
    stopping : float
        Distance over which the snow stops. [m]
    """
    planes = roof.planes
    upper, lower = np.nonzero(reached(layout, lands))
    own, other = layout.row_plane[upper], layout.row_plane[lower]
    middle = 0.5 * (layout.row_start + layout.row_end)
    same = own == other
    # On its plane a row meets what lies straight above it, however rows lean.
    way = np.where(same, np.maximum(middle[upper, 1] - middle[lower, 1], 0.0), middle[upper, 1])
    grip = np.sin(planes.slope) - friction * np.cos(planes.slope)
    square = np.maximum(2.0 * STANDARD_GRAVITY * way * grip[own], 0.0)
    drop = np.zeros(len(upper))
    for k in np.flatnonzero(~same):  # pairs of rows on two planes
        drop[k], square[k] = _over_the_edge(
            roof, (int(own[k]), int(other[k])), middle[upper[k]], middle[lower[k]], float(square[k]), grip
        )
    pull = 2.0 * STANDARD_GRAVITY * stopping * np.maximum(grip[other], LEVEL)
    factor = np.clip(1.0 + square / pull, LEAST, MOST)
    return Runs(upper, lower, way, drop, np.sqrt(square), factor)


def _over_the_edge(
    roof: RoofSurface, of: tuple[int, int], start: Array, end: Array, square: float, grip: Array
) -> tuple[float, float]:
    """Fall from one plane onto another [m], and the square of the speed at the row there [m^2/s^2].

    What the snow brings square to the lower plane is lost; the rest slides on to the row.
    """
    planes, (own, other) = roof.planes, of
    lip = planes.to_world(own, np.array([[start[0], 0.0]]))[0]
    speed = np.sqrt(square) * -planes.upslope[own]
    normal = planes.normal[other]
    over = float((lip - planes.origin[other]) @ normal) / normal[2]
    rate = -float(speed @ normal) / normal[2]  # at which it comes down on the plane
    time = (np.sqrt(rate**2 + 2.0 * STANDARD_GRAVITY * max(over, 0.0)) - rate) / STANDARD_GRAVITY
    fall = np.array([0.0, 0.0, -STANDARD_GRAVITY])
    met = lip + speed * time + 0.5 * fall * time**2
    along = max(-float((speed + fall * time) @ planes.upslope[other]), 0.0)
    rest = max(float(planes.to_plane(other, met[None])[0, 1] - end[1]), 0.0)
    slid = 2.0 * STANDARD_GRAVITY * rest * float(grip[other])
    return max(float(lip[2] - met[2]), 0.0), max(along**2 + slid, 0.0)


def reached(layout: Layout, lands: Array) -> NDArray[np.bool_]:
    """Rows (r, r) that the snow of each row comes to, also past rows that are gone."""
    rows = len(layout.row_name)
    found = np.zeros((rows, rows), dtype=bool)
    for row in range(rows):  # one line for each row
        found[row] = np.bincount(layout.clamp_row, lands[row], minlength=rows) > 0.0
    for _ in range(rows):
        more = found | ((found.astype(int) @ found.astype(int)) > 0)
        if np.array_equal(more, found):
            break
        found = more
    np.fill_diagonal(found, False)
    return found


def factors_of(runs: Runs, layout: Layout) -> Array:
    """Factor of each row's snow on each clamp, (r, c); `LEAST` where none was worked out."""
    rows = len(layout.row_name)
    found = np.full((rows, rows), LEAST)
    found[runs.upper, runs.lower] = runs.factor
    return np.asarray(found[:, layout.clamp_row])


def run_words(runs: Runs, layout: Layout, units: UnitSystem, stopping: float) -> tuple[str, ...]:
    """The working, hardest first; empty where no snow of one row comes to another."""
    if not len(runs.upper):
        return ()
    names, order = layout.row_name, np.argsort(-runs.factor, kind="stable")
    found = [
        f"from {names[runs.upper[k]]} to {names[runs.lower[k]]} "
        f"{units.text(float(runs.way[k]), 'length')} down the slope"
        + (f", {units.text(float(runs.drop[k]), 'length')} of fall" if runs.drop[k] > 0.0 else "")
        + f", v = {units.text(float(runs.speed[k]), 'speed')}, {runs.factor[k]:.1f} times"
        for k in order[:SHOWN]
    ]
    rest = len(order) - len(found)
    more = f"; and {rest} more, none harder" if rest else ""
    return (
        "Push of snow that runs onto a lower row, over that at rest, 1 + v² / (2 g d (sin - mu cos)) with "
        f"d = {units.text(stopping, 'length')} to stop in, {LEAST:g} to {MOST:g} (from energy; an even push, "
        "d, and the bounds are judgment; the way is that of the lowest snow, and what follows over an edge "
        "is faster): "
        f"{'; '.join(found)}{more}.",
    )
