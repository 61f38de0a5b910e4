"""The command `roof`: what it prints, draws and writes agrees with the roof; corrections; bad input."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import shapely
from PIL import Image
from rich.console import Console

import viewer
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.planes import plan_polygon
from roofmodel.shape.recognition import recognize
from roofmodel.shape.up_axis import DOUBT
from roofmodel.surface import EdgeKind, shown_origin
from roofmodel.units import SYSTEMS
from viewer import cli, style
from viewer.picture import render
from viewer.picture.labels import text_width
from viewer.picture.sheet import Overlay
from viewer.quantities import system
from viewer.roof.export import roof_data
from viewer.roof.names import draw_table
from viewer.roof.picture import draw_roof
from viewer.roof.plan import PlanView, draw_plan, hidden_parts
from viewer.roof.read import SeenRoof, see_roof
from viewer.roof.terminal import print_roof
from viewer.roof.words import (
    edge_lines,
    fall_words,
    kind_lengths,
    plane_lines,
    slope_words,
    summary_words,
    unusual_words,
)

SCHEMA = json.loads((Path(viewer.__file__).parent / "roof.schema.json").read_text())
ROOFS = Path(__file__).parents[1] / "data" / "roofs"

PROJECT = """\
[project]
name = "Cedar house"
units = "SI"

[[roof.part]]
shape = "gable"
footprint = "0 0, 12 0, 12 8, 0 8 m"
pitch = "30 deg"
eave_height = "3 m"
"""
FOUND = f"""\
[project]
name = "House and garage"

[roof]
file = "{(ROOFS / "building_and_garage_lod2_citygml2.gml").as_posix()}"
"""


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr("sys.argv", ["eavewright", *arguments])
    try:
        cli.main()
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0


def put(tmp_path: Path, text: str) -> str:
    (tmp_path / "project.toml").write_text(text)
    return str(tmp_path / "project.toml")


def gable_and_porch() -> SeenRoof:
    """A gable with a flat roof 1 m lower along its south wall."""
    rectangle = np.array([[0, 0], [12, 0], [12, 8], [0, 8]], dtype=float)
    porch = np.array([[0, -4], [12, -4], [12, 0], [0, 0]], dtype=float)
    parts = [
        RoofPart("gable", rectangle, np.radians([30, np.nan, 30, np.nan]), 3.0),
        RoofPart("flat", porch, np.zeros(0), 2.0),
    ]
    return SeenRoof(build_roof(parts), "House", "house", (Path("h.toml"),), "0" * 64, SYSTEMS["SI"])


def test_a_project_with_nothing_but_a_roof_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert run(["roof", put(tmp_path, PROJECT), "--out", str(out), "--no-picture"], monkeypatch) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert "2 planes, slopes 30.0°, 96.0 m² on plan, 110.9 m² on the slope" in told.out
    for words in ("S1", "30.0°", "S 180°", "N 0°", "S1|N1 ridge", "12.00 m", "3.00 m up"):
        assert words in told.out
    data = json.loads((out / "roof.json").read_text())
    jsonschema.validate(data, SCHEMA, format_checker=jsonschema.FormatChecker())
    assert [plane["name"] for plane in data["planes"]] == ["S1", "N1"]
    with Image.open(out / "roof.png") as image:
        assert image.size == render.SIZE


def test_a_roof_file_is_shown_with_what_was_assumed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(ROOFS / "denhaag_4_buildings_lod2.city.json")
    out = str(tmp_path / "out")
    assert run(["roof", file, "--out", out, "--no-picture"], monkeypatch) == 2
    assert "give the id of one building" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
    building = "GUID_3D7D60B9-8F3A-4D3B-A3E5-CD9B5565A5B2"
    arguments = ["roof", file, "--out", out, "--no-picture", "--building", building, "--units", "US"]
    assert run(arguments, monkeypatch) == 0
    told = capsys.readouterr().out
    assert "CityJSON: taken in m, z up." in told
    assert ":12)" in told
    assert "ft up" in told
    assert " m²" not in told


@pytest.mark.parametrize("spoil", ["", "no unit"])
def test_a_mesh_needs_unit_and_up_axis(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], spoil: str
) -> None:
    path = tmp_path / "roof.obj"
    path.write_text("v 0 3 0\nv 10 3 0\nv 10 5 -6\nv 0 5 -6\nf 1 2 3\nf 1 3 4\n")
    arguments = ["roof", str(path), "--up", "y", "--out", str(tmp_path / "out"), "--no-picture"]
    assert run(arguments + ([] if spoil else ["--unit", "m"]), monkeypatch) == (2 if spoil else 0)
    told = capsys.readouterr()
    if spoil:
        assert "do not say their unit (m, mm, cm, ft or in); please give it (by" in told.err
        assert told.err.count("\n") == 1
    else:
        assert "S 180°" in told.out


def test_corrections_of_a_project(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = FOUND + (
        'merge = []\nsplit = [{ plane = "S1", line = "-1 -99, -1 99 m" }]\n'
        'rename = [{ plane = "N2", to = "garage" }]\nretype = [{ edge = "N1 eave", kind = "head" }]\n'
    )
    out = tmp_path / "out"
    assert run(["roof", put(tmp_path, text), "--out", str(out), "--no-picture"], monkeypatch) == 0
    told = capsys.readouterr().out
    data = json.loads((out / "roof.json").read_text())
    assert sorted(plane["name"] for plane in data["planes"]) == ["N1", "S1a", "S1b", "garage"]
    assert "N1 head" in [edge["name"] for edge in data["edges"]]
    assert "Plane S1 was split into S1a, S1b, as given." in told
    assert "Plane N2 was renamed garage, as given." in told


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('merge = [["S1", "N9"]]', 'roof.merge: there is no plane "N9"'),
        ('merge = [["S1", "N1"]]', "roof.merge: S1, N1 lie up to"),
        ('merge = ["S1"]', "roof.merge"),
        (
            'split = [{ plane = "S1", line = "900 0, 900 9 m" }]',
            'roof.split: the line for plane "S1"',
        ),
        ('split = [{ plane = "S1", line = "0 0 m" }]', 'roof.split 1.line: "0 0 m" is not a line on plan'),
        ('split = [{ plane = "S1", line = "0 0, 0 0 m" }]', "the two points are one"),
        ('split = [{ plane = "S1", line = "0 0, 1 1" }]', "write two points, like"),
        ('split = [{ plane = "S1" }]', "roof.split 1.line is missing"),
        ('rename = [{ plane = "S1", to = "N1" }]', 'roof.rename: the name "N1" is taken'),
        ('rename = [{ plane = "S1", to = "" }]', "roof.rename 1.to"),
        ('retype = [{ edge = "S1 eave", kind = "step" }]', "roof.retype 1.kind"),
        (
            'retype = [{ edge = "S1 gutter", kind = "eave" }]',
            'retype: there is no edge "S1 gutter" (did you',
        ),
        ('retype = [{ edge = "S1 eave", kind = "hip" }]', "it can be eave, rake or head"),
        ('mergers = [["S1", "N1"]]', "did you mean merge?"),
        ("tolerance = 3", "has no unit"),
        ('wall_slope = "85 deg"', "outside 20 to 75 deg"),
        ('up = "y"', "up 'y' was asked for"),
        ('layers = ["a"]', "only drawings have layers"),
        ('lod = "4"', "no surfaces"),
    ],
)
def test_bad_corrections_are_told_in_one_line(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    more: str,
    words: str,
) -> None:
    path = put(tmp_path, f"{FOUND}{more}\n")
    assert run(["roof", path, "--out", str(tmp_path / "out"), "--no-picture"], monkeypatch) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.startswith("eavewright: project.toml: ")
    assert words in told.err
    assert not (tmp_path / "out").exists()


def test_wrong_values_beside_the_roof_are_refused_and_missing_ones_are_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As `check` refuses them: a sheet of 70 mm; the rest of its table may be missing."""
    out = tmp_path / "out"
    file = put(tmp_path, f'{PROJECT}\n[panel]\nthickness = "70 mm"\n')
    assert run(["roof", file, "--out", str(out), "--no-picture"], monkeypatch) == 2
    assert 'panel.thickness: "70 mm" is outside' in capsys.readouterr().err
    assert not out.exists()
    file = put(tmp_path, f'{PROJECT}\n[panel]\nthickness = "0.7 mm"\n')
    assert run(["roof", file, "--out", str(out), "--no-picture"], monkeypatch) == 0


def test_options_of_roof_files_do_not_go_with_a_project(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = put(tmp_path, PROJECT)
    for option in (["--unit", "m"], ["--all-surfaces"], ["--layer", "a"]):
        assert run(["roof", path, *option, "--out", str(tmp_path / "o")], monkeypatch) == 2
        told = capsys.readouterr().err
        assert f"{option[0]} is for roof files; project.toml is a project" in told


@pytest.mark.parametrize(
    ("scale", "told"),
    [
        ((1.0, 1.0, 1.0), ""),
        ((20.0, 20.0, 20.0), "an eave of 240"),
        ((1.0, 1.0, 4.0), "100 % of the area steeper than 55"),
        ((1.0, 1.0, 30.0), "of plan"),
    ],
)
def test_what_no_building_looks_like_is_told(scale: tuple[float, float, float], told: str) -> None:
    corners = np.array([[0, 0], [12, 0], [12, 8], [0, 8]], dtype=float)
    roof = build_roof([RoofPart("gable", corners, np.radians([30, np.nan, 30, np.nan]), 3.0)])
    points = roof.points * scale
    changed = replace(roof, points=points) if scale[2] > 20.0 else recognize(points, roof.faces)
    words = unusual_words(changed, SYSTEMS["SI"])
    assert told in words
    assert words.endswith("check up and unit.") == bool(told)
    seen, out = SeenRoof(changed, "x", "x", (Path("x.toml"),), "", system("SI")), io.StringIO()
    print_roof(seen, Console(file=out, width=200))
    assert ("CAUTION" in out.getvalue()) == bool(told)
    assert (words in roof_data(seen)["notes"]) == bool(told)


def test_a_doubt_of_the_up_axis_stands_first() -> None:
    seen, out, doubt = gable_and_porch(), io.StringIO(), f"{DOUBT} It lies on its side."
    seen = replace(seen, roof=replace(seen.roof, notes=(doubt, "Other.")))
    print_roof(seen, Console(file=out, width=200))
    assert f"CAUTION  {doubt}" in out.getvalue()
    assert out.getvalue().count(doubt) == 1
    assert "- Other." in out.getvalue()


def test_the_data_adds_up(tmp_path: Path) -> None:
    """Areas from the rings, lengths from the ends, steps from their planes."""
    seen = gable_and_porch()
    data = roof_data(seen)
    jsonschema.validate(data, SCHEMA, format_checker=jsonschema.FormatChecker())
    for plane in data["planes"]:
        outer, *holes = [np.array(ring) for ring in plane["rings"]]
        plan = shapely.Polygon(outer[:, :2], [hole[:, :2] for hole in holes])
        assert plan.area == pytest.approx(plane["plan_area"])
        assert plane["true_area"] * np.cos(plane["slope"]) == pytest.approx(plane["plan_area"])
    for edge in data["edges"]:
        assert np.linalg.norm(np.subtract(edge["end"], edge["start"])) == pytest.approx(edge["length"])
    (step,) = data["steps"]
    assert (step["lower"], step["upper"]) == ("F1", "S1")
    assert step["wall"] == pytest.approx([1.0, 1.0])


def test_words_and_numbers_of_the_tables() -> None:
    seen = gable_and_porch()
    by_name = {line.name: line for line in plane_lines(seen.roof, seen.units)}
    assert by_name["F1"].slope == "flat"
    assert by_name["F1"].falls == "nowhere"
    assert by_name["N1"].falls == "N 0°"
    edges = {line.name: line for line in edge_lines(seen.roof, seen.units)}
    assert edges["F1 step"].height == "1.00 m wall"
    assert edges["S1|N1 ridge"].rises == "level"
    assert edges["S1 rake 1"].rises == "30.0°"
    assert len(edges) == seen.roof.edges.count
    assert slope_words(np.radians(26.565), system("US")) == "26.6° (6:12)"
    assert fall_words(0.5, 2 * np.pi - 1e-12) == "N 0°"


def test_kinds_and_lengths_of_the_legend_cover_every_edge() -> None:
    roof = gable_and_porch().roof
    found = kind_lengths(roof)
    assert sum(count for _, count, _ in found) == roof.edges.count
    assert sum(length for _, _, length in found) == pytest.approx(roof.edges.length.sum())
    assert set(style.EDGE_COLOR) >= {kind for kind, _, _ in found}


def test_the_plan_is_true_to_scale_and_north_is_up() -> None:
    seen = gable_and_porch()
    view = PlanView(seen.roof.points, (100.0, 100.0, 900.0, 700.0))
    a, b = view.at(np.array([[0.0, 0.0], [3.0, 4.0]]))
    assert np.linalg.norm(b - a) == pytest.approx(5.0 * view.scale)
    assert b[0] > a[0]
    assert b[1] < a[1]
    corners = view.at(seen.roof.points)
    assert corners.min() >= 100.0 - 1e-6
    assert corners[:, 0].max() <= 900.0 + 1e-6
    overlay = Overlay((1000, 800))
    draw_plan(overlay, seen.roof, view, seen.units)
    named = {text.text: text.at for text in overlay.texts}
    for index, name in enumerate(seen.roof.planes.name):
        outline = shapely.transform(
            seen.roof.planes.outline[index],
            lambda uv, i=index: view.at(seen.roof.planes.to_world(i, uv)),
        )
        assert outline.contains(shapely.Point(named[name]))
    assert overlay.unnamed == []


def colors_of(path: Path) -> np.ndarray:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB")).reshape(-1, 3)


def test_the_picture_shows_every_kind_of_edge_in_its_color_with_and_without_a_3d_view(tmp_path: Path) -> None:
    seen = gable_and_porch()
    with render.Renderer((1000, 700)) as renderer:
        drawn = draw_roof(seen, renderer, tmp_path / "both.png")
    flat = draw_roof(seen, None, tmp_path / "plan.png")
    assert flat.path is not None
    assert "left out" in flat.reason
    assert drawn.path is not None
    for path in (tmp_path / "both.png", tmp_path / "plan.png"):
        pixels = colors_of(path)
        for kind, _, _ in kind_lengths(seen.roof):
            color = np.rint(style.rgb(style.EDGE_COLOR[kind]) * 255.0)
            assert (np.abs(pixels - color).max(axis=1) <= 2).sum() > 30, kind
    if not drawn.reason:  # a machine with OpenGL: the right column is not empty
        right = colors_of(tmp_path / "both.png").reshape(700, 1000, 3)[110:330, 640:].min(axis=2)
        assert (right < 250).mean() > 0.1


def test_a_tile_of_hundreds_of_planes_is_drawn(tmp_path: Path) -> None:
    options = {"building": "all", "unit": None, "up": None, "lod": None, "layers": (), "all_surfaces": False}
    seen = see_roof(ROOFS / "gable_ladder_100_citygml3.gml", "SI", options)
    overlay = Overlay(render.SIZE)
    draw_plan(overlay, seen.roof, PlanView(seen.roof.points, (60.0, 60.0, 1200.0, 1300.0)), seen.units)
    names = {text.text for text in overlay.texts if text.bold}
    assert len(names) + len(overlay.unnamed) == 200


def crowded(tmp_path: Path) -> tuple[SeenRoof, Overlay, PlanView, Path]:
    """A real house of small planes, drawn."""
    options = {"building": None, "unit": None, "up": None, "lod": None, "layers": (), "all_surfaces": False}
    path = ROOFS.parent / "roofs_sharealike" / "ingolstadt_4018258_dormers_lod3.gml"
    seen = see_roof(path, "SI", options)
    overlay = Overlay(render.SIZE)
    view = PlanView(seen.roof.points, (60.0, 60.0, 1200.0, 1300.0))
    draw_plan(overlay, seen.roof, view, seen.units)
    return seen, overlay, view, tmp_path / "roof.png"


def test_words_below_a_narrow_plan_stay_on_the_sheet() -> None:
    """Four buildings in a line north: what the coordinates count from is longer than the plan is wide."""
    options = {"building": "all", "unit": None, "up": None, "lod": None, "layers": (), "all_surfaces": False}
    seen = see_roof(ROOFS / "denhaag_4_buildings_lod2.city.json", "SI", options)
    overlay = Overlay(render.SIZE)
    draw_plan(overlay, seen.roof, PlanView(seen.roof.points, (60.0, 60.0, 1200.0, 1300.0)), seen.units)
    words = next(text for text in overlay.texts if "own origin" in text.text)
    assert words.align == "right"
    assert words.at[0] - text_width(words.text, words.size) >= 0.0


def test_small_planes_have_their_name_at_the_end_of_a_leader_from_the_plane(tmp_path: Path) -> None:
    seen, overlay, view, _ = crowded(tmp_path)
    planes = seen.roof.planes
    assert overlay.unnamed == []
    named = {text.text: text for text in overlay.texts if text.bold}
    assert set(named) == set(planes.name)
    leaders = [s.points for s in overlay.shapes if s.line is not None and s.width == 0.7 * overlay.point]
    assert leaders
    led = 0
    for index, name in enumerate(planes.name):
        outline = shapely.Polygon(
            view.at(planes.to_world(index, shapely.get_coordinates(planes.outline[index].exterior)))
        )
        if outline.contains(shapely.Point(named[name].at)):
            continue
        frame = shapely.box(*named[name].box).buffer(0.2 * named[name].size)
        mine = [line for line in leaders if frame.intersects(shapely.Point(line[1]))]
        assert [outline.contains(shapely.Point(line[0])) for line in mine] == [True]
        led += 1
    assert led == len(leaders)
    boxes = [shapely.box(*text.box) for text in named.values()]
    assert not any(a.intersects(b) for n, a in enumerate(boxes) for b in boxes[:n])


def test_planes_that_find_no_room_stand_in_a_table_with_the_place_where_they_are(tmp_path: Path) -> None:
    options = {"building": "all", "unit": None, "up": None, "lod": None, "layers": (), "all_surfaces": False}
    seen = see_roof(ROOFS / "gable_ladder_100_citygml3.gml", "SI", options)
    overlay = Overlay(render.SIZE)
    draw_plan(overlay, seen.roof, PlanView(seen.roof.points, (60.0, 60.0, 1200.0, 1300.0)), seen.units)
    before = len(overlay.texts)
    band = draw_table(overlay, seen.roof, seen.units)
    table = overlay.texts[before:]
    assert {text.text for text in overlay.texts if text.bold} >= set(seen.roof.planes.name)
    assert max(text.box[3] for text in table) < overlay.size[1] + band
    number = {name: index for index, name in enumerate(seen.roof.planes.name)}
    origin = shown_origin(seen.roof.offset)  # as the ticks of the plan have it
    assert origin.all()
    for name, place in zip(table[1::3], table[3::3], strict=True):
        east, north = (float(word) for word in place.text.split(", "))
        index = number[name.text]
        ring = shapely.get_coordinates(seen.roof.planes.outline[index].exterior)
        outline = seen.roof.planes.to_world(index, ring)
        assert shapely.Polygon(outline[:, :2] + origin).contains(shapely.Point(east, north))
    drawn = draw_roof(seen, None, tmp_path / "roof.png")
    assert drawn.path is not None
    with Image.open(drawn.path) as image:
        assert image.size[1] > render.SIZE[1]


def test_roofs_across_a_gap_are_no_steps():
    """Two gables 2 m from one another, one 2 m higher: drifts there, but no step."""
    low = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, 8.0], [0.0, 8.0]])
    parts = [
        RoofPart("gable", low + np.array([0.0, away]), np.array([0.52, np.nan, 0.52, np.nan]), eave)
        for away, eave in ((0.0, 3.0), (10.0, 6.0))
    ]
    words = summary_words(build_roof(parts), SYSTEMS["SI"])
    assert "higher edges across a gap in 1 place (S2 eave over N1, 2.00 m away)" in words
    assert "to a higher roof" not in words


SLAB = """
v 0 0 4
v 10 0 4
v 10 4 6
v 0 4 6
v 10 8 4
v 0 8 4
v -2 -3 1
v 12 -3 1
v -2 9 1
f 1 2 3 4
f 4 3 5 6
f 7 8 9
"""


def test_what_lies_below_another_plane_is_no_thick_line_over_it(tmp_path: Path) -> None:
    """The slope of a triangle below a house runs 12 by 14 m on plan; the house covers it as a box does."""
    path = tmp_path / "slab.obj"
    path.write_text(SLAB, encoding="utf-8")
    options = {"building": None, "unit": "m", "up": "z", "lod": None, "layers": (), "all_surfaces": False}
    roof = see_roof(path, "SI", options).roof
    assert roof.planes.count == 3
    polygons = [plan_polygon(roof.planes, index) for index in range(3)]
    parts, edge = hidden_parts(roof, polygons)
    shift = roof.offset[:2]
    slope = shapely.LineString([(12.0, -3.0), (-2.0, 9.0)])
    wanted = slope.intersection(shapely.box(0.0, 0.0, 10.0, 8.0))
    covered = shapely.union_all([shapely.LineString(part + shift) for part in parts])
    assert covered.length == pytest.approx(wanted.length, abs=0.2)
    assert covered.distance(wanted) < 0.01
    assert {roof.edges.name[one].split()[0] for one in edge} == {"F1"}
    overlay = Overlay(render.SIZE)
    view = PlanView(roof.points, (60.0, 60.0, 1200.0, 1300.0))
    assert draw_plan(overlay, roof, view, SYSTEMS["SI"])
    house = view.at(np.array([[0.5, 0.5], [9.5, 7.5]]) - shift)
    inside = shapely.box(*house.min(axis=0), *house.max(axis=0))
    for shape in overlay.shapes:
        if shape.line == style.EDGE_COLOR[EdgeKind.EAVE]:
            assert not inside.intersects(shapely.LineString(shape.points))


def test_the_table_to_paste_gives_the_same_roof(tmp_path: Path) -> None:
    """A file with y up: a project with the printed table has the planes that were shown, axes as told."""
    mesh = tmp_path / "house.obj"
    corners = [(x, y, z) for z in (0, -6) for x, y in ((0, 3), (8, 3), (4, 5))]  # x east, y up, z south
    faces = [(1, 3, 6, 4), (3, 2, 5, 6)]
    lines = [f"v {1e3 * x} {1e3 * y} {1e3 * z}" for x, y, z in corners]
    mesh.write_text("\n".join([*lines, *(f"f {' '.join(map(str, face))}" for face in faces)]))
    seen = see_roof(mesh, "SI", {"unit": "mm", "up": "y"})
    out = io.StringIO()
    print_roof(seen, Console(file=out, width=200))
    table = re.search(r"\[roof\]\n(?:\S+ = .*\n)+", out.getvalue())[0]
    assert table == '[roof]\nfile = "house.obj"\nunit = "mm"\nup = "y"\n'
    assert "east is the file's x, north minus its z, mm made m; heights are its y" in out.getvalue()
    project = tmp_path / "project.toml"
    project.write_text(f'[project]\nname = "House"\nunits = "SI"\n\n{table}')
    again = see_roof(project, "SI", {})
    assert again.roof.planes.name == seen.roof.planes.name
    np.testing.assert_allclose(again.roof.points, seen.roof.points)
    north = (seen.roof.points + seen.roof.offset)[:, 1]
    np.testing.assert_allclose([north.min(), north.max()], [0.0, 6.0], atol=1e-9)  # minus z
    again_out = io.StringIO()
    print_roof(again, Console(file=again_out, width=200))
    assert "[roof]" not in again_out.getvalue()  # a project has its own
