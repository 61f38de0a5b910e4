"""Patch tests: membrane, bending and shear fields that a mesh of any shape must give back exactly.

The five distorted quads of MacNeal and Harder, whole or cut into triangles, at any attitude in space. The
outer corners are moved; displacements of the inner ones and all stress must be exact.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.verification.findings import Finding
from benchmarks.verification.shell_problems import KINDS, cut, metal
from fea.elements.shells import Resultants, shell_resultants
from fea.model.assembly import build_system
from fea.model.data import Array, Model, Shells, Ties, node_dof
from fea.model.solution import solve_model
from roofmodel.hardware import Material

EXACT = 1e-10
PLANE = np.array(
    [[0, 0], [0.24, 0], [0.24, 0.12], [0, 0.12], [0.04, 0.02], [0.18, 0.03], [0.16, 0.08], [0.08, 0.08]]
)
QUADS = np.array([[0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7], [4, 5, 6, 7]])
OUTER = np.arange(4)
MATERIAL = metal(1e6, 0.25)


def stretched(x: Array, y: Array) -> Array:
    """Even strain in the plane, (n, 6)."""
    u = np.zeros((len(x), 6))
    u[:, 0], u[:, 1] = 1e-3 * (x + 0.5 * y), 1e-3 * (y + 0.5 * x)
    return u


def curved(x: Array, y: Array) -> Array:
    """Even curvature, (n, 6)."""
    u = np.zeros((len(x), 6))
    u[:, 2] = 0.5e-3 * (x**2 + x * y + y**2)
    u[:, 3], u[:, 4] = 1e-3 * (y + 0.5 * x), -1e-3 * (x + 0.5 * y)
    return u


def sheared(x: Array, y: Array) -> Array:
    """Even shear angles, no rotation, (n, 6)."""
    u = np.zeros((len(x), 6))
    u[:, 2] = 1e-3 * (x + 0.5 * y)
    return u


@dataclass(frozen=True)
class Patch:
    """A patch test: the field, the thickness, and the exact forces per length in global axes of the plane.

    Shear alone is in equilibrium only where bending is no way out, in a plate much thicker than wide; there
    rounding leaves no digits for other attitudes than flat.
    """

    name: str
    field: Callable[[Array, Array], Array]
    thickness: float
    part: str
    exact: Array


def patches(thin: float = 0.001) -> tuple[Patch, ...]:
    """The three tests, two of them with a thin sheet."""
    E, poisson, G = MATERIAL.E, 0.25, MATERIAL.G
    strain = np.array([[1.0, 0.5], [0.5, 1.0]]) * 1e-3
    even = E / (1.0 + poisson) * (strain + poisson / (1.0 - poisson) * np.trace(strain) * np.eye(2))
    thick = 1e6
    return (
        Patch("membrane", stretched, thin, "membrane", even * thin),
        Patch("bending", curved, thin, "moment", -even * thin**3 / 12.0),
        Patch("transverse shear", sheared, thick, "shear", 5.0 / 6.0 * G * thick * np.array([1e-3, 0.5e-3])),
    )


def in_plane_axes(found: Resultants, part: str, attitude: Array) -> Array:
    """Forces per length (m, p, 2, 2) or (m, p, 2) in the axes of the patch's plane."""
    turn = found.axes[:, :2] @ attitude[:, :2]  # from the plane's axes to the elements' own
    values: Array = getattr(found, part)[..., 0]
    if part == "shear":
        return np.asarray(np.einsum("mij,mpi->mpj", turn, values))
    tensor = values[..., [0, 2, 2, 1]].reshape(*values.shape[:2], 2, 2)
    return np.asarray(np.einsum("mik,mpij,mjl->mpkl", turn, tensor, turn))


def patch_error(patch: Patch, kind: str, attitude: Array | None = None, metal_: Material = MATERIAL) -> float:
    """Largest relative error of inner displacements and of forces in the middle and at the corners.

    Parameters
    ----------
    patch : Patch
    kind : str
    attitude : (3, 3) float, optional
        Columns are the plane's axes in space.
    metal_ : Material
    """
    turn = np.eye(3) if attitude is None else attitude
    x, y = PLANE.T
    flat = patch.field(x, y).reshape(-1, 2, 3)
    exact = (flat @ turn.T).reshape(-1, 6)
    xyz = np.column_stack([PLANE, np.zeros(len(PLANE))]) @ turn.T
    node = cut(xyz, QUADS, kind)
    shells = Shells("patch", node, np.full(len(node), patch.thickness), metal_)
    ties = Ties(node_dof(OUTER).ravel(), exact[OUTER].ravel())
    model = Model(xyz, shells=(shells,), ties=ties)
    u = solve_model(build_system(model), np.zeros((model.dof_count, 1))).displacement
    near = float(np.abs(u[:, 0].reshape(-1, 6) - exact).max() / np.abs(exact).max())
    local = u[node_dof(node)].reshape(len(node), -1, 1)
    found = in_plane_axes(shell_resultants(xyz[node], shells.thickness, metal_, local), patch.part, turn)
    return max(near, float(np.abs(found - patch.exact).max() / np.abs(patch.exact).max()))


def patch_findings() -> list[Finding]:
    """All patch tests with both elements, flat and at an attitude in space."""
    attitude = np.linalg.qr(np.array([[1.0, 2.0, 0.5], [-1.0, 1.0, 2.0], [0.3, -1.0, 1.0]]))[0]
    attitude *= np.sign(np.linalg.det(attitude))
    both = ("flat", np.eye(3), patches()), ("turned in space", attitude, patches(0.01)[:2])
    return [
        Finding(
            f"{patch.name}, {kind}, {words}",
            "MacNeal and Harder, Finite Elem. Anal. Des. 1 (1985) 3, from memory; exact",
            "five distorted quads",
            "",
            1.0 + patch_error(patch, kind, turn),
            1.0,
            EXACT,
        )
        for words, turn, tests in both
        for patch in tests
        for kind in KINDS
    ]
