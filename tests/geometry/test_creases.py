"""Height grids, whose edges do not follow hips: closed forms of the hip roof the grid was taken from."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from roofmodel.shape.recognition import recognize


def grid(height, length, width, nx, ny):
    """Triangles of a regular grid over a plan of length by width [m]."""
    x, y = np.meshgrid(np.linspace(0.0, length, nx + 1), np.linspace(0.0, width, ny + 1))
    i = (np.arange(ny)[:, None] * (nx + 1) + np.arange(nx)).ravel()
    faces = np.vstack([np.column_stack([i, i + 1, i + nx + 2]), np.column_stack([i, i + nx + 2, i + nx + 1])])
    return np.column_stack([x.ravel(), y.ravel(), height(x, y).ravel()]), faces


def hip(length, width, pitch):
    rise = np.tan(np.radians(pitch))
    return lambda x, y: rise * np.minimum.reduce([x, length - x, y, width - y])


@pytest.mark.parametrize(
    ("length", "width", "nx", "ny", "pitch"),
    [
        (12, 8, 100, 50, 30),
        (12, 8, 31, 17, 30),
        (24, 16, 50, 30, 30),
        (24, 16, 50, 30, 15),
        (24, 16, 48, 32, 40),
    ],
)
@pytest.mark.parametrize("noise", [0.0, 0.002])
def test_a_grid_over_a_hip_roof_gives_its_four_planes(length, width, nx, ny, pitch, noise):
    points, faces = grid(hip(length, width, pitch), length, width, nx, ny)
    points[:, 2] += np.random.default_rng(1).normal(0.0, noise, len(points))
    roof = recognize(points, faces)
    end = width**2 / 4 / np.cos(np.radians(pitch))
    side = length * width / 2 / np.cos(np.radians(pitch)) - end
    assert np.sort(roof.planes.true_area) == pytest.approx([end, end, side, side], rel=2e-3)
    assert np.degrees(roof.planes.slope) == pytest.approx(pitch, abs=0.1)
    assert len(roof.steps.lower) == 0
    assert Counter(kind.value for kind in roof.edges.kind) == {"hip": 4, "ridge": 1, "eave": 4}
    ridge = [kind.value == "ridge" for kind in roof.edges.kind]
    assert roof.edges.length[ridge] == pytest.approx([length - width], abs=0.1)
    assert any("lie across hips" in note for note in roof.notes)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_where_hips_and_ridge_meet_in_one_cell_the_origin_decides_nothing(seed):
    """Edges beside the ridge's end cross three planes; 3 cells of 0.39 by 0.47 m, heights 2 mm off."""
    points, faces = grid(hip(12, 8, 30), 12, 8, 31, 17)
    points[:, 2] += np.random.default_rng(seed).normal(0.0, 0.002, len(points))
    ridges = []
    for shift in ([0.0, 0.0, 0.0], [0.3, 0.7, 0.1], [13.37, -5.1, 2.2]):
        edges = recognize(points + shift, faces).edges
        assert Counter(kind.value for kind in edges.kind) == {"hip": 4, "ridge": 1, "eave": 4}
        ridges += [size for size, kind in zip(edges.length, edges.kind, strict=True) if kind == "ridge"]
    assert ridges == pytest.approx([ridges[0]] * 3, abs=1e-6)
    assert ridges[0] == pytest.approx(4.0, abs=0.02)


def test_a_hip_shared_by_many_cells_is_straight_on_a_mesh_turned_by_any_angle():
    """Volume below the roof is what the grid's own corners say: nothing is moved from its plane."""
    points, faces = grid(hip(24, 16, 30), 24, 16, 50, 30)
    turn = np.radians(33.0)
    spin = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    roof = recognize(points @ spin.T, faces)
    assert np.sort(roof.planes.true_area) == pytest.approx(np.array([64, 64, 128, 128]) / np.cos(np.pi / 6))
    assert roof.points[:, 2].max() - roof.points[:, 2].min() == pytest.approx(8 * np.tan(np.pi / 6))


def test_a_step_of_a_grid_stays():
    """Planes a cell and 2 m apart do not meet between them: nothing is cut, both keep their height."""
    rise = np.tan(np.radians(30))
    points, faces = grid(lambda x, y: np.where(y < 4, rise * y, rise * (8 - y) + 1.0), 16, 8, 41, 24)
    roof = recognize(points, faces)
    assert not any("lie across hips" in note for note in roof.notes)


def test_a_mesh_that_follows_its_creases_is_left_alone():
    points, faces = grid(lambda x, y: 0.5 * np.minimum(y, 8 - y), 12, 8, 30, 20)
    roof = recognize(points, faces)
    assert roof.planes.count == 2
    assert not any("lie across hips" in note for note in roof.notes)
