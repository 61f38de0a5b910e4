"""Geometry for the browser in one binary block: a short description, then buffers of numbers."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.project.load import Project
from roofmodel.units import STANDARD_GRAVITY, SYSTEMS
from viewer import style
from viewer.picture.scene import cell_quads, plane_seams, walls_below
from viewer.picture.standing import (
    array_clamps,
    array_hatch,
    clamp_lines,
    clamp_normals,
    standing_lines,
    standing_quads,
    standing_tops,
)
from viewer.quantities import quantity

Array = NDArray[np.float64]

MOST_SEAMS = 4_000  # lines; more are thinned out
STRAIGHT = 1e-9  # sine of the angle between edges that count as one
BANDS = 256  # of color on the scale of snow, as in scene.js


def block(about: dict[str, Any], buffers: dict[str, NDArray[Any]]) -> bytes:
    """Length of the description (uint32), description (JSON), buffers; each part starts at a multiple of 4.

    Parameters
    ----------
    about : dict
    buffers : dict of str to array
        float32, int32 or uint8 arrays.

    Returns
    -------
    bytes
    """
    placed, at = {}, 0
    for name, array in buffers.items():
        placed[name] = {"at": at, "count": int(array.size), "type": array.dtype.name}
        at += _padded(array.nbytes)
    head = json.dumps({**about, "buffers": placed}).encode()
    head += b" " * (_padded(len(head)) - len(head))
    parts = [np.uint32(len(head)).astype("<u4").tobytes(), head]
    for array in buffers.values():
        raw = np.ascontiguousarray(array).tobytes()
        parts += [raw, b"\0" * (_padded(len(raw)) - len(raw))]
    return b"".join(parts)


def _padded(size: int) -> int:
    return -(-size // 4) * 4


def roof_block(project: Project) -> bytes:
    """What stays whatever the snow: walls, edges, seams, what stands on the roof, a frame for every plane."""
    roof = project.roof
    walls = walls_below(roof)
    edges = np.stack([roof.edges.start, roof.edges.end], axis=1)
    weight = np.array([style.EDGE_WEIGHT[kind] for kind in roof.edges.kind])
    seams = _seams(project)
    quads, colors = standing_quads(roof)
    low, high = roof.points.min(axis=0), roof.points.max(axis=0)
    about = {
        "key": roof_key(project),
        "planes": [
            {
                "name": name,
                "normal": roof.planes.normal[p].tolist(),
                "upslope": roof.planes.upslope[p].tolist(),
                "across": roof.planes.across[p].tolist(),
                "label": roof.planes.to_world(
                    p, np.array(roof.planes.outline[p].representative_point().coords)
                )[0].tolist(),
            }
            for p, name in enumerate(roof.planes.name)
        ],
        "standing": [{"name": name, "at": at.tolist()} for name, at in standing_tops(roof)],
        "low": low.tolist(),
        "high": high.tolist(),
    }
    return block(
        about,
        {
            "walls": _two_triangles(walls).astype("<f4"),
            "obstacles": _two_triangles(quads).astype("<f4"),
            "obstacle_rgb": np.repeat(np.rint(255.0 * colors), 6, axis=0).astype("u1"),
            "obstacle_lines": standing_lines(quads).reshape(-1, 3).astype("<f4"),
            "glass_lines": array_hatch(roof).reshape(-1, 3).astype("<f4"),
            "solar_at": array_clamps(roof).astype("<f4"),
            "solar_normal": clamp_normals(roof).astype("<f4"),
            "solar_line": clamp_lines(roof).astype("<i4"),
            "edges": edges.reshape(-1, 3).astype("<f4"),
            "edge_weight": weight.astype("<f4"),
            "seams": seams.reshape(-1, 3).astype("<f4"),
        },
    )


def roof_key(project: Project) -> str:
    """Changes when the roof or its seams do."""
    roof, table = project.roof, project.table
    digest = hashlib.sha256(np.ascontiguousarray(roof.points).tobytes())
    choices = (roof.planes.name, roof.edges.name, table.plane, project.panel.seam_spacing)
    digest.update(repr((choices, roof.obstacles.name, roof.arrays.name)).encode())
    digest.update(roof.obstacles.start.tobytes() + roof.obstacles.height.tobytes())
    digest.update(standing_quads(roof)[0].tobytes() + array_clamps(roof).tobytes())
    return digest.hexdigest()[:16]


def joined_quads(
    quads: Array, pressure: Array, plane: NDArray[np.int64], band: float, sides: tuple[int, int, int, int]
) -> tuple[Array, Array, NDArray[np.int64]]:
    """Quads in a line, one after the other, as one where the snow on them has one color.

    Parameters
    ----------
    quads : (n, 4, 3) float
        Corners. [m]
    pressure, plane : (n,)
        Snow on them [Pa] and the plane that they lie on.
    band : float
        Pressure from one color to the next. [Pa]
    sides : tuple of int
        Corners of the side toward the quad before, and of the side opposite, in the same direction.

    Returns
    -------
    tuple
        Corners, mean pressure and plane of what is left.
    """
    if not len(quads):
        return quads, pressure, plane
    a, b, c, d = sides
    color = np.rint(pressure / band)
    same = (color[1:] == color[:-1]) & (plane[1:] == plane[:-1])
    same &= (quads[1:, [a, c]] == quads[:-1, [b, d]]).all(axis=(1, 2))
    way = quads[:, [b, d]] - quads[:, [a, c]]
    length = np.linalg.norm(way, axis=2)
    bend = np.linalg.norm(np.cross(way[1:], way[:-1]), axis=2)
    same &= (bend <= STRAIGHT * length[1:] * length[:-1]).all(axis=1)
    first = np.flatnonzero(np.concatenate([[True], ~same]))
    count = np.diff(np.append(first, len(quads)))
    found = quads[first]
    found[:, [b, d]] = quads[first + count - 1][:, [b, d]]
    return found, np.add.reduceat(pressure, first) / count, plane[first]


def _two_triangles(quads: Array) -> Array:
    return quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3)


def _seams(project: Project) -> Array:
    planes, panel = project.roof.planes, project.panel
    width = sum(o.bounds[2] - o.bounds[0] for o in planes.outline)
    every = max(1, int(np.ceil(width / panel.seam_spacing / MOST_SEAMS)))
    seams = [plane_seams(project, plane, every) for plane in range(planes.count)]
    return np.concatenate([np.zeros((0, 2, 3)), *seams])


def surface_block(analysis: Analysis, case: int) -> bytes:
    """Roof triangles with the snow of one case: corners, pressure of each, plane of each."""
    roof, snow = analysis.project.roof, analysis.snow.cases[case]
    units = SYSTEMS[analysis.project.table.project.units]
    unit = 1.0 / units.convert(1.0, "pressure")
    quads, pressure, plane = cell_quads(analysis, case)  # far fewer than the faces of a fine mesh
    largest = max(float(analysis.force.cell_pressure.max(initial=0.0)), float(pressure.max(initial=0.0)))
    top = style.scale_top(1.02 * largest / unit)
    for sides in ((0, 3, 1, 2), (0, 1, 3, 2)):
        quads, pressure, plane = joined_quads(quads, pressure, plane, top * unit / BANDS, sides)
    corners, pressure, plane = _two_triangles(quads), np.repeat(pressure, 2), np.repeat(plane, 2)
    about = {
        "case": case,
        "triangles": len(plane),
        "top": top,
        "unit": units.label("pressure"),
        "depth": unit / (snow.density * STANDARD_GRAVITY),  # of snow that weighs one such unit [m]
        "density": quantity(snow.density, "density", units),
        "planes": roof.planes.count,
    }
    return block(
        about,
        {
            "corners": corners.astype("<f4"),
            "pressure": (pressure / unit).astype("<f4"),
            "plane": plane.astype("<i4"),
        },
    )
