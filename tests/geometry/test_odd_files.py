"""Broken and odd files: each gives a clean roof or one clear line, soon, and nothing else."""

from __future__ import annotations

import json
import struct
import time

import ezdxf
import meshio
import numpy as np
import pytest
import trimesh
from ifc_models import Model, slab
from shapes import gable, l_part, subdivided
from test_citygml import HEAD, SLOPE, building, model, polygon, surface
from test_importing import city, told_instead_of

from roofmodel.errors import InputError
from roofmodel.shape.builders import build_roof
from roofmodel.shape.importing import import_roof

SOON = 20.0  # [s]
GABLE = build_roof([gable()])
POINTS, FACES = GABLE.points, GABLE.faces
AREA = GABLE.planes.true_area.sum()
UNIT = {"unit": "m", "up": "z"}


def obj(points, faces):
    lines = [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in np.asarray(points, dtype=float)]
    return "\n".join([*lines, *("f " + " ".join(str(k + 1) for k in face) for face in faces)]).encode()


def also(more_points, more_faces):
    """The gable with something beside it."""
    base = len(POINTS)
    faces = [*FACES.tolist(), *([k + base for k in face] for face in more_faces)]
    return obj([*POINTS, *more_points], faces)


def stl(points, faces, header=b"roof"):
    corners = points[faces].astype("<f4")
    body = b"".join(struct.pack("<3f", 0, 0, 0) + face.tobytes() + b"\0\0" for face in corners)
    return header.ljust(80) + struct.pack("<I", len(faces)) + body


def shifted(points, *by):
    return np.asarray(points, dtype=float) + np.array(by)


def noisy(size, times=4):
    """Divided until there are many points, then moved up and down."""
    points, faces = subdivided(POINTS, FACES, times)
    return obj(points + np.random.default_rng(1).normal(0.0, size, (len(points), 1)) * [0, 0, 1], faces)


def house():
    """Closed body: roof, four walls, two gable ends and a floor, all outward."""
    ring = [(0, 0), (12, 0), (12, 8), (0, 8)]
    top = 3 + 4 * np.tan(np.radians(30))
    points = [*((x, y, 0) for x, y in ring), *((x, y, 3) for x, y in ring), (0, 4, top), (12, 4, top)]
    faces = [
        [0, 3, 2, 1],
        [0, 1, 5, 4],
        [2, 3, 7, 6],
        [1, 2, 6, 9, 5],
        [3, 0, 4, 8, 7],
        [4, 5, 9, 8],
        [6, 7, 8, 9],
    ]
    return np.array(points, dtype=float), faces


def barrel(count=48):
    """Half a cylinder of 5 m radius cut off below 60 degrees, 12 m long."""
    turn = np.radians(np.linspace(30, 150, count + 1))
    points = [(x, 5 * np.cos(t), 5 * np.sin(t)) for x in (0, 12) for t in turn]
    n = count + 1
    return obj(points, [[k, k + 1, n + k + 1, n + k] for k in range(count)])


def soup(points, faces):
    return points[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)


def ring_surface(*rings, vertices):
    """CityJSON of one marked surface with these rings; vertices in millimeters."""
    geometry = {
        "type": "MultiSurface",
        "lod": "2",
        "boundaries": [list(rings)],
        "semantics": {"surfaces": [{"type": "RoofSurface"}], "values": [0]},
    }
    return json.dumps(city([geometry]) | {"vertices": vertices}).encode()


def marked(*members):
    """CityGML of one building with these polygons marked as roof."""
    return model(building(surface("RoofSurface", *members))).encode()


SHED = 10 * np.hypot(6, 3)
SQUARE_AREA = 54 * np.sqrt(1.25)
EMPTY_RING = (
    "<gml:Polygon><gml:exterior><gml:LinearRing><gml:posList> </gml:posList></gml:LinearRing></gml:exterior>"
    "</gml:Polygon>"
)
SQUARE = [[0, 0, 3000], [9000, 0, 3000], [9000, 6000, 6000], [0, 6000, 6000]]
HOUSE = house()
GLB_MIRROR = trimesh.Scene(
    trimesh.Trimesh(POINTS[:, [0, 2, 1]] * [1, 1, -1], FACES, process=False)
).apply_transform(np.diag([-1.0, 1.0, 1.0, 1.0]))
SOUP = soup(POINTS, FACES)
TOP = float(POINTS[:, 2].max())

# name: (file, content, options, area on the slope)
GOOD = {
    "upside down": ("a.obj", obj(POINTS, FACES[:, ::-1]), UNIT, AREA),
    "one face upside down": ("a.obj", obj(POINTS, [FACES[0][::-1], *FACES[1:]]), UNIT, AREA),
    "both sides": ("a.obj", obj(POINTS, [*FACES, *FACES[:, ::-1]]), UNIT, AREA),
    "every face three times": (
        "a.obj",
        obj(POINTS, [*FACES, *FACES[:, [1, 2, 0]], *FACES[:, [2, 0, 1]]]),
        UNIT,
        AREA,
    ),
    "face with one corner twice": ("a.obj", obj(POINTS, [*FACES, [0, 0, 1]]), UNIT, AREA),
    "face without area": ("a.obj", also([(0, 0, 9), (1, 0, 9), (2, 0, 9)], [[0, 1, 2]]), UNIT, AREA),
    "unused corner that is no number": (
        "a.obj",
        b"v nan nan nan\n" + obj([(0, 0, 0), *POINTS], FACES + 1).replace(b"v 0 0 0\n", b"", 1),
        UNIT,
        AREA,
    ),
    "unused corner far away": ("a.obj", also([(1e7, 0, 0)], []), UNIT, AREA),
    "unwelded": ("a.stl", stl(*SOUP), UNIT, AREA),
    "corners 0.8 mm apart": (
        "a.obj",
        obj(SOUP[0] + np.random.default_rng(0).uniform(-2e-4, 2e-4, SOUP[0].shape), SOUP[1]),
        UNIT,
        AREA,
    ),
    "planes 20 mm apart": (
        "a.obj",
        obj(SOUP[0] + [0, 0.02, 0] * (SOUP[0].mean(axis=0) < 0) + 0.0, SOUP[1]),
        UNIT,
        AREA,
    ),
    "house with floor and walls": ("a.obj", obj(*HOUSE), UNIT, AREA),
    "house inside out": ("a.obj", obj(HOUSE[0], [face[::-1] for face in HOUSE[1]]), UNIT, AREA),
    "house without floor": ("a.obj", obj(HOUSE[0], HOUSE[1][1:]), UNIT, AREA),
    "two nested shells": (
        "a.obj",
        obj(
            [*HOUSE[0], *(HOUSE[0] * [1, 1, 0.95])],
            [*HOUSE[1], *([k + 10 for k in face] for face in HOUSE[1])],
        ),
        UNIT,
        AREA,
    ),
    "house on its plot": (
        "a.obj",
        obj(
            [*HOUSE[0], (-30, -30, 0), (40, -30, 0), (40, 40, 0), (-30, 40, 0)], [*HOUSE[1], [10, 11, 12, 13]]
        ),
        UNIT,
        AREA,
    ),
    "millimeters": ("a.stl", stl(1000 * POINTS, FACES), {"unit": "mm", "up": "z"}, AREA),
    "feet, y up": (
        "a.obj",
        obj(POINTS[:, [0, 2, 1]] * [1, 1, -1] / 0.3048, FACES),
        {"unit": "ft", "up": "y"},
        AREA,
    ),
    "map coordinates": (
        "a.obj",
        obj(np.zeros((0, 3)), [])
        + "\n".join(f"v {x:.4f} {y:.4f} {z:.4f}" for x, y, z in shifted(POINTS, 2.6e6, 1.2e6, 400)).encode()
        + b"\n"
        + obj(np.zeros((0, 3)), FACES),
        UNIT,
        AREA,
    ),
    "one triangle": ("a.obj", obj([(0, 0, 3), (8, 0, 3), (4, 4, 5)], [[0, 1, 2]]), UNIT, 16 * np.sqrt(1.25)),
    "noise of 5 mm": ("a.obj", noisy(0.005), UNIT, AREA),
    "noise of 3 cm": ("a.obj", noisy(0.03), UNIT | {"distance_tolerance": 0.1}, AREA),
    "barrel": ("a.obj", barrel(), UNIT, 48 * 12 * 10 * np.sin(np.radians(120 / 96))),
    "windows line ends": ("a.obj", obj(POINTS, FACES).replace(b"\n", b"\r\n"), UNIT, AREA),
    "missing material": ("a.obj", b"mtllib gone.mtl\nusemtl red\n" + obj(POINTS, FACES), UNIT, AREA),
    "negative numbers of corners": (
        "a.obj",
        obj(POINTS, [])
        + b"\n"
        + "\n".join("f " + " ".join(str(int(k) - len(POINTS)) for k in f) for f in FACES).encode(),
        UNIT,
        AREA,
    ),
    "binary that begins with solid": ("a.stl", stl(POINTS, FACES, b"solid roof"), UNIT, AREA),
    "PLY with colors": (
        "a.ply",
        trimesh.Trimesh(POINTS, FACES, vertex_colors=np.full((len(POINTS), 4), 200), process=False).export(
            file_type="ply"
        ),
        UNIT,
        AREA,
    ),
    "mirrored scene": ("a.glb", GLB_MIRROR.export(file_type="glb"), {}, AREA),
    "drawn twice with other diagonals": (
        "a.obj",
        obj([*HOUSE[0][4:]], [[0, 1, 5], [0, 5, 4], [0, 1, 4], [1, 5, 4], [2, 3, 4], [2, 4, 5]]),
        UNIT,
        AREA,
    ),
    "quadrangles and polygons": ("a.obj", obj(HOUSE[0], HOUSE[1][5:]), UNIT, AREA),
    "spike in an outline": (
        "c.city.json",
        ring_surface([0, 1, 4, 1, 2, 3], vertices=[*SQUARE, [12000, 0, 3000]]),
        {},
        SQUARE_AREA,
    ),
    "corner repeated": ("c.city.json", ring_surface([0, 0, 1, 2, 2, 3], vertices=SQUARE), {}, SQUARE_AREA),
    "hole that touches the outline": (
        "c.city.json",
        ring_surface([0, 1, 2, 3], [0, 4, 5], vertices=[*SQUARE, [0, 2000, 4000], [2000, 2000, 4000]]),
        {},
        52 * np.sqrt(1.25),
    ),
    "clockwise outline": ("c.city.json", ring_surface([3, 2, 1, 0], vertices=SQUARE), {}, SQUARE_AREA),
    "mark for byte order": ("c.gml", b"\xef\xbb\xbf" + marked(polygon(SLOPE)), {}, SHED),
    "latin letters": (
        "c.gml",
        b"<?xml version='1.0' encoding='ISO-8859-1'?>"
        + model(building(surface("RoofSurface", polygon(SLOPE)), "h\u00fctte")).encode("latin-1"),
        {},
        SHED,
    ),
    "ring that is not closed": (
        "c.gml",
        marked(polygon(SLOPE).replace(" 0 0 3</gml:posList>", "</gml:posList>")),
        {},
        SHED,
    ),
    "ring of two corners beside a good one": ("c.gml", marked(polygon(SLOPE), polygon(SLOPE[:2])), {}, SHED),
    "empty ring beside a good one": ("c.gml", marked(polygon(SLOPE), EMPTY_RING), {}, SHED),
    "unknown elements": (
        "c.gml",
        model(building("<odd>1</odd>" + surface("RoofSurface", polygon(SLOPE)))).encode(),
        {},
        SHED,
    ),
}

# name: (file, content, options, words of the message)
REFUSED = {
    "nothing": ("a.obj", b"", UNIT, "empty"),
    "blank lines": ("a.obj", b"\n\n\n", UNIT, "OBJ"),
    "another kind": ("a.stl", json.dumps({"a": 1}).encode(), UNIT, "STL"),
    "a picture": ("a.ply", b"\x89PNG\r\n\x1a\n" + bytes(200), UNIT, "PLY"),
    "corner that is not there": ("a.obj", obj(POINTS, [[0, 1, 99]]), UNIT, "OBJ|vertex"),
    "polygon with a corner that is not there": (
        "a.obj",
        obj(POINTS, [[0, 1, 2, 99]]),
        UNIT,
        "vertex 98|vertex 99",
    ),
    "corner that is no number": (
        "a.obj",
        obj(POINTS, FACES).replace(b"v 0 0 3", b"v nan 0 3"),
        UNIT,
        "finite",
    ),
    "corner beyond the earth": ("a.obj", obj(shifted(POINTS, 1e9, 0, 0), FACES), UNIT, "any map"),
    "walls only": ("a.obj", obj(HOUSE[0], HOUSE[1][1:5]), UNIT, "75 degrees"),
    "doll's house": ("a.obj", obj(POINTS / 100, FACES), UNIT, "less than 1 m2"),
    "a whole country": ("a.obj", obj(POINTS * 1000, FACES), UNIT, "more than 5000 m"),
    "two houses 9 km apart": (
        "a.obj",
        also(shifted(POINTS, 9000, 0, 0), FACES.tolist()),
        UNIT,
        "one building",
    ),
    "fin on the ridge": (
        "a.obj",
        also([(0, 4, TOP), (12, 4, TOP), (6, 5, TOP + 2)], [[0, 1, 2]]),
        UNIT,
        "three or more",
    ),
    "no unit": ("a.obj", obj(POINTS, FACES), {"up": "z"}, "do not say their unit"),
    "no lengths at all": ("a.obj", obj(np.ones((3, 3)), [[0, 1, 2]]), UNIT, "degenerate"),
    "hole as large as the surface": (
        "c.city.json",
        ring_surface([0, 1, 2, 3], [0, 1, 2, 3], vertices=SQUARE),
        {},
        "no roof surface",
    ),
    "outline on a line": (
        "c.city.json",
        ring_surface([0, 1, 4], vertices=[*SQUARE, [4500, 0, 3000]]),
        {},
        "no roof surface",
    ),
    "no roof in the XML": ("c.gml", f"{HEAD}<x/></CityModel>".encode(), {}, "no buildings"),
    "XML cut short": ("c.gml", marked(polygon(SLOPE))[:-30], {}, "cannot be read from line"),
    "XML that lies about its letters": (
        "c.gml",
        b"<?xml version='1.0' encoding='UTF-8'?><CityModel>\xff\xfe</CityModel>",
        {},
        "not XML",
    ),
    "archive that is none": ("a.3mf", b"PK\x03\x04" + bytes(60), {}, "3MF"),
    "drawing of nothing": ("a.dxf", b"0\nEOF\n", {}, "no 3D faces|DXF"),
    "model of nothing": (
        "a.ifc",
        b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n",
        {},
        "IFC",
    ),
}


def test_stray_objects_are_left_out_and_told(tmp_path):
    """A lamp of 0.5 m2 stands 10 m away; a shed of 12 m2 as far, and a canopy of 1 m2 near by, are roofs."""
    lamp = [(30, 0, 4), (31, 0, 4), (30, 1, 4)]
    shed = [(-14, 0, 2), (-10, 0, 2), (-10, 3, 3), (-14, 3, 3)]
    canopy = [(4, -2, 2), (5, -2, 2), (5, -1, 2.2), (4, -1, 2.2)]
    content = also([*lamp, *shed, *canopy], [[0, 1, 2], [3, 4, 5, 6], [7, 8, 9, 10]])
    roof = import_roof(put(tmp_path, "a.obj", content), **UNIT)
    assert roof.planes.count == 4
    assert roof.planes.plan_area.sum() == pytest.approx(96.0 + 12.0 + 1.0)
    assert any("1 faces (0.50 m2) in small groups more than 3 m from the roof" in note for note in roof.notes)


def put(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    return tmp_path / name


@pytest.mark.parametrize(("name", "content", "options", "area"), GOOD.values(), ids=list(GOOD))
def test_odd_files_give_a_clean_roof(tmp_path, name, content, options, area):
    begun = time.monotonic()
    roof = import_roof(put(tmp_path, name, content), **options)
    assert roof.planes.true_area.sum() == pytest.approx(area, rel=2e-3 if area < 200 else 1e-2)
    assert (roof.planes.normal[:, 2] > 0.0).all()
    assert roof.notes
    assert time.monotonic() - begun < SOON


@pytest.mark.parametrize(("name", "content", "options", "words"), REFUSED.values(), ids=list(REFUSED))
def test_what_cannot_be_trusted_is_refused_in_one_line(tmp_path, name, content, options, words, capfd):
    begun = time.monotonic()
    with pytest.raises(InputError, match=words) as caught:
        import_roof(put(tmp_path, name, content), **options)
    message = str(caught.value)
    assert message.startswith(f"{name}: ")
    assert "\n" not in message
    assert len(message) < 600
    assert capfd.readouterr().out == ""
    assert time.monotonic() - begun < SOON


@pytest.mark.parametrize("times", [5, 6, 7])
def test_thousands_of_loose_triangles_are_refused_soon(tmp_path, times):
    """Of every divided triangle only one quarter is left: no two share an edge."""
    points, faces = subdivided(POINTS, FACES, times)
    loose = trimesh.Trimesh(points, faces[: len(faces) // 4], process=False)
    path = put(tmp_path, "a.ply", loose.export(file_type="ply"))
    begun = time.monotonic()
    assert "pieces" in told_instead_of(path, **UNIT) or "No face group" in told_instead_of(path, **UNIT)
    assert time.monotonic() - begun < SOON


def test_there_are_enough_of_them():
    assert len(GOOD) + len(REFUSED) >= 50


def samples(tmp_path):
    """One good file of every kind that can be written here, with its options."""
    built = build_roof([l_part()])
    for ending in ("stl", "obj", "ply", "off", "glb", "3mf"):
        path = tmp_path / f"good.{ending}"
        trimesh.Trimesh(built.points, built.faces, process=False).export(path)
        yield path, UNIT
    for ending in ("msh", "vtk", "vtu"):
        path = tmp_path / f"good.{ending}"
        meshio.Mesh(built.points, [("triangle", built.faces)]).write(
            path, file_format={"msh": "gmsh22"}.get(ending)
        )
        yield path, UNIT
    yield put(tmp_path, "good.gml", marked(polygon(SLOPE))), {}
    yield put(tmp_path, "good.city.json", ring_surface([0, 1, 2, 3], vertices=SQUARE)), {}
    document = ezdxf.new("R2000")
    document.modelspace().add_3dface(SLOPE)
    document.saveas(tmp_path / "good.dxf")
    yield tmp_path / "good.dxf", {}
    house = Model()
    house.element("IfcSlab", "s", slab(SLOPE), PredefinedType="ROOF")
    yield house.write(tmp_path / "good.ifc"), {}


def spoiled(data, rng):
    """Bytes changed, lines dropped, doubled or swapped, numbers blown up, or an end cut off."""
    kind = rng.integers(5)
    if kind == 0:
        changed = bytearray(data)
        for at in rng.integers(0, len(data), rng.integers(1, 12)):
            changed[at] = rng.integers(256)
        return bytes(changed)
    if kind == 1:
        return data[: rng.integers(1, len(data))]
    lines = data.split(b"\n")
    at, other = rng.integers(0, len(lines), 2)
    if kind == 2:
        return b"\n".join([*lines[:at], *lines[at + 1 :]])
    if kind == 3:
        lines[at], lines[other] = lines[other], lines[at]
        return b"\n".join(lines)
    digits = [k for k, byte in enumerate(data) if 48 <= byte < 58]
    where = digits[rng.integers(len(digits))] if digits else 0
    return (
        data[:where]
        + rng.choice([b"-", b"1e308", b"nan", b"99999999999999999999", b"", b"\x00"])
        + data[where + 1 :]
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_spoiled_files_are_read_or_told_but_never_crash_or_hang(tmp_path, seed, capfd):
    """Every kind of file, thirty times each."""
    rng = np.random.default_rng(seed)
    told = 0
    for path, options in list(samples(tmp_path)):
        data = path.read_bytes()
        for _ in range(30):
            bad = put(tmp_path, path.name.replace("good", "bad"), spoiled(data, rng))
            begun = time.monotonic()
            message = told_instead_of(bad, **options)
            assert time.monotonic() - begun < SOON
            assert "\n" not in message
            assert len(message) < 2000
            told += message != ""
    assert told > 50
