"""Splices that pass the rail's torsion on, and loose ones that do not."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rails import (
    CONTINUOUS,
    HINGE,
    SLIDING,
    SOFT,
    at,
    make_clamp,
    make_layout,
    make_loads,
    make_rail,
    plain_rail,
)

from fea.rails.frame import build_frame, solve_frame
from fea.rails.rows import loose_rows, rails_to_solve
from roofmodel.errors import InputError
from roofmodel.hardware import SpliceTorsion

FREE, PASSED = SpliceTorsion.FREE, SpliceTorsion.PASSED


def turning(rail, kind):
    return replace(rail, splice_torsion=kind)


@pytest.mark.parametrize("kind", [HINGE, SLIDING])
def test_torque_goes_over_the_splice_or_stays(kind):
    """One clamp on each piece, held against roll by k; the far one takes its share through GJ / L and k."""
    k, GJ, torque = 700.0, 900.0, 35.0
    rail, clamp = plain_rail(2e3, GJ=GJ), make_clamp([1e7, 1e7, 1e7, 1e5, k, 1e5])
    layout = make_layout([{"length": 3.0, "clamps": [0.5, 2.5], "splices": [(1.5, kind)]}])
    loads = make_loads(points=[(0, 0.5, (0.0, 0.0, 0.0, torque, 0.0, 0.0))])
    roll = {
        one: solve_frame(build_frame(layout, turning(rail, one), clamp), loads).clamp_force[0, :, 3:]
        for one in (PASSED, FREE)
    }
    chain = 1.0 / (1.0 / k + 2.0 / GJ)
    far = torque * chain / (k + chain)
    np.testing.assert_allclose(np.linalg.norm(roll[PASSED], axis=1), [torque - far, far], rtol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(roll[FREE], axis=1), [torque, 0.0], rtol=1e-9, atol=1e-9)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_no_torsion_at_a_free_splice_and_all_loads_held(seed):
    rng = np.random.default_rng(seed)
    place = float(rng.uniform(1.1, 1.9))
    layout = make_layout([{"length": 3.0, "clamps": [0.3, 1.0, 2.0, 2.6], "splices": [(place, HINGE)]}])
    loads = make_loads([(0, 0.2, 2.8, rng.normal(size=4) * 1e3)])
    frame = build_frame(layout, turning(make_rail(), FREE), SOFT)
    result = solve_frame(frame, loads)
    force = at(result, place, "rail_force"), at(result, place, "rail_force", side=-1)
    scale = np.abs(result.rail_force).max()
    np.testing.assert_allclose([force[0][3:6], force[1][3:6]], 0.0, atol=1e-9 * scale)
    assert np.abs(force[0][:3]).max() > 1e-3 * scale  # shear and pull go on
    np.testing.assert_allclose(result.reaction, result.applied, atol=1e-8 * scale)
    kept = solve_frame(build_frame(layout, turning(make_rail(), PASSED), SOFT), loads)
    assert abs(at(kept, place, "rail_force")[3]) > 1e-6 * scale


def test_both_are_solved_only_where_nobody_says_and_it_matters():
    rail = make_rail()
    hinged = make_layout([{"length": 3.0, "clamps": [0.5, 1.0, 2.5], "splices": [(0.8, HINGE)]}])
    whole = make_layout([{"length": 3.0, "clamps": [0.5, 2.5], "splices": [(1.5, CONTINUOUS)]}])
    assert [one.splice_torsion for one in rails_to_solve(hinged.splice_kind, rail)] == [PASSED, FREE]
    assert rails_to_solve(hinged.splice_kind, turning(rail, FREE)) == (turning(rail, FREE),)
    assert rails_to_solve(whole.splice_kind, rail) == (rail,)
    same = [
        solve_frame(build_frame(whole, turning(rail, one), SOFT), make_loads([(0, 0.0, 3.0, (5, 9, 2, 3))]))
        for one in (PASSED, FREE)
    ]
    np.testing.assert_array_equal(same[0].clamp_force, same[1].clamp_force)


def test_a_piece_that_only_torsion_keeps_from_rolling_is_named():
    """The piece between the splices has no clamp: its neighbors hold its ends, nothing its roll."""
    row = {"length": 3.0, "clamps": [0.3, 0.9, 2.1, 2.6], "splices": [(1.0, HINGE), (2.0, HINGE)]}
    layout, rail = make_layout([row]), make_rail()
    assert build_frame(layout, turning(rail, PASSED), SOFT).matrix.shape[0] > 0
    with pytest.raises(InputError, match=r"piece 2 \(of 3, .*\) from rolling .* pass no torsion"):
        build_frame(layout, turning(rail, FREE), SOFT)
    assert "rolling" in loose_rows(layout, rail, SOFT)[0]
    assert loose_rows(layout, turning(rail, PASSED), SOFT) == ("",)
