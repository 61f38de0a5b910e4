"""What the study says of its own mesh and window, and its readings against free bodies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from panels import DETAIL, PANEL, mesh_at
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from test_panel_study import CLAMP

import fea.panel.study as study_module
from fea.model.data import node_dof
from fea.panel.reading import leg_overlap, patch_means, sheet_peaks
from fea.panel.screening import NUMBERS
from fea.panel.study import SeamAction, study_number, study_seam, study_states, worse_of

ACTION = SeamAction(np.array([900.0, 60.0, 250.0, 2.0, 54.0, 3.0]), 400.0, np.array([0.42, 0.0, -0.9]))
PLACE = {"place": 1.35, "length": 6.0}
SMOOTH = ("stiffness along", "stiffness across", "stiffness pull", "clip uplift", "anchorage", "seam pull")


def values(found):
    return {
        **{f"stiffness {name}": found.stiffness[i, i] for i, name in enumerate(("along", "across", "pull"))},
        "clip uplift": found.path.clip_uplift,
        "anchorage": found.path.anchorage,
        "seam pull": found.fold.peak_pull,
        **{
            f"stress in the {name}": float(stress)
            for name, stress in zip(found.peaks.name, found.peaks.stress, strict=True)
        },
    }


@pytest.mark.parametrize("refine", [0.5, 1.0])
def test_refinement_halves_the_elements(refine):
    coarse, fine = (mesh_at((-2.0, 0.0), np.array([-1.0]), refine=r) for r in (refine, 2.0 * refine))
    assert np.diff(fine.x).max() < 0.7 * np.diff(coarse.x).max()
    assert fine.section.length.max() < 0.7 * coarse.section.length.max()
    assert 1.3 < len(fine.x) / len(coarse.x) < 2.2
    assert 1.3 < fine.points / coarse.points < 2.2


@pytest.fixture(scope="module")
def refined():
    return [study_seam(PANEL, DETAIL, CLAMP, ACTION, **PLACE, refine=r) for r in (1.0, 2.0)]


def test_mesh_estimate_bounds_what_finer_elements_change(refined):
    """What elements a quarter as large still change is within the estimate, stresses of patches included."""
    now, finer = refined
    before, after = values(now), values(finer)
    for name, value in before.items():
        left = abs(value - after[name]) / abs(after[name])
        assert left <= max(now.change[name], 0.12 if name == "stress in the fold" else 0.01), name
        assert now.change[name] > 0.0


def test_stress_of_a_patch_has_a_limit_where_that_of_elements_has_none(refined):
    now, finer = (study.peaks for study in refined)
    leg = now.name.index("leg")
    assert finer.local[leg] > 1.2 * now.local[leg]
    assert finer.stress[leg] == pytest.approx(now.stress[leg], rel=0.02)
    assert now.stress[leg] < now.local[leg]


def test_window_estimate_sees_a_window_that_is_too_short(monkeypatch):
    """A piece of seam with hardly a clip to each side is too little, and says so."""
    usual = study_seam(PANEL, DETAIL, CLAMP, ACTION, **PLACE, refine=0.4)
    assert 0.0 < max(usual.window[name] for name in SMOOTH) < 0.05
    monkeypatch.setattr(study_module, "WINDOW", 0.4)
    short = study_seam(PANEL, DETAIL, CLAMP, ACTION, **PLACE, refine=0.4)
    assert max(short.window[name] for name in SMOOTH) > 2.0 * max(usual.window[name] for name in SMOOTH)
    assert len(short.field.mesh.x) < 0.7 * len(usual.field.mesh.x)


@pytest.mark.parametrize(
    "force", [[0.0, 0.0, 300.0], [900.0, 0.0, 0.0], [300.0, 0.0, 200.0]], ids=["pull", "along", "both"]
)
def test_tension_below_the_fold_is_what_the_fold_above_needs(force):
    """Free body of the fold over the cut: clamp's pull, clips and own weight against the legs' tension."""
    action = SeamAction(np.array([*force, 0.0, 0.06 * force[0], 0.0]), 0.0, np.zeros(3))
    in_fold = replace(CLAMP, grip_height=0.059)
    found = study_seam(PANEL, DETAIL, in_fold, action, **PLACE, refine=0.7)
    x, pull = found.fold.x, found.fold.pull
    held = found.path.clip_total[..., 2].sum()
    total = float(np.sum(0.5 * (pull[1:] + pull[:-1]) * np.diff(x)))
    size = max(np.abs(pull).max() * found.fold.over, abs(force[2]))
    assert total == pytest.approx(force[2] + held, abs=0.04 * size)
    assert size > 100.0


def test_an_even_stretch_is_the_same_stress_in_pan_legs_and_fold(refined):
    """E e / (1 - nu^2) along, nu of it across: the fold's layers carry no more each than the single sheet."""
    field = refined[0].field
    u = np.zeros(field.model.dof_count)
    u[node_dof(np.arange(len(field.model.xyz)))[:, 0]] = 1e-3 * field.model.xyz[:, 0]
    sheet = DETAIL.sheet
    nu = sheet.E / (2.0 * sheet.G) - 1.0
    along = sheet.E * 1e-3 / (1.0 - nu**2)
    wanted = along * np.sqrt(1.0 - nu + nu**2)
    found = sheet_peaks(field, u)
    assert dict(zip(found.name, found.stress, strict=True)) == pytest.approx(
        dict.fromkeys(found.name, wanted), rel=1e-6
    )


def test_stress_is_not_averaged_over_both_legs_of_a_seam(refined):
    """The legs stand in one place, but are two sheets: no mean goes from one to the other."""
    field = refined[0].field
    group = [shells.name for shells in field.model.shells].index("leg")
    node = field.model.shells[group].node
    pair = np.repeat(node[:, :1], 3, axis=1), node[:, 1:]
    count = len(field.model.xyz)
    graph = sparse.coo_array(
        (np.ones(pair[0].size), (pair[0].ravel(), pair[1].ravel())), shape=(count, count)
    )
    sheet = connected_components(graph, directed=False)[1][node[:, 0]]
    assert len(np.unique(sheet)) == 2 * field.strips
    row, column = patch_means(field, group).nonzero()
    assert (row != column).any()
    np.testing.assert_array_equal(sheet[row], sheet[column])


def test_legs_that_pass_through_each_other_are_measured(refined):
    """Both legs moved toward each other by 0.2 and 0.3 mm; away from each other they do not overlap."""
    field = refined[0].field
    u = np.zeros(field.model.dof_count)
    section, line = field.mesh.section, len(field.mesh.x) // 2
    u[6 * field.node(0, line, section.left[2]) + 1] = 2e-4
    u[6 * field.node(0, line, section.right[2]) + 1] = -3e-4
    assert leg_overlap(field, u) == pytest.approx(5e-4)
    assert leg_overlap(field, -u) == 0.0


def test_row_ends_take_the_worse_of_two_models():
    """One and three strips from clamp to clamp, each on its own mesh: no number is less than in either."""
    several = [study_states(PANEL, DETAIL, CLAMP, [ACTION], **PLACE, every=n, refine=0.4) for n in (3, 1)]
    both = worse_of(several)
    for name in NUMBERS:
        each = [study_number(states.study[states.worst[name]], name) for states in several]
        assert study_number(both.study[both.worst[name]], name) == max(each)
    assert {study.field.strips for study in both.study} == {1, 3}
    assert worse_of(several[:1]) is several[0]
