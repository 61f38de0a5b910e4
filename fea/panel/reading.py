"""What a solved panel says: who takes the clamp's force, what the fold carries, where the sheet is hot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import cKDTree

from fea.model.stress import shell_stress, spring_force
from fea.panel.mesh import Part
from fea.panel.model import LAYERS, PanelField, clip_nodes, fold_points

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


PATCH = 0.01  # reach of the mean that is taken of stress around a place, judgment [m]


@dataclass(frozen=True)
class LoadPath:
    """Who takes the force at the clamp; forces on the panel, seam axes.

    Attributes
    ----------
    clip_x : (k,) float
        Clips along the seams, middles. [m]
    clip : (m, k, 3) float
        What each clip of each strip takes more than under snow and own weight alone. [N]
    clip_total : (m, k, 3) float
        What each clip takes in all. [N]
    fixed : (m,) float
        Along, at the fixed point of each strip, positive up the slope, in all. [N]
    fixed_more : (m,) float
        The clamp's part of it. [N]
    fixings : (3,) float
        Through-fixings, the clamp's part. [N]
    bearing : float
        Change of the push of deck or purlins (negative: relieved). [N]
    bearing_total : float
        [N]
    """

    clip_x: Array
    clip: Array
    clip_total: Array
    fixed: Array
    fixed_more: Array
    fixings: Array
    bearing: float
    bearing_total: float

    @property
    def clip_uplift(self) -> float:
        """Largest uplift of a clip. [N]."""
        return float(np.max(-self.clip_total[..., 2], initial=0.0))

    @property
    def anchorage(self) -> float:
        """Largest force of a fixed point. [N]."""
        return float(np.abs(self.fixed).max(initial=0.0))

    @property
    def taken(self) -> Array:
        """Sum of all that takes the clamp's force, (3,). [N]."""
        total = self.clip.sum(axis=(0, 1)) + self.fixings
        total[0] -= self.fixed_more.sum()
        total[2] += self.bearing
        return np.asarray(total)


@dataclass(frozen=True)
class FoldForces:
    """Forces of the fold of the clamp's seam per length, line by line.

    Attributes
    ----------
    x : (l,) float
        [m]
    sliding, opening, vertical : (l,) float
        Between the two legs: along, across (opening positive) and square to the roof. [N/m]
    pull : (l,) float
        Tension in both legs below the fold, away from the roof positive. [N/m]
    over : float
        Length that peaks are averaged over: the clamp's grip. [m]
    """

    x: Array
    sliding: Array
    opening: Array
    vertical: Array
    pull: Array
    over: float

    @property
    def peak_sliding(self) -> float:
        """Largest mean sliding over the grip length. [N/m]."""
        return peak_mean(self.x, np.abs(self.sliding), self.over)[0]

    @property
    def peak_opening(self) -> float:
        """Largest mean opening over the grip length, parts that press left out. [N/m]."""
        return peak_mean(self.x, np.maximum(self.opening, 0.0), self.over)[0]

    @property
    def peak_pull(self) -> float:
        """Largest mean tension below the fold over the grip length. [N/m]."""
        return peak_mean(self.x, np.maximum(self.pull, 0.0), self.over)[0]


@dataclass(frozen=True)
class SheetPeaks:
    """Largest von Mises stress of each part, a mean over `PATCH` of sheet, on either face.

    A rigid grip has corners at which the stress of a fine mesh grows without end. The mean over a patch has a
    limit; what is more local is left to the tests of the clamp on its seam (judgment).

    Attributes
    ----------
    name : tuple of str, (p,)
    stress : (p,) float
        [Pa]
    place : (p, 3) float
        [m]
    local : (p,) float
        Largest in the middle of a single element, which grows with every finer mesh beside a rigid grip. [Pa]
    spread : (p,) float
        Area of sheet that is above nine tenths of the peak: a corner that grows with every finer mesh keeps
        almost none. [m^2]
    """

    name: tuple[str, ...]
    stress: Array
    place: Array
    local: Array
    spread: Array


def peak_mean(x: Array, value: Array, over: float) -> tuple[float, float]:
    """Largest mean of a line load over a length, and the middle of where it is."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (value[1:] + value[:-1]) * np.diff(x))])
    over = min(over, float(x[-1] - x[0]))
    start = np.unique(np.clip(np.concatenate([x, x - over]), x[0], x[-1] - over))
    mean = (np.interp(start + over, x, total) - np.interp(start, x, total)) / over
    best = int(np.argmax(mean))
    return float(mean[best]), float(start[best] + 0.5 * over)


def leg_overlap(field: PanelField, u: Array) -> float:
    """Most that the two legs of a seam pass through each other, 0 for none. [m].

    They start face to face, and the model has no contact between them: where they move toward each other the
    seam is taken too soft.
    """
    section = field.mesh.section
    strip, line = np.arange(field.strips)[:, None, None], np.arange(len(field.mesh.x))[:, None]
    left, right = (u[6 * field.node(strip, line, leg) + 1] for leg in (section.left, section.right))
    return float(np.max(left - right, initial=0.0))


def _spring_index(field: PanelField, name: str) -> int | None:
    names = [s.name for s in field.model.springs]
    return names.index(name) if name in names else None


def _ground_force(field: PanelField, name: str, u: Array) -> Array:
    """Forces (m, 3) that springs to the ground put on the panel."""
    index = _spring_index(field, name)
    if index is None:
        return np.zeros((0, 3))
    return np.asarray(spring_force(field.model, index, u[:, None])[:, :3, 0])


def _contact_force(field: PanelField, name: str, force: Array) -> Array:
    """Forces (m, 3) of a group of contacts on the panel."""
    start = 0
    for group in field.model.contacts:
        if group.name == name:
            return np.asarray(group.normal * force[start : start + len(group.node), None])
        start += len(group.node)
    return np.zeros((0, 3))


def _clip_force(field: PanelField, u: Array, force: Array) -> Array:
    place, clip, _, _ = clip_nodes(field)
    out = np.zeros((field.strips * len(place), 3))
    for part in (
        _ground_force(field, "clips", u),
        _contact_force(field, "clips", force),
        _contact_force(field, "clip bases", force),
    ):
        if len(part):
            np.add.at(out, clip, part)
    return out.reshape(field.strips, len(place), 3)


def _fixed_force(field: PanelField, u: Array) -> Array:
    along = _ground_force(field, "fixed point", u)[:, 0]
    return np.asarray(-along.reshape(field.strips, -1).sum(axis=1))


def load_path(field: PanelField, u: Array, force: Array, outside: Array) -> LoadPath:
    """Who takes the clamp's force.

    Parameters
    ----------
    field : PanelField
    u : (d, 2) float
        Under snow and own weight alone, and under the whole action. [m, rad]
    force : (m, 2) float
        Of all contacts. [N]
    outside : (m,) float
        What else hangs on the fixed points: weight of the sheet beyond the window. [N]
    """
    before, clips = (_clip_force(field, u[:, i], force[:, i]) for i in (0, 1))
    fixed_before, fixed = (_fixed_force(field, u[:, i]) for i in (0, 1))
    push_before, push = (_contact_force(field, "bearing", force[:, i])[:, 2].sum() for i in (0, 1))
    fixings = _ground_force(field, "through-fixings", u[:, 1] - u[:, 0]).sum(axis=0)
    return LoadPath(
        clip_x=clip_nodes(field)[0],
        clip=clips - before,
        clip_total=clips,
        fixed=fixed + outside,
        fixed_more=fixed - fixed_before,
        fixings=fixings,
        bearing=float(push - push_before),
        bearing_total=float(push),
    )


def fold_forces(field: PanelField, u: Array) -> FoldForces:
    """Forces of the fold of the clamp's seam, in the middle strip."""
    mesh, middle = field.mesh, field.strips // 2
    index = _spring_index(field, "lock")
    assert index is not None
    force = spring_force(field.model, index, u[:, None])[:, :3, 0]
    high = fold_points(mesh, field.detail, field.panel.seam_height)[0].shape[1]
    lines = len(mesh.x)
    own = force.reshape(field.strips, lines, high, 3)[middle].sum(axis=1) / mesh.line_share()[:, None]
    return FoldForces(
        x=mesh.x,
        sliding=own[:, 0],
        opening=own[:, 1],
        vertical=own[:, 2],
        pull=_leg_pull(field, u),
        over=grip_length(field),
    )


def grip_length(field: PanelField) -> float:
    """Length of seam that the first clamp holds. [m]."""
    tied = field.model.xyz[field.model.ties.rigid_node, 0]
    own = field.model.ties.rigid_main == field.model.ties.rigid_main[0]
    return float(tied[own].max() - tied[own].min())


def _leg_pull(field: PanelField, u: Array) -> Array:
    """Tension per length in both legs of the middle strip just below the fold, (l,). [N/m]."""
    names = [s.name for s in field.model.shells]
    group = names.index("leg")
    shells = field.model.shells[group]
    stress = shell_stress(field.model, group, u[:, None])
    top = field.panel.seam_height - field.detail.fold_height
    corner = field.model.xyz[shells.node]
    upper = corner[..., 2].max(axis=1)
    seam = float(field.seam_y(field.strips // 2))
    own = (np.abs(upper - top) < 1e-9) & (np.abs(corner[..., 1].mean(axis=1) - seam) < 1e-6)
    axes = stress.resultants.axes[own]
    N = stress.resultants.membrane[own, 0, :, 0]
    up = axes[:, :2, 2]  # components of the roof's normal on the elements' own axes
    pull = N[:, 0] * up[:, 0] ** 2 + N[:, 1] * up[:, 1] ** 2 + 2.0 * N[:, 2] * up[:, 0] * up[:, 1]
    middle = corner[own, :, 0].mean(axis=1)
    order = np.argsort(middle, kind="stable")
    place, first = np.unique(np.round(middle[order], 9), return_index=True)
    both = np.add.reduceat(pull[order], first)
    return np.interp(field.mesh.x, place, both)


def patch_means(field: PanelField, group: int) -> sparse.csr_array:
    """Means of element values around each element of a group, (m, m); weights fall to 0 at `PATCH`."""
    shells, points = field.model.shells[group], field.mesh.points - 1
    corner = field.model.xyz[shells.node]
    area = 0.5 * np.linalg.norm(np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]), axis=1)
    # The two legs of a seam stand in one place: the second one is moved away.
    second = (shells.node % field.width % points).mean(axis=1) > 0.5 * points
    place = np.column_stack([corner.mean(axis=1), np.where(second, 1e3, 0.0)])
    pair = cKDTree(place).query_pairs(PATCH, output_type="ndarray")
    own = np.arange(len(place))
    row = np.concatenate([own, pair[:, 0], pair[:, 1]])
    column = np.concatenate([own, pair[:, 1], pair[:, 0]])
    share = 1.0 - np.linalg.norm(place[row] - place[column], axis=1) / PATCH
    weight = sparse.coo_array((area[column] * share, (row, column)), shape=(len(place),) * 2).tocsr()
    total = np.asarray(weight.sum(axis=1)).ravel()
    return sparse.csr_array(sparse.diags_array(1.0 / total) @ weight)


def element_stress(field: PanelField, group: int, u: Array) -> Array:
    """Von Mises stress (m, 2, q) of one layer of sheet in the middles of elements, both faces. [Pa]."""
    fold = field.model.shells[group].name == Part.FOLD.name.lower()
    layers = 0.5 * LAYERS[field.detail.lock] if fold else 1.0
    return np.asarray(shell_stress(field.model, group, u).von_mises[:, 0] / layers)


def sheet_stress(field: PanelField, group: int, u: Array) -> Array:
    """Von Mises stress (m, q) around the elements of a group, mean over `PATCH`, worse face. [Pa]."""
    faces = element_stress(field, group, u)
    mean = patch_means(field, group) @ faces.reshape(len(faces), -1)
    return np.asarray(mean.reshape(faces.shape).max(axis=1))


def sheet_peaks(field: PanelField, u: Array) -> SheetPeaks:
    """Largest von Mises stress of pan, legs and fold, each a mean over `PATCH` of sheet."""
    stress, place, local, spread, names = [], [], [], [], []
    for index, shells in enumerate(field.model.shells):
        worst = sheet_stress(field, index, u[:, None])[:, 0]
        local.append(element_stress(field, index, u[:, None]).max())
        corner = field.model.xyz[shells.node]
        area = 0.5 * np.linalg.norm(
            np.cross(corner[:, 2] - corner[:, 0], corner[:, 3] - corner[:, 1]), axis=1
        )
        top = int(np.argmax(worst))
        names.append(shells.name)
        stress.append(worst[top])
        place.append(corner[top].mean(axis=0))
        spread.append(area[worst > 0.9 * worst[top]].sum())
    return SheetPeaks(tuple(names), *(np.array(x) for x in (stress, place, local, spread)))
