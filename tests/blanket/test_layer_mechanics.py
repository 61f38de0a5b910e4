"""The layer against closed forms: shear lag, infinite slope, Coulomb's block, a plug between stops."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import affinity, box

from fea.blanket.data import Contacts
from fea.blanket.equilibrium import make_pattern, solve
from fea.blanket.holding import join
from tests.blanket.layers import face, layer, line, plug, settle, snow, strip

PULL, DEPTH, YOUNG = 600.0, 0.5, 1e7


def sums(problem, state):
    """Force on the layer less all that holds it, over the driving force."""
    push = (state.contact[:, None] * problem.contacts.way).sum(axis=0)
    rest = problem.layer.force.sum(axis=0) - push - state.held.sum(axis=0) - state.left.sum(axis=0)
    return np.abs(rest).max() / np.abs(problem.layer.force).sum()


@pytest.mark.parametrize("step", [0.2, 0.1, 0.05])
def test_shear_lag_of_an_elastic_layer_on_an_elastic_bond(step):
    # E d u'' = k u + g with u' = 0 at the ridge and N = K u at the eave; the solution is that of a bar on
    # elastic ground (Volkersen 1938; Hetenyi, Beams on Elastic Foundation): with K -> infinity the force at
    # the stop is g L tanh(L / l) / (L / l), l = sqrt(E d / k).
    length, k = 6.0, 2e6
    of = layer(strip(1.0, length), step, PULL, DEPTH)
    stop = line(of, (0.0, 0.0), (1.0, 0.0), 1e12, round(1.0 / step))
    _, state = settle(of, snow(len(of.corner), YOUNG), [stop], face(of, k))
    lag = np.sqrt(YOUNG * DEPTH / k)
    exact = PULL * lag * np.tanh(length / lag)
    assert state.contact.sum() == pytest.approx(exact, rel=0.5 * (step / lag) ** 2)
    assert state.contact.sum() != pytest.approx(PULL * length, rel=0.5)


def test_shear_lag_converges_with_the_square_of_the_mesh():
    length, k = 3.0, 5e6
    lag = np.sqrt(YOUNG * DEPTH / k)
    exact = PULL * lag * np.tanh(length / lag)
    miss = []
    for step in (0.3, 0.15, 0.075):
        of = layer(strip(0.3, length), step, PULL, DEPTH)
        stop = line(of, (0.0, 0.0), (0.3, 0.0), 1e13, 4)
        _, state = settle(of, snow(len(of.corner), YOUNG), [stop], face(of, k))
        miss.append(abs(state.contact.sum() / 0.3 - exact))
    rate = np.log2(np.array(miss[:-1]) / miss[1:])
    assert rate == pytest.approx([2.0, 2.0], abs=0.3)


SLIDES = [(0.0, 1.0), (0.2, 0.5), (0.399, 0.0025), (0.401, 0.0), (0.6, 0.0)]


@pytest.mark.parametrize(("friction", "pushes"), SLIDES)
def test_a_block_slides_from_the_angle_of_friction_on(friction, pushes):
    # Coulomb: what friction cannot hold, W (sin - mu cos), leans on the stop; below the angle nothing does.
    # The stop is soft beside the interface, so friction is mobilized before it.
    press = PULL / 0.4
    of = layer(strip(2.0, 3.0), 0.25, PULL, DEPTH, press)
    limit = friction * press
    interface = face(of, 1e8, limit) if friction else face(of)
    stop = line(of, (0.0, 0.0), (2.0, 0.0), 1e4, 16)
    problem, state = settle(of, snow(len(of.corner), 1e9), [stop], interface, reach=1.0)
    assert state.contact.sum() == pytest.approx(pushes * PULL * 6.0, abs=2e-3 * PULL * 6.0)
    assert sums(problem, state) < 1e-12


def test_infinite_slope_holds_or_leaves_as_a_whole():
    # An even layer without ends feels no stress in itself (infinite slope, Terzaghi): either friction holds
    # every part of it or every part leaves with what friction lacks.
    of = layer(strip(4.0, 5.0), 0.25, PULL, DEPTH)
    made = snow(len(of.corner))
    _, held = settle(of, made, None, face(of, 1e7, 1.02 * PULL))
    _, gone = settle(of, made, None, face(of, 1e7, 0.7 * PULL))
    assert held.left[:, 1].sum() == pytest.approx(0.0, abs=1e-3)
    assert -gone.left[:, 1].sum() == pytest.approx(0.3 * PULL * 20.0, rel=1e-9)
    assert np.abs(gone.stress).max() < 1e-3


def test_patch_of_even_stress_is_exact_on_any_rectangles():
    of = layer(box(0.0, 0.0, 1.7, 2.3), 0.31, 0.0, DEPTH)
    way = np.array([[1e-4, 3e-5], [-2e-5, 2e-4]])
    from fea.blanket.elements import strains
    from fea.blanket.yielding import respond

    made = snow(len(of.corner), YOUNG, 0.3)
    moved = of.node @ way.T
    found = respond(strains(moved, of.corner, of.size), made.young, 0.3, made.strength)
    e = np.array([way[0, 0], way[1, 1], way[0, 1] + way[1, 0]])
    D = YOUNG / (1 - 0.09) * np.array([[1, 0.3, 0], [0.3, 1, 0], [0, 0, 0.35]])
    assert found.stress.reshape(-1, 3) == pytest.approx(np.tile(D @ e, (4 * len(of.corner), 1)), rel=1e-9)


def test_roof_turned_by_a_right_angle_gives_the_same_forces():
    corners = box(0.0, 0.0, 3.0, 2.0)
    strong = {"tension": 3e3, "shear": 2e3, "compression": 3e4, "slope": 0.5}
    of = layer(corners, 0.2, PULL, DEPTH)
    rail = line(of, (0.6, 0.4), (1.8, 0.4), 5e6, 24)
    _, state = settle(of, snow(len(of.corner), YOUNG, 0.2, **strong), [rail])
    other = layer(affinity.rotate(corners, 90, origin=(0, 0)), 0.2, PULL, DEPTH)
    turned = replace(other, force=np.stack([-other.force[:, 1], 0.0 * other.area], axis=1))
    rail = line(turned, (-0.4, 0.6), (-0.4, 1.8), 5e6, 24)
    _, again = settle(turned, snow(len(of.corner), YOUNG, 0.2, **strong), [rail])
    assert state.contact.max() > 0.0
    assert again.contact == pytest.approx(state.contact, rel=1e-6)


def test_forces_balance_to_rounding_also_where_snow_fails_and_leaves():
    strong = {"tension": 2.5e3, "shear": 1e3, "compression": 4e4, "slope": 0.8}
    of = layer(strip(8.0, 6.0), 0.25, PULL, DEPTH)
    rail = line(of, (3.0, 0.5), (5.0, 0.5), 7e6, 32)
    problem, state = settle(of, snow(len(of.corner), YOUNG, 0.2, **strong), [rail])
    assert state.yielding.mean() > 0.05
    assert -state.left[:, 1].sum() > 0.1 * PULL * 48.0
    assert state.contact.sum() > PULL * 2.0 * 5.5  # more than the tributary value
    assert sums(problem, state) < 1e-12
    assert state.unsettled < 1e-4


def test_what_strength_allows_bounds_what_a_partial_row_collects():
    # Limit analysis, upper bound: the block above the rail moves alone, sheared along both flanks and torn
    # off at nothing; cohesion only. Force <= g w L + 2 c d L.
    width, length, cohesion = 2.0, 5.0, 800.0
    of = layer(strip(12.0, length), 0.2, PULL, DEPTH)
    rail = line(of, (5.0, 0.0), (7.0, 0.0), 5e6, 40)
    made = snow(len(of.corner), YOUNG, 0.2, tension=cohesion, shear=cohesion)
    _, state = settle(of, made, [rail])
    bound = PULL * width * length + 2.0 * cohesion * DEPTH * length
    assert PULL * width * length < state.contact.sum() < 1.02 * bound


@pytest.mark.parametrize(("gap", "stands"), [(0.7, True), (2.2, False)])
def test_plug_between_single_stops(gap, stands):
    # Slab between two anchors without bond: it shears along its flanks over the whole run once
    # g b L > 2 c d L, b > 2 c d / g (Terzaghi's trap door with cohesion, Theoretical Soil Mechanics 1943,
    # art. 19: sigma = z (gamma - 2 c / b)); here b = 1.33 m.
    state, excess = plug(gap, PULL, 800.0)
    leaves = -state.left[:, 1].sum()
    if stands:
        assert leaves == pytest.approx(0.0, abs=1e-3 * PULL * gap * 4.0)
    else:
        assert leaves == pytest.approx(excess, rel=0.1)


def test_contacts_push_and_never_pull():
    of = layer(strip(1.0, 4.0), 0.25, PULL, DEPTH)
    low, high = (line(of, (0.0, v), (1.0, v), 1e7, 8) for v in (0.0, 2.0))
    joined = join([low, high])
    assert isinstance(joined, Contacts)
    # Snow that goes up the slope leaves both.
    up = replace(of, force=-of.force)
    _, state = settle(up, snow(len(of.corner)), [low, high])
    assert state.contact == pytest.approx(0.0, abs=1e-9)
    assert state.left[:, 1].sum() == pytest.approx(PULL * 4.0, rel=1e-9)
    # Two elastic stops share as a bar on two springs does: the lower end's force by hand.
    _, state = settle(of, snow(len(of.corner), YOUNG), [low, high])
    k, ed, g = 1e7, YOUNG * DEPTH, PULL
    # u(v): N' = g with compression N at the lower stop F1 = k u1, F2 = k u2, F1 + F2 = 4 g.
    # Shortening from 2 m to 0: u2 - u1 = (F1 * 2 - g * 2 * 2 / 2) / E d.
    F1 = (4 * g / k + 2 * g / ed) / (2 / k + 2 / ed)
    assert state.contact[:8].sum() == pytest.approx(F1, rel=2e-3)
    assert state.contact.sum() == pytest.approx(4 * g, rel=1e-9)


def test_finer_meshes_bring_the_force_on_a_partial_row_to_rest():
    strong = {"tension": 4e3, "shear": 2e3, "compression": 4e4, "slope": 0.8}
    found = []
    for step in (0.4, 0.2, 0.1):
        of = layer(strip(6.0, 4.0), step, PULL, DEPTH)
        rail = line(of, (2.0, 0.4), (4.0, 0.4), 7e6, 40)
        _, state = settle(of, snow(len(of.corner), YOUNG, 0.2, **strong), [rail])
        found.append(state.contact.sum())
    assert abs(found[2] - found[1]) < 0.6 * abs(found[1] - found[0]) + 1e-3 * found[2]
    assert found[2] == pytest.approx(found[1], rel=0.04)


def test_order_of_nodes_changes_nothing():
    of = layer(strip(3.0, 2.0), 0.25, PULL, DEPTH)
    rail = line(of, (0.5, 0.25), (2.0, 0.25), 7e6, 12)
    strong = {"tension": 2e3, "shear": 1e3, "compression": 4e4, "slope": 0.5}
    made = snow(len(of.corner), YOUNG, 0.2, **strong)
    problem, state = settle(of, made, [rail])
    mix = np.random.default_rng(5).permutation(len(of.node))
    back = np.argsort(mix)
    shuffled = replace(
        of, node=of.node[mix], node_plane=of.node_plane[mix], corner=back[of.corner],
        force=of.force[mix], pressing=of.pressing[mix], area=of.area[mix],
    )  # fmt: skip
    other = replace(
        problem,
        layer=shuffled,
        contacts=replace(problem.contacts, corner=back[problem.contacts.corner]),
        interface=face(shuffled),
    )
    again = solve(other, make_pattern(other))
    assert again.contact == pytest.approx(state.contact, rel=1e-7)


@pytest.mark.parametrize("far", [1e-9, 1.0])
def test_where_newton_begins_changes_no_force(far):
    """One equilibrium: from rest, from near the answer and from motions that have nothing to do with it."""
    of = layer(strip(1.0, 4.0), 0.25, PULL, DEPTH)
    stop = line(of, (0.0, 0.0), (0.6, 0.0), 1e8, 4)
    made = snow(len(of.corner), YOUNG, tension=500.0, shear=900.0, compression=5e4)
    problem, rest = settle(of, made, [stop], face(of, 2e5, 150.0))
    near = np.concatenate([rest.moved.ravel(), rest.structure])
    start = near + far * np.random.default_rng(3).standard_normal(len(near))
    again = solve(problem, make_pattern(problem), start)
    assert again.contact == pytest.approx(rest.contact, rel=1e-3, abs=1e-3 * rest.contact.max())
    assert sums(problem, again) < 1e-9
    if far < 1e-6:
        assert again.steps <= 2
