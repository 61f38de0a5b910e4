"""Stress of sheet beside a rigid grip: a ring held outside, its rigid hub pushed square and pulled aside.

The rigid hub is one node with rigid links, as a clamp is on its seam. Read is the stress at the hub's edge,
carried on from the middles of the two innermost rings of elements.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.integrate import solve_bvp

from benchmarks.verification.shell_problems import (
    QUADS,
    RX,
    RY,
    RZ,
    TRIANGLES,
    Problem,
    Setup,
    X,
    Y,
    Z,
    dof,
    grid,
    metal,
    no_load,
    shell_model,
)
from fea.model.data import Array
from fea.model.stress import shell_stress

INNER, OUTER, THICKNESS = 0.25, 1.0, 0.01
POISSON, MODULUS = 0.3, 1.0e7
STIFFNESS = MODULUS * THICKNESS**3 / 12.0 / (1.0 - POISSON**2)


def hub_moment() -> float:
    """M_r at a rigid hub in a clamped ring under a force P on the hub, over P. [-].

    The slope is C_1 r + C_2 / r - P r ln r / (4 pi D), 0 at both edges.
    """
    edge = np.array([INNER, OUTER])
    special = -edge * np.log(edge) / (4.0 * np.pi)
    c = np.linalg.solve(np.column_stack([edge, 1.0 / edge]), -special)
    return float(c[0] - c[1] / INNER**2 - (np.log(INNER) + 1.0) / (4.0 * np.pi))


def hub_stress() -> float:
    """Radial stress at a rigid disc that moves aside by 1 in a held ring, over E, at its front. [-].

    Navier's equations for u_r = U cos, u_t = V sin as a boundary value problem in r, solved to 1e-9.
    """
    stiff, shear = 1.0 / (1.0 - POISSON**2), 0.5 / (1.0 + POISSON)

    def equations(r: Array, y: Array) -> Array:
        U, V, S, T = y
        hoop = (U + V) / r
        dU = S / stiff - POISSON * hoop
        around = stiff * (hoop + POISSON * dU)
        return np.stack([dU, T / shear + hoop, -(T + S - around) / r, (around - 2.0 * T) / r])

    def edges(a: Array, b: Array) -> Array:
        return np.array([a[0] - 1.0, a[1] + 1.0, b[0], b[1]])

    r = np.linspace(INNER, OUTER, 200)
    found = solve_bvp(
        equations, edges, r, np.stack([1.0 - r, r - 1.0, 0.0 * r, 0.0 * r]), tol=1e-9, max_nodes=10**5
    )
    return float(found.sol(INNER)[2])


def ring(n: int, kind: str, *, aside: bool) -> Setup:
    """Half a ring of n elements across and 2 n around."""
    mesh = grid(
        n, 2 * n,
        lambda u, v: (
            (INNER * (OUTER / INNER) ** u) * np.cos(np.pi * v),
            (INNER * (OUTER / INNER) ** u) * np.sin(np.pi * v),
            0.0,
        ),
    )  # fmt: skip
    i = mesh.number
    hub = len(mesh.xyz)
    cut = dof(i[1:, [0, -1]], Y, RX, RZ)
    held = [dof(i[-1], X, Y, Z, RX, RY, RZ), cut]
    held.append(dof(np.array([hub]), *((Y, Z, RX, RY, RZ) if aside else (X, Y, RX, RY, RZ))))
    xyz = np.vstack([mesh.xyz, np.zeros(3)])
    model = shell_model(xyz, mesh.elements(kind), THICKNESS, metal(MODULUS, POISSON), *held)
    inside = i[0]
    ties = replace(
        model.ties,
        rigid_main=np.full(len(inside), hub),
        rigid_node=inside,
        rigid_part=np.ones((len(inside), 6), dtype=bool),
    )
    model = replace(model, ties=ties)
    load = no_load(model)
    load[6 * hub + (X if aside else Z)] = 0.5

    def read(u: Array) -> float:
        found = shell_stress(model, 0, u[:, None])
        middle = model.xyz[model.shells[0].node].mean(axis=1)
        radius = np.hypot(middle[:, 0], middle[:, 1])
        part = found.resultants.membrane if aside else found.resultants.moment
        tensor = part[:, 0, [0, 2, 2, 1], 0].reshape(-1, 2, 2)
        axes = found.resultants.axes[:, :2]
        way = middle / radius[:, None]
        flat = np.einsum("mij,mj->mi", axes, way)
        radial = np.einsum("mi,mij,mj->m", flat, tensor, flat)
        if not aside:
            return abs(_at_edge(radius, radial))
        ahead = radial / way[:, 0]
        front = np.abs(way[:, 0]) > 0.5  # sigma_r = S cos all around
        return abs(_at_edge(radius[front], ahead[front])) / THICKNESS / MODULUS / float(u[6 * hub + X])

    return Setup(model, load, read)


def _at_edge(radius: Array, value: Array) -> float:
    """Value at the hub from a straight line through the two innermost rings of elements."""
    middle = np.unique(np.round(radius, 9))[:2]
    mean = [value[np.abs(radius - r) < 1e-8].mean() for r in middle]
    return float(mean[0] + (mean[0] - mean[1]) / (middle[1] - middle[0]) * (middle[0] - INNER))


PROBLEMS = (
    Problem(
        "Rigid hub in a clamped ring, moment at the hub",
        "Closed form, derived here from the equation of a plate bent evenly around its middle",
        abs(hub_moment()),
        lambda n, kind: ring(n, kind, aside=False),
        mesh="n x 2n on half a ring",
        bars={QUADS: ((16, 0.01), (32, 0.005)), TRIANGLES: ((32, 0.06),)},
    ),
    Problem(
        "Rigid disc in a held ring, stress in front of it",
        "Navier's equations in polar coordinates as a boundary value problem, to 1e-9",
        abs(hub_stress()),
        lambda n, kind: ring(n, kind, aside=True),
        mesh="n x 2n on half a ring",
        bars={QUADS: ((16, 0.01), (32, 0.005)), TRIANGLES: ((32, 0.03),)},
    ),
)
