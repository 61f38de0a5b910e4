"""From a project to the study of a clamp: weights, snow on the pan, anchorage and travel by hand."""

from __future__ import annotations

import numpy as np
import pytest
from panels import DETAIL, PANEL
from test_panel_study import CLAMP
from test_panel_support import project

from fea.analysis import analyze
from fea.clamp_detail import study_clamp
from fea.panel.restraint import strip_area
from fea.panel.study import SeamAction, study_seam
from fea.panel.support import panel_support, strips_of
from roofmodel.project.load import load_project
from roofmodel.units import STANDARD_GRAVITY


def test_the_whole_strip_hangs_on_its_fixed_point():
    """Own weight down the slope, A rho g L sin, however little of the seam is meshed."""
    action = SeamAction(np.zeros(6), 0.0, np.array([0.5, 0.0, -0.8660254]))
    found = study_seam(PANEL, DETAIL, CLAMP, action, place=1.35, length=12.0, refine=0.5)
    weight = strip_area(PANEL, DETAIL) * DETAIL.sheet.density * STANDARD_GRAVITY * 0.5 * 12.0
    assert found.path.anchorage == pytest.approx(weight, rel=1e-6)


def test_action_on_a_clamp_of_a_gable_by_hand(tmp_path):
    """0.5 m of 300 kg/m3 at strength level: 0.7 p cos^2 square to the pan, D + 0.7 S."""
    analysis = analyze(load_project(project(tmp_path, flexible=False)))
    detail = study_clamp(analysis, refine=0.5)
    slope = np.radians(25.0)
    snowy = next(s for s, source in zip(detail.states.study, detail.source, strict=True) if not source.bare)
    np.testing.assert_allclose(snowy.action.weight, [np.sin(slope), 0.0, -np.cos(slope)], atol=1e-12)
    pressure = 0.7 * 0.5 * 300.0 * STANDARD_GRAVITY * np.cos(slope) ** 2
    assert snowy.action.pressure == pytest.approx(pressure, rel=1e-9)
    whole = next(limit for limit in analysis.limits if limit.name == "panel anchorage")
    own = next(limit for limit in detail.limits if limit.name == "panel anchorage")
    strip = strips_of(analysis.project).strip[detail.clamp]
    assert own.demand[0, 0] >= whole.demand[:, strip].max()
    assert own.demand[0, 0] == pytest.approx(whole.demand[:, strip].max(), rel=0.02)
    assert detail.place == pytest.approx(0.6, rel=1e-9)


def test_seams_travel_by_the_sheet_between_clamp_and_ridge(tmp_path):
    loaded = load_project(project(tmp_path, flexible=False, seam='temperature_change = "-30 K"'))
    strips = strips_of(loaded)
    away = strips.length[strips.strip] - strips.place
    np.testing.assert_allclose(panel_support(loaded).travel[:, 0], 12e-6 * -30.0 * away, rtol=1e-9)
