"""What stands on roofs, as drawn: faces close, tops are level, glass is parallel to its plane."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from roofmodel.project.load import load_project, load_roof
from roofmodel.surface import RoofSurface
from viewer.app.surface import roof_block
from viewer.app.view import roof_key
from viewer.picture.standing import (
    array_clamps,
    array_hatch,
    clamp_crosses,
    plan_shapes,
    standing_quads,
    standing_svg,
)

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


@pytest.mark.parametrize("angle", ["0 deg", "20 deg"])
def test_hatch_lies_on_the_glass_and_clamps_on_their_seams(tmp_path: Path, angle: str) -> None:
    path = tmp_path / "project.toml"
    turned = f'\n[[plane]]\nname = "S1"\nseam_angle = "{angle}"\n'
    path.write_text(PROJECT.read_text(encoding="utf-8") + MORE + turned, encoding="utf-8")
    project = load_project(path)
    roof, arrays = project.roof, project.roof.arrays
    plane = int(arrays.plane[0])

    def on_plane(points: np.ndarray) -> np.ndarray:
        points = points.reshape(-1, 3)
        away = (points - roof.planes.origin[plane]) @ roof.planes.normal[plane]
        np.testing.assert_allclose(away, 0.12, atol=1e-9)
        return roof.planes.to_plane(plane, points)

    for points in (array_hatch(roof), array_clamps(roof)):
        uv = on_plane(points)
        assert (uv > arrays.low[0] - 1e-9).all()
        assert (uv < arrays.high[0] + 1e-9).all()
    rim = on_plane(array_hatch(roof))  # every line ends on the rim
    gap = np.minimum(np.abs(rim - arrays.low[0]), np.abs(rim - arrays.high[0])).min(axis=1)
    np.testing.assert_allclose(gap, 0.0, atol=1e-9)
    u, v = on_plane(array_clamps(roof)).T
    assert len(u) == arrays.clamps_up[0] * len(arrays.line_seam)
    seam = (
        u * np.cos(arrays.angle[0]) - v * np.sin(arrays.angle[0]) - arrays.zero[0]
    ) / project.panel.seam_spacing
    inside = (u > arrays.low[0, 0] + 1e-6) & (u < arrays.high[0, 0] - 1e-6)
    assert inside.sum() >= 0.8 * len(u)
    np.testing.assert_allclose(
        seam[inside], np.repeat(arrays.line_seam, arrays.clamps_up[0])[inside], atol=1e-9
    )
    assert len(clamp_crosses(roof)) == 2 * len(u)


def test_the_browser_gets_boxes_glass_and_clamps_and_again_when_the_glass_moves(tmp_path: Path) -> None:
    path = tmp_path / "project.toml"
    text = PROJECT.read_text(encoding="utf-8") + MORE
    path.write_text(text, encoding="utf-8")
    project = load_project(path)
    raw = roof_block(project)
    about = json.loads(raw[4 : 4 + int(np.frombuffer(raw[:4], "<u4")[0])])
    assert [one["name"] for one in about["standing"]] == ["chimney", "glass"]
    numbers = (
        {one["name"]: one for one in about["buffers"]}
        if isinstance(about["buffers"], list)
        else about["buffers"]
    )
    assert numbers["obstacles"] != numbers["glass_lines"]
    key = roof_key(project)
    path.write_text(text.replace('up = "2.4 m"', 'up = "2.5 m"'), encoding="utf-8")
    assert roof_key(load_project(path)) != key


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
    assert array_hatch(project.roof).shape == (0, 2, 3)
    assert clamp_crosses(project.roof).shape == (0, 2, 3)
