"""Condensed panel fields against the full model, and what physics asks of them."""

from dataclasses import replace

import numpy as np
import pytest
from panels import DETAIL, GRIP, NONE, PANEL, clamp_dof, linear_field, mesh_at, spring_sum

from fea.model.assembly import build_system
from fea.model.data import node_dof
from fea.model.loads import gravity
from fea.model.solution import solve_model
from fea.panel.field import CLAMP_LIMIT, condense_strips
from fea.panel.mirror import mirrored_schur
from fea.panel.model import fixed_stiffness, sheet_area
from fea.panel.plane import REACH
from fea.solvers.condensation import condense_matrix
from roofmodel.errors import InputError
from roofmodel.hardware import Bearing, FixedPoint

UPPER, LOWER = np.array([-1.0]), np.array([-0.4])
BOTH = np.array([-1.0, -0.4])
MESH = mesh_at((-1.4, 0.0), BOTH, refine=0.4)
ENDS = np.array([[0.0, 6.0], [0.0, 6.0], [0.0, 3.5], [0.0, 6.0]])
ROWS = [UPPER, NONE, BOTH, UPPER]


def condense(clamps, ends, detail=DETAIL, mesh=MESH, **options):
    return condense_strips(mesh, PANEL, detail, GRIP, clamps, ends, **{"alike": False, **options})


def own_weight(model):
    return gravity(model, np.array([[3.0, 0.0], [0.0, 0.0], [-9.0, -9.0]]))


@pytest.mark.parametrize("alike", [False, True])
@pytest.mark.parametrize("fixed_at", [FixedPoint.RIDGE, FixedPoint.EAVE])
def test_condensed_is_full(alike, fixed_at):
    """Clamp forces to 1e-9; the bar asked for is 1e-6 of the reactions."""
    detail = replace(DETAIL, fixed_at=fixed_at, through_fixings=np.array([0.7]))
    small = condense(ROWS, ENDS, detail, alike=alike, loads=own_weight)
    full = linear_field(MESH, ROWS, ENDS[:, 1], detail, alike=alike)
    system, dof = build_system(full.model), clamp_dof(full)
    F = np.zeros((full.model.dof_count, len(dof) + 2))
    F[dof, np.arange(len(dof))] = 1.0
    F[:, -2:] = own_weight(full.model)
    u = solve_model(system, F).displacement
    condensed = np.linalg.solve(small.stiffness, np.concatenate([np.eye(len(dof)), small.push], axis=1))
    for case in range(F.shape[1]):
        scale = np.abs(u[dof, case].reshape(-1, 6)).max(axis=0).max()
        np.testing.assert_allclose(condensed[:, case], u[dof, case], rtol=0, atol=1e-9 * scale)
    support, top = {"clips": np.zeros(3), "bearing": np.zeros(3)}, np.abs(u[:, -1]).max()
    for number in range(4):
        strip, moved = small.strip(number, condensed[:, -1], np.array([0.0, 1.0]))
        nodes = full.node(number, np.arange(len(MESH.x))[:, None], np.arange(MESH.points)).ravel()
        there = u[:, -1].reshape(-1, 6)[nodes]
        np.testing.assert_allclose(moved.reshape(-1, 6)[: len(nodes)], there, rtol=0, atol=1e-9 * top)
        for name, total in support.items():
            total += spring_sum(strip, name, moved)
    for name, total in support.items():
        whole = spring_sum(full, name, u[:, -1])
        np.testing.assert_allclose(total, whole, rtol=0, atol=1e-6 * np.abs(whole).max())


def test_fixed_point_under_a_clamp():
    """The bar acts on the clamp itself; lengths that differ then make kinds of their own."""
    detail = replace(DETAIL, fixed_at=FixedPoint.MIDDLE)
    ends = np.array([[0.0, 2.0], [0.0, 2.02], [0.0, 2.0]])
    small = condense([UPPER, UPPER, NONE], np.array([[0.0, 2.0]] * 3), detail)
    full = linear_field(MESH, [UPPER, UPPER, NONE], [2.0] * 3, detail)
    F = np.zeros((full.model.dof_count, 12))
    F[clamp_dof(full), np.arange(12)] = 1.0
    flexible = solve_model(build_system(full.model), F).displacement[clamp_dof(full)]
    np.testing.assert_allclose(
        np.linalg.inv(small.stiffness), flexible, rtol=0, atol=1e-9 * np.abs(flexible).max()
    )
    assert condense([UPPER, UPPER, NONE], ends, detail).kinds == 3 > small.kinds


def test_reactions_of_condensed_and_full_agree():
    """All supports of the full model, from the condensed clamp displacements."""
    small = condense(ROWS, ENDS)
    force = np.random.default_rng(3).normal(size=len(small.stiffness)) * np.tile([900, 90, 400, 9, 9, 9], 4)
    moved = np.linalg.solve(small.stiffness, force)
    full = linear_field(MESH, ROWS, ENDS[:, 1])
    F = np.zeros((full.model.dof_count, 1))
    F[clamp_dof(full), 0] = force
    u = solve_model(build_system(full.model), F).displacement[:, 0]
    k = fixed_stiffness(full)
    bar = next(s for s in full.model.springs if s.name == "fixed point")
    drag = (bar.stiffness[:, 0, 0] * u.reshape(-1, 6)[bar.node[:, 0], 0]).reshape(4, -1).sum(axis=1)
    for number in range(4):
        strip, inside = small.strip(number, moved)
        share = bar.stiffness[:, 0, 0].reshape(4, -1)[number] / k[number]
        at = strip.node(0, 0, np.arange(MESH.points))
        own = k[number] * share @ inside.reshape(-1, 6)[at, 0]
        assert own == pytest.approx(drag[number], rel=1e-6, abs=1e-9 * np.abs(drag).max())
    assert drag.sum() == pytest.approx(force.reshape(-1, 6)[:, 0].sum(), rel=1e-7)  # sliding clips take none


def test_sliding_clips_leave_all_drag_to_the_fixed_point():
    """The bar behind the window lengthens as bar theory says: the flexibility grows by dL / (E A)."""
    one, two = (condense([UPPER], np.array([[0.0, L]])).stiffness for L in (3.0, 9.0))
    flexible = [np.linalg.inv(K)[0, 0] for K in (one, two)]
    EA = DETAIL.sheet.E * sheet_area(linear_field(MESH, [UPPER], [3.0]))
    assert flexible[1] - flexible[0] == pytest.approx(6.0 / EA, rel=0.05)
    stiff = 1.0 / DETAIL.fixed_stiffness + 1.6 / EA
    assert flexible[0] > stiff  # fixed point and bar alone are less than what the clamp finds


def test_mirror_image():
    """Left and right exchanged: across, roll and twist change their sign."""
    K = condense(ROWS, ENDS).stiffness
    back = condense(ROWS[::-1], ENDS[::-1]).stiffness
    order = [3, 1, 2, 0]  # clamps: upper | upper, lower | upper
    dof = (6 * np.array(order)[:, None] + np.arange(6)).ravel()
    sign = np.tile([1.0, -1.0, 1.0, -1.0, 1.0, -1.0], 4)
    scale = np.sqrt(np.outer(np.diag(K), np.diag(K)))
    mirrored = (back[np.ix_(dof, dof)] * sign) * sign[:, None]
    np.testing.assert_allclose(mirrored / scale, K / scale, rtol=0, atol=1e-8)


def test_symmetric_and_never_negative():
    K = condense(ROWS, ENDS).stiffness
    np.testing.assert_array_equal(K, K.T)
    size = np.sqrt(np.diag(K))
    assert np.linalg.eigvalsh(K / np.outer(size, size)).min() > 0.0


def test_a_shorter_neighbor_takes_stiffness_away():
    """Less sheet is never stiffer, in any direction (the fixed points at the eave stay the same)."""
    detail = replace(DETAIL, fixed_at=FixedPoint.EAVE)
    whole = condense([NONE, UPPER, NONE], np.array([[0.0, 1.4]] * 3), detail)
    cut = condense([NONE, UPPER, NONE], np.array([[0.0, 0.9], [0.0, 1.4], [0.0, 1.1]]), detail)
    size = np.sqrt(np.diag(whole.stiffness))
    less = np.linalg.eigvalsh((whole.stiffness - cut.stiffness) / np.outer(size, size))
    assert less.min() > -1e-9
    assert less.max() > 1e-3


def test_contacts_that_let_go_take_stiffness_away():
    closed, hung = (condense([UPPER], ENDS[:1], held={"bearing": b}).stiffness for b in (True, False))
    size = np.sqrt(np.diag(closed))
    assert np.linalg.eigvalsh((closed - hung) / np.outer(size, size)).min() > -1e-9
    assert hung[2, 2] < closed[2, 2]


def test_equal_strips_are_condensed_once():
    """Strips that differ only in length are of one kind."""
    ends = np.stack([np.zeros(9), np.linspace(4.0, 8.0, 9)], axis=1)
    field = condense([UPPER] * 9, ends)
    assert field.kinds == 1
    assert field.stiffness.shape == (54, 54)


def test_many_equal_strips_approach_the_mirrored_one():
    """In a long row of equal clamps, pulled alike, the middle one is a strip between mirrors."""
    n = 17
    row = condense([UPPER] * n, np.tile([[0.0, 6.0]], (n, 1)))
    force = np.tile([500.0, 0.0, 200.0, 0.0, 0.0, 0.0], n)
    middle = np.linalg.solve(row.stiffness, force).reshape(n, 6)[n // 2]
    alone = np.linalg.solve(condense([UPPER], ENDS[:1], alike=True).stiffness, force[:6])
    np.testing.assert_allclose(middle[[0, 2, 4]], alone[[0, 2, 4]], rtol=2e-3)


@pytest.mark.parametrize("bearing", [Bearing.DECK, Bearing.PURLINS])
def test_window_is_large_enough(bearing):
    """The whole strip instead of the window changes what a clamp finds by less than two percent."""
    stiffness = 1e7 if bearing is Bearing.DECK else 1e8
    detail = replace(DETAIL, bearing=bearing, bearing_stiffness=stiffness, purlin_spacing=0.4)
    found = []
    for reach in (REACH * detail.clip_spacing, 3.0):
        window = (-3.0 - reach, -3.0 + reach)
        mesh = mesh_at(window, np.array([-3.0]), detail, refine=0.4)
        found.append(condense([np.array([-3.0])], np.array([[0.0, 6.0]]), detail, mesh, alike=True).stiffness)
    part, whole = (np.diag(np.linalg.inv(K)) for K in found)
    np.testing.assert_allclose(part[[0, 1, 2, 4]], whole[[0, 1, 2, 4]], rtol=0.02)


def test_too_many_clamps_and_strips_out_of_sight_are_refused():
    with pytest.raises(InputError, match=f"1 to {CLAMP_LIMIT}"):
        condense([UPPER] * (CLAMP_LIMIT + 1), np.tile([[0.0, 6.0]], (CLAMP_LIMIT + 1, 1)))
    with pytest.raises(InputError, match="1 to"):
        condense([NONE], ENDS[:1])
    with pytest.raises(InputError, match="beyond its end"):
        condense([UPPER], np.array([[0.0, 0.7]]))
    with pytest.raises(InputError, match="outside of the modeled window"):
        condense([UPPER, NONE], np.array([[0.0, 6.0], [3.0, 6.0]]))


def test_mirrored_halves_condense_to_the_whole():
    """Two halves of a strip against the strip as it is, also where something breaks its symmetry."""
    place = np.array([-0.9, -0.4])
    mesh = mesh_at((-1.4, 0.0), place, refine=0.5)
    field = linear_field(mesh, [place], [6.0])
    for skew in (False, True):
        model = field.model
        if skew:
            one = replace(model.springs[0], node=model.springs[0].node[:1], stiffness=np.eye(6)[None] * 1e6)
            one = replace(one, node=np.array([[3, -1]]), axes=model.springs[0].axes[:1])
            model = replace(model, springs=(*model.springs, one))
        system = build_system(model)
        lines = np.arange(len(mesh.x))
        cuts = field.width * lines + np.array([[0], [field.width - 1]])
        dof = node_dof(np.concatenate([cuts.ravel(), field.clamp_node])).ravel()
        kept = system.ties.number[dof]
        whole = condense_matrix(system.upper, kept).stiffness
        found = mirrored_schur(replace(field, model=model), system, kept)
        size = np.sqrt(np.diag(whole))
        np.testing.assert_allclose(found / np.outer(size, size), whole / np.outer(size, size), atol=1e-8)
        np.testing.assert_array_equal(found, found.T)
