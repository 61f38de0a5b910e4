"""Where a row begins is what a tape shows from the plane's left end, over dormers and wings too."""

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from picture_projects import GABLE, read

from fea.analysis import Analysis
from roofmodel.errors import InputError
from roofmodel.obstacles import Obstacles
from roofmodel.project.load import load_project
from roofmodel.project.placement import left_reach
from roofmodel.units import SYSTEMS
from viewer.handover.installer import write_plan
from viewer.package.bill import bill_of
from viewer.quantities import drawn
from viewer.report.rows_plan import rows_svg

DORMER = """
[[roof.dormer]]
name = "D"
plane = "S1"
across = "4 m"
up = "0.8 m"
width = "2 m"
height = "0.8 m"
pitch = "30 deg"
"""
PIECES = """
[[row]]
name = "Left"
plane = "S1"
up = "1.2 m"
start = "0.4 m"
end = "2.9 m"
[[row]]
name = "Right"
plane = "S1"
up = "1.2 m"
start = "6.3 m"
end = "12 m"
"""


@pytest.fixture(scope="module")
def dormered(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    text = GABLE.replace("[surface]", DORMER + "[surface]", 1).replace("[design]", PIECES + "[design]")
    text = text.replace('up = "3 m"', 'up = "4.4 m"')  # over the dormer
    return read(text, tmp_path_factory.mktemp("dormered"))


@pytest.mark.parametrize("system", ["SI", "US"])
def test_a_row_beyond_a_dormer_is_drawn_as_far_from_the_left_as_the_file_has_it(
    dormered: Analysis, system: str
) -> None:
    """Its words and its line say the same, and the gap of the dormer counts."""
    project, units = dormered.project, SYSTEMS[system]
    plane = project.roof.planes.name.index("S1")
    layout = project.layout
    drawing = rows_svg(dormered, plane, units)
    words = [e.text for e in ElementTree.fromstring(drawing).iter("{http://www.w3.org/2000/svg}text")]
    lines = [
        np.array(re.findall(r"[ML](-?[0-9.]+) (-?[0-9.]+)", e.get("d", "")), dtype=float)
        for e in ElementTree.fromstring(drawing).iter("{http://www.w3.org/2000/svg}path")
        if e.get("stroke-width") == "0.8"
    ]
    level = np.array([abs(line[1, 0] - line[0, 0]) for line in lines if line[0, 1] == line[1, 1]])
    whole = float(level.max()) / 14.0  # pixels of a meter, from the dimension of the eave
    for name, start in (("Left", 0.4), ("Right", 6.3), ("High", 2.0)):
        row = layout.row_name.index(name)
        assert left_reach(project.roof, layout, row) == pytest.approx(start, abs=1e-9)
        assert drawn(start, "length", units) in words
        assert np.abs(level - start * whole).min() < 0.02
    assert left_reach(project.roof, layout, layout.row_name.index("Low")) == 0.0
    right = layout.row_name.index("Right")  # from the dormer's cheek, at 5 m
    assert left_reach(project.roof, layout, right, own=True) == pytest.approx(1.3, abs=1e-6)


def test_an_installer_finds_where_each_row_begins(dormered: Analysis, tmp_path: Path) -> None:
    """By tape from the plane's left end and from the dormer beside it, and by counting seams."""
    project, path = dormered.project, tmp_path / "plan.dxf"
    layout = project.layout
    write_plan(dormered, bill_of(project), path)
    space = ezdxf.readfile(path).modelspace()
    measured = np.array([one.get_measurement() for one in space.query("DIMENSION")])
    texts = [one.dxf.text for one in space.query("TEXT")]
    for name, start, beside in (("Left", 400, ""), ("Right", 6300, ", 1300 from the edge beside it")):
        row = layout.row_name.index(name)
        assert np.abs(measured - start).min() < 1e-3
        first = layout.clamp_uv[np.flatnonzero(layout.clamp_row == row)[0], 0]
        seam = round((first - 0.2) / 0.4) + 1  # the first stands half a spacing of 0.4 m in
        up = round(1e3 * next(one.up for one in project.table.row if one.name == name))
        told = f"Row {name}: {up} up; begins {start} from the left{beside}; first clamp on seam {seam};"
        assert any(text.startswith(told) for text in texts)


def test_a_chimney_is_drawn_in_true_size_on_its_plane(dormered: Analysis, tmp_path: Path) -> None:
    """On a layer of its own and with its name: one sees why a row ends there."""
    project, path = dormered.project, tmp_path / "plan.dxf"
    plane = project.roof.planes.name.index("S1")
    ring = np.array([[9.0, 3.0], [10.2, 3.0], [10.2, 4.6], [9.0, 4.6]])
    foot = project.roof.planes.to_world(plane, ring)
    box = Obstacles(
        name=("flue",),
        parapet=np.array([False]),
        plane=np.array([plane]),
        height=np.array([1.0]),
        clear=np.array([0.0]),
        face=np.zeros(4, dtype=np.int64),
        start=foot,
        end=np.roll(foot, -1, axis=0),
    )
    roof = replace(project.roof, obstacles=box)
    write_plan(replace(dormered, project=replace(project, roof=roof)), bill_of(project), path)
    space = ezdxf.readfile(path).modelspace()
    sizes = [
        np.ptp(np.array(line.get_points("xy")), axis=0)
        for line in space.query('LWPOLYLINE[layer=="OBSTRUCTIONS"]')
    ]
    run = 1600.0 * np.cos(project.roof.planes.slope[plane])  # seen from above, beside the plane unfolded
    assert sorted(size[1] for size in sizes) == pytest.approx([run, 1600.0])
    assert [size[0] for size in sizes] == pytest.approx([1200.0, 1200.0])
    assert [one.dxf.text for one in space.query('TEXT[layer=="OBSTRUCTIONS"]')] == ["flue"]


def test_a_row_between_valleys_is_measured_from_the_eave(tmp_path: Path) -> None:
    """Valleys of equal slopes run at 45 deg on plan: a row 2 m up is longer by 2 m cos 24 deg at each end."""
    text = GABLE.replace('shape = "gable"', 'shape = "hip"')
    text = text.replace("0 0, 14 0, 14 9, 0 9 m", "0 0, 20 0, 20 15, 14 15, 14 8, 6 8, 6 15, 0 15 m")
    rows = '[[row]]\nname = "Court"\nplane = "N1"\nup = "2 m"\n\n'
    analysis = read(text[: text.index("[[row]]")] + rows + text[text.index("[design]") :], tmp_path)
    path, beyond = tmp_path / "plan.dxf", 2.0 * np.cos(np.radians(24.0))
    write_plan(analysis, bill_of(analysis.project), path)
    space = ezdxf.readfile(path).modelspace()
    measured = np.array([one.get_measurement() for one in space.query("DIMENSION")])
    for length in (2000.0, 1000.0 * beyond):
        assert np.abs(measured - length).min() < 1.0
    told = f"begins at the left end, {1000.0 * beyond:.0f} left of straight up from the eave's left end"
    assert any(told in one.dxf.text for one in space.query("TEXT"))
    assert analysis.project.layout.row_length[0] == pytest.approx(8.0 + 2.0 * beyond, abs=0.01)


def test_words_at_clamps_end_below_the_next_row(dormered: Analysis, tmp_path: Path) -> None:
    """Rows 0.6 m apart leave little room: the words shrink."""
    path = tmp_path / "plan.dxf"
    write_plan(dormered, bill_of(dormered.project), path)
    space = ezdxf.readfile(path).modelspace()
    rails = [np.array(line.get_points("xy")) for line in space.query("LWPOLYLINE[layer=='RAILS']")]
    words = [text for text in space.query("TEXT[layer=='DIMENSIONS']") if text.dxf.rotation == 90.0]
    assert len(words) == len(dormered.project.layout.clamp_name)
    assert len({text.dxf.height for text in words}) > 1
    for text in words:
        at = text.get_placement()[1]
        top = at.y + 0.62 * text.dxf.height * len(text.dxf.text)
        above = [r[:, 1].min() for r in rails if r[0, 0] < at.x < r[-1, 0] and r[0, 1] > at.y]
        assert top < min(above, default=np.inf)


@pytest.mark.parametrize("system", ["SI", "US"])
def test_a_piece_that_a_message_offers_is_taken_as_printed(system: str, tmp_path: Path) -> None:
    """Beside a dormer's slope its ends are no round numbers."""
    text = GABLE.replace("[surface]", DORMER + "[surface]", 1).replace('units = "SI"', f'units = "{system}"')
    path = tmp_path / "project.toml"
    text = text.replace('up = "3 m"', 'up = "2.9 m"').replace('start = "2 m"', "")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="in 2 pieces") as refused:
        load_project(path)
    for low, high in re.findall(r"([\d.]+ \w+) to ([\d.]+ \w+)", str(refused.value)):
        path.write_text(text.replace("every = 2", f'start = "{low}"\nend = "{high}"'), encoding="utf-8")
        long = SYSTEMS[system].convert(float(load_project(path).layout.row_length[1]), "length")
        assert long == pytest.approx(float(high.split()[0]) - float(low.split()[0]), abs=0.011)


GLASS = """
[[solar]]
name = "glass"
plane = "S1"
across = "8.5 m"
up = "2 m"
width = "3 m"
depth = "1.6 m"
gap = "120 mm"
weight = "0.15 kPa"
clamp_strength = "9 kN"
"""


@pytest.fixture(scope="module")
def glazed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Analysis, ezdxf.document.Drawing]:
    """Two rows in one line beside a dormer, a solar array above one of them; and its plan, read back."""
    text = GABLE.replace("[surface]", DORMER + "[surface]", 1).replace(
        "[design]", PIECES + GLASS + "[design]"
    )
    text = text.replace('up = "3 m"', 'up = "4.4 m"')
    folder = tmp_path_factory.mktemp("glazed")
    analysis = read(text, folder)
    write_plan(analysis, bill_of(analysis.project), folder / "plan.dxf")
    return analysis, ezdxf.readfile(folder / "plan.dxf")


def test_solar_arrays_are_in_the_plan_on_a_layer_of_their_own(glazed) -> None:
    analysis, plan = glazed
    roof = analysis.project.roof
    assert "SOLAR" in plan.layers
    lines = [np.array(one.get_points("xy")) for one in plan.modelspace().query('LWPOLYLINE[layer=="SOLAR"]')]
    closed = [ring * 1e-3 for ring in lines if len(ring) == 4]
    unfolded, above = sorted(closed, key=lambda ring: -ring[:, 1].mean())  # the roof from above stands below
    assert np.ptp(unfolded, axis=0) == pytest.approx([3.0, 1.6], abs=1e-6)  # true size
    outlines = [
        np.array(one.get_points("xy")) * 1e-3 for one in plan.modelspace().query('LWPOLYLINE[layer=="ROOF"]')
    ]
    outline = next(
        ring for ring in outlines if len(ring) > 2 and shapely.Polygon(ring).covers(shapely.Polygon(unfolded))
    )
    corner = unfolded.min(axis=0) - outline.min(axis=0)
    plane = roof.planes.outline[roof.arrays.plane[0]].bounds
    assert corner == pytest.approx(roof.arrays.low[0] - np.array(plane[:2]), abs=1e-6)
    assert np.ptp(above, axis=0)[0] == pytest.approx(3.0, abs=1e-6)
    slope = roof.planes.slope[roof.arrays.plane[0]]
    assert np.ptp(above, axis=0)[1] == pytest.approx(1.6 * np.cos(slope), abs=1e-6)
    told = [one.text for one in plan.modelspace().query('MTEXT[layer=="SOLAR"]')]
    assert told == ["glass  3000 x 1600"]


def test_one_height_of_two_rows_in_a_line_is_measured_once(glazed) -> None:
    plan = glazed[1]
    heights = [round(one.get_measurement()) for one in plan.modelspace().query("DIMENSION")]
    assert heights.count(1200) == 1
    assert {400, 6300} <= set(heights)  # and still where each of their rails begins
