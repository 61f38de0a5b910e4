"""Finite element model of a test rig: a rail in the plane of its loads on clamps that slip, at any force.

Nodes stand at supports, loads and gauge, Timoshenko beams lie between them; an unsymmetric rail is held to
the plane of its loads. Clamps are springs that hold up to their slip force and then slide at it. The path to
where the rig holds no more is found event by event (`fea.solvers.events`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from fea.elements.beams import beam_stiffness, rail_stiffness
from fea.solvers.events import follow
from fea.solvers.laws import plastic
from fea.solvers.links import link_system
from roofmodel.project.rigs import Rig

Array = NDArray[np.float64]

SAME = 1e-6  # places nearer than this are one [m]
ALIKE = 1e-9  # shares that differ less than this are the same


@dataclass(frozen=True)
class RigModel:
    """A rig without its clamps.

    Attributes
    ----------
    K : (n, n) float
        Stiffness of rail and bearings.
    B : (c, n) float
        Movement of the clamps.
    load, gauge : (n,) float
        For a force of 1, and reading the displacement.
    frame : float
        Flexibility of the loading frame. [m/N]
    bend : (m, n) float or None
        Moments of the rail at the nodes, left and right; None without a rail. [N m]
    """

    K: Array
    B: Array
    load: Array
    gauge: Array
    frame: float
    bend: Array | None


def rig_model(rig: Rig, direction: str) -> RigModel:
    """Condense a rig; `direction` says about which axis the rail bends."""
    clamps = int(rig.clamp.sum())
    if rig.rail is None:
        one = np.ones(1)
        return RigModel(np.zeros((1, 1)), np.ones((1, 1)), one, one, 1.0 / rig.frame, None)
    x = np.unique(np.concatenate([rig.support, rig.load, [rig.gauge]]))
    x = x[np.append(True, np.diff(x) > SAME)]
    n = len(x)
    section = replace(rig.rail.section, I_yz=0.0, I_w=0.0, center_y=0.0, center_z=0.0)
    every = beam_stiffness(np.diff(x), rail_stiffness(replace(rig.rail, section=section)))
    dof = [1, 5, 7, 11] if direction == "along" else [2, 4, 8, 10]
    part = every[:, dof][:, :, dof]
    if direction != "along":  # turn right-handed about y: w falls where it rises
        sign = np.array([1.0, -1.0, 1.0, -1.0])
        part = part * sign[:, None] * sign
    K = np.zeros((2 * n, 2 * n))
    for e in range(n - 1):
        K[2 * e : 2 * e + 4, 2 * e : 2 * e + 4] += part[e]
    node = np.array([int(np.argmin(np.abs(x - s))) for s in rig.support])
    turns = 2 * node[rig.clamp] + 1
    K[turns, turns] += rig.turning
    gone = [2 * i for i, clamp in zip(node, rig.clamp, strict=True) if not clamp]
    gone += [
        2 * i + 1 for i, clamp, free in zip(node, rig.clamp, rig.turns, strict=True) if not clamp and not free
    ]
    keep = np.setdiff1d(np.arange(2 * n), gone)
    B = np.zeros((clamps, 2 * n))
    B[np.arange(clamps), 2 * node[rig.clamp]] = 1.0
    load, gauge = np.zeros(2 * n), np.zeros(2 * n)
    for s, share in zip(rig.load, rig.share, strict=True):
        load[2 * int(np.argmin(np.abs(x - s)))] += share
    gauge[2 * int(np.argmin(np.abs(x - rig.gauge)))] = 1.0
    bend = np.zeros((2 * (n - 1), 2 * n))
    for e in range(n - 1):
        bend[2 * e, 2 * e : 2 * e + 4] = part[e, 1]
        bend[2 * e + 1, 2 * e : 2 * e + 4] = part[e, 3]
    return RigModel(
        K[np.ix_(keep, keep)], B[:, keep], load[keep], gauge[keep], 1.0 / rig.frame, bend[:, keep]
    )


def flexibility(model: RigModel, stiffness: float) -> float:
    """Displacement at the gauge for a force of 1 while no clamp slips; inf for rigid clamps. [m/N]."""
    return float(model.gauge @ _moved(model, stiffness)) + model.frame


def clamp_shares(model: RigModel, stiffness: float) -> Array:
    """Force in each clamp for a force of 1, (c,)."""
    k = min(stiffness, 1e3 * _own(model))
    return np.asarray(k * (model.B @ _moved(model, stiffness)))


def least_share(rig: Rig) -> float:
    """Force that the most loaded clamp has at least, for a force of 1 on the rig, however clamps give way.

    The smallest largest clamp force that equilibrium of the rail allows (linear program); bearings of the rig
    and restraints of turning count as unlimited. Exact for statically determined rigs; 0 where bearings alone
    can hold the load.
    """
    if rig.rail is None:
        return 1.0
    n, arm = len(rig.support), rig.support - rig.support.mean()
    moment = _turning_held(rig).astype(float)
    equal = np.zeros((2, 2 * n + 1))
    equal[0, :n], equal[1, :n], equal[1, n : 2 * n] = 1.0, arm, moment
    bound = np.zeros((2 * n, 2 * n + 1))
    bound[:n, :n], bound[n:, :n] = np.diag(rig.clamp * 1.0), np.diag(rig.clamp * -1.0)
    bound[:, -1] = -1.0
    lever = float((rig.share * (rig.load - rig.support.mean())).sum())
    found = linprog(
        np.eye(2 * n + 1)[-1],
        A_ub=bound,
        b_ub=np.zeros(2 * n),
        A_eq=equal,
        b_eq=[float(rig.share.sum()), lever],
        bounds=[*[(None, None)] * (2 * n), (0.0, None)],
    )
    return 0.0 if found.x is None else float(found.x[-1])


def share_below_load(rig: Rig, model: RigModel, flexible: float) -> float:
    """Least force of a clamp right below the only load, for a force of 1, however all clamps give way.

    Rail and other clamps take the displacement there times the rail's stiffness on rigid other clamps at
    most, however these soften; exact where there are none.

    Parameters
    ----------
    rig : Rig
    model : RigModel
    flexible : float
        Displacement at the gauge over force. [m/N]

    Returns
    -------
    float
        0 where load and gauge do not stand at one clamp.
    """
    at = np.flatnonzero(np.abs(rig.support[rig.clamp] - rig.load[0]) < SAME)
    if len(rig.load) != 1 or not len(at) or abs(rig.gauge - rig.load[0]) > SAME:
        return 0.0
    own, others = _own(model), np.delete(model.B, at[0], axis=0)
    spring = 1e-6 * own  # so that a rail that nothing else holds can be solved
    held = model.K + 1e6 * own * others.T @ others + spring * np.outer(model.load, model.load)
    rail = 1.0 / float(model.load @ np.linalg.solve(held, model.load)) - spring
    return float(np.clip(1.0 - flexible * rail, 0.0, 1.0))


def shares_out(rig: Rig) -> bool:
    """Whether several clamps can take over from one that gives way: more of them than equilibrium needs."""
    return rig.rail is not None and rig.clamp.sum() > 1 and len(rig.support) + _turning_held(rig).sum() > 2


def _turning_held(rig: Rig) -> NDArray[np.bool_]:
    """Supports (s,) that restrain the rail's turning."""
    return np.where(rig.clamp, rig.turning > 0.0, ~rig.turns)


def _own(model: RigModel) -> float:
    """Stiffness of the rail's own size. [N/m]."""
    return float(np.abs(np.diag(model.K)).max(initial=0.0)) or 1e9


def _moved(model: RigModel, stiffness: float) -> Array:
    k = min(stiffness, 1e3 * _own(model))
    return np.asarray(np.linalg.solve(model.K + k * model.B.T @ model.B, model.load))


def rig_curve(model: RigModel, stiffness: float, slip: float) -> tuple[Array, Array]:
    """Displacement at the gauge and force, (t,) both, at the events of one test; beyond them force stays.

    Parameters
    ----------
    model : RigModel
    stiffness, slip : float
        Of one clamp. [N/m, N]
    """
    share = clamp_shares(model, stiffness)
    most = float(np.abs(share).max())
    if slips_at_once(model, share):
        top = slip / most
        return np.array([0.0, flexibility(model, stiffness) * top]), np.array([0.0, top])
    laws = plastic(np.full(len(share), stiffness), slip)
    system = link_system(model.K, model.B, laws.stiffness)
    target = 50.0 * slip / most
    path = follow(system, laws, model.load[None], targets=np.array([target]))
    force = path.path_factor
    moved = path.path_displacement(system, model.load[None], targets=np.array([target])) @ model.gauge
    return moved + model.frame * force, force


def slips_at_once(model: RigModel, share: Array) -> bool:
    """Whether all clamps reach their slip force together and nothing else holds the rail then."""
    size = np.abs(share)
    if np.ptp(size) > ALIKE * float(size.max()):
        return False
    return bool(np.linalg.matrix_rank(model.K) < len(model.K))


def largest_moment(model: RigModel, stiffness: float, force: float) -> float:
    """Largest moment of the rail at a force while no clamp slips; 0 without a rail. [N m]."""
    if model.bend is None:
        return 0.0
    return force * float(np.abs(model.bend @ _moved(model, stiffness)).max())


def force_at(curve: tuple[Array, Array], moved: Array) -> Array:
    """Force of a rig's curve at displacements; none before its start, that of its end beyond it."""
    u, force = curve
    keep = np.append(True, np.diff(u) > 0.0)
    return np.interp(moved, u[keep], force[keep])
