"""DXF drawings: every kind of face, blocks, layers, units, and messages for the rest."""

from __future__ import annotations

from collections import Counter

import ezdxf
import numpy as np
import pytest
from ezdxf.render import MeshBuilder
from test_importing import told_instead_of

from roofmodel.errors import InputError
from roofmodel.shape.importing import import_roof

POINTS = [(0, 0, 3), (10, 0, 3), (10, 4, 5), (0, 4, 5), (10, 8, 3), (0, 8, 3)]
QUADS = [(0, 1, 2, 3), (3, 2, 4, 5)]
AREA = 10 * np.hypot(4, 2)


def builder(scale=1.0):
    mesh = MeshBuilder()
    mesh.vertices = [tuple(c * scale for c in point) for point in POINTS]
    mesh.faces = QUADS
    return mesh


def drawing(units=6):
    document = ezdxf.new("R2013")
    document.header["$INSUNITS"] = units
    return document, document.modelspace()


def faces(space, scale=1.0, shift=(0, 0, 0), **attributes):
    for quad in QUADS:
        corners = [tuple(c * scale + s for c, s in zip(POINTS[k], shift, strict=True)) for k in quad]
        space.add_3dface(corners, dxfattribs=attributes)


def save(document, tmp_path):
    document.saveas(tmp_path / "roof.dxf")
    return tmp_path / "roof.dxf"


def assert_gable(roof):
    assert sorted(roof.planes.name) == ["N1", "S1"]
    assert roof.planes.true_area == pytest.approx([AREA, AREA])
    kinds = Counter(kind.value for kind in roof.edges.kind)
    assert kinds == {"ridge": 1, "eave": 2, "rake": 4}


@pytest.mark.parametrize("kind", ["faces", "mesh", "polyface", "polymesh", "block"])
def test_every_kind_of_face_is_read(tmp_path, kind):
    document, space = drawing()
    if kind == "faces":
        faces(space)
    elif kind == "mesh":
        builder().render_mesh(space)
    elif kind == "polyface":
        builder().render_polyface(space)
    elif kind == "polymesh":
        mesh = space.add_polymesh(size=(2, 3))
        for row, (left, right) in enumerate([(0, 1), (3, 2), (5, 4)]):
            mesh.set_mesh_vertex((0, row), POINTS[left])
            mesh.set_mesh_vertex((1, row), POINTS[right])
    else:
        block = document.blocks.new("half")
        block.add_3dface([POINTS[k] for k in QUADS[0]])
        space.add_blockref("half", (0, 0, 0))
        space.add_blockref("half", (10, 8, 0), dxfattribs={"rotation": 180})
    roof = import_roof(save(document, tmp_path))
    assert_gable(roof)
    assert any("one unit is 1 m, as the drawing says; z up" in note for note in roof.notes)


@pytest.mark.parametrize(("code", "length"), [(1, 0.0254), (2, 0.3048), (4, 1e-3), (5, 1e-2), (10, 0.9144)])
def test_units_of_the_header(tmp_path, code, length):
    """Codes of $INSUNITS by the DXF reference: inch, foot, millimeter, centimeter, yard."""
    document, space = drawing(code)
    faces(space, 1.0 / length)
    assert_gable(import_roof(save(document, tmp_path)))


def test_a_drawing_without_a_unit_asks_for_it_and_one_with_a_wrong_unit_can_be_put_right(tmp_path):
    document, space = drawing(0)
    faces(space, 1000.0)
    path = save(document, tmp_path)
    with pytest.raises(InputError, match=r"DXF files do not say their unit .*mm: 10 x 8 x 2 m"):
        import_roof(path)
    assert_gable(import_roof(path, unit="mm"))
    document.header["$INSUNITS"] = 6
    roof = import_roof(save(document, tmp_path), unit="mm")
    assert any("as given (the drawing says 1 m)" in note for note in roof.notes)


def test_layers_are_chosen_by_name_and_hidden_ones_left_out(tmp_path):
    document, space = drawing()
    faces(space, layer="ROOF")
    document.layers.add("OLD").off()
    space.add_3dface([(0, 20, 3), (5, 20, 3), (5, 25, 3), (0, 25, 3)], dxfattribs={"layer": "OLD"})
    document.layers.add("SITE")
    space.add_3dface([(20, 0, 0), (25, 0, 0), (25, 5, 0), (20, 5, 0)], dxfattribs={"layer": "SITE"})
    path = save(document, tmp_path)
    roof = import_roof(path)
    assert roof.planes.count == 3
    assert any("off or frozen were left out: OLD" in note for note in roof.notes)
    assert_gable(import_roof(path, layers=("roof",)))
    assert import_roof(path, layers=("roof", "OLD")).planes.count == 3
    with pytest.raises(InputError, match=r'no layer "dach"; the drawing has .*SITE'):
        import_roof(path, layers=("dach",))


def test_map_coordinates_keep_millimeters(tmp_path):
    document, space = drawing()
    far = (2_600_000.125, 1_200_000.5, 400.25)
    faces(space, shift=far)
    roof = import_roof(save(document, tmp_path))
    assert_gable(roof)
    assert (roof.points + roof.offset).min(axis=0) == pytest.approx([far[0], far[1], far[2] + 3], abs=1e-6)


def test_polygons_of_many_corners_are_filled_by_their_outline(tmp_path):
    document, space = drawing()
    mesh = MeshBuilder()
    outline = [(0, 0), (10, 0), (10, 3), (3, 3), (3, 10), (0, 10)]
    mesh.vertices = [(x, y, 3 + 0.5 * y) for x, y in outline]
    mesh.faces = [tuple(range(6))]
    mesh.render_mesh(space)
    roof = import_roof(save(document, tmp_path))
    assert roof.planes.plan_area.sum() == pytest.approx(51.0)


def test_a_drawing_without_faces_says_what_it_holds(tmp_path):
    document, space = drawing()
    space.add_line((0, 0), (1, 1))
    with pytest.raises(InputError, match=r"it holds 1 LINE"):
        import_roof(save(document, tmp_path))


def test_solids_beside_faces_are_told(tmp_path):
    document = ezdxf.new("R2000")
    faces(document.modelspace())
    document.modelspace().add_3dsolid().sat = ["400 0 1 0", "End-of-ACIS-data"]
    roof = import_roof(save(document, tmp_path))
    assert any("1 solids were left out" in note for note in roof.notes)


@pytest.mark.parametrize("content", [b"nothing", b"0\nSECTION\n2\nENTITIES\n", bytes(range(256)), b"AC1032"])
def test_what_is_no_drawing_is_told_in_one_line(tmp_path, content):
    path = tmp_path / "roof.dxf"
    path.write_bytes(content)
    message = told_instead_of(path)
    assert message.startswith("roof.dxf: ")
    assert "\n" not in message


def test_damaged_drawings_are_read_or_told_but_never_crash(tmp_path, capfd):
    document, space = drawing()
    faces(space)
    builder().render_mesh(space)
    good = save(document, tmp_path).read_bytes()
    start = good.index(b"ENTITIES")
    rng = np.random.default_rng(3)
    told = []
    for _ in range(25):
        spoiled = bytearray(good)
        for at in rng.integers(start, len(good), 4):
            spoiled[at] = rng.integers(32, 127)
        path = tmp_path / "bad.dxf"
        path.write_bytes(bytes(spoiled[: rng.integers(start, len(good) + 1)]))
        told.append(told_instead_of(path))
    assert any(told)
    assert not any("\n" in message for message in told)
    assert capfd.readouterr().out == ""
