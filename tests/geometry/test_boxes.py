"""Chimneys in a mesh are obstructions, equal to those of a built roof; dormers stay dormers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh
from shapes import GABLE, edge_lengths, gable, hip, rectangle

from roofmodel.layout import no_rows
from roofmodel.project.import_schema import ImportedRoof
from roofmodel.project.import_tables import read_roof
from roofmodel.project.obstacle_schema import ObstructionTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.sliding.thrust import slide
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone
from roofmodel.snow.inputs import AsceSite, EnSite
from roofmodel.snow.registry import snow_cases
from roofmodel.units import SYSTEMS
from tests.snow.snow_roofs import plane_force

TURNS = [0.0, 0.7]
SITES = [
    EnSite(ground_snow=1500.0),
    AsceSite(ground_snow=1500.0, risk_category="II", winter_wind=0.5, slippery=True),
]


def table(**more):
    given = {
        "name": "chimney",
        "plane": "S1",
        "across": "6 m",
        "up": "2.5 m",
        "width": "0.9 m",
        "depth": "0.6 m",
        "height": "1.2 m",
    }
    return ObstructionTable.model_validate({**given, **more})


def built(*tables, part=None):
    roof = build_roof([part or gable()])
    return replace(roof, obstacles=place_obstacles(roof, [], tables, SYSTEMS["SI"]))


def box_over(plan, top, bottom):
    """A closed box over a rectangle on plan. [m]."""
    low, high = np.array(plan.bounds).reshape(2, 2)
    box = trimesh.creation.box(bounds=[[*low, bottom], [*high, top]])
    return box.vertices, box.faces


def foot(roof, number=0):
    known = roof.obstacles
    return shapely.Polygon(known.start[known.face == number][:, :2])


def cut_out(roof, plan, top):
    """The roof with a hole in one plane, and a box of walls and a lid that stands in it."""
    plane = int(np.argmax([p.intersection(plan).area for p in plan_polygons(roof.planes)]))
    rest = shapely.difference(plan_polygons(roof.planes)[plane], plan)
    triangles = list(shapely.constrained_delaunay_triangles(rest).geoms)
    xy = np.array([np.asarray(t.exterior.coords)[:3] for t in triangles])
    flat = xy.reshape(-1, 2)
    below = np.column_stack([flat, height_at(roof.planes, plane, flat)])
    ring = np.asarray(plan.exterior.coords)[:4]
    feet = np.column_stack([ring, height_at(roof.planes, plane, ring)])
    lid = np.column_stack([ring, np.full(4, top)])
    walls = [[i, (i + 1) % 4, 4 + i] for i in range(4)]
    walls += [[(i + 1) % 4, 4 + (i + 1) % 4, 4 + i] for i in range(4)]
    others = roof.faces[roof.face_plane != plane]
    box = np.array([*walls, [4, 5, 6], [4, 6, 7]])
    n, m = len(roof.points), len(below)
    points = np.vstack([roof.points, below, feet, lid])
    return points, np.vstack([others, np.arange(m).reshape(-1, 3) + n, box + n + m])


def stood_on(roof, plan, top):
    points, faces = box_over(plan, top, top - 2.5)
    return np.vstack([roof.points, points]), np.vstack([roof.faces, faces + len(roof.points)])


def saved(folder, points, faces, turn=0.0):
    c, s = np.cos(turn), np.sin(turn)
    moved = points.copy()
    moved[:, :2] = moved[:, :2] @ np.array([[c, s], [-s, c]])
    path = folder / "roof.stl"
    trimesh.Trimesh(moved, faces, process=False).export(path)
    return path


def thrust(roof):
    zones = tuple(
        Zone("even", i, p, np.array([2000.0, 0.0, 0.0]), "none", "p")
        for i, p in enumerate(plan_polygons(roof.planes))
    )
    case = SnowCase("even", "test", LoadLevel.MEASURED, zones, 300.0)
    return slide(roof, (case,), no_rows())[1]


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("made", [cut_out, stood_on])
def test_a_chimney_in_a_mesh_is_the_obstruction_of_the_built_roof(tmp_path, made, turn):
    true = built(table())
    plan = foot(true)
    top = float(true.obstacles.start[:, 2].max()) + 1.2
    found = import_roof(saved(tmp_path, *made(true, plan, top), turn), unit="m", up="z")
    assert found.planes.count == 2
    assert found.planes.true_area == pytest.approx(true.planes.true_area, rel=1e-4)
    assert found.steps.count == 0
    assert edge_lengths(found) == pytest.approx(edge_lengths(true), abs=1e-3)
    assert found.obstacles.count == 1
    assert found.obstacles.height == pytest.approx([1.2], abs=1e-4)
    sides = [np.sort(np.linalg.norm(r.obstacles.end - r.obstacles.start, axis=1)) for r in (found, true)]
    assert sides[0] == pytest.approx(sides[1], abs=1e-4)
    note = next(n for n in found.notes if "obstruction 1" in n)
    assert "0.90 m along the eave, 0.60 m up the slope, 1.20 m high" in note
    ours, theirs = thrust(found), thrust(true)
    assert ours.obstacle_thrust == pytest.approx(theirs.obstacle_thrust, rel=1e-4)
    assert ours.obstacle_thrust.max() > 1000.0


@pytest.mark.parametrize("site", SITES)
def test_snow_on_both_roofs_is_the_same_with_its_drift_at_the_chimney(tmp_path, site):
    wide = table(width="5 m", depth="1.5 m", height="2 m")
    true = built(wide, part=gable(20.0, 16.0, (10.0, GABLE, 10.0, GABLE)))
    top = float(true.obstacles.start[:, 2].max()) + 2.0
    path = saved(tmp_path, *stood_on(true, foot(true), top))
    found = import_roof(path, unit="m", up="z", boxes=False)
    assert found.obstacles.count == 0  # 7.4 m2 is a roof of its own, whose walls are steps
    low = table(width="2.4 m", depth="1.5 m", height="2 m")
    true = built(low, part=gable(20.0, 16.0, (10.0, GABLE, 10.0, GABLE)))
    path = saved(tmp_path, *stood_on(true, foot(true), top))
    found = import_roof(path, unit="m", up="z")
    ours, theirs = (snow_cases(roof, site).cases for roof in (found, true))
    assert [case.name for case in ours] == [case.name.replace("chimney", "obstruction 1") for case in theirs]
    for one, other in zip(ours, theirs, strict=True):
        assert plane_force(found, one) == pytest.approx(plane_force(true, other), rel=1e-3)


def test_a_chimney_on_a_ridge_stands_on_both_planes(tmp_path):
    true = built()
    plan = shapely.box(5.5, 3.6, 6.3, 4.5)
    top = 3.0 + 4.0 * np.tan(np.radians(30)) + 0.8
    found = import_roof(saved(tmp_path, *stood_on(true, plan, top)), unit="m", up="z")
    assert found.planes.count == 2
    assert edge_lengths(found) == pytest.approx(edge_lengths(true), abs=1e-3)
    assert sorted(found.planes.name[p] for p in found.obstacles.plane) == ["N1", "S1"]
    assert found.obstacles.height == pytest.approx([0.8, 0.8], abs=1e-4)
    area = sum(foot(found, n).area for n in range(2))
    assert area == pytest.approx(plan.area, rel=1e-3)


def test_dormers_and_large_tops_stay_roofs(tmp_path):
    dormers = [
        Dormer("S1", 3.0, 1.0, 1.6, 1.0, np.radians(30)),
        Dormer("S1", 8.0, 1.0, 1.8, 1.2, np.radians(5), "shed"),
    ]
    true = build_roof([gable(12.0, 10.0, (40.0, GABLE, 40.0, GABLE))], dormers)
    found = import_roof(saved(tmp_path, true.points, true.faces), unit="m", up="z")
    assert found.planes.count == true.planes.count
    assert found.obstacles.count == 0
    flat = RoofPart("flat", rectangle(0, 0, 12, 10), np.zeros(0), 3.0)
    lift = RoofPart("hip", rectangle(4, 4, 7, 7), np.radians([20.0] * 4), 5.0)
    house = import_roof(saved(tmp_path, *_of(build_roof([flat, lift]))), unit="m", up="z")
    assert house.planes.count == 5
    assert house.obstacles.count == 0


def _of(roof):
    return roof.points, roof.faces


def test_a_small_cap_with_slopes_is_one_obstruction(tmp_path):
    flat = RoofPart("flat", rectangle(0, 0, 12, 10), np.zeros(0), 3.0)
    cap = RoofPart("hip", rectangle(4, 4, 5.4, 5.4), np.radians([20.0] * 4), 4.0)
    found = import_roof(saved(tmp_path, *_of(build_roof([flat, cap]))), unit="m", up="z")
    assert found.planes.count == 1
    assert found.obstacles.count == 1
    assert found.obstacles.height == pytest.approx([1.0], abs=1e-3)
    kept = import_roof(tmp_path / "roof.stl", unit="m", up="z", boxes=False)
    assert kept.planes.count == 5
    assert kept.obstacles.count == 0


def test_the_project_describes_a_found_obstruction_better(tmp_path):
    true = built(table())
    top = float(true.obstacles.start[:, 2].max()) + 1.2
    saved(tmp_path, *stood_on(true, foot(true), top))
    given = ImportedRoof(file="roof.stl", unit="m", up="z", rename=[{"plane": "S1", "to": "south"}])

    class Digest:
        def update(self, data):
            del data

    roof = read_roof(given, tmp_path, Digest())
    assert roof.obstacles.count == 1
    assert roof.planes.name[roof.obstacles.plane[0]] == "south"
    far = table(plane="south", across="2 m", name="vent")
    both = place_obstacles(roof, [], [far], SYSTEMS["SI"])
    assert both.name == ("vent", "obstruction 1")
    own = place_obstacles(roof, [], [table(plane="south", strength="5 kN")], SYSTEMS["SI"])
    assert own.name == ("chimney",)
    assert own.strength == pytest.approx([5000.0])


def test_a_chimney_on_a_hip_roof_near_the_eave(tmp_path):
    true = built(part=hip())
    plan = shapely.box(5.0, 0.3, 5.6, 0.9)
    found = import_roof(saved(tmp_path, *stood_on(true, plan, 5.0)), unit="m", up="z")
    assert found.planes.count == 4
    assert found.obstacles.count == 1
    assert edge_lengths(found) == pytest.approx(edge_lengths(true), abs=1e-3)
