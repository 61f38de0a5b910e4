"""What panel strips bring to their fixed points, down and up the slope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.rails.actions import Reading
from roofmodel.hardware import Panel
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class StripLoads:
    """What loads fixed points besides the clamps, factored, (q, s) each. [N].

    What `snow` brings by its friction and by solar arrays, and own `weight`, act down the slope;
    `restrained` is the size of what second fixed points bring by warmth, which may act either way.
    """

    snow: Array
    weight: Array
    restrained: Array


def held_along(along: Array, readings: tuple[Reading, ...], sign: float) -> Array:
    """Force of every clamp on its strip one way along the seam, in the worst reading of each temperature.

    Temperature that acts the other way at a clamp is left out there: what it takes from a fixed point is not
    counted on (judgment).

    Parameters
    ----------
    along : (..., v, c) float
        Down the slope positive. [N]
    readings : tuple of Reading, (v,)
    sign : float
        1 for down the slope, -1 for up.

    Returns
    -------
    (w, ..., c) float
        One entry for every temperature among the readings, positive the way that was asked for. [N]
    """
    warmth = np.array([r.warmth for r in readings])
    worst = [
        (sign * along[..., (warmth == own) | (warmth == 0.0), :]).max(axis=-2) for own in np.unique(warmth)
    ]
    return np.stack(worst)


def strip_demand(
    along: Array, readings: tuple[Reading, ...], strip: IntArray, rest: Array, restrained: Array
) -> Array:
    """Force that each strip brings to its fixed point, the larger of both ways.

    Parameters
    ----------
    along : (..., v, c) float
        Of the clamps on the seams, down the slope positive, reading by reading. [N]
    readings : tuple of Reading, (v,)
    strip : (c,) int
    rest : (..., s) float
        Friction and own weight, down the slope; it never relieves. [N]
    restrained : (..., s) float
        Size of the forces of second fixed points. [N]

    Returns
    -------
    (..., s) float
        [N]
    """
    order = np.argsort(strip, kind="stable")
    first = np.searchsorted(strip[order], np.arange(rest.shape[-1]))
    down, up = (
        np.add.reduceat(held_along(along, readings, sign)[..., order], first, axis=-1).max(axis=0)
        for sign in (1.0, -1.0)
    )
    return np.asarray(np.maximum(np.maximum(down, 0.0) + rest, np.maximum(up, 0.0)) + restrained)


def anchorage_limit(
    force: Array, readings: tuple[Reading, ...], panel: Panel, layout: Layout, loads: StripLoads
) -> Limit:
    """Force of each panel strip on its fixed point: all clamps on its seam, and the rest.

    Parameters
    ----------
    force : (q, k v, c, 6) float
        Factored, at the grips, seam axes, in k states of the structure of which the worst counts. [N, N m]
    readings : tuple of Reading, (v,)
    panel, layout, loads
    """
    strip, names = panel_strips(layout)
    rest, restrained = (loads.snow + loads.weight)[:, None], loads.restrained[:, None]
    along = force[..., 0].reshape(len(force), -1, len(readings), len(strip))
    demand = strip_demand(along, readings, strip, rest, restrained).max(axis=1)
    return Limit(
        name="panel anchorage",
        target="panel strip",
        target_name=names,
        demand=demand,
        resistance=np.full(len(names), panel.anchorage),
        utilization=np.where(demand <= 0.0, 0.0, demand / panel.anchorage),
        quantity="force",
        basis="all drag of a panel strip, its own weight and what solar arrays bring included, ends "
        "at its fixed point; the worse of "
        "down and up the slope, with one strength for both and no relief by warmth (judgment)",
    )
