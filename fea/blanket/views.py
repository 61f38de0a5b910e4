"""One view of the layer: its state of bond and cracks, solved on a coarse and then on a fine mesh.

What depends on what has happened (cells that cracked, bond that is lost, snow that packed) is found on the
coarse mesh by solving again until nothing new happens, and carried to the fine one; it only ever grows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.blanket.data import Contacts, Interface, Layer, Snow, State, Structure
from fea.blanket.elements import strains
from fea.blanket.equilibrium import Pattern, Problem, make_pattern, solve
from fea.blanket.holding import fixed_contacts, join, locate, row_contacts, stop_contacts
from fea.blanket.setting import Setting
from fea.blanket.snow import LITTLE, even_snow, make_snow, packed
from roofmodel.project.blanket_schema import BondTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bond = tuple[tuple[BondTable, ...], tuple[str, float] | None]  # what is bonded, and the thaw front

ROUNDS = 6  # times that cracks and lost bond are looked for again
OPEN = 3.0  # a cell cracks once its elastic tension is this many times its strength (judgment) [-]
GIVEN_UP = 1.0 - 1e-6  # part of its limit at which a bond has given way [-]
LEAST_REACH = 0.01  # [m]
GONE = 1.0 / 3.0  # further motion than the reach, over it, at which the bed takes everything [-]


@dataclass(frozen=True)
class View:
    """The layer in one state.

    Attributes
    ----------
    name, words : str
    layer : Layer
    snow : Snow
        With cracks and packing.
    interface : Interface
    contacts : Contacts
    structure : Structure
    state : State
    cracked : (m,) bool
    lost : (n,) bool
        Nodes whose bond gave way in this view.
    station : (k,) int
        Station of every contact with a rail, -1 for others; (k,) as the contacts.
    rounds : int
        How often the layer was solved.
    """

    name: str
    words: str
    layer: Layer
    snow: Snow
    interface: Interface
    contacts: Contacts
    structure: Structure
    state: State
    cracked: NDArray[np.bool_]
    lost: NDArray[np.bool_]
    station: IntArray
    rounds: int


@dataclass(frozen=True)
class _Held:
    """What has happened in the layer: by cell and by node."""

    cracked: NDArray[np.bool_]
    density: Array
    lost: NDArray[np.bool_]


@dataclass(frozen=True)
class Mesh:
    """A layer with its contacts and pattern, once for all views."""

    layer: Layer
    contacts: Contacts
    station: IntArray
    structure: Structure
    pattern: Pattern


def make_mesh(setting: Setting, layer: Layer) -> Mesh:
    """Contacts of a layer and the pattern of its matrix."""
    snow = make_snow(setting.choice, np.full(len(layer.corner), setting.choice.density))
    rails, station = row_contacts(layer, snow, setting.layout, setting.stations, setting.face)
    first = len(setting.structure.load) - setting.stops.count
    single, _ = stop_contacts(layer, snow, setting.stops, first, setting.face, setting.step)
    others = fixed_contacts(layer, snow, setting.roof, setting.step)
    contacts = join([rails, single, others])
    of = np.concatenate([station, np.full(len(contacts.dof) - len(station), -1)])
    problem = Problem(layer, snow, _face(layer, 0.0, 1.0), contacts, setting.structure, *bed(setting, layer))
    return Mesh(layer, contacts, of, setting.structure, make_pattern(problem))


def bed(setting: Setting, layer: Layer) -> tuple[float, float]:
    """Stiffness [N/m^3] of the bed that takes snow which has gone, and the motion [m] from where it does.

    Twice what the layer and the rails can give while they hold it.
    """
    pull = float(np.abs(layer.force).sum() / layer.area.sum())
    length = float(max(np.ptp(layer.node[layer.node_plane == p, 1]) for p in np.unique(layer.node_plane)))
    young, depth = float(even_snow(setting.choice).young[0]), layer.mean_depth
    reach = max(2.0 * pull * length * (0.5 * length / (young * depth) + 1.0 / setting.softest), LEAST_REACH)
    return pull / (reach * GONE), reach


def _face(layer: Layer, friction: float, stiffness: float, bond: Array | float = 0.0) -> Interface:
    """An interface with friction, and with bond (n,) where there is one. [N]."""
    held = bond + np.zeros(len(layer.node))
    limit = friction * layer.pressing + held
    return Interface(np.where(limit > 0.0, stiffness * layer.area, 0.0), limit, held)


def bonded(setting: Setting, layer: Layer, bond: Bond) -> Array:
    """Bond strength at every node, (n,). [Pa].

    The front says from where the bond has thawed ("eave" or "ridge") and over which part of each plane.
    """
    parts, front = bond
    found = np.zeros(len(layer.node))
    for part in parts:
        plane = setting.roof.planes.name.index(part.plane)
        left, low, _, high = setting.roof.planes.outline[plane].bounds
        u, v = layer.node[:, 0] - left, layer.node[:, 1] - low
        inside = (layer.node_plane == plane) & (v >= part.low - 1e-9)
        inside &= v <= (np.inf if part.high is None else part.high) + 1e-9
        inside &= u >= (-np.inf if part.left is None else part.left) - 1e-9
        inside &= u <= (np.inf if part.right is None else part.right) + 1e-9
        if front is not None:
            at = front[1] * (high - low)
            inside &= v > at if front[0] == "eave" else v < (high - low) - at
        found[inside] = np.maximum(found[inside], part.strength)
    return found


def solve_view(
    setting: Setting,
    meshes: tuple[Mesh, ...],
    name: str,
    words: str,
    *,
    cracked: bool,
    bond: Bond,
    tell: Callable[[int], None] | None = None,
) -> View:
    """Solve the layer in one state, on a coarse mesh first if there are two.

    Parameters
    ----------
    setting : Setting
    meshes : tuple of Mesh
        Coarse first; or the only one.
    name, words : str
    cracked : bool
        Whether the layer holds no tension from the start.
    bond : parts of planes that are bonded, and the thaw front
    tell : callable, optional
        Is told the number of steps done on a mesh.
    """
    coarse = meshes[0]
    happened = _Held(
        np.zeros(len(coarse.layer.corner), dtype=bool),
        np.full(len(coarse.layer.corner), setting.choice.density),
        np.zeros(len(coarse.layer.node), dtype=bool),
    )
    start: Array | None = None
    rounds = 0
    for _ in range(ROUNDS):
        problem = _problem(setting, coarse, happened, cracked, bond)
        state = solve(problem, coarse.pattern, start, tell)
        start = np.concatenate([state.moved.ravel(), state.structure])
        rounds += 1
        after = _after(setting, problem, state, happened, cracked)
        same = np.array_equal(after.cracked, happened.cracked) and np.array_equal(after.lost, happened.lost)
        packs = (
            rounds == 1 and len(meshes) == 1 and not np.allclose(after.density, happened.density, rtol=0.02)
        )
        if same and not packs:
            break
        happened = after
    mesh = coarse
    for mesh in meshes[1:]:
        happened = _carried(coarse.layer, mesh.layer, happened)
        problem = _problem(setting, mesh, happened, cracked, bond)
        begin = None
        if not cracked:  # snow without tension is not smooth enough
            moved = _moved(coarse.layer, mesh.layer, state.moved)
            begin = np.concatenate([moved.ravel(), state.structure])
        state = solve(problem, mesh.pattern, begin, tell)
        rounds += 1
    return View(
        name=name,
        words=words,
        layer=mesh.layer,
        snow=problem.snow,
        interface=problem.interface,
        contacts=mesh.contacts,
        structure=mesh.structure,
        state=state,
        cracked=happened.cracked,
        lost=happened.lost,
        station=mesh.station,
        rounds=rounds,
    )


def _problem(
    setting: Setting,
    mesh: Mesh,
    happened: _Held,
    cracked: bool,
    bond: Bond,
) -> Problem:
    layer = mesh.layer
    snow = make_snow(setting.choice, happened.density, cracked=cracked)
    tension = np.where(happened.cracked, LITTLE, 1.0) * snow.strength.tension
    snow = replace(snow, strength=replace(snow.strength, tension=tension))
    adhesion = np.where(happened.lost, 0.0, bonded(setting, layer, bond) * layer.area)
    face = _face(layer, setting.friction, interface_stiffness(setting, layer), adhesion)
    return Problem(layer, snow, face, mesh.contacts, mesh.structure, *bed(setting, layer))


def interface_stiffness(setting: Setting, layer: Layer) -> float:
    """Of the lower half of the layer in shear, 2 G / d, before the interface slips (judgment). [N/m^3]."""
    young = float(even_snow(setting.choice).young[0])
    return young / (1.0 + setting.choice.poisson) / layer.mean_depth


def _after(setting: Setting, problem: Problem, state: State, before: _Held, cracked: bool) -> _Held:
    """What else has happened at the end of a round."""
    layer = problem.layer
    strain = strains(state.moved, layer.corner, layer.size).mean(axis=1)
    mean, half = strain[:, 0] + strain[:, 1], np.hypot(strain[:, 0] - strain[:, 1], strain[:, 2])
    young, nu = problem.snow.young, problem.snow.poisson
    largest = 0.5 * young * (mean / (1.0 - nu) + half / (1.0 + nu))
    opens = (largest > OPEN * problem.snow.strength.tension) & ~before.cracked & (not cracked)
    given = np.linalg.norm(state.held, axis=1) >= GIVEN_UP * problem.interface.limit
    lost = before.lost | (given & (problem.interface.bond > 0.0))
    size = np.linalg.norm(state.moved, axis=1)
    here = size[layer.corner].max(axis=1) <= problem.reach  # what has gone packs nothing
    dense = np.where(here, packed(setting.choice.density, -mean), before.density)
    return _Held(before.cracked | opens, np.maximum(before.density, dense), lost)


def _moved(coarse: Layer, fine: Layer, moved: Array) -> Array:
    """Motions of the nodes of another mesh, (n, 2); beyond the cells those of the nearest node. [m]."""
    from scipy.spatial import cKDTree

    far = 10.0 * (float(np.ptp(coarse.node, axis=0).max()) + 1.0)

    def at(layer: Layer) -> Array:
        return np.column_stack([layer.node, far * layer.node_plane])

    found = moved[cKDTree(at(coarse)).query(at(fine))[1]]
    point, share, cell = locate(coarse, fine.node_plane, fine.node)
    found[point] = np.einsum("kc,kci->ki", share, moved[coarse.corner[cell]])
    return np.asarray(found)


def _carried(coarse: Layer, fine: Layer, happened: _Held) -> _Held:
    """What has happened, on another mesh of the same roof."""
    cracked = np.zeros(len(fine.corner), dtype=bool)
    density = np.full(len(fine.corner), happened.density.min())
    point, _, cell = locate(coarse, fine.plane, fine.center)
    cracked[point], density[point] = happened.cracked[cell], happened.density[cell]
    lost = np.zeros(len(fine.node), dtype=bool)
    point, share, cell = locate(coarse, fine.node_plane, fine.node)
    lost[point] = happened.lost[coarse.corner[cell, share.argmax(axis=1)]]
    return _Held(cracked, density, lost)
