"""Snow of a row that lets go on its way to lower rows: energy by hand, and what comes down a lower roof."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import analyze
from fea.failure.assembled import PARTS, assembly
from fea.failure.cascade import cascade
from fea.failure.jobs import Sampling, do_job, jobs_of, risk_of
from fea.failure.roof_case import Laws, _use_by_splice, choose_case, choose_cases
from fea.failure.runs import LEAST, MOST, factors_of, reached, run_words, runs_between
from fea.failure.splice_laws import SpliceStrength
from fea.failure.study import RoofCase, Scatter
from fea.sampling.variables import Shape, Variable, make_inputs
from roofmodel.project.load import load_project
from roofmodel.units import SI
from tests.failure.chains import rigid_row
from viewer.starter import starter_text

G = 9.80665


@pytest.fixture(scope="module")
def two_levels(tmp_path_factory):
    path = tmp_path_factory.mktemp("two") / "project.toml"
    path.write_text(starter_text("two-level", "SI"), encoding="utf-8")
    return analyze(load_project(path), beyond=False)


def test_on_one_plane_the_factor_is_one_plus_the_run_over_the_stop(two_levels):
    """F d = m v^2 / 2 + m g (sin - mu cos) d with v^2 = 2 g s (sin - mu cos): whatever slope and friction."""
    project = two_levels.project
    layout = project.layout
    both = replace(
        layout,
        row_plane=layout.row_plane[[0, 0]],
        row_start=layout.row_start[[0, 0]] + np.array([[0.0, 0.0], [0.0, 3.0]]),
        row_end=layout.row_end[[0, 0]] + np.array([[0.0, 0.0], [0.0, 3.0]]),
    )
    lands = np.zeros((2, len(layout.clamp_s)))
    lands[1, layout.clamp_row == 0] = 0.1
    for friction, stop in ((0.0, 0.5), (0.2, 0.5), (0.0, 1.5)):
        runs = runs_between(project.roof, both, friction, lands, stop)
        assert (runs.upper.tolist(), runs.lower.tolist()) == ([1], [0])
        slope = project.roof.planes.slope[layout.row_plane[0]]
        speed = np.sqrt(2.0 * G * 3.0 * (np.sin(slope) - friction * np.cos(slope)))
        assert runs.speed == pytest.approx([speed])
        assert runs.factor == pytest.approx([1.0 + 3.0 / stop])
    assert runs_between(project.roof, both, 0.0, lands, 10.0).factor == pytest.approx([LEAST])
    words = run_words(runs, layout, SI, 1.5)[0]
    assert "1.50 m to stop" in words
    assert f"{LEAST:g} to {MOST:g}" in words
    assert "judgment" in words


def test_over_an_edge_what_comes_square_to_the_lower_roof_is_lost(two_levels):
    """Throw from the eave by hand in time steps, then the slide to the row."""
    project = two_levels.project
    roof, layout, planes = project.roof, project.layout, project.roof.planes
    lands = np.zeros((2, len(layout.clamp_s)))
    lands[0, layout.clamp_row == 1] = 0.01
    runs = runs_between(roof, layout, 0.0, lands)
    high, low = (planes.slope[p] for p in layout.row_plane)
    out = layout.row_start[0, 1]
    speed = np.sqrt(2.0 * G * out * np.sin(high))
    eave = planes.to_world(int(layout.row_plane[0]), np.array([[0.0, 0.0]]))[0, 2]
    x = y = 0.0
    right, down = speed * np.cos(high), speed * np.sin(high)
    # Height of the lower roof below the upper eave, and its fall away from it.
    under = eave - (3.0 + 4.0 * np.tan(low))
    while y < under + x * np.tan(low):
        x, y, down = x + right * 1e-5, y + down * 1e-5, down + G * 1e-5
    along = right * np.cos(low) + down * np.sin(low)
    rest = (4.0 - x) / np.cos(low) - layout.row_start[1, 1]
    square = along**2 + 2.0 * G * rest * np.sin(low)
    assert runs.drop == pytest.approx([y], rel=1e-3)
    assert runs.speed**2 == pytest.approx([square], rel=1e-3)
    assert runs.factor == pytest.approx([1.0 + square / (2.0 * G * np.sin(low))], rel=1e-3)


def test_what_lands_on_a_lower_roof_pushes_with_its_part_down_that_slope(two_levels):
    """All of the upper row's snow lands above the lower row: W sin(low) over W sin(high)."""
    chosen = choose_case(two_levels)
    layout, slope = two_levels.project.layout, two_levels.project.roof.planes.slope
    low, high = slope[layout.row_plane[1]], slope[layout.row_plane[0]]
    on = chosen.roof.roof.lands[0, layout.clamp_row == 1].sum()
    assert on == pytest.approx(np.sin(low) / np.sin(high), rel=1e-3)
    assert not chosen.roof.roof.lands[1].any()


def test_pieces_between_splices_land_on_what_is_straight_below():
    """Onto clamps below the piece alone; under even snow all pieces are the row that goes whole."""
    path = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"
    analysis = analyze(load_project(path), beyond=False)
    layout = analysis.project.layout
    strength = SpliceStrength(np.full(6, np.inf), np.zeros(6), np.full(6, PARTS), 0.0)
    roof, whole = (choose_case(analysis, None, Laws(splices=s)).roof for s in (strength, None))
    piece, lands, low = roof.roof.piece, roof.roof.lands, layout.clamp_row == 0
    assert len(lands) == 2 + len(roof.roof.splices.origin) > 8
    high = np.unique(piece[~low])
    for p in high:
        x = layout.clamp_uv[piece == p, 0]
        beyond = (layout.clamp_uv[:, 0] < x.min() - 1.0) | (layout.clamp_uv[:, 0] > x.max() + 1.0)
        assert lands[p, low].sum() == pytest.approx(1.0, rel=1e-6)
        assert not lands[p, ~low].any()
        assert not lands[p, low & beyond].any()
    assert not lands[np.unique(piece[low])].any()
    cuts = layout.splice_s[roof.roof.splices.origin[roof.roof.splices.row == 1]]
    use = _use_by_splice(
        analysis, Laws(splices=replace(strength, capacity=np.full(6, 500.0))), roof.roof.splices
    )
    chosen = choose_case(analysis, None, Laws(splices=strength))
    force = np.abs(chosen.roof.splices.snow[chosen.roof.usual_place].sum(axis=0))
    most = np.maximum.reduceat(force, np.searchsorted(roof.roof.splices.of, range(len(use[0]))))
    assert 500.0 * use[chosen.case] == pytest.approx(most, rel=1e-3)
    assert not _use_by_splice(analysis, Laws(splices=strength), roof.roof.splices).any()  # without a limit
    long = np.diff(np.r_[0.0, cuts, layout.row_length[1]])
    assert long @ lands[high] / long.sum() == pytest.approx(whole.roof.lands[1], rel=1e-6, abs=1e-9)


def test_cases_that_matter_are_all_taken_and_the_named_one_alone(two_levels):
    """The drift below the step is the lower row's worst case, the balanced snow loads the upper row."""
    names = [case.name for case in two_levels.snow.cases]
    found = choose_cases(two_levels, None, Laws(impact=None))
    taken = [names[one.case] for one in found]
    assert len(set(taken)) == len(taken)
    layout = two_levels.project.layout
    use = np.nan_to_num(next(one for one in two_levels.limits if one.name == "clamp combined").utilization)
    for row in range(2):
        own = layout.clamp_row == row
        worst = use[:, own].max(axis=1)
        assert max(worst[one.case] for one in found) == pytest.approx(worst.max())
    # The balanced snow is in the case with the drift, which loads every clamp at least as much.
    assert any("drift" in name for name in taken)
    assert "balanced" not in taken
    (alone,) = choose_cases(two_levels, names[0])
    assert names[alone.case] == names[0]
    hard = found[0].roof.impact
    assert np.shape(hard) == found[0].roof.roof.lands.shape
    assert np.min(hard) == LEAST


def test_snow_comes_past_rows_that_are_gone_with_all_of_its_run(two_levels):
    layout = two_levels.project.layout
    three = replace(
        layout,
        row_name=("a", "b", "c"),
        row_plane=layout.row_plane[[0, 0, 0]],
        row_start=np.array([[0.0, 6.0], [0.0, 4.0], [0.0, 1.0]]),
        row_end=np.array([[9.0, 6.0], [9.0, 4.0], [9.0, 1.0]]),
        clamp_row=np.array([0, 1, 2]),
        clamp_s=np.ones(3),
    )
    lands = np.zeros((3, 3))
    lands[0, 1] = lands[1, 2] = 1.0
    assert reached(three, lands)[0].tolist() == [False, True, True]
    runs = runs_between(two_levels.project.roof, three, 0.0, lands, 1.0)
    hard = factors_of(runs, three)
    assert hard[0] == pytest.approx([LEAST, 3.0, 6.0])
    roof = assembly(np.zeros((3, 3)), [0, 1, 2], 1.0, 0.0, lands=lands)
    # All has come to the lowest row at 2.2: its own, 4 (1 + 3) times the middle one's, 6 times the top one's.
    end = 2.2 * (1.0 + 4.0 + 6.0)
    found = cascade(roof, np.zeros(3), np.ones(3), [2.0, 1.0, 1.001 * end], 0.0, target=2.2, impact=hard)
    assert found.let_go[0, :2] == pytest.approx([2.0, 1.0])
    assert np.isinf(found.let_go[0, 2])
    assert found.force[0, 2] == pytest.approx(end)
    more = cascade(roof, np.zeros(3), np.ones(3), [2.0, 1.0, 0.999 * end], 0.0, target=2.2, impact=hard)
    assert np.isfinite(more.let_go[0, 2])


def test_each_case_alone_and_any_of_them_are_the_closed_forms():
    """Two rows, each loaded by one case only: any case is 1 - (1 - p)^2 for strengths of their own."""
    n = 2
    one, share = rigid_row(n)
    roof = assembly(np.kron(np.eye(2), one), np.repeat([0, 1], n), 1.0, 1e-14 * n)
    load = share @ np.ones(n)
    still = np.zeros(2 * n)

    def case(first: float, second: float) -> RoofCase:
        snow = np.stack([np.r_[first * load, second * load], still])[None]
        return RoofCase(roof, still, snow, np.zeros(1), 0.0, np.full(2 * n, 1.3), still, np.zeros((3, 2 * n)))

    fixed = make_inputs([Variable("depth", Shape.FIXED, 1.0)])
    scatter = Scatter(fixed, missing=0.1)  # one of two missing: 2 on the other, which fails
    sampling = Sampling(case(1.0, 0.0), scatter, "monte carlo", 20_000, 7, (case(0.0, 1.0),))
    jobs = jobs_of(sampling)
    found = risk_of(sampling, jobs, [do_job(job, sampling) for job in jobs])
    p = 1.0 - 0.9**2
    # A row without clamps is gone in every case: count rows whose loads matter by the case that loads them.
    both = 1.0 - 0.9**4
    assert found.chance.low < both < found.chance.high
    for r in range(2):
        assert found.case_row[r][r].low < p < found.case_row[r][r].high
        assert found.case_row[1 - r][r].value < 0.02
        assert found.row_chance[r].value >= max(one[r].value for one in found.case_row)
    assert found.chance.value <= sum(one.value for one in found.case_chance)
    subset = Sampling(case(1.0, 0.0), scatter, "subset", 1000, 7, (case(0.0, 1.0),))
    whole = jobs_of(subset)
    many = risk_of(subset, whole, [do_job(job, subset) for job in whole])
    assert many.chance.low < both < many.chance.high
