"""Files made to harm: counts that lie, bombs, entities, recursion, nesting. Nothing random."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from functools import cache
from typing import Any

import seeds
from seeds import GIVEN, dxf

Trap = tuple[str, bytes, tuple[str, ...]]  # name of the file, what it holds, options


def _face(block: Any, z: float = 0.0) -> None:
    block.add_3dface([(0, 0, z), (4, 0, z), (4, 4, z + 2), (0, 4, z + 2)])


def _own_block(drawing: Any) -> None:
    block = drawing.blocks.new("A")
    _face(block)
    block.add_blockref("A", (5, 0, 0))
    drawing.modelspace().add_blockref("A", (0, 0, 0))


def _doubling_blocks(drawing: Any) -> None:
    _face(drawing.blocks.new("B0"))
    for k in range(1, 40):
        block = drawing.blocks.new(f"B{k}")
        block.add_blockref(f"B{k - 1}", (0, 0, 0))
        block.add_blockref(f"B{k - 1}", (0, 5, 0))
    drawing.modelspace().add_blockref("B39", (0, 0, 0))


def _grid_of_blocks(drawing: Any) -> None:
    _face(drawing.blocks.new("A"))
    reference = drawing.modelspace().add_blockref("A", (0, 0, 0))
    reference.grid((30_000, 30_000), (5, 5))


def _fine_circle(drawing: Any) -> None:
    drawing.modelspace().add_circle((0, 0), 1e9)


def _steep_bulge(drawing: Any) -> None:
    drawing.modelspace().add_lwpolyline([(0, 0, 0, 0, 1e12), (40, 0, 0, 0, 1e-12), (40, 3)], close=True)


def _spline(drawing: Any) -> None:
    drawing.modelspace().add_spline([(0, 0), (90, 1), (-90, 2), (0, 0)])


def _package(model: bytes, **more: bytes) -> bytes:
    members = seeds.unzipped(seeds.roofs()["roof.3mf"][0])
    return seeds.zipped({**members, "3D/3dmodel.model": model, **more})


def _bomb(size: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file, file.open("3D/3dmodel.model", "w") as inner:
        for _ in range(size // 10**6):
            inner.write(b" " * 10**6)
    return out.getvalue()


LAUGHS = b"".join(
    b'<!ENTITY l%d "%s">' % (k, (b"&l%d;" % (k - 1)) * 10 if k else b"lol" * 10) for k in range(10)
)
BILLION = b'<?xml version="1.0"?><!DOCTYPE x [' + LAUGHS + b"]>"
OUTSIDE = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
CITY = b'<CityModel xmlns="http://www.opengis.net/citygml/2.0" xmlns:gml="http://www.opengis.net/gml">'


def _ply(count: int, faces: int, binary: bool = True) -> bytes:
    kind = b"binary_little_endian" if binary else b"ascii"
    return (
        b"ply\nformat %s 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\n"
        b"element face %d\nproperty list uchar int vertex_indices\nend_header\n" % (kind, count, faces)
    ) + b"\x00" * 120


def _gltf(**changes: object) -> bytes:
    table = json.loads(seeds.roofs()["roof.gltf"][0])
    for key, value in changes.items():
        at = table
        *path, last = key.split("__")
        for step in path:
            at = at[int(step) if step.isdigit() else step]
        at[last] = value
    return json.dumps(table).encode()


def _city_table() -> dict[str, Any]:
    table: dict[str, Any] = json.loads(seeds.roofs()["roof.city.json"][0])
    return table


def _city(**changes: object) -> bytes:
    return json.dumps(_city_table() | changes).encode()


def _templates() -> bytes:
    """Geometry that stands for itself."""
    table = _city_table()
    itself = [
        {"type": "GeometryInstance", "template": 0, "boundaries": [0], "transformationMatrix": [1] * 16}
    ]
    table["geometry-templates"] = {"templates": itself, "vertices-templates": []}
    for one in table["CityObjects"].values():
        one["geometry"] = itself
    return json.dumps(table).encode()


def _own_parent() -> bytes:
    table = _city_table()
    for name, one in table["CityObjects"].items():
        one["parents"], one["children"] = [name], [name]
    return json.dumps(table).encode()


def _in_a_ring() -> bytes:
    table = _city_table()
    names = list(table["CityObjects"])
    for name, after in zip(names, names[1:] + names[:1], strict=True):
        table["CityObjects"][name] |= {"children": [after], "parents": [after]}
    return json.dumps(table).encode()


IFC = b"""ISO-10303-21;
HEADER;FILE_DESCRIPTION((''),'2;1');FILE_NAME('','',(''),(''),'','','');FILE_SCHEMA(('IFC4'));ENDSEC;
DATA;
#1=IFCPROJECT('0000000000000000000001',$,'P',$,$,$,$,(#3),#2);
#2=IFCUNITASSIGNMENT((#4));
#3=IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-05,#5,$);
#4=IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.);
#5=IFCAXIS2PLACEMENT3D(#6,$,$);
#6=IFCCARTESIANPOINT((0.,0.,0.));
#10=IFCBUILDING('0000000000000000000010',$,'B',$,$,#11,$,$,.ELEMENT.,$,$,$);
#11=IFCLOCALPLACEMENT(#11,#5);
#12=IFCRELAGGREGATES('0000000000000000000012',$,$,$,#1,(#10));
#13=IFCRELAGGREGATES('0000000000000000000013',$,$,$,#10,(#20,#10));
#20=IFCROOF('0000000000000000000020',$,'R',$,$,#11,#21,$,$);
#21=IFCPRODUCTDEFINITIONSHAPE($,$,(#22));
#22=IFCSHAPEREPRESENTATION(#3,'Body','MappedRepresentation',(#23));
#23=IFCMAPPEDITEM(#24,#25);
#24=IFCREPRESENTATIONMAP(#5,#22);
#25=IFCCARTESIANTRANSFORMATIONOPERATOR3D($,$,#6,1.,$);
ENDSEC;
END-ISO-10303-21;
"""


GRID = (
    b"# vtk DataFile Version 4.2\nx\nASCII\nDATASET STRUCTURED_POINTS\nDIMENSIONS %d %d %d\n"
    b"ORIGIN 0 0 0\nSPACING 1 1 1\n"
)


@cache
def roofs() -> dict[str, Trap]:
    """Roof files."""
    deep = 100_000
    polygon = (
        b"<gml:Polygon><gml:exterior><gml:LinearRing><gml:posList>%s"
        b"</gml:posList></gml:LinearRing></gml:exterior></gml:Polygon>"
    )
    return {
        "block in itself": ("a.dxf", dxf(_own_block), ()),
        "2^39 faces by blocks": ("a.dxf", dxf(_doubling_blocks), ()),
        "9e8 faces by a grid of blocks": ("a.dxf", dxf(_grid_of_blocks), ()),
        "package of 300 MB": ("a.3mf", _bomb(3 * 10**8), ()),
        "package with entities": ("a.3mf", _package(BILLION + b"<model>&l9;</model>"), ()),
        "package with a file outside": ("a.3mf", _package(OUTSIDE + b'<model unit="&e;">&e;</model>'), ()),
        "package that is no zip": ("a.3mf", b"PK\x03\x04" + b"\x00" * 100, ()),
        "city with entities": ("a.gml", BILLION + CITY + b"&l9;</CityModel>", ()),
        "city with a file outside": ("a.gml", OUTSIDE + CITY + b"&e;</CityModel>", ()),
        "city of deep elements": ("a.gml", CITY + b"<a>" * deep + b"</a>" * deep + b"</CityModel>", ()),
        "city of deep buildings": (
            "a.gml",
            CITY
            + b"<consistsOfBuildingPart><BuildingPart>" * 20_000
            + b"</BuildingPart></consistsOfBuildingPart>" * 20_000
            + b"</CityModel>",
            (),
        ),
        "city of one long ring": (
            "a.gml",
            CITY
            + b"<Building>"
            + polygon % b" ".join(b"%d %d 3" % (k % 997, k % 991) for k in range(200_000))
            + b"</Building></CityModel>",
            (),
        ),
        "city in an unknown code": (
            "a.gml",
            b'<?xml version="1.0" encoding="x-none"?>' + CITY + b"</CityModel>",
            (),
        ),
        "deep JSON": ("a.city.json", b"[" * deep + b"]" * deep, ()),
        "deep boundaries": (
            "a.city.json",
            seeds.roofs()["roof.city.json"][0].replace(
                b'"boundaries":', b'"boundaries":' + b"[" * 900 + b"0" + b"]" * 900 + b',"x":', 1
            ),
            ("--building", "all"),
        ),
        "JSON with a long number": (
            "a.city.json",
            b'{"type": "CityJSON", "version": ' + b"9" * 10**6 + b"}",
            (),
        ),
        "JSON twice": ("a.city.json", b'{"type":"CityJSON"}{"type":"CityJSON"}', ()),
        "scale of infinity": (
            "a.city.json",
            _city(transform={"scale": [1e308] * 3, "translate": [1e308] * 3}),
            ("--building", "all"),
        ),
        "scale of none": (
            "a.city.json",
            _city(transform={"scale": [None] * 3, "translate": ["a"] * 3}),
            ("--building", "all"),
        ),
        "template of itself": ("a.city.json", _templates(), ("--building", "all")),
        "own parent": ("a.city.json", _own_parent(), ("--building", "all")),
        "parents in a ring": ("a.city.json", _in_a_ring(), ("--building", "all")),
        "counts that lie, STL": ("a.stl", b"\x00" * 80 + struct.pack("<I", 2**32 - 1) + b"\x00" * 200, GIVEN),
        "counts that lie, PLY": ("a.ply", _ply(2**31, 2**31), GIVEN),
        "counts that lie, PLY text": ("a.ply", _ply(10**9, 10**9, False), GIVEN),
        "negative counts, PLY": ("a.ply", _ply(-5, -1), GIVEN),
        "no header end, PLY": ("a.ply", _ply(5, 1).replace(b"end_header", b"comment xx"), GIVEN),
        "counts that lie, OFF": ("a.off", b"OFF\n2000000000 2000000000 0\n0 0 0\n", GIVEN),
        "long face, OFF": ("a.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n2000000000 0 1 2\n", GIVEN),
        "indices that lie, OBJ": (
            "a.obj",
            b"v 0 0 0\nv 9 0 0\nv 0 9 3\nf 1 2 99999999999999999999\nf 1 2 0\n",
            GIVEN,
        ),
        "OBJ in other files": (
            "a.obj",
            b"mtllib /etc/passwd\nmtllib ../../x\nusemtl q\nv 0 0 0\nv 9 0 0\nv 0 9 3\nf 1 2 3\n",
            GIVEN,
        ),
        "polygon of 200000 corners": (
            "a.obj",
            b"\n".join(b"v %d %d %d" % (k % 317, k % 613, k % 7) for k in range(200_000))
            + b"\nf "
            + b" ".join(b"%d" % (k + 1) for k in range(200_000)),
            GIVEN,
        ),
        "counts that lie, MSH": (
            "a.msh",
            b"$MeshFormat\n4.1 0 8\n$EndMeshFormat\n$Nodes\n1 2000000000 1 2000000000\n"
            b"2 1 0 2000000000\n1\n$EndNodes\n",
            GIVEN,
        ),
        "counts that lie, VTK": (
            "a.vtk",
            b"# vtk DataFile Version 4.2\nx\nBINARY\nDATASET UNSTRUCTURED_GRID\nPOINTS 2000000000 double\n"
            + b"\x00" * 99,
            GIVEN,
        ),
        "grid of 1e18 points, VTK": (
            "a.vtk",
            GRID % ((1000000,) * 3),
            GIVEN,
        ),
        "grid of 1e9 points, VTK": (
            "a.vtk",
            GRID % ((1000,) * 3),
            GIVEN,
        ),
        "entities, VTU": ("a.vtu", BILLION + b'<VTKFile type="UnstructuredGrid">&l9;</VTKFile>', GIVEN),
        "counts that lie, glTF": ("a.gltf", _gltf(accessors__0__count=2**31, accessors__1__count=2**31), ()),
        "file outside, glTF": ("a.gltf", _gltf(buffers__0__uri="/etc/passwd"), ()),
        "folder above, glTF": ("a.gltf", _gltf(buffers__0__uri="../../../../../../etc/passwd"), ()),
        "endless file, glTF": ("a.gltf", _gltf(buffers__0__uri="/dev/zero"), ()),
        "address, glTF": ("a.gltf", _gltf(buffers__0__uri="http://127.0.0.1:9/x"), ()),
        "node in itself, glTF": (
            "a.gltf",
            _gltf(nodes=[{"children": [0], "mesh": 0}], scenes=[{"nodes": [0]}], scene=0),
            (),
        ),
        "lengths that lie, GLB": (
            "a.glb",
            b"glTF" + struct.pack("<III", 2, 2**31, 2**31 - 1) + b"JSON{}",
            (),
        ),
        "deep JSON, GLB": (
            "a.glb",
            b"glTF"
            + struct.pack("<III", 2, 12 + 8 + 2 * deep, 2 * deep)
            + b"JSON"
            + b"[" * deep
            + b"]" * deep,
            (),
        ),
        "shape that maps itself, IFC": ("a.ifc", IFC, ()),
        "zip named IFC": ("a.ifc", seeds.zipped({"a.ifc": IFC}), ()),
        "no line end": ("a.obj", b"v " * 3_000_000, GIVEN),
        "only blanks": ("a.gml", b" " * 10_000_000, ()),
    }


def sections() -> dict[str, Trap]:
    """Files of rail sections."""
    return {
        "block in itself": ("a.dxf", dxf(_own_block), ()),
        "blocks of blocks": ("a.dxf", dxf(_doubling_blocks), ()),
        "grid of blocks": ("a.dxf", dxf(_grid_of_blocks), ()),
        "circle as large as the earth": ("a.dxf", dxf(_fine_circle), ()),
        "arcs of all and of nothing": ("a.dxf", dxf(_steep_bulge), ()),
        "wild spline": ("a.dxf", dxf(_spline), ()),
        "zero CSV": ("a.csv", b"\x00" * 1000, ()),
        "long CSV": (
            "a.csv",
            b"y [mm],z [mm]\n" + b"".join(b"%d,%d\n" % (k % 97, k % 89) for k in range(100_000)),
            (),
        ),
        "long smooth CSV": (
            "a.csv",
            b"y [mm],z [mm]\n"
            + b"".join(b"%.5f,%.5f\n" % (k / 1e3, (k / 1e3) ** 2 / 1e3) for k in range(40_000)),
            (),
        ),
        "rough CSV": (
            "a.csv",
            b"y [mm],z [mm]\n0,0\n"
            + b"".join(b"%.4f,%.4f\n" % (k / 500, 9 + k * 7919 % 1000 / 1e3) for k in range(40_000))
            + b"80,0\n",
            (),
        ),
        "comb CSV": (
            "a.csv",
            b"y [mm],z [mm]\n0,0\n"
            + b"".join(b"%.3f,%d\n" % (k // 2 / 50, 2 + 30 * ((k + 1) // 2 % 2)) for k in range(1991))
            + b"19.9,0\n",
            (),
        ),
        "wide CSV": ("a.csv", b"y [mm],z [mm]," + b"," * 500_000 + b"\n0,0\n1,0\n1,1\n", ()),
        "one long cell": ("a.csv", b'y [mm],z [mm]\n"' + b"9" * 1_000_000 + b'",0\n1,0\n1,1\n', ()),
    }
