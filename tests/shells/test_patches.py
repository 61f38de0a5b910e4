"""Patch tests and fields that a shell must meet in the limit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from shell_meshes import distorted

from benchmarks.verification.patches import EXACT, patch_error, patches
from benchmarks.verification.shell_problems import KINDS, metal
from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.solution import solve_model


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("patch", patches(), ids=lambda p: p.name)
def test_even_fields_are_exact(patch, kind):
    assert patch_error(patch, kind) < EXACT


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), which=st.integers(0, 1), kind=st.sampled_from(KINDS))
def test_even_fields_are_exact_at_any_attitude(seed, which, kind):
    turn = Rotation.random(random_state=seed).as_matrix()
    assert patch_error(patches(0.01)[which], kind, turn) < EXACT


E_, NU = 1.0, 0.3


def beam_field(xyz: np.ndarray) -> np.ndarray:
    """A sheet sheared and bent as Timoshenko's cantilever, in equilibrium without load, (n, 6)."""
    x, y, _ = xyz.T
    u = np.zeros((len(x), 6))
    u[:, 0] = 0.5 * x**2 * y + NU * y**3 / 6.0 - (1.0 + NU) * y**3 / 3.0
    u[:, 1] = -0.5 * NU * x * y**2 - x**3 / 6.0
    slope_x_of_y, slope_y_of_x = -0.5 * NU * y**2 - 0.5 * x**2, 0.5 * x**2 + (0.5 * NU - 1.0 - NU) * y**2
    u[:, 5] = 0.5 * (slope_x_of_y - slope_y_of_x)
    return u


def saddle_field(xyz: np.ndarray) -> np.ndarray:
    """A plate bent to a harmonic surface, in equilibrium without load or shear, (n, 6)."""
    x, y, _ = xyz.T
    u = np.zeros((len(x), 6))
    u[:, 2] = x**3 - 3.0 * x * y**2
    u[:, 3], u[:, 4] = -6.0 * x * y, -(3.0 * x**2 - 3.0 * y**2)
    return u


def field_error(n: int, kind: str, field) -> float:
    """Root of the mean square of the translations' error inside, edges held to the field."""
    mesh = distorted(n)
    i = mesh.number
    exact = field(mesh.xyz)
    edge = np.unique(np.concatenate([i[0], i[-1], i[:, 0], i[:, -1]]))
    node = mesh.elements(kind)
    shells = Shells("sheet", node, np.full(len(node), 0.01), metal(E_, NU))
    ties = Ties(node_dof(edge).ravel(), exact[edge].ravel())
    model = Model(mesh.xyz, shells=(shells,), ties=ties)
    u = solve_model(build_system(model), np.zeros((model.dof_count, 1))).displacement[:, 0].reshape(-1, 6)
    return float(np.sqrt(np.mean((u - exact)[:, :3] ** 2)))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("field", [beam_field, saddle_field])
def test_displacements_of_distorted_meshes_converge_with_the_square(field, kind):
    side = np.array([6, 12, 24])
    error = np.array([field_error(int(n), kind, field) for n in side])
    order = -np.diff(np.log(error)) / np.log(2.0)
    assert order.min() > 1.6
    assert order.mean() > 1.8
    assert error[-1] < 2e-3 * np.abs(field(distorted(6).xyz)[:, :3]).max()


def test_exact_fields_are_the_published_ones():
    """MacNeal and Harder's stress and moments, from memory."""
    membrane, bending, _ = patches()
    np.testing.assert_allclose(membrane.exact / 0.001, [[4e3 / 3.0, 400.0], [400.0, 4e3 / 3.0]], rtol=1e-12)
    np.testing.assert_allclose(-bending.exact, [[1.0 / 9e6, 1.0 / 3e7], [1.0 / 3e7, 1.0 / 9e6]], rtol=1e-12)
