"""Screws in tables and what-if runs: the case named, what moves the answer, what need not be given."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze
from fea.sensitivity import _screw_inputs, tornado
from roofmodel.errors import InputError
from tests.checks.projects import STRENGTH, limit, project
from tests.checks.test_screws import ON_SHEET, SCREWS, with_screws
from viewer.clamp_table import clamp_columns
from viewer.picture.findings import clamp_cases, clamp_utilization


def test_a_clamp_is_listed_in_the_case_that_uses_it_most(tmp_path: Path) -> None:
    """By its screws where they govern; the unknown comes after what is exceeded, before what is kept."""
    analysis = with_screws(tmp_path)
    cases, clamps = limit(analysis, "clamp combined").utilization.shape
    assert cases >= 2
    table = np.random.default_rng(0).uniform(0.1, 0.5, (cases, clamps))
    screws = table.copy()
    screws[1, 0], screws[0, 1], screws[1, 1], screws[1, 2] = 0.9, 1.4, np.nan, np.nan
    changed = {"clamp combined": table, "screw shear and pull": screws}
    limits = tuple(
        replace(one, utilization=changed.get(one.name, 0.0 * one.utilization)) for one in analysis.limits
    )
    made = replace(analysis, limits=limits)
    worst = clamp_cases(made)
    assert worst[:3].tolist() == [1, 0, 1]
    assert (worst[3:] == table[:, 3:].argmax(axis=0)).all()
    use = clamp_utilization(made)
    np.testing.assert_array_equal(use[:3], [0.9, 1.4, np.nan])
    column = {one.head: list(one.values) for one in clamp_columns(made)}
    assert column["Worst case"][0] == analysis.snow.cases[1].name


def test_the_tornado_knows_screws(tmp_path: Path) -> None:
    """Pull-out goes by the thickness of the support, the pull by the height over which the force acts."""
    analysis = with_screws(tmp_path, SCREWS.replace('"1.5 mm"', '"0.9 mm"'))
    found = {one.name: one for one in tornado(analysis)[0]}
    support = found["thickness of the steel below the screws"]
    assert support.low > support.now > support.high
    pull = limit(analysis, "screw pull-out").utilization.max()
    both = analysis.attachment
    assert both is not None
    # Shear of the joint and pull-out both fall with the sheet: pull-out alone by one over the thickness.
    assert (1.0 / 0.9 - 1.0) * pull <= support.low - support.now
    height = found["height of the grip over the sheet"]
    assert height.high > height.now > height.low
    tested = limit(analysis, "screw tension").utilization.max()
    assert found["strength of the screws themselves"].low == pytest.approx(support.now)
    assert tested < both.utilization
    thin = project(
        tmp_path,
        ON_SHEET,
        row="\n" + SCREWS.replace('"1.5 mm"', '"0.95 mm"').replace('"2.5 mm"', '"0.85 mm"'),
    )
    with pytest.raises(InputError, match="does not speak of so thin a sheet"):
        dict(_screw_inputs(thin))["thickness of the steel below the screws"](thin, 0.9)


def test_a_bracket_on_screws_may_leave_its_own_strength_open(tmp_path: Path) -> None:
    """Its screws are checked all the same; the bracket is not verified."""
    along = 'along = "6 kN", '
    assert along in STRENGTH
    given = with_screws(tmp_path)
    open_ = with_screws(tmp_path, strength=STRENGTH.replace(along, ""))
    assert {one.name for one in open_.unverified} >= {"clamp along the seam", "clamp combined"}
    for name in ("screw shear", "screw pull-out", "screw shear and pull"):
        np.testing.assert_array_equal(limit(open_, name).utilization, limit(given, name).utilization)
    assert not open_.passed
    with pytest.raises(Exception, match=r"clamp\.strength\.along is missing"):
        analyze(project(tmp_path, strength=STRENGTH.replace(along, "")))
