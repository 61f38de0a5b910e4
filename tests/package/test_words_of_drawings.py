"""Words of every drawing of the package: none on another, none cut, none on a color too dark for it."""

import re
from datetime import date
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from text_boxes import faults, texts

from fea.analysis import analyze
from roofmodel.project.load import with_rows
from roofmodel.project.schema import RowTable
from tests.demos import demo
from viewer import style
from viewer.package.pdf import package_source
from viewer.picture.drawing import READS, Drawing, chips, drawing_svg, paint
from viewer.picture.row_diagrams import row_svg
from viewer.quantities import system
from viewer.report.rows_plan import rows_svg
from viewer.snow.sheet import case_drawing, sheet_drawing
from viewer.snow.study import snow_study

SVG = "{http://www.w3.org/2000/svg}"
DEMOS = (
    "granary-door",
    "cedar-hollow",
    "sentier-house",
    *(pytest.param(one, marks=pytest.mark.slow) for one in ("tannery-hall", "ridge-school", "alder-barn")),
    pytest.param("harbor-barn", marks=pytest.mark.slow),
)


@pytest.mark.parametrize("model", DEMOS)
def test_words_keep_off_each_other_and_inside_their_drawing(model):
    analysis = demo(model)
    files, _ = package_source(analysis, None, None, date(2026, 1, 2))
    drawings = {name: data.decode() for name, data in files.items() if name.endswith(".svg")}
    study, units = snow_study(analysis.project), system(analysis.project.table.project.units)
    for case in range(len(study.findings.cases)):
        plan = case_drawing(study.findings, case, study.scale, study.sections, units)
        drawings[f"case {case + 1}"] = drawing_svg(plan, "one case")
    assert len(drawings) > 8
    found = {name: wrong for name, svg in drawings.items() if (wrong := faults(svg))}
    assert found == {}


def test_names_of_rows_close_below_each_other_keep_off_numbers():
    """A long rail's name stands where no row is above it, that of a covered one beside it."""
    project = demo("granary-door").project
    ends = {"low": ("1 m", "15 m"), "middle": ("3 m", "8 m"), "high": ("3 m", "8.4 m")}
    rows = [
        RowTable.model_validate(
            {"name": name, "plane": "S1", "up": f"{0.6 + 0.8 * k} m", "start": a, "end": b}
        )
        for k, (name, (a, b)) in enumerate(ends.items())
    ]
    analysis = analyze(with_rows(project, rows), beyond=False)
    assert faults(rows_svg(analysis, int(analysis.project.layout.row_plane[0]))) == []


@pytest.mark.parametrize("model", DEMOS)
def test_words_on_dark_snow_stand_on_paper(model):
    """Contrast of at least 4.5 (WCAG 2, from memory), whatever snow lies below the words."""
    study = snow_study(demo(model).project)
    units = system(demo(model).project.table.project.units)
    plan = sheet_drawing(study.findings, study.scale, units)
    under = shapely.union_all([shapely.box(*box) for box in chips(plan)])
    dark = [
        shapely.Polygon(shape.rings[0])
        for shape in plan.shapes
        if shape.fill and len(shape.rings[0]) >= 3 and style.contrast(shape.fill, style.INK) < READS
    ]
    words = [text for text in plan.texts if text.halo]
    assert words
    for text in words:
        box = shapely.box(*text.box).buffer(-0.1 * text.size)
        assert not any(box.intersects(one) for one in dark) or under.buffer(0.5).covers(box), text.text


def test_paper_below_words_is_painted_and_written():
    plan = Drawing((80.0, 40.0))
    plan.area(shapely.box(0.0, 0.0, 80.0, 40.0), style.SNOW_DEEP_ANCHORS[-1])
    plan.write("deep", 40.0, 20.0, 12.0, align="center", halo=True)
    (box,) = chips(plan)
    assert "<rect" in drawing_svg(plan, "t")
    pixels = np.asarray(paint(plan))[:, :, 0]
    inside = pixels[round(box[1]) + 1 : round(box[3]) - 1, round(box[0]) + 1 : round(box[2]) - 1]
    assert np.median(inside) > 180.0
    assert pixels[2, 2] < 40
    plan.texts[0] = plan.write("deep", 40.0, 20.0, 12.0, align="center")
    plan.texts.pop()
    assert chips(plan) == []


@pytest.mark.parametrize("model", DEMOS[:3])
def test_largest_values_of_a_row_stand_off_its_curve(model):
    analysis = demo(model)
    for row in range(len(analysis.project.layout.row_name)):
        groups = ET.fromstring(row_svg(analysis, row)).iter(f"{SVG}g")
        panels = [group for group in groups if group.get("role") == "img"]
        assert len(panels) == 3  # shear, moment, deflected shape
        for panel in panels:
            drawn = next(path for path in panel.iter(f"{SVG}path") if path.get("stroke-width") == "1.3")
            curve = np.array(re.findall(r"[-\d.]+", drawn.get("d")), dtype=float).reshape(-1, 2)
            alone = f'<svg xmlns="{SVG[1:-1]}">{ET.tostring(panel, encoding="unicode")}</svg>'
            words, box = texts(alone)[-1]  # the last one that is written
            assert not box.intersects(shapely.LineString(curve)), (row, words)
