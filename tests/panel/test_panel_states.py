"""Limits of a seam over many actions: each in the state that is worst for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from panels import DETAIL, PANEL
from test_panel_study import CLAMP
from test_panel_support import project

from fea.analysis import analyze
from fea.clamp_detail import seam_actions, study_clamp
from fea.panel.limits import number_of, seam_limits
from fea.panel.screening import NUMBERS, governing_numbers
from fea.panel.study import SeamAction, action_loads, outside_weight, study_seam, study_states
from roofmodel.project.load import load_project

SEAM = {"place": 1.35, "length": 3.0, "refine": 0.5}
DOWN = np.array([0.42, 0.0, -0.9])
DRAG = SeamAction(np.array([900.0, 0.0, 20.0, 0.0, 54.0, 0.0]), 800.0, DOWN)
BARE = replace(DRAG, pressure=0.0)
LIFT = SeamAction(np.array([200.0, 0.0, 400.0, 0.0, 5.0, 0.0]), 0.0, DOWN)


def numbers(study) -> dict[str, float]:
    stress = dict(zip(study.peaks.name, study.peaks.stress, strict=True))
    return {
        "clip uplift": study.path.clip_uplift,
        "fold opening": study.fold.peak_opening,
        "anchorage": study.path.anchorage,
        **{f"stress in the {part}": value for part, value in stress.items()},
    }


def test_worst_of_many_is_not_less_than_any_and_is_one_of_them():
    actions = [DRAG, BARE, LIFT]
    states = study_states(PANEL, DETAIL, CLAMP, actions, **SEAM)
    alone = [numbers(study_seam(PANEL, DETAIL, CLAMP, action, **SEAM)) for action in actions]
    for name in NUMBERS:
        worst = numbers(states.study[states.worst[name]])[name]
        assert worst == pytest.approx(max(each[name] for each in alone), rel=1e-6)


def test_snow_on_the_pan_relieves_the_clips_and_is_not_counted_on():
    states = study_states(PANEL, DETAIL, CLAMP, [DRAG, BARE], **SEAM)
    with_snow = study_seam(PANEL, DETAIL, CLAMP, DRAG, **SEAM)
    found = states.study[states.worst["clip uplift"]]
    assert found.action.pressure == 0.0
    assert found.path.clip_uplift > 1.05 * with_snow.path.clip_uplift


def test_case_that_pulls_up_most_is_found_beside_the_one_that_drags_most():
    states = study_states(PANEL, DETAIL, CLAMP, [DRAG, LIFT], **SEAM)
    assert states.action[states.worst["clip uplift"]] == 1
    assert states.action[states.worst["anchorage"]] == 0
    limits = seam_limits(states, ["drag", "lift"], PANEL, DETAIL, "R1-1")
    worst = {limit.name: limit.basis.partition("; worst in: ")[2] for limit in limits}
    assert worst["clip uplift"] == "lift"
    assert worst["panel anchorage"] == "drag"


def test_numbers_of_many_solutions_are_those_of_each():
    """The fast readings of the screening against those of the load path, fold and sheet."""
    study = study_seam(PANEL, DETAIL, CLAMP, DRAG, **SEAM)
    force = np.concatenate(
        [
            c.stiffness * np.maximum(-np.sum(c.normal * study.displacement[: 6 * len(study.field.model.xyz)]
            .reshape(-1, 6)[c.node, :3], axis=1) - c.gap, 0.0)
            for c in study.field.model.contacts
        ]
    )  # fmt: skip
    outside = outside_weight(study.field, DRAG)[:, None]
    found = governing_numbers(study.field, study.displacement[:, None], force[:, None], outside)[:, 0]
    expected = numbers(study)
    np.testing.assert_allclose(found, [expected[name] for name in NUMBERS], rtol=1e-6, atol=1e-6)


def test_loads_superpose():
    """Snow, own weight and grip are linear in the action."""
    study = study_seam(PANEL, DETAIL, CLAMP, DRAG, **SEAM)
    twice = SeamAction(2.0 * DRAG.grip, 2.0 * DRAG.pressure, 2.0 * DRAG.weight)
    before, whole = action_loads(study.field, [DRAG, twice, BARE])
    np.testing.assert_allclose(whole[:, 1], 2.0 * whole[:, 0], atol=1e-9)
    np.testing.assert_allclose((whole - before)[:, 0], (whole - before)[:, 2], atol=1e-9)


def test_clips_outside_of_the_mesh_are_not_passed_in_silence():
    states = study_states(PANEL, DETAIL, CLAMP, [DRAG], **SEAM)
    path = replace(states.study[0].path, clip_x=np.zeros(0), clip_total=np.zeros((1, 0, 3)))
    none = replace(states, study=(replace(states.study[0], path=path),))
    strong = replace(DETAIL, clip_strength=1e9)
    clip = next(
        limit for limit in seam_limits(none, ["x"], PANEL, strong, "R1-1") if limit.name == "clip uplift"
    )
    assert np.isnan(clip.utilization[0, 0])
    assert "no clip" in clip.basis


def test_every_case_reading_and_state_of_the_pan_is_tried(tmp_path):
    analysis = analyze(load_project(project(tmp_path, flexible=False)))
    detail = study_clamp(analysis, refine=0.5)
    actions, sources = seam_actions(analysis, detail.clamp)
    assert detail.tried == len(actions)
    assert {source.bare for source in sources} == {False, True}
    assert {source.at_top for source in sources} == {False, True}
    grips = np.array([action.grip for action in actions])
    for case in range(len(analysis.snow.cases)):
        for force in analysis.clamp_force[case, :, detail.clamp]:
            assert np.abs(grips - force).max(axis=1).min() < 1e-6 * np.abs(force).max()
    bare = [a for a, source in zip(actions, sources, strict=True) if source.bare]
    assert all(a.pressure == 0.0 for a in bare)
    assert all(np.linalg.norm(a.weight) == pytest.approx(0.6) for a in bare)  # ASCE/SEI 7-22 2.4.1
    for limit in detail.limits:
        assert detail.study_of(limit.name) is detail.states.study[detail.states.worst[number_of(limit.name)]]
