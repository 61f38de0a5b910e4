"""What a reader must know where snow goes straight across flat roof, or might, in short sentences."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout
from roofmodel.sliding.across import AGAINST, End
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.thrust import RowForce
from roofmodel.sliding.way_geometry import fall_of, other_side
from roofmodel.surface import SHALLOW, STEEP, STEEPER, RoofSurface
from roofmodel.units import UnitSystem
from roofmodel.words import shortlist

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LITTLE = 0.02  # part of what comes from a plane that is not worth a word [-]
AHEAD = np.cos(np.radians(20.0))  # planes that fall so nearly alike turn nothing aside (judgment)
NAMED = 4  # pairs of planes named in a sentence


def straight_words(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, force: RowForce, units: UnitSystem
) -> list[str]:
    """Sentences on what rises hold or valleys keep, on what turns aside, on rows and boxes met from behind.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    graph : FlowGraph
    force : RowForce
        Of the same graph.
    units : UnitSystem
    """
    found = _divided(roof, graph, force, units) + _turned_aside(roof, graph, force, units)
    return found + _from_behind(roof, layout, graph, force, units) + _boxes(roof, force, units)


def _pairs(roof: RoofSurface, graph: FlowGraph, cell: IntArray) -> tuple[IntArray, IntArray]:
    """Planes of cells and the planes below them."""
    plane = graph.cells.plane[cell]
    return plane, other_side(roof, graph.cells.lower_edge[cell], plane)


def _divided(roof: RoofSurface, graph: FlowGraph, force: RowForce, units: UnitSystem) -> list[str]:
    """Slopes whose snow goes on in part, where what lies below them falls back."""
    across, names = graph.across, roof.planes.name
    goes = across.end != End.PIT
    part = np.bincount(across.cell[goes], across.share[goes], graph.cells.count)
    cell = np.unique(across.cell)
    upper, lower = _pairs(roof, graph, cell)
    words = []
    for a, b in np.unique(np.stack([upper, lower], axis=1), axis=0).tolist():
        own = cell[(upper == a) & (lower == b)]
        whole = force.cell_thrust[:, own].sum(axis=1)
        case = int(whole.argmax())
        on = float(force.cell_thrust[case, own] @ part[own])
        if whole[case] > 0.0 and LITTLE < on / whole[case] < 1.0 - LITTLE:
            total, over = (units.text(one, "force") for one in (float(whole[case]), on))
            words.append(f"{over} of {total} from {names[a]} over {names[b]}")
    if not words:
        return []
    return [
        f"Snow goes straight on where the roof below a slope falls back: {shortlist(words, NAMED)} "
        "(worst case, before load factors). The rest is taken as held by the rise, or as carried off in the "
        "valley between (judgment, for even snow on both): less snow on what falls back holds less, and rows "
        "at the foot of that valley get only the rest."
    ]


def _turned_aside(roof: RoofSurface, graph: FlowGraph, force: RowForce, units: UnitSystem) -> list[str]:
    """Planes a little too steep to be crossed, that turn what comes onto them to one side."""
    cells, slope, fall = graph.cells, roof.planes.slope, fall_of(roof)
    cell = np.flatnonzero((cells.lower_edge >= 0) & (force.cell_thrust.max(axis=0, initial=0.0) > 0.0))
    upper, lower = _pairs(roof, graph, cell)
    alike = np.sum(fall[upper] * fall[lower], axis=1)
    at = (lower >= 0) & (slope[lower] >= SHALLOW) & (slope[lower] < STEEP)
    at &= (slope[upper] > slope[lower] + STEEPER) & (alike < AHEAD) & (alike >= AGAINST)
    pairs = np.unique(np.stack([upper[at], lower[at]], axis=1), axis=0).tolist()
    if not pairs:
        return []
    names = roof.planes.name
    words = [f"{names[b]} (below {names[a]})" for a, b in pairs]
    bound = 0.0 if force.ahead is None else float((-force.ahead[..., 1]).sum(axis=1).max())
    more = f" (up to {units.text(bound, 'force')} more)" if bound > 0.0 else ""
    return [
        f"{shortlist(words, NAMED)}: not steeper than {np.degrees(STEEP):.0f} degrees and sloping "
        "aside, taken to turn the snow that comes onto it. A thick blanket may go straight on, as it is "
        f"taken to do below {np.degrees(SHALLOW):.0f} degrees. The worse of both counts for rows straight "
        f"ahead{more}, their ends, boxes, solar arrays, what lands on lower roofs, what is protected, and "
        "every edge that snow leaves over, which add up to more than lies on the roof (judgment)."
    ]


def _from_behind(
    roof: RoofSurface, layout: Layout, graph: FlowGraph, force: RowForce, units: UnitSystem
) -> list[str]:
    """Rows on what falls back, which snow pushes up their slope."""
    across, fall = graph.across, fall_of(roof)
    at = np.flatnonzero(across.end == End.ROW)
    at = at[np.sum(across.way[at] * fall[layout.row_plane[across.edge[at]]], axis=1) < 0.0]
    push = np.zeros((len(layout.row_name), len(force.balance.driving)))
    np.add.at(push, across.edge[at], (force.cell_thrust[:, across.cell[at]] * across.share[at]).T)
    rows = np.flatnonzero(push.max(axis=1, initial=0.0) > 0.0)
    if not len(rows):
        return []
    words = [f"{layout.row_name[r]} {units.text(float(push[r].max()), 'force')}" for r in rows]
    return [
        f"Snow from the slope behind pushes rows up their own slope: {shortlist(words, NAMED)} (worst case, "
        "before load factors). Here it is added to what pushes down that slope: look by hand at whether "
        "clamps and brackets hold that way."
    ]


def _boxes(roof: RoofSurface, force: RowForce, units: UnitSystem) -> list[str]:
    """Obstructions and arrays that are pushed by what comes straight across."""
    if force.straight is None:
        return []
    arrays = roof.arrays
    names = [roof.obstacles.name[k] for k in force.obstacle]
    names += [name for name, dams in zip(arrays.name, arrays.dams, strict=True) if dams]
    push = force.straight.max(axis=0)
    words = [f"{n} {units.text(float(p), 'force')}" for n, p in zip(names, push, strict=True) if p > 0.0]
    if not words:
        return []
    return [
        f"Snow that comes straight across flat roof pushes {shortlist(words, NAMED)}, in its own "
        "way, not down the plane (part of the force given there; worst case, before load factors). It "
        "relieves no row, and what parts there and comes down beside is not added to the rows beyond."
    ]
