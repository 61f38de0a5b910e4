"""A plane with a wing before it: its lower part is in pieces, and each is judged by where its snow lands."""

import numpy as np
import pytest
import tomlkit
from plan_projects import loaded_without_rows

from fea.planning.candidates import ladders
from fea.planning.threats import find_threats
from roofmodel.project.load import with_rows
from roofmodel.project.schema import RowTable
from viewer.app import messages
from viewer.app.edits import apply_edit

T_ROOF = """
[[roof.part]]
shape = "gable"
footprint = "0 0, 14 0, 14 6, 0 6 m"
pitches = ["30 deg", "gable", "30 deg", "gable"]
eave_height = "3 m"
[[roof.part]]
shape = "gable"
footprint = "5 -4, 9 -4, 9 3, 5 3 m"
pitches = ["gable", "30 deg", "gable", "30 deg"]
eave_height = "3 m"
"""
DOOR = """
[[protect]]
name = "door"
area = "11 -2, 12 -2, 12 -1, 11 -1 m"
"""


@pytest.fixture(scope="module")
def threatened(tmp_path_factory):
    """The main roof's south side lies left and right of a wing; the door is on the right, in the corner."""
    project = loaded_without_rows(tmp_path_factory.mktemp("t"), T_ROOF, MORE=DOOR)
    return project, find_threats(project)


@pytest.mark.parametrize("full", [False, True])
def test_no_row_stands_where_nothing_slides_onto_the_door(threatened, full):
    """Below the wing's ridge (2.31 m up) the left leg drains past the other side of the wing."""
    project, threats = threatened
    (ladder,) = ladders(project, threats, (1,), full=full)
    south = project.roof.planes.name.index("S1")
    rows = [place.row for level in ladder.places for place in level if place.plane == south]
    low = [row for row in rows if row.up < 2.3]
    assert len(low) > 3
    for row in low:
        valley = 9.0 - row.up * 2.0 / 2.3094  # where its piece begins, at the valley east of the wing
        assert row.start is None
        assert "valley" in row.start_at
        placed = with_rows(project, [row.model_copy(update={"name": "A", "splice_every": None})]).layout
        assert placed.row_start[0, 0] == pytest.approx(valley, abs=1e-4)
    high = [row for row in rows if row.up > 2.35]
    assert all((row.start is None and row.start_at is None) == full for row in high)
    assert high


def test_a_row_added_in_the_browser_stands_on_every_piece(threatened):
    """The line half a meter up stops at the wing's valleys, 5 m and 9 m across less what they have closed."""
    project, _ = threatened
    document = tomlkit.parse('[[row]]\nname = "A"\nplane = "N1"\nup = "1 m"\n')
    added = messages.AddRow(id=1, type="add", revision=0, row="B", plane="S1", up="0.5 m")
    assert apply_edit(document, added, project) == "add row B in 2 pieces"
    placed = with_rows(project, [RowTable(**row) for row in document.unwrap()["row"]])
    layout, shift = placed.layout, 0.5 * 2.0 / 2.3094
    assert layout.row_name == ("A", "B", "B-2")
    higher = [row | {"up": "0.9 m"} if row["plane"] == "S1" else row for row in document.unwrap()["row"]]
    moved = with_rows(project, [RowTable(**row) for row in higher]).layout
    np.testing.assert_allclose(moved.row_end[1, 0], 5.0 + 0.9 * 2.0 / 2.3094, atol=1e-3)
    np.testing.assert_allclose(moved.row_start[2, 0], 9.0 - 0.9 * 2.0 / 2.3094, atol=1e-3)
    np.testing.assert_allclose(layout.row_start[1:, 0], [0.0, 9.0 - shift], atol=1e-3)
    np.testing.assert_allclose(layout.row_end[1:, 0], [5.0 + shift, 14.0], atol=1e-3)


def test_rows_are_asked_what_they_protect(threatened):
    project, threats = threatened
    south = project.roof.planes.name.index("S1")
    assert threats.protects(south, 0.5, 8.6, 14.0) == ("door",)
    assert threats.protects(south, 0.5, 0.0, 5.4) == ()
