"""Chimneys drawn without a top, screens, and soups of faces."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shapes import gable
from test_importing import save

from roofmodel.errors import InputError
from roofmodel.shape.builders import build_roof
from roofmodel.shape.importing import import_roof

PITCH = np.tan(np.radians(30.0))


def sheet(start, end, low, high):
    """An upright rectangle on a line on plan."""
    points = np.array([[*start, low], [*end, low], [*end, high], [*start, high]])
    return points, np.array([[0, 1, 2], [0, 2, 3]])


def house(*sheets):
    """A gable of 12 by 8 m, 30 degrees, eave 3 m, with walls and more."""
    roof = build_roof([gable()])
    around = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, 8.0], [0.0, 8.0]])
    walls = [sheet(a, b, 0.0, 3.0) for a, b in zip(around, np.roll(around, -1, axis=0), strict=True)]
    points, faces = [roof.points + roof.offset], [roof.faces]
    for more, its in [*walls, *sheets]:
        faces.append(its + sum(len(one) for one in points))
        points.append(more)
    return np.vstack(points), np.concatenate(faces)


def shaft(low, high, top):
    a, b, c, d = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    return [sheet(*pair, 3.0, top) for pair in ((a, b), (b, c), (c, d), (d, a))]


def read(tmp_path, *sheets):
    return import_roof(save(tmp_path / "house.stl", *house(*sheets)), unit="m", up="z")


def test_a_shaft_without_a_top_is_an_obstruction(tmp_path):
    roof = read(tmp_path, *shaft([5.0, 2.0], [5.6, 2.6], 6.0))
    assert roof.planes.count == 2
    assert roof.obstacles.count == 1
    foot = roof.found.start + roof.offset
    assert (foot[:, :2].min(axis=0) <= [5.0, 2.0]).all()
    assert (foot[:, :2].max(axis=0) >= [5.6, 2.6]).all()
    assert np.ptp(foot[:, :2], axis=0) == pytest.approx([0.6, 0.6], abs=0.15)
    assert roof.found.height == pytest.approx([6.0 - (3.0 + 2.0 * PITCH)], abs=0.01)
    assert any("Upright faces were taken as obstruction 1" in note for note in roof.notes)


def test_a_shaft_over_the_ridge_stands_on_both_planes(tmp_path):
    roof = read(tmp_path, *shaft([5.0, 3.5], [5.8, 4.5], 6.5))
    assert sorted(roof.found.plane.tolist()) == [0, 1]


def test_a_long_screen_is_told(tmp_path):
    roof = read(tmp_path, sheet([2.0, 2.0], [10.0, 2.0], 3.0, 5.5))
    assert roof.found is None or not roof.found.count
    note = next(note for note in roof.notes if "they are in no load" in note)
    assert f"{2.5 - 2.0 * PITCH:.2f} m above" in note


def test_walls_below_the_roof_are_nothing(tmp_path):
    for more in ([], shaft([5.0, 2.0], [5.6, 2.6], 3.5)):
        roof = read(tmp_path, *more)
        assert roof.found is None or not roof.found.count
        assert not any("pright faces" in note for note in roof.notes)


def test_tops_are_not_told_twice(tmp_path):
    box = trimesh.creation.box(bounds=[[5.0, 2.0, 3.0], [5.6, 2.6, 6.0]])
    roof = read(tmp_path, (box.vertices, box.faces))
    assert roof.found.count == 1
    assert not any("pright faces" in note for note in roof.notes)


def test_a_soup_of_faces_is_refused(tmp_path):
    points = np.random.default_rng(0).uniform(0.0, 20.0, (3000, 3))
    file = save(tmp_path / "soup.ply", points, np.arange(3000).reshape(-1, 3))
    with pytest.raises(InputError, match=r"hidden below .* 1000 loose parts"):
        import_roof(file, unit="m", up="z")


def test_a_house_of_many_floors_is_none(tmp_path):
    floor = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, 8.0], [0.0, 8.0]])
    floors = [
        (np.column_stack([floor, np.full(4, z)]), np.array([[0, 1, 2], [0, 2, 3]]))
        for z in np.linspace(0, 2.9, 30)
    ]
    assert read(tmp_path, *floors).planes.count == 2


@pytest.mark.parametrize(("low", "high"), [([0.0, 2.0], [0.8, 2.8]), ([5.0, 0.0], [5.8, 0.6])])
def test_a_chimney_flush_with_an_edge_is_an_obstruction(tmp_path, low, high):
    box = trimesh.creation.box(bounds=[[*low, 0.0], [*high, 6.0]])
    roof = read(tmp_path, (box.vertices, box.faces))
    assert roof.planes.count == 2
    assert roof.found.count == 1
    foot = roof.found.start + roof.offset
    assert foot[:, :2].min(axis=0) == pytest.approx(low, abs=0.01)
    assert foot[:, :2].max(axis=0) == pytest.approx(high, abs=0.01)
    assert roof.planes.true_area.sum() == pytest.approx(96.0 / np.cos(np.radians(30.0)), rel=1e-3)


def test_a_small_plane_in_a_notch_is_told(tmp_path):
    """A level dormer of 0.6 by 1.5 m whose back lies in the slope: a plane that may be more."""
    top = 3.0 + 2.0 * PITCH
    roof = np.array([[5.0, 0.5, top], [5.6, 0.5, top], [5.6, 2.0, top], [5.0, 2.0, top]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    read_roof = read(tmp_path, (roof, faces))
    assert any("is small" in note for note in read_roof.notes)
    assert not any("is small" in note for note in read(tmp_path).notes)


@pytest.mark.parametrize("deep", [1.0, 3.0])
def test_a_canopy_hides_no_lower_roof_from_a_higher_one(tmp_path, deep):
    """Boxes as drawn, the low roof running on below the canopy: snow of the high one flies past it."""
    bodies = [
        trimesh.creation.box(bounds=bounds)
        for bounds in (
            [(0, 0, 0), (15, 10, 6)],
            [(0, -8, 0), (15, 0, 3)],
            [(0, -deep, 5), (15, 0, 5.1)],
        )
    ]
    whole = trimesh.util.concatenate(bodies)
    path = save(tmp_path / "roof.stl", np.asarray(whole.vertices), np.asarray(whole.faces))
    roof = import_roof(path, unit="m", up="z")
    steps = roof.steps
    (over,) = np.flatnonzero(steps.between >= 0)
    ends = np.array([steps.start[over], steps.end[over]]) + roof.offset
    np.testing.assert_allclose(ends[:, 1:], [[-deep, 3.0]] * 2, atol=1e-6)
    assert np.ptp(ends[:, 0]) == pytest.approx(15.0)
    assert steps.gap[over] == pytest.approx(deep)
    np.testing.assert_allclose(steps.wall[over], [3.0, 3.0])


def under_a_canopy(tmp_path, deep, *more, top=5.0):
    """House, canopy and a low roof of 8 m that runs on below it to the wall, as boxes."""
    bounds = [
        [(0, 0, 0), (15, 10, 6)],
        [(0, -deep, top), (15, 0, top + 0.1)],
        [(0, -8, 0), (15, 0, 3)],
        *more,
    ]
    whole = trimesh.util.concatenate([trimesh.creation.box(bounds=one) for one in bounds])
    path = save(tmp_path / "roof.stl", np.asarray(whole.vertices), np.asarray(whole.faces))
    return import_roof(path, unit="m", up="z")


@pytest.mark.parametrize("deep", [5.0, 6.5, 7.5])
def test_a_low_roof_mostly_below_a_canopy_keeps_what_stands_out(tmp_path, deep):
    """At least what is seen of 8 m by 15 m is roof, with the steps down from canopy and house."""
    roof = under_a_canopy(tmp_path, deep)
    low = int(np.argmin(roof.planes.origin[:, 2]))
    assert roof.planes.count == 3
    assert (8.0 - deep) * 15.0 - 1e-6 <= roof.planes.plan_area[low] < 8.0 * 15.0
    assert roof.planes.to_world(low, np.zeros((1, 2)))[0, 2] == pytest.approx(3.0)
    assert roof.planes.plan_area.sum() == pytest.approx(150.0 + 15.0 * deep + roof.planes.plan_area[low])
    walls = roof.steps.wall[roof.steps.lower == low]
    np.testing.assert_allclose(np.unique(walls.round(6)), [2.1, 3.0])
    assert sum("cut along it and kept" in note for note in roof.notes) == 1


@pytest.mark.parametrize("deep", [7.6, 8.0])
def test_strips_and_floors_do_not_become_roof(tmp_path, deep):
    """0.4 m of the low roof, a string course and a plinth are told or nothing, the floor above is hidden."""
    course, floor = [(-0.3, 0, 3.5), (15.3, 10.3, 3.6)], [(0, 0, 2.8), (15, 10, 3.0)]
    plinth = [(-1, 0, 0), (16, 11, 0.2)]
    roof = under_a_canopy(tmp_path, deep, course, floor, plinth)
    assert roof.planes.origin[:, 2].min() > 4.9
    assert any("they are not in this roof" in note for note in roof.notes)
    assert not roof.ground_assumed  # walls go down to it
    assert roof.ground + roof.offset[2] == pytest.approx(0.0)


@pytest.mark.parametrize("thick", [0.0, 0.2])
def test_a_low_roof_that_was_left_out_is_not_the_ground(tmp_path, thick):
    """A strip of 0.4 m by 10 m of a sheet or slab at 3 m stands out below a canopy; nothing lies lower."""
    slabs = [
        trimesh.creation.box(bounds=bounds)
        for bounds in ([(0, 0, 3.0 - thick), (10, 6, 3)], [(-1, -1, 5.0 - thick), (11, 5.6, 5)])
    ]
    if thick == 0.0:
        slabs = [slab.submesh([slab.face_normals[:, 2] > 0.5], append=True) for slab in slabs]
    whole = trimesh.util.concatenate(slabs)
    path = save(tmp_path / "roof.stl", np.asarray(whole.vertices), np.asarray(whole.faces))
    roof = import_roof(path, unit="m", up="z")
    assert roof.planes.count == 1
    assert any("they are not in this roof" in note for note in roof.notes)
    assert roof.ground_assumed
