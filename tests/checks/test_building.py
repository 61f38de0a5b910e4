"""What the rows do to the building: snow kept on the roof, drag handed to the structure."""

from __future__ import annotations

import numpy as np
import pytest

from fea import analyze
from fea.checks.building import building_loads
from roofmodel import load_project
from tests.cli.small_project import GOOD, changed


def loads(tmp_path, text):
    path = tmp_path / "project.toml"
    path.write_text(text)
    analysis = analyze(load_project(path))
    return analysis, building_loads(analysis.project, analysis.snow, analysis.force)


def test_steep_roof_keeps_twice_its_snow(tmp_path):
    """EN 1991-1-3 5.3.2(2): mu_1 not below 0.8 with rows; 0.8 (60 - 45) / 30 = 0.4 without, at 45 degrees."""
    _, found = loads(tmp_path, changed('"20 deg"', '"45 deg"'))
    assert found.held[0] == pytest.approx(0.8 * 1800.0 * 24.0, rel=1e-6)
    assert found.free[0] == pytest.approx(0.4 * 1800.0 * 24.0, rel=1e-6)


def test_low_roof_keeps_what_it_had(tmp_path):
    _, found = loads(tmp_path, GOOD)
    assert found.held == pytest.approx(found.free)


def test_drag_is_the_sum_of_what_the_rows_catch(tmp_path):
    """All snow above the row, s b sin(alpha) by EN 1991-1-3 6.4, without friction."""
    analysis, found = loads(tmp_path, GOOD)
    row_force = -analysis.force.thrust[:, :, 1].sum(axis=1).max()
    assert found.drag[0] == pytest.approx(row_force)
    above = 4.0 - 0.6 * np.cos(np.radians(20.0))
    assert found.drag[0] == pytest.approx(0.8 * 1800.0 * 6.0 * above * np.sin(np.radians(20.0)), rel=1e-3)
    assert found.rows[0] == pytest.approx(6.0)
