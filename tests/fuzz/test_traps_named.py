"""Harmful files are refused for what they are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import traps

from roofmodel.errors import InputError
from roofmodel.profiles.drawing import read_outline
from roofmodel.shape.importing import import_roof

DATA = Path(__file__).parents[1] / "data" / "roofs"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("block in itself", 'a.dxf: the drawing\'s block "a" holds itself'),
        ("2^39 faces by blocks", r"unfold to 5.5e\+11 entities, more than 200,000"),
        ("9e8 faces by a grid of blocks", r"unfold to 9e\+08 entities"),
        ("package of 300 MB", "unpacks to 300 MB, more than 60 MB"),
        (
            "city in an unknown code",
            "a.gml: the file is XML in an encoding that cannot be read; save it as UTF-8",
        ),
        (
            "shape that maps itself, IFC",
            "a.ifc: the model is damaged: #10 leads to an element that refers to itself",
        ),
    ],
)
def test_refused_for_what_it_is(tmp_path: Path, name: str, says: str) -> None:
    if name.endswith("IFC"):
        pytest.importorskip("ifcopenshell")
    file, data, _ = traps.roofs()[name]
    (tmp_path / file).write_bytes(data)
    with pytest.raises(InputError, match=says):
        import_roof(tmp_path / file, building="all" if file.endswith("gml") else None)


def test_blocks_of_blocks_are_unfolded(tmp_path: Path) -> None:
    """Two levels, three by two times: what is bounded is the number, not the use of blocks."""
    import ezdxf

    drawing = ezdxf.new()
    drawing.units = ezdxf.units.M
    traps._face(drawing.blocks.new("tile"))
    row = drawing.blocks.new("row")
    for k in range(3):
        row.add_blockref("tile", (4 * k, 0, 0))
    drawing.modelspace().add_blockref("row", (0, 0, 0)).grid((2, 1), (4, 4))
    hidden = drawing.blocks.new("of nobody")
    hidden.add_blockref("of nobody", (0, 0, 0))
    drawing.saveas(tmp_path / "a.dxf")
    area = import_roof(tmp_path / "a.dxf").planes.plan_area
    np.testing.assert_allclose(np.sum(area), 6 * 16.0, rtol=1e-9)


def test_sound_models_have_no_ring_of_references(tmp_path: Path) -> None:
    from roofmodel.shape.ifc import _check_references

    data = (DATA / "IfcOpenHouse_ifc4.ifc").read_bytes()
    _check_references(data)
    # Words in quotes and remarks are no references.
    first = data.index(b"\n#") + 1
    said = b"#999999= IFCLABEL('it''s #999999 =');\n/* #7 = X(#7); */\n"
    _check_references(data[:first] + said + data[first:])
    with pytest.raises(InputError, match="refers to itself"):
        _check_references(
            data[:first] + b"#999999 = IFCX((#999998));\n#999998=IFCY(#999999);\n" + data[first:]
        )


def test_lines_beyond_any_profile(tmp_path: Path) -> None:
    """Once every end was held against every other: 20,000 lines would have taken 25 GB."""
    import ezdxf

    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    for k in range(5001):
        drawing.modelspace().add_line((k / 100, 0), (k / 100, 1))
    drawing.saveas(tmp_path / "a.dxf")
    with pytest.raises(InputError, match=r"a.dxf: 5,001 lines are no outline of a rail \(at most 5,000\)"):
        read_outline(tmp_path / "a.dxf", "a.dxf", None, None)


def test_line_of_no_length(tmp_path: Path) -> None:
    import ezdxf

    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    drawing.modelspace().add_lwpolyline([(3, 3), (3, 3), (3, 3)])
    drawing.saveas(tmp_path / "a.dxf")
    with pytest.raises(InputError, match=r"a.dxf: a line of the outline is damaged or has no length"):
        read_outline(tmp_path / "a.dxf", "a.dxf", None, None)
