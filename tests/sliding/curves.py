"""Sliding on vaults, domes and cones against integrals over the smooth surface, built of facets.

With vertical load p per plan area and slope theta, each meter of an eave receives the integral of
p sin(theta) over the plan above it (EN 1991-1-3 6.4 for a plane, summed over the curve; statics):

- vault of radius R, sin(theta) = x / R: p x_e^2 / (2 R);
- dome, sin(theta) = r / R, sectors narrow toward the crown: p r_e^2 / (3 R);
- cone, one slope: p r_e sin(theta) / 2.
"""

from __future__ import annotations

import numpy as np

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.thrust import slide
from tests.geometry.curved_meshes import circle_of
from tests.sliding.roofs import force_per_row, rectangle, rows, uniform

P = 1000.0  # [Pa]
REACH = 6.0  # [m]
PITCH = np.radians(35.0)
RISE = 2.5


def circle(count):
    turn = 2.0 * np.pi * np.arange(count) / count
    return REACH * np.column_stack([np.cos(turn), np.sin(turn)])


def built(kind, n):
    if kind == "vault":
        return build_roof([RoofPart("vault", rectangle(16.0, 2.0 * REACH), rise=RISE, facets=n)])
    if kind == "dome":
        return build_roof([RoofPart("dome", circle(n), rise=RISE, rings=n // 4)])
    return build_roof([RoofPart("hip", circle(n), np.full(n, PITCH))])


def exact(kind, reach=REACH):
    """Force on all eaves of the smooth roof. [N]."""
    radius = circle_of(2.0 * REACH, RISE)
    if kind == "vault":
        return 2.0 * 16.0 * P * reach**2 / (2.0 * radius)
    if kind == "dome":
        return 2.0 * np.pi * reach * P * reach**2 / (3.0 * radius)
    return 2.0 * np.pi * reach * P * reach * np.sin(PITCH) / 2.0


def at_eaves(roof):
    """Force on rows along all eaves. [N]."""
    eaves = [e for e, kind in enumerate(roof.edges.kind) if kind == "eave" and roof.edges.length[e] > 0.3]
    names = sorted({roof.planes.name[p] for p in roof.edges.plane[eaves, 0]})
    layout = rows(roof, *({"plane": name, "up": "0 m"} for name in names))
    force = slide(roof, (uniform(roof, P),), layout)[1]
    assert force.balance.error.max() < 1e-12
    return float(force_per_row(layout, force).sum())
