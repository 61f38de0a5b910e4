"""Screws of brackets: clauses against worked values, the group against statics, the limits against both."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fea.analysis import Analysis, analyze
from fea.checks.screw_strength import ScrewRule, least, screw_rule, screw_strength
from fea.checks.screws import SCREW_LIMITS, base_forces, screw_forces
from fea.push.project import push_project
from fea.push.watch import Failures
from fea.sections import screws as clauses
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat
from roofmodel.screws import Screws
from tests.checks.projects import GABLE_EN, limit, project

INCH, KSI, KIP = 0.0254, 6.894757293e6, 4448.2216
COLLECTED = Path(__file__).parents[1] / "data" / "snow_checks.json"

SCREWS = """[clamp.screws]
along = ["-30 mm", "30 mm", "-30 mm", "30 mm"]
across = ["-20 mm", "-20 mm", "20 mm", "20 mm"]
base_along = "100 mm"
base_across = "70 mm"
diameter = "5.5 mm"
head_diameter = "14 mm"
base_thickness = "2.5 mm"
base_ultimate = "360 MPa"
base_metal = "steel"
support_thickness = "1.5 mm"
support_ultimate = "390 MPa"
support_metal = "steel"
screw_shear = "6 kN"
screw_tension = "9 kN"
"""


ON_SHEET = GABLE_EN.replace('grip_length = "60 mm"', 'grip_length = "60 mm"\ngrip_height = "25 mm"')


def with_screws(folder: Path, table: str = SCREWS, **changes: Any) -> Analysis:
    return analyze(project(folder, ON_SHEET, row=changes.pop("row", "") + "\n" + table, **changes))


def group(place: list[tuple[float, float]], **changes: Any) -> Screws:
    """Screws (m) of which only the places matter, of inch sizes of the collected value otherwise."""
    found = Screws(
        place=np.array(place, dtype=float),
        base=np.array([np.nan, np.nan]),
        diameter=0.25 * INCH,
        head=0.5 * INCH,
        thread_pitch=np.nan,
        base_thickness=0.0478 * INCH,
        support_thickness=0.0598 * INCH,
        base_ultimate=65.0 * KSI,
        support_ultimate=65.0 * KSI,
        own=np.array([3.0, 4.0]) * KIP,
        tested=np.full(3, np.nan),
        tested_nominal=np.full(3, np.nan),
        tested_factor=1.0,
    )
    return replace(found, **changes)


def collected() -> dict[str, Any]:
    every = json.loads(COLLECTED.read_text())
    rows = every if isinstance(every, list) else next(v for v in every.values() if isinstance(v, list))
    return next(one for one in rows if one["id"] == "O-50")


def test_screw_strength_by_aisi_j4() -> None:
    """O-50: AISI S100-16 J4.3.1, J4.4.1, J4.4.2, own calculation by two routes."""
    want, near = collected()["outputs"], collected()["tol_rel"]
    screws = group([(0.0, 0.0)])
    allowed = screw_strength(screws, ScrewRule.ASD)
    factored = screw_strength(screws, ScrewRule.LRFD)
    shear, out, over = allowed.shear[0], allowed.out[0], allowed.over[0]
    assert shear.nominal / KIP == pytest.approx(want["Pnv_kips"], rel=near)
    assert out.nominal / KIP == pytest.approx(want["Pnot_kips"], rel=near)
    assert over.nominal / KIP == pytest.approx(want["Pnov_kips"], rel=near)
    assert shear.design / KIP == pytest.approx(want["ASD_shear"], rel=near)
    assert min(out.design, over.design) / KIP == pytest.approx(want["ASD_tension"], rel=near)
    assert factored.shear[0].design / KIP == pytest.approx(want["LRFD_shear"], rel=near)
    assert factored.out[0].design / KIP == pytest.approx(want["LRFD_tension"], rel=near)


def test_tilting_passes_into_bearing_without_a_step() -> None:
    """AISI S100-16 J4.3.1: tilting counts up to t2 = t1, not from 2.5 t1 on, a straight line between."""
    t1, d, Fu = 1e-3, 5e-3, 400e6
    ratio = np.array([0.5, 1.0, 1.75, 2.5, 4.0])
    found = clauses.joint_shear(t1, ratio * t1, d, Fu, Fu)
    tilt = 4.2 * np.sqrt((ratio * t1) ** 3 * d) * Fu
    bear = 2.7 * np.minimum(ratio, 1.0) * t1 * d * Fu
    low, high = np.minimum(tilt, bear), bear
    want = [low[0], low[1], 0.5 * (low[2] + high[2]), high[3], high[4]]
    np.testing.assert_allclose(found, want, rtol=1e-12)
    fine = clauses.joint_shear(t1, np.linspace(0.5, 3.0, 400) * t1, d, Fu, Fu)
    assert (np.diff(fine) >= -1e-9).all()
    assert np.diff(fine).max() < 0.02 * fine.max()


def test_wide_washers_count_up_to_three_quarters_of_an_inch() -> None:
    assert clauses.pull_over(1e-3, 0.030, 4e8) == pytest.approx(1.5 * 1e-3 * 0.75 * INCH * 4e8)


def test_screw_strength_by_eurocode() -> None:
    """Hand values of EN 1993-1-3:2006 table 8.2 (from memory), gamma_M2 = 1.25."""
    # 1.0 mm below the head on 1.0 mm, d = 5.5 mm: alpha = 3.2 sqrt(1 / 5.5) = 1.3645.
    assert clauses.en_bearing(1e-3, 1e-3, 5.5e-3, 360e6, 360e6)[0] == pytest.approx(2701.7, rel=1e-4)
    # On 2.5 mm alpha = 2.1: 2.1 x 360 x 5.5 x 1.0; halfway at 1.75 mm.
    assert clauses.en_bearing(1e-3, 2.5e-3, 5.5e-3, 360e6, 360e6)[0] == pytest.approx(4158.0, rel=1e-9)
    half = clauses.en_bearing(1e-3, 1.75e-3, 5.5e-3, 360e6, 360e6)[0]
    assert half == pytest.approx(0.5 * (2701.7 + 4158.0), rel=1e-4)
    # Sheets below 1 mm gain nothing from a thick one.
    thin = clauses.en_bearing(0.8e-3, 3e-3, 5.5e-3, 360e6, 360e6)[0]
    assert thin == pytest.approx(3.2 * np.sqrt(0.8 / 5.5) * 360.0 * 5.5 * 0.8, rel=1e-9)
    assert clauses.en_pull_through(1e-3, 14e-3, 360e6) == pytest.approx(14.0 * 1.0 * 360.0)
    assert clauses.en_pull_out(1.5e-3, 5.5e-3, 390e6) == pytest.approx(0.45 * 5.5 * 1.5 * 390.0)
    assert clauses.en_pull_out(2.0e-3, 5.5e-3, 390e6, 1.8e-3) == pytest.approx(0.65 * 5.5 * 2.0 * 390.0)
    sizes = {"base_thickness": 2.5e-3, "support_thickness": 1.5e-3, "diameter": 5.5e-3, "head": 14e-3}
    found = screw_strength(
        group([(0.0, 0.0)], **sizes, base_ultimate=360e6, support_ultimate=390e6), ScrewRule.EN
    )
    assert found.out[0].design == pytest.approx(0.45 * 5.5 * 1.5 * 390.0 / 1.25)
    assert found.over[0].design == pytest.approx(14.0 * 1.5 * 360.0 / 1.25)  # 1.5 mm of the base count
    thin_support = group([(0.0, 0.0)], base_thickness=0.8e-3, support_thickness=0.7e-3)
    assert np.isnan(screw_strength(thin_support, ScrewRule.EN).out[0].design)


def test_shear_and_pull_by_j4_5_inside_its_range_and_the_plain_sum_outside() -> None:
    """AISI S100-16 J4.5.1 and J4.5.2 (from memory): Omega 2.35 and 2.55; the plain sum asks for more."""
    t1 = 0.040 * INCH
    inside = group([(0.0, 0.0)], base_thickness=t1, support_thickness=0.0598 * INCH)
    over, out, _ = screw_strength(inside, ScrewRule.ASD).pairs
    assert out.bound == pytest.approx(1.15 / 2.55)
    assert out.shear == pytest.approx(4.2 * np.sqrt(0.0598**3 * 0.25) * 65.0 * KIP)
    assert over.bound == 1.0  # t2 < 2.5 t1
    thick = screw_strength(replace(inside, support_thickness=0.11 * INCH), ScrewRule.LRFD)
    assert thick.pairs[0].bound == pytest.approx(1.10 * 0.65)
    assert thick.pairs[0].weight == 0.71
    assert thick.pairs[1].bound == 1.0
    for rule in (ScrewRule.ASD, ScrewRule.LRFD, ScrewRule.LSD):
        strength = screw_strength(inside, rule)
        pair = strength.pairs[1]
        joint, pull = strength.shear[0].design, strength.out[0].design
        for share in np.linspace(0.0, 1.0, 11):
            v, t = share * joint, (1.0 - share) * pull  # uses the plain sum fully
            use = clauses.shear_and_pull(v, t, (pair.shear, pair.pull), pair.weight, pair.bound)
            assert use <= 1.0 + 1e-12


def test_canada_has_its_own_factor() -> None:
    assert screw_rule(DesignFormat.LRFD, "NBCC 2020") is ScrewRule.LSD
    assert screw_rule(DesignFormat.LRFD, "ASCE/SEI 7-22") is ScrewRule.LRFD
    assert screw_rule(DesignFormat.EN, "EN 1991-1-3") is ScrewRule.EN
    part = screw_strength(group([(0.0, 0.0)]), ScrewRule.LSD).out[0]
    assert part.design == pytest.approx(0.40 * part.nominal)


def evaluated(part: Any) -> float:
    text = "".join(one if isinstance(one, str) else repr(float(one[0])) for one in part.terms)
    text = text.replace("×", "*").replace("−", "-").replace("√", "sqrt")
    return float(eval(text, {"__builtins__": {}}, {"sqrt": np.sqrt}))


@pytest.mark.parametrize("rule", list(ScrewRule))
@pytest.mark.parametrize("ratio", [0.6, 1.0, 1.5, 3.0])
def test_printed_terms_give_the_strength(rule: ScrewRule, ratio: float) -> None:
    screws = group([(0.0, 0.0)], base_thickness=1.2e-3, support_thickness=ratio * 1.2e-3)
    found = screw_strength(screws, rule)
    for part in (*found.shear, *found.out, *found.over, *found.tension):
        assert evaluated(part) == pytest.approx(part.nominal, rel=1e-12), part


def test_two_screws_along_the_seam_share_the_tipping_moment_as_a_couple() -> None:
    """M / s on the upper one, nothing on the lower; half the force as shear each."""
    screws = group([(-0.03, 0.0), (0.03, 0.0)], base=np.array([0.1, 0.06]))
    force = np.array([2000.0, 0.0, 0.0, 0.0, 50.0, 0.0])
    shear, pull = screw_forces(force, screws, height=0.02)
    np.testing.assert_allclose(shear, [[1000.0, 0.0], [1000.0, 0.0]])
    np.testing.assert_allclose(pull, [(50.0 + 2000.0 * 0.02) / 0.06, 0.0])


def test_a_line_of_screws_leans_on_the_edge_of_the_base() -> None:
    """Roll: two thirds of 30 mm as lever, both screws alike; without a base nothing holds it."""
    screws = group([(-0.03, 0.0), (0.03, 0.0)], base=np.array([0.1, 0.06]))
    force = np.array([0.0, 0.0, 0.0, -12.0, 0.0, 0.0])
    _, pull = screw_forces(force, screws, height=0.0)
    np.testing.assert_allclose(pull, 12.0 / (2 * 0.02))
    _, unknown = screw_forces(force, replace(screws, base=np.full(2, np.nan)), height=0.0)
    assert np.isnan(unknown).all()


def test_one_screw_holds_no_twist() -> None:
    screws = group([(0.0, 0.0)], base=np.array([0.06, 0.06]))
    shear, _ = screw_forces(np.array([500.0, 0.0, 0.0, 0.0, 0.0, 8.0]), screws, 0.0)
    assert np.isnan(shear).all()
    shear, _ = screw_forces(np.array([500.0, 0.0, 0.0, 0.0, 0.0, 0.0]), screws, 0.0)
    np.testing.assert_allclose(shear, [[500.0, 0.0]])


def test_four_screws_off_center_turn_by_the_textbook_group() -> None:
    """Force F at e from the group's center: F / 4 and F e r / sum r^2 at right angles to r."""
    a, b, e = 0.03, 0.02, 0.05
    corner = [(-a, e - b), (a, e - b), (-a, e + b), (a, e + b)]
    force = np.array([1000.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    shear, _ = screw_forces(force, group(corner), 0.0)
    turn = 1000.0 * e / (4.0 * (a**2 + b**2))
    want = [(250.0 + turn * b, -turn * a), (250.0 + turn * b, turn * a)]
    want += [(250.0 - turn * b, -turn * a), (250.0 - turn * b, turn * a)]
    np.testing.assert_allclose(shear, want)


@pytest.mark.parametrize("seed", range(4))
def test_screws_hold_what_the_bracket_brings(seed: int) -> None:
    """Shear and its moment balance exactly; pulls do where none is pressed."""
    rng = np.random.default_rng(seed)
    place = rng.uniform(-0.05, 0.05, (5, 2))
    force = rng.uniform(-1.0, 1.0, (7, 6)) * np.array([900.0, 900.0, 0.0, 2.0, 2.0, 20.0])
    force[:, 2] = 4000.0  # at the center of the screws, holds every one in tension
    force[:, 3] += 4000.0 * place[:, 1].mean()
    force[:, 4] -= 4000.0 * place[:, 0].mean()
    shear, pull = screw_forces(force, group([tuple(p) for p in place]), 0.001)
    np.testing.assert_allclose(shear.sum(axis=1), force[:, :2], atol=1e-9)
    about = place[None, :, 0] * shear[..., 1] - place[None, :, 1] * shear[..., 0]
    np.testing.assert_allclose(about.sum(axis=1), force[:, 5], atol=1e-9)
    assert (pull > 0.0).all()
    np.testing.assert_allclose(pull.sum(axis=1), force[:, 2])
    over = force[:, 4] + 0.001 * force[:, 0]
    roll = force[:, 3] - 0.001 * force[:, 1]
    np.testing.assert_allclose((place[None, :, 0] * pull).sum(axis=1), -over, atol=1e-9)
    np.testing.assert_allclose((place[None, :, 1] * pull).sum(axis=1), roll, atol=1e-9)


@pytest.mark.parametrize("angle", [0.3, 1.1, 2.5])
def test_turning_bracket_and_force_together_changes_nothing(angle: float) -> None:
    rng = np.random.default_rng(3)
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    place, force = rng.uniform(-0.04, 0.04, (4, 2)), rng.uniform(-500.0, 500.0, 6)
    moved = np.concatenate([turn @ force[:2], force[2:3], turn @ force[3:5], force[5:]])
    shear, pull = screw_forces(force, group([tuple(p) for p in place]), 0.02)
    shear_too, pull_too = screw_forces(moved, group([tuple(turn @ p) for p in place]), 0.02)
    np.testing.assert_allclose(shear_too, shear @ turn.T, atol=1e-9)
    np.testing.assert_allclose(pull_too, pull, atol=1e-9)


def test_mirrored_force_loads_the_mirrored_screw() -> None:
    corner = [(-0.03, -0.02), (0.03, -0.02), (-0.03, 0.02), (0.03, 0.02)]
    force = np.array([800.0, 150.0, 90.0, 6.0, 20.0, 5.0])
    mirrored = force * np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    shear, pull = screw_forces(force, group(corner), 0.03)
    shear_too, pull_too = screw_forces(mirrored, group(corner), 0.03)
    np.testing.assert_allclose(shear_too, shear[[2, 3, 0, 1]] * [1.0, -1.0])
    np.testing.assert_allclose(pull_too, pull[[2, 3, 0, 1]])


def test_turning_about_the_edge_never_pulls_more() -> None:
    """A rigid base that lifts about its edge beyond the screws, against the group about its center."""
    rng = np.random.default_rng(11)
    for _ in range(200):
        x = np.sort(rng.uniform(-0.05, 0.05, rng.integers(2, 6)))
        x -= x.mean()
        if np.ptp(x) < 0.01:
            continue
        lift, moment = rng.uniform(0.0, 500.0), rng.uniform(0.0, 40.0)
        arm = np.abs(x).max() + rng.uniform(0.0, 0.02)
        from_edge = arm - x  # tipping down the slope, the lower edge bears
        edge = (moment + lift * arm) * from_edge / (from_edge**2).sum()
        if edge.sum() < lift:
            continue  # the edge would have to pull: it does not bear
        screws = group([(p, 0.0) for p in x], base=np.array([0.3, 0.1]))
        _, pull = screw_forces(np.array([0.0, 0.0, lift, 0.0, moment, 0.0]), screws, 0.0)
        assert pull.max() >= edge.max() * (1.0 - 1e-12)


def test_push_does_not_help_the_screws() -> None:
    screws = group([(-0.03, 0.0), (0.03, 0.0)], base=np.array([0.1, 0.06]))
    force = np.array([0.0, 0.0, -700.0, 0.0, 30.0, 0.0])
    _, pull = screw_forces(force, screws, 0.0)
    np.testing.assert_allclose(pull, [500.0, 0.0])


def test_limits_follow_from_the_forces_at_the_clamps(tmp_path: Path) -> None:
    """Plain product of the worst clamp: all is symmetric, so V = F / 4 and T = (M + F h) / (2 x 60 mm)."""
    analysis = with_screws(tmp_path)
    clamp = analysis.project.clamp
    assert clamp.screws is not None
    at = base_forces(analysis.clamp_force, clamp.screws, clamp.grip_height)
    along = np.hypot(at[..., 0], at[..., 1]).max(axis=1) / 4.0
    shear = limit(analysis, "screw shear")
    np.testing.assert_allclose(shear.demand, along, rtol=2e-2)  # and a little twist
    pull = np.maximum(at[..., 2], 0.0) / 4.0 + np.abs(at[..., 4]) / 0.12 + np.abs(at[..., 3]) / 0.08
    np.testing.assert_allclose(limit(analysis, "screw pull-out").demand, pull.max(axis=1), rtol=1e-9)
    assert limit(analysis, "screw pull-out").resistance[0] == pytest.approx(0.45 * 5.5 * 1.5 * 390.0 / 1.25)
    assert limit(analysis, "screw tension").resistance[0] == pytest.approx(9000.0 / 1.25)
    alone = [limit(analysis, name).utilization for name in ("screw shear", "screw pull-out")]
    both = limit(analysis, "screw shear and pull").utilization
    assert (both >= np.maximum(*alone) - 1e-12).all()
    assert (both <= sum(alone) + 1e-12).all()


def test_screws_can_govern_and_lower_the_reserve(tmp_path: Path) -> None:
    plain = analyze(project(tmp_path))
    weak = with_screws(tmp_path, SCREWS.replace('"1.5 mm"', '"0.9 mm"'))
    assert not any(one.name in SCREW_LIMITS for one in plain.limits)
    assert weak.attachment is not None
    assert weak.limits[weak.attachment.limit].name == "screw shear and pull"
    case = weak.attachment.case
    assert weak.reserve[case] < plain.reserve[case]
    # Without dead load to speak of, the use grows with the snow: reserve is its reciprocal.
    assert weak.reserve[case] * weak.attachment.utilization == pytest.approx(1.0, rel=0.02)
    assert any("tests of the bracket on this panel beat calculation" in words for words in weak.cautions)


def test_what_is_missing_is_not_verified_unless_exceeded_already(tmp_path: Path) -> None:
    lines = [line for line in SCREWS.splitlines() if not line.startswith(("screw_shear", "support_"))]
    analysis = with_screws(tmp_path, "\n".join(lines))
    open_ = {one.name for one in analysis.unverified}
    assert {"screw shear", "screw pull-out", "screw shear and pull"} <= open_
    assert not open_ & {"screw pull-over", "screw tension"}
    assert not analysis.passed
    weak = with_screws(tmp_path, "\n".join(lines).replace('"9 kN"', '"0.5 kN"'))
    assert weak.exceeded
    assert "screw tension" not in {one.name for one in weak.unverified}


def test_tested_strengths_take_the_place_of_calculation(tmp_path: Path) -> None:
    """Wood below: no steel to calculate with, three tested strengths with their own factor."""
    lines = [
        line
        for line in SCREWS.splitlines()
        if not line.startswith(("base_t", "base_u", "base_m", "support_"))
    ]
    tests = 'shear = "2 kN"\npull_out = "3 kN"\npull_over = "4 kN"\ntest_kind = "characteristic"\n'
    analysis = with_screws(tmp_path, "\n".join(lines) + "\n" + tests + "test_factor = 1.5\n")
    assert limit(analysis, "screw shear").resistance[0] == pytest.approx(2000.0 / 1.5)
    assert limit(analysis, "screw pull-out").resistance[0] == pytest.approx(2000.0)
    assert limit(analysis, "screw pull-over").resistance[0] == pytest.approx(4000.0 / 1.5)
    assert not any("screw" in one.name for one in analysis.unverified)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('diameter = "5.5 mm"', 'diameter = "9 mm"', "of which EN 1993-1-3 table 8.2 speaks"),
        ('head_diameter = "14 mm"', 'head_diameter = "5 mm"', "not more than the screw's diameter"),
        ('across = ["-20 mm", "-20 mm", "20 mm", "20 mm"]', 'across = ["-20 mm"]', "one each per screw"),
        ('"-20 mm", "-20 mm", "20 mm", "20 mm"', '"-4 mm", "-4 mm", "4 mm", "4 mm"', "three diameters"),
        ('base_across = "70 mm"', 'base_across = "50 mm"', "less than 1.5 diameters to its edge"),
        ('screw_shear = "6 kN"', 'shear = "6 kN"', "need test_kind"),
        ('screw_shear = "6 kN"', "count = 2", "give the places of the screws"),
        ('screw_shear = "6 kN"', 'test_kind = "design"', "go with shear, pull_out or pull_over"),
        ('support_ultimate = "390 MPa"\n', "", "together"),
        (
            'screw_shear = "6 kN"',
            'shear = "6 kN"\ntest_kind = "characteristic"',
            "clamp.screws.test_factor is missing",
        ),
    ],
)
def test_wrong_screws_are_refused_in_one_line(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in SCREWS
    with pytest.raises(InputError) as caught:
        project(tmp_path, ON_SHEET, row="\n" + SCREWS.replace(old, new))
    message = str(caught.value)
    assert words in message
    assert "clamp.screws" in message
    assert "\n" not in message


def test_least_names_what_is_missing_first() -> None:
    strength = screw_strength(group([(0.0, 0.0)], own=np.array([np.nan, 9e9])), ScrewRule.ASD)
    assert least(strength.shear).name == "shear of the screw itself"
    known = screw_strength(group([(0.0, 0.0)]), ScrewRule.ASD)
    assert least(known.shear).name == "shear of the joint"


def test_what_looks_at_clamp_strength_alone_refuses_screws(tmp_path: Path) -> None:
    analysis = with_screws(tmp_path)
    with pytest.raises(InputError, match="a push knows nothing of screws"):
        push_project(analysis, Failures(0.0, 0.0, 0.0))
