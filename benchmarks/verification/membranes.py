"""Sheets loaded in their plane, slender beams made of shells, and a folded section."""

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
    dof,
    edge_load,
    global_membrane,
    grid,
    metal,
    no_load,
    shell_model,
)
from fea.model.data import Array, IntArray, Model

COURSE = "MacNeal and Harder, Finite Elem. Anal. Des. 1 (1985) 3, from memory"
NAFEMS = "NAFEMS, Standard Benchmarks (1990), from memory"
ALL = tuple(range(6))


def cook(n: int, kind: str) -> Setup:
    """Cook's tapered panel, clamped at its left side and sheared at its right one."""
    mesh = grid(n, n, lambda u, v: (48.0 * u, (44.0 * u) * (1.0 - v) + (44.0 + 16.0 * u) * v, 0.0))
    i = mesh.number
    model = shell_model(
        mesh.xyz, mesh.elements(kind), 1.0, metal(1.0, 1.0 / 3.0), dof(i[0], *ALL), dof(i, Z, RX, RY)
    )
    load = edge_load(model, i[-1], np.array([0.0, 1.0, 0.0]))
    return Setup(model, load, lambda u: float(u[6 * i[-1, n // 2] + Y]))


SHAPES = {"rectangles": (0.0, 0.0), "parallelograms": (1.0, 1.0), "trapezoids": (1.0, -1.0)}


def slender_strip(n: int, kind: str, shape: str, load_case: str) -> Setup:
    """A cantilever of 6 x 0.2 x 0.1; edges between elements lean by 45 degrees."""
    side = np.array([0.0, *np.resize(SHAPES[shape], 5), 0.0])

    def surface(u: Array, v: Array) -> Place:
        lean = np.interp(6.0 * u, np.arange(7), side)  # finer meshes divide the coarsest
        return 6.0 * u + lean * 0.2 * (v - 0.5), 0.2 * (v - 0.5), 0.0

    mesh = grid(n, max(n // 6, 1), surface)
    i = mesh.number
    model = shell_model(mesh.xyz, mesh.elements(kind), 0.1, metal(1e7, 0.3), dof(i[0], *ALL))
    axis = {"pulled": X, "bent in its plane": Y, "bent out of its plane": Z}[load_case]
    load = edge_load(model, i[-1], np.eye(3)[axis])
    return Setup(model, load, lambda u: float(u[6 * i[-1] + axis].mean()))


def curved_strip(n: int, kind: str, axis: int) -> Setup:
    """A quarter ring of 4.12 to 4.32, clamped at one end, loaded radially or across at the other."""

    def surface(u: Array, v: Array) -> Place:
        r = 4.12 + 0.2 * v
        return r * np.sin(np.pi / 2.0 * u), r * np.cos(np.pi / 2.0 * u), 0.0

    mesh = grid(n, max(n // 6, 1), surface)
    i = mesh.number
    model = shell_model(mesh.xyz, mesh.elements(kind), 0.1, metal(1e7, 0.25), dof(i[0], *ALL))
    load = edge_load(model, i[-1], np.eye(3)[axis])
    return Setup(model, load, lambda u: float(u[6 * i[-1] + axis].mean()))


def outward_pressure(model: Model, nodes: IntArray, force: float) -> Array:
    """A force per length at right angles to a line of nodes, to its right, (d,)."""
    load = no_load(model)
    along = np.diff(model.xyz[nodes], axis=0)
    push = 0.5 * force * np.stack([along[:, 1], -along[:, 0], 0.0 * along[:, 0]], axis=1)
    for ends in (nodes[:-1], nodes[1:]):
        load[dof(ends, X, Y, Z)] += push.ravel()
    return load


def elliptic_membrane(n: int, kind: str) -> Setup:
    """NAFEMS LE1: a quarter of an elliptic sheet with an elliptic hole, pulled at its outer edge."""

    def surface(u: Array, v: Array) -> Place:
        turn = np.pi / 2.0 * v
        return (2.0 + 1.25 * u) * np.cos(turn), (1.0 + 1.75 * u) * np.sin(turn), 0.0

    mesh = grid(n, n, surface)
    i = mesh.number
    held = dof(i[:, 0], Y, RZ), dof(i[:, -1], X, RZ), dof(i, Z, RX, RY)
    model = shell_model(mesh.xyz, mesh.elements(kind), 0.1, metal(210e9, 0.3), *held)
    load = outward_pressure(model, i[-1], 1e6)
    return Setup(model, load, lambda u: float(global_membrane(model, u, i[0, 0])[1, 1] / 0.1))


def z_section(n: int, kind: str) -> Setup:
    """NAFEMS LE5: a folded strip of Z shape, clamped at one end, twisted at the other."""
    flange, web = max(n // 8, 1), max(n // 4, 2)
    y = np.concatenate([np.linspace(-1, 0, flange + 1), np.zeros(web - 1), np.linspace(0, 1, flange + 1)])
    z = np.concatenate([-np.ones(flange), np.linspace(-1, 1, web + 1), np.ones(flange)])
    count = len(y)
    number = np.arange((n + 1) * count).reshape(n + 1, count)
    x = np.linspace(0.0, 10.0, n + 1)
    xyz = np.stack([np.repeat(x, count), np.tile(y, n + 1), np.tile(z, n + 1)], axis=1)
    node = Grid(xyz, number).elements(kind)
    model = shell_model(xyz, node, 0.1, metal(210e9, 0.3), dof(number[0], *ALL))
    low, high = number[-1, : flange + 1], number[-1, flange + web :]
    load = edge_load(model, low, np.array([0.0, 0.6e6, 0.0]))
    load += edge_load(model, high, np.array([0.0, -0.6e6, 0.0]))
    tip = number[n // 4, -1]
    return Setup(model, load, lambda u: abs(float(global_membrane(model, u, tip)[0, 0])) / 0.1)


def curved_beam() -> tuple[float, float]:
    """Radial and out-of-plane deflection of the curved strip as a thin curved beam, by Castigliano."""
    R, b, t, E, G = 4.22, 0.2, 0.1, 1e7, 4e6
    shear = 1.2 / (G * b * t)
    radial = np.pi / 4.0 * R * (R**2 / (E * t * b**3 / 12.0) + 1.0 / (E * b * t) + shear)
    torsion = b * t**3 / 3.0 * (1.0 - 0.63 * t / b * (1.0 - t**4 / (12.0 * b**4)))
    across = R**3 * (np.pi / 4.0 / (E * b * t**3 / 12.0) + (0.75 * np.pi - 2.0) / (G * torsion))
    return float(radial), float(across + 0.5 * np.pi * R * shear)


def _slender() -> list[Problem]:
    in_plane = "bent in its plane"
    found = []
    for load_case, reference in (("pulled", 3e-5), (in_plane, 0.1081), ("bent out of its plane", 0.4321)):
        for shape in SHAPES:
            hard = load_case == in_plane and shape != "rectangles"
            held = {QUADS: ((24, 0.02), (48, 0.01)), TRIANGLES: ((384, 0.01),)} if hard else {}
            found.append(
                Problem(
                    f"Slender strip {load_case}, {shape}",
                    COURSE,
                    reference,
                    partial(slender_strip, shape=shape, load_case=load_case),
                    sides=(6, 12, 24, 48, 96, *((192, 384) if hard else ())),
                    mesh="n x n/6",
                    bars=held or bars((12, 0.02), (48, 0.01)),
                )
            )
    known = zip(("in", "out of"), (X, Z), (12, 24), ("0.08734", "0.5022"), curved_beam(), strict=True)
    for words, axis, first, published, reference in known:
        found.append(
            Problem(
                f"Curved strip bent {words} its plane",
                f"curved beam by Castigliano; {published} in {COURSE}",
                reference,
                partial(curved_strip, axis=axis),
                sides=(6, 12, 24, 48, 96, 192, 384),
                mesh="n x n/6",
                bars={QUADS: ((first, 0.02), (96, 0.01)), TRIANGLES: ((384, 0.01),)},
            )
        )
    return found


PROBLEMS = (
    Problem(
        "Cook's tapered panel",
        "Cook, J. Struct. Div. 100 (1974) 1851, from memory; 23.96 converged by many",
        23.96,
        cook,
        sides=(2, 4, 8, 16, 32),
        bars={QUADS: ((16, 0.01), (32, 0.005)), TRIANGLES: ((32, 0.01),)},
    ),
    Problem(
        "NAFEMS LE1, elliptic membrane",
        f"{NAFEMS}; 92.73 MPa by quadratic elements of another program",
        92.7e6,
        elliptic_membrane,
        sides=(4, 8, 16, 32, 64),
        unit="Pa",
        bars={QUADS: ((16, 0.02), (32, 0.01), (64, 0.01)), TRIANGLES: ((64, 0.01),)},
    ),
    Problem(
        "NAFEMS LE5, folded Z section",
        f"{NAFEMS}; Vlasov's closed form gives 107.9 MPa, other programs 108.5 to 110.9 MPa",
        108e6,
        z_section,
        sides=(8, 16, 32, 64),
        mesh="n x (n/8 + n/4 + n/8)",
        unit="Pa",
        bars={QUADS: ((16, 0.03), (32, 0.03), (64, 0.03)), TRIANGLES: ((64, 0.03),)},
    ),
    *_slender(),
)
