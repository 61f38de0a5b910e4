"""Shells against a general finite element library, written by others, on problems without a closed form."""

from functools import cache

import numpy as np
import pytest
import skfem
from skfem.helpers import dd, ddot, eye, sym_grad, trace

from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.solution import solve_model
from roofmodel.hardware import Material

E, NU = 70e9, 0.3
METAL = Material("aluminum", E=E, G=E / (2.0 * (1.0 + NU)), alpha=23e-6, density=2700.0, yield_strength=2e8)


def quads(corners, n: int, m: int) -> tuple[np.ndarray, np.ndarray]:
    a, b, c, d = np.asarray(corners, dtype=float)
    s, t = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
    s, t = s[..., None], t[..., None]
    xy = ((1 - s) * (1 - t) * a + s * (1 - t) * b + s * t * c + (1 - s) * t * d).reshape(-1, 2)
    number = np.arange((n + 1) * (m + 1)).reshape(n + 1, m + 1)
    node = np.stack([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]], axis=-1)
    return np.column_stack([xy, np.zeros(len(xy))]), node.reshape(-1, 4)


def split(node: np.ndarray, shape: str) -> np.ndarray:
    return node if shape == "quads" else node[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3)


def pressure(x, y):
    return 800.0 * (0.2 + x) * (1.0 + y**2)


@cache
def plate_by_library(point: tuple[float, float], n: int) -> float:
    mesh = skfem.MeshTri.init_tensor(np.linspace(0, 1.2, 3 * n + 1), np.linspace(0, 0.8, 2 * n + 1))
    basis = skfem.Basis(mesh, skfem.ElementTriMorley())
    t = 0.004

    @skfem.BilinearForm
    def bending(u, v, w):
        k = dd(u)
        return t**3 / 12.0 * ddot(E / (1 + NU) * (k + NU / (1 - NU) * eye(trace(k), 2)), dd(v))

    @skfem.LinearForm
    def load(v, w):
        return pressure(*w.x) * v

    w = skfem.solve(*skfem.condense(bending.assemble(basis), load.assemble(basis), D=basis.get_dofs()))
    return float((basis.probes(np.array(point)[:, None]) @ w)[0])


@pytest.mark.parametrize("shape", ["quads", "triangles"])
def test_clamped_plate_under_uneven_pressure(shape):
    n, m = 48, 32
    xyz, node = quads([[0, 0], [1.2, 0], [1.2, 0.8], [0, 0.8]], n, m)
    x, y, _ = xyz.T
    edge = np.flatnonzero((np.minimum(x, 1.2 - x) < 1e-9) | (np.minimum(y, 0.8 - y) < 1e-9))
    shells = Shells("plate", split(node, shape), np.full(len(split(node, shape)), 0.004), METAL)
    model = Model(xyz, shells=(shells,), ties=Ties(node_dof(edge).ravel(), np.zeros(6 * len(edge))))
    load = np.zeros((model.dof_count, 1))
    load[2::6, 0] = pressure(x, y) * (1.2 / n) * (0.8 / m)
    u = solve_model(build_system(model), load).displacement
    at = np.flatnonzero((np.abs(x - 0.6) < 1e-9) & (np.abs(y - 0.4) < 1e-9))[0]
    coarse, fine = (plate_by_library((0.6, 0.4), n) for n in (20, 40))
    exact = fine + (fine - coarse) / 3.0  # that element converges with the square of its size
    assert u[6 * at + 2, 0] == pytest.approx(exact, rel=0.003)


SKEWED = [[0.0, 0.0], [0.48, 0.44], [0.48, 0.6], [0.0, 0.44]]  # Cook's tapered panel


@cache
def membrane_by_library(n: int) -> float:
    xyz, node = quads(SKEWED, n, n)
    mesh = skfem.MeshQuad(xyz[:, :2].T, node.T)
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementQuad2()))
    side = skfem.FacetBasis(
        mesh,
        skfem.ElementVector(skfem.ElementQuad2()),
        facets=mesh.facets_satisfying(lambda p: p[0] > 0.48 - 1e-9),
    )

    @skfem.BilinearForm
    def stretching(u, v, w):
        e = sym_grad(u)
        return 0.002 * ddot(E / (1 + NU) * (e + NU / (1 - NU) * eye(trace(e), 2)), sym_grad(v))

    @skfem.LinearForm
    def shear(v, w):
        return 1000.0 / 0.16 * v[1]

    fixed = basis.get_dofs(lambda p: p[0] < 1e-9)
    u = skfem.solve(*skfem.condense(stretching.assemble(basis), shear.assemble(side), D=fixed))
    corner = np.flatnonzero((mesh.p[0] > 0.48 - 1e-9) & (mesh.p[1] > 0.6 - 1e-9))[0]
    return float(u[basis.nodal_dofs[1, corner]])


def membrane_here(shape: str, n: int) -> float:
    xyz, node = quads(SKEWED, n, n)
    shells = Shells("panel", split(node, shape), np.full(len(split(node, shape)), 0.002), METAL)
    edge = np.flatnonzero(xyz[:, 0] < 1e-9)
    model = Model(xyz, shells=(shells,), ties=Ties(node_dof(edge).ravel(), np.zeros(6 * len(edge))))
    side = np.flatnonzero(xyz[:, 0] > 0.48 - 1e-9)
    share = np.full(len(side), 1000.0 / n)
    share[[0, -1]] /= 2.0
    load = np.zeros((model.dof_count, 1))
    load[6 * side + 1, 0] = share
    return float(solve_model(build_system(model), load).displacement[6 * side[-1] + 1, 0])


def limit(values: list[float]) -> float:
    """Where three meshes, each twice as fine as the one before, lead to (Aitken)."""
    first, second = np.diff(values)
    return values[2] + second**2 / (first - second)


@pytest.mark.parametrize("shape", ["quads", "triangles"])
def test_tapered_panel_in_its_plane(shape):
    # the held corner is singular, so that both programs close on the answer with order one
    meshes = (8, 16, 32)
    here = [membrane_here(shape, n) for n in meshes]
    there = [membrane_by_library(n) for n in meshes]
    assert here[-1] == pytest.approx(there[-1], rel=0.01)
    assert limit(here) == pytest.approx(limit(there), rel=2e-3)
