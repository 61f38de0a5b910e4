"""section.png: outline, centroid, shear center, principal axes, and the walls that buckle before yield."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from viewer import style
from viewer.picture.drawing import Drawing
from viewer.quantities import quantity
from viewer.section.read import Seen
from viewer.section.words import section_table

Array = NDArray[np.float64]

SIZE = (1500.0, 930.0)
FIELD = (70.0, 150.0, 690.0, 640.0)  # left, top, width, height of the drawing
TYPE = 20.0
SMALL = (320.0, 250.0)  # of the outline alone
METAL = style.SNOW_ANCHORS[2]


def section_drawing(seen: Seen) -> Drawing:
    """The profile as built in, up the slope to the right, and its numbers."""
    drawing, p = Drawing(SIZE), seen.profile
    drawing.write(
        f"{seen.units.reworded(p.section.label)}, {seen.metal.name}", FIELD[0], 52.0, 34.0, bold=True
    )
    drawing.write("right: up the slope; top: away from the roof", FIELD[0], 96.0, TYPE, color=style.MUTED)
    center = np.array([p.section.center_y, p.section.center_z])
    place = np.array([FIELD[0] + 24.0 + 0.5 * FIELD[2], FIELD[1] + 0.5 * FIELD[3]])
    at = _placing(
        np.minimum(p.reach[:, 0], center),
        np.maximum(p.reach[:, 1], center),
        0.82 * np.array(FIELD[2:]),
        place,
    )
    drawing.area(shapely.transform(p.outline, at), METAL, style.INK, 2.2)
    _walls(drawing, seen, at)
    _sizes(drawing, seen, at)
    reach = 0.56 * float((p.reach[:, 1] - p.reach[:, 0]).max())
    for turn, dash in ((0.0, None), (0.5 * np.pi, (12.0, 7.0))):
        way = np.array([np.cos(p.angle + turn), np.sin(p.angle + turn)])
        drawing.line(at(np.stack([-reach * way, reach * way])), style.ACCENT, 1.8, dash)
    (x, y), (u, v) = at(np.zeros((1, 2)))[0], at(center[None])[0]
    drawing.circle(x, y, 8.0, style.PAPER, style.INK, 2.4)
    for sign in (1.0, -1.0):
        cross = np.array([[u - 10.0, v - 10.0 * sign], [u + 10.0, v + 10.0 * sign]])
        drawing.line(cross, style.EXCEEDED_ANCHORS[0], 3.2)
    _legend(drawing, seen)
    _numbers(drawing, seen)
    drawing.write(
        f"{style.CAUTION} Clauses from memory.", FIELD[0], SIZE[1] - 26.0, 0.86 * TYPE, color=style.MUTED
    )
    return drawing


def outline_drawing(seen: Seen) -> Drawing:
    """The outline as built in with its sizes alone, to stand small beside other things."""
    drawing, p = Drawing(SMALL), seen.profile
    at = _placing(
        p.reach[:, 0], p.reach[:, 1], np.array(SMALL) - [140.0, 90.0], 0.5 * np.array(SMALL) + [48.0, -26.0]
    )
    drawing.area(shapely.transform(p.outline, at), METAL, style.INK, 1.6)
    _sizes(drawing, seen, at)
    return drawing


def _placing(low: Array, high: Array, room: Array, middle: Array) -> Callable[[Array], Array]:
    """Where points go of what lies between two corners, as large as a room with its middle there allows."""
    scale = float((room / (high - low)).min())

    def at(points: Array) -> Array:
        return np.asarray(
            (np.asarray(points, dtype=float) - 0.5 * (low + high)) * scale * [1.0, -1.0] + middle
        )

    return at


def _walls(drawing: Drawing, seen: Seen, at: Callable[[Array], Array]) -> None:
    """Middle lines of walls, those that buckle before yield in the colors of use, rings where one is lost."""
    walls, share = seen.profile.walls, seen.left.plate.min(axis=0, initial=1.0)
    for i in range(len(share)):
        drawing.line(at(np.stack([walls.start[i], walls.end[i]])), style.MUTED, 1.4, (3.0, 5.0))
    for i in np.flatnonzero(share < 0.999).tolist():
        line = LineString([walls.start[i], walls.end[i]])
        color = style.KEPT_ANCHORS[2] if share[i] > 0.5 else style.EXCEEDED_ANCHORS[0]
        plate = line.buffer(0.5 * walls.thickness[i], cap_style="flat")
        drawing.area(shapely.transform(plate, at), color, style.INK, 1.0)
        tip = shapely.transform(shapely.Point(0.5 * (walls.start[i] + walls.end[i])), at)
        x, y = shapely.get_coordinates(tip)[0]
        drawing.write(f"{100.0 * share[i]:.0f} %", x, y, TYPE, bold=True, align="center", halo=True)
    for x, y in at(walls.lost[:, :2]) if np.isnan(seen.left.share).any() else ():
        turn = np.linspace(0.0, 2.0 * np.pi, 49)
        ring = np.array([x, y]) + 24.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        drawing.line(ring, style.EXCEEDED_ANCHORS[0], 3.2)


def _sizes(drawing: Drawing, seen: Seen, at: Callable[[Array], Array]) -> None:
    """Width below the outline and depth left of it."""
    low, high = seen.profile.reach[:, 0], seen.profile.reach[:, 1]
    for i, across in ((0, np.array([0.0, 34.0])), (1, np.array([-34.0, 0.0]))):
        end = low.copy()
        end[i] = high[i]
        line = at(np.stack([low, end])) + across
        drawing.line(line, style.MUTED, 1.4)
        for place in line:
            drawing.line(np.stack([place - 0.25 * across, place + 0.25 * across]), style.MUTED, 1.4)
        x, y = line.mean(axis=0)
        words = quantity(float(high[i] - low[i]), "size", seen.units)
        if i == 0:
            drawing.write(words, x, y + 18.0, 0.9 * TYPE, align="center", halo=True)
        else:
            drawing.write(words, x - 8.0, y, 0.9 * TYPE, align="right", halo=True)


def _legend(drawing: Drawing, seen: Seen) -> None:
    y = FIELD[1] + FIELD[3] + 36.0
    drawing.circle(FIELD[0] + 8.0, y, 7.0, style.PAPER, style.INK, 2.4)
    drawing.write("centroid", FIELD[0] + 26.0, y, TYPE)
    for sign in (1.0, -1.0):
        cross = np.array([[FIELD[0] + 152.0, y - 8.0 * sign], [FIELD[0] + 168.0, y + 8.0 * sign]])
        drawing.line(cross, style.EXCEEDED_ANCHORS[0], 3.0)
    drawing.write("shear center", FIELD[0] + 182.0, y, TYPE)
    drawing.line(np.array([[FIELD[0] + 330.0, y], [FIELD[0] + 372.0, y]]), style.ACCENT, 2.0)
    drawing.write("strong axis", FIELD[0] + 384.0, y, TYPE)
    drawing.line(np.array([[FIELD[0] + 506.0, y], [FIELD[0] + 548.0, y]]), style.ACCENT, 1.8, (12.0, 7.0))
    drawing.write("weak axis", FIELD[0] + 560.0, y, TYPE)
    if np.isnan(seen.left.share).any():
        words = "local buckling not known; ringed: not recognized as walls"
    elif (seen.left.plate < 0.999).any():
        words = "colored: buckles at this share of yield"
    else:
        words = "no wall buckles before yield"
    drawing.write(words, FIELD[0], y + 34.0, TYPE, color=style.MUTED)


def _numbers(drawing: Drawing, seen: Seen) -> None:
    left, right, top = 800.0, SIZE[0] - 60.0, 150.0
    rows = [*section_table(seen).rows]
    rows += [
        (f"Left in {name}", "not known" if np.isnan(share) else f"{100.0 * share:.1f} %")
        for name, share in zip(
            ("compression", "bending away", "bending down"),
            (seen.left.share[0], seen.left.share[1:3].min(), seen.left.share[3:5].min()),
            strict=True,
        )
    ]
    rows.append(("Yield strength", quantity(seen.metal.yield_strength, "stress", seen.units)))
    step = min(32.0, (900.0 - top - 60.0) / len(rows))
    for i, (name, value) in enumerate(rows):
        y = top + step * i
        drawing.write(name, left, y, 0.9 * TYPE, color=style.MUTED)
        drawing.write(value, right, y, 0.9 * TYPE, align="right")
        drawing.line(np.array([[left, y + 0.5 * step], [right, y + 0.5 * step]]), style.HAIRLINE, 1.0)
