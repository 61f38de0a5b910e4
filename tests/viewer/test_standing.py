"""What stands on roofs, as drawn: faces close, tops are level, glass is parallel to its plane."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from roofmodel.project.load import load_project, load_roof
from roofmodel.surface import RoofSurface
from viewer.picture.standing import plan_shapes, standing_quads, standing_svg

PROJECT = Path(__file__).parents[2] / "models" / "tannery-hall" / "project.toml"
MORE = """
[[solar]]
name = "glass"
plane = "S1"
across = "8 m"
up = "2.4 m"
width = "8 m"
depth = "2 m"
gap = "120 mm"
weight = "0.15 kPa"

[[obstruction]]
name = "chimney"
plane = "S1"
across = "18 m"
up = "5.5 m"
width = "1.2 m"
depth = "0.8 m"
height = "1 m"

[[parapet]]
edge = "S2 rake 1"
height = "0.5 m"
"""


@pytest.fixture
def roof(tmp_path: Path) -> RoofSurface:
    path = tmp_path / "project.toml"
    path.write_text(PROJECT.read_text(encoding="utf-8") + MORE, encoding="utf-8")
    return load_roof(path)[0]


def test_faces_of_box_parapet_and_glass(roof: RoofSurface) -> None:
    quads, colors = standing_quads(roof)
    assert len(quads) == len(colors) == 1 + 4 + 1 + 1
    top, glass = quads[-2], quads[-1]
    np.testing.assert_allclose(top[:, 2], top[0, 2])
    foot = roof.obstacles.start[roof.obstacles.face == 1]
    assert top[0, 2] == pytest.approx(foot[:, 2].max() + 1.0)
    plane = roof.arrays.plane[0]
    away = (glass - roof.planes.origin[plane]) @ roof.planes.normal[plane]
    np.testing.assert_allclose(away, 0.12, atol=1e-9)
    area = np.linalg.norm(np.cross(glass[1] - glass[0], glass[3] - glass[0]))
    assert area == pytest.approx(16.0)
    parapet = quads[0]
    np.testing.assert_allclose(parapet[3] - parapet[0], [0.0, 0.0, 0.5], atol=1e-9)


def test_plan_names_all(roof: RoofSurface) -> None:
    drawing = "".join(standing_svg(roof, lambda xy: 30.0 * xy))
    assert "chimney" in drawing
    assert "glass" in drawing
    assert len(plan_shapes(roof)[1]) == 1


def test_a_wrong_table_leaves_the_roof_to_look_at(tmp_path: Path) -> None:
    path = tmp_path / "project.toml"
    wrong = MORE.replace('"S2 rake 1"', '"S9 rake"')
    path.write_text(PROJECT.read_text(encoding="utf-8") + wrong, encoding="utf-8")
    found = load_roof(path)[0]
    assert found.obstacles.count == 0
    assert found.arrays.count == 1
    assert any('parapet.edge: "S9 rake"' in note for note in found.notes)


def test_bare_roofs_have_nothing_standing() -> None:
    project = load_project(PROJECT)
    quads, colors = standing_quads(project.roof)
    assert quads.shape == (0, 4, 3)
    assert colors.shape == (0, 3)
