"""Sections, plans of rows and the clamp: drawn sizes and written numbers are those of the analysis."""

import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import Analysis, analyze
from fea.checks.limits import clamp_components
from roofmodel.project.load import load_project
from roofmodel.snow.cases import case_pressure_at
from roofmodel.units import STANDARD_GRAVITY, parse
from tests.demos import demo
from viewer.picture.findings import called_clamp, shown_case
from viewer.quantities import as_given, drawn, percent, quantity, system
from viewer.report import roof_section
from viewer.report.building_section import building_svg
from viewer.report.clamp_detail import clamp_svg
from viewer.report.roof_cut import cut_through, frame_of, roof_cut
from viewer.report.roof_section import crossings, line_load, section_svg
from viewer.report.rows_plan import planes_with_rows, rows_svg
from viewer.report.working_steps import clamp_at

MODELS = ("granary-door", "tannery-hall", "cedar-hollow")


@pytest.fixture(scope="module", params=MODELS)
def analysis(request) -> Analysis:
    return demo(request.param)


SCREWS = """
[clamp.screws]
count = 2
spacing = "40 mm"
base_along = "80 mm"
base_across = "60 mm"
diameter = "5.5 mm"
head_diameter = "12 mm"
shear = "2 kN"
pull_out = "1.5 kN"
pull_over = "2 kN"
screw_shear = "6 kN"
screw_tension = "8 kN"
test_kind = "characteristic"
test_factor = 1.33
"""


def texts(drawing: str) -> list[str]:
    found = ET.fromstring(drawing).iter("{http://www.w3.org/2000/svg}text")
    return [e.text or "" for e in found if not e.get("aria-hidden")]  # halos are the same words below


def called_plane(analysis: Analysis) -> int:
    layout = analysis.project.layout
    return int(layout.row_plane[layout.clamp_row[called_clamp(analysis)]])


def test_a_cut_lies_on_the_planes(analysis):
    roof = analysis.project.roof
    cut = cut_through(analysis, called_plane(analysis), called_clamp(analysis))
    for plane, t, z in zip(cut.plane, cut.t, cut.z, strict=True):
        xyz = np.column_stack([cut.origin + t[:, None] * cut.way, z])
        off = (xyz - roof.planes.origin[plane]) @ roof.planes.normal[plane]
        np.testing.assert_allclose(off, 0.0, atol=1e-9)
    # Pieces follow one another without overlap, and a level cut across the roof meets what the plan does.
    assert (cut.t[1:, 0] >= cut.t[:-1, 1] - 1e-6).all()


def test_cuts_side_by_side_make_up_the_plan(analysis):
    """Cavalieri: the mean length of many parallel cuts times their reach is the area on plan."""
    roof = analysis.project.roof
    way, side = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    low, high = roof.points[:, 1].min(), roof.points[:, 1].max()
    y = low + (np.arange(400) + 0.5) / 400 * (high - low)
    lengths = [np.diff(roof_cut(roof, side * one, way).t, axis=1).sum() for one in y]
    assert np.mean(lengths) * (high - low) == pytest.approx(roof.planes.plan_area.sum(), rel=5e-3)


def test_the_force_on_a_row_is_written_beside_it(analysis):
    units = system(analysis.project.table.project.units)
    case, words = shown_case(analysis), texts(section_svg(analysis))
    cut = cut_through(analysis, called_plane(analysis), called_clamp(analysis))
    met = crossings(analysis, frame_of(cut, 0.0))
    assert analysis.project.layout.clamp_row[called_clamp(analysis)] in [row for row, _, _ in met]
    for row, s, _ in met:
        load = line_load(analysis, case, row, s)
        assert quantity(load, "line", units) in words
        assert analysis.project.layout.row_name[row] in words


def test_forces_on_narrow_planes_stand_below(analysis, monkeypatch):
    """As of dormers: they are told in the line of their plane; those of the clamp's own plane are drawn."""
    monkeypatch.setattr(roof_section, "NARROW", 1e9)
    units = system(analysis.project.table.project.units)
    case, words = shown_case(analysis), texts(section_svg(analysis))
    cut = cut_through(analysis, called_plane(analysis), called_clamp(analysis))
    layout = analysis.project.layout
    for row, s, _ in crossings(analysis, frame_of(cut, 0.0)):
        told = quantity(line_load(analysis, case, row, s), "line", units)
        own = layout.row_plane[row] == called_plane(analysis)
        name = f"; {layout.row_name[row]}, "
        assert any(one == told if own else name in one and told in one for one in words)


def test_words_in_lanes_do_not_meet():
    middle, wide = np.array([0.0, 12.0, 20.0, 60.0, 64.0]), [20.0, 20.0, 6.0, 30.0, 30.0]
    lanes = roof_section._lanes(middle, wide)
    assert lanes[0] == 0
    for k in range(5):
        for m in range(k):
            if lanes[k] == lanes[m]:
                assert middle[k] - middle[m] >= 0.5 * (wide[k] + wide[m])
    assert max(lanes) == 1


def test_every_plane_cut_is_named_with_its_pressures(analysis):
    """Also planes too narrow for their names, in rows below."""
    units, drawing = system(analysis.project.table.project.units), section_svg(analysis)
    cut = cut_through(analysis, called_plane(analysis), called_clamp(analysis))
    written = texts(drawing)
    for plane, t in zip(cut.plane.tolist(), cut.t, strict=True):
        name = analysis.project.roof.planes.name[plane]
        assert sum(words.startswith(f"{name}, ") for words in written) == int((cut.plane == plane).sum())
        xy = cut.origin + (t.mean() * np.ones((1, 1))) * cut.way
        middle = float(case_pressure_at(analysis.snow.cases[shown_case(analysis)], xy, np.array([plane]))[0])
        label = units.label("pressure")
        ranges = [re.findall(r"[\d.]+", w.split(": ")[-1]) for w in written if w.endswith(label)]
        value = units.convert(middle, "pressure")
        assert any(float(r[0]) * 0.99 <= value <= float(r[-1]) * 1.01 for r in ranges)


def test_line_load_of_even_snow_is_weight_times_sine():
    """EN 1991-1-3 6.4: F = s b sin(alpha) for each meter of a row below a plan run b."""
    analysis = demo("granary-door")
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    plane = called_plane(analysis)
    slope, up = float(planes.slope[plane]), float(layout.row_start[0, 1])
    run = (planes.outline[plane].bounds[3] - up) * math.cos(slope)
    even = next(q for q, case in enumerate(analysis.snow.cases) if case.name == "balanced")
    zone = next(z for z in analysis.snow.cases[even].zones if z.plane == plane)
    wanted = zone.pressure[0] * run * math.sin(slope)
    assert line_load(analysis, even, 0, 0.5 * float(layout.row_length[0])) == pytest.approx(wanted, rel=1e-6)


def test_snow_is_drawn_to_the_scale_that_is_said_and_its_depth_written(analysis):
    units, case = system(analysis.project.table.project.units), shown_case(analysis)
    plane = called_plane(analysis)
    cut = cut_through(analysis, plane, called_clamp(analysis))
    weight = analysis.snow.cases[case].density * STANDARD_GRAVITY
    t = np.concatenate([np.linspace(a + 1e-4, b - 1e-4, 400) for a, b in cut.t])
    pressure = case_pressure_at(
        analysis.snow.cases[case], cut.origin + t[:, None] * cut.way, np.repeat(cut.plane, 400)
    )
    deepest = float(pressure.max()) / weight
    said = texts(section_svg(analysis))
    (depth,) = {words for words in said if re.fullmatch(r"[\d.]+ \w+ deep", words)}
    assert parse(depth.removesuffix(" deep"), "length") == pytest.approx(deepest, rel=0.01)
    assert any(quantity(analysis.snow.cases[case].density, "density", units) in words for words in said)
    drawing = ET.fromstring(section_svg(analysis))
    tallest, scale = 0.0, frame_of(cut, 0.0).scale
    for path in drawing.iter("{http://www.w3.org/2000/svg}path"):
        if "data-snow" in path.attrib:
            ring = np.array(
                [[float(n) for n in pair.split()] for pair in re.split("[MLZ]", path.attrib["d"]) if pair]
            )
            half = len(ring) // 2
            tallest = max(tallest, float((ring[:half, 1] - ring[half:][::-1, 1]).max()))
    assert tallest / scale == pytest.approx(deepest, rel=0.02)


def test_distances_up_the_slope_make_up_the_plane(analysis):
    units = system(analysis.project.table.project.units)
    plane, planes = called_plane(analysis), analysis.project.roof.planes
    layout, words = analysis.project.layout, texts(rows_svg(analysis, called_plane(analysis)))
    low, high = planes.outline[plane].bounds[1::2]
    rows = np.flatnonzero(layout.row_plane == plane)
    ups = np.sort([low, high, *layout.row_start[rows, 1]])
    for gap in np.diff(ups):
        assert drawn(float(gap), "length", units) in words
    assert plane == planes_with_rows(analysis)[0]


def test_the_plan_of_rows_numbers_clamps_and_names_the_governing_one(analysis):
    layout, clamp = analysis.project.layout, called_clamp(analysis)
    words = texts(rows_svg(analysis, called_plane(analysis)))
    assert any(word.startswith(f"governs: {layout.clamp_name[clamp]}, ") for word in words)
    row = int(layout.clamp_row[clamp])
    on = np.flatnonzero(layout.clamp_row == row)
    numbers = {layout.clamp_name[c].rsplit("-", 1)[1] for c in on}
    assert {layout.clamp_name[c].rsplit("-", 1)[1] for c in (on[0], on[-1], clamp)} <= set(words)
    assert len(numbers & set(words)) > 0.4 * len(numbers)


def test_the_clamp_is_drawn_with_the_numbers_of_the_hand_check(analysis):
    units, governing = system(analysis.project.table.project.units), analysis.attachment
    words, clamp = texts(clamp_svg(analysis)), analysis.project.clamp
    at = clamp_at(analysis, called_clamp(analysis), governing.case, analysis.limits[governing.limit].name)
    assert f"F {quantity(abs(float(at.force[0])), 'force', units)}" in words
    along = quantity(float(clamp_components(at.force, clamp)[0]), "force", units)
    assert f"along: {along} of {quantity(float(clamp.strength[0]), 'force', units)}" in words
    assert f"grip {as_given(clamp.grip_length, 'size', units)}" in words


def test_bars_over_planes_are_their_mean_snow():
    analysis = demo("ridge-school")
    drawing = building_svg(analysis, system("US"))
    loads = [float(value) for value in re.findall(r'data-load="([^"]+)"', drawing)]
    total = analysis.building.planes
    mean = total.held / total.area
    assert len(loads) == 4  # two planes of the section, with rows and without
    assert loads[0] in mean
    assert all(min(abs(load - mean)) < 1e-9 for load in loads[:2])


def test_a_bracket_is_drawn_on_its_screws_with_what_they_use(tmp_path):
    """The governing limit of the screws stands on the drawing as the analysis has it."""
    path = tmp_path / "project.toml"
    text = Path("models/granary-door/project.toml").read_text()
    path.write_text(text.replace("[clamp]\n", '[clamp]\ngrip_height = "50 mm"\n', 1) + SCREWS)
    analysis = analyze(load_project(path), beyond=False)
    worst = analysis.attachment
    assert worst is not None
    name = analysis.limits[worst.limit].name
    assert name.startswith("screw")
    drawing = clamp_svg(analysis)
    words = " ".join(texts(drawing))
    assert "on its screws" in words
    assert any(name in line and percent(worst.utilization) in line for line in texts(drawing))
