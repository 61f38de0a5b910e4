"""A thaw front over a real roof: strips add up to the whole, and feed the rows that they can reach."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze
from fea.failure.roof_case import choose_case
from fea.failure.thaw_front import front_shares
from roofmodel.project.load import load_project

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"


@pytest.fixture(scope="module")
def roof():
    analysis = analyze(load_project(MODEL))
    return analysis, choose_case(analysis)


def test_a_front_from_the_left_passes_clamp_after_clamp(roof):
    """36 m in three strips: a clamp in the middle of one gets its snow from there; all of it in the end."""
    analysis, chosen = roof
    shares = front_shares(analysis, chosen, "left", 3)
    assert shares.sum(axis=0) == pytest.approx(np.ones(shares.shape[1]))
    layout = analysis.project.layout
    place = layout.clamp_s / layout.row_length[layout.clamp_row]
    for k, middle in enumerate((1.0 / 6.0, 0.5, 5.0 / 6.0)):
        near = np.abs(place - middle) < 0.08
        assert near.sum() > 4
        assert shares[k, near] == pytest.approx(1.0, abs=0.02)
    mirrored = front_shares(analysis, chosen, "right", 3)
    assert mirrored == pytest.approx(shares[::-1], abs=1e-9)


def test_a_front_from_the_eave_reaches_the_low_row_first(roof):
    """The high row stands at 4.6 of 8.8 m: nothing below it reaches it, everything above it does."""
    analysis, chosen = roof
    shares = front_shares(analysis, chosen, "eave", 2)
    low = analysis.project.layout.clamp_row == 0
    assert shares[0, low] == pytest.approx(1.0, abs=0.1)
    assert np.abs(shares[0, ~low]).max() < 1e-6
    assert front_shares(analysis, chosen, "ridge", 2) == pytest.approx(shares[::-1], abs=1e-9)
