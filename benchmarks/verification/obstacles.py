"""Curved shells of the obstacle course: roof, cylinder, hemispheres, hook, twisted beam."""

from __future__ import annotations

from functools import partial

import numpy as np

from benchmarks.verification.shell_problems import (
    QUADS,
    RX,
    RY,
    RZ,
    TRIANGLES,
    Grid,
    Place,
    Problem,
    Setup,
    X,
    Y,
    Z,
    bars,
    cut,
    dof,
    edge_load,
    grid,
    metal,
    no_load,
    shell_model,
)
from fea.model.data import Array, IntArray
from fea.model.loads import traction

COURSE = "MacNeal and Harder, Finite Elem. Anal. Des. 1 (1985) 3, from memory"


def scordelis_lo(n: int, kind: str) -> Setup:
    """A quarter of a cylindrical roof on end diaphragms under its weight."""
    R, half_length, angle = 25.0, 25.0, np.radians(40.0)
    mesh = grid(n, n, lambda u, v: (R * np.sin(angle * u), half_length * v, R * np.cos(angle * u)))
    i = mesh.number
    held = dof(i[:, 0], X, Z), dof(i[:, -1], Y, RX, RZ), dof(i[0], X, RY, RZ)
    model = shell_model(mesh.xyz, mesh.elements(kind), 0.25, metal(4.32e8, 0.0), *held)
    load = traction(model, 0, np.array([[0.0], [0.0], [-90.0]]))[:, 0]
    return Setup(model, load, lambda u: float(-u[6 * i[-1, -1] + Z]))


def pinched_cylinder(n: int, kind: str) -> Setup:
    """An eighth of a cylinder on end diaphragms, pinched in the middle."""
    R, half_length = 300.0, 300.0
    quarter = np.pi / 2.0
    mesh = grid(n, n, lambda u, v: (R * np.sin(quarter * u), half_length * v, R * np.cos(quarter * u)))
    i = mesh.number
    held = dof(i[:, 0], X, Z), dof(i[:, -1], Y, RX, RZ), dof(i[0], X, RY, RZ), dof(i[-1], Z, RX, RY)
    model = shell_model(mesh.xyz, mesh.elements(kind), 3.0, metal(3e6, 0.3), *held)
    load = no_load(model)
    load[6 * i[0, -1] + Z] = -0.25
    return Setup(model, load, lambda u: float(-u[6 * i[0, -1] + Z]))


def hemisphere(n: int, kind: str) -> Setup:
    """A quarter of a hemisphere with a hole of 18 degrees, pulled on one axis and pushed on the other."""
    R, top = 10.0, np.radians(72.0)

    def surface(u: Array, v: Array) -> Place:
        round_, up = np.pi / 2.0 * u, top * v
        return R * np.cos(up) * np.cos(round_), R * np.cos(up) * np.sin(round_), R * np.sin(up)

    mesh = grid(n, n, surface)
    i = mesh.number
    held = dof(i[0], Y, RX, RZ), dof(i[-1], X, RY, RZ), dof(i[n // 2, :1], Z)
    model = shell_model(mesh.xyz, mesh.elements(kind), 0.04, metal(6.825e7, 0.3), *held)
    load = no_load(model)
    load[6 * i[0, 0] + X], load[6 * i[-1, 0] + Y] = 1.0, -1.0
    return Setup(model, load, lambda u: float(u[6 * i[0, 0] + X]))


def octant(n: int) -> tuple[Array, IntArray]:
    """A unit sphere's octant in three blocks of n x n quads, equator first: nodes and corners."""
    side = np.linspace(0.0, 1.0, n + 1)
    u, v = (c[..., None] for c in np.meshgrid(side, side, indexing="ij"))
    corners = np.eye(3)
    xyz, quads = [], []
    for k in range(3):
        a, b, c = np.roll(corners, -k, axis=0)
        ab, ca, middle = (np.sum(p, axis=0) / np.sqrt(len(p)) for p in ((a, b), (c, a), (a, b, c)))
        flat = (1 - u) * (1 - v) * a + u * (1 - v) * ab + u * v * middle + (1 - u) * v * ca
        block = Grid(flat.reshape(-1, 3), np.arange((n + 1) ** 2).reshape(n + 1, n + 1))
        quads.append(block.elements(QUADS) + k * (n + 1) ** 2)
        xyz.append(block.xyz / np.linalg.norm(block.xyz, axis=1, keepdims=True))
    _, first, number = np.unique(
        np.round(np.concatenate(xyz), 9) + 0.0, axis=0, return_index=True, return_inverse=True
    )
    return np.concatenate(xyz)[first], number.ravel()[np.concatenate(quads)]


def point_loaded_hemisphere(n: int, kind: str) -> Setup:
    """NAFEMS LE3: a quarter of a closed hemisphere, free at the equator."""
    xyz, quads = octant(n)
    node = cut(xyz, quads, kind)
    edge_x, edge_y = (np.flatnonzero(xyz[:, k] < 1e-9) for k in (0, 1))
    held = dof(edge_y, Y, RX, RZ), dof(edge_x, X, RY, RZ), dof(np.argmax(xyz[:, 2:], axis=0), Z)
    model = shell_model(10.0 * xyz, node, 0.04, metal(68.25e9, 0.3), *held)
    load = no_load(model)
    a, b = np.argmax(xyz[:, 0]), np.argmax(xyz[:, 1])
    load[6 * a + X], load[6 * b + Y] = 2000.0, -2000.0
    return Setup(model, load, lambda u: float(u[6 * a + X]))


def raasch_hook(n: int, kind: str) -> Setup:
    """A strip bent to a hook of two arcs, clamped at one end, sheared along its width at the other."""
    small, large = np.radians(60.0), np.radians(150.0)

    def surface(u: Array, v: Array) -> Place:
        along = u * (14.0 * small + 46.0 * large)
        first = along <= 14.0 * small
        a, b = np.minimum(along / 14.0, small), np.maximum(along - 14.0 * small, 0.0) / 46.0 - small
        x = np.where(first, 14.0 * np.sin(a), 14.0 * np.sin(small) + 46.0 * (np.sin(small) + np.sin(b)))
        z = np.where(first, 14.0 * np.cos(a), 60.0 * np.cos(small) - 46.0 * np.cos(b))
        return x, 20.0 * v, z

    mesh = grid(n, max(n // 4, 1), surface)
    i = mesh.number
    model = shell_model(mesh.xyz, mesh.elements(kind), 2.0, metal(3300.0, 0.35), dof(i[0], *range(6)))
    load = edge_load(model, i[-1], np.array([0.0, 1.0, 0.0]))
    tip = i[-1, i.shape[1] // 2] if i.shape[1] % 2 else i[-1, 0]
    return Setup(model, load, lambda u: float(u[6 * tip + Y]))


def twisted_beam(n: int, kind: str, thickness: float, direction: int) -> Setup:
    """A strip twisted by a right angle from root to tip, loaded along or across its width."""
    width = 1.1

    def surface(u: Array, v: Array) -> Place:
        turn, out = np.pi / 2.0 * u, (v - 0.5) * width
        return 12.0 * u, out * np.cos(turn), out * np.sin(turn)

    mesh = grid(n, n // 6, surface)
    i = mesh.number
    model = shell_model(mesh.xyz, mesh.elements(kind), thickness, metal(29e6, 0.22), dof(i[0], *range(6)))
    force = np.zeros(3)
    force[direction] = 1.0 if thickness > 0.1 else 1e-6
    load = edge_load(model, i[-1], force)
    tip = i[-1, i.shape[1] // 2]
    return Setup(model, load, lambda u: float(u[6 * tip + direction]))


def _twisted() -> list[Problem]:
    found = []
    for words, thickness, direction, reference, bar in (
        ("thick, along its width", 0.32, Z, 5.424e-3, 0.002),
        ("thick, across its width", 0.32, Y, 1.754e-3, 0.002),
        ("thin, along its width", 0.0032, Z, 5.256e-3, 0.01),
        ("thin, across its width", 0.0032, Y, 1.294e-3, 0.01),
    ):
        build = partial(twisted_beam, thickness=thickness, direction=direction)
        found.append(
            Problem(
                f"Twisted beam, {words}",
                COURSE,
                reference,
                build,
                sides=(12, 24, 48, 96),
                mesh="n x n/6",
                bars={QUADS: ((24, bar), (96, bar)), TRIANGLES: ((96, max(bar, 0.01)),)},
            )
        )
    return found


PROBLEMS = (
    Problem(
        "Scordelis-Lo roof",
        "Scordelis and Lo, ACI J. 61 (1964), from memory 0.3024; 0.3019 converged by other programs",
        0.3019,
        scordelis_lo,
        mesh="n x n on a quarter",
        bars=bars((16, 0.005), (32, 0.01)),
    ),
    Problem(
        "Pinched cylinder on diaphragms",
        "Belytschko and others, CMAME 51 (1985) 221, from memory; 2% for the point load's singularity",
        1.8248e-5,
        pinched_cylinder,
        sides=(4, 8, 16, 32, 64),
        mesh="n x n on an eighth",
        bars=bars((16, 0.075), (32, 0.02), (64, 0.02)),
    ),
    Problem(
        "Pinched hemisphere with a hole",
        f"{COURSE}, 0.0940; 0.0935 converged by other programs",
        0.0935,
        hemisphere,
        mesh="n x n on a quarter",
        bars={QUADS: ((16, 0.01), (32, 0.01)), TRIANGLES: ((32, 0.01),)},
    ),
    Problem(
        "NAFEMS LE3, hemisphere under point loads",
        "NAFEMS, Standard Benchmarks (1990), from memory",
        0.185,
        point_loaded_hemisphere,
        mesh="3 n x n on a quarter",
        unit="m",
        bars={QUADS: ((16, 0.005), (32, 0.01)), TRIANGLES: ((16, 0.01), (32, 0.01))},
    ),
    Problem(
        "Raasch hook",
        "Knight, AIAA J. 35 (1997) 375, from memory",
        5.02,
        raasch_hook,
        sides=(8, 16, 32, 64, 128),
        mesh="n x n/4",
        bars={QUADS: ((64, 0.01), (128, 0.01)), TRIANGLES: ((128, 0.01),)},
    ),
    *_twisted(),
)
