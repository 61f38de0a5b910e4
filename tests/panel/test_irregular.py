"""Pans that no grid fits."""

import subprocess
import sys

import numpy as np
import pytest
from panels import STEEL
from shapely import Point, Polygon

from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.loads import traction
from fea.model.solution import solve_model
from fea.panel.irregular import fill_outline
from roofmodel.errors import InputError

CUT = Polygon([(0.0, 0.0), (0.9, 0.0), (1.5, 0.43), (0.0, 0.43)])  # half of a strip at a hip
HOLED = CUT.difference(Point(0.5, 0.2).buffer(0.05, quad_segs=6))
SQUARE = Polygon([(0, 0), (1, 0), (1, 1), (0, 1)])


def doubled_area(xy, triangle):
    a, b, c = (xy[triangle[:, i]] for i in range(3))
    u, v = b - a, c - a
    return u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]


@pytest.mark.parametrize("outline", [CUT, HOLED, SQUARE])
def test_outline_is_filled_once(outline):
    xy, triangle = fill_outline(outline, 0.05)
    twice = doubled_area(xy, triangle)
    assert (twice > 0.0).all()
    assert 0.5 * twice.sum() == pytest.approx(outline.area, rel=1e-9)
    edges = np.sort(triangle[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, times = np.unique(edges, axis=0, return_counts=True)
    assert times.max() == 2
    given = len(np.unique(np.round(np.array(outline.segmentize(0.05).exterior.coords), 12), axis=0))
    given += sum(len(ring.coords) - 1 for ring in outline.segmentize(0.05).interiors)
    assert (times == 1).sum() == given  # the rim is the outline's own points, no more
    np.testing.assert_array_equal(np.unique(triangle), np.arange(len(xy)))


def test_points_of_the_outline_come_first():
    ring = np.array(CUT.segmentize(0.1).exterior.coords)[:-1]
    xy, _ = fill_outline(CUT, 0.1)
    np.testing.assert_allclose(xy[: len(ring)], ring, atol=1e-12)


def plate(outline, size, pressure=1000.0, thickness=0.01):
    """A clamped plate under pressure: middle deflection and sum of reactions."""
    xy, triangle = fill_outline(outline, size)
    rim = outline.segmentize(size)
    fixed = np.arange(len(rim.exterior.coords) - 1)
    dof = node_dof(fixed).ravel()
    model = Model(
        np.column_stack([xy, np.zeros(len(xy))]),
        shells=(Shells("pan", triangle, np.full(len(triangle), thickness), STEEL),),
        ties=Ties(fixed_dof=dof, fixed_value=np.zeros(len(dof))),
    )
    F = traction(model, 0, np.array([[0.0], [0.0], [-pressure]]))
    solution = solve_model(build_system(model), F)
    return -solution.displacement[2::6, 0].min(), solution.reaction[2::6, 0].sum()


def test_clamped_plate_on_unstructured_triangles():
    """Square plate, clamped: 0.00126 p a^4 / D (Timoshenko and Woinowsky-Krieger, table 35, from memory)."""
    deflection, reaction = plate(SQUARE, 0.06)
    nu = STEEL.E / (2.0 * STEEL.G) - 1.0
    D = STEEL.E * 0.01**3 / (12.0 * (1.0 - nu**2))
    assert deflection == pytest.approx(0.00126 * 1000.0 / D, rel=0.02)
    assert reaction == pytest.approx(1000.0, rel=1e-9)


def test_oblique_strip_with_a_hole_carries_its_snow():
    coarse, fine = (plate(HOLED, size) for size in (0.04, 0.02))
    assert coarse[1] == pytest.approx(1000.0 * HOLED.area, rel=1e-9)
    assert fine[0] == pytest.approx(coarse[0], rel=0.03)


def test_bad_outlines_and_missing_libraries_are_told(monkeypatch):
    with pytest.raises(InputError, match="simple polygon"):
        fill_outline(Polygon([(0, 0), (1, 1), (1, 0), (0, 1)]), 0.1)
    with pytest.raises(InputError, match="must be positive"):
        fill_outline(CUT, 0.0)
    monkeypatch.setitem(sys.modules, "gmsh", None)
    with pytest.raises(InputError, match="libglu1-mesa"):
        fill_outline(CUT, 0.1)


def test_a_broken_pipe_does_not_end_the_program_after_meshing():
    code = (
        "import subprocess, sys\n"
        "from shapely.geometry import box\n"
        "from fea.panel.irregular import fill_outline\n"
        "fill_outline(box(0.0, 0.0, 1.0, 1.0), 0.5)\n"
        "child = subprocess.Popen(['true'], stdin=subprocess.PIPE)\n"
        "child.wait()\n"
        "try:\n"
        "    child.stdin.write(b'x' * 100000)\n"
        "    child.stdin.flush()\n"
        "except BrokenPipeError:\n"
        "    sys.exit(7)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 7
