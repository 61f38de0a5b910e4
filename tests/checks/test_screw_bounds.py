"""What calculated screws may not be taken for: other metals, near edges, bases that bend; missing levers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.checks.governing import Governing
from fea.checks.screw_strength import ScrewRule, least, screw_strength
from fea.checks.screws import screw_forces
from fea.sections import screws as clauses
from roofmodel.errors import InputError
from roofmodel.units import SI
from tests.checks.projects import GABLE_EN, limit, project
from tests.checks.test_screws import KSI, ON_SHEET, SCREWS, group, with_screws
from viewer.report.working import hand_check
from viewer.summary import verdict


def refused(folder: Path, words: str, *changes: tuple[str, str], text: str = ON_SHEET) -> None:
    table = SCREWS
    for old, new in changes:
        assert old in table
        table = table.replace(old, new)
    with pytest.raises(InputError, match=words) as caught:
        project(folder, text, row="\n" + table)
    assert "\n" not in str(caught.value)


def test_a_bracket_may_stand_higher_than_the_ribs_and_says_how_high(tmp_path: Path) -> None:
    refused(tmp_path, "clamp.grip_height is missing", text=GABLE_EN)
    high = project(tmp_path, ON_SHEET.replace('"25 mm"', '"80 mm"'), row="\n" + SCREWS)  # ribs: 50 mm
    assert high.clamp.grip_height == pytest.approx(0.08)
    with pytest.raises(InputError, match="leaves nothing of the seam to grip"):
        project(tmp_path, ON_SHEET.replace('"25 mm"', '"80 mm"'))


def test_only_steel_is_calculated(tmp_path: Path) -> None:
    refused(
        tmp_path,
        "speaks of steel; give shear and pull_out from tests",
        ('support_metal = "steel"', 'support_metal = "other"'),
    )
    refused(tmp_path, "is no steel", ('"390 MPa"', '"30 MPa"'))
    refused(tmp_path, "support_metal together", ('support_metal = "steel"\n', ""))
    # A diameter that no clause knows, with the thickness of the support alone.
    lines = [line for line in SCREWS.splitlines() if not line.startswith(("base_t", "base_u", "base_m"))]
    with pytest.raises(InputError, match="of which EN 1993-1-3 table 8"):
        project(tmp_path, ON_SHEET, row="\n" + "\n".join(lines).replace('"5.5 mm"', '"11 mm"'))


def test_edges_of_the_base(tmp_path: Path) -> None:
    """EN: three diameters along the force. AISI: 0.6 F_u 2 t (e - d / 2) at the nearest edge, by hand."""
    refused(tmp_path, "less than 3 diameters to its edge", ('base_along = "100 mm"', 'base_along = "90 mm"'))
    inch, edge = 0.0254, 0.375 * 0.0254  # 1.5 diameters of 1/4 in
    near = group([(0.0, 0.0)], base=np.array([2.0 * edge, 3.0 * inch]), base_thickness=0.0478 * inch)
    parts = screw_strength(near, ScrewRule.ASD).shear
    torn = 0.6 * 65.0 * KSI * 2.0 * 0.0478 * inch * 0.25 * inch
    assert parts[1].nominal == pytest.approx(torn)
    assert least(parts) is parts[1]
    far = screw_strength(replace(near, base=near.base * 3.0), ScrewRule.ASD).shear
    assert least(far).name == "shear of the joint"
    # From 2.75 diameters on bearing of the sheet holds less: 2.7 t d F_u.
    d = np.array([2.74, 2.75, 2.76]) * 0.25 * inch
    torn_off = clauses.edge_shear(near.base_thickness, d, near.diameter, near.base_ultimate)
    ratio = torn_off / clauses.bearing(near.base_thickness, near.diameter, near.base_ultimate)
    assert ratio[0] < ratio[1] < ratio[2]
    assert ratio[1] == pytest.approx(1.0)
    assert len(screw_strength(near, ScrewRule.EN).shear) == 2
    notes = with_screws(tmp_path, SCREWS.replace('base_across = "70 mm"\n', "")).cautions
    assert any("Edges of the base are NOT checked: clamp.screws.base_across" in one for one in notes)
    assert any("pries" in one for one in notes)
    thin = with_screws(
        tmp_path, SCREWS.replace('base_thickness = "2.5 mm"', 'base_thickness = "1 mm"')
    ).cautions
    assert any("TOO FLEXIBLE: screws stand 30 thicknesses" in one for one in thin)


def test_en_counts_no_more_than_it_speaks_of() -> None:
    """550 MPa at most; of a screw that would shear before its sheet, one part in 1.2."""
    hard = group([(0.0, 0.0)], base_ultimate=900e6, support_ultimate=900e6)
    bound = group([(0.0, 0.0)], base_ultimate=550e6, support_ultimate=550e6)
    for kind in ("shear", "out", "over"):
        some, same = (getattr(screw_strength(one, ScrewRule.EN), kind)[0].nominal for one in (hard, bound))
        assert some == pytest.approx(same)
    own = screw_strength(bound, ScrewRule.EN).shear[-1]
    assert own.design == pytest.approx(bound.own[0] / 1.2 / 1.25)


@pytest.mark.parametrize("rule", [ScrewRule.ASD, ScrewRule.LRFD, ScrewRule.LSD])
def test_a_plain_sum_asks_for_no_less_than_the_tested_lines(rule: ScrewRule) -> None:
    """The same screw just inside and just outside the sizes of J4.5.1 and J4.5.2."""
    inch = 0.0254
    inside = group([(0.0, 0.0)], base_thickness=0.0444 * inch, support_thickness=0.1112 * inch)
    outside = replace(inside, base_thickness=0.0446 * inch, support_thickness=0.1117 * inch)
    a, b = (screw_strength(one, rule).pairs[0] for one in (inside, outside))
    assert a.weight != b.weight
    for share in np.linspace(0.0, 1.0, 21):
        v, t = share * a.shear, (1.0 - share) * a.pull
        use, plain = (
            float(clauses.shear_and_pull(v, t, (p.shear, p.pull), p.weight, p.bound)) for p in (a, b)
        )
        assert plain >= use * (1.0 - 0.006)  # the sheet is 0.5 % thicker


LINE = SCREWS.replace(
    'along = ["-30 mm", "30 mm", "-30 mm", "30 mm"]\nacross = ["-20 mm", "-20 mm", "20 mm", "20 mm"]',
    'count = 2\nspacing = "60 mm"',
).replace('base_across = "70 mm"\n', "")


def test_a_force_that_counts_as_none_has_no_moment_either() -> None:
    """0.2 N across at 50 mm, beside 4 kN along: less than the share that counts as a load."""
    screws = group([(-0.03, 0.0), (0.03, 0.0)], base=np.array([0.1, np.nan]))
    force = np.array([4000.0, 0.2, 0.0, 0.0, 0.0, 0.0])
    _, pull = screw_forces(force, screws, 0.05, least_force=1e-4 * 4000.0)
    np.testing.assert_allclose(pull, [4000.0 * 0.05 / 0.06, 0.0])
    _, pull = screw_forces(force * [1.0, 10.0, 1.0, 1.0, 1.0, 1.0], screws, 0.05, least_force=0.4)
    assert np.isnan(pull).all()


def test_a_moment_without_a_lever_is_named_and_its_pull_not_told_as_nothing(tmp_path: Path) -> None:
    analysis = with_screws(tmp_path, LINE, warm=30, sk=0.3)  # the rail pushes across the seams
    for name in ("screw pull-out", "screw tension"):
        one = limit(analysis, name)
        assert one.unverified.any()
        assert np.isnan(one.demand[np.isnan(one.utilization)]).all()
    words = " ".join(verdict(analysis, SI).more)
    assert "finds no lever; give clamp.screws.base_across." in words
    assert "support_thickness" not in words


def test_the_hand_check_goes_on_where_next_to_nothing_has_no_lever(tmp_path: Path) -> None:
    """A line of screws without base_across: clamps that no force crosses are worked to the end."""
    analysis = with_screws(tmp_path, LINE)
    number = next(i for i, one in enumerate(analysis.limits) if one.name == "screw shear and pull")
    use = analysis.limits[number].utilization
    known = np.nan_to_num(use, nan=0.0)
    case, target = np.unravel_index(int(known.argmax()), known.shape)
    assert known[case, target] > 0.0
    working = hand_check(analysis, Governing(number, int(target), int(case), float(known[case, target])))
    assert working is not None
    assert working.steps[-1].symbol == "u_screw"
    assert working.steps[-1].result.value == pytest.approx(known[case, target], rel=1e-9)
    assert {"T", "V"} <= {step.symbol for step in working.steps}
