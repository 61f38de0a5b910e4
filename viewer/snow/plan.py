"""Plan of one case to scale: filled contours of the pressure, zones with numbers, sections, north up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.regions import merged, plan_polygon
from roofmodel.surface import FLAT_SLOPE, EdgeKind, Planes
from roofmodel.units import UnitSystem
from viewer import style
from viewer.picture.drawing import Box, Drawing, box_of
from viewer.picture.labels import Text
from viewer.quantities import column, quantity
from viewer.snow.contours import Scale, bands
from viewer.snow.families import families
from viewer.snow.findings import Patch, SnowFindings
from viewer.snow.placing import Label, Taken, Words, place_labels, write_free
from viewer.snow.sections import SMALL, Section
from viewer.snow.symmetry import dome_planes
from viewer.snow.words import pressure_range

Array = NDArray[np.float64]


PRESSURES = 14  # written on a plan of a dome
FEW, MANY = 12, 120  # zones that a small and a large plan label one by one, first layers included
AXES, TICK = 12.0, 5.0  # how far axes stand from the roof, and their ticks [px]
ON_DOMES = 30  # zones of drifts on domes that a plan labels one by one
FUSED = 1e-4  # pieces of one band are drawn as one over cracks below this [m]


@dataclass(frozen=True)
class Place:
    """Where a plan stands on its drawing: roof to pixels, north up."""

    scale: float
    left: float
    top: float
    low: Array
    high: Array

    def at(self, xy: Array) -> Array:
        """Pixels (..., 2) of plan points (..., 2). [px]."""
        x = self.left + (xy[..., 0] - self.low[0]) * self.scale
        y = self.top + (self.high[1] - xy[..., 1]) * self.scale
        return np.stack([x, y], axis=-1)

    def shape(self, geometry: BaseGeometry) -> BaseGeometry:
        """A plan geometry in pixels."""
        return shapely.transform(geometry, self.at)


def fit(points: Array, box: Box) -> Place:
    """Largest plan of roof points (n, 2 or 3) in a box, in its middle. [px]."""
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    span = np.maximum(high - low, 1e-6)
    room = np.array([box[2] - box[0], box[3] - box[1]])
    scale = float((room / span).min())
    left, top = np.array(box[:2]) + 0.5 * (room - scale * span)
    return Place(scale, float(left), float(top), low, high)


def axis_origin(place: Place) -> Array:
    """Where the axes of a large plan meet. [px]."""
    return np.asarray(place.at(place.low) + AXES * np.array([-1.0, 1.0]))


def axis_boxes(place: Place) -> list[Box]:
    """What the lines of the axes and their ticks take. [px]."""
    x, y = axis_origin(place)
    right, top = place.at(place.high)
    return [(x - TICK, float(top), x + 1.0, float(y)), (x, y - 1.0, float(right), y + TICK)]


@dataclass(frozen=True)
class Look:
    """How much a plan says: type size [px], names and axes of a large plan or only numbers of a small one."""

    size: float
    large: bool


def draw_plan(
    drawing: Drawing,
    findings: SnowFindings,
    index: int,
    scale: Scale,
    place: Place,
    frame: Box,
    look: Look,
    units: UnitSystem,
    sections: Sequence[Section] = (),
) -> int:
    """Draw the plan of a case.

    Parameters
    ----------
    drawing : Drawing
        What is drawn on.
    findings : SnowFindings
    index : int
        Of the case.
    scale : Scale
        Bands that all cases share.
    place : Place
    frame : (4,) float
        Labels stay in this box. [px]
    look : Look
    units : UnitSystem
    sections : sequence of Section
        Those to mark.

    Returns
    -------
    int
        Number of zones for whose label there was no room.
    """
    roof, case = findings.project.roof, findings.cases[index]
    taken = Taken(frame)
    for text in drawing.texts:
        taken.add(box_of(text))
    if look.large:
        for box in axis_boxes(place):
            taken.add(box)
    _draw_bands(drawing, findings, index, scale, place)
    _draw_edges(drawing, taken, findings, index, place, look)
    _draw_rows(drawing, taken, findings, place, look)
    _draw_obstacles(drawing, taken, findings, place, look)
    for section in sections:
        _mark_section(drawing, taken, section, place, look)
    hidden, on_top = _hidden(findings, index), findings.on_top(index)
    crowded = len(case.patches) > (MANY if look.large else FEW)
    domes = dome_planes(roof)
    own = sum(not findings.patches[i].base and findings.patches[i].zone.plane in domes for i in case.patches)
    crowded |= own > ON_DOMES
    round_ = domes if crowded else frozenset()
    _write_pressures(drawing, taken, findings, index, place, look, units, round_)
    labels = []
    alone = not any(findings.patches[i].base for i in case.patches)  # such as drifts of Annex B
    if case.largest > 0.0 and (alone or _adds_up(findings, index)):
        words = f"max {quantity(case.largest, 'pressure', units)}"
        if case.cells.pressure[case.largest_cell, 1:].any():
            middle = shapely.get_coordinates(shapely.centroid(case.cells.polygon[case.largest_cell]))[0]
            _mark_largest(drawing, taken, words, place.at(case.largest_at), place.at(middle), look)
        else:
            region = place.shape(case.cells.polygon[case.largest_cell])
            labels.append(Label("", region, (Words(((words, True),)),)))
    for group in families(findings, case.patches):
        i, patch = group[0], findings.patches[group[0]]
        small = sum(findings.patches[k].area for k in group) < SMALL
        on_dome = patch.zone.plane in round_
        if small or (crowded and patch.base) or (on_dome and not look.large):
            continue
        whole = shapely.union_all([findings.patches[k].zone.polygon for k in group])
        free = whole if hidden.get(i) is None else shapely.difference(whole, hidden[i])
        region = place.shape(whole if free.is_empty else free)
        number = str(findings.patches[min(group)].number)
        told = _variants(patch, i in on_top, roof.planes, look, units)
        labels.append(Label(number, region, told[-1:] if on_dome else told))
    return place_labels(drawing, taken, labels, look.size, beside=not crowded)


def _write_pressures(
    drawing: Drawing,
    taken: Taken,
    findings: SnowFindings,
    index: int,
    place: Place,
    look: Look,
    units: UnitSystem,
    planes: frozenset[int],
) -> None:
    """Pressures in the middle of cells on some planes, the largest first, where there is room."""
    cells = findings.cases[index].cells
    own = np.flatnonzero(np.isin(cells.plane, list(planes)))
    if not len(own):
        return
    middle = shapely.get_coordinates(shapely.centroid(cells.polygon[own]))
    value = cells.pressure[own, 0] + np.sum(cells.pressure[own, 1:] * middle, axis=1)
    order = np.lexsort((np.arange(len(own)), -np.round(value, 1)))
    texts = column(value.tolist(), "pressure", units)
    size, gone = 0.95 * look.size, np.zeros((0, 2))
    for k in order.tolist():
        at = place.at(middle[k])
        if len(gone) == PRESSURES or np.any(np.abs(gone - at).max(axis=1, initial=0.0) < 3.5 * size):
            continue
        text = Text(texts[k], (float(at[0]), float(at[1])), size, True, style.INK, "center", True)
        box = box_of(text)
        if taken.free(np.array([box]))[0]:
            drawing.texts.append(text)
            taken.add(box)
            gone = np.concatenate([gone, [at]])


def _variants(patch: Patch, on_top: bool, planes: Planes, look: Look, units: UnitSystem) -> tuple[Words, ...]:
    zone = patch.zone
    text = pressure_range(patch.low, patch.high, units)
    full = (f"{'+ ' if on_top else ''}{text}", True)
    value = full[0].removesuffix(f" {units.label('pressure')}")
    name = planes.name[zone.plane]
    if patch.base:
        slope = float(planes.slope[zone.plane])
        flat = slope < FLAT_SLOPE
        what = f"{name}, flat" if flat else f"{name}, {units.text(slope, 'angle').replace(' ', '')}"
    else:
        what = zone.name
    bare = Words(())
    if look.large:
        return (Words((full, (what, False))), Words((full,)), Words(((value, True),)), bare)
    return (Words((full,)), Words(((value, True),)), bare)


def _hidden(findings: SnowFindings, index: int) -> Mapping[int, BaseGeometry]:
    """What later zones of the same plane cover of each zone."""
    members = findings.cases[index].patches
    same = {i: group for group in families(findings, members) for i in group}
    found: dict[int, BaseGeometry] = {}
    for n, i in enumerate(members):
        zone = findings.patches[i].zone
        above = [
            findings.patches[k].zone.polygon
            for k in members[n + 1 :]
            if findings.patches[k].zone.plane == zone.plane and k not in same[i]
        ]
        if above:
            found[i] = shapely.union_all(above)
    return found


def _adds_up(findings: SnowFindings, index: int) -> bool:
    """Whether the largest pressure is a sum of zones."""
    case = findings.cases[index]
    return case.largest > max(findings.patches[i].high for i in case.patches) * (1.0 + 1e-9)


def _draw_bands(drawing: Drawing, findings: SnowFindings, index: int, scale: Scale, place: Place) -> None:
    """Filled contours, the lower planes first as eaves may hang over them."""
    roof, cells = findings.project.roof, findings.cases[index].cells
    colors = style.snow_bands(scale.count)
    for ring in _outlines(findings):
        drawing.area(place.shape(ring), style.PAPER)
    elevation = roof.planes.origin[:, 2]
    groups = [[p] for p in sorted(set(cells.plane.tolist()) - dome_planes(roof))]
    groups += [dome.plane.tolist() for dome in roof.domes]
    for planes in sorted(groups, key=lambda group: float(elevation[group].min())):
        own = np.isin(cells.plane, planes)
        shapes, band = bands(type(cells)(cells.polygon[own], cells.plane[own], cells.pressure[own]), scale)
        if len(planes) > 1:  # facets of a dome do not hang over one another
            whole = np.empty(len(np.unique(band)), dtype=object)
            whole[:] = [merged(shapes[band == n]) for n in np.unique(band)]
            shapes, band = whole, np.unique(band)
        for shape, number in zip(shapes, band, strict=True):
            color = colors[number]
            drawing.area(place.shape(shape), color, color, 0.6)  # the line closes hairline gaps
        cut = len(planes) > 1 or len(shapes) > own.sum()
        wholes = [shapely.union_all(shapes[band == b], grid_size=FUSED) for b in np.unique(band)]
        levels = [place.shape(whole).boundary for whole in wholes] if cut else []
        for boundary in levels:
            for part in shapely.get_parts(boundary):
                drawing.line(shapely.get_coordinates(part), style.INK, 0.25)


def _outlines(findings: SnowFindings) -> list[BaseGeometry]:
    roof = findings.project.roof
    facets = dome_planes(roof)
    plain = [plan_polygon(roof, i) for i in range(roof.planes.count) if i not in facets]
    domes = [merged(np.array([plan_polygon(roof, int(i)) for i in dome.plane])) for dome in roof.domes]
    return plain + domes


def _draw_edges(
    drawing: Drawing, taken: Taken, findings: SnowFindings, index: int, place: Place, look: Look
) -> None:
    domes = dome_planes(findings.project.roof)
    for group in families(findings, findings.cases[index].patches):
        first = findings.patches[group[0]]
        if first.base or first.zone.plane in domes:
            continue
        whole = shapely.union_all([findings.patches[i].zone.polygon for i in group])
        for part in shapely.get_parts(whole if len(group) > 1 else findings.patches[group[0]].zone.polygon):
            for ring in shapely.get_rings(part):
                points = place.at(shapely.get_coordinates(ring))
                drawing.line(points, style.PAPER, 0.16 * look.size)
                drawing.line(points, style.INK, 0.1 * look.size, (0.5 * look.size, 0.3 * look.size))
                taken.avoid(points)
    edges = findings.project.roof.edges
    ends = place.at(np.stack([edges.start, edges.end], axis=1)[..., :2])
    for line, kind in zip(ends, edges.kind, strict=True):
        taken.avoid(line)
        weight = 2.6 if kind is EdgeKind.STEP else 0.75 * style.EDGE_WEIGHT[kind]
        drawing.line(line, style.INK, weight * look.size / 11.0)


def _draw_obstacles(drawing: Drawing, taken: Taken, findings: SnowFindings, place: Place, look: Look) -> None:
    """Parapets as heavy lines, projections as boxes; their names on a large plan."""
    obstacles = findings.project.roof.obstacles
    for k in range(obstacles.count):
        faces = obstacles.face == k
        ends = place.at(np.stack([obstacles.start[faces], obstacles.end[faces]], axis=1)[..., :2])
        hull = shapely.MultiPoint(ends.reshape(-1, 2)).convex_hull
        if obstacles.parapet[k]:
            drawing.line(ends[0], style.INK, 0.4 * look.size)
        else:
            drawing.area(hull, style.WALL_SHADE, style.INK, 0.14 * look.size)
            taken.add(hull.bounds)
        if look.large:
            low_x, low_y, high_x, high_y = hull.bounds
            beside = np.array([high_x, 0.5 * (low_y + high_y)])
            if obstacles.parapet[k]:
                beside[0] = 0.5 * (low_x + high_x)
            write_free(drawing, taken, obstacles.name[k], beside, beside, look.size)


def _draw_rows(drawing: Drawing, taken: Taken, findings: SnowFindings, place: Place, look: Look) -> None:
    layout, planes = findings.project.layout, findings.project.roof.planes
    ends = np.stack([layout.row_start, layout.row_end], axis=1).reshape(-1, 2)
    rails = place.at(planes.to_world(np.repeat(layout.row_plane, 2), ends)[:, :2]).reshape(-1, 2, 2)
    for rail in rails:
        taken.avoid(rail)
        drawing.line(rail, style.PAPER, 0.2 * look.size)
        drawing.line(rail, style.INK, 0.13 * look.size, (0.18 * look.size, 0.22 * look.size))


def _mark_section(drawing: Drawing, taken: Taken, section: Section, place: Place, look: Look) -> None:
    """A thin line with letters at both ends, moved to where they cover no other letter."""
    size = 1.1 * look.size
    ends = _within(place.at(section.line), taken.frame, 1.2 * size)
    way = (ends[1] - ends[0]) / max(float(np.linalg.norm(ends[1] - ends[0])), 1e-9)
    side = np.array([-way[1], way[0]])
    drawing.line(ends, style.PAPER, 1.6)
    drawing.line(ends, style.INK, 0.7, (7.0, 2.0))
    for end, sign in ((ends[0], -1.0), (ends[1], 1.0)):
        drawing.line(np.stack([end, end - 9.0 * sign * way]), style.INK, 2.0)
        spots = [
            end + sign * (0.35 * size + 3.0 + size * out) * way + size * aside * side
            for out in np.arange(0.0, 5.0, 0.7)
            for aside in (0.0, 0.8, -0.8, 1.6, -1.6, 2.4, -2.4, 3.2, -3.2)
        ]
        spots.sort(key=lambda spot: float(np.linalg.norm(spot - end)))
        texts = [
            Text(section.name, (float(x), float(y)), size, True, style.INK, "center", True) for x, y in spots
        ]
        boxes = [box_of(text) for text in texts]
        best = int(np.argmax(taken.free(np.array(boxes))))
        if np.linalg.norm(spots[best] - end) > 2.4 * size:  # too far to be read as its end's
            drawing.line(np.stack([end, spots[best]]), style.MUTED, 0.4)
        drawing.texts.append(texts[best])
        taken.add(boxes[best])
    count = max(int(np.linalg.norm(ends[1] - ends[0]) / 6.0), 2)
    for x, y in np.linspace(ends[0], ends[1], count):
        taken.add((x - 3.0, y - 3.0, x + 3.0, y + 3.0))


def _within(ends: Array, frame: Box, inset: float) -> Array:
    """What of a line lies in a frame that is smaller by an inset; all of it where nothing does. [px]."""
    left, top, right, bottom = frame
    cut = shapely.clip_by_rect(
        shapely.LineString(ends), left + inset, top + inset, right - inset, bottom - inset
    )
    points = shapely.get_coordinates(cut)
    return points if len(points) == 2 else ends


def _mark_largest(drawing: Drawing, taken: Taken, words: str, at: Array, toward: Array, look: Look) -> None:
    reach = 0.38 * look.size
    for sign in (-1.0, 1.0):
        cross = np.stack([at - reach * np.array([1.0, sign]), at + reach * np.array([1.0, sign])])
        drawing.line(cross, style.PAPER, 0.34 * look.size)
        drawing.line(cross, style.INK, 0.17 * look.size)
    taken.add((at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach))
    write_free(drawing, taken, words, at, toward, look.size)
