"""A house on its side is told, one that stands is not."""

from __future__ import annotations

import numpy as np
import pytest
from shapes import GABLE, gable, hip, l_part, turned
from test_importing import save, whole_building

from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.shape.importing import import_roof
from roofmodel.shape.up_axis import doubted_up, doubts
from tests.planning.plan_projects import with_roof

MARK = '[[protect]]\nname = "porch"\nplanes = ["S1"]'

HOUSES = {
    "gable": gable(),
    "asymmetric gable": gable(pitches=(22.0, GABLE, 40.0, GABLE)),
    "hip": hip(14.0, 9.0, 38.0),
    "wing": l_part((36.0,) * 6),
    "spire": hip(8.0, 8.0, 62.0),
    "tall": gable(eave=22.0),
}


@pytest.mark.parametrize("turn", [0.0, 0.3, np.pi / 2])
@pytest.mark.parametrize("name", HOUSES)
def test_a_house_is_doubted_only_on_its_side(name: str, turn: float) -> None:
    """Read with its own axis up never; with the other where its slopes are flatter than 45 degrees."""
    _, points, faces = whole_building(HOUSES[name])
    points = np.column_stack([turned(points[:, :2], turn), points[:, 2]])
    assert doubted_up(points, faces, "z") == ()
    assert doubted_up(points, faces, "y") == ()
    x, y, z = points.T
    for up, side in (("z", np.column_stack([x, z, -y])), ("y", np.column_stack([x, -z, y]))):
        said = doubted_up(side, faces, up)
        if name == "spire" or (name == "tall" and turn == 0.3):
            continue  # on their side these have gentle slopes, of roof or of walls: nothing is promised
        assert len(said) == 1
        height, slope = np.ptp(z), {"gable": 30, "tall": 30, "hip": 38, "wing": 36}.get(name)
        other = "y" if up == "z" else "z"
        assert f"with {other} up it would be {height:.1f} m high, with slopes of {slope or ''}" in said[0]


@pytest.mark.parametrize("up", ["z", "y"])
def test_a_file_read_with_the_wrong_axis_says_so(tmp_path, up: str) -> None:
    _, points, faces = whole_building(gable())
    x, y, z = points.T
    lying = np.column_stack([x, z, -y])  # y up in the file
    path = save(tmp_path / "house.obj", lying, faces)
    roof = import_roof(path, unit="m", up=up)
    assert len(doubts(roof)) == (up == "z")


def test_a_tower_beside_steep_slopes_is_not_doubted() -> None:
    """A nave of 48 degrees and a tower of 60 m: lying down it would have no slopes, whatever its walls."""
    _, points, faces = whole_building(gable(10.0, 30.0, (GABLE, 48.0, GABLE, 48.0), eave=10.0))
    x, y = 5.0 + 3.0 * np.array([-1, 1, 1, -1]), 33.0 + 3.0 * np.array([-1, -1, 1, 1])
    tower = np.concatenate([np.column_stack([x, y, np.full(4, z)]) for z in (0.0, 60.0)])
    sides = [[k, (k + 1) % 4, 4 + (k + 1) % 4, 4 + k] for k in range(4)] + [[4, 5, 6, 7]]
    box = np.array([[q[0], q[a], q[a + 1]] for q in sides for a in (1, 2)])
    points, faces = np.concatenate([points, tower]), np.concatenate([faces, box + len(points)])
    assert not any("nan" in note for note in doubted_up(points, faces, "z"))


def test_a_roof_without_walls_is_not_doubted() -> None:
    roof, _, _ = whole_building(gable())
    for points in (roof.points, roof.points[:, [0, 2, 1]]):
        assert doubted_up(points, roof.faces, "z") == ()


def test_a_mesh_whose_faces_cross_themselves_is_refused_in_a_line(tmp_path):
    """A polygon of which nothing is left as triangles, as damaged files have."""
    path = tmp_path / "crossed.obj"
    path.write_text("v 0 0 3\nv 12 0 3\nv 12 8 3\nv 0 8 3\nf 1 2 1 2\n", encoding="utf-8")
    with pytest.raises(InputError, match="has no faces"):
        import_roof(path, unit="m", up="z")


def test_a_plane_that_a_lying_house_lacks_is_refused_with_the_doubt(tmp_path) -> None:
    _, points, faces = whole_building(gable())
    x, y, z = points.T
    save(tmp_path / "house.obj", np.column_stack([x, z, -y]), faces)
    text = with_roof('[roof]\nfile = "house.obj"\nunit = "m"\nup = "z"\n', MORE=MARK)
    (tmp_path / "project.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r'there is no plane "S1".*Is the up axis right\?'):
        load_project(tmp_path / "project.toml", rows_needed=False)
    (tmp_path / "project.toml").write_text(text.replace('up = "z"', 'up = "y"'), encoding="utf-8")
    roof = load_project(tmp_path / "project.toml", rows_needed=False).roof
    assert "S1" in roof.planes.name
