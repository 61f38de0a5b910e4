"""Cascades against exact bundles, chains, the event solver for single links, and rows of real rail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import block_diag

from fea.failure import kernel
from fea.failure.assembled import assembly
from fea.failure.cascade import COLLAPSED, COMPLETE, STOPPED, UNKNOWN, cascade
from fea.failure.condense import clamp_forces, condense
from fea.rails.row_events import RowLimits, follow_rows
from fea.solvers.events import follow_links
from fea.solvers.laws import slip
from fea.solvers.links import link_form
from roofmodel.errors import InputError
from tests.failure.chains import beam_row, one_row, rigid_row, string_row
from tests.frame.rails import make_clamp, make_layout, make_loads, plain_rail


def first_failures(path):
    """Factor at which each link first leaves its elastic state."""
    e = path.events
    found: dict[int, float] = {}
    for stage, factor, link, before in zip(e.stage, e.factor, e.link, e.before, strict=True):
        if before == 0:
            found.setdefault(int(link), float(factor) if stage == len(path.share) - 1 else 0.0)
    return found


@pytest.mark.parametrize("seed", range(60))
def test_same_path_as_the_event_solver(seed):
    """Brittle, slipping and ductile links mixed, after a held load: events, end and forces to 1e-9."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 25))
    Z, H = beam_row(n, EI=10 ** rng.uniform(-2, 2), turn=rng.choice([0.01, 0.1]))
    held, load = H @ rng.uniform(-0.1, 0.3, n), H @ rng.uniform(0.2, 2.0, n)
    capacity = rng.uniform(0.5, 2.0, n)
    residual = capacity * rng.choice([0.0, 0.5, 0.9, 1.0], n)
    target = rng.choice([0.8, 5.0])
    path = follow_links(
        link_form(Z, np.ones(n)), slip(np.ones(n), capacity, residual), np.array([held, load]),
        targets=np.array([1.0, target]),
    )  # fmt: skip
    found = cascade(one_row(Z), held, load, capacity, residual, target=target)
    assert found.outcome[0] == (COLLAPSED if path.outcome == "collapse" else COMPLETE)
    assert found.last[0] == pytest.approx(path.factor, rel=1e-9)
    for link, factor in first_failures(path).items():
        assert found.at[0, link] == pytest.approx(factor, rel=1e-9, abs=1e-12)
    if path.outcome == "complete":
        assert found.force[0] == pytest.approx(path.force, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_loads_one_after_another_as_the_event_solver(seed):
    """Bond that goes here first and there next: the path of the event solver, part after part."""
    rng = np.random.default_rng(100 + seed)
    n = int(rng.integers(4, 20))
    Z, H = beam_row(n, EI=10 ** rng.uniform(-2, 2))
    held, load = H @ rng.uniform(-0.1, 0.2, n), H @ rng.uniform(0.3, 1.2, n)
    capacity = rng.uniform(0.5, 2.0, n)
    residual = capacity * rng.choice([0.0, 0.5, 1.0], n)
    parts = np.array([np.linspace(0.1, 0.9, n), np.linspace(0.9, 0.1, n)])
    exact = follow_links(
        link_form(Z, np.ones(n)), slip(np.ones(n), capacity, residual),
        np.array([held, parts[0] * load, parts[1] * load]), targets=np.array([1.0, 1.0, 1.5]),
    )  # fmt: skip
    found = cascade(one_row(Z), held, load, capacity, residual, target=1.5, path=parts)
    e = exact.events
    at = {
        int(link): max(stage - 1, 0) + factor * (stage > 0)
        for stage, factor, link, before in reversed(
            list(zip(e.stage, e.factor, e.link, e.before, strict=True))
        )
        if before == 0
    }
    for link, factor in at.items():
        assert found.at[0, link] == pytest.approx(factor, rel=1e-9, abs=1e-12)
    assert np.isfinite(found.at[0]).sum() >= len(at)


def test_snow_that_comes_in_two_halves_ends_as_the_whole():
    """The same load, its second half after the first: same order, factors twice as large, relief as well."""
    rng = np.random.default_rng(5)
    Z, H = beam_row(12, EI=3.0)
    load, capacity = H @ rng.uniform(0.4, 1.6, 12), rng.uniform(0.6, 1.6, 12)
    whole = cascade(one_row(Z), np.zeros(12), load, capacity, np.zeros(12), relief=0.7)
    halves = cascade(
        one_row(Z), np.zeros(12), load, capacity, np.zeros(12), relief=0.7, path=np.full((2, 12), 0.5)
    )
    assert whole.events[0] > 0
    assert (halves.order == whole.order).all()
    there = whole.order[0] >= 0
    assert halves.at[0, there] == pytest.approx(2.0 * whole.at[0, there], rel=1e-9)
    assert halves.force[0] == pytest.approx(whole.force[0], abs=1e-9)


@pytest.mark.parametrize("residual", [0.0, 0.6, 1.0])
def test_same_path_as_rows_of_real_rail(residual):
    layout = make_layout([{"length": 9.0, "clamps": list(np.linspace(0.4, 8.6, 12))}])
    clamp = make_clamp([2e6, 3e6, 5e6, 800.0, 900.0, 300.0], 0.06)
    rail = plain_rail(4e3)
    loads = make_loads([(0, 0.0, 4.0, (0.0, -900.0, 0.0, 0.0)), (0, 4.0, 9.0, (0.0, -1500.0, 0.0, 0.0))])
    strength = np.random.default_rng(3).uniform(900.0, 1600.0, 12)
    capacity, left = np.full((12, 6), np.inf), np.full((12, 6), np.inf)
    capacity[:, 0], left[:, 0] = strength, residual * strength
    path = follow_rows(
        layout, rail, clamp, loads, RowLimits(capacity, left, np.full(2, np.inf)), targets=np.array([4.0])
    ).path
    roof, force = condense(layout, rail, clamp), clamp_forces(layout, rail, clamp, loads)
    found = cascade(roof, 0.0 * force[0], force[0], strength, residual * strength, target=4.0)
    assert found.last[0] == pytest.approx(path.factor, rel=1e-9)
    assert found.outcome[0] == (COLLAPSED if path.outcome == "collapse" else COMPLETE)
    events = first_failures(path)
    assert len(events) > 2
    for link, factor in events.items():
        assert found.at[0, link] == pytest.approx(factor, rel=1e-9)


def test_bundle_with_equal_sharing_is_exact_and_as_strong_as_daniels_says():
    """Largest of x_(j) (n - j + 1); near n max x (1 - F), variance n x^2 F (1 - F).

    The limits are Daniels 1945, from memory.

    Uniform strengths: x = F = 1/2; the mean of a finite bundle lies a little above its limit.
    """
    n, samples = 100, 400
    Z, H = rigid_row(n)
    strength = np.random.default_rng(7).uniform(0.0, 1.0, (samples, n)) + 1e-9
    found = cascade(one_row(Z), np.zeros(n), H @ np.ones(n), strength, 0.0, target=2.0)
    exact = (np.sort(strength, axis=1) * np.arange(n, 0, -1)).max(axis=1) / n
    assert found.last == pytest.approx(exact, rel=1e-9)
    assert (found.outcome == COLLAPSED).all()
    assert (found.events == n).all()
    assert 0.25 < found.last.mean() < 0.27
    assert found.last.std() * np.sqrt(n) == pytest.approx(0.25, rel=0.25)


@pytest.mark.parametrize("seed", range(12))
def test_chain_with_local_sharing(seed):
    """A string on far stiffer links: those beside a gap take its load by the lever rule."""
    n, rng = 20, np.random.default_rng(seed)
    strength = rng.uniform(0.6, 2.0, n)
    strength[[0, -1]] = 50.0
    Z, H = string_row(n, 1e7)
    found = cascade(one_row(Z, 1e7), np.zeros(n), H @ np.ones(n), strength, 0.0, target=1.4)
    alive, factor, order = list(range(n)), 0.0, {}
    while len(alive) > 2:
        gap = np.diff(alive)
        share = 0.5 * (gap[:-1] + gap[1:])
        at = strength[alive[1:-1]] / share
        i = int(at.argmin())
        if at[i] > max(factor, 1.4):
            break
        factor = max(factor, float(at[i]))
        order[alive.pop(i + 1)] = factor
    hit = {int(i): found.at[0, i] for i in found.sequence(0)}
    assert set(hit) == set(order)
    assert [hit[i] for i in order] == pytest.approx(list(order.values()), rel=1e-4)


def test_sudden_loss_takes_those_that_a_slow_one_spares():
    """Three on a rigid bar: 0.99 each, then 1.485, swinging to 1.98; without the second 2.97, to 4.95."""
    Z, H = rigid_row(3)
    case = (one_row(Z), np.zeros(3), H @ np.ones(3), np.array([0.99, 1.7, 5.1]), 0.0)
    assert list(cascade(*case).sequence(0)) == [0]
    shaken = cascade(*case, release=2.0)
    assert list(shaken.sequence(0)) == [0, 1]
    assert shaken.outcome[0] == COMPLETE
    assert shaken.force[0] == pytest.approx([0.0, 0.0, 3.0])
    assert cascade(*case[:3], np.array([0.99, 1.7, 4.9]), 0.0, release=2.0).outcome[0] == COLLAPSED


def two_rows(unzip=0.0, lands=1.0):
    return assembly(
        np.zeros((2, 2)),
        [0, 1],
        1.0,
        0.0,
        lands=np.array([[0.0, lands], [0.0, 0.0]]),
        seam=[4, 4],
        unzip=unzip,
    )


@pytest.mark.parametrize(("impact", "second"), [(0.0, 2.5), (1.0, 1.25), (1.5, 1.0), (2.0, 1.0)])
def test_snow_of_a_row_that_lets_go_lands_on_the_next(impact, second):
    """1 each; the upper gives way at 1 and hands on 1 x impact, then as much of what still falls."""
    found = cascade(two_rows(), [0.0, 0.0], [1.0, 1.0], [1.0, 2.5], 0.0, target=9.0, impact=impact)
    assert found.let_go[0] == pytest.approx([1.0, second])


def test_snow_flies_past_rows_that_are_gone():
    lands = np.zeros((3, 3))
    lands[0, 1] = lands[1, 2] = 1.0
    roof = assembly(np.zeros((3, 3)), [0, 1, 2], 1.0, 0.0, lands=lands)
    found = cascade(roof, np.zeros(3), np.ones(3), [2.0, 1.0, 9.0], 0.0, target=9.0)
    assert found.let_go[0] == pytest.approx([2.0, 1.0, 3.0])


def test_missing_clamp_in_a_row_is_a_weaker_structure():
    """The same as a model that never had its spring."""
    n, rng = 9, np.random.default_rng(5)
    k = np.ones(n)
    k[3] = 1e-9
    load, strength = rng.uniform(0.5, 1.5, n), rng.uniform(1.0, 2.0, n)
    Z, H = beam_row(n)
    missing = np.arange(n) == 3
    found = cascade(one_row(Z), np.zeros(n), H @ load, strength, 0.0, target=9.0, missing=missing)
    Z, H = beam_row(n, k)
    rest = ~missing
    other = cascade(
        one_row(Z[np.ix_(rest, rest)]), np.zeros(n - 1), (H @ load)[rest], strength[rest], 0.0, target=9.0
    )
    assert found.at[0, 3] == -1.0
    assert found.at[0, rest] == pytest.approx(other.at[0], rel=1e-6)


def test_seam_that_opens_weakens_its_other_clamps():
    """The second of two rows holds 1.5; half of it is gone once their seam has opened at 1."""
    Z, _ = rigid_row(2)
    wide = np.zeros((4, 4))
    wide[:2, :2] = wide[2:, 2:] = Z
    roof = assembly(wide, [0, 0, 1, 1], 1.0, 1e-13, seam=[0, 1, 0, 1], unzip=0.5)
    strength = [1.0, 9.0, 1.5, 9.0]
    found = cascade(roof, np.zeros(4), np.ones(4), strength, 0.0, target=1.2)
    assert list(found.sequence(0)) == [0, 2]
    assert found.at[0, 2] == pytest.approx(1.0)
    plain = cascade(replace(roof, unzip=np.zeros(4)), np.zeros(4), np.ones(4), strength, 0.0, target=1.2)
    assert list(plain.sequence(0)) == [0]


def test_samples_do_not_know_of_one_another():
    n, rng = 30, np.random.default_rng(2)
    Z, H = beam_row(n)
    strength = rng.lognormal(0.0, 0.3, (50, n))
    together = cascade(
        one_row(Z), np.zeros(n), H @ np.ones(n), strength, 0.3 * strength, target=0.8, release=1.5
    )
    for i in (0, 17, 49):
        alone = cascade(
            one_row(Z), np.zeros(n), H @ np.ones(n), strength[i], 0.3 * strength[i], target=0.8, release=1.5
        )
        for name, value in vars(alone).items():
            assert np.array_equal(value[0], getattr(together, name)[i]), name


def test_more_swing_never_ends_later():
    n, rng = 25, np.random.default_rng(8)
    Z, H = beam_row(n)
    strength = rng.lognormal(0.0, 0.3, (100, n))
    case = (one_row(Z), np.zeros(n), H @ np.ones(n), strength, 0.0)
    slow, quick = (cascade(*case, target=3.0, release=r) for r in (1.0, 2.0))
    assert (quick.last <= slow.last * (1.0 + 1e-9)).all()
    assert (quick.last < slow.last * 0.999).any()


def test_no_answer_counts_as_failed():
    found = cascade(two_rows(), [0.0, 0.0], [0.1, 0.1], [1.0, 1.0], 0.0)
    assert not found.failed[0]
    assert replace(found, outcome=np.array([UNKNOWN], dtype=np.int8)).failed[0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"capacity": [1.0, 0.0]}, "capacity of sample 0, clamp 1 must be positive"),
        ({"residual": [0.0, 2.0]}, "residual of sample 0, clamp 1 must lie between"),
        ({"load": [np.nan, 1.0]}, "load of sample 0, clamp 0 must be a number"),
        ({"release": 0.5}, "release = 0.5"),
        ({"load": [1.0, 1.0, 1.0]}, "samples must be"),
    ],
)
def test_bad_input_is_named(change, words):
    good = {"held": [0.0, 0.0], "load": [1.0, 1.0], "capacity": [1.0, 1.0], "residual": [0.0, 0.0]}
    with pytest.raises(InputError, match=words):
        cascade(two_rows(), **(good | change))


def test_other_kinds_of_arrays_are_not_compiled_anew():
    """Where arrays lie in memory, and who may write to them, once made nine versions of 10 s each."""
    cascade(two_rows(), [0.0, 0.0], [0.1, 0.1], [1.0, 1.0], 0.0)
    known = len(kernel.walk_all.signatures)
    samples = np.ones((2, 3)).T
    samples.flags.writeable = False
    roof = replace(two_rows(), Z=np.asfortranarray(np.eye(2)))
    cascade(roof, 0.0 * samples, 0.1 * samples.copy(), samples, samples[:, ::-1])
    assert len(kernel.walk_all.signatures) == known


def test_snow_that_leaves_through_the_gap_takes_its_load_along():
    """Soft rail (string): one weak clamp goes, its snow with it: the others carry what they had."""
    n = 7
    Z, H = string_row(n, 1e6)  # hardly shared at all
    load, strength = H @ np.ones(n), np.full(n, 1.5)
    strength[3] = 0.9
    kept = cascade(one_row(Z, 1e6), np.zeros(n), load, strength, 0.0, release=1.0)
    eased = cascade(one_row(Z, 1e6), np.zeros(n), load, strength, 0.0, release=1.0, relief=1.0)
    assert kept.force[0].sum() == pytest.approx(n, rel=1e-6)
    assert eased.events[0] == 1
    assert eased.force[0, [0, 1, 5, 6]] == pytest.approx(1.0, abs=1e-4)
    assert eased.force[0].sum() == pytest.approx(n - 1, rel=1e-6)


@pytest.mark.parametrize("relief", [0.0, 0.4, 1.0])
def test_relief_ends_as_the_row_without_that_snow_does(relief):
    """A beam on springs, one clamp lost slowly: equilibrium of the rest under the snow that is left."""
    n = 9
    Z, H = beam_row(n, 1.0, 2.0)
    snow = np.linspace(1.0, 1.4, n)
    strength = np.full(n, 50.0)
    strength[4] = 0.8
    found = cascade(one_row(Z), np.zeros(n), H @ snow, strength, 0.0, relief=relief)
    assert found.events[0] == 1
    rest = np.flatnonzero(np.arange(n) != 4)
    left = H @ snow - relief * (H @ snow)[4] * H[:, 4]
    jump = left[4] / Z[4, 4]
    assert found.force[0, rest] == pytest.approx((left - Z[:, 4] * jump)[rest], rel=1e-9)
    assert found.force[0, 4] == pytest.approx(0.0, abs=1e-12)


def test_seams_unzip_wherever_a_clamp_breaks():
    """A row of one clamp goes; its seam mate in the other row, at 810 of 1000, has 500 left: it goes too."""
    Z = np.zeros((2, 2))
    roof = assembly(Z, np.array([0, 1]), np.ones(2), 1e-9, seam=np.array([4, 4]), unzip=0.5)
    found = cascade(roof, np.zeros(2), np.array([1000.0, 810.0]), np.array([900.0, 1000.0]), 0.0)
    assert np.isfinite(found.let_go[0]).all()
    alone = assembly(Z, np.array([0, 1]), np.ones(2), 1e-9, seam=np.array([4, 5]), unzip=0.5)
    held = cascade(alone, np.zeros(2), np.array([1000.0, 810.0]), np.array([900.0, 1000.0]), 0.0)
    assert np.isfinite(held.let_go[0]).tolist() == [True, False]


def over_and_under():
    """A row of four clamps above another; its pull of 4 comes onto the lower one in that row's own shares."""
    Z, H = beam_row(4, EI=1.0)
    share = H @ np.ones(4) / (H @ np.ones(4)).sum()
    lands = np.zeros((2, 8))
    lands[0, 4:] = share
    roof = assembly(block_diag(Z, Z), np.repeat([0, 1], 4), 1.0, 1e-13, lands=lands)
    pull = 4.0 * np.concatenate([share, 0.2 * share])
    return roof, pull, np.repeat([0.4, 1.5], 4)


@pytest.mark.parametrize("bond", [0.0, 0.3, 0.5])
def test_snow_that_slides_has_no_bond(bond):
    """Statics: half held by bond or not, what runs onto the lower row pulls with all of its weight."""
    roof, pull, capacity = over_and_under()
    found = cascade(roof, np.zeros(8), (1.0 - bond) * pull, capacity, 0.0, impact=2.0, bond=bond)
    assert np.isfinite(found.let_go).all()  # 2 x 4 + (1 - bond) 0.8 on four clamps of 1.5
    strong = cascade(
        roof, np.zeros(8), (1.0 - bond) * pull, np.repeat([0.4, 99.0], 4), 0.0, impact=2.0, bond=bond
    )
    assert strong.force[0, 4:].sum() == pytest.approx(2.0 * 4.0 + (1.0 - bond) * 0.8)
    # The same for all rows at once and row by row.
    rows = cascade(roof, np.zeros(8), (1.0 - bond) * pull, capacity, 0.0, impact=2.0, bond=[[bond, bond]])
    np.testing.assert_array_equal(rows.let_go, found.let_go)


def test_a_row_that_lets_go_in_a_thaw_takes_its_bond_along():
    """The lower row goes with the upper one, not when more bond would have gone; forces end alike."""
    hold = np.repeat([0.4, 99.0], 4)
    roof, pull, capacity = over_and_under()
    path = np.array([[1.0] * 4 + [0.0] * 4, [0.0] * 4 + [1.0] * 4])
    for parts in (np.ones((1, 8)), path):
        found = cascade(roof, np.zeros(8), pull, capacity, 0.0, impact=2.0, path=parts, lies=True)
        assert found.let_go[0, 1] == found.let_go[0, 0] < 0.5
        grown = cascade(roof, np.zeros(8), pull, hold, 0.0, impact=2.0, path=parts)
        still = cascade(roof, np.zeros(8), pull, hold, 0.0, impact=2.0, path=parts, lies=True)
        np.testing.assert_allclose(still.force, grown.force, atol=1e-9)


def test_a_sample_is_followed_no_further_than_asked_for_and_is_the_same_up_to_there():
    rng, n = np.random.default_rng(4), 24
    Z, H = beam_row(n, EI=1.0)
    load, capacity = (
        H @ rng.uniform(0.8, 1.2, n),
        rng.uniform(0.7, 1.6, (200, n)) * rng.uniform(0.8, 2.0, (200, 1)),
    )
    whole = cascade(one_row(Z), np.zeros(n), load, capacity, np.zeros(n), target=1.2)
    part = cascade(one_row(Z), np.zeros(n), load, capacity, np.zeros(n), target=1.2, most=5)
    count, events = (part.order >= 0).sum(axis=1), (whole.order >= 0).sum(axis=1)
    stopped = part.outcome == STOPPED
    assert 20 < stopped.sum() < 200
    assert (count[stopped] > 5).all()
    assert (events[stopped] >= count[stopped]).all()
    for s in np.flatnonzero(stopped):
        assert part.sequence(s).tolist() == whole.sequence(s)[: count[s]].tolist()
    for name in ("at", "order", "force", "outcome"):
        assert np.array_equal(getattr(part, name)[~stopped], getattr(whole, name)[~stopped])
