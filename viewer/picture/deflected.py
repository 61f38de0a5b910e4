"""The governing row as it bends under its snow, as plain geometry: rail, clamps and seams.

Axes of the picture are those of the row: x along it from its left end, y up the slope, z away from the roof.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from fea.analysis import Analysis
from fea.checks.governing import governing_row
from fea.checks.limits import Limit, relative_deflection, sample_piece, span_names
from viewer import style
from viewer.picture.camera import View, fit_view
from viewer.picture.findings import row_case
from viewer.picture.render import Drawing
from viewer.picture.scene import plane_seams

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

WINDOW = 16  # clamps that are shown at most
LEANS = 0.11  # of what is shown: the largest movement in the picture [-]
PASSING = 0.4  # of the distance between clamps: the largest movement along the row [-]
ABOVE, BELOW = 0.12, 0.15  # of what is shown: roof drawn up and down the slope [-]
TOWARD = np.array([0.045, -0.52, 0.84])  # to the viewer, who stands below the eave and looks up the slope
SIDES = 14  # of the rail as it is drawn
LIGHT = np.array([-0.2, 0.3, 0.93])


@dataclass(frozen=True)
class Bent:
    """A row under snow as it lies, exaggerated; row axes. [m].

    Attributes
    ----------
    row, case, piece : int
        Row, snow case, and piece of rail (see `fea.checks.limits.span_names`) that uses most of its limit
        of deflection, or moves most off its chord where nobody gave a limit.
    limit : Limit
        The rail's deflection.
    s : (t,) float
        Stations on what is shown of the row.
    still, move : (t, 3) float
        Rail axis before, and its displacement as calculated.
    factor : float
        Times that displacements are exaggerated.
    chord : (2, 3) float
        Exaggerated ends of the piece, between which a straight line runs; empty beyond the end clamps.
    worst : int
        Station that is farthest off the chord.
    off : float
        How far it is there.
    clamp : (c,) int
        Shown clamps of the layout.
    foot : (c, 3) float
        Where they sit on the roof.
    seams : (k, 2, 3) float
        Seams on the roof.
    roof, edges : (m, 3, 3), (e, 2, 3) float
        Triangles of the plane, and its edges where they are near.
    ends : (2,) float
        What is shown of the row, along it.
    """

    row: int
    case: int
    piece: int
    limit: Limit
    s: Array
    still: Array
    move: Array
    factor: float
    chord: Array
    worst: int
    off: float
    clamp: IntArray
    foot: Array
    seams: Array
    roof: Array
    edges: Array
    ends: Array

    @property
    def moved(self) -> Array:
        """Rail axis, exaggerated, (t, 3). [m]."""
        return np.asarray(self.still + self.factor * self.move)

    @property
    def size(self) -> Array:
        """Displacement of the stations, (t,). [m]."""
        return np.asarray(np.linalg.norm(self.move, axis=1))


def bend(analysis: Analysis) -> Bent | None:
    """The governing row in the case that uses most of its limit of deflection; None where nothing bends."""
    project, layout = analysis.project, analysis.project.layout
    governing = analysis.attachment or analysis.governing
    if governing is None:
        return None
    row = governing_row(analysis.limits, governing, project)
    limit = next(one for one in analysis.limits if one.name == "rail deflection")
    case, piece = _worst_piece(analysis, row, limit)
    if not limit.demand[case, piece] > 0.0:
        return None
    s, move, off, inside = _stations(analysis, row, case, piece)
    size = np.linalg.norm(move, axis=1)
    worst = int(np.argmax(np.where(inside, off, -1.0)))
    ends, clamp = _window(analysis, row, float(s[worst]))
    shown = (s >= ends[0] - 1e-9) & (s <= ends[1] + 1e-9)
    reach = float(np.ptp(ends))
    place = layout.clamp_s[clamp]
    gap = float(np.diff(place).min(initial=reach))
    along = max(float(np.abs(move[shown, 0]).max()), 1e-12)  # by temperature: clamps must not pass each other
    factor = style.round_down(min(LEANS * reach / float(size[shown].max()), PASSING * gap / along))
    lift = project.clamp.grip_height + project.clamp.height
    still = np.stack([s, 0.0 * s, 0.0 * s + lift], axis=1)
    own = np.flatnonzero(inside)
    roof, seams, edges = _roof(analysis, row, ends)
    inner = 0 < piece - _first_piece(analysis, row) < int(np.sum(layout.clamp_row == row))
    return Bent(
        row=row,
        case=case,
        piece=piece,
        limit=limit,
        s=s[shown],
        still=still[shown],
        move=move[shown],
        factor=factor,
        chord=(still + factor * move)[own[[0, -1]]] if inner else np.zeros((0, 3)),
        worst=worst - int(np.argmax(shown)),
        off=float(off[worst]),
        clamp=clamp,
        foot=np.stack([place, 0.0 * place, 0.0 * place], axis=1),
        seams=seams,
        roof=roof,
        edges=edges,
        ends=ends,
    )


def _first_piece(analysis: Analysis, row: int) -> int:
    return int(span_names(analysis.project.layout)[1][row])


def _worst_piece(analysis: Analysis, row: int, limit: Limit) -> tuple[int, int]:
    """Case and piece of the row that use most of the limit; without one, those that move most."""
    first = _first_piece(analysis, row)
    pieces = np.arange(first, first + int(np.sum(analysis.project.layout.clamp_row == row)) + 1)
    use, demand = (np.nan_to_num(one[:, pieces]) for one in (limit.utilization, limit.demand))
    value = use if use.max(initial=0.0) > 0.0 else demand
    own = row_case(analysis, row)
    if value[own].max() >= value.max() * (1.0 - 1e-9):  # the case of the row's diagrams, where it is as bad
        return own, int(pieces[value[own].argmax()])
    case, at = np.unravel_index(int(value.argmax()), value.shape)
    return int(case), int(pieces[at])


def _stations(
    analysis: Analysis, row: int, case: int, piece: int
) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Places on the row, displacements, distance off the chord, and which lie on the piece.

    In the state and reading in which the piece is farthest off its chord, so that the limit's own number is
    what is drawn.
    """
    layout = analysis.project.layout
    factors = np.array([(f.snow, f.dead, f.thermal) for f in analysis.service]).reshape(-1, 3).T
    weights = analysis.basis.readings_weights(*factors)[:, case]
    found = []
    for result in analysis.responses:
        pieces = sample_piece(result, layout)
        on = np.flatnonzero(result.sample_row == row)
        on = on[np.lexsort((result.sample_s[on], result.sample_span[on]))]
        off = np.tensordot(weights, relative_deflection(result, layout, pieces)[1][:, on], 1)
        inside = pieces[on] == piece
        far = np.linalg.norm(off, axis=2)
        reading = int(far[:, inside].max(axis=1).argmax())
        move = np.tensordot(weights[reading], result.deflection[:, on], 1)
        found.append((result.sample_s[on], move, far[reading], inside))
    return max(found, key=lambda one: float(one[2][one[3]].max()))


def _window(analysis: Analysis, row: int, at: float) -> tuple[Array, IntArray]:
    """Ends of what is shown of the row, and its clamps: about `WINDOW` of them around a place."""
    layout = analysis.project.layout
    clamps = np.flatnonzero(layout.clamp_row == row)
    length = float(layout.row_length[row])
    if len(clamps) <= WINDOW:
        return np.array([0.0, length]), clamps
    place = layout.clamp_s[clamps]
    start = int(np.clip(np.searchsorted(place, at) - WINDOW // 2, 0, len(clamps) - WINDOW))
    stop = start + WINDOW
    left = 0.0 if start == 0 else 0.5 * (place[start - 1] + place[start])
    right = length if stop == len(clamps) else 0.5 * (place[stop - 1] + place[stop])
    return np.array([left, right]), clamps[start:stop]


def _roof(analysis: Analysis, row: int, ends: Array) -> tuple[Array, Array, Array]:
    """Plane around what is shown: triangles (m, 3, 3), its seams and edges (k, 2, 3), row axes. [m]."""
    from mapbox_earcut import triangulate_float64

    layout, planes = analysis.project.layout, analysis.project.roof.planes
    plane, start = int(layout.row_plane[row]), layout.row_start[row]
    way = layout.row_way[row]
    turn = np.array([way, [-way[1], way[0]]])
    reach = float(np.ptp(ends))
    margin = 0.02 * reach
    box = shapely.box(ends[0] - margin, -BELOW * reach, ends[1] + margin, ABOVE * reach)
    outline = shapely.transform(planes.outline[plane], lambda uv: (uv - start) @ turn.T)
    pieces = shapely.get_parts(shapely.intersection(outline.buffer(0.0), box))
    faces = [np.zeros((0, 3, 3))]
    for piece in pieces[shapely.get_type_id(pieces) == 3]:
        rings = [np.asarray(ring.coords)[:-1] for ring in (piece.exterior, *piece.interiors)]
        corners, count = np.concatenate(rings), np.cumsum([len(ring) for ring in rings])
        index = triangulate_float64(corners, count.astype(np.uint32)).reshape(-1, 3)
        faces.append(np.concatenate([corners, np.zeros((len(corners), 1))], axis=1)[index])
    frame = turn @ np.stack([planes.across[plane], planes.upslope[plane]])
    flat = (plane_seams(analysis.project, plane) - planes.to_world(plane, start[None])[0]) @ frame.T
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_parts(shapely.boundary(outline))]
    sides = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    return np.concatenate(faces), _inside(flat, box), _inside(sides, box)


def _inside(ends: Array, box: Polygon) -> Array:
    """What of lines (k, 2, 2) lies in a box, on the roof, (n, 2, 3). [m]."""
    cut = shapely.get_parts(shapely.intersection(shapely.linestrings(ends), box))
    cut = cut[(shapely.get_type_id(cut) == 1) & (shapely.length(cut) > 1e-6)]
    points = np.stack([shapely.get_coordinates(shapely.get_point(cut, end)) for end in (0, -1)], axis=1)
    return np.concatenate([points, np.zeros((*points.shape[:2], 1))], axis=2)


def bent_view(bent: Bent, box: tuple[float, float, float, float], size: tuple[int, int]) -> View:
    """Parallel view from below the row."""
    toward = TOWARD / np.linalg.norm(TOWARD)
    right = np.array([-toward[1], toward[0], 0.0])
    right /= np.linalg.norm(right)
    points = np.concatenate([bent.roof.reshape(-1, 3), bent.moved, bent.still])
    return fit_view((right, np.cross(toward, right), toward), points, box, size)


def bent_drawing(analysis: Analysis, bent: Bent, view: View, top: float) -> Drawing:
    """What the child draws: roof, seams, clamps, the rail before as a line and after as a colored tube.

    `top` ends the color scale. [m].
    """
    point = view.size[0] / style.REFERENCE_WIDTH
    section, height = analysis.project.rail.section, analysis.project.panel.seam_height
    thick = max(0.5 * section.depth_z, 2.2 * point / view.scale)
    color = style.movement_rgb(bent.size / top)
    parts = [_tube(bent.moved[on], thick, color[on], view.toward) for on in _bars(bent)]
    tube, tube_rgb = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    rise = np.array([0.0, 0.0, height])
    ribs = np.stack([bent.seams[:, 0], bent.seams[:, 1], bent.seams[:, 1] + rise, bent.seams[:, 0] + rise], 1)
    groups = [
        (bent.roof.reshape(-1, 3), np.tile(style.rgb(style.TINT), (3 * len(bent.roof), 1)), 3),
        (ribs.reshape(-1, 3), np.tile(style.rgb(style.HAIRLINE), (4 * len(ribs), 1)), 4),
        (tube.reshape(-1, 3), tube_rgb, 4),
    ]
    faces, start = [], 0
    for points, _, corners in groups:
        index = start + np.arange(len(points)).reshape(-1, corners)
        faces.append(np.column_stack([np.full(len(index), corners), index]).ravel())
        start += len(points)
    lift = 4e-4 * float(np.ptp(bent.ends)) * view.toward
    grip = np.stack([np.interp(bent.foot[:, 0], bent.s, axis) for axis in bent.moved.T], axis=1)
    before = np.stack([bent.still[:-1], bent.still[1:]], axis=1) + lift
    lines = [
        (bent.seams + rise + lift, style.FAINT, 0.5),
        (bent.edges + lift, style.INK, 1.2),
        (np.stack([bent.foot, grip], axis=1) + 6.0 * lift, style.INK, 1.9),
        (before, style.MUTED, 1.1),
    ]
    if len(bent.chord):
        lines.append((bent.chord[None] + (1.2 * thick + 1e-4) * view.toward, style.PAPER, 1.2))
    return Drawing(
        points=np.concatenate([points for points, _, _ in groups]),
        point_rgb=_bytes(np.concatenate([color for _, color, _ in groups])),
        faces=np.concatenate(faces),
        lines=np.concatenate([ends for ends, _, _ in lines]),
        line_rgb=_bytes(np.concatenate([np.tile(style.rgb(c), (len(ends), 1)) for ends, c, _ in lines])),
        line_width=np.concatenate([np.full(len(ends), width * point) for ends, _, width in lines]),
        tubes=np.zeros((0, 2, 3)),
        tube_radius=thick,
        tube_rgb=np.zeros(3, dtype=np.uint8),
    )


def _bars(bent: Bent) -> list[slice]:
    """Stations of each bar of the rail: it is open where two stations at one place move apart."""
    apart = (np.diff(bent.s) < 1e-9) & (np.linalg.norm(np.diff(bent.move, axis=0), axis=1) > 1e-9)
    ends = [0, *(np.flatnonzero(apart) + 1).tolist(), len(bent.s)]
    return [slice(a, b) for a, b in itertools.pairwise(ends) if float(np.ptp(bent.s[a:b])) > 1e-9]


def _tube(axis: Array, radius: float, color: Array, toward: Array) -> tuple[Array, Array]:
    """Quads (n, 4, 3) of a tube around a line (t, 3), and the colors (4 n, 3) of their corners, shaded."""
    keep = np.r_[True, np.linalg.norm(np.diff(axis, axis=0), axis=1) > 1e-9]
    axis, color = axis[keep], color[keep]
    way = np.gradient(axis, axis=0)
    way /= np.linalg.norm(way, axis=1)[:, None]
    side = np.cross(way, np.array([0.0, 0.0, 1.0]))
    side /= np.linalg.norm(side, axis=1)[:, None]
    turn = np.linspace(0.0, 2.0 * np.pi, SIDES + 1)
    around = np.cos(turn)[:, None, None] * side + np.sin(turn)[:, None, None] * np.cross(side, way)
    points = axis + radius * around
    bright = 0.72 + 0.28 * np.clip(around @ (0.5 * LIGHT + 0.5 * toward), 0.0, 1.0)
    rgb = bright[..., None] * color
    corner = [(slice(None, -1), slice(None, -1)), (slice(1, None), slice(None, -1))]
    corner += [(slice(1, None), slice(1, None)), (slice(None, -1), slice(1, None))]
    quads = np.stack([points[at] for at in corner], axis=2).reshape(-1, 4, 3)
    return quads, np.stack([rgb[at] for at in corner], axis=2).reshape(-1, 3)


def _bytes(color: Array) -> NDArray[np.uint8]:
    return np.rint(np.clip(color, 0.0, 1.0) * 255.0).astype(np.uint8)
