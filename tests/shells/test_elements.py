"""One shell element by itself: rigid motions, modes, symmetry, and that numbers and axes do not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from shell_meshes import elements

from benchmarks.verification.shell_problems import KINDS, cut, dof, metal, shell_model
from fea.elements.shells import shell_resultants, shell_stiffness, surface_stress
from fea.model.assembly import build_system
from fea.model.solution import solve_model

METAL = metal(70e9, 0.33)
seeds = st.integers(0, 2**32 - 1)
kinds = st.sampled_from(KINDS)


def rigid_motions(xyz: np.ndarray) -> np.ndarray:
    """(m, 6 k, 6)."""
    m, k, _ = xyz.shape
    motion = np.zeros((m, k, 6, 6))
    motion[:, :, range(6), range(6)] = 1.0
    for axis in range(3):
        motion[:, :, :3, 3 + axis] = np.cross(np.eye(3)[axis], xyz)
    return motion.reshape(m, 6 * k, 6)


@settings(max_examples=30, deadline=None)
@given(kind=kinds, seed=seeds)
def test_six_rigid_motions_cost_nothing_and_all_else_costs_something(kind, seed):
    xyz, t = elements(kind, seed)
    K = shell_stiffness(xyz, t, METAL)
    np.testing.assert_allclose(K, np.swapaxes(K, 1, 2), rtol=0, atol=1e-12 * np.abs(K).max())
    motion = rigid_motions(xyz)
    size = np.abs(K).max(axis=(1, 2), keepdims=True) * np.abs(motion).max(axis=(1, 2), keepdims=True)
    assert (np.abs(K @ motion) / size).max() < 1e-12
    # The softest way to deform is bending, t^2 weaker than stretching, or alternating drilling.
    scale = np.ones((len(t), xyz.shape[1], 6))
    length = np.sqrt(np.linalg.norm(np.cross(xyz[:, 1] - xyz[:, 0], xyz[:, 2] - xyz[:, 0]), axis=1))
    scale[:, :, 3:] = 1.0 / length[:, None, None]
    scale = scale.reshape(len(t), -1)
    values = np.linalg.eigvalsh(K * scale[:, :, None] * scale[:, None]) / (METAL.E * t)[:, None]
    assert (np.abs(values[:, :6]) < 1e-12 * values[:, -1:]).all()
    assert (values[:, 6] > 1e-5 * np.minimum((t / length) ** 2, 1e-3)).all()


@settings(max_examples=20, deadline=None)
@given(kind=kinds, seed=seeds, start=st.integers(1, 3))
def test_the_first_corner_does_not_matter(kind, seed, start):
    xyz, t = elements(kind, seed)
    order = np.roll(np.arange(xyz.shape[1]), start)
    place = (6 * order[:, None] + np.arange(6)).ravel()
    K, turned = shell_stiffness(xyz, t, METAL), shell_stiffness(xyz[:, order], t, METAL)
    limit = 1e-11 * np.abs(K).max(axis=(1, 2), keepdims=True)
    assert (np.abs(turned - K[:, place][:, :, place]) < limit).all()


@settings(max_examples=20, deadline=None)
@given(kind=kinds, seed=seeds)
def test_attitude_and_place_in_space_do_not_matter(kind, seed):
    xyz, t = elements(kind, seed)
    turn = Rotation.random(random_state=seed).as_matrix()
    both = np.kron(np.eye(2 * xyz.shape[1]), turn)
    K, moved = shell_stiffness(xyz, t, METAL), shell_stiffness(xyz @ turn.T + 5.0, t, METAL)
    limit = 1e-10 * np.abs(K).max(axis=(1, 2), keepdims=True)
    assert (np.abs(moved - both @ K @ both.T) < limit).all()
    u = np.random.default_rng(seed).normal(size=(len(t), both.shape[0], 1))
    stress = surface_stress(shell_resultants(xyz, t, METAL, u), t)
    again = surface_stress(shell_resultants(xyz @ turn.T + 5.0, t, METAL, both @ u), t)
    np.testing.assert_allclose(again, stress, rtol=1e-8)


@settings(max_examples=20, deadline=None)
@given(kind=kinds, seed=seeds)
def test_units_do_not_matter(kind, seed):
    xyz, t = elements(kind, seed)
    K = shell_stiffness(xyz, t, METAL)
    in_mm = shell_stiffness(1e3 * xyz, 1e3 * t, metal(METAL.E * 1e-6, 0.33))
    power = np.tile(np.repeat([0.0, 1.0], 3), xyz.shape[1])  # N/mm, N, N mm
    factor = 10.0 ** (3.0 * (power[:, None] + power) - 3.0)
    np.testing.assert_allclose(in_mm / factor, K, rtol=1e-9, atol=1e-11 * np.abs(K).max())


@pytest.mark.parametrize("kind", KINDS)
def test_elements_do_not_know_of_each_other(kind):
    xyz, t = elements(kind, 7)
    together = shell_stiffness(xyz, t, METAL)
    alone = np.concatenate([shell_stiffness(xyz[i : i + 1], t[i : i + 1], METAL) for i in range(len(t))])
    np.testing.assert_allclose(together, alone, rtol=0, atol=1e-12 * np.abs(together).max())


@pytest.mark.parametrize("kind", KINDS)
def test_a_fold_passes_bending_on_as_twist_and_drilling(kind):
    """An L of two strips: a moment about the fold's line keeps its size around the corner."""
    b, length, n = 0.2, 1.0, 8
    s = np.linspace(0.0, length, n + 1)
    way = np.concatenate([np.stack([s, 0 * s], axis=1), np.stack([np.full(n, length), s[1:]], axis=1)])
    xyz = np.concatenate([np.insert(way, 1, y, axis=1) for y in (0.0, b)])
    i = np.arange(len(way) - 1)
    node = cut(xyz, np.stack([i, i + 1, i + 1 + len(way), i + len(way)], axis=1), kind)
    root, tip = np.array([0, len(way)]), np.array([len(way) - 1, 2 * len(way) - 1])
    t, E = 0.01, 1e9
    model = shell_model(xyz, node, t, metal(E, 0.0), dof(root, *range(6)))
    load = np.zeros((model.dof_count, 1))
    load[dof(tip, 4)] = 0.5
    u = solve_model(build_system(model), load).displacement
    np.testing.assert_allclose(u[dof(tip, 4), 0], 2.0 * length / (E * b * t**3 / 12.0), rtol=1e-6)
