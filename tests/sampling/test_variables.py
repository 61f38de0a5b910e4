"""Distributions have the moments and links they are given; shares of variance against closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fea.sampling.sensitivity import correlation_ratios
from fea.sampling.streams import batches, latin_batch, normal_batch
from fea.sampling.variables import Shape, Variable, make_inputs

FREE = [shape for shape in Shape if shape not in (Shape.FIXED, Shape.UNIFORM)]


@given(st.sampled_from(FREE), st.floats(0.5, 50.0), st.floats(0.05, 0.6))
def test_moments_of_the_laws(shape, mean, scatter):
    law = Variable("x", shape, mean, scatter * mean).law
    assert law.mean() == pytest.approx(mean, rel=1e-8)
    assert law.std() == pytest.approx(scatter * mean, rel=1e-7)


@pytest.mark.parametrize("shape", [*FREE, Shape.UNIFORM])
def test_values_follow_their_law(shape):
    variable = Variable("x", shape, 2.0, 2.6 if shape is Shape.UNIFORM else 0.4)
    normal = normal_batch(3, 0, 4000, 1)
    values = make_inputs([variable]).values(normal)[:, 0]
    assert stats.kstest(values, variable.law.cdf).pvalue > 0.001
    order = np.argsort(normal[:, 0])
    assert (np.diff(values[order]) >= 0.0).all()


def test_far_tails_keep_their_digits():
    variable = Variable("x", Shape.GUMBEL, 1.0, 0.3)
    far = make_inputs([variable]).values(np.array([[7.0]]))[0, 0]
    assert variable.law.sf(far) == pytest.approx(stats.norm.sf(7.0), rel=1e-6)


def test_links_are_kept():
    inputs = make_inputs(
        [
            Variable("a", Shape.NORMAL, 0.0, 1.0),
            Variable("b", Shape.NORMAL, 5.0, 2.0),
            Variable("c", Shape.FIXED, 7.0),
        ],
        {("a", "b"): 0.7},
    )
    values = inputs.values(normal_batch(1, 0, 20_000, 3))
    assert np.corrcoef(values[:, 0], values[:, 1])[0, 1] == pytest.approx(0.7, abs=0.015)
    assert (values[:, 2] == 7.0).all()


@pytest.mark.parametrize(
    ("variables", "links", "says"),
    [
        ([Variable("a", Shape.NORMAL, 1.0, 0.0)], {}, "a must have a standard deviation above zero"),
        ([Variable("a", Shape.LOGNORMAL, -1.0, 0.1)], {}, "a must have a mean above zero"),
        ([Variable("a", Shape.UNIFORM, 2.0, 1.0)], {}, "lower bound"),
        ([Variable("a", Shape.NORMAL, np.nan, 1.0)], {}, "not finite"),
        ([Variable("a", Shape.NORMAL, 1.0, 1.0)], {("a", "b"): 0.5}, 'no uncertain input "b"'),
        (
            [Variable(n, Shape.NORMAL, 1.0, 1.0) for n in "abc"],
            {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9},
            "contradict",
        ),
    ],
)
def test_bad_inputs_are_named(variables, links, says):
    with pytest.raises(ValueError, match=says):
        make_inputs(variables, links)


def test_batches_cover_the_count():
    assert sum(size for _, size in batches(4321, 1000)) == 4321
    assert [batch for batch, _ in batches(4321, 1000)] == [0, 1, 2, 3, 4]


def test_a_latin_batch_fills_every_cell_once():
    u = stats.norm.cdf(latin_batch(2, 5, 50, 4))
    assert (np.sort(np.floor(u * 50), axis=0) == np.arange(50)[:, None]).all()


def test_shares_of_a_sum():
    """Y = 3 a + 2 b + c with unit normals: 9/14, 4/14, 1/14."""
    u = normal_batch(1, 0, 30_000, 3)
    found = {one.name: one for one in correlation_ratios(("a", "b", "c"), u, u @ np.array([3.0, 2.0, 1.0]))}
    for name, share in (("a", 9 / 14), ("b", 4 / 14), ("c", 1 / 14)):
        assert found[name].value == pytest.approx(share, abs=4.0 * found[name].error + 0.01)


def test_shares_of_ishigami():
    """Ishigami and Homma 1990, a = 7, b = 0.1: first-order 0.3139, 0.4424, 0."""
    x = np.pi * (2.0 * stats.norm.cdf(normal_batch(4, 0, 60_000, 3)) - 1.0)
    y = np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    found = {one.name: one.value for one in correlation_ratios(("x", "y", "z"), x, y)}
    assert found["x"] == pytest.approx(0.3139, abs=0.02)
    assert found["y"] == pytest.approx(0.4424, abs=0.02)
    assert found["z"] == pytest.approx(0.0, abs=0.01)
