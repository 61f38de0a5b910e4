"""The hand check of screws: every printed step follows, and ends at the limit's utilization."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from report_projects import Page, run, shed
from test_report_working import evaluate, in_si, printed_tolerance, rounding

from fea.checks.governing import Governing
from fea.checks.screws import SCREW_LIMITS
from viewer.report.page import report_html
from viewer.report.working import hand_check

FOUR = """
[clamp.screws]
along = ["-35 mm", "35 mm", "-35 mm", "35 mm"]
across = ["-20 mm", "-20 mm", "20 mm", "20 mm"]
diameter = "6.3 mm"
head_diameter = "16 mm"
base_thickness = "3 mm"
base_ultimate = "360 MPa"
base_metal = "steel"
support_thickness = "{support}"
support_ultimate = "390 MPa"
support_metal = "steel"
screw_shear = "9 kN"
screw_tension = "12 kN"
"""
LINE = """
[clamp.screws]
count = 3
spacing = "40 mm"
base_along = "130 mm"
base_across = "60 mm"
diameter = "6.3 mm"
head_diameter = "16 mm"
base_thickness = "1.2 mm"
base_ultimate = "360 MPa"
base_metal = "steel"
support_thickness = "1.5 mm"
support_ultimate = "390 MPa"
support_metal = "steel"
screw_shear = "9 kN"
screw_tension = "12 kN"
"""


def bracket(units: str) -> str:
    return shed(units=units).replace('grip_length = "80 mm"', 'grip_length = "80 mm"\ngrip_height = "24 mm"')


@pytest.mark.parametrize("table", [FOUR.format(support="1.5 mm"), LINE], ids=["four", "line"])
@pytest.mark.parametrize("units", ["SI", "US"])
def test_screw_steps_are_exact_and_end_at_the_limit(table: str, units: str, tmp_path: Path) -> None:
    analysis = run(bracket(units) + table, tmp_path)
    found = [i for i, limit in enumerate(analysis.limits) if limit.name in SCREW_LIMITS]
    assert len(found) == len(SCREW_LIMITS)
    for number in found:
        limit = analysis.limits[number]
        case, target = np.unravel_index(int(limit.utilization.argmax()), limit.utilization.shape)
        worst = Governing(number, int(target), int(case), float(limit.utilization[case, target]))
        working = hand_check(analysis, worst)
        assert working is not None
        for step in working.steps:
            want = pytest.approx(step.result.value, rel=1e-4, abs=1e-9)
            assert in_si(step.expression) == want, (limit.name, step.title)
        assert working.steps[-1].symbol == "u_screw"
        assert working.steps[-1].result.value == pytest.approx(worst.utilization, rel=1e-9), limit.name


@pytest.mark.parametrize("units", ["SI", "US"])
def test_screws_that_govern_print_a_check_that_follows(units: str, tmp_path: Path) -> None:
    analysis = run(bracket(units) + FOUR.format(support="0.9 mm"), tmp_path)
    assert analysis.attachment is not None
    assert analysis.limits[analysis.attachment.limit].name in SCREW_LIMITS
    page = Page(report_html(analysis))
    assert page.steps[-2]["title"].strip() == "Design strength of one screw: pull-out of the support"
    for step in page.steps:
        value, result = evaluate(step["expression"]), evaluate(step["result"])
        allowed = printed_tolerance(step["expression"]) + rounding(step["result"].strip())
        assert abs(value - result) <= allowed + 1e-12, step
        assert allowed <= max(0.01 * abs(result), 1.0), step
