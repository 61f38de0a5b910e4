"""Building models: what counts as roof, units, north and place, and messages for the rest."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from ifc_models import Model, slab
from shapes import rectangle
from test_importing import told_instead_of

from roofmodel.errors import InputError
from roofmodel.shape.importing import import_roof

DATA = Path(__file__).parents[1] / "data" / "roofs"
pytest.importorskip("ifcopenshell")

SOUTH = [(0, 0, 3), (10, 0, 3), (10, 4, 5), (0, 4, 5)]
NORTH = [(10, 8, 3), (0, 8, 3), (0, 4, 5), (10, 4, 5)]
AREA = 10 * np.hypot(4, 2)


def gable_model(kind="ROOF", **options):
    model = Model(**options)
    roof = model.element(
        "IfcRoof", "roof", **({"ShapeType": "GABLE_ROOF"} if model.file.schema == "IFC2X3" else {})
    )
    rings = {"s": SOUTH, "n": NORTH}
    parts = [model.element("IfcSlab", name, slab(ring), PredefinedType=kind) for name, ring in rings.items()]
    model.aggregate(roof, parts)
    return model


def assert_gable(roof):
    assert sorted(roof.planes.name) == ["N1", "S1"]
    assert roof.planes.true_area == pytest.approx([AREA, AREA], rel=1e-5)
    kinds = Counter(kind.value for kind in roof.edges.kind)
    assert kinds == {"ridge": 1, "eave": 2, "rake": 4}


def test_the_open_house_shows_the_upper_faces_of_its_two_slabs():
    """Two slabs at 45 degrees, 47.6 m2 each, below an IfcRoof that has no shape."""
    roof = import_roof(DATA / "IfcOpenHouse_ifc4.ifc")
    assert sorted(roof.planes.name) == ["N1", "S1"]
    assert np.degrees(roof.planes.slope) == pytest.approx([45.0, 45.0])
    assert roof.planes.true_area == pytest.approx([47.57, 47.57], abs=0.01)
    assert roof.points[:, 2].max() + roof.offset[2] == pytest.approx(
        6.189, abs=1e-3
    )  # not 5.68, the underside
    assert any("IfcSlab" in note and "taken as the roof" in note for note in roof.notes)


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4", "IFC4X3"])
@pytest.mark.parametrize("unit", [1.0, 1e-3, 0.3048])
def test_units_and_schemas(tmp_path, schema, unit):
    roof = import_roof(gable_model(schema=schema, unit=unit).write(tmp_path / "g.ifc"))
    assert_gable(roof)
    assert any(f"one unit of length is {unit:g} m" in note for note in roof.notes)


@pytest.mark.parametrize("kind", ["ROOF", "FLOOR", "NOTDEFINED"])
def test_parts_of_a_roof_count_whatever_their_type(tmp_path, kind):
    assert_gable(import_roof(gable_model(kind).write(tmp_path / "g.ifc")))


def test_slabs_of_the_type_roof_need_no_roof_and_other_slabs_are_told(tmp_path):
    model = Model()
    model.element("IfcSlab", "s", slab(SOUTH), PredefinedType="ROOF")
    model.element("IfcSlab", "n", slab(NORTH), PredefinedType="ROOF")
    floor = np.column_stack([rectangle(1, 1, 9, 7), np.zeros(4)])
    model.element("IfcSlab", "floor", slab(floor), PredefinedType="FLOOR")
    carport = np.column_stack([rectangle(12, 0, 17, 6), np.full(4, 2.4)])
    model.element("IfcSlab", "carport", slab(carport), PredefinedType="FLOOR")
    roof = import_roof(model.write(tmp_path / "g.ifc"))
    assert_gable(roof)
    told = " ".join(roof.notes)
    assert 'IfcSlab "carport" is not marked as roof and was left out, though 30.0 m2' in told
    assert '"floor"' not in told


def test_a_roof_with_a_shape_of_its_own_and_rafters_that_are_none(tmp_path):
    model = Model()
    roof = model.element("IfcRoof", "shed", slab(SOUTH, plumb=True))
    model.aggregate(roof, [model.element("IfcMember", "rafter", slab(NORTH))])
    found = import_roof(model.write(tmp_path / "g.ifc"))
    assert found.planes.name == ("S1",)
    assert found.planes.true_area == pytest.approx([AREA])


def whole(model):
    model.element("IfcWall", "wall", slab([(0, 0, 0), (10, 0, 0), (10, 0, 3), (0, 0, 3)]))
    floor = np.column_stack([rectangle(0, 0, 10, 8), np.zeros(4)])
    model.element("IfcSlab", "ground", slab(floor), PredefinedType="BASESLAB")
    model.element(
        "IfcBuildingElementProxy", "top", slab([(0, 0, 3), (10, 0, 3), (10, 8, 5), (0, 8, 5)], 0.02)
    )
    return model


def test_a_whole_building_without_marks_is_looked_at_from_above(tmp_path):
    roof = import_roof(whole(Model()).write(tmp_path / "g.ifc"))
    assert roof.planes.name[0] == "S1"
    assert roof.planes.true_area[0] == pytest.approx(10 * np.hypot(8, 2), rel=0.01)
    assert any("the model marks no roof" in note for note in roof.notes)


def test_marks_can_be_set_aside(tmp_path):
    model = whole(Model())
    model.element(
        "IfcSlab", "porch", slab([(0, -3, 2), (4, -3, 2), (4, -1, 2.6), (0, -1, 2.6)]), PredefinedType="ROOF"
    )
    path = model.write(tmp_path / "g.ifc")
    assert import_roof(path).planes.true_area.sum() == pytest.approx(4 * np.hypot(2, 0.6))
    roof = import_roof(path, marks=False)
    assert roof.planes.true_area[0] == pytest.approx(10 * np.hypot(8, 2), rel=0.01)


@pytest.mark.parametrize("schema", ["IFC2X3", "IFC4"])
def test_true_north_turns_the_roof(tmp_path, schema):
    """North lies 30 degrees to the right of the drawing's y axis, so what falls down it falls to 150."""
    north = (np.sin(np.radians(30)), np.cos(np.radians(30)))
    path = gable_model(schema=schema, north=north).write(tmp_path / "g.ifc")
    roof = import_roof(path)
    falls = np.sort(np.degrees(roof.planes.azimuth))
    assert falls == pytest.approx([150.0, 330.0])
    assert any("turned by 30.00 degrees" in note for note in roof.notes)
    given = import_roof(path, north=np.radians(-30.0))
    assert np.sort(np.degrees(given.planes.azimuth)) == pytest.approx([150.0, 330.0])


def test_a_place_on_the_map_keeps_millimeters(tmp_path):
    model = gable_model(unit=1e-3)
    file = model.file
    meter = file.create_entity("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
    target = file.create_entity("IfcProjectedCRS", "EPSG:25832", MapUnit=meter)
    place = (500_000.0, 5_400_000.0, 300.0, 0.0, 1.0, 0.001)
    file.create_entity("IfcMapConversion", model.context, target, *place)
    roof = import_roof(model.write(tmp_path / "g.ifc"))
    assert sorted(roof.planes.name) == ["E1", "W1"]  # turned by 90 degrees
    back = roof.points + roof.offset
    assert back.max(axis=0) == pytest.approx([500_000, 5_400_010, 305], abs=1e-5)
    assert roof.planes.true_area == pytest.approx([AREA, AREA])


def test_one_of_two_buildings(tmp_path):
    model = Model()
    for name, shift in (("house", 0.0), ("barn", 30.0)):
        ring = [(x + shift, y, z) for x, y, z in SOUTH]
        part = model.element("IfcSlab", name, slab(ring), PredefinedType="ROOF")
        model.contain(model.building(name), [part])
    path = model.write(tmp_path / "g.ifc")
    with pytest.raises(InputError, match="give the name or id of one building") as caught:
        import_roof(path)
    assert '"barn"' in str(caught.value)
    barn = import_roof(path, building="barn")
    assert barn.planes.count == 1
    assert (barn.points + barn.offset)[:, 0].min() == pytest.approx(30.0)
    assert import_roof(path, building="all").planes.count == 2
    with pytest.raises(InputError, match="no single building 'shop'"):
        import_roof(path, building="shop")


def test_a_wrong_unit_can_be_put_right(tmp_path):
    path = gable_model(unit=1e-3).write(tmp_path / "g.ifc")
    text = path.read_text().replace(".MILLI.", "$")
    path.write_text(text)
    with pytest.raises(InputError, match="m across"):
        import_roof(path)
    assert_gable(import_roof(path, unit="mm"))


def test_sides_of_slabs_cut_square_are_no_roof(tmp_path):
    """A thick slab at 45 degrees: its upper end looks up as much as the roof does."""
    model = Model()
    model.element(
        "IfcSlab", "s", slab([(0, 0, 3), (10, 0, 3), (10, 4, 7), (0, 4, 7)], 0.4), PredefinedType="ROOF"
    )
    roof = import_roof(model.write(tmp_path / "g.ifc"))
    assert roof.planes.name == ("S1",)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("nothing", "cannot be read as IFC|no IFC project"),
        ("ISO-10303-21;\nHEADER;\n", "cut short"),
        (Model().file.to_string(), "no element with a shape"),
    ],
)
def test_bad_models_are_told_in_one_line(tmp_path, content, words, capfd):
    path = tmp_path / "g.ifc"
    path.write_text(content)
    with pytest.raises(InputError, match=words) as caught:
        import_roof(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("g.ifc: ")
    assert capfd.readouterr().out == ""


def test_a_missing_package_is_named(tmp_path, monkeypatch):
    path = gable_model().write(tmp_path / "g.ifc")
    monkeypatch.setitem(sys.modules, "ifcopenshell", None)
    with pytest.raises(InputError, match=r"pip install 'eavewright\[ifc\]'"):
        import_roof(path)


def test_damaged_models_are_read_or_told_but_never_crash(tmp_path):
    good = gable_model().write(tmp_path / "good.ifc").read_bytes()
    rng = np.random.default_rng(5)
    told = []
    for _ in range(25):
        spoiled = bytearray(good)
        for at in rng.integers(0, len(good), 4):
            spoiled[at] = rng.integers(32, 127)
        path = tmp_path / "bad.ifc"
        path.write_bytes(bytes(spoiled[: rng.integers(len(good) // 2, len(good) + 1)]))
        told.append(told_instead_of(path))
    assert any(told)
    assert not any("\n" in message for message in told)


@pytest.mark.parametrize("share", [1 / 3, 0.7, 0.999])
def test_a_file_cut_short_is_refused(tmp_path, share):
    """What is left of it may still hold a roof, but perhaps not all of it."""
    text = (DATA / "IfcOpenHouse_ifc4.ifc").read_bytes()
    short = tmp_path / "short.ifc"
    short.write_bytes(text[: int(share * len(text))])
    with pytest.raises(InputError, match=r"short.ifc: the file does not end with END-ISO-10303-21"):
        import_roof(short)
