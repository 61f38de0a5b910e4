"""How large a cause was is recovered from evidence that a hidden sample of it made."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze
from fea.evidence.causes import Strengths
from fea.evidence.compare import Found
from fea.evidence.explanations import sample_bank
from fea.evidence.fit import fit
from fea.evidence.roof import evidence_roof
from fea.evidence.sizes import SIZES, sizes_of
from fea.failure.roof_case import Laws
from roofmodel.project.load import load_project

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"


@pytest.fixture(scope="module")
def weak():
    """So weak that every explanation has many samples that fail."""
    return evidence_roof(analyze(load_project(MODEL)), None, Laws(mean_strength=0.8, impact=None))[0]


@pytest.mark.parametrize("cause", ["weak batch", "uneven snow", "missing clamps"])
def test_the_size_of_a_hidden_cause_is_within_its_range(weak, cause):
    """Hidden samples of the same explanation: 5 to 95 % hold the truth about nine times in ten."""
    bank = sample_bank(weak, cause, Strengths(0.15, 0.2), 8000, 1)
    hidden = sample_bank(weak, cause, Strengths(0.15, 0.2), 500, 99)
    c = len(weak.layout.clamp_s)
    lost = hidden.gave_way.sum(axis=1)
    inside, told, true = [], [], []
    for s in np.flatnonzero((lost > 3) & (lost < c - 3))[:45]:
        snow, fallen = hidden.mass[s], hidden.fallen[s]
        found = Found(
            np.ones(c, dtype=bool), hidden.gave_way[s], np.full(c, 0.005), (snow, 0.1 * snow),
            (fallen, 0.2 * fallen),
        )  # fmt: skip
        one = fit(weak.layout, found, (bank,), (1.0,))[0]
        for size in sizes_of(bank, one):
            was = hidden.sizes[size.name][s]
            if SIZES[size.name] != "chance" and np.isfinite([size.low, size.high, was]).all():
                inside.append(size.low - 1e-9 <= was <= size.high + 1e-9)
                if size.name == "snow torn":
                    told.append(size.middle)
                    true.append(was)
    assert len(inside) > 40
    assert np.mean(inside) > 0.8
    assert np.corrcoef(told, true)[0, 1] > 0.8


def test_snow_above_what_came_off_is_that_of_the_heap_there(weak):
    """Even snow weighs the same on all clamps; under a heap from that beside it to that at its top."""
    even, heaped = (
        sample_bank(weak, cause, Strengths(0.15, 0.2), 500, 1) for cause in ("weak batch", "uneven snow")
    )
    off = even.gave_way.any(axis=1)
    assert off.any()
    assert even.sizes["snow torn"][off] == pytest.approx(even.mass[off])
    assert even.sizes["snow torn most"][off] == pytest.approx(even.mass[off])
    assert np.isnan(even.sizes["snow torn"][~off]).all()
    off = heaped.gave_way.any(axis=1)
    mean, most = heaped.sizes["snow torn"][off], heaped.sizes["snow torn most"][off]
    top = heaped.mass[off] * heaped.sizes["heap top"][off]
    assert (mean >= heaped.mass[off] - 1e-12).all()
    assert (most >= mean - 1e-12).all()
    assert (most <= top + 1e-12).all()
    assert (most > 0.95 * top).mean() > 0.5
