"""Free places on the roof, offered where something new is put onto it."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString

from roofmodel.project.load import Project
from roofmodel.units import factor

SIDE = {"US": (3.0, "ft"), "SI": (1.0, "m")}  # of the box that the form offers
STEP = {"US": 0.5, "SI": 0.1}  # that places are rounded to
MARGIN = 0.3  # to edges, rows and what stands there [m]
TRIED = 24  # places along each side of a plane
PLANES = 40  # that are looked at


def free_spots(project: Project) -> dict[str, list[dict[str, str]]]:
    """Places of two boxes on each plane that keep off edges, rows and each other, as texts for the file.

    Returns
    -------
    dict
        Of each plane, up to two of `across` and `up`, those nearest to its middle; planes with rows first.
    """
    rows = np.bincount(project.layout.row_plane, minlength=project.roof.planes.count)
    order = np.argsort(-rows, kind="stable")[:PLANES].tolist()
    return {project.roof.planes.name[p]: _of_plane(project, p) for p in order}


def _of_plane(project: Project, plane: int) -> list[dict[str, str]]:
    system = project.table.project.units
    side, unit = SIDE[system]
    size = factor(unit, "length")
    outline = project.roof.planes.outline[plane]
    free = shapely.difference(
        shapely.buffer(outline, -MARGIN), shapely.buffer(_taken(project, plane), MARGIN)
    )
    u0, v0, u1, v1 = np.array(outline.bounds) / size
    step, half = STEP[system], 0.5 * side
    u, v = (np.round(np.linspace(low, high, TRIED) / step) * step for low, high in ((u0, u1), (v0, v1)))
    places = np.stack(np.meshgrid(u[u > 0.0], v[v > 0.0], indexing="ij"), axis=-1).reshape(-1, 2)
    boxes = shapely.box(*((places - half) * size).T, *((places + half) * size).T)
    places = places[shapely.covers(free, boxes)]
    middle = shapely.get_coordinates(outline.representative_point())[0] / size
    places = places[np.argsort(np.linalg.norm(places - middle, axis=1), kind="stable")]
    apart = np.abs(places - places[:1]).max(axis=1, initial=0.0) >= side + 2.0 * MARGIN / size
    both = [*places[:1], *places[apart][:1]]
    return [{"across": f"{a:g} {unit}", "up": f"{b:g} {unit}"} for a, b in np.round(both, 6)] if both else []


def _taken(project: Project, plane: int) -> shapely.Geometry:
    """Rows, boxes and arrays of a plane."""
    roof, layout = project.roof, project.layout
    known, arrays = roof.obstacles, roof.arrays
    ends = np.stack([layout.row_start, layout.row_end], axis=1)[layout.row_plane == plane]
    found: list[shapely.Geometry] = [LineString(one) for one in ends]
    feet = [known.start[known.face == box] for box in np.flatnonzero(known.plane == plane)]
    found += [shapely.MultiPoint(roof.planes.to_plane(plane, foot)).convex_hull for foot in feet]
    found += [
        shapely.box(*low, *high)
        for p, low, high in zip(arrays.plane, arrays.low, arrays.high, strict=True)
        if p == plane
    ]
    return shapely.union_all(found)
