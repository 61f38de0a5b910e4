"""Loads of a model on its degrees of freedom: (d, q) for q load cases, of all elements at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.shells import body_load, pressure_load, thermal_load
from fea.model.data import Model, Shells, node_dof

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def scatter(count: int, dof: IntArray, values: Array) -> Array:
    """Sum of element loads (m, k, q) on degrees of freedom (m, k), to (count, q)."""
    flat = np.ravel(dof)
    index = (flat, np.arange(len(flat)))
    collect = sparse.coo_array((np.ones(len(flat)), index), shape=(count, len(flat)))
    return np.asarray(collect.tocsr() @ np.reshape(values, (len(flat), -1)))


def _shell_dof(shells: Shells) -> IntArray:
    return node_dof(shells.node).reshape(len(shells.node), -1)


def pressure(model: Model, group: int, value: Array) -> Array:
    """Pressure on shells along their normals.

    Parameters
    ----------
    model : Model
    group : int
        Place in `model.shells`.
    value : (m, q) float
        Of every element of the group, positive along its normal. [Pa]

    Returns
    -------
    (d, q) float
        [N, N m]
    """
    shells = model.shells[group]
    nodal = pressure_load(model.xyz[shells.node], value)
    return scatter(model.dof_count, _shell_dof(shells), nodal)


def traction(model: Model, group: int, value: Array) -> Array:
    """Force per area (3, q) [Pa] in global axes on all shells of a group, (d, q). [N, N m]."""
    shells = model.shells[group]
    nodal = body_load(model.xyz[shells.node], np.ones(len(shells.node)), value)
    return scatter(model.dof_count, _shell_dof(shells), nodal)


def beam_line(model: Model, group: int, value: Array) -> Array:
    """Uniform line load on beams.

    Parameters
    ----------
    model : Model
    group : int
        Place in `model.beams`.
    value : (m, 3, q) float
        Force per length along global x, y, z on the line between the beam's ends. [N/m]

    Returns
    -------
    (d, q) float
        [N, N m]
    """
    from fea.elements.beams import beam_line_load

    beams = model.beams[group]
    nodal = beam_line_load(model.xyz[beams.node], beams, value)
    first = 6 * len(model.xyz)
    warp = np.where(beams.warp >= 0, first + beams.warp, 0)
    nodal[:, 12:][beams.warp < 0] = 0.0
    dof = np.concatenate([node_dof(beams.node).reshape(-1, 12), warp], axis=1)
    return scatter(model.dof_count, dof, nodal)


def gravity(model: Model, g: Array) -> Array:
    """Weight of shells and beams.

    Parameters
    ----------
    model : Model
    g : (3, q) float
        Acceleration along global x, y, z, such as (0, 0, -9.80665). [m/s^2]

    Returns
    -------
    (d, q) float
        [N, N m]
    """
    total = np.zeros((model.dof_count, g.shape[1]))
    for s in model.shells:
        nodal = body_load(model.xyz[s.node], s.thickness, s.material.density * g)
        total += scatter(model.dof_count, _shell_dof(s), nodal)
    for i, beams in enumerate(model.beams):
        if beams.stiffness.mass > 0.0:
            line = np.broadcast_to(beams.stiffness.mass * g, (len(beams.node), *g.shape))
            total += beam_line(model, i, line)
    return total


def thermal(model: Model, rise: Array, gradient: Array | None = None) -> Array:
    """Loads of a change of temperature of all shells.

    Parameters
    ----------
    model : Model
    rise : (q,) float
        [K]
    gradient : (q,) float, optional
        Through the thickness, positive when the face the normal points from is warmer. [K/m]

    Returns
    -------
    (d, q) float
        [N, N m]
    """
    slope = np.zeros_like(rise) if gradient is None else gradient
    total = np.zeros((model.dof_count, len(rise)))
    for s in model.shells:
        shape = (len(s.node), len(rise))
        even, lean = np.broadcast_to(rise, shape), np.broadcast_to(slope, shape)
        nodal = thermal_load(model.xyz[s.node], s.thickness, s.material, even, lean)
        total += scatter(model.dof_count, _shell_dof(s), nodal)
    return total
