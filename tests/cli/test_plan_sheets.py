"""Sheets of the installer's plan show all that is measured."""

import ezdxf
import ezdxf.bbox
import numpy as np
import shapely

from fea.analysis import analyze
from roofmodel.project.load import load_project, with_rows
from roofmodel.project.schema import RowTable
from tests.demos import demo
from tests.planning.plan_projects import with_roof
from viewer.handover.installer import write_plan
from viewer.handover.pen import outline_of
from viewer.handover.row_lines import eave_corner
from viewer.handover.sheets import scale_for
from viewer.package.bill import bill_of


def test_no_measure_is_cut_by_the_edge_of_its_sheet(tmp_path):
    """Five rows that end at one side have five heights beside it, each farther out."""
    project = demo("granary-door").project
    rows = [
        RowTable.model_validate(
            {"name": f"row {k}", "plane": "S1", "up": f"{0.5 + 0.8 * k} m", "start": "9 m", "end": "15.9 m"}
        )
        for k in range(5)
    ]
    analysis = analyze(with_rows(project, rows), beyond=False)
    write_plan(analysis, bill_of(analysis.project), tmp_path / "plan.dxf")
    drawing = ezdxf.readfile(tmp_path / "plan.dxf")
    windows = []
    for layout in drawing.layouts:
        for view in layout.query('VIEWPORT[layer=="VIEWPORTS"]'):
            high = view.dxf.view_height
            wide = high * view.dxf.width / view.dxf.height
            x, y, *_ = view.dxf.view_center_point
            windows.append(shapely.box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2))
    measures = list(drawing.modelspace().query("DIMENSION"))
    assert len(measures) > 6
    for one in measures:
        box = ezdxf.bbox.extents(one.virtual_entities())
        drawn = shapely.box(box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y)
        assert any(window.covers(drawn) for window in windows), one.get_measurement()


DORMERS = """
[[roof.part]]
shape = "gable"
footprint = "0 0, 10 0, 10 6, 0 6 m"
pitches = ["35 deg", "gable", "35 deg", "gable"]
eave_height = "3 m"
[[roof.part]]
shape = "gable"
footprint = "2 0.5, 4 0.5, 4 3, 2 3 m"
pitches = ["gable", "35 deg", "gable", "35 deg"]
eave_height = "3.8 m"
[[roof.part]]
shape = "gable"
footprint = "6 0.5, 8 0.5, 8 3, 6 3 m"
pitches = ["gable", "35 deg", "gable", "35 deg"]
eave_height = "3.8 m"
"""
BETWEEN = """
[[row]]
name = "low"
plane = "S1"
up = "0.5 m"
[[row]]
name = "between"
plane = "S1"
up = "2.2 m"
start = "3.4 m"
end = "6.6 m"
"""


def test_every_row_says_its_height_also_where_both_ends_stand_over_valleys(tmp_path):
    """Between two dormers straight down from the ends are slants, which say nothing of the height."""
    text = with_roof(DORMERS, FOOTPRINT="", ROWS=BETWEEN)
    (tmp_path / "barn.toml").write_text(text, encoding="utf-8")
    analysis = analyze(load_project(tmp_path / "barn.toml"), beyond=False)
    project = analysis.project
    write_plan(analysis, bill_of(project), tmp_path / "plan.dxf")
    drawing = ezdxf.readfile(tmp_path / "plan.dxf")
    space = drawing.modelspace()
    texts = [one.dxf.text for one in space.query("TEXT")]
    measured = sorted(one.get_measurement() for one in space.query("DIMENSION"))
    assert eave_corner(project, 1) is None
    for row, name in enumerate(project.layout.row_name):
        up = f"{1e3 * project.table.row[row].up:.0f}"
        assert sum(words.startswith(f"Row {name}: {up} up;") for words in texts) == 1
        assert min(abs(one - float(up)) for one in measured) < 1e-6
    assert any("from the lowest edge of the plane" in words for words in texts)
    valley = project.roof.planes.outline[project.layout.row_plane[1]]
    start, end = project.layout.row_start[1], project.layout.row_end[1]
    for x in (start[0] + 0.3, end[0] - 0.3):  # what was measured before
        below = valley.intersection(shapely.LineString([(x, start[1]), (x, -1.0)]))
        part = min(shapely.get_parts(below), key=lambda one: -one.bounds[3])
        slant = 1e3 * (start[1] - part.bounds[1])
        assert 0.0 < slant < 2000.0
        assert min(abs(one - slant) for one in measured) > 1.0


WINGS = """
[[roof.part]]
shape = "gable"
footprint = "0 0, 17 0, 17 10, 0 10 m"
pitches = ["35 deg", "gable", "35 deg", "gable"]
eave_height = "3 m"
[[roof.part]]
shape = "gable"
footprint = "6 -6, 12 -6, 12 5, 6 5 m"
pitches = ["gable", "35 deg", "gable", "35 deg"]
eave_height = "3 m"
"""
ON_BOTH = """
[[row]]
name = "main"
plane = "N1"
up = "0.5 m"
[[row]]
name = "wing"
plane = "W1"
up = "0.5 m"
"""


def test_planes_of_like_size_have_letters_of_one_size_in_the_model(tmp_path):
    """A wing whose sheet could be half as large again does not read smaller than the plane beside it."""
    (tmp_path / "wing.toml").write_text(with_roof(WINGS, FOOTPRINT="", ROWS=ON_BOTH), encoding="utf-8")
    analysis = analyze(load_project(tmp_path / "wing.toml"), beyond=False)
    project = analysis.project
    planes = [project.roof.planes.name.index(name) for name in ("N1", "W1")]
    own = [scale_for(np.ptp(outline_of(project, p), axis=0), "SI") for p in planes]
    assert own[1] < own[0] <= 2 * own[1]
    write_plan(analysis, bill_of(project), tmp_path / "plan.dxf")
    space = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()
    titles = {t.dxf.text.split()[1]: t.dxf.height for t in space.query("TEXT") if t.dxf.text[:6] == "Plane "}
    assert titles["W1"] == titles["N1"]


def test_no_letter_at_a_clamp_is_too_small_to_read(tmp_path):
    """Where the row above leaves no room for distances, numbers stand at the clamps and distances below."""
    rows = BETWEEN.replace("2.2 m", "1.0 m").replace('start = "3.4 m"\nend = "6.6 m"\n', "")
    text = with_roof(DORMERS[: DORMERS.index("[[roof.part]]", 20)], FOOTPRINT="", ROWS=rows)
    (tmp_path / "near.toml").write_text(text, encoding="utf-8")
    analysis = analyze(load_project(tmp_path / "near.toml"), beyond=False)
    write_plan(analysis, bill_of(analysis.project), tmp_path / "plan.dxf")
    space = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()
    title = next(t for t in space.query("TEXT") if t.dxf.text.startswith("Plane "))
    letters = [t.dxf.height for t in space.query('TEXT[layer=="DIMENSIONS"]')]
    assert letters
    assert min(letters) >= 0.69 * title.dxf.height / 1.4
    assert any(t.dxf.text.startswith("Clamps of low: 01: ") for t in space.query("TEXT"))
