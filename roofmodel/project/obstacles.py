"""Parapets and obstructions of the project file, placed on the recognized roof."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box

from roofmodel.errors import InputError
from roofmodel.obstacles import Obstacles, some_of, together
from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import UnitSystem, shown

Array = NDArray[np.float64]

TALLEST_PARAPET, TALLEST_BOX = 20.0, 100.0  # higher ones are slips of the unit, judgment [m]
FREE = (EdgeKind.EAVE, EdgeKind.RAKE, EdgeKind.HEAD)


def place_obstacles(
    roof: RoofSurface,
    parapets: Sequence[ParapetTable],
    obstructions: Sequence[ObstructionTable],
    units: UnitSystem,
) -> Obstacles:
    """Stand parapets on their edges and obstructions on their planes, beside those that the model shows.

    An obstruction of the file takes the place of one that the model shows at its place or by its name.

    Raises
    ------
    InputError
        An edge or plane that is not there, an edge that is not free, a box that reaches off its plane, a
        height of which the unit must be wrong.
    """
    edges = [_edge(roof, table) for table in parapets]
    for table in parapets:
        _check_height(f"parapet on {table.edge}", table.height, TALLEST_PARAPET, units)
    for box_table in obstructions:
        _check_height(f'obstruction "{box_table.name}"', box_table.height, TALLEST_BOX, units)
    planes = [_plane(roof, table) for table in obstructions]
    boxes = [_box(roof, plane, table, units) for plane, table in zip(planes, obstructions, strict=True)]
    many, more = len(parapets), len(obstructions)
    corners = np.array(boxes).reshape(more, 4, 3)
    start = np.concatenate([roof.edges.start[edges].reshape(-1, 3), corners.reshape(-1, 3)])
    # Clockwise around a box the roof lies to the left.
    end = np.concatenate([roof.edges.end[edges].reshape(-1, 3), np.roll(corners, -1, axis=1).reshape(-1, 3)])
    placed = Obstacles(
        name=(*(f"parapet on {table.edge}" for table in parapets), *(table.name for table in obstructions)),
        parapet=np.arange(many + more) < many,
        plane=np.array([*roof.edges.plane[edges, 0].tolist(), *planes], dtype=np.int64),
        height=np.array([*(t.height for t in parapets), *(t.height for t in obstructions)], dtype=np.float64),
        clear=np.array([*[0.0] * many, *(table.clear for table in obstructions)], dtype=float),
        face=np.concatenate([np.arange(many), np.repeat(many + np.arange(more), 4)]),
        start=start,
        end=end,
        strength=np.array([*[np.nan] * many, *(_strength(table) for table in obstructions)], dtype=float),
    )
    return together(placed, _left(roof, placed))


def _check_height(label: str, height: float, most: float, units: UnitSystem) -> None:
    if height > most:
        message = (
            f"{label}: height {units.text(height, 'length')} is more than {units.text(most, 'length')}; is "
            "its unit right?"
        )
        raise InputError(message)


def _left(roof: RoofSurface, placed: Obstacles) -> Obstacles:
    """What the model shows, without what the project describes itself."""
    found = roof.found
    keep = np.array([name.split(" (")[0] not in placed.name for name in found.name], dtype=bool)
    for one in np.flatnonzero(keep & ~found.parapet):
        plane = int(found.plane[one])
        foot = Polygon(roof.planes.to_plane(plane, found.start[found.face == one]))
        for other in np.flatnonzero(~placed.parapet & (placed.plane == plane)):
            own = Polygon(roof.planes.to_plane(plane, placed.start[placed.face == other]))
            keep[one] &= own.intersection(foot).area < 1e-6
    return some_of(found, keep)


def _strength(table: ObstructionTable) -> float:
    return np.nan if table.strength is None else table.strength


def _edge(roof: RoofSurface, table: ParapetTable) -> int:
    names = roof.edges.name
    if table.edge not in names:
        raise InputError(_unknown("parapet.edge", table.edge, names))
    edge = names.index(table.edge)
    if roof.edges.kind[edge] not in FREE:
        message = (
            f"parapet.edge: {shown(table.edge)} is not a free edge; a parapet stands on an eave, rake or head"
        )
        raise InputError(message)
    return edge


def _plane(roof: RoofSurface, table: ObstructionTable) -> int:
    names = roof.planes.name
    if table.plane not in names:
        raise InputError(_unknown(f'obstruction "{table.name}".plane', table.plane, names))
    return names.index(table.plane)


def _unknown(field: str, value: str, names: tuple[str, ...]) -> str:
    close = get_close_matches(value, names, 1)
    hint = f"did you mean {shown(close[0])}?" if close else f"there are {', '.join(names[:12])}"
    return f"{field}: {shown(value)} is not on this roof; {hint}"


def _box(roof: RoofSurface, plane: int, table: ObstructionTable, units: UnitSystem) -> Array:
    """Corners (4, 3) of a box's foot, clockwise from above. [m]."""
    label = f'obstruction "{table.name}"'
    if table.clear >= table.height:
        message = (
            f"{label}.clear: {units.text(table.clear, 'length')} must be less than height, "
            f"{units.text(table.height, 'length')}"
        )
        raise InputError(message)
    u, v = 0.5 * table.width, 0.5 * table.depth
    foot = box(table.across - u, table.up - v, table.across + u, table.up + v)
    check_on_plane(roof, plane, foot, label, units)
    uv = np.array([table.across, table.up]) + np.array([[-u, -v], [-u, v], [u, v], [u, -v]])
    return roof.planes.to_world(plane, uv)


def check_on_plane(roof: RoofSurface, plane: int, foot: Polygon, label: str, units: UnitSystem) -> None:
    """Refuse what stands on a plane and reaches off it; `foot` in the plane's (u, v). Raises InputError."""
    outline = roof.planes.outline[plane]
    if not outline.buffer(1e-6).covers(foot):
        low_u, low_v, high_u, high_v = outline.bounds
        message = (
            f"{label}: it reaches off the plane {roof.planes.name[plane]}, which is "
            f"{units.text(high_u - low_u, 'length')} wide and {units.text(high_v - low_v, 'length')} up the "
            "slope; move it or make it smaller"
        )
        raise InputError(message)
