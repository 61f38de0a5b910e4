"""Panel strips side by side as a shell model: legs and fold, clips, fixed point, bearing and clamps.

A window of the strips is meshed; what lies between it and the fixed point acts as bars along the seam, one
behind every point of the cut, so that plane pull stays plane. Clips hold the fold: across the seam both
ways, square to the roof only against uplift and after their gap. The pan bears one way on deck or purlins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.model.data import GROUND, Contacts, Model, Shells, Springs, Ties, node_dof
from fea.panel.mesh import CrossSection, Part, StripMesh, clip_places, purlin_places
from roofmodel.hardware import Bearing, FixedPoint, Panel, SeamDetail, SeamLock

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LAYERS = {SeamLock.SINGLE: 3.0, SeamLock.DOUBLE: 5.0}  # of sheet in the fold
SEAM_AXES = np.eye(3)


@dataclass(frozen=True)
class PanelField:
    """Strips beside each other as a model.

    Attributes
    ----------
    model : Model
        Nodes line by line across all strips, then one node for every clamp at its grip point.
    mesh : StripMesh
    panel : Panel
    detail : SeamDetail
    strips : int
    length : (m,) float
        Of every strip from eave to ridge. [m]
    clamp_node : (c,) int
    clamp_strip : (c,) int
    clamp_x : (c,) float
        [m]
    """

    model: Model
    mesh: StripMesh
    panel: Panel
    detail: SeamDetail
    strips: int
    length: Array
    clamp_node: IntArray
    clamp_strip: IntArray
    clamp_x: Array

    @property
    def width(self) -> int:
        """Points of the whole cross-section."""
        return self.strips * (self.mesh.points - 1) + 1

    def node(self, strip: IntArray | int, line: IntArray | int, point: IntArray | int) -> IntArray:
        """Node numbers, broadcast."""
        return np.asarray(
            np.asarray(line) * self.width + np.asarray(strip) * (self.mesh.points - 1) + np.asarray(point)
        )

    def seam_y(self, strip: IntArray | int) -> Array:
        """Place of seams across the field, 0 in its middle. [m]."""
        return np.asarray((np.asarray(strip) - 0.5 * (self.strips - 1)) * self.panel.seam_spacing)


def fold_points(mesh: StripMesh, detail: SeamDetail, height: float) -> tuple[IntArray, Array]:
    """Points (2, k) of both legs within the fold, and the share (k,) of it that each stands for."""
    z = mesh.section.yz[mesh.section.left, 1]
    inside = np.flatnonzero(z >= height - detail.fold_height - 1e-9)
    step = np.diff(z[inside])
    share = 0.5 * (np.concatenate([[0.0], step]) + np.concatenate([step, [0.0]]))
    return np.stack([mesh.section.left[inside], mesh.section.right[inside]]), share / share.sum()


def panel_field(
    mesh: StripMesh,
    panel: Panel,
    detail: SeamDetail,
    grip: tuple[float, float],
    clamps: Sequence[Array],
    length: Array,
    *,
    alike: bool = False,
    periodic: bool = False,
) -> PanelField:
    """Model of strips beside each other.

    Parameters
    ----------
    mesh : StripMesh
        Of one strip; all have the same lines.
    panel, detail
    grip : (float, float)
        Length of a clamp along the seam and height of its grip over the pan. [m]
    clamps : sequence of (k,) float
        Places of the clamps along the seam of every strip. [m]
    length : (m,) float
        Of the strips from eave to ridge. [m]
    alike : bool
        Whether the field goes on beyond its outer cuts as its own mirror image, which no force across may
        load; else they are free.
    periodic : bool
        Whether the same strips follow each other over and over: the right cut moves as the left one.

    Returns
    -------
    PanelField
    """
    strip = np.repeat(np.arange(len(clamps)), [len(c) for c in clamps])
    at = np.concatenate([np.asarray(c, dtype=float) for c in clamps])
    count = len(mesh.x) * (len(clamps) * (mesh.points - 1) + 1)
    field = PanelField(
        model=Model(np.zeros((count, 3))),
        mesh=mesh,
        panel=panel,
        detail=detail,
        strips=len(clamps),
        length=np.asarray(length, dtype=float),
        clamp_node=count + np.arange(len(at)),
        clamp_strip=strip,
        clamp_x=at,
    )
    _, _, held, weight = clip_nodes(field)
    springs = [_lock(field), _clip_springs(field, held, weight), _fixed_point(field)]
    if len(detail.through_fixings):
        springs.append(_fixings(field))
    model = Model(
        xyz=_nodes(field, grip[1]),
        shells=_sheets(field),
        springs=tuple(s for s in springs if len(s.node)),
        contacts=tuple(
            c
            for c in (_uplift(field, held, weight), _bearing(field), _hanging(field, held, weight))
            if len(c.node)
        ),
        ties=_ties(field, grip, alike=alike, periodic=periodic),
    )
    return replace(field, model=model)


def _nodes(field: PanelField, grip_height: float) -> Array:
    mesh, strips = field.mesh, field.strips
    across = mesh.section.yz[None] + np.stack([field.seam_y(np.arange(strips)), np.zeros(strips)], 1)[:, None]
    row = np.concatenate([across[:, :-1].reshape(-1, 2), across[-1:, -1]])
    xyz = np.empty((len(mesh.x), len(row), 3))
    xyz[..., 0], xyz[..., 1:] = mesh.x[:, None], row
    clamps = np.stack(
        [field.clamp_x, field.seam_y(field.clamp_strip), np.full(len(field.clamp_x), grip_height)], axis=1
    )
    return np.concatenate([xyz.reshape(-1, 3), clamps])


def _sheets(field: PanelField) -> tuple[Shells, ...]:
    quads, segment = field.mesh.quads()
    line, point = np.divmod(quads, field.mesh.points)
    node = field.node(np.arange(field.strips)[:, None, None], line, point).reshape(-1, 4)
    part = np.tile(field.mesh.section.part[segment], field.strips)
    sheet, t = field.detail.sheet, field.panel.thickness
    layers = 0.5 * LAYERS[field.detail.lock]
    folded = replace(sheet, E=sheet.E * layers, G=sheet.G * layers, density=sheet.density * layers)
    return tuple(
        Shells(name, node[part == kind], np.full(int((part == kind).sum()), t), material)
        for kind, name, material in (
            (Part.PAN, "pan", sheet),
            (Part.LEG, "leg", sheet),
            (Part.FOLD, "fold", folded),
        )
        if (part == kind).any()
    )


def _diagonal(values: Array) -> Array:
    """Spring stiffness (m, 6, 6) from its translations (m, 3)."""
    K = np.zeros((len(values), 6, 6))
    K[:, [0, 1, 2], [0, 1, 2]] = values
    return K


def _grounded(name: str, node: IntArray, values: Array) -> Springs:
    node = np.asarray(node).ravel()
    pair = np.stack([node, np.full_like(node, GROUND)], axis=1)
    return Springs(name, pair, _diagonal(values), np.tile(SEAM_AXES, (len(node), 1, 1)))


def _lock(field: PanelField) -> Springs:
    points, share = fold_points(field.mesh, field.detail, field.panel.seam_height)
    lines = np.arange(len(field.mesh.x))
    strip = np.arange(field.strips)[:, None, None]
    pair = [field.node(strip, lines[:, None], points[leg]) for leg in (0, 1)]
    weight = np.broadcast_to(field.mesh.line_share()[:, None] * share, pair[0].shape)
    values = weight.reshape(-1, 1) * field.detail.lock_stiffness
    node = np.stack([p.ravel() for p in pair], axis=1)
    return Springs("lock", node, _diagonal(values), np.tile(SEAM_AXES, (len(node), 1, 1)))


def clip_nodes(field: PanelField) -> tuple[Array, IntArray, IntArray, Array]:
    """Clips and the nodes of the folds that they hold.

    Returns
    -------
    place : (k,) float
        Middles of the clips along the seam. [m]
    clip : (m,) int
        Strip times k plus number of the clip of each held node.
    node : (m,) int
    weight : (m,) float
        Share of the clip that holds the node; 1 in sum.
    """
    mesh, detail = field.mesh, field.detail
    place = clip_places(detail, mesh.x[0], mesh.x[-1])
    points, share = fold_points(mesh, detail, field.panel.seam_height)
    clips, nodes, weights = [], [], []
    for number, x in enumerate(place):
        lines = mesh.lines_between(x - 0.5 * detail.clip_length, x + 0.5 * detail.clip_length)
        along = mesh.line_share()[lines]
        along[[0, -1]] *= 0.5
        node = field.node(np.arange(field.strips)[:, None, None, None], lines[:, None], points[:, None])
        weight = np.broadcast_to((along / along.sum())[:, None] * 0.5 * share, node.shape)
        clip = np.arange(field.strips)[:, None, None, None] * len(place) + number
        clips.append(np.broadcast_to(clip, node.shape).ravel())
        nodes.append(node.ravel())
        weights.append(weight.ravel())
    if not nodes:
        return place, np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0)
    return place, np.concatenate(clips), np.concatenate(nodes), np.concatenate(weights)


def _clip_springs(field: PanelField, node: IntArray, weight: Array) -> Springs:
    hold = field.detail.clip_stiffness * np.array([1.0, 1.0, 0.0])
    return _grounded("clips", node, weight[:, None] * hold)


def _uplift(field: PanelField, node: IntArray, weight: Array) -> Contacts:
    """Clips against uplift: they push the fold down once it has risen by the gap."""
    down = np.tile([0.0, 0.0, -1.0], (len(node), 1))
    gap = np.full(len(node), field.detail.clip_gap)
    return Contacts("clips", node, down, weight * field.detail.clip_stiffness[2], gap)


def _hanging(field: PanelField, node: IntArray, weight: Array) -> Contacts:
    """Clips that carry the panel when it bears on nothing else."""
    if field.detail.bearing is not Bearing.NONE:
        node, weight = node[:0], weight[:0]
    up = np.tile([0.0, 0.0, 1.0], (len(node), 1))
    return Contacts("clip bases", node, up, weight * field.detail.clip_stiffness[2], np.zeros(len(node)))


def contacts_as_springs(model: Model, use: BoolArray) -> Model:
    """The model with some of its one-way contacts as springs both ways, and without the others.

    Parameters
    ----------
    model : Model
    use : (m,) bool
        For the contacts of all groups, one after the other.
    """
    springs, first = [], 0
    for contact in model.contacts:
        own = use[first : first + len(contact.node)]
        first += len(contact.node)
        node, normal, k = contact.node[own], contact.normal[own], contact.stiffness[own]
        K = np.zeros((len(node), 6, 6))
        K[:, :3, :3] = k[:, None, None] * normal[:, :, None] * normal[:, None]
        pair = np.stack([node, np.full_like(node, GROUND)], axis=1)
        springs.append(Springs(contact.name, pair, K, np.tile(SEAM_AXES, (len(node), 1, 1))))
    return replace(model, springs=(*model.springs, *(s for s in springs if len(s.node))), contacts=())


def _bearing(field: PanelField) -> Contacts:
    mesh, detail = field.mesh, field.detail
    flat = np.flatnonzero(mesh.section.yz[:, 1] < 1e-9)
    pan = np.where(np.isin(mesh.section.segment, flat).all(axis=1), mesh.section.length, 0.0)
    share = np.zeros(mesh.points)
    np.add.at(share, mesh.section.segment, 0.5 * pan[:, None])
    if detail.bearing is Bearing.DECK:
        lines, along = np.arange(len(mesh.x)), mesh.line_share()
    elif detail.bearing is Bearing.PURLINS:
        places = purlin_places(detail, mesh.x[0], mesh.x[-1])
        lines = np.unique(np.abs(mesh.x[:, None] - places).argmin(axis=0))
        along = np.ones(len(lines))
    else:
        lines, along = np.zeros(0, dtype=np.int64), np.zeros(0)
    area = np.zeros((len(lines), field.width))
    for strip in range(field.strips):
        first = strip * (mesh.points - 1)
        area[:, first : first + mesh.points] += along[:, None] * share
    row, point = np.nonzero(area)
    node = lines[row] * field.width + point
    up = np.tile([0.0, 0.0, 1.0], (len(node), 1))
    return Contacts("bearing", node, up, area[row, point] * detail.bearing_stiffness, np.zeros(len(node)))


def sheet_area(field: PanelField) -> float:
    """Cross-section of one strip along the seam. [m^2]."""
    return float(sheet_share(field.mesh.section, field.panel, field.detail).sum())


def sheet_share(section: CrossSection, panel: Panel, detail: SeamDetail) -> Array:
    """Area of sheet behind each point of a strip's cross-section, (s,). [m^2]."""
    layers = np.where(section.part == Part.FOLD, 0.5 * LAYERS[detail.lock], 1.0)
    out = np.zeros(len(section.yz))
    np.add.at(out, section.segment, 0.5 * (layers * section.length * panel.thickness)[:, None])
    return out


def fixed_place(field: PanelField) -> tuple[int, Array]:
    """Line of the mesh that leads to the fixed points, and the length of bar between, (m,). [m]."""
    x, L = field.mesh.x, field.length
    match field.detail.fixed_at:
        case FixedPoint.RIDGE:
            return 0, np.maximum(x[0] + L, 0.0)
        case FixedPoint.EAVE:
            return len(x) - 1, np.full(len(L), max(-x[-1], 0.0))
        case FixedPoint.MIDDLE:
            middle = float(-0.5 * L.mean())
            if middle <= x[0]:
                return 0, np.maximum(x[0] + 0.5 * L, 0.0)
            if middle >= x[-1]:
                return len(x) - 1, np.maximum(-0.5 * L - x[-1], 0.0)
            return int(np.abs(x - middle).argmin()), np.zeros(len(L))


def fixed_stiffness(field: PanelField) -> Array:
    """Along the seam, of the bars and fixed points behind the window, per area of sheet, (m,). [N/m^3]."""
    _, bar = fixed_place(field)
    area = sheet_area(field)
    return np.asarray(1.0 / (area / field.detail.fixed_stiffness + bar / field.detail.sheet.E))


def _fixed_point(field: PanelField) -> Springs:
    line, _ = fixed_place(field)
    share = sheet_share(field.mesh.section, field.panel, field.detail)
    strip = np.arange(field.strips)
    node = field.node(strip[:, None], line, np.arange(field.mesh.points))
    values = np.zeros((node.size, 3))
    values[:, 0] = (fixed_stiffness(field)[:, None] * share).ravel()
    return _grounded("fixed point", node, values)


def _fixings(field: PanelField) -> Springs:
    """Screws through the middle of every pan; those in the outer cuts count half."""
    places = -field.detail.through_fixings
    inside = places[(places >= field.mesh.x[0] - 1e-9) & (places <= field.mesh.x[-1] + 1e-9)]
    lines = (
        np.unique(np.abs(field.mesh.x[:, None] - inside).argmin(axis=0))
        if len(inside)
        else inside.astype(int)
    )
    point = np.arange(field.strips + 1) * (field.mesh.points - 1)
    node = lines[:, None] * field.width + point
    hold = np.array(
        [field.detail.fixed_stiffness, field.detail.fixed_stiffness, field.detail.clip_stiffness[2]]
    )
    half = np.where((point == 0) | (point == point[-1]), 0.5, 1.0)
    weight = np.broadcast_to(half, node.shape).reshape(-1, 1)
    return _grounded("through-fixings", node, weight * hold)


def _ties(field: PanelField, grip: tuple[float, float], *, alike: bool, periodic: bool) -> Ties:
    mesh = field.mesh
    z = mesh.section.yz[mesh.section.left, 1]
    high = np.flatnonzero(z >= min(grip[1], z[-1]) - 1e-9)
    points = np.concatenate([mesh.section.left[high], mesh.section.right[high]])
    main, follow = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for number, (strip, x) in enumerate(zip(field.clamp_strip, field.clamp_x, strict=True)):
        lines = mesh.lines_between(x - 0.5 * grip[0], x + 0.5 * grip[0])
        node = field.node(strip, lines[:, None], points).ravel()
        follow.append(node)
        main.append(np.full(len(node), field.clamp_node[number]))
    follow_all = np.concatenate(follow)
    part = np.zeros((len(follow_all), 6), dtype=bool)
    part[:, :3] = True
    fixed = np.zeros(0, dtype=np.int64)
    cuts = np.arange(len(mesh.x))[:, None] * field.width + np.array([0, field.width - 1])
    equal = node_dof(cuts[:, ::-1] if periodic else cuts[:0])
    equation = np.moveaxis(equal, 1, 2).reshape(-1, 2)  # the right cut follows the left one
    if alike:
        fixed = node_dof(cuts)[..., [1, 3, 5]].ravel()
    return Ties(
        fixed_dof=fixed,
        fixed_value=np.zeros(len(fixed)),
        rigid_main=np.concatenate(main),
        rigid_node=follow_all,
        rigid_part=part,
        equation_dof=equation,
        equation_coefficient=np.tile([1.0, -1.0], (len(equation), 1)),
        equation_value=np.zeros(len(equation)),
    )
