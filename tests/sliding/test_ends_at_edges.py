"""Rows that stay at an edge of their plane wherever they stand, and rails in even pieces."""

import numpy as np
import pytest
from pydantic import ValidationError
from roofs import rows

from fea.moving import moved_rows
from roofmodel.errors import InputError
from roofmodel.project.row_edges import edge_at, edge_name
from roofmodel.project.schema import RowTable
from roofmodel.shape.builders import RoofPart, build_roof

MAIN, WING = np.radians(32.0), np.radians(38.0)


@pytest.fixture(scope="module")
def roof():
    """Main house with a wing to the south, from x = 9 m to 15 m: S1 lies in two pieces beside it."""
    main, wing = ([[0, 0], [24, 0], [24, 10], [0, 10]], [[9, -6], [15, -6], [15, 5], [9, 5]])
    return build_roof(
        [
            RoofPart("gable", np.array(main, dtype=float), np.array([MAIN, np.nan, MAIN, np.nan]), 3.0),
            RoofPart("gable", np.array(wing, dtype=float), np.array([np.nan, WING, np.nan, WING]), 3.0),
        ]
    )


@pytest.mark.parametrize("up", [0.3, 0.5, 0.7, 1.45, 3.0])
def test_a_row_ends_at_its_valley_wherever_it_stands(roof, up):
    """Both planes rise from one eave height: the valley is where up sin 32 = (x - 9) tan 38."""
    left = rows(roof, {"plane": "S1", "up": f"{up} m", "start": "0 m", "end_at": "S1|W1 valley"})
    right = rows(roof, {"plane": "S1", "up": f"{up} m", "start_at": "S1|E1 valley"})
    reach = 9.0 + up * np.sin(MAIN) / np.tan(WING)
    assert left.row_length[0] == pytest.approx(reach, abs=1e-6)
    assert right.row_length[0] == pytest.approx(reach, abs=1e-6)
    place = roof.planes.to_world(int(left.row_plane[0]), left.row_end[0])
    assert roof.edges.name[edge_at(roof, int(left.row_plane[0]), place)] == "S1|W1 valley"
    assert edge_name(roof, int(left.row_plane[0]), left.row_end[0]) == "S1|W1 valley"
    assert edge_name(roof, int(left.row_plane[0]), left.row_end[0] - [1.0, 0.0]) is None


def test_the_distance_from_edges_is_kept_at_the_edge_too(roof):
    table = {"plane": "S1", "up": "0.5 m", "start": "0.5 m", "end_at": "S1|W1 valley"}
    whole, back = rows(roof, table), rows(roof, table | {"edge_distance": "0.1 m"})
    assert whole.row_end[0, 0] - back.row_end[0, 0] == pytest.approx(0.1, abs=1e-9)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"end_at": "S1|N1 ridge"}, r"end_at: the row's line does not end at S1\|N1 ridge at this height"),
        ({"end_at": "valley"}, r"end_at: plane S1 has no edge \"valley\"; it has .*S1\|W1 valley"),
    ],
)
def test_an_edge_that_is_not_there_is_refused_by_name(roof, fields, said):
    if fields["end_at"] not in roof.edges.name and "ridge" in fields["end_at"]:
        fields = {"end_at": next(n for n in roof.edges.name if n.endswith("ridge") and "S1" in n)}
        said = "end_at: the row's line does not end at"
    with pytest.raises(InputError, match=said):
        rows(roof, {"plane": "S1", "up": "0.5 m", "start": "0 m"} | fields)


def test_edges_in_the_wrong_order_are_refused_as_such(roof):
    table = {"plane": "S1", "up": "0.5 m", "start_at": "S1|E1 valley", "end_at": "S1|W1 valley"}
    with pytest.raises(InputError, match=r"start_at: .*S1\|E1 valley.* must be left of end_at"):
        rows(roof, table)


@pytest.mark.parametrize("bad", [{"end": "3 m", "end_at": "e"}, {"splice_even": True}])
def test_fields_that_contradict_are_refused(bad):
    with pytest.raises(ValidationError, match=r"end_at|splice_every"):
        RowTable.model_validate({"name": "A", "plane": "S1", "up": "1 m"} | bad)


def test_a_new_end_takes_the_place_of_the_edge():
    row = RowTable.model_validate({"name": "A", "plane": "S1", "up": "1 m", "end_at": "S1|W1 valley"})
    assert moved_rows([row], {"A": {"up": 1.5}})[0].end_at == "S1|W1 valley"
    moved = moved_rows([row], {"A": {"end": 4.0}})[0]
    assert (moved.end, moved.end_at) == (4.0, None)


@pytest.mark.parametrize("length", [5.9, 6.0, 6.1, 14.83, 14.96, 18.0, 18.01, 20.7])
def test_even_pieces_leave_no_stub(roof, length):
    table = {"plane": "N1", "up": "0.5 m", "start": "0 m", "end": f"{length} m"}
    layout = rows(roof, table | {"splice_every": "6 m", "splice_even": True})
    pieces = np.diff(np.concatenate([[0.0], layout.splice_s, [layout.row_length[0]]]))
    np.testing.assert_allclose(pieces, length / np.ceil(length / 6.0), rtol=1e-9)
    assert pieces.max() <= 6.0 + 1e-9
