"""The utilization picture: the roof in 3D with its snow, rows and clamps, and what governs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.governing import governing_row
from roofmodel.project.load import Project
from roofmodel.project.placement import seam_grid
from roofmodel.snow.cases import case_pressure_at
from roofmodel.surface import EdgeKind, Planes, RoofSurface
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.picture.camera import View, choose_axes, fit_view
from viewer.picture.findings import called_clamp, clamp_utilization, shown_case, solar_utilization
from viewer.picture.marks import MARK_POINTS, mark_layers
from viewer.picture.render import Drawing
from viewer.picture.standing import array_clamps, array_lines, patch_rings, standing_lines, standing_quads

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FREE = (EdgeKind.EAVE, EdgeKind.RAKE, EdgeKind.HEAD)
FINE_QUADS = 30_000  # about as many small quads as drawn along the ends of snow zones
SEAM_PIXELS = 9.0  # seams closer than this in the picture are thinned out [px]


@dataclass(frozen=True)
class Scene:
    """Roof, building and hardware as plain geometry, before a view is chosen.

    Attributes
    ----------
    case : int
        Snow case that is shown: the one of the governing attachment.
    cells : (n, 4, 3) float
        Sliding cells, divided where the snow zones end. [m]
    pressure : (n,) float
        Vertical snow pressure on the cells. [Pa]
    pressure_top : float
        End of the color scale, a round number of the user's unit. [Pa]
    walls : (w, 4, 3) float
        Top left, top right, bottom right, bottom left seen from outside. [m]
    wall_shade : (w,) bool
        Walls that are drawn in the darker tone.
    edges : (e, 2, 3) float
        [m]
    edge_kind : tuple of EdgeKind, (e,)
    rows : (r, 2, 3) float
        Rail axes. [m]
    clamps : (c, 3) float
        Rail axis at the clamps. [m]
    use : (c,) float
        Worst utilization of each clamp over all cases; NaN where it is not verified and no known
        direction exceeds its limit.
    solar : (s, 3) float
        Clamps of solar arrays. [m]
    solar_use : (s,) float
    called : int
        Clamp that the callout points at, -1 for none.
    body : (m, 3, 3) float
        Triangles that can hide something. [m]
    standing : (s, 4, 3) float
        Faces of what stands on the roof. [m]
    standing_rgb : (s, 3) float
    landed : (l, 2, 3) float
        Outlines of where snow from above lands on lower planes. [m]
    """

    case: int
    cells: Array
    pressure: Array
    pressure_top: float
    walls: Array
    wall_shade: NDArray[np.bool_]
    edges: Array
    edge_kind: tuple[EdgeKind, ...]
    rows: Array
    clamps: Array
    use: Array
    solar: Array
    solar_use: Array
    called: int
    body: Array
    standing: Array
    standing_rgb: Array
    landed: Array

    @property
    def planes(self) -> Array:
        """Triangles of the roof's planes, (t, 3, 3): the first of `body`. [m]."""
        return self.body[: len(self.body) - 2 * (len(self.walls) + len(self.standing))]


def build_scene(analysis: Analysis) -> Scene:
    """Geometry of the picture from the results."""
    project = analysis.project
    roof, layout = project.roof, project.layout
    case = shown_case(analysis)
    units = SYSTEMS[project.table.project.units]
    unit = 1.0 / units.convert(1.0, "pressure")
    corners, pressure, _ = cell_quads(analysis, case)
    walls = walls_below(roof)
    lift = project.clamp.grip_height + project.clamp.height
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    normal = roof.planes.normal[layout.row_plane]
    rows = roof.planes.to_world(np.repeat(layout.row_plane, 2), ends.reshape(-1, 2)).reshape(-1, 2, 3)
    plane = layout.row_plane[layout.clamp_row]
    use = clamp_utilization(analysis)
    standing, standing_rgb = standing_quads(roof)
    upright = np.concatenate([walls, standing])
    triangles = np.concatenate([upright[:, [0, 1, 2]], upright[:, [0, 2, 3]]])
    facing = np.cross(walls[:, 1] - walls[:, 0], walls[:, 3] - walls[:, 0])
    return Scene(
        case=case,
        cells=corners,
        pressure=pressure,
        pressure_top=style.scale_top(1.1 * float(pressure.max(initial=0.0)) / unit) * unit,
        walls=walls,
        wall_shade=np.abs(facing[:, 0]) > np.abs(facing[:, 1]),
        edges=np.stack([roof.edges.start, roof.edges.end], axis=1),
        edge_kind=roof.edges.kind,
        rows=rows + lift * normal[:, None],
        clamps=roof.planes.to_world(plane, layout.clamp_uv) + lift * roof.planes.normal[plane],
        use=use,
        solar=array_clamps(roof),
        solar_use=solar_utilization(analysis),
        called=called_clamp(analysis),
        body=np.concatenate([plane_triangles(roof.planes)[0], triangles]),
        standing=standing,
        standing_rgb=standing_rgb,
        landed=_landed(analysis),
    )


def cell_quads(analysis: Analysis, case: int) -> tuple[Array, Array, IntArray]:
    """Quads (n, 4, 3), snow pressure and plane (n,): sliding cells, finer where a zone ends. [m, Pa]."""
    cells, planes = analysis.graph.cells, analysis.project.roof.planes
    cut = np.zeros(cells.count, dtype=bool)
    snow = analysis.snow.cases[case]
    for zone in snow.zones:
        on = np.flatnonzero(cells.plane == zone.plane)
        cut[on] |= shapely.intersects(cells.plan[on], shapely.boundary(zone.polygon))
    pieces = int(np.clip(np.sqrt(FINE_QUADS / max(cut.sum(), 1)), 1, 8))
    share = np.linspace(0.0, 1.0, pieces + 1)
    x, y = np.meshgrid(share, share, indexing="ij")
    weight = np.stack([(1.0 - x) * (1.0 - y), x * (1.0 - y), x * y, (1.0 - x) * y], axis=-1)
    grid = np.einsum("xyc,ncd->nxyd", weight, cells.corners[cut])
    parts = [grid[:, :-1, :-1], grid[:, 1:, :-1], grid[:, 1:, 1:], grid[:, :-1, 1:]]
    fine = np.stack(parts, axis=3).reshape(-1, 4, 2)
    plane = np.concatenate([cells.plane[~cut], np.repeat(cells.plane[cut], pieces**2)])
    uv = np.concatenate([cells.corners[~cut], fine])
    quads = planes.to_world(np.repeat(plane, 4), uv.reshape(-1, 2)).reshape(-1, 4, 3)
    whole = int((~cut).sum())
    middle = quads[whole:, :, :2].mean(axis=1)
    exact = case_pressure_at(snow, middle, plane[whole:])
    return quads, np.concatenate([analysis.force.cell_pressure[case][~cut], exact]), plane


def _landed(analysis: Analysis) -> Array:
    """Outlines of where snow from above lands on lower planes, piece by piece, (l, 2, 3). [m]."""
    lower = analysis.landing.lower
    heavy = lower.weight.max(axis=0, initial=0.0) > 0.0
    patches = tuple(patch for patch, on in zip(lower.patch, heavy, strict=True) if on)
    rings = patch_rings(analysis.project.roof.planes, lower.plane[heavy], patches)
    pieces = [np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings]
    return np.concatenate([np.zeros((0, 2, 3)), *pieces])


def plane_triangles(planes: Planes) -> tuple[Array, IntArray]:
    """Triangles of the outlines, (m, 3, 3), and their planes; far fewer than a mesh may have. [m]."""
    from mapbox_earcut import triangulate_float64

    found, owner = [np.zeros((0, 3, 3))], [np.zeros(0, dtype=np.int64)]
    for plane, outline in enumerate(planes.outline):
        rings = [np.asarray(ring.coords)[:-1] for ring in (outline.exterior, *outline.interiors)]
        corners = np.concatenate(rings)
        ends = np.cumsum([len(ring) for ring in rings]).astype(np.uint32)
        index = triangulate_float64(corners, ends).reshape(-1, 3)
        found.append(planes.to_world(plane, corners)[index])
        owner.append(np.full(len(index), plane))
    return np.concatenate(found), np.concatenate(owner)


def walls_below(roof: RoofSurface) -> Array:
    """Building below the free edges; tall buildings are cut off so that the roof fills the picture."""
    free = np.array([kind in FREE for kind in roof.edges.kind], dtype=bool)
    start, end, height = roof.edges.start[free], roof.edges.end[free], roof.edges.height[free]
    if not len(start):
        return np.zeros((0, 4, 3))
    low = np.minimum(start[:, 2], end[:, 2])
    size = float(np.linalg.norm(np.ptp(roof.points[:, :2], axis=0)))
    foot = max(float((low - height).min()), float(low.min()) - max(0.16 * size, 0.8))
    below = np.array([1.0, 1.0, 0.0])
    ground = np.array([0.0, 0.0, foot])
    return np.stack([start, end, end * below + ground, start * below + ground], axis=1)


def seam_lines(planes: Planes, plane: int, angle: float, first: float, spacing: float, every: int) -> Array:
    """Every n-th standing seam of a plane, clipped to its outline, (s, 2, 3). [m]."""
    outline = planes.outline[plane]
    across, along = np.array([np.cos(angle), -np.sin(angle)]), np.array([np.sin(angle), np.cos(angle)])
    coords = shapely.get_coordinates(outline)
    w, t = coords @ across, coords @ along
    at = np.arange(w.min() + first, w.max(), spacing * every)
    low, high = at[:, None] * across + t.min() * along, at[:, None] * across + t.max() * along
    cut = shapely.get_parts(shapely.intersection(shapely.linestrings(np.stack([low, high], axis=1)), outline))
    cut = cut[shapely.get_type_id(cut) == 1]
    ends = np.stack([shapely.get_coordinates(shapely.get_point(cut, end)) for end in (0, -1)], axis=1)
    return planes.to_world(plane, ends.reshape(-1, 2)).reshape(-1, 2, 3)


def plane_seams(project: Project, plane: int, every: int = 1) -> Array:
    """Every n-th standing seam of a plane as the project has them, (s, 2, 3). [m]."""
    planes, spacing = project.roof.planes, project.panel.seam_spacing
    angle, first = seam_grid(project.table.plane, planes.name[plane], spacing)
    return seam_lines(planes, plane, angle, first, spacing, every)


def _all_seams(analysis: Analysis, view: View) -> Array:
    project = analysis.project
    planes, panel = project.roof.planes, project.panel
    found = [np.zeros((0, 2, 3))]
    for plane, name in enumerate(planes.name):
        angle, _ = seam_grid(project.table.plane, name, panel.seam_spacing)
        across = planes.across[plane] * np.cos(angle) - planes.upslope[plane] * np.sin(angle)
        apart = (
            panel.seam_spacing * view.scale * np.linalg.norm(across - (across @ view.toward) * view.toward)
        )
        every = max(int(np.ceil(SEAM_PIXELS / max(float(apart), 1e-3))), 1)
        found.append(plane_seams(project, plane, every))
    return np.concatenate(found)


def choose_view(
    analysis: Analysis, scene: Scene, box: tuple[float, float, float, float], size: tuple[int, int]
) -> View:
    """The view that shows the governing row best, filling a box of the picture. [px]."""
    project = analysis.project
    planes, layout = project.roof.planes, project.layout
    row = int(layout.clamp_row[scene.called]) if scene.called >= 0 else 0
    if scene.called < 0 and analysis.governing is not None:
        row = governing_row(analysis.limits, analysis.governing, project)
    share = np.linspace(0.06, 0.94, 7)[:, None]
    targets = [scene.rows[row, 0] * (1.0 - share) + scene.rows[row, 1] * share, scene.rows.mean(axis=1)]
    weight = [np.ones(len(share)), np.full(len(scene.rows), 5.0 / len(scene.rows))]
    if scene.called >= 0:
        targets.append(scene.clamps[scene.called : scene.called + 1])
        weight.append(np.array([6.0]))
    # A little off the roof, so that the row's own plane does not count as hiding it.
    points = np.concatenate(targets) + 0.02 * planes.normal[layout.row_plane[row]]
    azimuth = float(planes.azimuth[layout.row_plane[row]])
    azimuth = azimuth if np.isfinite(azimuth) else np.pi
    axes = choose_axes(
        azimuth,
        points,
        np.concatenate(weight),
        scene.body,
        planes.normal,
        planes.true_area,
        planes.normal[layout.row_plane],
    )
    return fit_view(axes, np.concatenate([scene.cells.reshape(-1, 3), scene.walls.reshape(-1, 3)]), box, size)


def mark_sizes(use: Array, view: View, scene: Scene) -> Array:
    """Half sizes of the clamp marks, (c,). [px]. Crowded clamps get smaller ones."""
    point = view.size[0] / style.REFERENCE_WIDTH
    grown = np.interp(
        np.nan_to_num(use, nan=1.5), [0.0, 1.0, style.UTILIZATION_TOP], list(MARK_POINTS.values())
    )
    flat = view.project(scene.clamps)
    gaps = np.linalg.norm(np.diff(flat, axis=0), axis=1)
    apart = float(np.median(gaps)) if len(gaps) else np.inf
    crowding = 0.42 * apart / (float(grown.max(initial=1.0)) * point)
    return np.asarray(grown * point * min(1.0, max(crowding, 0.22)))


def make_drawing(analysis: Analysis, scene: Scene, view: View) -> Drawing:
    """What the renderer draws for this view."""
    point = view.size[0] / style.REFERENCE_WIDTH
    reach = float(np.ptp(scene.cells.reshape(-1, 3), axis=0).max())
    polygons = [_flat(scene.cells, style.snow_rgb(scene.pressure / scene.pressure_top))]
    polygons += _wall_polygons(scene)
    polygons += [_standing(scene)] if len(scene.standing) else []
    polygons += _mark_polygons(scene, view, reach)
    seams = _all_seams(analysis, view)
    glass, glass_rgb, glass_width = array_lines(analysis.project.roof, clamps=False)
    drawn = (seams, scene.edges, standing_lines(scene.standing), scene.landed, glass)
    lift = (0.0010, 0.0025, 0.0025, 0.0025, 0.0025)
    lines = np.concatenate([p + up * reach * view.toward for p, up in zip(drawn, lift, strict=True)])
    color = [
        np.tile(style.rgb(style.FAINT), (len(seams), 1)),
        np.tile(style.rgb(style.INK), (len(scene.edges) + 4 * len(scene.standing), 1)),
        np.tile(style.rgb(style.ACCENT), (len(scene.landed), 1)),
        glass_rgb,
    ]
    width = [
        np.full(len(seams), 0.28),
        np.array([style.EDGE_WEIGHT[kind] for kind in scene.edge_kind]) * 0.62,
        np.full(4 * len(scene.standing), 0.6),
        np.full(len(scene.landed), 1.4),
        glass_width,
    ]
    return Drawing(
        points=np.concatenate([p for p, _, _ in polygons]),
        point_rgb=_bytes(np.concatenate([c for _, c, _ in polygons])),
        faces=_faces(polygons),
        lines=lines,
        line_rgb=_bytes(np.concatenate(color)),
        line_width=np.concatenate(width) * point,
        tubes=scene.rows + 0.004 * reach * view.toward,
        tube_radius=max(0.5 * analysis.project.rail.section.depth_z, 0.85 * point / view.scale),
        tube_rgb=_bytes(style.rgb("#3B4B57")),
    )


Polygons = tuple[Array, Array, int]  # corner points, their colors, corners of each polygon


def _flat(corners: Array, color: Array) -> Polygons:
    """Polygons (k, m, 3) in one color each (k, 3)."""
    return corners.reshape(-1, 3), np.repeat(color, corners.shape[1], axis=0), corners.shape[1]


def _faces(polygons: list[Polygons]) -> IntArray:
    start, found = 0, []
    for points, _, corners in polygons:
        index = start + np.arange(len(points)).reshape(-1, corners)
        found.append(np.column_stack([np.full(len(index), corners), index]).ravel())
        start += len(points)
    return np.concatenate(found)


def _bytes(color: Array) -> NDArray[np.uint8]:
    return np.rint(np.clip(color, 0.0, 1.0) * 255.0).astype(np.uint8)


def _wall_polygons(scene: Scene) -> list[Polygons]:
    """Walls that fade into the paper toward the ground."""
    if not len(scene.walls):
        return []
    top = np.where(scene.wall_shade[:, None], style.rgb(style.WALL_SHADE), style.rgb(style.WALL))
    bottom = 0.25 * top + 0.75 * style.rgb(style.PAPER)
    color = np.stack([top, top, bottom, bottom], axis=1)
    return [(scene.walls.reshape(-1, 3), color.reshape(-1, 3), 4)]


def _standing(scene: Scene) -> Polygons:
    return _flat(scene.standing, scene.standing_rgb)


def _mark_polygons(scene: Scene, view: View, reach: float) -> list[Polygons]:
    """Clamp marks that face the viewer, the worst in front: casing, outline, fill."""
    use = np.concatenate([scene.use, scene.solar_use])
    clamps = np.concatenate([scene.clamps, scene.solar])
    size = mark_sizes(use, view, scene) / view.scale
    marks = [style.utilization_mark(one) for one in use]
    color = style.utilization_rgb(use)
    severity = np.nan_to_num(use, nan=0.999 * max(np.nanmax(np.r_[use, 1.0]), 1.0))
    rank = np.searchsorted(np.linspace(0.0, severity.max() + 1e-9, 60), severity)
    # Small circles look round with few sides, and thousands of them draw faster.
    sides = int(np.clip(3.0 * size.max(initial=0.0) * view.scale, 8, 28))
    found: list[Polygons] = []
    for mark in style.Mark:
        chosen = np.array([m is mark for m in marks], dtype=bool)
        if not chosen.any():
            continue
        for layer, (shape, grow, paint) in enumerate(mark_layers(mark, sides)):
            flat = shape[:, :1] * view.right + shape[:, 1:] * view.up
            lift = 4.0 * size[chosen] + reach * (0.004 + 1e-5 * (4 * rank[chosen] + layer))
            centers = clamps[chosen] + lift[:, None] * view.toward
            radius = size[chosen] * grow
            corners = centers[:, None] + radius[:, None, None] * flat
            rgb = color[chosen] if paint is None else np.tile(style.rgb(paint), (chosen.sum(), 1))
            found.append(_flat(corners, rgb))
    return found
