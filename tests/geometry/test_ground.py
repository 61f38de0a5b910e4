"""Where the ground is: shown by walls, given, or taken a storey below a roof that shows nothing below it."""

import numpy as np
import pytest
import trimesh
from shapes import gable

from roofmodel.shape.builders import build_roof
from roofmodel.shape.importing import import_roof
from roofmodel.surface import STOREY


def saved(folder, sides):
    """A gable with its eaves at 10 m, as a closed body whose sides reach so far down."""
    roof = build_roof([gable()])
    top = roof.points + np.array([0.0, 0.0, 10.0 - roof.points[:, 2].min()])
    mesh = trimesh.Trimesh(top, roof.faces, process=True)
    edges = mesh.edges_sorted
    lone = mesh.edges[trimesh.grouping.group_rows(edges, require_count=1)]
    count = len(mesh.vertices)
    a, b = lone[:, 0], lone[:, 1]
    below = mesh.vertices - [0.0, 0.0, sides]
    walls = np.vstack([np.stack([a, a + count, b], axis=1), np.stack([b, a + count, b + count], axis=1)])
    faces = np.vstack([mesh.faces, mesh.faces[:, ::-1] + count, walls])
    path = folder / "body.stl"
    trimesh.Trimesh(np.vstack([mesh.vertices, below]), faces, process=False).export(path)
    return path


@pytest.mark.parametrize("sides", [0.2, 1.0])
def test_the_sides_of_a_slab_do_not_show_the_ground(tmp_path, sides):
    """Else its own underside would be the ground, and snow would fall nowhere."""
    roof = import_roof(saved(tmp_path, sides), unit="m", up="z")
    assert roof.ground_assumed
    assert roof.ground + roof.offset[2] == pytest.approx(10.0 - STOREY)
    assert any("nothing below the roof" in note for note in roof.notes)
    assert not any("lowest point of the model" in note for note in roof.notes)


def test_walls_show_the_ground(tmp_path):
    roof = import_roof(saved(tmp_path, 4.0), unit="m", up="z")
    assert not roof.ground_assumed
    assert roof.ground + roof.offset[2] == pytest.approx(6.0)
    assert any("lowest point of the model" in note for note in roof.notes)


def test_the_users_ground_counts_however_near(tmp_path):
    roof = import_roof(saved(tmp_path, 0.2), unit="m", up="z", ground=9.5)
    assert not roof.ground_assumed
    assert roof.ground + roof.offset[2] == pytest.approx(9.5)


@pytest.mark.parametrize("thick", [0.0, 0.3])
def test_the_ground_is_on_top_of_a_plate_of_ground(tmp_path, thick):
    """People walk on a slab, not below it: the house of 4 m stands on the top of the plate."""
    house = trimesh.creation.box(bounds=[(0, 0, 0.0), (10, 8, 4.0)])
    if thick:
        plate = trimesh.creation.box(bounds=[(-10, -10, -thick), (20, 20, 0.0)])
    else:
        plate = trimesh.Trimesh(
            [(-10, -10, 0), (20, -10, 0), (20, 20, 0), (-10, 20, 0)], [[0, 1, 2], [0, 2, 3]], process=False
        )
    path = tmp_path / "site.stl"
    trimesh.util.concatenate([house, plate]).export(path)
    roof = import_roof(path, unit="m", up="z")
    assert roof.planes.count == 1
    assert roof.edges.height == pytest.approx([4.0] * 4)
    assert any("lowest point on that plate" in note for note in roof.notes)


def test_a_low_car_beside_tall_walls_does_not_hide_the_ground(tmp_path):
    """House walls of 4 m show it, though a car's roof is nearer to it than headroom; that alone does not."""
    house = trimesh.creation.box(bounds=[(0, 0, 0.0), (10, 8, 4.0)])
    car = trimesh.creation.box(bounds=[(12, 0, 0.0), (16, 1.8, 1.5)])
    path = tmp_path / "both.stl"
    trimesh.util.concatenate([house, car]).export(path)
    roof = import_roof(path, unit="m", up="z")
    assert not roof.ground_assumed
    assert roof.ground + roof.offset[2] == pytest.approx(0.0, abs=1e-9)
    assert not any("nothing below the roof" in note for note in roof.notes)
    car.export(path)
    assert import_roof(path, unit="m", up="z").ground_assumed
