"""A clamp on the seam of a panel: one sheet with two standing legs on clips, against other programs.

A check of the solver, not of a roof: every clip is fixed along the seam and nothing bears on a deck.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from benchmarks.verification.findings import Finding, check_cases
from fea.model.assembly import build_system
from fea.model.data import Array, IntArray, Model, Shells, Ties, node_dof
from fea.model.solution import solve_model
from roofmodel.hardware import Material

NAME = "panel_clamp_A"
MESHES = {"coarse": 1, "fine": 2}
FORCE, MOVED = 0.03, 0.05  # spread that the other programs leave


def _grid(x: Array, y: Array, turn: Array, origin: Array) -> tuple[Array, IntArray]:
    """Points of x and of y along the second row of `turn`, and quads between them."""
    xyz = origin + x[:, None, None] * np.array([1.0, 0.0, 0.0]) + y[None, :, None] * turn
    number = np.arange(len(x) * len(y)).reshape(len(x), len(y))
    quad = np.stack([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]], axis=-1)
    return xyz.reshape(-1, 3), quad.reshape(-1, 4)


def _sheet(inputs: dict[str, Any], finer: int) -> tuple[Array, list[IntArray]]:
    """Points, and quads of pan, near leg and far leg."""
    mesh = inputs["meshes"]["coarse"]
    L, B, H = (inputs[key] / 1e3 for key in ("L", "B", "H"))
    x = np.linspace(0.0, L, round(L * 1e3 / mesh["hx_mm"]) * finer + 1)
    across = np.linspace(0.0, B, mesh["pan_elements_across"] * finer + 1)
    high = np.linspace(0.0, H, mesh["rib_elements_high"] * finer + 1)
    side, up = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
    parts = [
        _grid(x, across, side, np.zeros(3)),
        _grid(x, high, up, np.zeros(3)),
        _grid(x, high, up, B * side),
    ]
    base = np.cumsum([0, *(len(points) for points, _ in parts[:-1])])
    points = np.concatenate([points for points, _ in parts])
    _, first, back = np.unique(np.round(points, 9), axis=0, return_index=True, return_inverse=True)
    return points[first], [back.ravel()[quad + b] for (_, quad), b in zip(parts, base, strict=True)]


def panel_with_clamp(finer: int = 1) -> tuple[Model, Array]:
    """Model and load (d, 1); the last node is the clamp's.

    Parameters
    ----------
    finer : int
        Elements of the coarse mesh are split into this many along each side.
    """
    inputs = check_cases()[NAME]["inputs"]
    xyz, (pan, near, far) = _sheet(inputs, finer)
    x, y, z = xyz.T
    E, B, H = inputs["E"] * 1e6, inputs["B"] / 1e3, inputs["H"] / 1e3
    steel = Material("steel", E, E / (2.0 * (1.0 + inputs["nu"])), 12e-6, 7850.0, 280e6)
    spacing, half = inputs["clip"] / 1e3, inputs["clip_half"] / 1e3
    clip = np.rint(x / spacing).astype(int)
    held = (np.abs(x - clip * spacing) < half + 1e-6) & (z < 1e-6) & ((y < 1e-6) | (y > B - 1e-6))
    grip = (y < 1e-6) & (z > inputs["zgrip"] / 1e3 - 1e-6)
    grip &= np.abs(x - inputs["xc"] / 1e3) < inputs["clamp_half"] / 1e3 + 1e-6
    gripped = np.flatnonzero(grip)
    dof = node_dof(np.flatnonzero(held))[:, :3].ravel()
    main = len(xyz)
    thickness = inputs["t"] / 1e3
    model = Model(
        xyz=np.concatenate([xyz, [[inputs["xc"] / 1e3, 0.0, H + inputs["ecc"] / 1e3]]]),
        shells=tuple(
            Shells(name, node, np.full(len(node), thickness), steel)
            for name, node in (("pan", pan), ("near leg", near), ("far leg", far))
        ),
        ties=Ties(
            fixed_dof=dof,
            fixed_value=np.zeros(len(dof)),
            rigid_main=np.full(len(gripped), main),
            rigid_node=gripped,
            rigid_part=np.tile([True, True, True, False, False, False], (len(gripped), 1)),
        ),
        sets={
            f"rib{side}_x{1e3 * at * spacing:.0f}": np.flatnonzero(
                held & (clip == at) & ((y > B / 2) == side)
            )
            for at in np.unique(clip[held])
            for side in (0, 1)
        },
    )
    load = np.zeros((model.dof_count, 1))
    load[6 * main] = inputs["Fx"]
    load[6 * main + 2] = inputs["Fz"]
    return model, load


def clip_forces(model: Model, reaction: Array) -> dict[str, Array]:
    """Reaction (3,) of every clip. [N]."""
    return {name: reaction[node_dof(nodes)[:, :3], 0].sum(axis=0) for name, nodes in model.sets.items()}


def panel_findings(*, quick: bool = False) -> list[Finding]:
    """Force of the clip that takes most, along and away from the roof, and how far the clamp moves."""
    case = check_cases()[NAME]
    expected = case["expected"]["reference"]
    found = []
    for mesh, finer in list(MESHES.items())[: 1 if quick else 2]:
        model, load = panel_with_clamp(finer)
        solution = solve_model(build_system(model), load)
        force = clip_forces(model, solution.reaction)["rib0_x1200"]
        moved = solution.displacement[6 * len(model.xyz) - 6 :, 0]
        words = {
            "source": "eight-node shells of CalculiX (S8R), 20,267 nodes",
            "mesh": f"{mesh}, {sum(len(s.node) for s in model.shells):,} quads",
        }
        for axis, name in ((0, "along the seam"), (2, "away from the roof")):
            reference = expected["clip_reactions_N"]["rib0_x1200"][axis]
            title = f"clip beside the clamp, force {name}"
            found.append(
                Finding(title, unit="N", value=float(force[axis]), reference=reference, bar=FORCE, **words)
            )
            title = f"clamp moves {name}"
            reference = expected["clamp_ref_u_mm"][axis]
            value = float(moved[axis]) * 1e3
            found.append(Finding(title, unit="mm", value=value, reference=reference, bar=MOVED, **words))
    return found
