"""The seam as plain geometry for the picture: the sheet as it deforms, its outline before, the clamp."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail
from fea.panel.reading import sheet_stress
from viewer import style
from viewer.picture.camera import View, fit_view
from viewer.picture.render import Drawing
from viewer.seam.findings import seam_detail

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

REACH = 1.1  # clip spacings of seam that are shown to each side of the clamp, at least [-]
CARRIES = 0.05  # clips with this share of the most loaded one's part are shown [-]
SMALL = 0.002  # clips with less than this share of the clamp's force are not named [-]
BULGE = 0.9  # of the seam height: the largest movement in the picture [-]
TOWARD = np.array([0.20, -0.74, 0.60])  # to the viewer, seam axes: down the slope, right, away from the roof
GAP = 0.0012  # by which the picture parts the two legs, which stand back to back [m]


@dataclass(frozen=True)
class SeamScene:
    """What is drawn, seam axes. [m].

    Attributes
    ----------
    low, high : int
        First and last line of the mesh that is shown.
    factor : float
        Times that movements are exaggerated.
    moved : (l, w, 3) float
        Nodes of the shown lines, exaggerated.
    still : (l, w, 3) float
        The same before.
    quads : (m, 4, 3) float
        Elements, moved.
    use : (m,) float
        Von Mises stress around each, a mean over a patch, worse face, over the sheet's strength.
    column : (c,) int
        Points of the cross-section with a bend, drawn as lines along the seam.
    outer : (o,) int
        Cuts and tops of the folds, drawn where they were before.
    clamp : (8, 3) float
        Corners of the block, moved with the grip.
    grip : (3,) float
        Grip point, moved.
    clip : (k,) int
        Shown clips of the studied seam.
    clip_at : (k, 3) float
        Top of the fold there, moved.
    named : (k,) bool
        Clips that take part in the clamp's force.
    by_yield : bool
        Whether `use` is over the yield strength, because the sheet has no design strength.
    """

    low: int
    high: int
    factor: float
    moved: Array
    still: Array
    quads: Array
    use: Array
    column: IntArray
    outer: IntArray
    clamp: Array
    grip: Array
    clip: IntArray
    clip_at: Array
    named: NDArray[np.bool_]
    by_yield: bool


def build_seam_scene(analysis: Analysis, detail: ClampDetail) -> SeamScene:
    """Geometry around the clamp."""
    study = detail.study
    field, n = study.field, len(study.field.model.xyz)
    low, high = _shown_lines(detail)
    move = study.displacement[: 6 * n].reshape(n, 6)[:, :3]
    width, seam = field.width, analysis.project.panel.seam_height
    sheet = slice(low * width, (high + 1) * width)
    # The strip as a whole slides to its fixed point; what bends it is what a reader looks for.
    relative = move - np.array([float(np.median(move[sheet, 0])), 0.0, 0.0])
    largest = float(np.linalg.norm(relative[sheet], axis=1).max())
    factor = style.round_down(BULGE * seam / max(largest, 1e-12))
    apart = field.model.xyz + _parted(analysis, detail)
    moved = apart + factor * relative
    quads, use, by_yield = _elements(analysis, detail, moved, (low, high))
    middle = field.strips // 2
    fold = np.asarray(field.node(middle, np.arange(len(field.mesh.x)), field.mesh.section.left[-1]))
    x = field.mesh.x
    place = study.path.clip_x
    clip = np.flatnonzero((place >= x[low]) & (place <= x[high]))
    line = np.abs(field.mesh.x[:, None] - place[clip]).argmin(axis=0)
    node = int(field.clamp_node[study.clamp])
    return SeamScene(
        low=low,
        high=high,
        factor=factor,
        moved=moved[sheet].reshape(-1, width, 3),
        still=apart[sheet].reshape(-1, width, 3),
        quads=quads,
        use=use,
        column=_columns(detail),
        outer=_outer(detail),
        clamp=_block(analysis, field.model.xyz[node] + factor * relative[node]),
        grip=field.model.xyz[node] + factor * relative[node],
        clip=clip,
        clip_at=moved[fold[line]],
        named=np.isin(clip, _working_clips(detail)),
        by_yield=by_yield,
    )


def _working_clips(detail: ClampDetail) -> IntArray:
    """Clips of the seam that take part in it."""
    path, middle = detail.study.path, detail.study.field.strips // 2
    if not len(path.clip_x):
        return np.zeros(0, dtype=np.int64)
    part = np.abs(path.clip[middle]).max(axis=1)
    least = SMALL * float(np.linalg.norm(detail.study.action.grip[:3]))
    return np.flatnonzero(part >= max(CARRIES * float(part.max()), least))


def _shown_lines(detail: ClampDetail) -> tuple[int, int]:
    field, study = detail.study.field, detail.study
    x, at = field.mesh.x, float(field.clamp_x[study.clamp])
    reach = REACH * field.detail.clip_spacing if math.isfinite(field.detail.clip_spacing) else 0.8
    near = study.path.clip_x[_working_clips(detail)]
    margin = 0.15 * reach
    left = min(at - reach, *(near - margin)) if len(near) else at - reach
    right = max(at + reach, *(near + margin)) if len(near) else at + reach
    inside = np.flatnonzero((x >= max(left, at - 2.0 * reach)) & (x <= min(right, at + 2.0 * reach)))
    return int(inside[0]), int(inside[-1])


def _parted(analysis: Analysis, detail: ClampDetail) -> Array:
    """Shift (n, 3) that lets both legs of every seam be seen."""
    field = detail.study.field
    shift = np.zeros_like(field.model.xyz)
    lines = np.arange(len(field.mesh.x))[:, None]
    for strip in range(field.strips):
        for leg, side in ((field.mesh.section.left, -GAP), (field.mesh.section.right, GAP)):
            shift[field.node(strip, lines, leg[None]), 1] = side
    return shift


def _elements(
    analysis: Analysis, detail: ClampDetail, moved: Array, lines: tuple[int, int]
) -> tuple[Array, Array, bool]:
    """Corners, stress over strength, and whether that strength is yield itself."""
    field, seam = detail.study.field, seam_detail(analysis)
    strength = seam.sheet_strength
    by_yield = not math.isfinite(strength)
    strength = seam.sheet.yield_strength if by_yield else strength
    quads, use = [], []
    for index, group in enumerate(field.model.shells):
        stress = sheet_stress(field, index, detail.study.displacement[:, None])[:, 0]
        line = group.node // field.width
        inside = (line.min(axis=1) >= lines[0]) & (line.max(axis=1) <= lines[1])
        quads.append(moved[group.node[inside]])
        use.append(stress[inside] / strength)
    return np.concatenate(quads), np.concatenate(use), by_yield


def _columns(detail: ClampDetail) -> IntArray:
    """Points of the whole cross-section with a bend, and both cuts."""
    field = detail.study.field
    section = field.mesh.section
    step = np.diff(section.yz, axis=0)
    turn = np.abs(np.diff(np.arctan2(step[:, 1], step[:, 0]))) > 1e-3
    bend = np.unique([0, *(np.flatnonzero(turn) + 1).tolist(), section.left[-1], section.right[-1]])
    all_strips = bend[:, None] + np.arange(field.strips) * (field.mesh.points - 1)
    return np.unique(np.append(all_strips.ravel(), field.width - 1))


def _outer(detail: ClampDetail) -> IntArray:
    field = detail.study.field
    tops = field.node(np.arange(field.strips), 0, field.mesh.section.left[-1])
    return np.unique(np.concatenate([[0, field.width - 1], tops]))


def _block(analysis: Analysis, grip: Array) -> Array:
    """Corners of a block over the seam at the grip: bottom four, top four."""
    clamp, panel = analysis.project.clamp, analysis.project.panel
    half = 0.5 * clamp.grip_length
    wide = 0.34 * panel.seam_height
    bottom = min(clamp.grip_height, panel.seam_height) - 0.12 * panel.seam_height - clamp.grip_height
    top = panel.seam_height + 0.30 * panel.seam_height - clamp.grip_height
    ring = np.array([[-half, -wide], [half, -wide], [half, wide], [-half, wide]])
    low, high = (np.column_stack([ring, np.full(4, z)]) for z in (bottom, top))
    return grip + np.concatenate([low, high])


def seam_view(scene: SeamScene, box: tuple[float, float, float, float], size: tuple[int, int]) -> View:
    """Parallel view from below on the right of the seam."""
    toward = TOWARD / np.linalg.norm(TOWARD)
    right = np.array([-toward[1], toward[0], 0.0])
    right /= np.linalg.norm(right)
    points = np.concatenate([scene.moved.reshape(-1, 3), scene.still.reshape(-1, 3), scene.clamp])
    return fit_view((right, np.cross(toward, right), toward), points, box, size)


def seam_drawing(scene: SeamScene, view: View) -> Drawing:
    """What the child draws: colored sheet, lines of the deformed and the undeformed panel, the clamp."""
    point = view.size[0] / style.REFERENCE_WIDTH
    sheet = np.rint(255.0 * style.utilization_rgb(scene.use)).astype(np.uint8)
    points = [scene.quads.reshape(-1, 3)]
    colors = [np.repeat(sheet, 4, axis=0)]
    count = len(scene.quads)
    faces = np.column_stack([np.full(count, 4), np.arange(4 * count).reshape(-1, 4)]).ravel()
    ends, rgb, width = [], [], []

    def add(segments: Array, color: str, points_wide: float) -> None:
        ends.append(segments)
        shade = np.rint(255.0 * style.rgb(color)).astype(np.uint8)
        rgb.append(np.tile(shade, (len(segments), 1)))
        width.append(np.full(len(segments), points_wide * point))

    lift = 3e-4 * view.toward
    rows = [0, len(scene.moved) - 1]
    add(_along(scene.still, scene.outer) - lift, style.FAINT, 0.7)
    add(_across(scene.still, rows) - lift, style.FAINT, 0.7)
    add(_along(scene.moved, scene.column) + lift, style.FAINT, 0.6)
    add(_along(scene.moved, scene.outer) + lift, style.INK, 1.0)
    add(_across(scene.moved, rows) + lift, style.INK, 1.2)
    frame = [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]
    add(scene.clamp[np.array(frame)] + 4.0 * lift, style.INK, 1.6)
    return Drawing(
        points=np.concatenate(points),
        point_rgb=np.concatenate(colors),
        faces=faces,
        lines=np.concatenate(ends),
        line_rgb=np.concatenate(rgb),
        line_width=np.concatenate(width),
        tubes=np.zeros((0, 2, 3)),
        tube_radius=0.001,
        tube_rgb=np.zeros(3, dtype=np.uint8),
    )


def _along(grid: Array, column: IntArray) -> Array:
    lines = grid[:, column]
    return np.stack([lines[:-1], lines[1:]], axis=2).reshape(-1, 2, 3)


def _across(grid: Array, rows: list[int]) -> Array:
    lines = grid[rows]
    return np.stack([lines[:, :-1], lines[:, 1:]], axis=2).reshape(-1, 2, 3)
