"""Rows that can move freely, and other input that cannot be solved, are refused in words."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rails import CONTINUOUS, HINGE, SLIDING, SOFT, make_clamp, make_layout, make_loads, make_rail

from fea.rails.frame import build_frame, solve_frame
from fea.rails.rows import grip_transform, seam_axes
from roofmodel.errors import InputError
from roofmodel.hardware import SpliceTorsion

RAIL = make_rail()
FULL = [2e6, 3e6, 5e6, 800.0, 900.0, 300.0]


def without(*axes, height=0.06):
    stiffness = np.array(FULL)
    stiffness[list(axes)] = 0.0
    return make_clamp(stiffness, height)


TWO = {"length": 3.0, "clamps": [0.5, 2.5]}
ONE = {"length": 3.0, "clamps": [0.5]}
FREE = [
    (without(1), TWO, "sliding along its own length"),
    (without(0), TWO, "moving up and down the slope"),
    (without(2), TWO, "lifting off the roof"),
    (without(4), TWO, "tipping over about the grips"),
    (make_clamp([2e6, 3e6, 5e6, 800.0, 0.0, 300.0]), TWO, "rolling about its own axis"),
    (without(5), ONE, "turning in the plane"),
    (without(3), ONE, "one end of the rail from lifting"),
    (without(3), {**ONE, "seam": 0.4}, "turning about the grips"),
    (
        without(3, height=0.0),
        {**TWO, "splices": [(0.9, HINGE), (2.1, HINGE)]},
        "from swinging away",
    ),
    (
        make_clamp(FULL),
        {**ONE, "splices": [(1.5, HINGE)]},
        r"the last piece \(of 2, from its left end\) from swinging",
    ),
    (make_clamp(FULL), {**TWO, "splices": [(1.0, HINGE), (1.5, HINGE), (2.0, HINGE)]}, "from swinging"),
    (
        make_clamp(FULL),
        {**TWO, "splices": [(1.0, SLIDING), (1.5, SLIDING)]},
        r"piece 2 \(of 3, from its left end\) from sliding",
    ),
    (make_clamp(FULL), {**TWO, "clamps": []}, "has no clamps"),
    (make_clamp(np.zeros(6)), TWO, "no stiffness"),
]


@pytest.mark.parametrize(("clamp", "row", "words"), FREE)
def test_free_motion_is_named(clamp, row, words):
    layout = make_layout([TWO, row])
    if not len(row["clamps"]):
        layout = make_layout([TWO, {**row, "clamps": []}])
    with pytest.raises(InputError, match=words) as error:
        build_frame(layout, RAIL, clamp)
    assert 'row "R1"' in str(error.value) or 'row "R2"' in str(error.value)
    assert "\n" not in str(error.value)


def test_the_right_row_is_named():
    layout = make_layout([TWO, {**TWO, "splices": [(1.0, HINGE), (1.2, HINGE), (1.4, HINGE)]}])
    with pytest.raises(InputError, match='row "R2": nothing keeps piece 2'):
        build_frame(layout, RAIL, make_clamp(FULL))


def test_clamps_free_across():
    """They let a row slide along itself if it is square to its seams, else askew."""
    with pytest.raises(InputError, match="sliding along its own length"):
        build_frame(make_layout([{**TWO, "seam": 0.3, "tilt": -0.3}]), RAIL, without(1))
    with pytest.raises(InputError, match="moving askew"):
        build_frame(make_layout([{**TWO, "seam": 0.3}]), RAIL, without(1))


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_verdict_agrees_with_the_matrix(seed):
    """Refused exactly when the full stiffness matrix has a zero eigenvalue."""
    rng = np.random.default_rng(seed)
    clamps = np.sort(rng.choice(np.arange(1, 12), size=rng.integers(1, 5), replace=False)) * 0.25
    spots = rng.choice(np.arange(1, 12), size=rng.integers(0, 4), replace=False) * 0.25 + 0.125
    kinds = rng.choice([HINGE, SLIDING, CONTINUOUS], size=len(spots))
    row = {"length": 3.0, "clamps": clamps, "splices": list(zip(spots, kinds, strict=True)),
           "seam": rng.choice([0.0, 0.3])}  # fmt: skip
    stiffness = np.array(FULL) * rng.choice([0.0, 1.0], p=[0.15, 0.85], size=6)
    clamp, layout = make_clamp(stiffness, rng.choice([0.0, 0.06])), make_layout([row])
    rail = replace(RAIL, splice_torsion=rng.choice(list(SpliceTorsion)))
    held = build_frame(layout, rail, make_clamp([1e6] * 6, clamp.height)) if len(spots) == 0 else None
    try:
        frame = build_frame(layout, rail, clamp)
    except InputError:
        frame = None
    if frame is not None:
        K = frame.matrix.toarray()
        unit = K / np.sqrt(np.outer(np.diag(K), np.diag(K)))
        assert np.linalg.eigvalsh(unit)[0] > 1e-12
    elif held is not None:
        grip = grip_transform(seam_axes(layout), clamp.height)[layout.clamp_row]
        change = np.swapaxes(grip, 1, 2) @ (clamp.stiffness - 1e6 * np.eye(6)) @ grip
        K = held.matrix.toarray()
        for node, block in zip(held.clamp_node, change, strict=True):
            dof = held.dof[node]
            K[np.ix_(dof, dof)] += block
        size = np.sqrt(np.maximum(np.diag(K), 1.0))
        assert np.linalg.eigvalsh(K / np.outer(size, size))[0] < 1e-12


def test_a_long_row_with_many_hinges_is_judged_too():
    pieces = 400
    clamps = np.arange(2 * pieces) * 0.5 + 0.25
    splices = [(float(i), HINGE) for i in range(1, pieces)]
    row = {"length": float(pieces), "clamps": clamps, "splices": splices}
    assert build_frame(make_layout([row]), RAIL, without(3, 5)).matrix.shape[0] > 0
    kept = np.delete(clamps, [500, 501])
    broken = {**row, "clamps": kept, "splices": [*splices, (250.5, HINGE)]}
    with pytest.raises(InputError, match=r"piece 25\d \(of 401, "):
        build_frame(make_layout([broken]), RAIL, without(3, 5))


def test_missing_clamp_by_scale():
    layout = make_layout([{"length": 3.0, "clamps": [0.3, 1.2, 2.5]}])
    loads = make_loads([(0, 0.0, 3.0, (0.0, -900.0, 100.0, 0.0))])
    scaled = solve_frame(build_frame(layout, RAIL, SOFT, clamp_scale=np.array([1.0, 0.0, 1.0])), loads)
    fewer = solve_frame(build_frame(make_layout([{"length": 3.0, "clamps": [0.3, 2.5]}]), RAIL, SOFT), loads)
    np.testing.assert_allclose(scaled.clamp_force[:, [0, 2]], fewer.clamp_force, rtol=1e-8, atol=1e-6)
    assert (scaled.clamp_force[:, 1] == 0.0).all()


def broken_loads(**change):
    return replace(make_loads([(0, 0.0, 1.0, (0.0, 1.0, 0.0, 0.0))], [(0, 0.5, np.ones(6))]), **change)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"row": np.array([4])}, "line load 0 is on row 4"),
        ({"s1": np.array([3.5])}, "row R1: line load 0 from s = 0 to 3.5 m"),
        ({"s0": np.array([2.0])}, "start first"),
        ({"point_s": np.array([-0.1])}, "point load 0"),
        ({"line": np.full((1, 1, 4), np.nan)}, "line holds a value"),
        ({"line": np.zeros((2, 1, 4))}, "line has shape"),
        ({"thermal": np.array([np.inf])}, "thermal"),
    ],
)
def test_bad_loads_are_refused(change, words):
    frame = build_frame(make_layout([TWO]), RAIL, SOFT)
    with pytest.raises(InputError, match=words):
        solve_frame(frame, broken_loads(**change))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({**TWO, "clamps": [0.5, 3.2]}, "clamp R1-02 at s = 3.2 m lies off the rail"),
        ({**TWO, "clamps": [0.5, 0.5005]}, "two clamps stand"),
        ({**TWO, "splices": [(1.0, HINGE), (1.0, HINGE)]}, "two splices stand"),
        ({**TWO, "splices": [(3.0, HINGE)]}, "end of the rail"),
        ({**TWO, "splices": [(-1.0, HINGE)]}, "splice 1 at s = -1 m lies off"),
        ({**TWO, "length": 0.0}, "too short"),
    ],
)
def test_bad_rows_are_refused(row, words):
    with pytest.raises(InputError, match=words):
        build_frame(make_layout([row]), RAIL, SOFT)


def skew(i, j, value):
    K = np.diag(FULL)
    K[i, j] = value
    return K


@pytest.mark.parametrize(
    ("stiffness", "words"),
    [
        (skew(0, 1, 1e3), "must be equal"),
        (skew(0, 0, -1.0), "gives energy back"),
        (skew(0, 1, 1e7) + skew(1, 0, 1e7) - np.diag(FULL), "gives energy back"),
        (skew(2, 2, np.nan), "6 x 6 finite"),
        (np.eye(5), "6 x 6 finite"),
    ],
)
def test_bad_stiffness_is_refused(stiffness, words):
    with pytest.raises(InputError, match=words):
        build_frame(make_layout([TWO]), RAIL, make_clamp(stiffness))
