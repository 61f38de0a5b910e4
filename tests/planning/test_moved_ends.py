"""Rows of which one end stays at an edge and the other is a number, at another height."""

import numpy as np
import pytest
from plan_projects import gable

from fea.row_moves import with_ups
from roofmodel.project.load import load_project


@pytest.mark.parametrize("up", [0.2, 1.4])
def test_a_number_at_the_other_end_is_cut_to_the_plane(tmp_path, up):
    """Hips of equal slopes take the distance up on plan, up cos 25, from each end of a 12 m eave."""
    row = '[[row]]\nname = "A"\nplane = "E1"\nup = "0.4 m"\nstart_at = "E1|S1 hip"\nend = "11.2 m"\n'
    text = (
        gable(ROWS=row).replace('shape = "gable"', 'shape = "hip"').replace('"gable", "25', '"25 deg", "25')
    )
    path = tmp_path / "project.toml"
    path.write_text(text.replace("0 0, 3 0, 3 6, 0 6 m", "0 0, 8 0, 8 12, 0 12 m"))
    moved = with_ups(load_project(path), [up])
    width = 12.0 - 2.0 * up * np.cos(np.radians(25.0))
    assert moved.layout.row_length[0] == pytest.approx(min(width, 11.2), abs=1e-6)
    assert moved.table.row[0].start_at == "E1|S1 hip"
