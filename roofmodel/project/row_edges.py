"""Edges of a plane that a row's rail ends at, by name."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import shown

Array = NDArray[np.float64]

AT_IT = 0.05  # a point this near to an edge is on it [m]


def edge_at(roof: RoofSurface, plane: int, place: Array) -> int:
    """Edge of a plane that runs through a point of its outline, valleys first, -1 for none.

    Parameters
    ----------
    roof : RoofSurface
    plane : int
    place : (3,) float
        [m]
    """
    own = np.flatnonzero(np.any(roof.edges.plane == plane, axis=1))
    off = np.array([_distance(roof, int(edge), place) for edge in own])
    near = own[off < AT_IT]
    if not len(near):
        return -1
    valleys = [int(e) for e in near if roof.edges.kind[e] is EdgeKind.VALLEY]
    return valleys[0] if valleys else int(own[np.argmin(off)])


def edge_name(roof: RoofSurface, plane: int, uv: Array) -> str | None:
    """Name of the edge through a point (u, v) of a plane's outline; None where a name says too little."""
    edge = edge_at(roof, plane, roof.planes.to_world(plane, uv))
    name = None if edge < 0 else roof.edges.name[edge]
    return name if name is not None and roof.edges.name.count(name) == 1 else None


def ends_of_sheet(roof: RoofSurface, plane: int) -> shapely.MultiLineString:
    """Edges in (u, v) where the sheet of a plane ends: all but pitch breaks, which sheets run over. [m]."""
    kept = np.array([kind is not EdgeKind.BREAK for kind in roof.edges.kind], dtype=bool)
    own = kept & (roof.edges.plane == plane).any(axis=1)
    ends = [roof.planes.to_plane(plane, ends[own]) for ends in (roof.edges.start, roof.edges.end)]
    return shapely.MultiLineString(list(np.stack(ends, axis=1)))


def end_on_edge(
    roof: RoofSurface, plane: int, line: tuple[Array, Array], ends: list[float], name: str, field: str
) -> float:
    """Which of the ends of a line's pieces on a plane lies on an edge, along the line. [m].

    Parameters
    ----------
    roof : RoofSurface
    plane : int
    line : (point, way)
        Of the row, in (u, v).
    ends : list of float
        Left or right ends of its pieces.
    name : str
        Of the edge.
    field : str
        For the message, such as ``row "A".end_at``.

    Raises
    ------
    InputError
        The plane has no such edge, or no piece ends there.
    """
    own = np.flatnonzero(np.any(roof.edges.plane == plane, axis=1)).tolist()
    known = [roof.edges.name[edge] for edge in own]
    if name not in known:
        there, of = ", ".join(known[:12]), roof.planes.name[plane]
        message = f"{field}: plane {of} has no edge {shown(name)}; it has {there}"
        raise InputError(message)
    edge = own[known.index(name)]
    places = [roof.planes.to_world(plane, line[0] + s * line[1]) for s in ends]
    on = [s for s, place in zip(ends, places, strict=True) if _distance(roof, edge, place) < AT_IT]
    if not on:
        names = [edge_name(roof, plane, line[0] + s * line[1]) for s in ends]
        found = ", ".join(one for one in names if one) or "no edge with a name"
        message = (
            f"{field}: the row's line does not end at {name} at this height; on this side it ends at {found}"
        )
        raise InputError(message)
    return on[0]


def _distance(roof: RoofSurface, edge: int, place: Array) -> float:
    start, way = roof.edges.start[edge], roof.edges.end[edge] - roof.edges.start[edge]
    t = float(np.clip((place - start) @ way / (way @ way), 0.0, 1.0))
    return float(np.linalg.norm(place - start - t * way))
