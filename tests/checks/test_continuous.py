"""Continuous beams and their patterns against handbook coefficients and a second way of solving."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fea.checks.continuous import Spans, asce_patterns, beam_forces, worst_patterns

L, W = 6.0, 1000.0


def equal(spans: int, cells: int = 12) -> Spans:
    return Spans(np.linspace(0.0, L * spans, cells * spans + 1), np.arange(spans + 1.0) * L)


def spread(beam: Spans, factor: list[float] | np.ndarray) -> np.ndarray:
    """Uniform load W times a factor on each span."""
    return W * np.asarray(factor, dtype=float)[..., beam.span - 1] * np.diff(beam.edges)


@pytest.mark.parametrize(
    ("factor", "support", "span", "reaction"),
    [
        # Equal spans, uniform load: coefficients of w L^2 and w L that every beam table prints
        # (such as AISC Manual Table 3-22c and 3-23; Schneider Bautabellen, Durchlauftraeger), from memory.
        ([1.0], [0.0, 0.0], [0.125], [0.5, 0.5]),
        ([1.0, 1.0], [-0.125], [0.0703, 0.0703], [0.375, 1.25, 0.375]),
        ([1.0, 0.0], [-0.0625], [0.0957, 0.0], [0.4375, 0.625, -0.0625]),
        ([1.0, 1.0, 1.0], [-0.1, -0.1], [0.08, 0.025, 0.08], [0.4, 1.1, 1.1, 0.4]),
        ([1.0, 0.0, 1.0], [-0.05, -0.05], [0.1013, 0.0, 0.1013], [0.45, 0.55, 0.55, 0.45]),
        ([0.0, 1.0, 0.0], [-0.05, -0.05], [0.0, 0.075, 0.0], [-0.05, 0.55, 0.55, -0.05]),
        ([1.0, 1.0, 0.0], [-0.1167, -0.0333], [0.0735, 0.0535, 0.0], [0.3833, 1.2, 0.45, -0.0333]),
        (
            [1.0, 1.0, 1.0, 1.0],
            [-0.1071, -0.0714, -0.1071],
            [0.0772, 0.0364, 0.0364, 0.0772],
            [0.3929, 1.1429, 0.9286, 1.1429, 0.3929],
        ),
        ([1.0, 1.0, 0.0, 1.0], [-0.1205, -0.0179, -0.058], [0.072, 0.061, 0.0, 0.0977], None),
    ],
)
def test_handbook_coefficients(factor, support, span, reaction):
    beam = equal(len(factor))
    found = beam_forces(beam, spread(beam, factor))
    inner = found.support_moment if len(factor) == 1 else found.support_moment[1:-1]
    assert inner / (W * L**2) == pytest.approx(support, abs=6e-5)
    assert found.span_moment[1:-1] / (W * L**2) == pytest.approx(span, abs=1e-4)
    if reaction is not None:
        assert found.reaction / (W * L) == pytest.approx(reaction, abs=6e-5)


def test_cells_do_not_matter_for_even_load():
    """Three spans in 3 and in 40 cells each: the peak between edges is found exactly."""
    coarse, fine = (beam_forces(equal(3, n), spread(equal(3, n), [1.0, 1.0, 1.0])) for n in (3, 40))
    assert coarse.sagging == pytest.approx(fine.sagging, rel=1e-12)
    assert coarse.sagging == pytest.approx(0.08 * W * L**2, rel=1e-12)


def by_stiffness(edges: np.ndarray, supports: np.ndarray, force: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Reactions and moments at the edges by beam elements, EI = 1."""
    count = len(edges)
    K, f = np.zeros((2 * count, 2 * count)), np.zeros(2 * count)
    ends = []
    for i, (h, total) in enumerate(zip(np.diff(edges), force, strict=True)):
        k = np.array(
            [
                [12, 6 * h, -12, 6 * h],
                [6 * h, 4 * h**2, -6 * h, 2 * h**2],
                [-12, -6 * h, 12, -6 * h],
                [6 * h, 2 * h**2, -6 * h, 4 * h**2],
            ]
        )
        at, load = slice(2 * i, 2 * i + 4), -total * np.array([0.5, h / 12, 0.5, -h / 12])
        K[at, at] += k / h**3
        f[at] += load
        ends.append((at, k / h**3, load))
    held = 2 * np.searchsorted(edges, supports - 1e-9)
    free = np.setdiff1d(np.arange(2 * count), held)
    u = np.zeros(2 * count)
    u[free] = np.linalg.solve(K[np.ix_(free, free)], f[free])
    moment = [-(k @ u[at] - load)[1] for at, k, load in ends]
    return (K @ u - f)[held], np.append(moment, 0.0)


@pytest.mark.parametrize("seed", range(6))
def test_unequal_spans_and_cantilevers_by_a_second_way(seed):
    """Hermite beam elements know nothing of three moments."""
    random = np.random.default_rng(seed)
    supports = np.cumsum(random.uniform(1.0, 7.0, 2 + seed % 4))
    start, end = supports[0] - (seed % 2) * 1.1, supports[-1] + (seed % 3) * 0.8
    edges = np.unique(np.concatenate([np.linspace(start, end, 37), supports]))
    force = random.uniform(0.0, 900.0, len(edges) - 1)
    found = beam_forces(Spans(edges, supports), force)
    reaction, moment = by_stiffness(edges, supports, force)
    assert found.reaction == pytest.approx(reaction, rel=1e-7, abs=1e-5)
    assert found.reaction.sum() == pytest.approx(force.sum(), rel=1e-12)
    assert found.hogging == pytest.approx(max(-moment.min(), 0.0), rel=1e-7, abs=1e-5)
    assert found.sagging >= moment.max() - 1e-5


def test_asce_patterns_are_the_three_cases():
    """ASCE/SEI 7 7.5.1: two of case 1, two of case 2, n - 1 of case 3, and full load."""
    factor, words = asce_patterns(4)
    assert len(factor) == len(words) == 1 + 2 + 2 + 3
    assert sorted(map(tuple, factor.tolist())) == sorted(
        [
            (1, 1, 1, 1),
            (1, 0.5, 0.5, 0.5),
            (0.5, 0.5, 0.5, 1),
            (0.5, 1, 1, 1),
            (1, 1, 1, 0.5),
            (1, 1, 0.5, 0.5),
            (0.5, 1, 1, 0.5),
            (0.5, 0.5, 1, 1),
        ]
    )


def test_half_load_on_a_neighbor_raises_the_span():
    """Two spans, case 1: half on both and half on one; end reaction of both by the tables, M = R^2 / 2 w."""
    beam = equal(2, 40)
    factor, words = asce_patterns(2)
    found = beam_forces(beam, spread(beam, factor))
    worst = int(np.argmax(found.sagging))
    reaction = 0.5 * 0.375 + 0.5 * 0.4375
    assert found.sagging[worst] / (W * L**2) == pytest.approx(reaction**2 / 2.0, rel=1e-9)
    assert "half" in words[worst]
    assert found.sagging[worst] > found.sagging[0]


@pytest.mark.parametrize("spans", [2, 3, 4, 5, 6])
def test_worst_patterns_find_the_worst_of_all(spans):
    """Against every choice of full and half, span by span."""
    beam = equal(spans)
    every = np.array(list(itertools.product([1.0, 0.5], repeat=spans)))
    all_of_them, chosen = (beam_forces(beam, spread(beam, f)) for f in (every, worst_patterns(spans)[0]))
    for name in ("sagging", "hogging", "shear", "reaction", "span_moment"):
        assert getattr(chosen, name).max(axis=0) == pytest.approx(getattr(all_of_them, name).max(axis=0))


def test_many_spans_stay_cheap():
    """400 spans in 1,200 cells under all patterns of case 3 fit into little memory and time."""
    beam = equal(400, 3)
    factor, _ = asce_patterns(400)
    found = beam_forces(beam, spread(beam, factor))
    # Beam without end, Clapeyron: moments fade by r = -(2 - sqrt(3)) from support to support.
    r = np.sqrt(3.0) - 2.0
    assert found.hogging[0] / (W * L**2) == pytest.approx((1.0 - r) / 12.0, rel=1e-9)
    assert found.reaction[0, 200] / (W * L) == pytest.approx(1.0, rel=1e-6)
