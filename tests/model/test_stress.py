"""Stresses of known states, spring forces, and equilibrium of every body."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.model import loads
from fea.model.assembly import build_system
from fea.model.data import GROUND, Model, Springs, Ties, node_dof
from fea.model.solution import solve_model
from fea.model.stress import audit, bodies, ground_spring_load, shell_stress, spring_force
from tests.model.test_loads import STEEL, THICK, sheet, turned


@pytest.mark.parametrize("triangles", [False, True])
def test_pull_and_bending_of_a_strip(triangles):
    """u_x = e x, u_y = -nu e y: membrane E e t; w = -k x^2 / 2 with -nu across: M = E t^3 k / 12."""
    model = sheet(triangles=triangles, seed=3)
    x, y = model.xyz[:, 0], model.xyz[:, 1]
    e, k, nu = 1e-4, 2e-3, 0.3
    u = np.zeros((len(x), 6, 2))
    u[:, 0, 0], u[:, 1, 0] = e * x, -nu * e * y
    u[:, 2, 1] = -0.5 * k * (x**2 - nu * y**2)
    u[:, 3, 1], u[:, 4, 1] = nu * k * y, k * x  # rx = dw/dy, ry = -dw/dx
    stress = shell_stress(model, 0, u.reshape(-1, 2))
    axes = stress.resultants.axes[:, :2, :2]

    def along(tensor):
        """Component xx of a plane tensor in global axes."""
        xx, yy, xy = tensor
        return (
            axes[:, None, 0, 0] ** 2 * xx + axes[:, None, 1, 0] ** 2 * yy
            + 2.0 * axes[:, None, 0, 0] * axes[:, None, 1, 0] * xy
        )  # fmt: skip

    pull = along(np.moveaxis(stress.resultants.membrane[..., 0], 2, 0))
    bend = along(np.moveaxis(stress.resultants.moment[..., 1], 2, 0))
    np.testing.assert_allclose(pull, STEEL.E * e * THICK, rtol=1e-9)
    np.testing.assert_allclose(bend, STEEL.E * THICK**3 / 12.0 * k, rtol=1e-9)
    np.testing.assert_allclose(stress.von_mises[..., 0], STEEL.E * e, rtol=1e-9)
    np.testing.assert_allclose(stress.von_mises[..., 1], STEEL.E * THICK / 2.0 * k, rtol=1e-9)


def two_sheets(seed, arm=(0.05, 0.02, 0.1)):
    """Two sheets side by side, a spring between two nodes in one place, a rigid link, springs to ground."""
    rng = np.random.default_rng(seed)
    turn = turned(seed)
    left = sheet(4, 3, seed=seed, names=("left",))
    right = sheet(3, 3, seed=seed + 1, names=("right",))
    n = len(left.xyz)
    other = right.xyz + np.array([1.2, 0.0, 0.0])
    head = np.array([0.3, 0.2, 0.0]) + np.array(arm)  # main node of a link, without elements
    xyz = np.concatenate([left.xyz, other, head[None]]) @ turn.T
    part = right.shells[0]
    seam = n - 4 + np.arange(4), n + np.arange(4)

    def full(count):
        half = rng.normal(size=(count, 6, 6))
        return 1e6 * (np.einsum("mij,mkj->mik", half, half) + np.eye(6))

    between = Springs(
        "seam", np.stack(seam, axis=1), full(4), np.stack([turned(seed + 5 + i) for i in range(4)])
    )
    ground = Springs(
        "feet", np.array([[n + 7, GROUND], [n + 14, GROUND]]), full(2), np.stack([turned(1), turned(2)])
    )
    ties = Ties(
        fixed_dof=node_dof(np.array([0])).ravel()[:3],
        fixed_value=np.array([1e-6, 0.0, -2e-6]),
        rigid_main=np.full(3, len(xyz) - 1),
        rigid_node=np.array([5, 6, 9]),
        rigid_part=np.ones((3, 6), dtype=bool),
        equation_dof=np.array([[6 * 10, 6 * (n + 9) + 1, 6 * 2 + 2]]),
        equation_coefficient=np.array([[1.0, -0.5, 2.0]]),
        equation_value=np.array([1e-6]),
    )
    thick = [np.full(len(p.node), 0.02) for p in (left.shells[0], part)]  # thin sheets round off more
    shells = (
        replace(left.shells[0], thickness=thick[0]),
        replace(part, node=part.node + n, thickness=thick[1]),
    )
    return Model(xyz, shells, springs=(between, ground), ties=ties)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_every_body_is_in_equilibrium_but_an_equation_has_its_own(seed):
    """An equation between parallel or any displacements puts forces on nodes that need not add up to zero."""
    model = two_sheets(seed)
    no_equation = replace(
        model,
        ties=replace(
            model.ties,
            equation_dof=np.zeros((0, 2), dtype=int),
            equation_coefficient=np.zeros((0, 2)),
            equation_value=np.zeros(0),
        ),
    )
    for m in (model, no_equation):
        system = build_system(m)
        F = np.random.default_rng(seed).normal(size=(m.dof_count, 2))
        solution = solve_model(system, F)
        found = audit(system, solution.displacement, F)
        assert found.force[1:].max() < 1e-9
        assert found.moment[1:].max() < 1e-9
        assert found.name[0] == "whole model"
        assert {"left, right, seam, feet", "node without elements"} <= set(found.name)
        if m is no_equation:
            assert found.worst < 1e-9


def test_audit_sees_a_spring_across_a_distance_and_a_wrong_displacement():
    """A spring between nodes that do not coincide makes a couple; that is how a wrong model shows."""
    model = sheet(2, 2)
    far = Springs("brace", np.array([[0, 8]]), 1e6 * np.eye(6)[None], np.eye(3)[None])
    fixed = node_dof(np.array([0, 1, 2])).ravel()
    model = replace(model, springs=(far,), ties=Ties(fixed, np.zeros(len(fixed))))
    system = build_system(model)
    F = loads.nodal(model, np.array([8]), np.array([[0.0, 0.0, 100.0, 0.0, 0.0, 0.0]]))
    u = solve_model(system, F).displacement
    assert audit(system, u, F).moment.max() > 1e-3
    good = replace(model, springs=())
    system = build_system(good)
    u = solve_model(system, F).displacement
    assert audit(system, u, F).worst < 1e-9
    u[node_dof(4)[2]] *= 1.01  # beside the supports; elsewhere it is the residual that sees it
    assert audit(system, u, F).worst > 1e-4


def test_spring_force_signs():
    """A node pressed towards the ground by 100 N: the spring pushes it back by 100 N."""
    turn = turned(7)
    axes = turn[None]
    stiffness = np.diag([1e5, 2e5, 4e5, 1.0, 1.0, 1.0])[None]
    model = Model(np.zeros((2, 3)), springs=(
        Springs("foot", np.array([[0, GROUND]]), stiffness, axes),
        Springs("link", np.array([[0, 1]]), stiffness, axes),
    ))  # fmt: skip
    F = np.zeros((12, 1))
    F[6:9, 0] = -100.0 * turn[2]  # against the springs' third axis, on the far node
    u = solve_model(build_system(model), F).displacement
    np.testing.assert_allclose(turn @ u[6:9, 0], [0.0, 0.0, -100.0 / 4e5 * 2], atol=1e-15)
    np.testing.assert_allclose(spring_force(model, 0, u)[0, :3, 0], [0, 0, 100.0], atol=1e-9)
    np.testing.assert_allclose(spring_force(model, 1, u)[0, :3, 0], [0, 0, -100.0], atol=1e-9)
    np.testing.assert_allclose(ground_spring_load(model, u)[:3, 0], 100.0 * turn[2], atol=1e-9)


def test_bodies_are_what_elements_join():
    model = two_sheets(0)
    body, words = bodies(replace(model, springs=()))
    assert len(words) == 3
    assert len(set(body[:20])) == 1
    assert sorted(words) == ["left", "node without elements", "right"]


def test_stress_in_slices(monkeypatch):
    model = sheet(8, 7)
    u = np.random.default_rng(1).normal(size=(model.dof_count, 2)) * 1e-6
    whole = shell_stress(model, 0, u)
    monkeypatch.setattr("fea.model.stress.CHUNK", 10)
    np.testing.assert_allclose(shell_stress(model, 0, u).von_mises, whole.von_mises, rtol=1e-12)
