"""Plan of the ground on which snow that no row holds comes down: that is where people walk."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.units import SYSTEMS, UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.plan import BORDER, FOOT, WIDTH, Sheet, arrow, scale_bar
from viewer.picture.standing import patch_rings
from viewer.picture.strip_names import Asked, box_of, written
from viewer.unheld import CRUMB, leaving_weight

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST = 0.01  # of the heaviest edge: lighter ones carry no name, but the one that reaches farthest
FEW = 0.05  # of the heaviest patch: lighter ones carry no name
NEAREST = 0.05  # strips that reach less far are not drawn [m]
ON_GROUND = 1e-6  # of an edge's snow: less is rounding, all of it lands on lower roofs [-]
HEAP = style.hexadecimal(style.snow_rgb(np.array([1.0]))[0])


def landing_svg(analysis: Analysis) -> str:
    """Roof from above and the strips of ground below its edges on which snow lands.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    str
        SVG, to scale, north up; empty where no snow slides over an edge. Strips that are light carry no name
        unless one of them reaches farthest.
    """
    landing, force = analysis.landing, analysis.force
    # Also where a lower roof stops a part: beside it all flies on.
    line = landing.line.max(axis=0, initial=0.0)
    weight = force.exit_weight.max(axis=0, initial=0.0)
    grounded = landing.lower.beyond.max(axis=0, initial=0.0) > ON_GROUND * weight
    shed = leaving_weight(force).max(axis=0, initial=0.0) >= CRUMB
    drawn = np.flatnonzero(grounded & shed & (landing.throw > NEAREST) & (force.exit_edge >= 0))
    lower = landing.lower
    on = np.flatnonzero((lower.reach > NEAREST) & (landing.throw[lower.edge] > NEAREST))
    if not len(drawn) and not len(on):
        return ""
    units = SYSTEMS[analysis.project.table.project.units]
    zones = landing.zone[drawn]
    sheet = Sheet(np.concatenate([analysis.project.roof.points, zones.reshape(-1, 3)]))
    corners = sheet.at(zones)
    parts = [*_strips(corners, line[drawn]), *_roof(analysis, sheet)]
    patches, on_roofs = _patches(analysis, sheet, on, units)
    heaps, at_walls = _heaps(analysis, sheet, units)
    heavy = line[drawn] >= LEAST * line.max(initial=0.0)
    heavy |= landing.throw[drawn] == landing.throw[drawn].max(initial=0.0)
    names = analysis.project.roof.edges.name
    roof = shapely.union_all([shapely.Polygon(ring).buffer(0.0) for ring in _rings(analysis, sheet)])
    asked = [*at_walls, *on_roofs]
    for i in np.flatnonzero(heavy)[np.argsort(-line[drawn][heavy], kind="stable")]:
        at = int(drawn[i])
        told = f"{units.text(float(line[at]), 'line')}, {units.text(float(landing.throw[at]), 'length')} out"
        seen = shapely.difference(shapely.Polygon(corners[i]), roof)
        asked.append(Asked(corners[i], (names[force.exit_edge[at]], told), seen=seen))
    asked += _plane_names(analysis, sheet)
    shapes = [shapely.Polygon(ring) for ring in (*corners, *(one.corners for one in on_roofs))]
    edges = [shapely.LineString(ends) for ends in _edge_lines(analysis, sheet)]
    outlines = shapely.union_all([*(one.boundary for one in shapes), *edges])
    parts += [
        *patches,
        *heaps,
        *written(asked, outlines, (WIDTH, sheet.height - FOOT), shapely.union_all(shapes)),
    ]
    parts += _foot(sheet, units, light=not heavy.all())
    name = analysis.project.table.project.name
    return svg.document(WIDTH, sheet.height, f"Where snow of {name} lands", parts)


def _plane_names(analysis: Analysis, sheet: Sheet) -> list[Asked]:
    """Names of the planes, where there is room."""
    names = analysis.project.roof.planes.name
    return [
        Asked(box_of(ring), (name,), inside=True, seen=shapely.Polygon(ring).buffer(0.0))
        for ring, name in zip(_rings(analysis, sheet), names, strict=True)
    ]


def _patches(
    analysis: Analysis, sheet: Sheet, on: IntArray, units: UnitSystem
) -> tuple[list[str], list[Asked]]:
    """Where snow lands on lower roofs, from which edge and how much."""
    lower, roof = analysis.landing.lower, analysis.project.roof
    parts, asked = [], []
    line = lower.line.max(axis=0, initial=0.0)
    for k in on:
        source = int(analysis.force.exit_edge[lower.edge[k]])
        told = f"{units.text(float(line[k]), 'line')} on {roof.planes.name[lower.plane[k]]}"
        for ring in patch_rings(roof.planes, lower.plane[k : k + 1], lower.patch[k : k + 1]):
            parts.append(_patch(sheet.at(ring)))
            if line[k] >= FEW * line.max():
                name = roof.edges.name[source] if source >= 0 else "an open edge"
                asked.append(Asked(box_of(sheet.at(ring)), (name, told)))
    return parts, asked


def _patch(ring: Array) -> str:
    """Where snow lands on a lower roof."""
    return svg.element(
        "path",
        d=svg.path(ring, closed=True),
        fill=style.hexadecimal(style.snow_rgb(np.array([0.6]))[0]),
        fill_opacity=0.7,
        stroke=style.INK,
        stroke_width=0.9,
        stroke_dasharray="2 3",
    )


def _heaps(analysis: Analysis, sheet: Sheet, units: UnitSystem) -> tuple[list[str], list[Asked]]:
    """A thick line along the foot of every wall that stops snow, and how much lies there."""
    heaps, force = analysis.landing.lower.heaps, analysis.force
    weight = heaps.weight.max(axis=0, initial=0.0)
    worst = force.exit_weight.max(axis=0, initial=0.0)[heaps.edge]
    parts, asked = [], []
    for k in np.flatnonzero(weight > LEAST * worst):
        ends = sheet.at(heaps.ends[k])
        parts += [svg.line(ends, style.INK, 6.5), svg.line(ends, HEAP, 5.0)]
        words = f"{units.text(float(heaps.line[:, k].max()), 'line')} at the wall"
        across = 4.0 * np.array([[0.0, -1.0], [1.0, 0.0]]) @ (ends[1] - ends[0])
        across /= max(float(np.linalg.norm(ends[1] - ends[0])), 1e-9)
        asked.append(Asked(np.stack([ends[0], ends[1], ends[1] + across, ends[0] + across]), (words,)))
    return parts, asked


def _strips(corners: Array, line: Array) -> list[str]:
    share = line / line.max(initial=1e-9)
    return [
        svg.element(
            "path",
            d=svg.path(corners[i], closed=True),
            fill=style.hexadecimal(style.snow_rgb(0.15 + 0.55 * share[i])),
            stroke=style.INK,
            stroke_width=0.9,
            stroke_dasharray="5 3",
        )
        for i in np.argsort(-shapely.area(shapely.polygons(corners)))  # small ones on top
    ]


def _roof(analysis: Analysis, sheet: Sheet) -> list[str]:
    edges = analysis.project.roof.edges
    parts = [
        svg.element("path", d=svg.path(ring[:-1], closed=True), fill=style.TINT)
        for ring in _rings(analysis, sheet)
    ]
    ends = _edge_lines(analysis, sheet)
    return parts + [
        svg.line(ends[i], style.INK, 0.75 * style.EDGE_WEIGHT[k]) for i, k in enumerate(edges.kind)
    ]


def _rings(analysis: Analysis, sheet: Sheet) -> list[Array]:
    planes = analysis.project.roof.planes
    return [sheet.at(planes.to_world(p, np.asarray(o.exterior.coords))) for p, o in enumerate(planes.outline)]


def _edge_lines(analysis: Analysis, sheet: Sheet) -> Array:
    edges = analysis.project.roof.edges
    return sheet.at(np.stack([edges.start, edges.end], axis=1))


def _foot(sheet: Sheet, units: UnitSystem, *, light: bool) -> list[str]:
    y = sheet.height - 34.0
    words = (
        "Ground as far as snow is thrown; dotted: lower roofs; thick: walls that stop it. "
        "Darker: more weight per length."
    ) + (" Unnamed: little." if light else "")
    north = np.array([WIDTH - BORDER, y + 10.0])
    return [
        *scale_bar(sheet, units),
        svg.text(words, BORDER, y + 20.0, 10.0, color=style.MUTED),
        *arrow(north, north - np.array([0.0, 30.0]), 1.6),
        svg.text("N", float(north[0]) + 7.0, y - 12.0, 11.0, bold=True),
    ]
