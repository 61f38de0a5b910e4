"""Plain beams beside the frame: closed forms, and the frame itself where its rail cannot pass twist on."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import Analysis, analyze
from roofmodel.project.load import Project, load_project
from tests.demos import demo
from viewer.report.plain_beam import (
    beam_words,
    by_lever,
    end_shares,
    plain_beams,
    plain_reactions,
    snow_shares,
)
from viewer.report.working import hand_check
from viewer.report.working_ends import bound_parts, reached
from viewer.report.working_parts import ClampAt
from viewer.report.working_steps import clamp_at

BAR = """[rail]
shape = "flat bar"
width = "25 mm"
depth = "60 mm"
material = "steel"
yield_strength = "235 MPa"
deflection_ratio = 100

"""


def test_a_plain_beam_on_stiff_springs_is_the_continuous_beam() -> None:
    """Three equal spans, even load: 0.4, 1.1, 1.1, 0.4 of w L; an overhang a of two: 1 + a / (2 s)."""
    at = np.arange(4.0)
    found = plain_reactions(at, np.full(4, 1e9), 1e4, np.array([[0.0, 3.0, 500.0]]))
    np.testing.assert_allclose(found / 500.0, [0.4, 1.1, 1.1, 0.4], rtol=1e-3)
    lever = plain_reactions(
        np.array([0.6, 1.6]), np.full(2, 1e6), 1e4, np.array([[0.0, 0.6, 1.0 / 0.6], [0.6, 1.6, 0.0]])
    )
    np.testing.assert_allclose(lever, [1.3, -0.3], rtol=1e-9)


def test_a_plain_beam_without_bending_shares_as_a_rigid_one() -> None:
    at = np.array([0.1, 0.5, 1.3])
    found = plain_reactions(at, np.full(3, 1e3), 1e7, np.array([[0.0, 1.0, 30.0], [1.0, 1.4, 0.0]]))
    force = np.array([30.0, 30.0 * 0.5])
    a, b = np.linalg.solve(np.array([[3.0, at.sum()], [at.sum(), (at**2).sum()]]) * 1e3, force)
    np.testing.assert_allclose(found, 1e3 * (a + b * at), rtol=1e-3)
    assert found.sum() == pytest.approx(30.0, rel=1e-6)


def test_bounds_of_loads_close_to_springs_do_no_harm() -> None:
    """A load that ends 0.01 mm beside a spring acts as one that ends at it."""
    at = np.array([0.2, 0.7, 1.2])
    beams = [
        plain_reactions(at, np.full(3, 2e6), 1e4, np.array([[0.0, cut, 900.0], [cut, 1.4, 0.0]]))
        for cut in (0.7, 0.70001, 0.69999)
    ]
    np.testing.assert_allclose(beams[1:], [beams[0]] * 2, rtol=1e-4)
    assert beams[0].sum() == pytest.approx(630.0, rel=1e-9)


def test_springs_at_rest_elsewhere_under_a_rigid_beam() -> None:
    """Two equations of equilibrium; one spring under each end alone takes its part whatever its rest."""
    at, spring, rest = np.array([0.1, 0.5, 1.3]), np.array([1e3, 2e3, 1e3]), np.array([0.01, 0.0, -0.02])
    found = plain_reactions(at, spring, 1e7, np.array([[0.0, 1.0, 30.0], [1.0, 1.4, 0.0]]), rest)
    moments = np.array([[spring.sum(), spring @ at], [spring @ at, spring @ at**2]])
    a, b = np.linalg.solve(moments, np.array([30.0 + spring @ rest, 15.0 + (spring * rest) @ at]))
    np.testing.assert_allclose(found, spring * (a + b * at - rest), rtol=1e-3)
    two = [
        plain_reactions(np.array([0.2, 1.0]), np.full(2, 1e5), 1e3, np.array([[0.0, 1.4, 50.0]]), away)
        for away in (None, np.array([0.01, -0.03]))
    ]
    np.testing.assert_allclose(two[0], [70.0 * 0.3 / 0.8, 70.0 * 0.5 / 0.8], rtol=1e-6)
    np.testing.assert_allclose(two[1], two[0], rtol=1e-6)


def test_parts_by_lever_hold_force_and_moment() -> None:
    """Between the end clamps moments about any point stay; overhangs go to their end clamp whole."""
    at = np.array([0.3, 1.0, 2.2])
    inside = np.array([[0.3, 0.8, 40.0], [0.8, 1.7, 10.0], [0.5, 2.2, 5.0]])
    part, force = by_lever(at, inside), inside[:, 2] * np.ptp(inside[:, :2], axis=1)
    assert part.sum() == pytest.approx(force.sum(), rel=1e-12)
    assert part @ at == pytest.approx(force @ inside[:, :2].mean(axis=1), rel=1e-12)
    np.testing.assert_allclose(by_lever(at, np.array([[0.0, 0.3, 7.0]])), [2.1, 0.0, 0.0])


@pytest.fixture(scope="module")
def bar(tmp_path_factory: pytest.TempPathFactory) -> Project:
    """A flat bar on clamps, snow at its top, with snow from beyond the row's ends."""
    text = Path("models/granary-door/project.toml").read_text(encoding="utf-8")
    start, end = text.index("[rail]"), text.index("[clamp]")
    text = text[:start] + BAR + text[end : text.index("# What is not known for certain")]
    path = tmp_path_factory.mktemp("bar") / "project.toml"
    path.write_text(text, encoding="utf-8")
    return load_project(path)


def followed(project: Project) -> tuple[Analysis, ClampAt]:
    analysis = analyze(project)
    worst = analysis.attachment
    return analysis, clamp_at(analysis, worst.target, worst.case, analysis.limits[worst.limit].name)


def by_frame(analysis: Analysis, at: ClampAt) -> tuple[float, float]:
    """The frame's k, and k_E of the end with the largest part."""
    row = int(analysis.project.layout.clamp_row[at.clamp])
    parts = [p for p in reached(analysis, at, bound_parts(analysis, at.case, row)) if p.kind == "end"]
    most = max(parts, key=lambda part: abs(part.reached))
    return float(at.parts[0, 0] / analysis.tributary[at.case, at.clamp]), most.reached / most.bound


def end_of(analysis: Analysis, at: ClampAt) -> int:
    row = int(analysis.project.layout.clamp_row[at.clamp])
    parts = [p for p in reached(analysis, at, bound_parts(analysis, at.case, row)) if p.kind == "end"]
    return max(parts, key=lambda part: abs(part.reached)).end


def test_both_beams_are_what_the_frame_becomes(bar: Project) -> None:
    """Without torsion of the rail the frame is the first, with clamps that do not tip the second."""
    section = bar.rail.section
    soft = replace(bar, rail=replace(bar.rail, section=replace(section, J=1e-6 * section.J)))
    stiff = bar.clamp.stiffness.copy()
    stiff[4, 4] *= 1e6
    firm = replace(bar, clamp=replace(bar.clamp, stiffness=stiff))
    for k, project in enumerate((soft, firm)):
        analysis, at = followed(project)
        beams = plain_beams(analysis, at)
        share, end = by_frame(analysis, at)
        if k == 0:
            assert at.top
            assert beams.slack[0].min() > 0.0
        assert snow_shares(analysis, at, beams)[k] == pytest.approx(share, rel=0.01)
        assert end_shares(beams, end_of(analysis, at))[k] == pytest.approx(end, rel=0.01)


def test_words_of_a_load_at_the_top_name_what_moves_the_springs(bar: Project) -> None:
    soft = replace(
        bar, rail=replace(bar.rail, section=replace(bar.rail.section, J=1e-6 * bar.rail.section.J))
    )
    analysis, at = followed(soft)
    words = beam_words(analysis, at)
    assert f"e = {1e3 * bar.clamp.height:.4g}" in words.replace(".00", "")
    assert "e h T_c / k_r" in words
    assert "by lever between clamps" in words
    assert "splice" not in words
    source = next(step.source for step in hand_check(analysis).steps if step.symbol == "R")
    assert "torque of snow from beside" in source  # of the row's ends, which moves R by the clamp's tipping
    bare = replace(analysis.force, end_bound=0.0 * analysis.force.end_bound)
    less = snow_shares(replace(analysis, force=bare), at, plain_beams(analysis, at))
    assert abs(less[0] - snow_shares(analysis, at, plain_beams(analysis, at))[0]) > 0.05


def test_the_frame_is_not_said_to_lie_between() -> None:
    """At the end of this row it is a tenth below both, and nothing but the rail's torsion is the cause."""
    analysis = demo("ridge-school")
    worst = analysis.attachment
    at = clamp_at(analysis, 0, worst.case, "clamp combined")
    plain = snow_shares(analysis, at, plain_beams(analysis, at))
    share = float(at.parts[0, 0] / analysis.tributary[at.case, 0])
    assert share < 0.95 * plain.min()
    words = beam_words(analysis, at)
    assert f"here it is {100.0 * (1.0 - share / plain.min()):.1f} % below both" in words
    assert "need not lie between" in words
    assert "must" not in words
    assert "ound" not in words.replace("round", "")
    assert not any("ounds by hand" in step.note for step in hand_check(analysis).steps)


@pytest.mark.parametrize("name", ["granary-door", "sentier-house"])
def test_the_hand_check_tells_both_beams_of_a_model(name: str) -> None:
    analysis = demo(name)
    worst = analysis.attachment
    at = clamp_at(analysis, worst.target, worst.case, analysis.limits[worst.limit].name)
    words = next(step.note for step in hand_check(analysis).steps if step.symbol == "R")
    told = [float(k) for k in re.findall(r"k = (\d\.\d+)", words)]
    np.testing.assert_allclose(told, snow_shares(analysis, at, plain_beams(analysis, at)), atol=6e-4)


def test_panels_that_give_way_have_no_plain_beam() -> None:
    analysis = demo("granary-door")
    own = analysis.project.table
    options = own.analysis.model_copy(update={"panel_flexibility": True})
    soft = replace(
        analysis, project=replace(analysis.project, table=own.model_copy(update={"analysis": options}))
    )
    worst = soft.attachment
    at = clamp_at(soft, worst.target, worst.case, soft.limits[worst.limit].name)
    assert "panels give way" in beam_words(soft, at)
    assert plain_beams(soft, at) is None
