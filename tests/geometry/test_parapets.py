"""Parapets that a model shows: heights and places by hand, whatever they are drawn as."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from ifc_models import Model, slab
from shapes import turned
from test_importing import save
from test_uprights import house, sheet

from roofmodel.obstacles import Obstacles
from roofmodel.screening import ScreenRules, screen_building
from roofmodel.shape.corrections import Corrections, correct
from roofmodel.shape.importing import import_roof
from roofmodel.shape.tile import read_tile
from roofmodel.sliding.thrust import SlideOptions
from roofmodel.snow.cases import case_pressure_at
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases

SITE = EnSite(ground_snow=1500.0)
RULES = ScreenRules(SITE, SlideOptions())
PITCH = np.tan(np.radians(30.0))


def boxes(*bounds):
    bodies = [trimesh.creation.box(bounds=[one[:3], one[3:]]) for one in bounds]
    whole = trimesh.util.concatenate(bodies)
    return np.asarray(whole.vertices), np.asarray(whole.faces)


def ring(top=6.9, thick=0.2):
    """A flat roof of 20 by 10 m at 6 m with a parapet around it."""
    t = thick
    return boxes(
        (0, 0, 0, 20, 10, 6),
        (0, 0, 6, 20, t, top),
        (0, 10 - t, 6, 20, 10, top),
        (0, t, 6, t, 10 - t, top),
        (20 - t, t, 6, 20, 10 - t, top),
    )


def profile(corners, length=15.0):
    """A section (y, z) drawn along x."""
    from shapely import Polygon

    body = trimesh.creation.extrude_polygon(Polygon(corners), length)
    y, z, x = np.asarray(body.vertices).T
    return np.column_stack([length - x, y, z]), np.asarray(body.faces)


def behind_eave(y=0.3):
    return profile([(0, 0), (0, 4.5), (y, 4.5), (y, 4), (8, 4 + (8 - y) * PITCH), (8, 0)])


def read(tmp_path, points, faces, **more):
    return import_roof(save(tmp_path / "roof.stl", points, faces), unit="m", up="z", **more)


def lengths(found):
    return np.linalg.norm(found.end - found.start, axis=1)


@pytest.mark.parametrize("angle", [0.0, 0.6])
def test_a_ring_of_parapets_is_no_second_roof(tmp_path, angle):
    points, faces = ring()
    roof = read(tmp_path, turned(points, angle), faces)
    assert roof.planes.count == 1
    assert roof.planes.plan_area == pytest.approx([200.0])
    assert roof.found.parapet.all()
    assert roof.found.height == pytest.approx([0.9] * 4)
    assert np.sort(lengths(roof.found)) == pytest.approx([9.6, 9.6, 19.6, 19.6])
    assert len(set(roof.found.name)) == 4
    # The roof lies to the left of each face.
    way = (roof.found.end - roof.found.start)[:, :2]
    to = roof.points[:, :2].mean(axis=0) - roof.found.start[:, :2]
    assert (way[:, 0] * to[:, 1] - way[:, 1] * to[:, 0] > 0.0).all()


def test_the_eave_behind_a_parapet_is_an_eave(tmp_path):
    roof = read(tmp_path, *behind_eave())
    assert roof.planes.name == ("S1",)
    assert roof.found.name == ("parapet on S1 eave",)
    assert roof.found.height == pytest.approx([0.5])
    assert lengths(roof.found) == pytest.approx([15.0])
    assert roof.steps.count == 0
    assert sum("was taken as parapet" in note for note in roof.notes) == 1
    assert any("None is counted on to hold any" in note for note in roof.notes)


def test_it_drifts_as_one_that_the_project_gives(tmp_path):
    """The same cases as with the parapet given by hand; with 2 h / s_k > 0.8 (EN 1991-1-3, 5.3.6 and 6.2)."""
    site = EnSite(ground_snow=600.0)
    roof = read(tmp_path, *behind_eave())
    eave = roof.edges.name.index("S1 eave")
    given = Obstacles(
        name=roof.found.name,
        parapet=np.ones(1, dtype=bool),
        plane=np.zeros(1, dtype=np.int64),
        height=np.array([0.5]),
        clear=np.zeros(1),
        face=np.zeros(1, dtype=np.int64),
        start=roof.edges.start[[eave]],
        end=roof.edges.end[[eave]],
    )
    spots = np.array([[x, y] for x in (2.0, 7.0) for y in np.linspace(0.4, 6.0, 9)]) - roof.offset[:2]
    planes = np.zeros(len(spots), dtype=np.int64)
    loads = [
        [case_pressure_at(case, spots, planes) for case in snow_cases(one, site, [0]).cases]
        for one in (roof, replace(roof, found=given, obstacles=given))
    ]
    assert np.array(loads[0]) == pytest.approx(np.array(loads[1]), rel=1e-6)
    bare = replace(roof, found=Obstacles(), obstacles=Obstacles())
    assert len(loads[0]) > len(snow_cases(bare, site, [0]).cases)


def test_sheets_along_an_eave_and_a_rake(tmp_path):
    """The rake's follows the slope: 0.8 m above it everywhere, not above its lower end."""
    rise = 4.0 * PITCH
    rake = np.array([[12, 0, 3], [12, 4, 3 + rise], [12, 4, 3.8 + rise], [12, 0, 3.8]], dtype=float)
    slope = (rake, np.array([[0, 1, 2], [0, 2, 3]]))
    roof = read(tmp_path, *house(sheet([0.0, 0.0], [12.0, 0.0], 0.0, 3.6), slope))
    found = {
        name: (height, length)
        for name, height, length in zip(roof.found.name, roof.found.height, lengths(roof.found), strict=True)
    }
    assert found["parapet on S1 eave"] == pytest.approx((0.6, 12.0), abs=0.01)
    (other,) = set(found) - {"parapet on S1 eave"}
    assert other.startswith("parapet on S1 rake")
    assert found[other] == pytest.approx((0.8, 4.0 / np.cos(np.radians(30.0))), abs=0.01)


def test_a_wall_between_two_roofs_stands_on_both(tmp_path):
    """Two gables end to end, 0.3 m apart; the wall between them reaches 0.5 m above the eaves."""
    section = [(0, 0), (0, 3), (4, 3 + 4 * PITCH), (8, 3), (8, 0)]
    points, faces = profile(section, 10.0)
    level = [(0, 0), (0, 3.5), (4, 3.5 + 4 * PITCH), (8, 3.5), (8, 0)]
    wall = profile(level, 0.3)
    whole = [(points, faces), (wall[0] + [10.0, 0, 0], wall[1]), (points + np.array([10.3, 0, 0]), faces)]
    base = np.cumsum([0, *(len(one) for one, _ in whole[:-1])])
    roof = read(
        tmp_path,
        np.vstack([one for one, _ in whole]),
        np.concatenate([its + at for (_, its), at in zip(whole, base, strict=True)]),
    )
    assert roof.planes.count == 4
    assert roof.found.count == 4
    assert roof.found.height == pytest.approx([0.5] * 4, abs=0.01)
    assert sorted(roof.found.plane.tolist()) == [0, 1, 2, 3]


def test_a_vent_along_the_ridge_and_a_screen_are_none(tmp_path):
    top = 3.0 + 4.0 * PITCH
    vent = boxes((1.0, 3.75, 3.0, 11.0, 4.25, top + 0.3))
    roof = read(tmp_path, *house(vent))
    assert not roof.found.parapet.any()
    screen = boxes((2.0, 2.0, 3.0, 10.0, 2.1, 6.0))
    assert not read(tmp_path, *house(screen)).found.parapet.any()


def test_who_wants_planes_gets_them(tmp_path):
    roof = read(tmp_path, *behind_eave(), boxes=False)
    assert roof.planes.count == 2
    assert roof.found.count == 0


def test_one_that_is_none_is_left_out_by_name(tmp_path):
    roof = read(tmp_path, *ring())
    name = roof.found.name[1]
    left = correct(roof, Corrections(not_standing=(name,)))
    assert left.found.name == tuple(one for one in roof.found.name if one != name)
    assert left.obstacles.count == 3
    renamed = correct(roof, Corrections(rename=(("F1", "deck"),)))
    assert all(one.startswith("parapet on deck ") for one in renamed.found.name)


def test_walls_of_a_building_model(tmp_path):
    pytest.importorskip("ifcopenshell")
    model = Model()
    flat = slab([(0, 0, 6), (20, 0, 6), (20, 10, 6), (0, 10, 6)], 0.3, plumb=True)
    parts = [model.element("IfcSlab", "flat", flat, PredefinedType="ROOF")]
    for name, (x0, y0, x1, y1), top in (
        ("low", (0, 0, 20, 0.2), 6.9),
        ("high", (0, 9.8, 20, 10), 7.4),
        ("below", (0, 0.2, 0.2, 9.8), 6.0),
    ):
        corners = [(x0, y0, top), (x1, y0, top), (x1, y1, top), (x0, y1, top)]
        parts.append(model.element("IfcWall", name, slab(corners, top - 3.0, plumb=True)))
    chimney = [(5, 4, 8), (5.8, 4, 8), (5.8, 4.8, 8), (5, 4.8, 8)]
    parts.append(model.element("IfcChimney", "c", slab(chimney, 6.0, plumb=True)))
    model.contain(model.building("H"), parts)
    roof = import_roof(model.write(tmp_path / "h.ifc"))
    assert roof.planes.plan_area == pytest.approx([200.0])
    assert np.sort(roof.found.height[roof.found.parapet]) == pytest.approx([0.9, 1.4])
    assert roof.found.height[~roof.found.parapet] == pytest.approx([2.0])


def city(tmp_path, *surfaces):
    """A CityJSON building of surfaces (kind, corners)."""
    points = [corner for _, corners in surfaces for corner in corners]
    ends = np.cumsum([0, *(len(corners) for _, corners in surfaces)])
    kinds = sorted({kind for kind, _ in surfaces})
    geometry = {
        "type": "MultiSurface",
        "lod": "2",
        "boundaries": [
            [list(range(a, b))] for a, b in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True)
        ],
        "semantics": {
            "surfaces": [{"type": kind} for kind in kinds],
            "values": [kinds.index(kind) for kind, _ in surfaces],
        },
    }
    data = {
        "type": "CityJSON",
        "version": "2.0",
        "transform": {"scale": [0.001] * 3, "translate": [2600000.0, 1200000.0, 400.0]},
        "CityObjects": {"b": {"type": "Building", "geometry": [geometry]}},
        "vertices": [[round(1000 * c) for c in point] for point in points],
    }
    path = tmp_path / "b.city.json"
    path.write_text(json.dumps(data))
    return path


def shaft(slope, top=7.5):
    corners = [(5, 1.5), (6.2, 1.5), (6.2, 2.3), (5, 2.3)]
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        yield (
            "WallSurface",
            [(ax, ay, 3 + ay * slope), (bx, by, 3 + by * slope), (bx, by, top), (ax, ay, top)],
        )


def gable_city(tmp_path, *more):
    ridge = 3 + 4 * PITCH
    return city(
        tmp_path,
        ("RoofSurface", [(0, 0, 3), (12, 0, 3), (12, 4, ridge), (0, 4, ridge)]),
        ("RoofSurface", [(12, 8, 3), (0, 8, 3), (0, 4, ridge), (12, 4, ridge)]),
        ("WallSurface", [(0, 0, 0), (12, 0, 0), (12, 0, 3), (0, 0, 3)]),
        ("GroundSurface", [(0, 0, 0), (0, 8, 0), (12, 8, 0), (12, 0, 0)]),
        *more,
    )


def test_a_shaft_that_a_city_model_calls_wall_is_an_obstruction(tmp_path):
    """Nothing but its walls is in the file; the screening sees it too, and its drift."""
    path = gable_city(tmp_path, *shaft(PITCH))
    roof = import_roof(path)
    assert roof.found.count == 1
    assert roof.found.height == pytest.approx([7.5 - (3 + 1.5 * PITCH)], abs=0.05)
    (tmp_path / "bare").mkdir()
    one, bare = (
        screen_building(read_tile(file)[0].building, RULES) for file in (path, gable_city(tmp_path / "bare"))
    )
    assert any("obstruction 1" in note for note in one["notes"])
    assert one["cases"] > bare["cases"]
    assert max(edge["force"] for edge in one["edges"]) > max(edge["force"] for edge in bare["edges"])


@pytest.mark.parametrize("kind", ["BuildingInstallation", "BuildingConstructiveElement"])
def test_a_chimney_in_an_object_of_its_own_stands_there_too(tmp_path, kind):
    """CityJSON 2.0, 2.2.2: chimneys are installations of a building. One below the eave is in no load."""
    path = gable_city(tmp_path, *shaft(PITCH))
    file = json.loads(path.read_text())
    geometry = file["CityObjects"]["b"]["geometry"][0]
    faces = geometry["boundaries"]
    stairs = len(file["vertices"])
    file["vertices"] += [[1000, -2000, -1500], [3000, -2000, -1500], [3000, -2000, 2000], [1000, -2000, 2000]]
    own = {"type": "MultiSurface", "lod": "3", "boundaries": [*faces[-4:], [list(range(stairs, stairs + 4))]]}
    geometry["boundaries"], geometry["semantics"]["values"] = faces[:-4], geometry["semantics"]["values"][:-4]
    file["CityObjects"]["b"]["children"] = ["c"]
    file["CityObjects"]["c"] = {"type": kind, "parents": ["b"], "geometry": [own]}
    path.write_text(json.dumps(file))
    roof = import_roof(path)
    assert roof.planes.count == 2
    assert roof.found.height == pytest.approx([7.5 - (3 + 1.5 * PITCH)], abs=0.05)
    assert roof.ground == pytest.approx(400.0 - roof.offset[2])  # of the building, not of the cellar stairs
    assert any("obstruction 1" in n for n in screen_building(read_tile(path)[0].building, RULES)["notes"])
    bare = import_roof(path, marks=False)
    assert (bare.planes.count, bare.found.count) == (2, 1)


def test_a_chimney_close_behind_a_parapet_is_not_taken_for_it(tmp_path):
    """A shaft without a top stands 0.3 m from the inner face of a parapet; one lower than that is of it."""
    for top, count in ((8.0, 1), (6.8, 0)):
        corners = [(0.5, 4.0), (1.0, 4.0), (1.0, 4.5), (0.5, 4.5)]
        wall = [sheet(a, b, 6.0, top) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
        points, faces = behind_parapet()
        for more, its in wall:
            faces = np.concatenate([faces, its + len(points)])
            points = np.vstack([points, more])
        roof = read(tmp_path, points, faces)
        assert roof.found.parapet.sum() == 4
        assert roof.found.height[~roof.found.parapet] == pytest.approx([2.0] * count)


def behind_parapet():
    """A flat roof at 6 m whose top ends at the inner faces of the parapets around it."""
    return boxes(
        (0.2, 0.2, 0, 19.8, 9.8, 6),
        (0, 0, 0, 20, 0.2, 6.9),
        (0, 9.8, 0, 20, 10, 6.9),
        (0, 0.2, 0, 0.2, 9.8, 6.9),
        (19.8, 0.2, 0, 20, 9.8, 6.9),
    )


@pytest.mark.parametrize(("high", "long"), [(1.8, 15.0), (1.8, 6.0), (0.4, 15.0)])
def test_a_screen_on_a_parapet_counts_where_it_is_higher(tmp_path, high, long):
    """A sheet of glass on the outer face of a parapet 0.1 m thick and 0.5 m high."""
    points, faces = behind_eave(0.1)
    corners = [[0, 0, 4.1], [long, 0, 4.1], [long, 0, 4.0 + high], [0, 0, 4.0 + high]]
    both = np.concatenate([faces, np.array([[0, 1, 2], [0, 2, 3]]) + len(points)])
    found = read(tmp_path, np.vstack([points, np.array(corners, dtype=float)]), both).found
    assert found.parapet.all()
    assert np.sort(found.height) == pytest.approx([0.5, high] if high > 0.5 else [0.5], abs=0.07)
    assert np.sort(lengths(found)) == pytest.approx(sorted([15.0, long])[-found.count :], abs=0.01)


@pytest.mark.parametrize("angle", [0.0, 0.6])
def test_a_parapet_too_thick_to_be_taken_for_one_is_told(tmp_path, angle):
    """1 m wide at the eave: a plane, told with its height above the slope; at the head of the slope not."""
    points, faces = behind_eave(1.0)
    roof = read(tmp_path, turned(points, angle), faces)
    assert roof.planes.count == 2
    assert sum("a strip 0.94 m wide, stands up to 0.50 m above" in note for note in roof.notes) == 1
    top = 4.0 + 7.0 * PITCH
    head = profile([(0, 0), (0, 4), (7, top), (7, top + 0.5), (8, top + 0.5), (8, 0)])
    assert not any("a strip" in note for note in read(tmp_path, *head).notes)
