"""Small good inputs of every kind, to be damaged."""

from __future__ import annotations

import io
import json
import tomllib
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
MODELS, DATA = ROOT / "models", ROOT / "tests" / "data"
GIVEN = ("--unit", "m", "--up", "z")  # options of files that say neither

SMALL = """\
[project]
name = "Small gable"
units = "SI"

[site]
standard = "EN 1991-1-3"
ground_snow = "1.8 kN/m^2"

[[roof.part]]
name = "house"
shape = "gable"
footprint = "0 0, 6 0, 6 5, 0 5 m"
pitch = "30 deg"
eave_height = "3 m"

[surface]
slippery = true

[panel]
metal = "steel"
seam_spacing = "500 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
clip_spacing = "400 mm"
anchorage = "9 kN"
anchorage_kind = "characteristic"
anchorage_factor = 1.33

[rail]
shape = "round tube"
diameter = "42 mm"
wall = "3 mm"
material = "steel"
yield_strength = "235 MPa"
deflection_ratio = 100

[clamp]
height = "55 mm"
grip_length = "80 mm"
test_height = "55 mm"
stiffness = { along = "2.4 kN/mm", across = "0.9 kN/mm", pull = "4 kN/mm", rocking = "7260 N*m/rad" }
strength = { along = "9.5 kN", across = "4 kN", pull = "8 kN", push = "9 kN" }
strength_kind = "characteristic"
factor = 1.33
test_basis = "works tests 1-1"

[[row]]
name = "R1"
plane = "S1"
up = "0.5 m"

[[row]]
name = "R2"
plane = "S1"
up = "2 m"

[design]
format = "EN"
rail_height_ratio = 0.1
"""
UNCERTAIN = """
[uncertainty]
depth = { shape = "gumbel", mean = 0.6, deviation = 0.25 }
bond = { shape = "uniform", low = 0.0, high = 0.3 }
strength = { mean = 1.2, scatter = 0.15, together = 0.3 }
missing = 0.01
samples = 1000
"""
OTHER_SITES = {
    "ASCE/SEI 7-22": 'ground_snow = "40 psf"\nrisk_category = "II"\nwinter_wind = 0.5',
    "ASCE/SEI 7-16": 'ground_snow = "30 psf"\nrisk_category = "II"',
    "measured": 'level = "measured"\nlayers = [{ depth = "0.6 m", density = ["200 kg/m^3", "260 kg/m^3"] }]',
}


@cache
def projects() -> dict[str, dict[str, Any]]:
    """Good projects by name."""
    found = {"small": tomllib.loads(SMALL)}
    en = 'standard = "EN 1991-1-3"\nground_snow = "1.8 kN/m^2"'
    for name, fields in OTHER_SITES.items():
        found[name] = tomllib.loads(SMALL.replace(en, f'standard = "{name}"\n{fields}'))
        if name.startswith("ASCE"):
            found[name]["design"]["format"] = "ASD"
            for table, kind, factor in (
                ("panel", "anchorage_kind", "anchorage_factor"),
                ("clamp", "strength_kind", "factor"),
            ):
                found[name][table].update({kind: "nominal", factor: 2.0})
            found[name]["project"]["units"] = "US"
    for name in ("granary-door", "harbor-barn", "ridge-school", "cedar-hollow", "tannery-hall"):
        found[name] = tomllib.loads((MODELS / name / "project.toml").read_text(encoding="utf-8"))
    return found


def gable() -> tuple[Any, Any]:
    """Corners and triangles of a gable roof, 12 m by 8 m."""
    points = [(0, 0, 3), (12, 0, 3), (12, 8, 3), (0, 8, 3), (0, 4, 5.5), (12, 4, 5.5)]
    return np.array(points, dtype=float), np.array([[0, 1, 5], [0, 5, 4], [2, 3, 4], [2, 4, 5]])


def _trimesh(kind: str) -> bytes:
    import trimesh

    points, faces = gable()
    if kind in ("glb", "gltf"):
        points = np.column_stack([points[:, 0], points[:, 2], -points[:, 1]])
    data = trimesh.Trimesh(points, faces, process=False).export(file_type=kind)
    return data.encode() if isinstance(data, str) else bytes(data)


def _gltf() -> bytes:
    """One file: its buffer within."""
    import base64

    glb = _trimesh("glb")
    size = int.from_bytes(glb[12:16], "little")
    table, buffer = json.loads(glb[20 : 20 + size]), glb[28 + size :]
    table["buffers"][0]["uri"] = "data:application/octet-stream;base64," + base64.b64encode(buffer).decode()
    return json.dumps(table).encode()


def _meshio(kind: str, **more: Any) -> bytes:
    import tempfile

    import meshio

    points, faces = gable()
    mesh = meshio.Mesh(points, [("triangle", faces)])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"a.{kind}"
        writer = {"msh": meshio.gmsh.write, "vtk": meshio.vtk.write, "vtu": meshio.vtu.write}[kind]
        writer(path, mesh, **more)
        return path.read_bytes()


def dxf(build: Callable[[Any], None], unit: str = "M") -> bytes:
    """A drawing, built by a function that gets it empty."""
    import ezdxf

    drawing = ezdxf.new()
    drawing.units = getattr(ezdxf.units, unit)
    build(drawing)
    out = io.StringIO()
    drawing.write(out)
    return out.getvalue().encode()


def _roof_drawing(drawing: Any) -> None:
    points, faces = gable()
    for face in faces[:2]:
        drawing.modelspace().add_3dface([tuple(points[i]) for i in face])
    block = drawing.blocks.new("half")
    for face in faces[2:]:
        block.add_3dface([tuple(points[i]) for i in face])
    drawing.modelspace().add_blockref("half", (0, 0, 0))


def _rail_drawing(drawing: Any) -> None:
    drawing.modelspace().add_circle((0, 0), 24)
    drawing.modelspace().add_lwpolyline([(-10, -10), (10, -10), (10, 10), (-10, 10)], close=True)


@cache
def roofs() -> dict[str, tuple[bytes, tuple[str, ...]]]:
    """Roof files by name, with the options they need."""
    plain = {
        "stl": _trimesh("stl"),
        "obj": _trimesh("obj"),
        "ply": _trimesh("ply"),
        "off": _trimesh("off"),
        "vtk": _meshio("vtk"),
        "vtu": _meshio("vtu"),
        "msh": _meshio("msh"),
    }
    found = {f"roof.{kind}": (data, GIVEN) for kind, data in plain.items()}
    found |= {
        "text.stl": (_trimesh("stl_ascii"), GIVEN),
        "text.vtu": (_meshio("vtu", binary=False), GIVEN),
        "text.vtk": (_meshio("vtk", binary=False), GIVEN),
        "text.msh": (_meshio("msh", fmt_version="2.2", binary=False), GIVEN),
        "roof.glb": (_trimesh("glb"), ()),
        "roof.gltf": (_gltf(), ()),
        "roof.3mf": (_trimesh("3mf"), ("--unit", "m")),
        "roof.dxf": (dxf(_roof_drawing), ()),
        "roof.city.json": (
            (DATA / "roofs" / "denhaag_4_buildings_lod2.city.json").read_bytes(),
            ("--building", "all"),
        ),
        "roof.gml": (
            (DATA / "roofs" / "building_and_garage_lod2_citygml2.gml").read_bytes(),
            ("--building", "all"),
        ),
    }
    quads = b"\n".join([b"v %g %g %g" % tuple(p) for p in gable()[0]] + [b"f 1 2 6 5", b"f 3 4 5 6"])
    found["quads.obj"] = (quads + b"\n", GIVEN)
    return found


@cache
def profiles() -> dict[str, tuple[bytes, tuple[str, ...]]]:
    """Files of rail sections with the options they need."""
    corners = [(0, 0), (30, 0), (30, 3), (3, 3), (3, 57), (30, 57), (30, 60), (0, 60)]
    table = "y [mm],z [mm]\n" + "\n".join(f"{y},{z}" for y, z in corners) + "\n"
    return {"rail.dxf": (dxf(_rail_drawing, "MM"), ()), "rail.csv": (table.encode(), ())}


def spans() -> dict[str, Any]:
    """A small span study."""
    table = tomllib.loads((MODELS / "cove-rails" / "spans.toml").read_text(encoding="utf-8"))
    table["study"] |= {
        "spans": ["0.8 m", "1.6 m"],
        "seams_per_span": [3],
        "loads": ["1 kN/m", "3 kN/m"],
        "arrangements": ["single span", "two spans", "one clamp missing"],
    }
    table["panel"]["seam_spacing"] = ["400 mm", "16 in"]
    return table


def campaign() -> tuple[dict[str, Any], dict[str, bytes]]:
    """A test campaign and its curves."""
    folder = MODELS / "brackwater-clamp"
    table = tomllib.loads((folder / "tests.toml").read_text(encoding="utf-8"))
    return table, {path.name: path.read_bytes() for path in folder.glob("*.csv")}


@cache
def joined() -> str:
    """What `tests` wrote of another direction."""
    from fea.strength_tests.campaign import judge
    from roofmodel.project.campaigns import load_campaign
    from viewer.strength.export import campaign_data

    data = campaign_data(judge(load_campaign(MODELS / "brackwater-clamp" / "tests.toml")))
    data["specimen"]["direction"] = "pull"
    return json.dumps(data)


def found() -> tuple[dict[str, Any], dict[str, bytes]]:
    """An investigation on a small roof, and the files beside it."""
    table = tomllib.loads((MODELS / "alder-barn" / "found.toml").read_text(encoding="utf-8"))
    table["found"] = [
        {"clamps": "row R2", "state": "stands"},
        {"clamps": "R1-04, R1-06..R1-08", "state": "off", "doubt": 0.01},
    ]
    table["sampling"] = {"samples": 500}
    return table, {"project.toml": SMALL.encode(), "weather.csv": weather()}


def weather(hours: int = 120) -> bytes:
    lines = (MODELS / "alder-barn" / "weather.csv").read_bytes().splitlines(keepends=True)
    return b"".join([lines[0], *lines[-hours:]])


def zipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in members.items():
            file.writestr(name, data)
    return out.getvalue()


def unzipped(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        return {name: file.read(name) for name in file.namelist()}
