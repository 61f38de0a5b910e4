"""Study of one clamp: everything the clamp brings is taken by somebody, in all directions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from panels import DETAIL, PANEL

from fea.panel.study import SeamAction, study_seam
from roofmodel.hardware import Clamp, Interaction

NONE = np.full(6, np.nan)
CLAMP = Clamp(np.diag([2e6, 1e6, 3e6, 0.0, 1500.0, 0.0]), NONE, NONE, 1.0, "", 0.06, 0.03, 0.07, 0.0,
              Interaction.LINEAR, "")  # fmt: skip


@pytest.mark.parametrize("every", [1, 2])
def test_load_path_adds_up_in_all_directions(every):
    action = SeamAction(np.array([900.0, 250.0, 120.0, 2.0, 54.0, 3.0]), 800.0, np.array([0.42, 0.03, -0.9]))
    found = study_seam(PANEL, DETAIL, CLAMP, action, place=1.35, length=3.0, every=every, refine=0.5)
    np.testing.assert_allclose(found.path.taken, -action.grip[:3], rtol=1e-6, atol=1e-6 * 900.0)
    assert found.field.strips == every
    assert all(proof.met for proof in found.proofs)
    assert found.path.clip.shape[0] == every
    assert np.linalg.eigvalsh(found.stiffness).min() > 0.0
    # Bearing and clips that let go can only make the seam softer.
    assert np.linalg.eigvalsh(found.stiffness_closed - found.stiffness).min() > -1e-6 * found.stiffness.max()


def test_more_seams_between_clamps_share_the_pull():
    action = SeamAction(np.array([900.0, 0.0, 0.0, 0.0, 0.0, 0.0]), 0.0, np.zeros(3))
    found = [
        study_seam(PANEL, replace(DETAIL), CLAMP, action, place=1.35, length=3.0, every=n, refine=0.5)
        for n in (1, 3)
    ]
    assert found[0].path.fixed_more[0] == pytest.approx(900.0, rel=1e-6)
    assert found[1].path.fixed_more.sum() == pytest.approx(900.0, rel=1e-6)
    assert found[1].path.fixed_more[0] == pytest.approx(found[1].path.fixed_more[2], rel=1e-4)
    assert 300.0 < found[1].path.fixed_more[1] < 900.0
    assert found[1].stiffness[0, 0] > found[0].stiffness[0, 0]
