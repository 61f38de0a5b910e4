"""City models with coordinates off every map, useless surfaces, or other damage."""

import json
from pathlib import Path

import numpy as np
import pytest
from test_importing import SOLID, WALLS, ZURICH, city, rectangle, write

from roofmodel.errors import InputError
from roofmodel.shape.importing import import_roof

BUILDING = "UUID_2e5320be"
PYTHON = (
    "Error",
    "recursion",
    "NaN",
    "nan",
    "dtype",
    "ndarray",
    "object",
    "list index",
    "<",
    "char ",
    "Extra data",
)


def told(path, **options):
    with pytest.raises(InputError) as caught:
        import_roof(path, **options)
    message = str(caught.value)
    assert "\n" not in message
    assert not any(word in message for word in PYTHON), message
    return message


@pytest.mark.parametrize("place", [1e300, -1e300, 1e12, 1.7e308])
def test_a_vertex_off_every_map_is_refused(tmp_path, place):
    """Vertex 686 of a surveyed city: once a plane of the roof disappeared without a word."""
    file = json.loads(ZURICH.read_text())
    file["vertices"][686][0] = place
    name = next(n for n in file["CityObjects"] if n.startswith(BUILDING))
    message = told(write(tmp_path / "far.city.json", file), building=name)
    assert "number 686" in message or place == 1.7e308
    assert "farther than any map" in message


@pytest.mark.parametrize("text", ["NaN", "Infinity", "1e999"])
def test_coordinates_that_are_no_numbers_are_refused(tmp_path, text):
    file = city([{"type": "Solid", "lod": "2", "boundaries": SOLID}])
    file["vertices"][5][1] = 123456789
    path = tmp_path / "c.json"
    path.write_text(json.dumps(file).replace("123456789", text))
    assert "not finite, the first is number 5" in told(path)


def test_a_building_larger_than_any_is_refused_before_its_surfaces_are(tmp_path):
    file = city([{"type": "Solid", "lod": "2", "boundaries": SOLID}])
    file["vertices"][5][0] = 6_000_000
    assert "more than 5000 m" in told(write(tmp_path / "c.json", file))


def test_a_far_mesh_is_refused(tmp_path):
    path = tmp_path / "far.obj"
    path.write_text("v 0 0 0\nv 9 0 0\nv 1e300 9 0\nf 1 2 3\n")
    assert "number 2" in told(path, unit="m", up="z")


def test_every_marked_surface_is_used_or_counted(tmp_path):
    """Three marked surfaces are of no use: no area, two corners only, a hole as large as the surface."""
    thin = [[8, 9, 8]]
    gone = [[8, 9, 10, 11], [8, 9, 10, 11]]
    geometry = {
        "type": "MultiSurface",
        "lod": "2",
        "boundaries": [[[4, 5, 6, 7]], thin, [[8, 9]], gone, *WALLS],
        "semantics": {
            "surfaces": [{"type": "RoofSurface"}, {"type": "WallSurface"}],
            "values": [0, 0, 0, 0, 1, 1, 1, 1],
        },
    }
    found = import_roof(write(tmp_path / "c.json", city([geometry])))
    assert found.planes.plan_area.sum() == pytest.approx(80.0)
    assert any(note.startswith("3 surfaces that the file marks as roof") for note in found.notes)


def test_what_is_no_building_part_is_told(tmp_path):
    """A dormer as a building installation, and a geometry of a kind without surfaces."""
    roof = {"type": "MultiSurface", "lod": "2", "boundaries": [[[4, 5, 6, 7]], *WALLS]}
    file = city([roof, {"type": "MultiLineString", "lod": "2", "boundaries": [[4, 5]]}])
    file["CityObjects"]["b"]["children"] = ["dormer"]
    file["CityObjects"]["dormer"] = {"type": "BuildingInstallation", "parents": ["b"], "geometry": [roof]}
    file["CityObjects"]["b"]["children"].append("yard")
    file["CityObjects"]["yard"] = {"type": "BuildingRoom", "parents": ["b"], "geometry": [roof]}
    notes = import_roof(write(tmp_path / "c.json", file)).notes
    assert any(note.startswith("dormer is a BuildingInstallation: it is no roof") for note in notes)
    assert "yard is a BuildingRoom: its 1 geometries were left out." in notes
    assert any(note.startswith("b: 1 geometries that hold no surfaces") for note in notes)


def test_no_vertex_of_a_good_file_is_refused():
    """Swiss map coordinates, 2.7 million meters east."""
    name = next(n for n in json.loads(ZURICH.read_text())["CityObjects"] if n.startswith(BUILDING))
    assert np.abs(import_roof(ZURICH, building=name).offset).max() > 1e6


GOOD = {"type": "MultiSurface", "lod": "2", "boundaries": [[[4, 5, 6, 7]], *WALLS]}
MARKED = {"surfaces": [{"type": "RoofSurface"}], "values": [0, -1, 0, 0, 0]}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"{", "line 1, column 2"),
        (b'{"type": "CityJSON"} x', "column 22"),
        (b"\xff\xfe{}", "UTF-8"),
        (b"[" * 100_000, "deeper inside each other"),
        (b'{"type": ' + b"1" * 5000 + b"}", "too many digits"),
        (city([{**GOOD, "boundaries": [[[4, 5, None]]]}]), "whole vertex numbers"),
        (city([{**GOOD, "boundaries": 4}]), "nested as in a MultiSurface"),
        (city([{**GOOD, "semantics": {"surfaces": [], "values": [3] * 5}}]), "must name one of their"),
        (city([{**GOOD, "semantics": MARKED}]), "must name one of their"),
        (city([{"type": "MultiSurface", "lod": "2"}]), "boundaries must"),
        (city([{**GOOD, "boundaries": [[[4, 5, 1e999]]]}]), "whole vertex numbers"),
        ({**city([GOOD]), "vertices": [[1, 2], [3]]}, "three numbers"),
        ({**city([GOOD]), "transform": {"scale": [1, 1]}}, "'translate'"),
        ({**city([GOOD]), "transform": {"scale": [1, 1], "translate": [0, 0, 0]}}, "'scale'"),
    ],
)
def test_messages_say_what_is_wrong_in_the_file(tmp_path, content, words):
    path = tmp_path / "c.json"
    path.write_bytes(content if isinstance(content, bytes) else json.dumps(content).encode())
    assert words in told(path)


def test_a_flat_roof_of_the_same_form_is_read(tmp_path):
    """The files above are bad only where they are spoiled."""
    found = import_roof(write(tmp_path / "c.json", city([GOOD])))
    assert found.planes.plan_area.sum() == pytest.approx(np.prod(np.ptp(rectangle(0, 0, 10, 8), axis=0)))


def test_a_tile_wider_than_a_roof_names_the_remedy():
    """25 buildings up to 10 km apart."""
    tile = Path(__file__).parents[2] / "models" / "sentier-house" / "zurich_lod2_25_buildings.city.json"
    with pytest.raises(InputError, match=r"up to 9959 m apart.*id of one building.*eavewright screen"):
        import_roof(tile, building="all")
    with pytest.raises(InputError, match=r"give the id of one building.*eavewright screen"):
        import_roof(tile)
