"""Walls that an outline is made of, with their least thickness; what is on none is told."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.profiles.chains import Chains, chains_of
from roofmodel.profiles.data import Walls
from roofmodel.profiles.joints import free_ends, joined, lips, lone_lump, meeting, together, widest_circle
from roofmodel.profiles.plates import Plates, plates_of
from roofmodel.profiles.unaccounted import accounts, bare, lost_in

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

POINTED = 0.05  # least over largest thickness of one plate below which the least one says nothing (judgment)


def walls_of(outline: Polygon) -> Walls:
    """Walls of an outline, each with its least thickness.

    Parameters
    ----------
    outline : Polygon
        [m]

    Notes
    -----
    A wall that tapers or has steps is taken as a plate of its whole width and least thickness: less than it
    holds. What is on no wall, joint or stout lump is `lost`.
    """
    plates = plates_of(outline)
    rest = bare(outline, plates.corner)
    size = np.array([widest_circle(lump) for lump in rest])
    chains = chains_of(outline, plates, rest, size)
    touches = together(chains.start, chains.end, chains.thick, rest)
    near = meeting(touches)
    free = _free(outline, chains, touches, near, size)
    lip, web = lips(near, free)
    lost = np.concatenate([lost_in(outline, rest), _pointed(plates), chains.lost])
    return Walls(
        chains.start,
        chains.end,
        chains.least,
        free,
        lip,
        web,
        not len(lost),
        lost,
        accounts(outline, rest, touches, lost),
    )


def _free(outline: Polygon, chains: Chains, touches: BoolArray, near: BoolArray, size: Array) -> BoolArray:
    """Ends (n, 2) that nothing holds."""
    free = free_ends(outline, chains.start, chains.end, chains.thick) & ~chains.split[:, None]
    free &= ~joined(chains.start, chains.end, near)
    small = lone_lump(touches, chains.thick, size) & ~chains.split[:, None] & ~free
    small |= chains.thicker & ~free
    # Of a plate that two such ends bound, or whose other end is free, the stouter one counts as its root.
    alone = small & ~(free[:, ::-1] | small[:, ::-1])
    both = small.all(axis=1)
    alone[both, 0] = True
    return np.asarray(free | alone)


def _pointed(plates: Plates) -> Array:
    """Plates (k, 4) that run out to an edge, as `Walls.lost`."""
    thick = plates.thick
    at = thick.min(axis=1) < POINTED * thick.max(axis=1) if len(thick) else np.zeros(0, dtype=bool)
    middle = 0.5 * (plates.start + plates.end)
    return np.column_stack([middle, thick.min(axis=1, initial=np.inf), plates.length])[at]
