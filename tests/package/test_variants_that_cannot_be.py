"""What moves the answer, where a variant of the project cannot stand or its rows do not fit as given."""

import math
from pathlib import Path

import pytest

from fea import sensitivity
from fea.analysis import analyze
from fea.missing import missing_clamps
from fea.row_moves import moved_rows
from fea.sensitivity import out_of_place, tornado
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.project.placement import line_pieces
from viewer.package.sway import missing_table, sway_findings, sway_words

HALL = "models/ridge-school/project.toml"
FOOT = 0.3048


@pytest.fixture(scope="module")
def analysis(tmp_path_factory):
    """A row on two clamps, and one whose ends touch both hips at its height."""
    head, _, tail = Path(HALL).read_text().partition("[[row]]")
    roof = load_project(HALL).roof
    plane = roof.planes.name.index("W1")
    (a, b), *_ = line_pieces(roof, plane, 8.0 * FOOT)
    rows = f"""
[[row]]
name = "short"
plane = "S1"
up = "2 ft"
start = "20 ft"
end = "24.5 ft"
every = 2

[[row]]
name = "hips"
plane = "W1"
up = "8 ft"
start = "0 ft"
end = "{b - a:.6f} m"
"""
    path = tmp_path_factory.mktemp("hall") / "project.toml"
    path.write_text(head + rows + tail[tail.index("[design]") :])
    found = analyze(load_project(path))
    short = found.project.layout.row_name.index("short")
    assert (found.project.layout.clamp_row == short).sum() == 2
    return found


def test_a_rail_left_on_one_clamp_is_told_and_stops_nothing(analysis):
    gone = {one.clamp.rsplit("-", 1)[0]: one for one in missing_clamps(analysis)}
    assert math.isinf(gone["short"].after)
    assert math.isfinite(gone["hips"].after)
    assert gone["hips"].after > gone["hips"].before
    cells = " ".join(" ".join(row) for row in missing_table(tuple(gone.values())).rows)
    assert "LETS GO: nothing keeps the rail from" in cells
    assert "inf" not in cells


def test_a_row_that_is_moved_up_is_cut_at_the_hips(analysis):
    """The distance of the rows from the eave is among the inputs, and rows 25 mm off are measured."""
    found, _ = tornado(analysis)
    assert any(one.name == "distance of the rows from the eave" for one in found)
    place = out_of_place(analysis)
    assert place.failed == ""
    assert math.isfinite(place.rows)


def test_a_row_that_cannot_be_moved_stays_and_the_others_are_moved(analysis):
    project = analysis.project
    roof, now = project.roof, [row.up for row in project.table.row]
    top = float(roof.planes.outline[roof.planes.name.index("S1")].bounds[3])
    (moved,), stay = moved_rows(project, [[top + 1.0, now[1] + 0.1]])
    assert list(stay) == ["short"]
    assert "short" in stay["short"]
    assert [row.up for row in moved.table.row] == pytest.approx([now[0], now[1] + 0.1])
    with pytest.raises(InputError):
        moved_rows(project, [[top + 1.0, top + 1.0]])


def test_what_cannot_be_varied_is_named(analysis, monkeypatch):
    """Seams so far apart that they miss the short row are left out by name, with the reason."""
    monkeypatch.setattr(sensitivity, "STEP", 0.9)
    sway = sway_findings(analysis)
    assert any(one.startswith(f"{sensitivity.SEAM_SPACING} (row ") for one in sway.left_out)
    assert "Not calculated, since it cannot be: " in sway_words(sway)
