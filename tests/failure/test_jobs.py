"""Sampling in jobs: the same digits in any order, and each method finds the closed-form chance."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fea.failure.assembled import assembly
from fea.failure.jobs import Sampling, do_job, jobs_of, risk_of
from fea.failure.study import RoofCase, Scatter, dimensions, drawn
from fea.sampling.streams import normal_batch
from fea.sampling.variables import Shape, Variable, make_inputs
from tests.failure.chains import rigid_row

DEPTH = Variable("depth", Shape.LOGNORMAL, 1.0, 0.3)


def rigid(n: int = 3, strength: float = 1.6, rows: int = 1) -> RoofCase:
    """Rows of n clamps on stiff bars, each clamp loaded by 1."""
    one, share = rigid_row(n)
    Z = np.kron(np.eye(rows), one)
    roof = assembly(Z, np.repeat(np.arange(rows), n), 1.0, 1e-14 * n)
    load = np.tile(share @ np.ones(n), rows)
    return RoofCase(
        roof, np.zeros(n * rows), np.stack([load, 0.0 * load])[None], np.zeros(1), 0.0,
        np.full(n * rows, strength), np.zeros(n * rows), np.zeros((3, n * rows)),
    )  # fmt: skip


def run(sampling: Sampling, order: int = 1):
    jobs = jobs_of(sampling)
    results = {job: json.loads(json.dumps(do_job(job, sampling))) for job in jobs[::order]}
    return risk_of(sampling, jobs, [results[job] for job in jobs])


def exact(strength: float, scatter: float = 0.2) -> float:
    """Chance that lognormal strength of all clamps together is below lognormal snow."""
    a, b = np.log1p(0.3**2), np.log1p(scatter**2)
    return float(stats.norm.sf((np.log(strength) - 0.5 * b + 0.5 * a) / np.sqrt(a + b)))


ALL = Scatter(make_inputs([DEPTH]), strength=0.2, together=1.0)


@pytest.mark.parametrize("method", ["monte carlo", "latin hypercube"])
def test_chance_of_a_lognormal_margin(method):
    found = run(Sampling(rigid(), ALL, method, 20_000, 3)).chance
    assert found.low < exact(1.6) < found.high
    assert found.method.lower() == method


@pytest.mark.slow
def test_subset_finds_one_in_ten_thousand():
    found = run(Sampling(rigid(strength=3.4), ALL, "subset", 1000, 2)).chance
    truth = exact(3.4)
    assert 5e-5 < truth < 5e-4
    assert found.low < truth < found.high


def test_order_of_the_jobs_changes_no_digit():
    sampling = Sampling(rigid(rows=2), replace(ALL, missing=0.02, loose=0.05), "monte carlo", 2_500, 5)
    a, b = run(sampling), run(sampling, -1)
    assert a.chance == b.chance
    assert a.shares == b.shares
    np.testing.assert_array_equal(a.reserve, b.reserve)
    np.testing.assert_array_equal(a.first, b.first)


def test_fragility_is_that_of_the_strength_alone():
    """Under snow that does not scatter, a row of clamps alike goes at its strength: lognormal fractiles."""
    values = run(Sampling(rigid(), ALL, "monte carlo", 1000, 1)).fragility
    spread = np.sqrt(np.log1p(0.04))
    law = stats.lognorm(spread, scale=1.6 * np.exp(-0.5 * spread**2))
    assert stats.kstest(values, law.cdf).pvalue > 1e-3


def test_scatter_is_traced_to_its_inputs():
    """Ln reserve = ln strength - ln snow: shares are those of the two variances."""
    found = {one.name: one for one in run(Sampling(rigid(), ALL, "monte carlo", 1000, 1)).shares}
    a, b = np.log1p(0.09), np.log1p(0.04)
    snow = found["depth"]
    assert snow.value == pytest.approx(a / (a + b), abs=5.0 * snow.error)
    assert found["strength of all clamps"].value == pytest.approx(b / (a + b), abs=0.1)


def test_rows_that_go_first_are_counted_once():
    """Two rows, one half as strong: it is first nearly always, and shares add up to one."""
    case = rigid(rows=2)
    weak = replace(case, capacity=np.repeat([1.6, 0.8], 3))
    found = run(Sampling(weak, replace(ALL, together=0.0), "monte carlo", 1000, 1))
    assert found.first_row.sum() == pytest.approx(1.0, abs=1e-12)
    assert found.first_row[1] > 0.9
    assert found.first[3:].sum() > 0.9
    assert found.row_chance[1].value > found.row_chance[0].value


def test_depth_density_drift_and_bond_make_the_load():
    inputs = make_inputs(
        [
            Variable("depth", Shape.FIXED, 1.2),
            Variable("density", Shape.FIXED, 0.9),
            Variable("drift", Shape.FIXED, 1.5),
            Variable("bond", Shape.FIXED, 0.25),
        ]
    )
    case = rigid()
    case = replace(case, snow=np.array([[[2.0, 2.0, 2.0], [0.0, 1.0, 0.0]]]))
    scatter = Scatter(inputs)
    load = drawn(case, scatter, normal_batch(1, 0, 4, dimensions(case, scatter))).load
    assert load == pytest.approx(np.tile(0.75 * 1.08 * np.array([2.0, 3.5, 2.0]), (4, 1)))


def test_friction_between_calculated_coefficients_is_linear_and_never_beyond():
    grid = np.array([0.0, 0.1, 0.2])
    snow = np.stack([np.stack([np.full(3, 10.0 * (1 - 3 * mu)), np.zeros(3)]) for mu in grid])
    case = replace(rigid(), snow=snow, friction=grid, usual=0.1)
    for value, right in ((0.05, 8.5), (0.15, 5.5), (0.5, 4.0), (-1.0, 10.0)):
        scatter = Scatter(make_inputs([Variable("friction", Shape.FIXED, value)]))
        load = drawn(case, scatter, normal_batch(1, 0, 2, dimensions(case, scatter))).load
        assert load == pytest.approx(np.full((2, 3), right))
    plain = Scatter(make_inputs([DEPTH]))
    one = drawn(case, plain, np.zeros((1, dimensions(case, plain)))).load
    assert one / one[0, 0] == pytest.approx(1.0)


def test_errors_of_place_move_load_between_neighbors_and_keep_its_sum():
    """Stretches of a rail always add up to its length."""
    s, length = np.array([0.3, 1.0, 1.6, 2.5]), 2.8
    bounds = np.r_[0.0, 0.5 * (s[1:] + s[:-1]), length]
    width = np.diff(bounds)
    from fea.failure.roof_case import stretch_of

    class Rail:
        clamp_s, clamp_row, row_length = s, np.zeros(4, dtype=int), np.array([length])

    stretch = stretch_of(Rail)
    way = np.array([0.02, -0.03, 0.05, 0.01])
    moved = s + way
    now = np.diff(np.r_[0.0, 0.5 * (moved[1:] + moved[:-1]), length])
    got = width * (1.0 + stretch[0] * np.roll(way, 1) + stretch[1] * way + stretch[2] * np.roll(way, -1))
    assert got == pytest.approx(now)
    assert got.sum() == pytest.approx(length)
