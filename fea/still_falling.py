"""Snow that comes down on what the user wants to protect, with the rows as they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.planning.cut_strips import landing_snow, reaching_parts
from fea.planning.threats import threatening
from roofmodel.project.load import Project
from roofmodel.project.protected import marked_place
from roofmodel.sliding.flow import FlowGraph
from roofmodel.sliding.landing import Landing
from roofmodel.sliding.split import snow_within
from roofmodel.sliding.thrust import RowForce
from roofmodel.sliding.worse_edges import Flown
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import FLAT_SLOPE
from roofmodel.units import SYSTEMS, UnitSystem

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST = 10.0  # a kilogram, below which nothing is told (judgment) [N]
NEAR = 1.5  # of plan.eave_distance: what lies no farther below a row is its eave strip (judgment) [-]
SHARE = 0.01  # of the snow on the planes it comes from, that may pass beside rows [-]
MOST = 1000.0  # but no more than a hundred kilograms, however large those planes are (judgment) [N]


@dataclass(frozen=True)
class Falling:
    """Snow that comes down on one thing to be protected, in its worst case.

    Attributes
    ----------
    name : str
    weight : float
        All of it, vertical, before load factors. [N]
    unheld : float
        Part of it that does not come from close below the lowest rows. [N]
    planes : tuple of str
        Where it comes from.
    kept : bool
        Whether no more than a little snow comes down on it but from close below the lowest rows.
    case : int
    """

    name: str
    weight: float
    unheld: float
    planes: tuple[str, ...]
    kept: bool
    case: int


def protected_snow(
    project: Project, cases: Sequence[SnowCase], flows: Sequence[Flown]
) -> tuple[Falling, ...]:
    """What comes down on everything that is to be protected, in the order of the project file.

    What lies close below the lowest row always falls; all other snow is not held. Where planes may turn snow
    aside or let it go straight on, the reading that brings more counts.

    Parameters
    ----------
    project : Project
    cases : sequence of SnowCase, (q,)
        Those of the force.
    flows : sequence of (FlowGraph, RowForce, Landing)
        Every reading, with the same rows.
    """
    if not project.table.protect:
        return ()
    each = [_falling(project, cases, *flow) for flow in flows]
    return tuple(max(found, key=lambda one: (not one.kept, one.weight)) for found in zip(*each, strict=True))


def _falling(
    project: Project, cases: Sequence[SnowCase], graph: FlowGraph, force: RowForce, lands: Landing
) -> list[Falling]:
    """`protected_snow` of one reading of planes that may turn snow aside."""
    planes, cells = project.roof.planes, graph.cells
    throw = dict(zip(force.exit_edge.tolist(), lands.throw.tolist(), strict=True))
    moves = force.cell_thrust.max(axis=0) > 0.0
    each = force.cell_pressure * cells.plan_area
    close = _below_rows(project)
    below = snow_within(project.roof, cells, cases, each, close)
    slides = planes.slope[cells.plane] > FLAT_SLOPE
    found = []
    for mark in project.table.protect:
        hits = threatening(project, graph, throw, mark, moves)
        reached = reaching_parts(project, graph, throw, mark, hits)
        falls, near = landing_snow(project, graph, cases, (each, below), reached, close)
        falls, past = (part * (moves * slides) for part in (falls, falls - near))
        of = np.stack([np.bincount(cells.plane, weights=w, minlength=planes.count) for w in falls])
        there = np.stack([np.bincount(cells.plane, weights=w, minlength=planes.count) for w in each])
        allowed = np.clip(SHARE * np.sum(there * (of > 0.0), axis=1), LEAST, MOST)
        past = past.sum(axis=1)
        over = past / allowed
        broken = bool(over.max() >= 1.0)
        case = int(over.argmax() if broken else falls.sum(axis=1).argmax())
        names = tuple(planes.name[p] for p in np.flatnonzero(of[case] >= 0.5 * LEAST))
        weight, unheld = float(falls[case].sum()), float(past[case])
        found.append(Falling(mark.name, weight, unheld, names, not broken, case))
    return found


def falling_words(one: Falling, units: UnitSystem) -> str:
    """What comes down on something protected, in a sentence."""
    total, names = units.text(one.weight, "force"), ", ".join(one.planes)
    if one.kept and one.unheld < LEAST:
        words = f"{total} of snow from below the lowest rows on {names} still come down on it"
    elif one.kept:
        past = units.text(one.unheld, "force")
        words = f"{total} of snow of {names} still come down on it, {past} of them past the rows"
    else:
        words = f"{total} of snow of {names} come down on it, which no row holds"
    return f"{one.name} is to be protected: {words} (weight of snow, worst case)."


def protected_cautions(project: Project, found: tuple[Falling, ...]) -> tuple[str, ...]:
    """A sentence for everything protected that snow still comes down on, or that none can reach."""
    units = SYSTEMS[project.table.project.units]
    words = [falling_words(one, units) for one in found if one.weight >= LEAST]
    return (*words, *out_of_reach(project, units))


def out_of_reach(project: Project, units: UnitSystem) -> list[str]:
    """Places to be protected that lie farther from the roof than snow can fly.

    Snow that falls by a while it slides and by b in the air flies 2 sqrt(a b) at most, no farther than the
    roof is high.
    """
    roof, found = project.roof, []
    high = float(roof.points[:, 2].max() - roof.ground)
    for mark in project.table.protect:
        if mark.area is None and mark.line is None:
            continue
        away = float(marked_place(mark, roof).distance(shapely.MultiPoint(roof.points[:, :2]).convex_hull))
        if away - mark.margin > high:
            field = "area" if mark.area is not None else "line"
            found.append(
                f"{mark.name} is to be protected, but lies {units.text(away, 'length')} from the roof, "
                f"farther than snow can fly from it ({units.text(high, 'length')}): nothing is protected "
                f"there. Check unit and axes of protect.{field} (coordinates of roof.png)."
            )
    return found


def _below_rows(project: Project) -> dict[int, BaseGeometry]:
    """Part of each plane, (u, v), close below its rows; they count as one seam longer at each end. [m]."""
    layout, spacing = project.layout, project.panel.seam_spacing
    reach = np.array([0.0, NEAR * project.table.plan.eave_distance])
    parts: dict[int, list[shapely.Polygon]] = {}
    for row, plane in enumerate(layout.row_plane.tolist()):
        ends = np.stack([layout.row_start[row], layout.row_end[row]])
        left, right = ends[np.argsort(ends[:, 0])]
        longer = spacing / (right[0] - left[0]) * (right - left)
        left, right = left - longer, right + longer
        parts.setdefault(plane, []).append(shapely.Polygon([left, right, right - reach, left - reach]))
    return {plane: shapely.union_all(strips) for plane, strips in parts.items()}
