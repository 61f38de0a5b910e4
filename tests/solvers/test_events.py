"""Paths of events against closed forms, limit analysis, and all contact sets tried."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from fea.solvers.events import Outcome, follow, follow_links
from fea.solvers.laws import LinkState, bearing, brittle, clip, join, plastic, slip
from fea.solvers.links import LinkForm, link_system
from fea.solvers.proof import prove
from roofmodel.errors import InputError
from tests.solvers.lines import enumerate_sets, line, table_line

DATA = json.loads((Path(__file__).parents[1] / "data" / "fea_checks.json").read_text())
TABLES = [c for c in DATA["cases"] if c["name"].startswith("contact_oneway")]
SEEDS = st.integers(0, 2**32 - 1)


def one_unknown(laws, loads, rest: float = 0.0, targets=None):
    """Links side by side between one movement and the ground, and a spring that stays."""
    system = link_system(np.array([[rest]]), np.ones((len(laws), 1)), laws.stiffness)
    return follow(system, laws, np.asarray(loads, dtype=float)[:, None], targets=targets)


@pytest.mark.parametrize("case", TABLES, ids=lambda c: c["name"])
def test_beams_on_one_way_supports(case):
    inputs, expected = case["inputs"], case["expected"]
    beam, B, F = table_line(inputs)
    laws = bearing(inputs["support_k_N_per_mm"], inputs["gap_mm"])
    path = follow(link_system(beam.K, B, laws.stiffness), laws, F[None])
    assert path.outcome is Outcome.COMPLETE
    assert path.proof.holds(1e-10)
    assert np.flatnonzero(path.force > 0.0).tolist() == expected["contact_set_index0"]
    reactions = np.array(expected["reactions_N"])
    np.testing.assert_allclose(path.force, reactions, rtol=1e-6, atol=1e-6 * reactions.max())
    w = path.displacement[beam.w[np.searchsorted(beam.x, inputs["support_x_mm"])]]
    np.testing.assert_allclose(w, expected["w_at_supports_mm"], rtol=1e-6)


L, MP, EI = 2.0, 3.0, 100.0
PROPPED = L * (np.sqrt(2.0) - 1.0)  # hinge of the propped beam from its simple end


def collapse(x, fixed_ends, supports, load, EI=EI, k=np.inf):
    """Collapse factor of a beam whose nodes can all become hinges, except simple ends."""
    n = len(x)
    beam = line(x, EI, range(n))
    gone = [beam.w[s] for s in supports]
    gone += [beam.left[0], beam.right[-1]]  # outside of the outermost hinges
    hinge = [
        i for i in range(n) if not ((i == 0 and not fixed_ends[0]) or (i == n - 1 and not fixed_ends[1]))
    ]
    keep = np.setdiff1d(np.arange(len(beam.K)), gone)
    laws = plastic(np.full(len(hinge), k), MP)
    system = link_system(beam.K[np.ix_(keep, keep)], beam.kink[np.ix_(hinge, keep)], laws.stiffness)
    return follow(system, laws, load(beam)[keep][None], targets=np.array([1e4]))


@pytest.mark.parametrize(
    ("x", "ends", "supports", "load", "expected", "first"),
    [
        (np.linspace(0, L, 9), (1, 1), (0, 8), lambda b: b.uniform(MP / L**2), 16.0, 12.0),
        (np.sort([*np.linspace(0, L, 9), PROPPED]), (0, 1), (0, 9), lambda b: b.uniform(MP / L**2),
         6.0 + 4.0 * np.sqrt(2.0), 8.0),
        (np.linspace(0, L, 9), (0, 0), (0, 8), lambda b: b.uniform(MP / L**2), 8.0, 8.0),
        (np.linspace(0, L, 9), (1, 1), (0, 8), lambda b: b.point(MP / L, L / 2), 8.0, 8.0),
        (np.linspace(0, L, 9), (0, 1), (0, 8), lambda b: b.point(MP / L, L / 2), 6.0, 16.0 / 3.0),
        (np.linspace(0, L, 10), (1, 1), (0, 9), lambda b: b.point(MP / L, L / 3), 9.0, 6.75),
        (np.sort([*np.linspace(0, 2 * L, 9), PROPPED, 2 * L - PROPPED]), (0, 0), (0, 5, 10),
         lambda b: b.uniform(MP / L**2), 6.0 + 4.0 * np.sqrt(2.0), 8.0),
    ],
    ids=["fixed", "propped", "simple", "fixed-point", "propped-point", "fixed-third", "two-span"],
)  # fmt: skip
def test_plastic_collapse_of_beams(x, ends, supports, load, expected, first):
    """Factors on M_p / L^2 and M_p / L; Neal, Plastic Methods of Structural Analysis (from memory)."""
    path = collapse(x, ends, supports, load)
    assert path.outcome is Outcome.COLLAPSE
    assert "mechanism" in path.words
    assert path.critical >= 0
    assert path.factor == pytest.approx(expected, rel=1e-9)
    assert (path.events.factor[0] if len(path.events) else path.factor) == pytest.approx(first, rel=1e-9)
    assert path.proof.holds(1e-9)


def test_hinges_on_soft_ends_carry_the_same_collapse_load():
    """Plastic collapse does not depend on elastic stiffness."""
    soft = collapse(np.linspace(0, L, 9), (1, 1), (0, 8), lambda b: b.uniform(MP / L**2), k=30.0)
    assert soft.factor == pytest.approx(16.0, rel=1e-9)
    assert soft.events.factor[0] < 16.0


def three_bars(angle: float, EA: float = 1000.0, height: float = 1.5):
    c = np.cos(angle)
    B = np.array([[0.0, 1.0], [np.sin(angle), c], [-np.sin(angle), c]])
    return B, EA * np.array([1.0, c, c]) / height


@pytest.mark.parametrize("angle", [0.4, np.pi / 4, 1.1])
def test_three_bar_truss_yields_in_order_and_keeps_residual_stress(angle):
    """Elastic, contained and free plastic flow; textbook example of plasticity (from memory)."""
    B, k = three_bars(angle)
    c, Ny = np.cos(angle), 7.0
    laws = plastic(k, Ny)
    system = link_system(np.zeros((2, 2)), B, k)
    first, last = Ny * (1.0 + 2.0 * c**3), Ny * (1.0 + 2.0 * c)
    up = np.array([[0.0, 1.0]])
    path = follow(system, laws, up, targets=np.array([100.0]))
    assert path.outcome is Outcome.COLLAPSE
    assert path.events.factor[0] == pytest.approx(first, rel=1e-12)
    assert path.events.link[0] == 0
    assert path.factor == pytest.approx(last, rel=1e-12)
    load = 0.5 * (first + last)
    there = follow(system, laws, np.concatenate([up, -up]), targets=np.array([load, load]))
    assert there.outcome is Outcome.COMPLETE
    after = there.path_displacement(system, np.concatenate([up, -up]), targets=np.array([load, load]))
    top = there.path_stage.tolist().index(1) - 1
    assert after[top, 1] == pytest.approx(Ny / k[0] + (load - first) / (2.0 * k[1] * c**2), rel=1e-12)
    assert there.force[0] == pytest.approx(Ny - load / (1.0 + 2.0 * c**3), rel=1e-12)
    assert there.force[0] + 2.0 * c * there.force[1] == pytest.approx(0.0, abs=1e-12 * Ny)
    assert there.state[0] == LinkState.STUCK


@settings(max_examples=60, deadline=None)
@given(SEEDS, st.integers(1, 12))
def test_bundle_of_brittle_springs_shares_its_load(seed, n):
    """Largest of (springs left) x (weakest left): Daniels, Proc. Royal Society A 183 (1945) 405 (memory)."""
    strength = np.random.default_rng(seed).uniform(0.5, 3.0, n)
    path = one_unknown(brittle(np.ones(n), strength), [1.0], targets=np.array([100.0]))
    expected = (np.sort(strength) * np.arange(n, 0, -1)).max()
    assert path.outcome is Outcome.COLLAPSE
    assert path.factor == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("residual", [0.0, 0.3, 0.8, 1.0])
def test_slip_falls_to_its_residual_at_constant_load(residual):
    """Two clamps in parallel: the weak one falls from 1 to its residual, the strong one takes the rest."""
    laws = slip(np.full(2, 5.0), [1.0, 4.0], [residual, 4.0])
    path = one_unknown(laws, [1.0], targets=np.array([100.0]))
    assert path.events.factor[0] == pytest.approx(2.0)
    assert path.factor == pytest.approx(4.0 + residual)
    low = path.path_factor == path.events.factor[0]
    np.testing.assert_allclose(path.path_force[low].sum(axis=1), 2.0, rtol=1e-12)
    np.testing.assert_allclose(path.path_force[np.flatnonzero(low)[-1]], [residual, 2.0 - residual])
    assert path.state[0] == (LinkState.FLOWS_UP if residual else LinkState.LOST)


def test_slip_that_the_rest_cannot_take_brings_all_down():
    laws = slip(np.full(3, 5.0), [1.0, 1.2, 1.3], [0.2, 0.2, 0.2])
    path = one_unknown(laws, [1.0], targets=np.array([100.0]))
    assert path.outcome is Outcome.COLLAPSE
    assert path.factor == pytest.approx(3.0)
    assert path.force[2] == pytest.approx(1.3)
    assert path.force.sum() == pytest.approx(3.0)
    assert path.critical == 2


def test_slip_turned_back_is_elastic_within_its_residual():
    laws = slip([10.0], [2.0], [0.5])
    loads, targets = [1.0, -1.0, -1.0], np.array([3.0, 3.0, 1.0])
    path = one_unknown(laws, loads, rest=1.0, targets=targets)
    u = path.displacement[0]
    assert path.force[0] == pytest.approx(-0.5)
    assert u == pytest.approx(-1.0 + 0.5)  # the spring that stays carries the load less the residual
    states = path.events.after.tolist()
    assert states == [LinkState.FLOWS_UP, LinkState.STUCK, LinkState.FLOWS_DOWN]


def test_clip_hangs_slack_then_holds_then_breaks():
    """Uplift u: rest k u, then k (u - gap) more, until the strength."""
    laws = clip([100.0], 0.01, 0.6)
    path = one_unknown(laws, [1.0], rest=20.0, targets=np.array([5.0]))
    assert path.events.factor[:2] == pytest.approx([0.2, 20.0 * 0.016 + 0.6])
    assert path.events.after.tolist() == [LinkState.HOLDS, LinkState.LOST]
    assert path.force[0] == 0.0
    assert path.displacement[0] == pytest.approx(5.0 / 20.0)
    down = one_unknown(laws, [-1.0], rest=20.0, targets=np.array([5.0]))
    assert len(down.events) == 0
    assert down.displacement[0] == pytest.approx(-0.25)


def test_elastic_plastic_loop_has_the_area_of_its_rectangle():
    """Between +-u of a perfectly plastic spring: 4 f_y (u - f_y / k) per cycle."""
    laws = plastic([50.0], 1.0)
    targets = np.array([3.0, 6.0, 6.0])
    loads = np.array([1.0, -1.0, 1.0])
    path = one_unknown(laws, loads, rest=10.0, targets=targets)
    system = link_system(np.array([[10.0]]), np.ones((1, 1)), laws.stiffness)
    u = path.path_displacement(system, loads[:, None], targets=targets)[:, 0]
    f = path.path_force[:, 0]
    start = int(np.argmax(u))
    area = (0.5 * (f[1:] + f[:-1]) * np.diff(u))[start:].sum()
    top = u[start]
    assert u[-1] == pytest.approx(top)
    assert area == pytest.approx(4.0 * (top - 1.0 / 50.0))


def random_contacts(seed: int):
    rng = np.random.default_rng(seed)
    n, c = int(rng.integers(1, 5)), int(rng.integers(1, 7))
    A = rng.normal(size=(n, n))
    K = A @ A.T * (rng.random() < 0.7)
    B = rng.normal(size=(c, n))
    gap = np.where(rng.random(c) < 0.5, 0.0, rng.random(c))
    return K, B, 10.0 ** rng.uniform(-1.0, 4.0, c), gap, rng.normal(size=n)


@settings(max_examples=150, deadline=None)
@given(SEEDS)
def test_contacts_are_the_only_set_that_fits(seed):
    K, B, k, gap, F = random_contacts(seed)
    try:
        system = link_system(K, B, k)
    except InputError:
        assert np.linalg.cond(K + (B.T * k) @ B) > 1e8
        return
    path = follow(system, bearing(k, gap), F[None])
    sets = enumerate_sets(K, B, k, gap, F)
    if sets:
        assert path.outcome is Outcome.COMPLETE
        np.testing.assert_allclose(path.force, sets[0], atol=1e-7 * max(1.0, sets[0].max()))
    else:
        assert path.outcome is not Outcome.COMPLETE


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_contacts_forget_the_order_of_loads(seed):
    K, B, k, gap, F = random_contacts(seed)
    K = K + np.eye(len(K))
    G = np.random.default_rng(seed + 1).normal(size=len(F))
    system, laws = link_system(K, B, k), bearing(k, gap)
    paths = [follow(system, laws, loads) for loads in ((F + G)[None], np.stack([F, G]), np.stack([G, F]))]
    for path in paths[1:]:
        np.testing.assert_allclose(path.force, paths[0].force, atol=1e-9 * max(1.0, np.abs(F).max() * 10))
        np.testing.assert_allclose(path.displacement, paths[0].displacement, atol=1e-8)


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_plastic_collapse_is_the_best_of_all_safe_states(seed):
    """Static theorem of limit analysis by linear programming."""
    rng = np.random.default_rng(seed)
    n, c = int(rng.integers(1, 5)), int(rng.integers(2, 9))
    c = max(c, n)
    B, k = rng.normal(size=(c, n)), rng.uniform(0.5, 20.0, c)
    capacity, F = rng.uniform(0.5, 2.0, c), rng.normal(size=n)
    safe = linprog(
        np.append(np.zeros(c), -1.0),
        A_eq=np.column_stack([B.T, -F]),
        b_eq=np.zeros(n),
        bounds=[*zip(-capacity, capacity, strict=True), (0.0, None)],
    )
    path = follow(link_system(np.zeros((n, n)), B, k), plastic(k, capacity), F[None], targets=np.array([1e6]))
    assert path.outcome is Outcome.COLLAPSE
    assert path.factor == pytest.approx(safe.x[-1], rel=1e-7, abs=1e-8)  # capacities and loads are near 1
    assert path.proof.holds(1e-8)


def test_equal_clamps_fall_together_in_spite_of_rounding():
    """Two that miss each other by rounding: the first must not relieve the second."""
    B = np.array([[1.0, 1.0], [1.0, 0.0], [1.0, -1.0]])
    laws = slip(np.array([3.0, 3.0, 3.0 * (1 - 1e-9)]), [1.0, 9.0, 1.0], [0.5, 9.0, 0.5])
    system = link_system(np.diag([0.0, 2.0]), B, laws.stiffness)
    path = follow(system, laws, np.array([[1.0, 0.0]]), targets=np.array([3.1]))
    assert path.force == pytest.approx([0.5, 2.1, 0.5], abs=1e-6)


@pytest.mark.parametrize("laws", [
    slip(np.full(5, 40.0), 1.0, 0.4), plastic(np.full(5, 40.0), 1.0), brittle(np.full(5, 40.0), 1.0),
    join([clip(np.full(2, 40.0), 0.01, 1.0), bearing(40.0, 0.02), clip(np.full(2, 40.0), 0.01, 1.0)]),
])  # fmt: skip
def test_symmetric_rows_answer_symmetrically(laws):
    beam = line(np.linspace(0.0, 4.0, 9), 3.0)
    B = np.zeros((5, len(beam.K)))
    B[np.arange(5), beam.w[::2]] = 1.0
    weak = beam.K + 0.5 * np.diag(np.isin(np.arange(len(beam.K)), beam.w).astype(float))
    system = link_system(weak, B, laws.stiffness)
    path = follow(system, laws, beam.uniform(1.0)[None], targets=np.array([3.0]))
    assert path.outcome is Outcome.COMPLETE
    assert len(path.events) > 1
    np.testing.assert_allclose(path.path_force, path.path_force[:, ::-1], atol=1e-9)
    np.testing.assert_array_equal(path.state, path.state[::-1])


def mixed(seed: int):
    """A random structure on random contacts, clips, clamps, hinges and brittle links, and three loads."""
    rng = np.random.default_rng(seed)
    n, many = int(rng.integers(1, 6)), rng.integers(1, 4, 5)
    cap = rng.uniform(0.5, 2.0, many[2])
    laws = join(
        [
            bearing(10.0 ** rng.uniform(-1, 4, many[0]), rng.uniform(-0.3, 0.3, many[0]).clip(0.0)),
            clip(10.0 ** rng.uniform(-1, 4, many[1]), rng.uniform(0.0, 0.2, many[1]), rng.uniform(0.5, 2.0)),
            slip(10.0 ** rng.uniform(-1, 3, many[2]), cap, cap * rng.uniform(0.1, 1.0, many[2])),
            plastic(10.0 ** rng.uniform(-1, 3, many[3]), rng.uniform(0.5, 2.0, many[3])),
            brittle(10.0 ** rng.uniform(-1, 3, many[4]), rng.uniform(0.5, 2.0, many[4])),
        ]
    )
    A, F = rng.normal(size=(n, n)), rng.normal(size=(2, n))
    return A @ A.T, rng.normal(size=(len(laws), n)), laws, np.array([F[0], F[1], -F[1]])


@pytest.mark.parametrize("seed", range(40))
def test_every_point_of_a_path_is_in_equilibrium_and_within_its_laws(seed):
    K, B, laws, loads = mixed(seed)
    targets = np.array([1.0, 6.0, 7.0])
    system = link_system(K, B, laws.stiffness)
    path = follow(system, laws, loads, targets=targets)
    assert path.outcome in (Outcome.COMPLETE, Outcome.COLLAPSE)
    assert path.proof.holds(1e-7)
    u = path.path_displacement(system, loads, targets=targets)
    before = np.concatenate([np.zeros((1, len(K))), np.cumsum(targets[:, None] * loads, axis=0)])
    F = before[path.path_stage] + path.path_factor[:, None] * loads[path.path_stage]
    size = max(1.0, np.abs(F).max())
    np.testing.assert_allclose(u @ K + path.path_force @ B, F, atol=1e-6 * size)
    stretch = path.path_force / laws.stiffness + path.path_jump
    np.testing.assert_allclose(stretch, u @ B.T, atol=1e-6 * max(1.0, np.abs(u).max()))
    assert (np.abs(path.path_force) <= laws.capacity + 1e-6 * size).all()
    assert (path.path_force[:, laws.one_way] >= -1e-6 * size).all()
    late = path.path_stage[1:] * 1e3 + path.path_factor[1:]
    assert (np.diff(late) >= -1e-12).all()


def test_body_between_gaps_travels_until_one_closes():
    """Nothing but gaps: it moves at no load until the nearest takes hold, and off the other way."""
    laws = bearing([10.0, 10.0], [0.1, 0.3])
    path = one_unknown(laws, [1.0], targets=np.array([4.0]))
    assert path.displacement[0] == pytest.approx(0.3 + 2.0 / 20.0)
    assert path.force == pytest.approx([3.0, 1.0])
    away = one_unknown(laws, [-1.0])
    assert away.outcome is Outcome.COLLAPSE
    assert away.factor == 0.0


def test_lost_balance_is_a_collapse_at_its_load():
    """A rail on two clamps is determinate: the first that breaks brings it down."""
    B = np.array([[1.0, 0.0], [1.0, 1.0]])
    laws = brittle([3.0, 3.0], [1.0, 1.0])
    path = follow(link_system(np.zeros((2, 2)), B, laws.stiffness), laws, np.array([[1.0, 0.25]]),
                  targets=np.array([9.0]))  # fmt: skip
    assert path.outcome is Outcome.COLLAPSE
    assert path.factor == pytest.approx(1.0 / 0.75)
    assert path.critical == 0


def test_states_that_come_back_are_told_and_not_followed():
    """A coupling that is not symmetric and no P-matrix, found by search: no answer exists on this way."""
    Z = np.array([[2.0, 0, 4, -3], [4, 2, 0, -2], [-2, 4, 2, -3], [-1, 0, 4, 2]])
    form = LinkForm(Z, np.ones(4), 1e-13)
    path = follow_links(form, bearing(np.full(4, 2.0)), np.array([[-1.0, -3.0, -1.0, -2.0]]))
    assert path.outcome is Outcome.CYCLING
    assert "came back" in path.words
    assert len(path.events) < 50


def test_stiff_links_lose_nothing():
    """A contact 1e12 times stiffer than its beam gives the force of a rigid one."""
    beam = line(np.linspace(0.0, 2.0, 5), 1.0)
    keep = np.setdiff1d(np.arange(len(beam.K)), [beam.w[0], beam.w[-1]])
    B = np.eye(len(beam.K))[[beam.w[2]]][:, keep]
    forces = []
    for k in (1e12, np.inf):
        laws = plastic([k], 1e9)
        system = link_system(beam.K[np.ix_(keep, keep)], B, laws.stiffness)
        forces.append(follow(system, laws, beam.uniform(1.0)[keep][None]).force[0])
    assert forces == pytest.approx([1.25, 1.25], rel=1e-9)  # 10/8 q L of two equal spans of 1 m


def test_proof_sees_every_kind_of_lie():
    laws = join([bearing([2.0], [0.1]), plastic([2.0], 1.0)])
    good = {"state": np.array([0, 2]), "force": np.array([0.5, 1.0]), "jump": np.array([0.1, 0.3]),
            "miss": np.zeros(2), "unbalanced": np.zeros(1)}  # fmt: skip
    rest = {"own": np.full(2, 2.0), "falling": np.zeros(2, dtype=bool), "size": 1.0}
    assert prove(laws, **good, **rest).worst == 0.0
    for name, value, what, size in (
        ("force", np.array([-0.5, 1.0]), "tension", 0.5),
        ("force", np.array([0.5, -1.2]), "excess", 0.2),
        ("jump", np.array([0.2, 0.3]), "penetration", 0.2),
        ("jump", np.array([0.0, 0.3]), "complementarity", 0.2),
        ("miss", np.array([0.0, 0.1]), "law", 0.1),
        ("unbalanced", np.array([-0.3]), "residual", 0.3),
    ):
        proof = prove(laws, **{**good, name: value}, **rest)
        assert getattr(proof, what) == pytest.approx(size)
        assert not proof.holds()


@pytest.mark.parametrize(("make", "word"), [
    (lambda: bearing([-1.0]), "stiffness"),
    (lambda: clip([1.0], -0.1), "gap"),
    (lambda: slip([1.0], 1.0, 2.0), "residual"),
    (lambda: plastic([1.0], 0.0), "capacity"),
    (lambda: link_system(np.array([[1.0, 0.0], [0.5, 1.0]]), np.eye(2), np.ones(2)), "symmetric"),
    (lambda: link_system(np.zeros((2, 2)), np.eye(2)[:1], np.ones(1)), "floats"),
    (lambda: one_unknown(bearing([1.0]), [np.nan]), "finite"),
    (lambda: link_system(np.eye(1), np.ones((2, 1)), np.full(2, np.inf)), "twice"),
])  # fmt: skip
def test_what_is_no_law_is_refused(make, word):
    with pytest.raises(InputError, match=word):
        make()
