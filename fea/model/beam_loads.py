"""Loads on groups of beams with arms and releases, and the forces at their ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.elements.beam_loads import linear_load_vectors
from fea.elements.beams import LocalBeams, local_beams
from fea.model.data import Model, node_dof

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def _local(model: Model, group: int) -> LocalBeams:
    beams = model.beams[group]
    return local_beams(model.xyz[beams.node], beams)


def line_load(model: Model, group: int, first: Array, second: Array | None = None) -> Array:
    """Line loads on the centroids of a group of beams, linear from end to end, as loads in their own axes.

    Parameters
    ----------
    model : Model
    group : int
        Index in `model.beams`.
    first : (m, 3, q) or (3, q) float
        Force per length at the first ends, global axes. [N/m]
    second : (m, 3, q) or (3, q) float, optional
        At the second ends; as at the first ends for None.

    Returns
    -------
    (m, w, q) float
        For `beam_nodes` and `beam_end_forces`, before releases. [N, N m]
    """
    local = _local(model, group)
    vectors = linear_load_vectors(np.zeros_like(local.length), local.length, local.length, local.stiff)
    ends = (first, first if second is None else second)
    parts = [vectors[:, :, :3, end] @ (local.axes @ value) for end, value in enumerate(ends)]
    return np.asarray(parts[0] + parts[1])


def axial_warmth(model: Model, group: int, rise: Array) -> Array:
    """Loads of a change of temperature (q,) of a group of beams [K], as those of `line_load`."""
    local = _local(model, group)
    load = np.zeros((len(local.length), local.stiff.width, len(rise)))
    load[:, 6] = local.stiff.axial * local.stiff.alpha * np.asarray(rise)
    load[:, 0] = -load[:, 6]
    return load


def beam_weight(model: Model, group: int, g: Array) -> Array:
    """Own weight of a group of beams under gravity (3, q) [m/s^2], as `line_load`."""
    return line_load(model, group, model.beams[group].stiffness.mass * g)


def _held(local: LocalBeams, load: Array) -> Array:
    """Loads that reach the ends when released parts give way."""
    return np.asarray(load - local.K @ (local.slack @ load))


def _beam_dof(model: Model, group: int) -> IntArray:
    """Degrees of freedom (m, 14), `model.dof_count` for warping that is not there."""
    beams = model.beams[group]
    warp = np.where(beams.warp >= 0, 6 * len(model.xyz) + beams.warp, model.dof_count)
    return np.concatenate([node_dof(beams.node).reshape(len(beams.node), 12), warp], axis=1)


def beam_nodes(model: Model, group: int, load: Array) -> Array:
    """Forces on all degrees of freedom (d, q) of loads (m, w, q) in the axes of a group's beams. [N, N m]."""
    local = _local(model, group)
    moved = np.swapaxes(local.turn, 1, 2) @ _held(local, load)
    total = np.zeros((model.dof_count + 1, load.shape[2]))
    np.add.at(total, _beam_dof(model, group)[:, : moved.shape[1]], moved)
    return total[:-1]


def beam_end_forces(model: Model, group: int, u: Array, load: Array | None = None) -> Array:
    """Forces on the ends of a group of beams in their own axes.

    Parameters
    ----------
    model : Model
    group : int
        Index in `model.beams`.
    u : (d, q) float
        Displacements. [m, rad]
    load : (m, w, q) float, optional
        Loads on the beams that were solved for, summed, from `line_load` and its like.

    Returns
    -------
    (m, 14, q) float
        What the nodes' arms put on the first end, then on the second: forces along local x, y, z and
        moments about them at the centroid; then the bimoments at both ends. Zero where released.
        [N, N m, N m^2]
    """
    local = _local(model, group)
    width = local.stiff.width
    moved = np.concatenate([u, np.zeros((1, u.shape[1]))])[_beam_dof(model, group)[:, :width]]
    force = local.K @ (local.turn @ moved)
    if load is not None:
        force -= load
    forces = np.zeros((len(force), 14, u.shape[1]))
    forces[:, :width] = force - local.K @ (local.slack @ force)
    return forces
