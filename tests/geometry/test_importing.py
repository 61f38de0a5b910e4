"""Files: round trips, whole buildings, real city models, and messages for what cannot be read."""

from __future__ import annotations

import json
from pathlib import Path

import meshio
import numpy as np
import pytest
import shapely
import trimesh
from shapes import edge_lengths, gable, hip, l_part, mesh_area, rectangle, subdivided

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.cityjson import building_ids, read_building
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.shape.surfaces import building_mesh
from roofmodel.surface import EdgeKind

DATA = Path(__file__).parents[1] / "data" / "roofs"
HAGUE = DATA / "denhaag_4_buildings_lod2.city.json"
ZURICH = DATA / "zurich_3_buildings.city.json"
UNIT = {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "ft": 0.3048, "in": 0.0254}


def save(path, points, faces):
    trimesh.Trimesh(points, faces, process=False).export(path)
    return path


def whole_building(part):
    """Roof, walls and floor of a part, all as one mesh with mixed orientation."""
    roof = build_roof([part])
    ring = np.array(shapely.union_all([shapely.Polygon(part.footprint)]).exterior.coords)[:-1]
    count = len(ring)
    low, high = (
        np.column_stack([ring, np.zeros(count)]),
        np.column_stack([ring, np.full(count, part.eave_height)]),
    )
    base = len(roof.points)
    i = np.arange(count)
    j = (i + 1) % count
    walls = np.vstack([np.column_stack([i, j, j + count]), np.column_stack([i, j + count, i + count])]) + base
    floor = np.array([[0, k, k + 1] for k in range(1, count - 1)]) + base
    return roof, np.vstack([roof.points, low, high]), np.vstack([roof.faces, walls[:, ::-1], floor])


def assert_same(found, built, tolerance):
    assert found.planes.name == built.planes.name
    assert found.planes.true_area == pytest.approx(built.planes.true_area, rel=tolerance)
    assert edge_lengths(found) == pytest.approx(edge_lengths(built), rel=tolerance)


@pytest.mark.parametrize("ending", ["stl", "obj", "ply"])
@pytest.mark.parametrize(("unit", "up"), [("mm", "y"), ("ft", "z"), ("in", "y"), ("m", "z"), ("cm", "z")])
def test_round_trip_in_every_unit_and_up_axis(tmp_path, ending, unit, up):
    built = build_roof([l_part((30, 25, 40, 30, 35, 28))])
    points = built.points / UNIT[unit]
    if up == "y":
        points = points[:, [0, 2, 1]] * [1, 1, -1]
    found = import_roof(save(tmp_path / f"roof.{ending}", points, built.faces), unit=unit, up=up)
    assert_same(found, built, 1e-5)
    assert any(unit in note and f"{up} up" in note for note in found.notes)


def test_gltf_is_meters_and_y_up(tmp_path):
    built = build_roof([hip()])
    path = save(tmp_path / "roof.glb", built.points[:, [0, 2, 1]] * [1, 1, -1], built.faces)
    found = import_roof(path)
    assert_same(found, built, 1e-5)
    assert any("as its standard says" in note for note in found.notes)


def test_3mf_tells_its_unit_and_is_z_up(tmp_path):
    built = build_roof([hip()])
    path = tmp_path / "roof.3mf"
    scene = trimesh.Scene(trimesh.Trimesh(built.points * 1000, built.faces, process=False))
    path.write_bytes(scene.export(file_type="3mf"))
    found = import_roof(path)
    assert_same(found, built, 1e-5)
    assert any("3MF: taken in mm, z up, as its standard says" in note for note in found.notes)
    assert import_roof(path, unit="cm").planes.true_area == pytest.approx(100 * found.planes.true_area)


def test_off_needs_unit_and_up_axis(tmp_path):
    built = build_roof([l_part()])
    path = save(tmp_path / "roof.off", built.points, built.faces)
    assert_same(import_roof(path, unit="m", up="z"), built, 1e-5)
    with pytest.raises(InputError, match="OFF files do not say"):
        import_roof(path)


@pytest.mark.parametrize("ending", ["msh", "vtk", "vtu"])
def test_analysis_meshes_of_triangles_and_quadrangles(tmp_path, ending):
    """A gable of one quadrangle and two triangles, with lines beside them that have no surface."""
    points = np.array([[0, 0, 3], [9, 0, 3], [9, 4, 5], [0, 4, 5], [9, 8, 3], [0, 8, 3]], dtype=float)
    cells = [
        ("line", np.array([[0, 1]])),
        ("quad", np.array([[0, 1, 2, 3]])),
        ("triangle", np.array([[3, 2, 4], [3, 4, 5]])),
    ]
    path = tmp_path / f"roof.{ending}"
    meshio.Mesh(points, cells).write(path, file_format={"msh": "gmsh22"}.get(ending))
    found = import_roof(path, unit="m", up="z")
    assert sorted(found.planes.name) == ["N1", "S1"]
    assert found.planes.true_area == pytest.approx([9 * np.hypot(4, 2)] * 2)
    assert [kind.value for kind in found.edges.kind].count("ridge") == 1


def test_a_mesh_of_lines_only_is_refused(tmp_path):
    path = tmp_path / "lines.vtk"
    meshio.Mesh(np.eye(3) * 5, [("line", np.array([[0, 1], [1, 2]]))]).write(path)
    with pytest.raises(InputError, match="no triangles or quadrangles \\(its cells: line\\)"):
        import_roof(path, unit="m", up="z")


@pytest.mark.parametrize("start", range(6))
@pytest.mark.parametrize("negative", [False, True])
def test_hollow_polygons_of_obj_are_filled_by_their_outline(tmp_path, start, negative):
    """A fan from a corner of an L reaches outside it; 100 - 49 m2 on plan, sloping at 1 in 2."""
    outline = np.array([[0, 0], [10, 0], [10, 3], [3, 3], [3, 10], [0, 10]], dtype=float)
    ring = np.roll(np.arange(6), start)
    lines = [f"v {x} {y} {3 + 0.5 * y}" for x, y in outline]
    lines.append("f " + " ".join(f"{k - 6 if negative else k + 1}//1" for k in ring))
    path = tmp_path / "l.obj"
    path.write_text("\n".join(lines))
    found = import_roof(path, unit="m", up="z")
    assert found.planes.plan_area.sum() == pytest.approx(51.0)
    assert found.planes.count == 1


def test_scene_placements_are_applied(tmp_path):
    built = build_roof([hip()])
    mesh = trimesh.Trimesh(built.points[:, [0, 2, 1]] * [1, 1, -1], built.faces, process=False)
    scene = trimesh.Scene()
    scene.add_geometry(mesh, transform=trimesh.transformations.translation_matrix([0, 0, 0]))
    scene.add_geometry(mesh, transform=trimesh.transformations.translation_matrix([40, 0, 0]))
    scene.export(tmp_path / "two.glb")
    found = import_roof(tmp_path / "two.glb")
    assert found.planes.plan_area.sum() == pytest.approx(2 * 96.0, rel=1e-5)
    assert np.ptp(found.points[:, 0]) == pytest.approx(52.0, rel=1e-5)


@pytest.mark.parametrize("make", [gable, hip, l_part])
def test_whole_building_gives_its_roof_and_its_ground(tmp_path, make):
    built, points, faces = whole_building(make())
    found = import_roof(
        save(tmp_path / "house.stl", points + np.array([500, 300, 40]), faces), unit="m", up="z"
    )
    assert_same(found, built, 1e-4)
    eaves = np.array([kind == EdgeKind.EAVE for kind in found.edges.kind])
    np.testing.assert_allclose(found.edges.height[eaves], 3.0, atol=1e-4)
    assert any("walls" in note for note in found.notes)
    assert any("hidden" in note for note in found.notes)
    assert found.points[:, 2].min() + found.offset[2] == pytest.approx(43.0, abs=1e-4)


def test_ground_plate_around_the_house_is_dropped_and_told(tmp_path):
    built, points, faces = whole_building(hip())
    plate = np.column_stack([rectangle(-30, -30, 40, 40), np.zeros(4)])
    faces = np.vstack([faces, np.array([[0, 1, 2], [0, 2, 3]]) + len(points)])
    found = import_roof(save(tmp_path / "plot.ply", np.vstack([points, plate]), faces), unit="m", up="z")
    assert_same(found, built, 1e-5)
    assert any("ground" in note and "4900.00 m2" in note for note in found.notes)


def test_a_lower_roof_beside_a_wall_is_not_taken_for_ground(tmp_path):
    """Two flat roofs at 0.5 m and 4 m, the wall between them modeled."""
    low, high = rectangle(0, 0, 10, 5), rectangle(0, 5, 10, 10)
    points = np.vstack([np.column_stack([low, np.full(4, 0.5)]), np.column_stack([high, np.full(4, 4.0)])])
    faces = [[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7], [3, 2, 5], [3, 5, 4]]
    found = import_roof(save(tmp_path / "steps.ply", points, faces), unit="m", up="z")
    assert found.planes.plan_area.sum() == pytest.approx(100.0)
    assert found.steps.count == 1
    assert found.steps.wall == pytest.approx(np.array([[3.5, 3.5]]))


def test_a_roof_as_thick_slabs_gives_its_upper_faces(tmp_path):
    built = build_roof([gable()])
    under = built.points - [0, 0, 0.2]
    faces = np.vstack([built.faces, built.faces[:, ::-1] + len(built.points)])
    found = import_roof(
        save(tmp_path / "slab.ply", np.vstack([built.points, under]), faces), unit="m", up="z"
    )
    assert_same(found, built, 1e-5)


def test_map_coordinates_keep_millimeters(tmp_path):
    built = build_roof([l_part((30, 25, 40, 30, 35, 28))])
    far = np.array([2_600_000.0, 1_200_000.0, 400.0])
    path = tmp_path / "far.obj"
    lines = [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in built.points + far]
    lines += [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in built.faces]
    path.write_text("\n".join(lines))
    found = import_roof(path, unit="m", up="z")
    assert_same(found, built, 1e-5)
    assert np.abs(found.points).max() < 100
    nearest = np.linalg.norm((found.points + found.offset)[:, None] - (built.points + far), axis=2).min(
        axis=1
    )
    assert nearest.max() < 1e-5


def test_32_bit_coordinates_far_from_the_origin_are_told(tmp_path):
    built = build_roof([gable(60.0, 40.0)])
    path = save(tmp_path / "far.stl", built.points + np.array([2_600_000.0, 1_200_000.0, 0.0]), built.faces)
    try:
        notes = " ".join(import_roof(path, unit="m", up="z").notes)
    except InputError as error:
        notes = str(error)
    assert "250 mm" in notes


def kept_area(path, building):
    raw = building_mesh(read_building(path, building))
    area = mesh_area(raw.points, raw.faces)
    return raw, area


@pytest.mark.parametrize(
    ("path", "building"),
    [
        (path, name)
        for path in (HAGUE, ZURICH)
        for name in building_ids(json.loads(path.read_text())["CityObjects"])
    ],
    ids=lambda value: str(value)[-8:],
)
def test_real_buildings(path, building):
    found = import_roof(path, building=building)
    area = mesh_area(found.points, found.faces)
    assert found.planes.true_area.sum() == pytest.approx(area.sum(), rel=0.01)
    raw, kept = kept_area(path, building)
    vector = np.cross(*(raw.points[raw.faces[:, k]] - raw.points[raw.faces[:, 0]] for k in (1, 2)))
    roof = np.abs(vector[:, 2]) > np.cos(np.radians(75)) * np.linalg.norm(vector, axis=1)
    assert found.planes.true_area.sum() < 1.001 * kept[roof].sum()
    # What is seen from above stays, all of it; overhangs may count twice.
    seen = shapely.union_all(shapely.polygons(raw.points[raw.faces[roof]][:, :, :2]), grid_size=1e-3)
    plan = shapely.union_all(plan_polygons(found.planes), grid_size=1e-3)
    assert plan.area == pytest.approx(seen.area, rel=0.01)
    assert found.planes.plan_area.sum() == pytest.approx(seen.area, rel=0.02)
    assert set(np.unique(found.face_plane)) == set(range(found.planes.count))
    assert (found.edges.height[found.edges.plane[:, 1] < 0] > 0.0).all()
    assert (found.edges.plane[:, 0] >= 0).all()
    assert np.abs(found.points).max() < 200.0
    perimeter = sum(outline.length for outline in found.planes.outline)
    shared = found.edges.plane[:, 1] >= 0
    covered = found.edges.length[shared].sum() * 2 + found.edges.length[~shared].sum()
    assert covered == pytest.approx(perimeter, rel=0.02)


def test_the_plain_hague_house_is_a_gable():
    found = import_roof(HAGUE, building="GUID_3D7D60B9-8F3A-4D3B-A3E5-CD9B5565A5B2")
    assert found.planes.count == 2
    kinds = [kind.value for kind in found.edges.kind]
    assert sorted(set(kinds)) == ["eave", "rake", "ridge"]
    assert kinds.count("ridge") == 1
    azimuth = np.degrees(found.planes.azimuth)
    assert abs((azimuth[0] - azimuth[1]) % 360 - 180) < 1.0


def city(building_geometry, version="2.0", **more):
    low, high = rectangle(0, 0, 10, 8), rectangle(0, 0, 10, 8)
    vertices = np.vstack([np.column_stack([low, np.zeros(4)]), np.column_stack([high, np.full(4, 5.0)])])
    inner = np.column_stack([rectangle(4, 3, 6, 5), np.full(4, 5.0)])
    return {
        "type": "CityJSON",
        "version": version,
        "transform": {"scale": [0.001] * 3, "translate": [1000.0, 2000.0, 10.0]},
        "CityObjects": {"b": {"type": "Building", "geometry": building_geometry}},
        "vertices": (np.vstack([vertices, inner]) * 1000).astype(int).tolist(),
        **more,
    }


WALLS = [[[0, 1, 5, 4]], [[1, 2, 6, 5]], [[2, 3, 7, 6]], [[3, 0, 4, 7]]]
SOLID = [[[[0, 3, 2, 1]], *WALLS, [[4, 5, 6, 7], [8, 11, 10, 9]]]]


def write(path, content):
    path.write_text(json.dumps(content))
    return path


@pytest.mark.parametrize("semantics", [True, False])
def test_solids_with_and_without_semantics(tmp_path, semantics):
    geometry = {"type": "Solid", "lod": "2.2", "boundaries": SOLID}
    if semantics:
        geometry["semantics"] = {
            "surfaces": [{"type": "GroundSurface"}, {"type": "WallSurface"}, {"type": "RoofSurface"}],
            "values": [[0, 1, 1, 1, 1, 2]],
        }
    coarse = {"type": "MultiSurface", "lod": "1", "boundaries": [[[4, 5, 6, 7]]]}
    found = import_roof(write(tmp_path / "c.json", city([coarse, geometry])))
    assert found.planes.plan_area.sum() == pytest.approx(80 - 4)
    assert len(found.planes.outline[0].interiors) == 1
    np.testing.assert_allclose(found.edges.height, 5.0)
    np.testing.assert_allclose((found.points + found.offset).min(axis=0), [1000, 2000, 15])
    assert any("level of detail 2.2" in note for note in found.notes)
    assert any(("marks as roof" if semantics else "seen from above") in note for note in found.notes)


def test_parts_belong_to_their_building(tmp_path):
    file = city([])
    file["CityObjects"]["b"]["children"] = ["p"]
    file["CityObjects"]["p"] = {
        "type": "BuildingPart",
        "parents": ["b"],
        "geometry": [{"type": "MultiSurface", "lod": "2", "boundaries": [[[4, 5, 6, 7]], *WALLS]}],
    }
    assert import_roof(write(tmp_path / "c.city.json", file)).planes.plan_area.sum() == pytest.approx(80)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "not JSON"),
        ("[1, 2]", "not CityJSON"),
        ('{"type": "FeatureCollection"}', "not CityJSON"),
        (json.dumps(city([], version="0.9")), 'version "0.9"'),
        (json.dumps({"type": "CityJSON", "version": "1.1"}), "CityObjects"),
        (json.dumps(city([])), "has no surfaces"),
        (
            json.dumps(city([{"type": "MultiSurface", "lod": "2", "boundaries": [[[4, 5, 99]]]}])),
            "among the 12",
        ),
        (json.dumps(city([{"type": "MultiSurface", "lod": "2", "boundaries": [[["x", 5, 9]]]}])), "damaged"),
        (json.dumps(city([{"type": "MultiSurface", "lod": "2", "boundaries": WALLS}])), "no roof"),
        (json.dumps(city([], CityObjects={"r": {"type": "Road"}})), "no buildings"),
        (json.dumps({**city([]), "vertices": [[1, 2], [3]]}), "vertices"),
    ],
)
def test_bad_city_models_are_told_in_one_line(tmp_path, content, words):
    path = tmp_path / "city.json"
    path.write_text(content)
    with pytest.raises(InputError, match=words) as caught:
        import_roof(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("city.json: ")


def test_missing_and_unknown_building_ids_list_what_is_there():
    for wanted, words in ((None, "give the id"), ("nobody", "no building 'nobody'")):
        with pytest.raises(InputError, match=words) as caught:
            import_roof(HAGUE, building=wanted)
        assert "GUID_13974D93-CB4F-4B5A-AB1E-577DD9928CF2 (88 m2)" in str(caught.value)


@pytest.mark.parametrize(
    ("name", "content", "options", "words"),
    [
        ("none.stl", None, {}, "does not exist"),
        ("empty.stl", b"", {}, "empty"),
        ("roof.doc", b"x", {}, "'.doc' is not known"),
        ("text.stl", b"this is no mesh at all", {"unit": "m", "up": "z"}, "STL"),
        ("text.obj", b"# only a comment\n", {"unit": "m", "up": "z"}, "OBJ"),
        ("text.ply", b"ply nonsense", {"unit": "m", "up": "z"}, "PLY"),
        ("text.glb", b"glTF\x00\x00", {}, "GLB"),
        ("noise.stl", bytes(range(256)) * 4, {"unit": "m", "up": "z"}, "noise.stl"),
    ],
)
def test_unreadable_files_are_told_in_one_line(tmp_path, name, content, options, words):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=words) as caught:
        import_roof(tmp_path / name, **options)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(name)


def test_a_file_without_unit_or_up_axis_shows_its_size_in_every_unit(tmp_path):
    built = build_roof([gable()])
    path = save(tmp_path / "roof.stl", built.points * 1000, built.faces)
    with pytest.raises(InputError, match=r"unit .* and up axis") as caught:
        import_roof(path)
    assert "mm: 12 x 8 x 2.309 m" in str(caught.value)
    with pytest.raises(InputError, match="do not say their up axis"):
        import_roof(path, unit="mm")
    with pytest.raises(InputError, match=r"1.2e\+04 m across"):
        import_roof(path, unit="m", up="z")
    with pytest.raises(InputError, match="less than 1 m2"):
        import_roof(save(tmp_path / "tiny.ply", built.points, built.faces), unit="mm", up="z")
    with pytest.raises(InputError, match="'yards' is not known"):
        import_roof(path, unit="yards", up="z")
    with pytest.raises(InputError, match="'x' is not known"):
        import_roof(path, unit="mm", up="x")
    with pytest.raises(InputError, match="only city models and"):
        import_roof(path, unit="mm", up="z", building="b")


def test_the_wrong_up_axis_is_noticed(tmp_path):
    built = build_roof([RoofPart("flat", rectangle(0, 0, 9, 9), eave_height=3.0)])
    path = save(tmp_path / "roof.stl", built.points, built.faces)
    with pytest.raises(InputError, match="up axis"):
        import_roof(path, unit="m", up="y")


def test_importing_does_not_change_what_recognition_finds(tmp_path):
    built = build_roof([hip()])
    points, faces = subdivided(built.points, built.faces, 5)
    found = import_roof(save(tmp_path / "fine.ply", points, faces), unit="m", up="z")
    assert_same(found, recognize(points, faces), 1e-5)


def told_instead_of(path, **options):
    """Message of the input error, empty where the file can be read."""
    try:
        import_roof(path, **options)
    except InputError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "off", "glb", "3mf", "msh", "vtk", "vtu"])
def test_damaged_files_are_read_or_told_but_never_crash(tmp_path, ending, capfd):
    built = build_roof([l_part()])
    path = tmp_path / f"good.{ending}"
    if ending in ("msh", "vtk", "vtu"):
        mesh = meshio.Mesh(built.points, [("triangle", built.faces)])
        mesh.write(path, file_format={"msh": "gmsh22"}.get(ending))
    else:
        save(path, built.points, built.faces)
    good = path.read_bytes()
    capfd.readouterr()
    rng = np.random.default_rng(11)
    told = 0
    for _ in range(25):
        bytes_ = bytearray(good)
        for at in rng.integers(0, len(bytes_), 6):
            bytes_[at] = rng.integers(256)
        path = tmp_path / f"bad.{ending}"
        path.write_bytes(bytes(bytes_[: rng.integers(len(bytes_) // 2, len(bytes_) + 1)]))
        message = told_instead_of(path, unit="m", up="z")
        assert "\n" not in message
        told += message != ""
    assert told > 0
    printed = capfd.readouterr()
    assert printed.out == printed.err == ""


@pytest.mark.parametrize(
    "spoil", ["type", "geometry", "children", "boundaries", "values", "lod", "semantics"]
)
@pytest.mark.parametrize("rubbish", [None, 7, "x", [None], {"a": 1}])
def test_damaged_city_objects_are_told_but_never_crash(tmp_path, spoil, rubbish):
    geometry = {
        "type": "MultiSurface",
        "lod": "2",
        "boundaries": [[[4, 5, 6, 7]], *WALLS],
        "semantics": {
            "surfaces": [{"type": "RoofSurface"}, {"type": "WallSurface"}],
            "values": [0, 1, 1, 1, 1],
        },
    }
    file = city([geometry])
    item = file["CityObjects"]["b"]
    holder = item if spoil in ("type", "geometry", "children") else geometry
    (geometry["semantics"] if spoil == "values" else holder)[spoil] = rubbish
    message = told_instead_of(write(tmp_path / "c.json", file))
    assert "\n" not in message
    assert message.startswith("c.json: ") or spoil in ("children", "lod", "values", "semantics", "geometry")
