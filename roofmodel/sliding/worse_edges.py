"""What leaves over each edge by the worse of two readings of planes that may turn snow aside.

Snow that one reading sends over one edge the other may send over another, so that edges add up to more than
lies on the roof. What lands on lower roofs stays that of the first reading; what an edge sheds more in the
other counts as reaching the ground.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.landing import Landing, landing
from roofmodel.sliding.thrust import RowForce, SlideOptions
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Flown = tuple[FlowGraph, RowForce, Landing]


def flown(
    roof: RoofSurface, first: Flown, cases: tuple[SnowCase, ...], options: SlideOptions
) -> tuple[Flown, ...]:
    """Every reading with its landing: the first, and the other one, lower roofs left out, where there is one.

    Parameters
    ----------
    roof : RoofSurface
    first : (FlowGraph, RowForce, Landing)
    cases : tuple of SnowCase, (q,)
    options : SlideOptions
    """
    graph, force, _ = first
    others = force.flows(graph)[1:]
    return (first, *((*one, landing(roof, *one, cases, options, lower=False)) for one in others))


def worse_edges(flows: Sequence[Flown]) -> tuple[RowForce, Landing]:
    """The first reading with the larger of both for every edge and wall: weight, volume, speed, throw, push.

    Parameters
    ----------
    flows : sequence of (FlowGraph, RowForce, Landing)
        Of `flown`; one alone stays as it is.
    """
    (_, force, lands), *rest = flows
    if not rest:
        return force, lands
    _, other, other_lands = rest[0]
    edges = np.union1d(force.exit_edge, other.exit_edge)
    walls = np.union1d(force.wall_edge, other.wall_edge)
    own, its = (np.searchsorted(edges, one.exit_edge) for one in (force, other))
    both = partial(_side_by_side, (own, its), len(edges))
    held = partial(
        _side_by_side, [np.searchsorted(walls, one.wall_edge) for one in (force, other)], len(walls)
    )
    weight = both(force.exit_weight, other.exit_weight)
    throw = both(lands.throw, other_lands.throw)
    zone, fall = np.full((len(edges), 4, 3), np.nan), np.full(len(edges), np.nan)
    zone[its], fall[its] = other_lands.zone, other_lands.fall
    farther = throw[0][own] >= throw[1][own]
    zone[own[farther]], fall[own] = lands.zone[farther], lands.fall
    beyond = both(lands.lower.beyond, np.zeros_like(other.exit_weight))[0] + weight.max(axis=0) - weight[0]
    heaps = replace(lands.lower.heaps, edge=own[lands.lower.heaps.edge])
    lower = replace(
        lands.lower,
        edge=own[lands.lower.edge],
        heaps=heaps,
        beyond=beyond,
        touched=tuple((int(own[edge]), plane, where) for edge, plane, where in lands.lower.touched),
    )
    return (
        replace(
            force,
            exit_edge=edges,
            exit_thrust=both(force.exit_thrust, other.exit_thrust).max(axis=0),
            exit_weight=weight.max(axis=0),
            wall_edge=walls,
            wall_thrust=held(force.wall_thrust, other.wall_thrust).max(axis=0),
            wall_line=held(force.wall_line, other.wall_line).max(axis=0),
        ),
        Landing(
            line=both(lands.line, other_lands.line).max(axis=0),
            volume=both(lands.volume, other_lands.volume).max(axis=0),
            speed=both(lands.speed, other_lands.speed).max(axis=0),
            fall=fall,
            throw=throw.max(axis=0),
            zone=zone,
            lower=lower,
        ),
    )


def _side_by_side(at: Sequence[IntArray], count: int, first: Array, second: Array) -> Array:
    """Values (..., k) of both readings at their places among all, nothing where a reading has none."""
    found = np.zeros((2, *first.shape[:-1], count))
    found[0][..., at[0]], found[1][..., at[1]] = first, second
    return found
