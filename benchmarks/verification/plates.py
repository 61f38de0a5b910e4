"""Flat plates: thin and thick, clamped and supported, square, oblong and skew, and how thin they may get."""

from __future__ import annotations

from functools import partial

import numpy as np

from benchmarks.verification.shell_problems import (
    RX,
    RY,
    RZ,
    Place,
    Problem,
    Setup,
    X,
    Y,
    Z,
    bars,
    dof,
    grid,
    metal,
    no_load,
    shell_model,
)
from fea.model.data import Array
from fea.model.loads import pressure

POISSON, MODULUS = 0.3, 1.0e7
SHEAR = 2.0 / (5.0 / 6.0 * 12.0 * (1.0 - POISSON))  # D / (k G t^3)
TIMOSHENKO = (
    "Navier and Levy series, Legendre-Ritz for clamped edges, agree to 1e-7 with another program; tables in "
    "Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells"
)

# Deflection of the middle: under even pressure over q a^4 / D, under a force in the middle over P a^2 / D.
# The shorter side is a.
THIN = {
    ("supported", "pressed", 1.0): 0.00406235266,
    ("supported", "pressed", 2.0): 0.0101286631,
    ("supported", "point-loaded", 1.0): 0.0116008395,
    ("supported", "point-loaded", 2.0): 0.0165239489,
    ("clamped", "pressed", 1.0): 0.00126531909,
    ("clamped", "pressed", 2.0): 0.00253295577,
    ("clamped", "point-loaded", 1.0): 0.0056120242,
    ("clamped", "point-loaded", 2.0): 0.00723055704,
}
THICK = {10.0: 0.00427284224, 5.0: 0.00490431096}  # the same, supported and pressed, by side over thickness


def plate(n: int, kind: str, edge: str, load: str, ratio: float, slender: float) -> Setup:
    """A quarter of a plate 1 x `ratio`; the deflection of its middle over the table's unit."""
    t = 1.0 / slender
    mesh = grid(n, n, lambda u, v: (0.5 * u, 0.5 * ratio * v, 0.0))
    i = mesh.number
    edges = [dof(np.concatenate([i[0], i[:, 0]]), Z), dof(i[0], RX), dof(i[:, 0], RY)]
    if edge == "clamped":
        edges += [dof(i[0], RY), dof(i[:, 0], RX)]
    held = *edges, dof(i[-1], RY), dof(i[:, -1], RX), dof(i, X, Y, RZ)
    model = shell_model(mesh.xyz, mesh.elements(kind), t, metal(MODULUS, POISSON), *held)
    stiffness = MODULUS * t**3 / 12.0 / (1.0 - POISSON**2)
    if load == "pressed":
        force = pressure(model, 0, np.full((len(model.shells[0].node), 1), stiffness))[:, 0]
    else:
        force = no_load(model)
        force[6 * i[-1, -1] + Z] = 0.25 * stiffness
    return Setup(model, force, lambda u: float(u[6 * i[-1, -1] + Z]))


def skew_plate(n: int, kind: str) -> Setup:
    """Razzaque's rhombic plate, simply supported on two sides, free on the others."""
    side, lean = 100.0, np.radians(60.0)

    def surface(u: Array, v: Array) -> Place:
        return side * (u + v * np.cos(lean)), side * np.sin(lean) * v, 0.0

    mesh = grid(n, n, surface)
    i = mesh.number
    held = dof(i[:, [0, -1]], Z), dof(i, X, Y, RZ)
    model = shell_model(mesh.xyz, mesh.elements(kind), 0.1, metal(1092.0, 0.3), *held)
    load = pressure(model, 0, np.full((len(model.shells[0].node), 1), 1e-6))[:, 0]
    return Setup(model, load, lambda u: float(u[6 * i[n // 2, n // 2] + Z]))


def _thin() -> list[Problem]:
    return [
        Problem(
            f"Thin plate 1 x {ratio:g}, {edge}, {load}",
            TIMOSHENKO,
            reference,
            partial(plate, edge=edge, load=load, ratio=ratio, slender=1e3),
            mesh="n x n on a quarter",
            bars=bars((16, 0.01), (32, 0.005)),
        )
        for (edge, load, ratio), reference in THIN.items()
    ]


def _slenderness() -> list[Problem]:
    found = [
        Problem(
            f"Supported plate, span/thickness {slender:g}",
            "Mindlin's plate by Navier's series, exact",
            reference,
            partial(plate, edge="supported", load="pressed", ratio=1.0, slender=slender),
            mesh="n x n on a quarter",
            bars=bars((16, 0.01), (32, 0.002)),
        )
        for slender, reference in THICK.items()
    ]
    thin = THIN["supported", "pressed", 1.0]
    for slender in (100.0, 1e3, 1e4):
        # A stretched membrane on the same edges sags by 0.07367 q a^2 / N; so does the plate by its shear.
        shear = 0.0736713532 * SHEAR / slender**2
        found.append(
            Problem(
                f"Supported plate, span/thickness {slender:g}",
                "Navier's series with the shear of Mindlin's plate",
                thin + shear,
                partial(plate, edge="supported", load="pressed", ratio=1.0, slender=slender),
                mesh="n x n on a quarter",
                bars=bars((16, 0.01), (32, 0.002)),
            )
        )
    return found


PROBLEMS = (
    *_thin(),
    *_slenderness(),
    Problem(
        "Razzaque's skew plate",
        "Razzaque, IJNME 6 (1973) 220, from memory 7.945; 7.91 converged by three other elements",
        7.91,
        skew_plate,
        sides=(4, 8, 16, 32, 64),
        bars=bars((16, 0.01), (32, 0.01)),
    ),
)
