"""Drawings in another unit than they say, lines that are no outline, metals that do not exist: refused."""

import ezdxf
import pytest

from roofmodel.errors import InputError
from roofmodel.profiles.drawing import read_outline
from tests.checks.projects import GABLE_EN, project
from tests.sections.test_profile_files import with_profile


def tube(path, unit, *more, size=(30.0, 24.0), wall=2.0):
    drawing = ezdxf.new()
    drawing.units = unit
    space, (w, h) = drawing.modelspace(), size
    for a in (0.0, wall):
        corners = [(a, a), (w - a, a), (w - a, h - a), (a, h - a)]
        space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "metal"})
    for line in more:
        space.add_lwpolyline(line, close=line[0] != line[-1] and len(line) > 2)
    drawing.saveas(path)
    return path


def test_a_drawing_in_millimeters_that_says_inches_is_refused_until_the_user_says_its_unit(tmp_path):
    tube(tmp_path / "t.dxf", ezdxf.units.IN)
    with pytest.raises(InputError, match=r"762 mm across by the unit that t\.dxf says"):
        project(tmp_path, with_profile('file = "t.dxf"'))
    small = project(tmp_path, with_profile('file = "t.dxf", unit = "mm instead of in"'))
    assert small.rail.section.area == pytest.approx((30 * 24 - 26 * 20) * 1e-6)
    large = project(tmp_path, with_profile('file = "t.dxf", unit = "in"'))
    assert large.rail.section.area == pytest.approx(25.4**2 * small.rail.section.area)


def test_a_drawing_frame_is_called_one(tmp_path):
    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    for low, wide, high in ((0.0, 30.0, 24.0), (2.0, 26.0, 20.0), (-40.0, 120.0, 90.0)):
        corners = [(low, low), (low + wide, low), (low + wide, low + high), (low, low + high)]
        drawing.modelspace().add_lwpolyline(corners, close=True)
    drawing.saveas(tmp_path / "t.dxf")
    with pytest.raises(InputError, match="120 x 90 mm, looks like a drawing frame"):
        project(tmp_path, with_profile('file = "t.dxf"'))


def test_a_closed_line_within_a_cell_is_refused(tmp_path):
    tube(tmp_path / "t.dxf", ezdxf.units.MM, [(10.0, 10.0), (14.0, 10.0), (14.0, 14.0), (10.0, 14.0)])
    with pytest.raises(InputError, match="lies in a cell or across its edge"):
        read_outline(tmp_path / "t.dxf", "t.dxf", None, None)
    read_outline(tmp_path / "t.dxf", "t.dxf", None, "metal")


def test_a_center_line_is_told_with_the_way_out(tmp_path):
    tube(tmp_path / "t.dxf", ezdxf.units.MM, [(15.0, -5.0), (15.0, 30.0)])
    with pytest.raises(InputError, match=r"do not close; .*center or dimension line .*--layer"):
        read_outline(tmp_path / "t.dxf", "t.dxf", None, None)
    read_outline(tmp_path / "t.dxf", "t.dxf", None, "metal")


@pytest.mark.parametrize(("metal", "strength"), [("aluminum", 1600), ("steel", 2350)])
def test_a_rail_yields_no_later_than_its_metal_can(tmp_path, metal, strength):
    text = GABLE_EN.replace(
        'material = "steel"\nyield_strength = "235 MPa"',
        f'material = "{metal}"\nyield_strength = "{strength} MPa"',
    )
    assert text != GABLE_EN
    with pytest.raises(InputError, match=rf"rail\.yield_strength: .* more than any {metal} has"):
        project(tmp_path, text)
