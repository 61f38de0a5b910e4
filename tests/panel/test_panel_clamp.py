"""A clamp on a panel against other programs, and how one-way clips and bearing change what it finds.

`panel_clamp_A`: eight-node and four-node shells of CalculiX 2.20 and of a second program at three
refinements, tests/data/fea_checks.json. Fine meshes differ by 1.1% in the pull along the seam, 0.1% in the
uplift of the loaded clip, 1.8% in the clamp's way.
"""

from dataclasses import replace

import numpy as np
import pytest
from panels import CLAMP, DETAIL, GRIP, PANEL, clamp_dof, mesh_at

from benchmarks.verification.findings import check_cases
from benchmarks.verification.panel import clip_forces, panel_with_clamp
from fea.model.assembly import build_system
from fea.model.contact import solve_contact
from fea.model.loads import traction
from fea.model.solution import solve_model
from fea.panel.model import panel_field

LOADED = "rib0_x1200"
PLACE = np.array([-1.15])  # midway between two clips


@pytest.fixture(scope="module")
def solved():
    found = []
    for finer in (1, 2):
        model, load = panel_with_clamp(finer)
        solution = solve_model(build_system(model), load)
        found.append((clip_forces(model, solution.reaction), solution.displacement[-6:, 0] * 1e3, load))
    return found


def test_clamp_on_a_panel_agrees_with_other_programs(solved):
    expected = check_cases()["panel_clamp_A"]["expected"]["reference"]
    forces, moved, _ = solved[1]
    reference = np.array(expected["clip_reactions_N"][LOADED])
    assert forces[LOADED][0] == pytest.approx(reference[0], rel=0.011)
    assert forces[LOADED][2] == pytest.approx(reference[2], rel=0.001)
    np.testing.assert_allclose(moved[:3:2], np.array(expected["clamp_ref_u_mm"])[::2], rtol=0.018)
    for name, force in expected["clip_reactions_N"].items():
        np.testing.assert_allclose(forces[name], force, rtol=0, atol=10.0)  # of 1,118 N at the clamp
    assert forces[LOADED][0] / -1000.0 == pytest.approx(0.75, abs=0.01)
    assert forces[LOADED][2] / -500.0 == pytest.approx(0.92, abs=0.01)


def test_reactions_add_up_and_refinement_softens(solved):
    for forces, _moved, load in solved:
        np.testing.assert_allclose(sum(forces.values()), -load[-6:-3, 0], rtol=0, atol=1e-6)
    assert solved[1][1][0] > solved[0][1][0] > 0.0
    assert solved[1][1][2] > solved[0][1][2] > 0.0


def pulled(detail, force, pressure=0.0):
    mesh = mesh_at((-2.3, 0.0), PLACE, detail, refine=0.4)
    field = panel_field(mesh, PANEL, detail, GRIP, [PLACE], np.array([6.0]), alike=True)
    system = build_system(field.model)
    F = np.zeros((field.model.dof_count, 1))
    F[clamp_dof(field)[: len(force)], 0] = force
    F[:, :1] += traction(field.model, 0, np.array([[0.0], [0.0], [-pressure]]))
    answer = solve_contact(system, field.model.contacts, F)
    names = np.repeat([c.name for c in field.model.contacts], [len(c.node) for c in field.model.contacts])
    return field, answer, {n: answer.force[names == n, 0] for n in np.unique(names)}, F


def test_uplift_is_shared_by_the_two_clips_beside_the_clamp():
    """A pull midway between clips: equal in both of them, all of it in clips, nothing in the deck."""
    field, answer, force, _ = pulled(DETAIL, [0.0, 0.0, 400.0])
    assert answer.proof[0].worst < 1e-8
    x = field.model.xyz[field.model.contacts[0].node, 0]
    share = [force["clips"][np.abs(x - at) < 0.03].sum() for at in (-1.35, -0.95)]
    assert share[0] == pytest.approx(share[1], rel=0.1)
    assert force["clips"].sum() - force["bearing"].sum() == pytest.approx(400.0, rel=1e-7)
    assert sum(share) > 0.6 * 400.0


def test_gap_lets_the_seam_rise_by_itself():
    """With a gap the clips take hold later: the seam rises by about the gap more, the clips carry no more."""
    gap = 0.8e-3
    tight = pulled(DETAIL, [0.0, 0.0, 400.0], 300.0)
    loose = pulled(replace(DETAIL, clip_gap=gap), [0.0, 0.0, 400.0], 300.0)
    rise = [a.displacement[6 * f.clamp_node[0] + 2, 0] for f, a, _, _ in (tight, loose)]
    assert 0.3 * gap < rise[1] - rise[0] < 1.1 * gap
    assert loose[2]["clips"].sum() < tight[2]["clips"].sum()
    for _, answer, _, _ in (tight, loose):
        assert answer.proof[0].worst < 1e-8


def test_push_goes_into_the_deck():
    _, _, force, _ = pulled(DETAIL, [0.0, 0.0, -400.0])
    assert force["bearing"].sum() - force["clips"].sum() == pytest.approx(400.0, rel=1e-7)
    assert force["clips"].sum() < 40.0


def test_eccentric_pull_lifts_uphill_and_presses_downhill():
    """The rail above the seam tips the clamp down the slope: clips uphill hold it, the deck downhill."""
    H, height = 500.0, CLAMP.height
    field, _, force, _ = pulled(DETAIL, [H, 0.0, 0.0, 0.0, H * height, 0.0], 500.0)
    x = field.model.xyz[field.model.contacts[0].node, 0]
    up, down = (force["clips"][side].sum() for side in (x < PLACE[0], x > PLACE[0]))
    assert up > 3.0 * down


def test_result_is_the_same_from_the_left():
    """Force across to the right and to the left: mirrored."""
    right = pulled(DETAIL, [100.0, 80.0, 50.0], 200.0)
    left = pulled(DETAIL, [100.0, -80.0, 50.0], 200.0)
    dof = clamp_dof(right[0])
    a, b = (r[1].displacement[dof, 0] for r in (right, left))
    sign = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    np.testing.assert_allclose(a, b * sign, rtol=0, atol=1e-6 * np.abs(a).max())
