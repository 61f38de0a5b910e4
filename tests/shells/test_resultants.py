"""Moments and shear forces inside a plate against Navier's series, membrane forces against closed forms."""

import numpy as np
import pytest
from shell_meshes import distorted

from benchmarks.verification.plates import MODULUS, POISSON, plate
from benchmarks.verification.shell_problems import (
    KINDS,
    QUADS,
    dof,
    global_membrane,
    metal,
)
from fea.elements.shells import shell_resultants
from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.solution import solve_model


def series(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """M_xx (tension on top positive) and Q_xz of a supported unit plate under a unit pressure along z."""
    odd = np.arange(1, 120, 2)
    m, n = (c.ravel()[:, None] for c in np.meshgrid(odd, odd))
    q = 16.0 / (np.pi**2 * m * n)
    both = m**2 + n**2
    moment = q * (m**2 + POISSON * n**2) / (np.pi * both) ** 2 * np.sin(np.pi * m * x) * np.sin(np.pi * n * y)
    shear = q * m / (np.pi * both) * np.cos(np.pi * m * x) * np.sin(np.pi * n * y)
    return moment.sum(axis=0), shear.sum(axis=0)


def error_inside(n: int, kind: str, slender: float) -> tuple[float, float]:
    """Root mean square errors of M_xx and Q_xz in the middles of the elements, over those of the series."""
    setup = plate(n, kind, "supported", "pressed", 1.0, slender)
    u = solve_model(build_system(setup.model), setup.load[:, None]).displacement
    shells = setup.model.shells[0]
    corners = setup.model.xyz[shells.node]
    local = u[node_dof(shells.node)].reshape(len(corners), -1, 1)
    found = shell_resultants(corners, shells.thickness, shells.material, local)
    unit = MODULUS / slender**3 / 12.0 / (1.0 - POISSON**2)
    turn = found.axes[:, :2, :2]
    tensor = found.moment[:, 0, [0, 2, 2, 1], 0].reshape(-1, 2, 2)
    moment = np.einsum("mia,mij,mjb->mab", turn, tensor, turn)[:, 0, 0] / unit
    shear = np.einsum("mia,mi->ma", turn, found.shear[:, 0, :, 0])[:, 0] / unit
    middle = corners.mean(axis=1)
    exact = series(middle[:, 0], middle[:, 1])
    rms = [
        np.sqrt(np.mean((a - s * b) ** 2) / np.mean(b**2))
        for a, b, s in ((moment, exact[0], 1), (shear, exact[1], 1))
    ]
    return float(rms[0]), float(rms[1])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("slender", [10.0, 1e3])
def test_moments_converge(kind, slender):
    coarse, fine = (error_inside(n, kind, slender)[0] for n in (8, 16))
    assert fine < 0.03
    assert fine < 0.6 * coarse


@pytest.mark.parametrize(
    ("kind", "slender", "bar"), [(QUADS, 1e3, 0.005), (QUADS, 10.0, 0.005), ("triangles", 10.0, 0.05)]
)
def test_shear_forces_converge(kind, slender, bar):
    assert error_inside(16, kind, slender)[1] < bar


@pytest.mark.parametrize("kind", KINDS)
def test_membrane_forces_of_a_pulled_sheet(kind):
    """Pull between two symmetry planes, free to narrow: N_xx = E t strain everywhere, nothing else."""
    mesh = distorted(5)
    i = mesh.number
    node = mesh.elements(kind)
    t, E, strain = 0.002, 70e9, 1e-4
    near, far, flat = dof(i[0], 0, 5), dof(i[-1], 5), dof(i, 2, 3, 4)
    held = np.concatenate([near, dof(i[0, :1], 1), far, flat, dof(i[-1], 0)])
    value = np.zeros(len(held))
    value[-i.shape[1] :] = strain
    shells = Shells("sheet", node, np.full(len(node), t), metal(E, 0.33))
    model = Model(mesh.xyz, shells=(shells,), ties=Ties(held, value))
    u = solve_model(build_system(model), np.zeros((model.dof_count, 1))).displacement[:, 0]
    expected = np.zeros((3, 3))
    expected[0, 0] = E * t * strain
    for at in (i[0, 0], i[2, 3], i[-1, -1]):
        np.testing.assert_allclose(global_membrane(model, u, at), expected, atol=1e-6 * expected[0, 0])
