"""Beams for the tests: random sections, chains, models and their solution."""

from __future__ import annotations

import numpy as np

from fea.elements.beam_data import Beams, BeamStiffness
from fea.model.assembly import build_system
from fea.model.data import Model, Ties
from fea.model.solution import solve_model

SOLID = BeamStiffness(4e7, np.diag([2e4, 5e4]), np.array([2e-7, 3e-7]), 8e3, 0.0, np.zeros(2), 12e-6)


def random_stiffness(rng, *, warping=True, eccentric=True):
    """A section with all that the element knows: coupled, off its shear center, warping."""
    EI_y, EI_z = 10.0 ** rng.uniform(3, 5, 2)
    EI_yz = rng.uniform(-0.8, 0.8) * np.sqrt(EI_y * EI_z)
    return BeamStiffness(
        axial=10.0 ** rng.uniform(6, 8),
        bending=np.array([[EI_y, EI_yz], [EI_yz, EI_z]]),
        shear=10.0 ** rng.uniform(-8, -5, 2),
        torsion=10.0 ** rng.uniform(2, 4),
        warping=10.0 ** rng.uniform(-1, 4) if warping else 0.0,
        center=rng.uniform(-0.1, 0.1, 2) if eccentric else np.zeros(2),
        alpha=0.0,
    )


def turned(rng):
    """A random rotation."""
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return q * np.linalg.det(q)


def group(node, stiff, axis_y=(0.0, 1.0, 0.0), offset=None, release=None, warp=None):
    node = np.asarray(node)
    m = len(node)
    return Beams(
        name="bar",
        node=node,
        stiffness=stiff,
        axis_y=np.broadcast_to(axis_y, (m, 3)),
        offset=np.zeros((m, 2, 3)) if offset is None else offset,
        release=np.zeros((m, 2, 7), dtype=bool) if release is None else release,
        warp=np.full((m, 2), -1) if warp is None else np.asarray(warp),
    )


def chain(n):
    return np.stack([np.arange(n), np.arange(1, n + 1)], axis=1)


def solve(xyz, beams, fixed, loads, **more):
    """Displacements (d, q) and reactions under nodal loads {dof: value or list of values}."""
    fixed = np.asarray(fixed)
    model = Model(np.asarray(xyz, dtype=float), (), (beams,), ties=Ties(fixed, np.zeros(len(fixed))), **more)
    q = max(np.size(value) for value in loads.values())
    F = np.zeros((model.dof_count, q))
    for dof, value in loads.items():
        F[dof] = value
    found = solve_model(build_system(model), F)
    return found.displacement, found.reaction
