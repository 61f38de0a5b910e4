"""The search for the snow at which a limit is reached: all cases at once, each as if alone."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.checks import reserve
from fea.checks.limits import Demands
from fea.checks.reserve import UNLIMITED, _bracket, _crossing
from roofmodel.project.load import load_project

MODELS = Path(__file__).parents[2] / "models"

NEVER, JUMP = 5, 4


def excess(x):
    """Straight, bent, rooted, steep, jumping, never: each case has its own utilization less one."""
    return np.array(
        [
            x[0] / 0.7 - 1.0,
            np.maximum(0.1 * x[1], 5.0 * (x[1] - 3.0)) - 1.0,
            np.sqrt(0.3 + (0.04 * x[2]) ** 2) - 1.0,
            (x[3] / 9.0) ** 12 - 1.0,
            np.where(x[4] < 1.3, -0.5, 0.2),
            0.5 - 1.0 + 0.0 * x[5],
        ]
    )


def test_each_case_finds_its_own_factor():
    known = np.zeros(6, dtype=bool)
    high, never = _bracket(excess, known)
    assert never.tolist() == [False] * 5 + [True]
    assert high[NEVER] > UNLIMITED
    assert (excess(high)[~never] >= 0.0).all()
    found = _crossing(excess, high, never)
    right = [0.7, 3.2, np.sqrt(0.7) / 0.04, 9.0]
    assert found[:JUMP] == pytest.approx(right, rel=1e-9)
    # At a jump the end that still holds counts.
    assert 1.3 * (1.0 - 1e-9) <= found[JUMP] < 1.3


def test_clamps_that_only_snow_uses_are_followed_beside_many_that_others_use_more(monkeypatch):
    """69 clamps at 0.6 whatever snows, 69 at 0.4 of the snow: the reserve is 1 / 0.4."""
    project = load_project(MODELS / "ridge-school" / "project.toml")
    clamp, layout = project.clamp, project.layout
    still = np.zeros((1, 1, len(layout.clamp_s), 6))
    still[..., :69, 0] = 0.6 * clamp.strength[0]
    whole = still.copy()
    whole[..., 69:, 0] = 0.4 * clamp.strength[0]
    rail = np.zeros((1, 1, 5, 6))
    monkeypatch.setattr(reserve, "combine", lambda *_: Demands(still, rail))
    hardware = (clamp, project.rail, 235e6, replace(project.panel, anchorage=np.nan))
    found = reserve.snow_reserve(
        None, SimpleNamespace(readings=(0,)), (np.ones(1),) * 3, hardware, layout, None, Demands(whole, rail)
    )
    assert found == pytest.approx(2.5)
