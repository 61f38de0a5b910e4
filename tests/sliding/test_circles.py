"""Circles of links, as broken city data make them: opened without losing what passes."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from roofmodel.sliding.levels import flow_levels, open_loops


def spread(count, source, target, share, crossing, start):
    """What ends where nothing leads on, one unit from `start`, level by level."""
    ends = ~np.isin(np.arange(count), source)
    level, source, target, share, _, cut = flow_levels(count, source, target, share, crossing)
    held = np.zeros(count)
    held[start] = 1.0
    lost = 0.0
    for depth in range(int(level.max()) + 1):
        here = np.flatnonzero(level[source] == depth)
        moved = share[here] * held[source[here]]
        lost += float((cut[1] * held[cut[0]])[level[cut[0]] == depth].sum())
        np.add.at(held, target[here], moved)
    return held[ends].sum() + lost, held


def links(*rows):
    source, target, share = (np.array(column) for column in zip(*rows, strict=True))
    return source, target, share.astype(float), np.zeros(len(source), dtype=bool)


def test_a_circle_lets_its_snow_out_below():
    """1 -> 2 -> 3 -> 1 with a way out at 3: all of it comes to 4 and on to 5."""
    found = open_loops(
        6, *links((0, 1, 1.0), (1, 2, 1.0), (2, 3, 1.0), (3, 1, 0.5), (3, 4, 0.5), (4, 5, 1.0))
    )
    total, held = spread(6, *found, 0)
    assert total == 1.0
    assert held[5] == 1.0


def test_links_below_a_circle_stay():
    before = links((0, 1, 1.0), (1, 0, 0.5), (1, 2, 0.5), (2, 3, 1.0), (3, 4, 1.0))
    source, target, _, _ = open_loops(5, *before)
    assert {(2, 3), (3, 4)} <= set(zip(source.tolist(), target.tolist(), strict=True))


def test_no_circle_changes_nothing():
    before = links((0, 1, 0.3), (0, 2, 0.7), (1, 3, 1.0), (2, 3, 1.0))
    for a, b in zip(before, open_loops(4, *before), strict=True):
        np.testing.assert_array_equal(a, b)


@given(st.integers(0, 10_000))
def test_nothing_is_lost_whatever_the_links(seed):
    """Random links among 12 nodes; shares out of a node add up to one, nodes 12 to 14 are ends."""
    rng = np.random.default_rng(seed)
    rows = []
    for node in range(12):
        targets = rng.choice([t for t in range(15) if t != node], size=rng.integers(1, 4), replace=False)
        part = rng.random(len(targets))
        rows += [(node, int(t), p) for t, p in zip(targets, part / part.sum(), strict=True)]
    source, target, share, crossing = open_loops(15, *links(*rows))
    out = np.bincount(source, share, minlength=15)[:12]
    np.testing.assert_allclose(out, 1.0, atol=1e-12)
    total, _ = spread(15, source, target, share, crossing, 0)
    assert abs(total - 1.0) < 1e-9
