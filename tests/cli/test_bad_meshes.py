"""Roofs from files that are wrong: one line that names the field, the file and what would be right."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_project import IMPORTED, changed, command, gable_mesh, put, run, stl

POINTS, FACES = gable_mesh()
ROOF = stl(POINTS, FACES)
LINE = 'file = "roof.stl"\nunit = "m"\nup = "z"\n'


def named(line: str) -> str:
    """The project with other lines in its roof table."""
    return changed(LINE, line, IMPORTED)


def mesh(points: Any, faces: Any) -> str:
    return stl(np.array(points, dtype=float), np.array(faces))


def binary_stl(points: np.ndarray, faces: np.ndarray) -> bytes:
    corners = points[faces].astype("<f4")
    body = b"".join(struct.pack("<3f", 0, 0, 0) + face.tobytes() + b"\0\0" for face in corners)
    return b"roof".ljust(80) + struct.pack("<I", len(faces)) + body


def city(**changes: Any) -> str:
    """CityJSON of one building with one sloping surface."""
    surface: Any = {
        "type": "MultiSurface",
        "lod": "2",
        "boundaries": [[[0, 1, 2, 3]]],
        "semantics": {"surfaces": [{"type": "RoofSurface"}], "values": [0]},
    }
    table: dict[str, Any] = {
        "type": "CityJSON",
        "version": "2.0",
        "transform": {"scale": [0.001] * 3, "translate": [0, 0, 0]},
        "CityObjects": {"house": {"type": "Building", "geometry": [surface]}},
        "vertices": [[0, 0, 3000], [6000, 0, 3000], [6000, 4000, 4500], [0, 4000, 4500]],
    }
    return json.dumps(table | changes)


WALLS = mesh([[0, 0, 0], [5, 0, 0], [5, 0, 4], [0, 0, 4]], [[0, 1, 2], [0, 2, 3]])
# Every face leans 10 degrees from upright.
LEANING = mesh([[0, 0, 0], [8, 0, 0], [8, 0.7, 4], [0, 0.7, 4]], [[0, 1, 2], [0, 2, 3]])
FIN = mesh([*POINTS, [5, 3, 6]], [*FACES, [3, 2, 6]])
CITY = 'file = "roof.city.json"\n'
OBJ, PLY, GLB = (f'file = "roof.{end}"\nunit = "m"\nup = "z"\n' for end in ("obj", "ply", "glb"))
UP = 'file = "roof.stl"\nup = "z"\n'
PLY_TEXT = """ply
format ascii 1.0
element vertex 1
property float x
property float y
property float z
end_header
0 0 0
"""

BAD: dict[str, tuple[str, str, str | bytes | None, list[str]]] = {
    "missing": (LINE, "roof.stl", None, ["no such file", "relative to the project file"]),
    "empty": (LINE, "roof.stl", b"", ["empty"]),
    "unknown ending": (LINE.replace("stl", "dwg"), "roof.dwg", b"AC1027", ["dwg", ".stl"]),
    "face without its vertex": (
        LINE.replace("stl", "ply"),
        "roof.ply",
        b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
        b"element face 1\nproperty list uchar int vertex_indices\nend_header\n"
        b"0 0 0\n9 0 0\n0 9 2\n3 0 1 8\n",
        ["vertex 8", "3 vertices"],
    ),
    "no unit": (UP, "roof.stl", ROOF, ["unit (m, mm, cm, ft or in)", "10 x 8 x 2 m"]),
    "no up axis": (LINE.replace('up = "z"\n', ""), "roof.stl", ROOF, ["up axis (z or y)"]),
    "wrong up axis": (LINE.replace('"z"', '"y"'), "roof.stl", stl(*gable_mesh(rise=0.3)), ["up axis"]),
    "millimeters read as m": (
        LINE,
        "roof.stl",
        stl(1e4 * POINTS, FACES),
        ["1e+05 m", "5000 m", "unit (mm would make 100 m)"],
    ),
    "meters read as mm": (LINE.replace('"m"', '"mm"'), "roof.stl", ROOF, ["area", "1 m2", "units"]),
    "building in a mesh": (LINE + 'building = "A"\n', "roof.stl", ROOF, ["building", "A", "city models"]),
    "shared by three": (LINE, "roof.stl", FIN, ["three or more", "2.00) m"]),
    "not finite": (LINE, "roof.stl", ROOF.replace("vertex 0 0 2", "vertex 0 0 nan"), ["finite"]),
    "infinite": (LINE, "roof.stl", ROOF.replace("vertex 0 0 2", "vertex 0 0 inf"), ["finite"]),
    "gigantic numbers": (LINE, "roof.stl", ROOF.replace("vertex 0 0 2", "vertex 0 0 1e30"), ["m", "roof"]),
    "binary, not finite": (
        LINE,
        "roof.stl",
        binary_stl(np.where(np.arange(18).reshape(6, 3) == 4, np.nan, POINTS), FACES),
        ["finite"],
    ),
    "all upright": (LINE, "roof.stl", WALLS, ["75 degrees", "up axis"]),
    "leaning walls": (LINE, "roof.stl", LEANING, ["75 degrees", "up axis"]),
    "no area": (LINE, "roof.stl", mesh([[0, 0, 0], [1, 1, 1], [2, 2, 2]], [[0, 1, 2]]), ["degenerate"]),
    "far too small": (LINE, "roof.stl", stl(0.05 * POINTS, FACES), ["area", "1 m2"]),
    "cut in the middle": (LINE, "roof.stl", ROOF[: len(ROOF) // 2], ["STL|triangles|facet"]),
    "cut binary": (LINE, "roof.stl", binary_stl(POINTS, FACES)[:-30], ["STL"]),
    "prose": (LINE, "roof.stl", "Dear Sir, please find the roof attached.\n", ["STL"]),
    "random bytes": (LINE, "roof.stl", np.random.default_rng(1).bytes(3000), ["STL"]),
    "empty solid": (LINE, "roof.stl", "solid roof\nendsolid roof\n", ["triangles|STL"]),
    "OBJ without faces": (OBJ, "roof.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\n", ["triangles", "OBJ"]),
    "OBJ of nonsense": (OBJ, "roof.obj", "v a b c\nf 1 2 9\n", ["OBJ"]),
    "OBJ out of range": (OBJ, "roof.obj", "v 0 0 0\nv 4 0 0\nv 0 4 1\nf 1 2 9\n", ["OBJ|vertex"]),
    "PLY without faces": (PLY, "roof.ply", PLY_TEXT, ["triangles", "PLY"]),
    "PLY cut": (PLY, "roof.ply", "ply\nformat ascii 1.0\nelement vertex 9\n", ["PLY"]),
    "GLB of nonsense": (GLB, "roof.glb", b"glTF" + bytes(40), ["GLB"]),
    "JSON, not CityJSON": (CITY, "roof.city.json", '{"type": "FeatureCollection"}', ["CityJSON"]),
    "no JSON": (CITY, "roof.city.json", "{", ["JSON"]),
    "JSON list": (CITY, "roof.city.json", "[1, 2]", ["CityJSON"]),
    "deep JSON": (CITY, "roof.city.json", "[" * 200_000, ["JSON"]),
    "old CityJSON": (CITY, "roof.city.json", city(version="0.9"), ["version", "0.9", "2.0"]),
    "unknown building": (CITY + 'building = "barn"\n', "roof.city.json", city(), ["barn", "house (26 m2)"]),
    "no building": (CITY, "roof.city.json", city(CityObjects={}), ["no buildings"]),
    "objects as text": (CITY, "roof.city.json", city(CityObjects={"house": "big"}), ["house|CityObjects"]),
    "geometry as text": (
        CITY,
        "roof.city.json",
        city(CityObjects={"house": {"type": "Building", "geometry": "LoD2"}}),
        ["house"],
    ),
    "no geometry": (
        CITY,
        "roof.city.json",
        city(CityObjects={"house": {"type": "Building", "geometry": []}}),
        ["house", "no surfaces"],
    ),
    "vertices missing": (CITY, "roof.city.json", city(vertices=[[0, 0, 0]]), ["vertex", "1"]),
    "vertices as text": (CITY, "roof.city.json", city(vertices=["a", "b"]), ["vertices"]),
    "vertices without end": (
        CITY,
        "roof.city.json",
        city(vertices=[[0, 0, 1e308]] * 4),
        ["roof|finite|vert"],
    ),
    "up axis for CityJSON": (CITY + 'up = "y"\n', "roof.city.json", city(), ["up", "leave"]),
}


@pytest.mark.parametrize(("line", "name", "content", "words"), BAD.values(), ids=list(BAD))
def test_bad_roof_file_is_told_in_one_line(
    line: str,
    name: str,
    content: str | bytes | None,
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    project, out = put(tmp_path, named(line)), tmp_path / "out"
    if content is not None:
        put(tmp_path, content, name)
    code = run(["check", str(project), "--out", str(out)], monkeypatch)
    told = capfd.readouterr()
    assert code == 2, told.err
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert len(told.err) < 600
    assert told.err.startswith(f'eavewright: project.toml: roof.file: "{name}": ')
    for word in words:
        assert any(one in told.err for one in word.split("|")), f"{word!r} is not in: {told.err}"
    assert not any(bad in told.err for bad in ("Traceback", "Warning", "internal error", str(tmp_path)))
    assert not out.exists()


@pytest.mark.parametrize(
    ("line", "name", "content", "planes"),
    [
        (LINE, "roof.stl", ROOF, 2),
        (LINE, "roof.stl", binary_stl(POINTS, FACES), 2),
        (LINE, "roof.stl", mesh([[0, 0, 0], [8, 0, 0], [4, 4, 2]], [[0, 1, 2]]), 1),
        (LINE, "roof.stl", stl(POINTS, FACES[:, ::-1]), 2),
        (CITY, "roof.city.json", city(), 1),
        (CITY + 'building = "house"\n', "roof.city.json", city(), 1),
    ],
    ids=["text", "binary", "one triangle", "upside down", "city", "named building"],
)
def test_good_roof_file_is_read(
    line: str, name: str, content: str | bytes, planes: int, tmp_path: Path
) -> None:
    """The files above differ from these by one slip each, so what they are refused for is that slip."""
    from roofmodel.project.load import load_project

    put(tmp_path, content, name)
    project = load_project(put(tmp_path, named(line)))
    assert project.roof.planes.count == planes
    assert project.roof.planes.name[0] == "S1"


def test_a_folder_is_no_roof_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "roof.stl").mkdir()
    code = run(["check", str(put(tmp_path, IMPORTED)), "--out", str(tmp_path / "out")], monkeypatch)
    told = capfd.readouterr().err
    assert code == 2
    assert 'project.toml: roof.file: "roof.stl": is a folder; give' in told


def test_what_readers_log_stays_out_of_the_answer(tmp_path: Path) -> None:
    """A damaged normal makes the mesh reader log a traceback, which only a process of its own shows."""
    put(tmp_path, ROOF.replace("facet normal 0 0 0", "facet normal a b c", 1), "roof.stl")
    put(tmp_path, named(UP))
    told = command("check", "project.toml", "--out", "out", folder=tmp_path)
    assert told.returncode == 2
    assert told.stderr.count("\n") == 1
    assert "unit (m, mm, cm, ft or in)" in told.stderr
