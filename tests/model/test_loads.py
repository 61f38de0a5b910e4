"""Loads add up to what they stand for, whatever the mesh."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.model import loads
from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.solution import solve_model
from fea.model.stress import shell_stress
from roofmodel.errors import InputError
from roofmodel.hardware import Material

STEEL = Material("steel", 210e9, 210e9 / 2.6, 12e-6, 7850.0, 250e6)
THICK = 0.004


def sheet(nx=5, ny=4, a=1.2, b=0.7, triangles=False, seed=0, turn=None, names=("sheet",)):
    """A flat rectangle of irregular elements, turned in space; groups side by side along x."""
    x, y = np.meshgrid(np.linspace(0, a, nx + 1), np.linspace(0, b, ny + 1), indexing="ij")
    rng = np.random.default_rng(seed)
    inner = (x > 0) & (x < a) & (y > 0) & (y < b)
    x = x + inner * rng.uniform(-0.2, 0.2, x.shape) * a / nx
    y = y + inner * rng.uniform(-0.2, 0.2, x.shape) * b / ny
    xyz = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    i, j = (g.ravel() for g in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
    k = i * (ny + 1) + j
    node = np.stack([k, k + ny + 1, k + ny + 2, k + 1], axis=1)
    if triangles:
        node = np.concatenate([node[:, :3], node[:, [0, 2, 3]]])
    parts = np.array_split(node, len(names))
    shells = tuple(
        Shells(name, part, np.full(len(part), THICK), STEEL) for name, part in zip(names, parts, strict=True)
    )
    return Model(xyz if turn is None else xyz @ turn.T, shells=shells)


def turned(seed):
    q, r = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q * np.linalg.det(q)


def resultant(model, F):
    """Force and moment about the origin, (6, q)."""
    load = F[: 6 * len(model.xyz)].reshape(len(model.xyz), 6, -1)
    moment = load[:, 3:] + np.cross(model.xyz[:, :, None], load[:, :3], axis=1)
    return np.concatenate([load[:, :3].sum(axis=0), moment.sum(axis=0)])


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), triangles=st.booleans())
def test_pressure_and_weight_have_their_resultants(seed, triangles):
    turn = turned(seed)
    model = sheet(seed=seed, triangles=triangles, turn=turn)
    center = turn @ np.array([0.6, 0.35, 0.0])
    cases = np.array([1000.0, -400.0, 0.0])
    force = 1.2 * 0.7 * turn[:, 2:] * cases
    expected = np.concatenate([force, np.cross(center[:, None], force, axis=0)])
    found = resultant(model, loads.pressure(model, 0, cases))
    np.testing.assert_allclose(found, expected, atol=1e-9 * 1000)
    g = np.random.default_rng(seed).normal(size=(3, 2))
    weight = 1.2 * 0.7 * THICK * STEEL.density * g
    expected = np.concatenate([weight, np.cross(center[:, None], weight, axis=0)])
    np.testing.assert_allclose(resultant(model, loads.gravity(model, g)), expected, atol=1e-10)
    per_area = loads.traction(model, 0, THICK * STEEL.density * g)
    np.testing.assert_allclose(per_area, loads.gravity(model, g), atol=1e-10)


def test_pressure_by_element_and_slices_give_the_same(monkeypatch):
    model = sheet(9, 7)
    value = np.random.default_rng(2).normal(size=(63, 3))
    whole = loads.pressure(model, 0, value)
    monkeypatch.setattr(loads, "CHUNK_BYTES", 8.0 * 24 * 3 * 5)  # five elements at a time
    np.testing.assert_allclose(loads.pressure(model, 0, value), whole, atol=1e-14)
    alone = np.concatenate([loads.pressure(model, 0, value[:, [k]]) for k in range(3)], axis=1)
    np.testing.assert_allclose(alone, whole, atol=1e-14)


@pytest.mark.parametrize("triangles", [False, True])
def test_free_sheet_expands_without_stress(triangles):
    """It grows by alpha dT x; a gradient k bends it to the curvature alpha k; no stress either way."""
    model = sheet(triangles=triangles, seed=4)
    free = Model(model.xyz, model.shells, ties=Ties(np.arange(6), np.zeros(6)))
    rise, gradient = np.array([40.0, 0.0]), np.array([0.0, 500.0])
    F = loads.thermal(free, rise, gradient)
    u = solve_model(build_system(free), F).displacement
    at = node_dof(np.arange(len(model.xyz)))
    np.testing.assert_allclose(u[at[:, :3], 0], STEEL.alpha * 40.0 * model.xyz, atol=1e-12)
    bow = -0.5 * STEEL.alpha * 500.0 * (model.xyz**2).sum(axis=1)  # hot top: the middle stands highest
    np.testing.assert_allclose(u[at[:, 2], 1], bow, rtol=1e-8, atol=1e-10)
    stress = shell_stress(free, 0, u, rise, gradient)
    held = STEEL.E * STEEL.alpha * 40.0 / (1.0 - 0.3)
    assert stress.von_mises.max() < 1e-8 * held


def test_held_sheet_is_pressed():
    """A sheet held all round: stress -E alpha dT / (1 - nu) in both directions."""
    model = sheet(seed=1)
    dof = np.arange(model.dof_count)
    held = Model(model.xyz, model.shells, ties=Ties(dof, np.zeros(len(dof))))
    stress = shell_stress(held, 0, np.zeros((len(dof), 1)), rise=np.array([30.0]))
    expected = -STEEL.E * STEEL.alpha * 30.0 / 0.7 * THICK
    np.testing.assert_allclose(stress.resultants.membrane[:, :, :2], expected, rtol=1e-12)
    np.testing.assert_allclose(stress.von_mises, -expected / THICK, rtol=1e-12)


def test_groups_by_name():
    model = sheet(6, 3, names=("left", "right"))
    g = np.array([[0.0], [0.0], [-9.81]])
    parts = [loads.gravity(model, g, (name,)) for name in ("left", "right")]
    np.testing.assert_allclose(parts[0] + parts[1], loads.gravity(model, g), atol=1e-14)
    area = [-p[2::6].sum() / (9.81 * THICK * STEEL.density) for p in parts]
    np.testing.assert_allclose(area, [0.42, 0.42], rtol=0.2)
    with pytest.raises(InputError, match="no group 'middle'; the groups are left, right"):
        loads.thermal(model, np.ones(1), groups=("middle",))


def test_nodal_forces_add_up_on_one_node():
    model = sheet(2, 2)
    F = loads.nodal(model, np.array([4, 4, 0]), np.arange(18.0).reshape(3, 6))
    np.testing.assert_allclose(F[node_dof(4), 0], np.arange(6) + np.arange(6, 12))
    np.testing.assert_allclose(F[node_dof(0), 0], np.arange(12, 18))
    assert np.count_nonzero(F) == 12
