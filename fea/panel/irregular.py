"""Triangles for pans that no grid fits: strips cut obliquely at a hip or valley, sheets with holes."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LIBRARIES = "libglu1-mesa libgl1 libxrender1 libxcursor1 libxft2 libxinerama1 libgomp1"  # Debian's names


def fill_outline(outline: Polygon, size: float) -> tuple[Array, IntArray]:
    """Mesh of an outline that keeps its vertices as they are.

    Edges longer than `size` are cut in equal parts; give an edge its own vertices where it must fit a grid.

    Parameters
    ----------
    outline : Polygon
        With holes, if any. [m]
    size : float
        Of the triangles. [m]

    Returns
    -------
    xy : (n, 2) float
        The points of the outline come first: exterior, then holes, as shapely lists them. [m]
    triangle : (m, 3) int
        Counter-clockwise.

    Raises
    ------
    InputError
        An outline that crosses itself or has no area; gmsh cannot start on this machine.
    """
    if not (outline.is_valid and outline.area > 0.0):
        message = (
            f"pan outline: {shapely.is_valid_reason(outline)}; it must be a simple polygon with an area."
        )
        raise InputError(message)
    if not size > 0.0:
        message = f"pan outline: size = {size:g} m; it must be positive."
        raise InputError(message)
    cut = outline.segmentize(size)
    rings = [np.asarray(ring.coords)[:-1, :2] for ring in (cut.exterior, *cut.interiors)]
    with _gmsh() as gmsh:
        return _triangles(gmsh, rings, size)


@contextmanager
def _gmsh() -> Iterator[Any]:
    """The mesher, started and stopped; it wants graphics libraries even where nothing is drawn."""
    try:
        import gmsh
    except (ImportError, OSError) as error:
        message = (
            f"irregular panels need gmsh, which cannot start ({error}); install its system libraries, in "
            f"Debian: {LIBRARIES}."
        )
        raise InputError(message) from error
    # gmsh takes over broken pipes; a child that has gone would then end the whole program.
    pipe = signal.getsignal(signal.SIGPIPE) if hasattr(signal, "SIGPIPE") else None
    gmsh.initialize(["-nopopup"], readConfigFiles=False, interruptible=False)
    if pipe is not None and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGPIPE, pipe)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        yield gmsh
    finally:
        gmsh.finalize()


def _triangles(gmsh: Any, rings: list[Array], size: float) -> tuple[Array, IntArray]:
    geometry, loops, points = gmsh.model.geo, [], []
    for ring in rings:
        tags = [geometry.addPoint(x, y, 0.0, size) for x, y in ring]
        lines = [geometry.addLine(a, b) for a, b in zip(tags, tags[1:] + tags[:1], strict=True)]
        for line in lines:
            geometry.mesh.setTransfiniteCurve(line, 2)  # edges stay as they are
        loops.append(geometry.addCurveLoop(lines))
        points += tags
    geometry.addPlaneSurface(loops)
    geometry.synchronize()
    gmsh.model.mesh.generate(2)
    tag, place, _ = gmsh.model.mesh.getNodes()
    kind, _, nodes = gmsh.model.mesh.getElements(2)
    corner = np.asarray(nodes[list(kind).index(2)]).reshape(-1, 3)
    own = np.array([gmsh.model.mesh.getNodes(0, p)[0][0] for p in points])
    rest = np.setdiff1d(tag, own)
    number = np.full(int(tag.max()) + 1, -1)
    number[np.concatenate([own, rest])] = np.arange(len(tag))
    xy = np.empty((len(tag), 2))
    xy[number[tag]] = np.asarray(place).reshape(-1, 3)[:, :2]
    triangle = number[corner]
    u, v = xy[triangle[:, 1]] - xy[triangle[:, 0]], xy[triangle[:, 2]] - xy[triangle[:, 0]]
    turned = u[:, 0] * v[:, 1] < u[:, 1] * v[:, 0]
    triangle[turned] = triangle[turned][:, ::-1]
    return xy, triangle.astype(np.int64)
