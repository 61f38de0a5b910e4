"""Profiles from project files, drawings and tables."""

import ezdxf
import numpy as np
import pytest

from roofmodel.errors import InputError
from roofmodel.profiles.drawing import read_outline
from roofmodel.profiles.shapes import shape_outline
from tests.checks.projects import GABLE_EN, project

TUBE = 'shape = "round tube"\ndiameter = "48 mm"\nwall = "3 mm"'


def with_profile(words):
    assert TUBE in GABLE_EN
    return GABLE_EN.replace(TUBE, f'shape = "profile"\nprofile = {{{{ {words} }}}}')


def test_drawing_of_lines_arcs_and_cells(tmp_path):
    """A tube of two circles; an angle of loose lines drawn in inches."""
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    drawing.modelspace().add_circle((100, 50), 24)
    drawing.modelspace().add_circle((100, 50), 21)
    drawing.saveas(tmp_path / "tube.dxf")
    tube = read_outline(tmp_path / "tube.dxf", "tube.dxf", None, None)
    np.testing.assert_allclose(tube.area, np.pi * (0.024**2 - 0.021**2), rtol=5e-3)
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.IN
    corners = [(0, 0), (2, 0), (2, 0.125), (0.125, 0.125), (0.125, 2), (0, 2)]
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        drawing.modelspace().add_line(b, a)
    drawing.saveas(tmp_path / "angle.dxf")
    angle = read_outline(tmp_path / "angle.dxf", "angle.dxf", None, None)
    np.testing.assert_allclose(angle.area, (2 * 2 - 1.875**2) * 0.0254**2, rtol=1e-9)
    metric = read_outline(tmp_path / "angle.dxf", "angle.dxf", "mm instead of in", None)
    np.testing.assert_allclose(metric.area * 25.4**2, angle.area, rtol=1e-9)
    for unit in ("mm", "mm instead of cm"):
        with pytest.raises(InputError, match=f'"{unit}" contradicts angle.dxf, which says in'):
            read_outline(tmp_path / "angle.dxf", "angle.dxf", unit, None)
    for code, short, size in ((14, "dm", 0.1), (21, "ft", 1200 / 3937)):
        drawing.header["$INSUNITS"] = code
        drawing.saveas(tmp_path / "other.dxf")
        with pytest.raises(InputError, match=f'write unit = "mm instead of {short}"'):
            read_outline(tmp_path / "other.dxf", "other.dxf", "mm", None)
        metric = read_outline(tmp_path / "other.dxf", "other.dxf", f"mm instead of {short}", None)
        whole = read_outline(tmp_path / "other.dxf", "other.dxf", None, None)
        np.testing.assert_allclose(whole.area, metric.area * (1e3 * size) ** 2, rtol=1e-9)
    drawing.header["$INSUNITS"] = 13
    drawing.saveas(tmp_path / "micron.dxf")
    for unit in (None, "mm"):
        with pytest.raises(InputError, match=r"another unit than in, ft, .*INSUNITS is 13"):
            read_outline(tmp_path / "micron.dxf", "micron.dxf", unit, None)
    same = read_outline(tmp_path / "angle.dxf", "angle.dxf", "inch", None)
    assert same.equals(angle)


def test_open_drawing_is_refused(tmp_path):
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    drawing.modelspace().add_lwpolyline([(0, 0), (40, 0), (40, 3)])
    drawing.modelspace().add_line((0, 0), (0, 9))
    drawing.saveas(tmp_path / "open.dxf")
    with pytest.raises(InputError, match="do not close"):
        read_outline(tmp_path / "open.dxf", "open.dxf", None, None)
    drawing.modelspace().add_line((-9, 0), (60, 0), dxfattribs={"layer": "AXES"})
    drawing.saveas(tmp_path / "axes.dxf")
    with pytest.raises(InputError, match="layers 0, AXES: name the outline's"):
        read_outline(tmp_path / "axes.dxf", "axes.dxf", None, None)
    with pytest.raises(InputError, match="no such file"):
        read_outline(tmp_path / "none.dxf", "none.dxf", None, None)


@pytest.mark.parametrize(
    ("left", "right", "says"),
    [
        (-2.0, 53.0, "its inner outline crosses the outer one near 0.00, "),
        (0.0, 53.0, "its inner outline touches the outer one near 0.00, "),
        (0.1 + 0.2 - 0.3, 53.0, "its inner outline touches the outer one near 0.00, "),
        (58.0, 90.0, "several outlines beside each other"),
        (60.0, 90.0, "several outlines beside each other"),
    ],
)
def test_what_is_wrong_with_an_inner_outline(tmp_path, left, right, says):
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    for x0, x1, y0, y1 in ((0.0, 58.0, 0.0, 44.0), (left, right, 3.0, 41.5)):
        drawing.modelspace().add_lwpolyline([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], close=True)
    drawing.saveas(tmp_path / "box.dxf")
    with pytest.raises(InputError, match=says) as refused:
        read_outline(tmp_path / "box.dxf", "box.dxf", None, None)
    assert "\n" not in str(refused.value)


def test_one_profile_three_ways(tmp_path):
    """The same channel as shape, as points, as CSV: one section, and the file counts as an input."""
    size = {"width": 0.03, "depth": 0.06, "wall": 0.003}
    corners = np.array(shape_outline("channel", size).exterior.coords)[:-1]
    text = ", ".join(f"{y * 1000} {z * 1000}" for y, z in corners)
    (tmp_path / "c.csv").write_text("y [mm],z [mm]\n" + "\n".join(f"{a * 1e3},{b * 1e3}" for a, b in corners))
    ways = (
        'shape = "channel", width = "30 mm", depth = "60 mm", wall = "3 mm"',
        f'points = "{text} mm"',
        'file = "c.csv"',
    )
    found = [project(tmp_path, with_profile(words)) for words in ways]
    for one in found[1:]:
        np.testing.assert_allclose(one.rail.section.I_y, found[0].rail.section.I_y, rtol=1e-9)
        np.testing.assert_allclose(one.rail.section.center_y, found[0].rail.section.center_y, rtol=1e-3)
    assert tmp_path / "c.csv" in found[2].inputs
    turned = project(tmp_path, with_profile(f'{ways[0]}, turn = "90 deg"')).rail.section
    np.testing.assert_allclose(turned.I_z, found[0].rail.section.I_y, rtol=1e-9)
    np.testing.assert_allclose(turned.center_z, found[0].rail.section.center_y, rtol=1e-2)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ('shape = "channel", width = "30 mm"', "rail.profile.depth is missing"),
        (
            'shape = "angle", width = "30 mm", depth = "30 mm", wall = "3 mm", lip = "9 mm"',
            "lip does not belong",
        ),
        ('points = "0 0, 30 30, 30 0, 0 30 mm"', "no simple polygon"),
        ('file = "x.dxf", points = "0 0, 30 0, 0 30 mm"', "give one of file, points and shape"),
        ('shape = "rectangular tube", width = "30 mm", depth = "30 mm", wall = "15 mm"', "no hollow"),
    ],
)
def test_bad_profiles(tmp_path, words, says):
    with pytest.raises(InputError, match=says):
        project(tmp_path, with_profile(words))


def house(space, at=(0.0, 0.0)):
    """A house-shaped tube of one cell, 10 mm walls left and right, 10 mm above and below."""
    x, y = at
    space.add_lwpolyline([(x, y), (x + 40, y), (x + 40, y + 30), (x + 20, y + 50), (x, y + 30)], close=True)
    space.add_lwpolyline([(x + 10, y + 10), (x + 30, y + 10), (x + 30, y + 30), (x + 10, y + 30)], close=True)


HOUSE = 40 * 30 + 20 * 20 - 20 * 20  # [mm2]


def test_an_outline_drawn_twice_counts_once(tmp_path):
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    house(drawing.modelspace())
    house(drawing.modelspace())
    drawing.saveas(tmp_path / "rings.dxf")
    twice = read_outline(tmp_path / "rings.dxf", "rings.dxf", None, None)
    np.testing.assert_allclose(twice.area, HOUSE * 1e-6, rtol=1e-9)
    loose = ezdxf.new()
    loose.units = ezdxf.units.MM
    corners = [(0, 0), (40, 0), (40, 3), (3, 3), (3, 40), (0, 40)]
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        loose.modelspace().add_line(a, b)
        loose.modelspace().add_line(b, a)
    loose.saveas(tmp_path / "lines.dxf")
    lines = read_outline(tmp_path / "lines.dxf", "lines.dxf", None, None)
    np.testing.assert_allclose(lines.area, (40 * 40 - 37 * 37) * 1e-6, rtol=1e-9)


def test_blocks_are_taken_apart_and_keep_their_layers(tmp_path):
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    for layer in ("RAIL", "NOTES"):
        drawing.layers.add(layer)
    house(drawing.blocks.new("SECTION"))
    drawing.blocks.new("SHEET").add_blockref("SECTION", (5, 5))
    drawing.modelspace().add_blockref("SHEET", (100, 7), dxfattribs={"layer": "RAIL"})
    drawing.modelspace().add_line((0, 0), (90, 0), dxfattribs={"layer": "NOTES"})
    drawing.saveas(tmp_path / "blocks.dxf")
    found = read_outline(tmp_path / "blocks.dxf", "blocks.dxf", None, "rail")
    np.testing.assert_allclose(found.area, HOUSE * 1e-6, rtol=1e-9)
    with pytest.raises(InputError, match="layers NOTES, RAIL"):
        read_outline(tmp_path / "blocks.dxf", "blocks.dxf", None, None)
