"""The numbers that panels have limits for, read off many solutions at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.model.stress import spring_force
from fea.panel.mesh import Part
from fea.panel.model import PanelField, clip_nodes, fold_points
from fea.panel.reading import grip_length, peak_mean, sheet_stress

Array = NDArray[np.float64]

_PARTS = tuple(kind.name.lower() for kind in Part)
NUMBERS = ("clip uplift", "fold opening", "anchorage", *(f"stress in the {name}" for name in _PARTS))


def governing_numbers(field: PanelField, u: Array, force: Array, outside: Array) -> Array:
    """What the limits compare with strengths, for q solutions.

    Parameters
    ----------
    field : PanelField
    u : (d, q) float
        [m, rad]
    force : (c, q) float
        Of all contacts. [N]
    outside : (m, q) float
        What else hangs on the fixed points: weight of the sheet beyond the window. [N]

    Returns
    -------
    (n, q) float
        In the order of `NUMBERS`. [N, N/m, N, Pa]
    """
    stress = _stresses(field, u)
    return np.stack(
        [
            _uplift(field, force),
            _opening(field, u),
            _anchorage(field, u, outside),
            *(stress[name] for name in _PARTS),
        ]
    )


def _uplift(field: PanelField, force: Array) -> Array:
    """Largest uplift of a clip, (q,). [N]."""
    place, clip, _, _ = clip_nodes(field)
    net = np.zeros((field.strips * len(place), force.shape[1]))
    start = 0
    for group in field.model.contacts:
        own = force[start : start + len(group.node)]
        start += len(group.node)
        if group.name in ("clips", "clip bases"):
            np.add.at(net, clip, -group.normal[:, 2:] * own)
    return net.max(axis=0, initial=0.0)


def _springs(field: PanelField, name: str, u: Array) -> Array:
    """Forces (m, 6, q) of springs by name."""
    index = [springs.name for springs in field.model.springs].index(name)
    return spring_force(field.model, index, u)


def _opening(field: PanelField, u: Array) -> Array:
    """Largest mean opening of the clamp's fold over the grip length, (q,). [N/m]."""
    mesh, middle = field.mesh, field.strips // 2
    high = fold_points(mesh, field.detail, field.panel.seam_height)[0].shape[1]
    across = _springs(field, "lock", u)[:, 1].reshape(field.strips, len(mesh.x), high, -1)
    line = across[middle].sum(axis=1) / mesh.line_share()[:, None]
    over = grip_length(field)
    return np.array([peak_mean(mesh.x, value, over)[0] for value in np.maximum(line, 0.0).T])


def _anchorage(field: PanelField, u: Array, outside: Array) -> Array:
    """Largest force of a fixed point, (q,). [N]."""
    along = _springs(field, "fixed point", u)[:, 0]
    total = -along.reshape(field.strips, -1, u.shape[1]).sum(axis=1) + outside
    return np.asarray(np.abs(total).max(axis=0))


def _stresses(field: PanelField, u: Array) -> dict[str, Array]:
    """Largest von Mises stress (q,) of each part, as `fea.panel.reading.sheet_peaks`. [Pa]."""
    found = {name: np.zeros(u.shape[1]) for name in _PARTS}
    for index, shells in enumerate(field.model.shells):
        found[shells.name] = sheet_stress(field, index, u).max(axis=0)
    return found
