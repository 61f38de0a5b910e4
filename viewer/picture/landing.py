"""Plan of the ground on which snow that no row holds comes down: that is where people walk."""

from __future__ import annotations

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.units import SYSTEMS, UnitSystem
from viewer import style
from viewer.picture import svg
from viewer.picture.plan import BORDER, WIDTH, Sheet, arrow, scale_bar
from viewer.picture.standing import patch_rings

Array = NDArray[np.float64]

LEAST = 0.01  # of the heaviest edge: lighter ones are not drawn
FEW = 0.05  # of the heaviest patch: lighter ones carry no number
NEAREST = 0.05  # strips that reach less far are not drawn [m]
ON_GROUND = 1e-6  # of an edge's snow: less is rounding, all of it lands on lower roofs [-]
HEAP = style.hexadecimal(style.snow_rgb(np.array([1.0]))[0])
ALONG = (0.0, -0.25, 0.25, -0.38, 0.38)  # places of a number along its strip, from the middle [-]
READABLE = 26.0  # strips narrower than this carry their number beside them [px]


def landing_svg(analysis: Analysis) -> str:
    """Roof from above and the strips of ground below its edges on which snow lands.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    str
        SVG, to scale, north up; empty where no snow slides over an edge.
    """
    landing, force = analysis.landing, analysis.force
    line = landing.line.max(
        axis=0, initial=0.0
    )  # also where a lower roof stops a part: beside it all flies on
    grounded = landing.lower.beyond.max(axis=0, initial=0.0) > ON_GROUND * force.exit_weight.max(
        axis=0, initial=0.0
    )
    drawn = np.flatnonzero(
        grounded
        & (landing.throw > NEAREST)
        & (line >= LEAST * line.max(initial=0.0))
        & (force.exit_edge >= 0)
    )
    lower = landing.lower
    on = np.flatnonzero((lower.reach > NEAREST) & (landing.throw[lower.edge] > NEAREST))
    if not len(drawn) and not len(on):
        return ""
    units = SYSTEMS[analysis.project.table.project.units]
    zones = landing.zone[drawn]
    sheet = Sheet(np.concatenate([analysis.project.roof.points, zones.reshape(-1, 3)]))
    corners = sheet.at(zones)
    parts = _strips(corners, line[drawn])
    parts += _roof(analysis, sheet)
    planes = analysis.project.roof.planes
    patches: list[shapely.Geometry] = []
    for k in on:
        for ring in patch_rings(planes, lower.plane[k : k + 1], lower.patch[k : k + 1]):
            patches.append(shapely.Polygon(sheet.at(ring)).buffer(0.0))
            told = float(lower.line[:, k].max()) >= FEW * float(lower.line.max())
            words = (
                ""
                if not told
                else f"{units.text(float(lower.line[:, k].max()), 'line')} on {planes.name[lower.plane[k]]}"
            )
            parts += _patch(sheet.at(ring), words)
    parts += _heaps(analysis, sheet, units)
    parts += _numbers(corners, line[drawn], landing.throw[drawn], patches, units)
    parts += _foot(sheet, units)
    name = analysis.project.table.project.name
    return svg.document(WIDTH, sheet.height, f"Where snow of {name} lands", parts)


def _patch(ring: Array, words: str) -> list[str]:
    """Where snow lands on a lower roof, and how much."""
    shape = svg.element(
        "path",
        d=svg.path(ring, closed=True),
        fill=style.hexadecimal(style.snow_rgb(np.array([0.6]))[0]),
        fill_opacity=0.7,
        stroke=style.INK,
        stroke_width=0.9,
        stroke_dasharray="2 3",
    )
    x, y = ring.mean(axis=0)
    if not words:
        return [shape]
    return [shape, svg.text(words, float(x), float(y) + 3.6, 10.5, anchor="middle", bold=True, halo=True)]


def _heaps(analysis: Analysis, sheet: Sheet, units: UnitSystem) -> list[str]:
    """A thick line along the foot of every wall that stops snow, and how much lies there."""
    heaps, force = analysis.landing.lower.heaps, analysis.force
    weight = heaps.weight.max(axis=0, initial=0.0)
    worst = force.exit_weight.max(axis=0, initial=0.0)[heaps.edge]
    parts = []
    for k in np.flatnonzero(weight > LEAST * worst):
        ends = sheet.at(heaps.ends[k])
        parts += [svg.line(ends, style.INK, 6.5), svg.line(ends, HEAP, 5.0)]
        words = f"{units.text(float(heaps.line[:, k].max()), 'line')} at the wall"
        x, y = ends.mean(axis=0)
        parts.append(svg.text(words, float(x), float(y) - 8.0, 10.5, anchor="middle", bold=True, halo=True))
    return parts


def _strips(corners: Array, line: Array) -> list[str]:
    share = line / line.max(initial=1e-9)
    return [
        svg.element(
            "path",
            d=svg.path(corners[i], closed=True),
            fill=style.hexadecimal(style.snow_rgb(0.2 + 0.8 * share[i])),
            stroke=style.INK,
            stroke_width=0.9,
            stroke_dasharray="5 3",
        )
        for i in np.argsort(-shapely.area(shapely.polygons(corners)))  # small ones on top
    ]


def _roof(analysis: Analysis, sheet: Sheet) -> list[str]:
    planes, edges = analysis.project.roof.planes, analysis.project.roof.edges
    rings = [planes.to_world(p, np.asarray(o.exterior.coords)) for p, o in enumerate(planes.outline)]
    parts = [
        svg.element("path", d=svg.path(sheet.at(ring)[:-1], closed=True), fill=style.TINT) for ring in rings
    ]
    ends = sheet.at(np.stack([edges.start, edges.end], axis=1))
    return parts + [
        svg.line(ends[i], style.INK, 0.75 * style.EDGE_WEIGHT[k]) for i, k in enumerate(edges.kind)
    ]


def _numbers(
    corners: Array, line: Array, throw: Array, patches: list[shapely.Geometry], units: UnitSystem
) -> list[str]:
    """Weight per length and reach along each edge, in its strip or just beyond it, clear of the patches."""
    parts = []
    taken = list(patches)
    for i in np.argsort(-line):
        way, deep = corners[i, 1] - corners[i, 0], corners[i, 3] - corners[i, 0]
        depth = float(np.linalg.norm(deep))
        words = f"{units.text(float(line[i]), 'line')}, {units.text(float(throw[i]), 'length')} out"
        within = depth > READABLE and float(np.linalg.norm(way)) > 5.6 * len(words)
        center = corners[i].mean(axis=0) if within else corners[i, 2:].mean(axis=0) + 14.0 * deep / depth
        angle = float(np.degrees(np.arctan2(way[1], way[0])))
        angle = angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle
        half = np.array([2.8 * len(words), 7.0])
        past = 0.5 + (half[0] + 8.0) / max(float(np.linalg.norm(way)), 1e-9)  # beyond the ends of the strip
        for middle in center + np.outer((*ALONG, -past, past), way):
            box = shapely.affinity.rotate(shapely.box(*(middle - half), *(middle + half)), angle)
            left, _, right, _ = box.bounds
            if left > 0.0 and right < WIDTH and not any(box.intersects(other) for other in taken):
                break
        else:
            continue
        taken.append(box)
        turn = f"translate({svg.number(middle[0])} {svg.number(middle[1])}) rotate({svg.number(angle)})"
        parts.append(svg.text(words, 0.0, 3.6, 10.5, anchor="middle", bold=True, halo=True, transform=turn))
    return parts


def _foot(sheet: Sheet, units: UnitSystem) -> list[str]:
    y = sheet.height - 34.0
    words = (
        "Ground as far as snow is thrown; dotted: lower roofs; thick: walls that stop it. "
        "Darker: more weight for each length."
    )
    north = np.array([WIDTH - BORDER, y + 10.0])
    return [
        *scale_bar(sheet, units),
        svg.text(words, BORDER, y + 20.0, 10.0, color=style.MUTED),
        *arrow(north, north - np.array([0.0, 30.0]), 1.6),
        svg.text("N", float(north[0]) + 7.0, y - 12.0, 11.0, bold=True),
    ]
