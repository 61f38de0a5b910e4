"""Forces on the degrees of freedom of a model: (d, q) for q load cases, before ties."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.shells import body_load, pressure_load, thermal_load
from fea.model.beam_loads import axial_warmth, beam_nodes, beam_weight
from fea.model.data import Model, Shells, node_dof
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CHUNK = 4096  # elements worked off together
CHUNK_BYTES = 32e6  # of their loads at a time


def _chunks(elements: int, width: int) -> Iterator[slice]:
    """Slices of elements whose loads of `width` numbers each stay within the memory for a chunk."""
    step = min(max(int(CHUNK_BYTES / (8.0 * max(width, 1))), 1), CHUNK)
    return (slice(i, i + step) for i in range(0, elements, step))


def _gathered(model: Model, node: IntArray, cases: int, load: Callable[[slice], Array]) -> Array:
    """Sum of element loads (c, 6 k, q), made a slice of elements at a time, on the nodes (m, k)."""
    total = np.zeros((model.dof_count, cases))
    for part in _chunks(len(node), 6 * node.shape[1] * cases):
        dof = node_dof(node[part]).ravel()
        values = load(part).reshape(len(dof), cases)
        if cases == 1:
            total[:, 0] += np.bincount(dof, values[:, 0], model.dof_count)
            continue
        place, local = np.unique(dof, return_inverse=True)
        shape = (len(place), len(dof))
        collect = sparse.coo_array((np.ones(len(dof)), (local, np.arange(len(dof)))), shape=shape)
        total[place] += np.asarray(collect.tocsr() @ values)
    return total


def _named(model: Model, groups: tuple[str, ...] | None) -> tuple[list[int], list[int]]:
    """Indices of the groups of shells and beams with these names, all for None."""
    known = [s.name for s in model.shells] + [b.name for b in model.beams]
    missing = [] if groups is None else [name for name in groups if name not in known]
    if missing:
        message = f"loads: there is no group '{missing[0]}'; the groups are {', '.join(known)}."
        raise InputError(message)
    shells = [i for i, s in enumerate(model.shells) if groups is None or s.name in groups]
    return shells, [i for i, b in enumerate(model.beams) if groups is None or b.name in groups]


def pressure(model: Model, group: int, value: Array) -> Array:
    """Pressure along the normals of a group of shells.

    Parameters
    ----------
    model : Model
    group : int
        Index in `model.shells`.
    value : (m, q) or (q,) float
        Positive along the element's normal; (q,) for the same on all elements. [Pa]

    Returns
    -------
    (d, q) float
        [N, N m]
    """
    node = model.shells[group].node
    value = np.broadcast_to(value, (len(node), value.shape[-1]))
    return _gathered(model, node, value.shape[1], lambda c: pressure_load(model.xyz[node[c]], value[c]))


def traction(model: Model, group: int, value: Array) -> Array:
    """Force per area of sheet (3, q) in global axes on a group of shells, (d, q). [Pa to N, N m]."""
    node = model.shells[group].node
    ones = np.ones(len(node))
    return _gathered(model, node, value.shape[1], lambda c: body_load(model.xyz[node[c]], ones[c], value))


def _shell_weight(model: Model, s: Shells, g: Array) -> Array:
    def load(c: slice) -> Array:
        return body_load(model.xyz[s.node[c]], s.thickness[c], s.material.density * g)

    return _gathered(model, s.node, g.shape[1], load)


def _shell_warmth(model: Model, s: Shells, rise: Array, gradient: Array) -> Array:
    even, lean = (np.broadcast_to(x, (len(s.node), len(rise))) for x in (rise, gradient))

    def load(c: slice) -> Array:
        return thermal_load(model.xyz[s.node[c]], s.thickness[c], s.material, even[c], lean[c])

    return _gathered(model, s.node, len(rise), load)


def gravity(model: Model, g: Array, groups: tuple[str, ...] | None = None) -> Array:
    """Own weight of shells and beams.

    Parameters
    ----------
    model : Model
    g : (3, q) float
        Acceleration of gravity; (0, 0, -9.80665) for z up. [m/s^2]
    groups : tuple of str, optional
        Names of groups of shells and beams; all for None.

    Returns
    -------
    (d, q) float
        [N, N m]
    """
    g = np.asarray(g, dtype=float)
    total = np.zeros((model.dof_count, g.shape[1]))
    shells, beams = _named(model, groups)
    for i in shells:
        total += _shell_weight(model, model.shells[i], g)
    for i in beams:
        total += beam_nodes(model, i, beam_weight(model, i, g))
    return total


def thermal(
    model: Model, rise: Array, gradient: Array | None = None, groups: tuple[str, ...] | None = None
) -> Array:
    """Loads of a change of temperature of shells and beams.

    Parameters
    ----------
    model : Model
    rise : (q,) float
        Mean change. [K]
    gradient : (q,) float, optional
        Change along the normals of shells, the side the normal points to hotter positive. [K/m]
    groups : tuple of str, optional
        Names of groups of shells and beams; all for None.

    Returns
    -------
    (d, q) float
        Loads that give free parts their free expansion; for stresses take the same change into
        `fea.model.stress.shell_stress`. [N, N m]
    """
    rise = np.asarray(rise, dtype=float)
    slope = np.zeros_like(rise) if gradient is None else np.asarray(gradient, dtype=float)
    total = np.zeros((model.dof_count, len(rise)))
    shells, beams = _named(model, groups)
    for i in shells:
        total += _shell_warmth(model, model.shells[i], rise, slope)
    for i in beams:
        total += beam_nodes(model, i, axial_warmth(model, i, rise))
    return total


def nodal(model: Model, node: IntArray, force: Array) -> Array:
    """Forces and moments (k, 6) or (k, 6, q) on nodes (k,), global axes, (d, q). [N, N m]."""
    force = np.asarray(force, dtype=float).reshape(len(node), 6, -1)
    return _gathered(model, np.asarray(node)[:, None], force.shape[2], lambda c: force[c])
