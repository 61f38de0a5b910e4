"""Drawings to scale: north up, coordinates, wind, holes, and snow as high as its pressure says."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from snow_projects import (
    ANNEX_B,
    DOME,
    TANNERY,
    demo,
    in_us_units,
    study_of,
    under_asce,
    with_part,
    with_site,
)

from viewer import style
from viewer.picture.drawing import Drawing, box_of, drawing_svg, paint
from viewer.quantities import column, system
from viewer.snow import governing, page
from viewer.snow.formula import Worked
from viewer.snow.margins import draw_wind
from viewer.snow.page import snow_html
from viewer.snow.placing import Label, Taken, Words, place_labels
from viewer.snow.plan import axis_boxes, fit
from viewer.snow.section_drawing import OWN, draw_section
from viewer.snow.sheet import TALLEST, WIDTH, case_drawing
from viewer.snow.study import SnowStudy
from viewer.snow.words import pressure_range


def plan(study: SnowStudy) -> Drawing:
    return case_drawing(study.findings, 0, study.scale, (), study.units)


def outline(drawing: Drawing) -> np.ndarray:
    """Left, top, right, bottom of the planes on a plan."""
    rings = [s.rings[0] for s in drawing.shapes if s.fill == style.PAPER and s.radius == 0.0]
    points = np.concatenate(rings)
    return np.concatenate([points.min(axis=0), points.max(axis=0)])


def test_north_is_up_and_east_is_right() -> None:
    drawing = plan(demo("cedar-hollow"))
    at = {text.text: text.at for text in drawing.texts}
    places = {}
    for number, name in (("1", "W1"), ("2", "S1"), ("3", "E1"), ("4", "N1")):
        places[name] = at[number]
    assert places["N1"][1] < places["S1"][1]
    assert places["W1"][0] < places["E1"][0]
    assert places["E1"][1] < places["N1"][1]  # the east wing's plane lies in the north


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        (TANNERY, (0.0, -6.0), (24.0, 14.0)),
        (in_us_units(), (0.0, -6.0 / 0.3048), (24.0 / 0.3048, 14.0 / 0.3048)),
    ],
)
def test_coordinates_stand_where_they_belong(
    text: str, low: tuple[float, float], high: tuple[float, float], tmp_path: Path
) -> None:
    drawing = plan(study_of(text, tmp_path))
    left, top, right, bottom = outline(drawing)
    ticks = [t for t in drawing.texts if re.fullmatch(r"−?[\d.]+", t.text) and t.color == style.MUTED]
    assert len(ticks) >= 8
    for tick in ticks:
        value = float(tick.text.replace("−", "-"))
        if tick.align == "center":
            share = (tick.at[0] - left) / (right - left)
            assert low[0] + share * (high[0] - low[0]) == pytest.approx(value, abs=0.02)
        else:
            share = (bottom - tick.at[1]) / (bottom - top)
            assert low[1] + share * (high[1] - low[1]) == pytest.approx(value, abs=0.02)


@pytest.mark.parametrize(
    ("name", "way"),
    [
        ("unbalanced, wind toward S", (0.0, 1.0)),
        ("leeward drift below S1, wind toward N", (0.0, -1.0)),
        ("unbalanced, wind toward SE", (np.sqrt(0.5), np.sqrt(0.5))),
        ("unbalanced, wind toward 300 degrees", (-np.sin(np.radians(60.0)), -0.5)),
    ],
)
def test_wind_blows_the_way_it_is_named(name: str, way: tuple[float, float]) -> None:
    drawing, center = Drawing((100.0, 100.0)), np.array([50.0, 50.0])
    assert draw_wind(drawing, name, center, 10.0)
    tip = drawing.shapes[-1].rings[0][0] - center
    assert tip / np.linalg.norm(tip) == pytest.approx(way, abs=1e-9)


@pytest.mark.parametrize("name", ["balanced", "drift below S1, wall facing S", "winds toward E and N"])
def test_no_arrow_without_one_wind(name: str) -> None:
    drawing = Drawing((100.0, 100.0))
    assert not draw_wind(drawing, name, np.array([50.0, 50.0]), 10.0)
    assert drawing.shapes == []


def test_holes_stay_open() -> None:
    drawing = Drawing((100.0, 100.0))
    drawing.area(shapely.box(10, 10, 90, 90).difference(shapely.box(40, 40, 60, 60)), "#2060A0")
    pixels = np.asarray(paint(drawing))
    assert tuple(pixels[50, 50]) == (255, 255, 255)
    assert tuple(pixels[20, 20]) == (0x20, 0x60, 0xA0)
    assert 'fill-rule="evenodd"' in drawing_svg(drawing, "hole")


def test_same_drawing_as_lines_and_as_pixels() -> None:
    """Lines of one style become one path; nothing is lost."""
    drawing = Drawing((60.0, 60.0))
    for y in (10.0, 20.0, 30.0):
        drawing.line(np.array([[5.0, y], [55.0, y]]), style.INK, 2.0)
    text = drawing_svg(drawing, "lines")
    assert text.count("<path") == 1
    assert text.count("M5 ") == 3
    pixels = np.asarray(paint(drawing))
    assert all(tuple(pixels[y, 30]) == tuple(np.rint(style.rgb(style.INK) * 255)) for y in (10, 20, 30))


@pytest.mark.parametrize("name", ["tannery-hall", "ridge-school", "sentier-house"])
def test_snow_is_drawn_as_high_as_its_pressure_says(name: str) -> None:
    """The drawn area of the drift is the integral of its height, at the scale of the drawing."""
    study = demo(name)
    for section in study.sections:
        drawing, stretch = draw_section(study.findings, section, study.units)
        drawn = shapely.union_all([shapely.Polygon(s.rings[0]) for s in drawing.shapes if s.fill == OWN])
        left, _, right, _ = drawn.bounds
        scale = (right - left) / section.width
        integral = 0.0
        for piece in section.own:
            layer = piece.layers[section.own_layer(piece)]
            integral += float(np.ptp(piece.s) * layer.pressure.mean() / section.weight)
        assert drawn.area / (scale**2 * stretch) == pytest.approx(integral, rel=1e-3)


def test_labels_of_a_dome_stand_apart_and_off_the_axes(tmp_path: Path) -> None:
    """A dome under wind has more zones than a plan has room for: no words meet other words or an axis."""
    study = study_of(with_part(under_asce(), f"{DOME}rings = 5\n"), tmp_path)
    for index in range(2):
        drawing = case_drawing(study.findings, index, study.scale, (), study.units)
        roof = study.findings.project.roof.points
        axes = [shapely.box(*box) for box in axis_boxes(fit(roof, _plan_box(study)))]
        boxes = [shapely.box(*box_of(text)).buffer(-0.5) for text in drawing.texts if text.bold]
        for n, box in enumerate(boxes):
            assert not any(box.intersects(axis) for axis in axes), drawing.texts[n]
            assert not any(box.intersects(other) for other in boxes[n + 1 :])
        assert index == 0 or len(boxes) < 60


def _plan_box(study: SnowStudy) -> tuple[float, float, float, float]:
    span = np.ptp(study.findings.project.roof.points[:, :2], axis=0)
    height = float(np.clip((WIDTH - 188.0) * span[1] / span[0], 170.0, TALLEST))
    return (66.0, 34.0, WIDTH - 122.0, 34.0 + height)


def test_words_keep_off_dashed_lines_where_there_is_room() -> None:
    """A dashed line through the middle of a roomy area: its label moves aside."""
    drawing, taken = Drawing((400.0, 300.0)), Taken((0.0, 0.0, 400.0, 300.0))
    line = np.array([[0.0, 150.0], [400.0, 150.0]])
    taken.avoid(line)
    region = shapely.box(50.0, 50.0, 350.0, 250.0)
    assert place_labels(drawing, taken, [Label("7", region, (Words((("1.92 to 0", True),)),))], 11.0) == 0
    assert drawing.texts
    for text in drawing.texts:
        assert not shapely.box(*box_of(text)).intersects(shapely.LineString(line))


def test_drifts_that_stand_alone_have_their_largest_marked(tmp_path: Path) -> None:
    """EN Annex B drifts lie on bare roofs: the place of the largest pressure is marked there too."""
    study = study_of(with_site(ANNEX_B), tmp_path)
    alone = [
        n
        for n, case in enumerate(study.findings.cases)
        if not any(study.findings.patches[i].base for i in case.patches)
        and case.cells.pressure[case.largest_cell, 1:].any()
    ]
    assert alone
    for n in alone:
        texts = case_drawing(study.findings, n, study.scale, (), study.units).texts
        assert any(text.text.startswith("max ") for text in texts)


def test_columns_keep_the_digits_of_each_value() -> None:
    """1.92 and 3.84 kN/m² beside 12.3: as they are where they are told alone."""
    assert column([1920.0, 3840.0, 12300.0], "pressure", system("SI"), each=True) == ["1.92", "3.84", "12.30"]


def test_pressure_in_words() -> None:
    units = system("SI")
    assert pressure_range(1600.0, 1600.0, units) == "1.60 kN/m²"
    assert pressure_range(0.0, 5539.4, units) == "5.54 to 0 kN/m²"
    assert pressure_range(-1e-9, 5539.4, units) == "5.54 to 0 kN/m²"
    assert pressure_range(2110.0, 3020.0, units) == "3.02 to 2.11 kN/m²"
    assert pressure_range(3999.9, 4000.0, units) == "4.00 kN/m²"


def _cells(html: str, number: int) -> list[tuple[str, ...]]:
    zone = re.search(rf'<section class="zone" id="zone-{number}">(.*?)</section>', html, re.DOTALL)
    assert zone is not None
    rows = re.findall(r"<tr>\s*<th scope=\"row\">(.*?)</tr>", zone[1], re.DOTALL)
    return [tuple(re.sub(r"<[^>]+>", " ", row).split()) for row in rows]


@pytest.mark.parametrize(
    ("text", "corners"),
    [
        (TANNERY, {("4.000", "0.000", "5.539"), ("20.000", "−5.000", "0")}),
        (in_us_units(), {("13.12", "0.00", "115.7"), ("65.62", "−16.40", "0")}),
    ],
)
def test_corners_are_printed_with_their_pressure(
    text: str, corners: set[tuple[str, ...]], tmp_path: Path
) -> None:
    study = study_of(text, tmp_path)
    found = {cells[1:] for cells in _cells(snow_html(study, Drawing((10.0, 10.0))), 6)}
    assert corners < found
    assert len(found) == 4


def test_what_is_not_put_in_numbers_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(governing, "worked", lambda zone, beside, system: (Worked("by the figure"),))
    html = snow_html(demo("granary-door"), Drawing((10.0, 10.0)))
    assert html.count("Not put in numbers here: by the figure.") == len(demo("granary-door").findings.patches)


def test_page_of_many_cases_keeps_the_governing_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for two chapters: the first case and the largest; the table still lists every case."""
    monkeypatch.setattr(page, "CHAPTERS", 2)
    study = demo("tannery-hall")
    html = snow_html(study, Drawing((10.0, 10.0)))
    assert re.findall(r'id="case-(\d+)"', html) == ["1", "4"]
    assert "2 more cases" in html
    for case in study.findings.cases:
        assert case.case.name in html
    monkeypatch.setattr(page, "ZONES", 3)  # the first case alone has three
    assert re.findall(r'id="case-(\d+)"', snow_html(study, Drawing((10.0, 10.0)))) == ["1"]
