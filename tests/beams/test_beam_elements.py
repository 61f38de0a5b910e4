"""The beam element: rigid motion, turning, arms, releases, one or many, and what it refuses."""

from dataclasses import replace

import numpy as np
import pytest
from bars import SOLID, chain, group, random_stiffness, solve, turned
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.elements.beam_inside import beam_inside, end_displacements
from fea.elements.beam_loads import linear_load_vectors, point_load_vectors
from fea.elements.beams import beam_matrices, beam_stiffness, local_beams
from fea.model.assembly import build_system
from fea.model.data import GROUND, Model, Springs, Ties
from fea.model.solution import solve_model
from roofmodel.errors import InputError

SEEDS = st.integers(0, 2**31)


def random_beam(seed, **what):
    rng = np.random.default_rng(seed)
    stiff = random_stiffness(rng, **what)
    ends = rng.uniform(-2.0, 2.0, (1, 2, 3))
    warp = [[0, 1]] if stiff.warping else None
    beams = group([[0, 1]], stiff, rng.normal(size=3), rng.uniform(-0.2, 0.2, (1, 2, 3)), warp=warp)
    return rng, ends, beams


@settings(deadline=None, max_examples=60)
@given(SEEDS, st.booleans())
def test_six_rigid_motions_and_no_other_are_free(seed, warping):
    _, ends, beams = random_beam(seed, warping=warping)
    K = beam_matrices(ends, beams)[0]
    np.testing.assert_allclose(K, K.T, atol=1e-12 * np.abs(K).max())
    rigid = np.zeros((14, 6))
    for end in (0, 1):
        x, y, z = ends[0, end]
        rigid[6 * end : 6 * end + 3, :3] = rigid[6 * end + 3 : 6 * end + 6, 3:] = np.eye(3)
        rigid[6 * end : 6 * end + 3, 3:] = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]
    scale = np.abs(K).max()
    np.testing.assert_allclose(K @ rigid, 0.0, atol=1e-11 * scale)
    # in the beam's own axes it is well scaled enough to count the ways it resists
    own = local_beams(ends, beams).K[0]
    unit = own / np.sqrt(np.outer(np.diag(own), np.diag(own)))
    values = np.linalg.eigvalsh(unit)
    np.testing.assert_allclose(values[:6], 0.0, atol=1e-10)
    assert values[6] > 1e-9


@settings(deadline=None, max_examples=60)
@given(SEEDS)
def test_a_turned_beam_is_the_same_beam(seed):
    rng, ends, beams = random_beam(seed)
    R = turned(rng)
    other = replace(beams, axis_y=beams.axis_y @ R.T, offset=beams.offset @ R.T)
    big = np.eye(14)
    for i in range(0, 12, 3):
        big[i : i + 3, i : i + 3] = R
    K = beam_matrices(ends, beams)[0]
    np.testing.assert_allclose(
        beam_matrices(ends @ R.T, other)[0], big @ K @ big.T, atol=1e-10 * np.abs(K).max()
    )


@settings(deadline=None, max_examples=40)
@given(SEEDS)
def test_the_section_may_be_described_in_turned_axes(seed):
    """Bending, shear center and axes of the section turned together about x leave the beam as it is."""
    rng, ends, beams = random_beam(seed)
    stiff = replace(beams.stiffness, shear=np.full(2, beams.stiffness.shear[0]))
    beams = replace(beams, stiffness=stiff, offset=np.zeros((1, 2, 3)))
    angle = rng.uniform(-3.0, 3.0)
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])  # new components of (y, z)
    spread = np.array(
        [[stiff.bending[1, 1], stiff.bending[0, 1]], [stiff.bending[0, 1], stiff.bending[0, 0]]]
    )
    new = turn @ spread @ turn.T  # integrals of y y, y z, z z
    axes = local_beams(ends, beams).axes[0]
    other = replace(
        beams,
        stiffness=replace(stiff, bending=new[::-1, ::-1], center=turn @ stiff.center),
        axis_y=(c * axes[1] + s * axes[2])[None],
    )
    K = beam_matrices(ends, beams)[0]
    np.testing.assert_allclose(beam_matrices(ends, other)[0], K, atol=1e-9 * np.abs(K).max())


@settings(deadline=None, max_examples=30)
@given(SEEDS, st.booleans())
def test_arms_are_rigid_links(seed, warping):
    rng, ends, beams = random_beam(seed, warping=warping)
    arms = beams.offset[0]
    loads = {i: rng.normal() for i in range(6, 12)}
    fixed = [*range(6), *([12] if warping else [])]
    u, _ = solve(ends[0], beams, fixed, loads)
    far = np.concatenate([ends[0], ends[0] + arms])
    own = replace(beams, node=np.array([[2, 3]]), offset=np.zeros((1, 2, 3)))
    model = Model(
        far,
        beams=(own,),
        ties=Ties(
            np.array([*range(6), *([24] if warping else [])]),
            np.zeros(len(fixed)),
            rigid_main=np.array([0, 1]),
            rigid_node=np.array([2, 3]),
            rigid_part=np.ones((2, 6), dtype=bool),
        ),
    )
    F = np.zeros((model.dof_count, 1))
    F[list(loads), 0] = list(loads.values())
    v = solve_model(build_system(model), F).displacement
    np.testing.assert_allclose(u[6:12], v[6:12], atol=1e-8 * np.abs(v[6:12]).max())


@settings(deadline=None, max_examples=40)
@given(SEEDS, st.booleans())
def test_one_beam_is_as_good_as_many_inside_too(seed, warping):
    """Linear loads, random places: displacement and forces inside one beam are those at nodes of many."""
    rng = np.random.default_rng(seed)
    stiff = random_stiffness(rng, warping=warping)
    L = rng.uniform(0.5, 4.0)
    share = np.concatenate([[0.0], np.sort(rng.uniform(0.02, 0.98, 3)), [1.0]])
    first, last = rng.normal(size=(2, 4, 2))

    def moved(places):
        n = len(places) - 1
        size = L * np.diff(places)
        dof = np.concatenate([6 * chain(n)[..., None] + np.arange(6)]).reshape(n, 12)
        if warping:
            dof = np.concatenate([dof, 6 * (n + 1) + chain(n)], axis=1)
        count = (7 if warping else 6) * (n + 1)
        K, F = np.zeros((count, count)), np.zeros((count, 2))
        vectors = linear_load_vectors(0.0 * size, size, size, stiff)
        at = first + (last - first) * places[:, None, None]
        for e, (k, v) in enumerate(zip(beam_stiffness(size, stiff), vectors, strict=True)):
            K[np.ix_(dof[e], dof[e])] += k
            F[dof[e]] += v[..., 0] @ at[e] + v[..., 1] @ at[e + 1]
        free = np.setdiff1d(np.arange(count), [*range(6), *range(6 * n, 6 * n + 4)])
        scale = 1.0 / np.sqrt(np.diag(K)[free])
        u = np.zeros((count, 2))
        unit = K[np.ix_(free, free)] * np.outer(scale, scale)
        u[free] = scale[:, None] * np.linalg.solve(unit, scale[:, None] * F[free])
        return u, dof, at

    one, dof, line = moved(np.array([0.0, 1.0]))
    beam = group([[0, 1]], stiff, warp=[[0, 1]] if warping else None)
    local = local_beams(np.array([[[0.0, 0.0, 0.0], [L, 0.0, 0.0]]]), beam)
    inside = beam_inside(local, one[dof], np.stack([line[0], line[1]], axis=1)[None], share)
    many, dofs, lines = moved(share)
    for p in range(5):
        there = many[6 * p : 6 * p + 6]
        here = inside.displacement[0, p]
        for part in (slice(0, 3), slice(3, 6)):
            np.testing.assert_allclose(here[part], there[part], atol=1e-8 * np.abs(many[dofs[:, part]]).max())
    piece = group(chain(4), stiff, warp=chain(4) if warping else None)
    xyz = np.stack([L * share, 0.0 * share, 0.0 * share], axis=1)
    pieces = local_beams(xyz[piece.node], piece)
    cut = beam_inside(pieces, many[dofs], np.stack([lines[:-1], lines[1:]], axis=2), np.array([0.0, 1.0]))
    top = np.abs(inside.force).max(axis=(0, 1, 3))
    for p in range(4):
        for end, place in ((0, p), (1, p + 1)):
            difference = np.abs(cut.force[p, end] - inside.force[0, place]).max(axis=1)
            assert (difference <= 1e-7 * top + 1e-12).all()


@settings(deadline=None, max_examples=60)
@given(SEEDS, st.booleans())
def test_what_one_point_does_to_another_the_other_does_to_it(seed, warping):
    """Maxwell and Betti: loads inside move an end as much as loads at the end move the inside."""
    rng = np.random.default_rng(seed)
    stiff = random_stiffness(rng, warping=warping)
    L, share = rng.uniform(0.3, 3.0), rng.uniform(0.05, 0.95)
    beam = group([[0, 1]], stiff, warp=[[0, 1]] if warping else None)
    local = local_beams(np.array([[[0.0, 0.0, 0.0], [L, 0.0, 0.0]]]), beam)
    unit = np.eye(stiff.width)[None]
    inside = beam_inside(local, unit, np.zeros((1, 4, 2, stiff.width)), np.array([share]))
    loads = point_load_vectors(np.array([share * L]), np.array([L]), stiff)[0, :, :6]
    np.testing.assert_allclose(inside.displacement[0, 0].T, loads, atol=1e-9 * max(1.0, 1.0 / L))


def test_released_ends_in_closed_form():
    """3 EI / L^3 with shear strain; a bar that only pulls; 3 EI / L for a far end on a pin (textbooks)."""
    L, EI, flex = 1.7, SOLID.bending[0, 0], SOLID.shear[1]
    ends = np.array([[[0.0, 0.0, 0.0], [L, 0.0, 0.0]]])
    release = np.zeros((1, 2, 7), dtype=bool)
    release[0, 1, 4] = True
    K = beam_matrices(ends, group([[0, 1]], SOLID, release=release))[0]
    soft = 1.0 / (L**3 / (3.0 * EI) + L * flex)
    np.testing.assert_allclose(K[[2, 8, 4], [2, 2, 4]], [soft, -soft, soft * L**2], rtol=1e-12)
    np.testing.assert_allclose(K[10], 0.0, atol=1e-9)
    release[0, :, 4:6] = True
    K = beam_matrices(ends, group([[0, 1]], SOLID, release=release))[0]
    expected = np.zeros((14, 14))
    for i, value in ((0, SOLID.axial / L), (3, SOLID.torsion / L)):
        expected[[i, i + 6, i, i + 6], [i, i + 6, i + 6, i]] = [value, value, -value, -value]
    np.testing.assert_allclose(K, expected, atol=1e-9 * SOLID.axial)


@settings(deadline=None, max_examples=40)
@given(SEEDS, st.booleans())
def test_a_release_is_a_cut_between_two_nodes(seed, warping):
    """Releases against a second node that shares only what is not released, under a load on the beam."""
    rng = np.random.default_rng(seed)
    stiff = random_stiffness(rng, warping=warping)
    L = rng.uniform(0.5, 3.0)
    size = np.array([L])
    release = np.zeros((1, 2, 7), dtype=bool)
    release[0, 1] = rng.random(7) < 0.5
    release[0, 0, 6] = rng.random() < 0.5
    beam = group([[0, 1]], stiff, release=release, warp=[[0, 1]] if warping else None)
    local = local_beams(np.array([[[0.0, 0.0, 0.0], [L, 0.0, 0.0]]]), beam)
    u = rng.normal(size=(1, stiff.width, 1))
    line = rng.normal(size=(1, 4, 2, 1))
    vectors = linear_load_vectors(0.0 * size, size, size, stiff)
    load = vectors[..., 0] @ line[:, :, 0] + vectors[..., 1] @ line[:, :, 1]
    loose = np.concatenate([release[0, 0, :6], release[0, 1, :6], release[0, :, 6]])[: stiff.width]
    K = beam_stiffness(size, stiff)[0]
    held = u[0, :, 0].copy()
    rest = load[0, :, 0] - K[:, ~loose] @ held[~loose]
    held[loose] = np.linalg.solve(K[np.ix_(loose, loose)], rest[loose])
    moved = end_displacements(local, u, load)[0, :, 0]
    np.testing.assert_allclose(moved, held, atol=1e-7 * np.abs(held).max())
    force = np.abs(K @ moved - load[0, :, 0])
    assert (force[loose] <= 1e-9 * (np.abs(K) @ np.abs(moved))[loose]).all()


def refused(stiff=SOLID, ends=((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), **what):
    with pytest.raises(InputError) as caught:
        beam_matrices(np.array([ends], dtype=float), group([[0, 1]], stiff, **what))
    message = str(caught.value)
    assert "\n" not in message
    return message


def test_what_is_no_beam_is_refused():
    assert "EA = -1" in refused(replace(SOLID, axial=-1.0))
    assert "GJ = 0" in refused(replace(SOLID, torsion=0.0))
    assert "EI_yz^2" in refused(replace(SOLID, bending=np.array([[1.0, 2.0], [2.0, 3.0]])))
    assert "EI_w" in refused(replace(SOLID, warping=-1.0))
    assert "shear compliances" in refused(replace(SOLID, shear=np.array([-1e-9, 0.0])))
    assert "not a number" in refused(replace(SOLID, axial=np.nan))
    assert "no length" in refused(ends=((1.0, 2.0, 3.0),) * 2)
    assert "axis_y" in refused(axis_y=(2.0, 0.0, 0.0))
    assert "use -1" in refused(warp=[[0, 1]])
    release = np.zeros((1, 2, 7), dtype=bool)
    release[0, :, 3] = True
    assert "element 0 moves freely between its releases (T at end 1, T at end 2)" in refused(release=release)
    release = np.zeros((1, 2, 7), dtype=bool)
    release[0, :, [2, 4]] = True
    assert "moves freely" in refused(release=release)


def test_a_ring_quarter_of_straight_beams():
    """A quarter ring, clamped at one end, bent in its plane and out of it by its tip (Castigliano)."""
    R, F = 0.8, 500.0
    EI, EI_out, flex = SOLID.bending[1, 1], SOLID.bending[0, 0], SOLID.shear
    in_plane = F * np.pi / 4.0 * (R**3 / EI + R / SOLID.axial + R * flex[0])
    out = F * R**3 * (np.pi / 4.0 / EI_out + (0.75 * np.pi - 2.0) / SOLID.torsion)
    out += F * R * np.pi / 2.0 * flex[1]
    errors = []
    for n in (24, 48):
        angle = np.linspace(0.0, np.pi / 2.0, n + 1)
        xyz = R * np.stack([np.sin(angle), 1.0 - np.cos(angle), 0.0 * angle], axis=1)
        middle = (angle[1:] + angle[:-1]) / 2.0
        axis_y = np.stack([-np.sin(middle), np.cos(middle), 0.0 * middle], axis=1)
        u, _ = solve(xyz, group(chain(n), SOLID, axis_y), range(6), {6 * n: [F, 0.0], 6 * n + 2: [0.0, F]})
        errors.append([u[6 * n, 0] / in_plane - 1.0, u[6 * n + 2, 1] / out - 1.0])
    coarse, fine = np.abs(errors)
    assert (fine < 1e-3).all()
    np.testing.assert_allclose(coarse / fine, 4.0, rtol=0.02)


def test_a_long_beam_on_springs_loaded_at_its_end():
    """Hetényi: w = 2 P b / k e^-bx cos bx, 4 b^4 = k / EI (from memory); many springs."""
    EI, k, P = SOLID.bending[0, 0], 4e6, 1000.0
    stiff = replace(SOLID, shear=np.zeros(2))
    beta = (k / (4.0 * EI)) ** 0.25
    n, length = 1200, 12.0 / beta
    xyz = np.linspace([0.0, 0.0, 0.0], [length, 0.0, 0.0], n + 1)
    share = np.full(n + 1, k * length / n)
    share[[0, -1]] /= 2.0
    K = np.zeros((n + 1, 6, 6))
    K[:, 2, 2] = share
    node = np.stack([np.arange(n + 1), np.full(n + 1, GROUND)], axis=1)
    springs = Springs("base", node, K, np.broadcast_to(np.eye(3), (n + 1, 3, 3)))
    u, _ = solve(xyz, group(chain(n), stiff), [0, 1, 3, 5], {2: P}, springs=(springs,))
    x = xyz[:, 0]
    expected = 2.0 * P * beta / k * np.exp(-beta * x) * np.cos(beta * x)
    np.testing.assert_allclose(u[2::6, 0], expected, atol=1e-4 * expected[0])
    slope = 2.0 * P * beta**2 / k
    np.testing.assert_allclose(u[4, 0], slope, rtol=1e-4)  # sinks toward the end: -w' is +r_y
