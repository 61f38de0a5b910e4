"""Pressure, weight and warmth on shells, and the signs of resultants."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shell_meshes import distorted, elements

from benchmarks.verification.shell_problems import KINDS, QUADS, cut, dof, grid, metal
from fea.elements.shells import (
    body_load,
    free_resultants,
    pressure_load,
    shell_resultants,
    surface_stress,
    thermal_load,
)
from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.solution import solve_model
from roofmodel.hardware import Material

METAL = Material("steel", E=210e9, G=80e9, alpha=12e-6, density=7850.0, yield_strength=3e8)
seeds, kinds = st.integers(0, 2**32 - 1), st.sampled_from(KINDS)


def about_origin(xyz: np.ndarray, load: np.ndarray) -> np.ndarray:
    """Total force and moment (m, 6) of nodal loads (m, 6 k)."""
    force, moment = np.split(load.reshape(*xyz.shape[:2], 6), 2, axis=2)
    return np.concatenate([force.sum(axis=1), (moment + np.cross(xyz, force)).sum(axis=1)], axis=1)


def surface_integral(xyz: np.ndarray, value) -> np.ndarray:
    """Integral (m, ...) of value(x, normal) over flat elements, by Gauss points of two triangles each."""
    parts = [[0, 1, 2], [0, 2, 3]] if xyz.shape[1] == 4 else [[0, 1, 2]]
    total = 0.0
    for part in parts:
        a, b, c = np.swapaxes(xyz[:, part], 0, 1)
        cross = 0.5 * np.cross(b - a, c - a)
        area = np.linalg.norm(cross, axis=1, keepdims=True)
        for w in (np.array([4, 1, 1]), np.array([1, 4, 1]), np.array([1, 1, 4])):
            x = (w[0] * a + w[1] * b + w[2] * c) / 6.0
            total = total + area / 3.0 * value(x, cross / area)
    return total


def flat_elements(kind: str, seed: int) -> tuple[np.ndarray, np.ndarray]:
    xyz, t = elements(kind, seed)
    if kind == QUADS:
        a, b, d = xyz[:, 0], xyz[:, 1], xyz[:, 3]
        p, q = np.random.default_rng(seed).uniform(0.7, 1.2, (2, len(t), 1))
        xyz[:, 2] = a + p * (b - a) + q * (d - a)
    return xyz, t


@settings(max_examples=20, deadline=None)
@given(kind=kinds, seed=seeds)
def test_pressure_adds_up_in_force_and_moment(kind, seed):
    xyz, _ = flat_elements(kind, seed)
    load = pressure_load(xyz, np.full((len(xyz), 1), 350.0))[..., 0]
    exact = surface_integral(xyz, lambda x, n: 350.0 * np.concatenate([n, np.cross(x, n)], axis=1))
    np.testing.assert_allclose(about_origin(xyz, load), exact, rtol=0, atol=1e-10 * np.abs(exact).max())


@settings(max_examples=20, deadline=None)
@given(kind=kinds, seed=seeds)
def test_weight_adds_up_in_force_and_moment(kind, seed):
    xyz, t = flat_elements(kind, seed)
    pull = np.array([120.0, -70.0, -300.0])
    load = body_load(xyz, t, pull[:, None])[..., 0]
    exact = t[:, None] * surface_integral(
        xyz, lambda x, _: np.concatenate([np.broadcast_to(pull, x.shape), np.cross(x, pull)], axis=1)
    )
    np.testing.assert_allclose(about_origin(xyz, load), exact, rtol=0, atol=1e-10 * np.abs(exact).max())


@settings(max_examples=20, deadline=None)
@given(kind=kinds, seed=seeds)
def test_warmth_is_in_equilibrium_by_itself(kind, seed):
    xyz, t = elements(kind, seed)
    load = thermal_load(xyz, t, METAL, np.full((len(t), 1), 30.0), np.full((len(t), 1), 500.0))[..., 0]
    limit = 1e-9 * np.abs(load).max() * np.abs(xyz).max()
    assert np.abs(about_origin(xyz, load)).max() < limit


def warmed(kind: str, rise: float, gradient: float) -> tuple[Model, Shells, np.ndarray, np.ndarray]:
    """A distorted square sheet held at one corner only, warmed; its displacements and element loads."""
    mesh = distorted(4)
    node = mesh.elements(kind)
    t = np.full(len(node), 0.004)
    shells = Shells("sheet", node, t, METAL)
    held = dof(mesh.number[:1, 0], *range(6))
    model = Model(mesh.xyz, shells=(shells,), ties=Ties(held, np.zeros(6)))
    load = thermal_load(mesh.xyz[node], t, METAL, np.full((len(t), 1), rise), np.full((len(t), 1), gradient))
    F = np.zeros((model.dof_count, 1))
    np.add.at(F, node_dof(node).reshape(len(node), -1), load)
    return model, shells, solve_model(build_system(model), F).displacement, F


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("rise", "gradient"), [(40.0, 0.0), (0.0, 2000.0), (-25.0, 1500.0)])
def test_a_free_sheet_grows_and_curves_without_stress(kind, rise, gradient):
    model, shells, u, _ = warmed(kind, rise, gradient)
    x, y, _ = model.xyz.T
    grow, bend = METAL.alpha * rise, METAL.alpha * gradient
    zero = np.zeros(len(x))
    # Top hotter: the sheet curves away from its top, w = -bend r^2 / 2, and so it turns.
    exact = np.stack([grow * x, grow * y, -0.5 * bend * (x**2 + y**2), -bend * y, bend * x, zero], axis=1)
    np.testing.assert_allclose(u[:, 0].reshape(-1, 6), exact, rtol=0, atol=1e-8 * np.abs(exact).max())
    local = u[node_dof(shells.node)].reshape(len(shells.node), -1, 1)
    found = shell_resultants(model.xyz[shells.node], shells.thickness, METAL, local)
    ones = np.ones((len(shells.node), 1))
    force, moment = free_resultants(shells.thickness, METAL, rise * ones, gradient * ones)
    even = np.array([1.0, 1.0, 0.0])[:, None]
    limit = 1e-7 * max(np.abs(force).max(), np.abs(moment).max() / 0.004)
    assert np.abs(found.membrane - force[:, None, None] * even).max() < limit
    assert np.abs(found.moment - moment[:, None, None] * even).max() < limit * 0.004
    assert np.abs(found.shear).max() < limit


@pytest.mark.parametrize("kind", KINDS)
def test_held_warmth_is_even_pressure_of_the_metal(kind):
    """Hold every node: no strain, and the stress is -E alpha dT / (1 - nu)."""
    mesh = distorted(2)
    node = mesh.elements(kind)
    t, ones = np.full(len(node), 0.002), np.ones((len(node), 1))
    force, _ = free_resultants(t, METAL, 50.0 * ones, 0.0 * ones)
    poisson = METAL.E / (2.0 * METAL.G) - 1.0
    np.testing.assert_allclose(force / t[:, None], METAL.E * METAL.alpha * 50.0 / (1.0 - poisson), rtol=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_signs_of_a_cantilever(kind):
    """Tip pulled up along the normal: top in compression, M_xx = -P (L - x) / b, Q_xz = P / b."""
    L, b, t, n, P = 1.0, 0.5, 0.01, 32, 100.0
    x, y = np.meshgrid(np.linspace(0, L, n + 1), np.linspace(0, b, 5), indexing="ij")
    xyz = np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1)
    i = np.arange(len(xyz)).reshape(n + 1, 5)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    node = cut(xyz, quads, kind)
    plain = metal(210e9, 0.0)
    shells = Shells("strip", node, np.full(len(node), t), plain)
    model = Model(xyz, shells=(shells,), ties=Ties(dof(i[0], *range(6)), np.zeros(30)))
    F = np.zeros((model.dof_count, 1))
    F[dof(i[-1], 2)] = P * np.array([1, 2, 2, 2, 1])[:, None] / 8.0
    u = solve_model(build_system(model), F).displacement
    found = shell_resultants(xyz[node], shells.thickness, plain, u[node_dof(node)].reshape(len(node), -1, 1))
    turn = found.axes[:, :2, :2]
    m_x, m_y, m_xy = np.moveaxis(found.moment[:, 0, :, 0], 1, 0)
    local = np.stack([np.stack([m_x, m_xy], axis=-1), np.stack([m_xy, m_y], axis=-1)], axis=-2)
    M = (np.swapaxes(turn, 1, 2) @ local @ turn)[:, 0, 0]
    Q = (np.swapaxes(turn, 1, 2) @ found.shear[:, 0])[:, 0, 0]
    middle = xyz[node].mean(axis=1)[:, 0]
    inner = (middle > 0.1) & (middle < 0.9)
    np.testing.assert_allclose(M[inner], (-P * (L - middle) / b)[inner], rtol=0, atol=0.02 * P * L / b)
    assert Q[inner].mean() == pytest.approx(P / b, rel=0.02 if kind == QUADS else 0.4)  # thin: an estimate
    stress = surface_stress(found, shells.thickness)[:, 0, :, 0]
    np.testing.assert_allclose(stress[inner, 0], 6.0 * np.abs(M[inner]) / t**2, rtol=0.05)


@pytest.mark.parametrize(("kind", "bar"), [(QUADS, 5e-3), ("triangles", 1e-8)])
def test_a_twisted_strip_grows_nearly_free_of_stress(kind, bar):
    """Warped quads hang on their mean planes and hinder their growth a little; flat triangles do not."""

    def surface(u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        turn, out = 0.5 * np.pi * u, 1.1 * (v - 0.5)
        return 12.0 * u, out * np.cos(turn), out * np.sin(turn)

    mesh = grid(24, 4, surface)
    node = mesh.elements(kind)
    t, ones = np.full(len(node), 0.03), np.ones((len(node), 1))
    shells = Shells("strip", node, t, METAL)
    model = Model(mesh.xyz, shells=(shells,), ties=Ties(dof(mesh.number[0, :1], *range(6)), np.zeros(6)))
    F = np.zeros((model.dof_count, 1))
    corners = mesh.xyz[node]
    load = thermal_load(corners, t, METAL, 40.0 * ones, 0.0 * ones)
    np.add.at(F, node_dof(node).reshape(len(node), -1), load)
    u = solve_model(build_system(model), F).displacement
    found = shell_resultants(corners, t, METAL, u[node_dof(node)].reshape(len(node), -1, 1))
    force, _ = free_resultants(t, METAL, 40.0 * ones, 0.0 * ones)
    left = found.membrane - force[:, None, None] * np.array([1.0, 1.0, 0.0])[:, None]
    stress = surface_stress(replace(found, membrane=left), t)
    assert stress.max() < bar * METAL.E * METAL.alpha * 40.0
