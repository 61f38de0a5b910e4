"""Names of the rows beside the roof."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from viewer import style
from viewer.picture.camera import View, hidden
from viewer.picture.labels import Crowd, Text, text_width
from viewer.picture.scene import Scene
from viewer.picture.sheet import Overlay, Shape

Array = NDArray[np.float64]

Box = tuple[float, float, float, float]

MOST_IN_COLUMN = 16  # more ties than this become a tangle
CROSSING = 0.25  # part of the roof's width that the line from a name to its row may cross at most
INSET = 0.04  # names are tied to this part of the row inside its end, where no other row ends
LONGEST = 18  # letters of a row's name that are shown


@dataclass(frozen=True, eq=False)
class RowName:
    """Name and worst clamp of a row, its ends in the picture (2, 2) [px], and which of them are seen."""

    name: str
    plane: int
    use: float
    ends: Array
    seen: NDArray[np.bool_]

    @property
    def text(self) -> str:
        """What is written."""
        return f"{short(self.name)}  {style.utilization_text(self.use)}"

    @property
    def color(self) -> str:
        """Ink, or the color of what exceeds its limit."""
        return style.EXCEEDED_ANCHORS[0] if self.use > 1.0 else style.INK


def short(name: str) -> str:
    """A name of at most `LONGEST` letters."""
    return name if len(name) <= LONGEST else f"{name[: LONGEST - 1].rstrip()}…"


def row_names(analysis: Analysis, scene: Scene, view: View) -> list[RowName]:
    """Names of all rows that can be seen, the worst first; not verified comes before kept."""
    layout = analysis.project.layout
    count = len(scene.rows)
    known, unknown = np.zeros(count), np.zeros(count, dtype=bool)
    np.maximum.at(known, layout.clamp_row, np.nan_to_num(scene.use, nan=0.0))
    np.logical_or.at(unknown, layout.clamp_row, np.isnan(scene.use))
    use = np.where(unknown & (known <= 1.0), np.nan, known)
    off = 0.02 * analysis.project.roof.planes.normal[layout.row_plane]
    near_ends = [scene.rows[:, 0] * (1.0 - s) + scene.rows[:, 1] * s + off for s in (0.03, 0.97)]
    seen = np.stack([~hidden(points, view.toward, scene.body) for points in near_ends], axis=1)
    flat = view.project(scene.rows)
    order = np.argsort(-np.nan_to_num(use, nan=1.0), kind="stable")
    return [
        RowName(layout.row_name[r], int(layout.row_plane[r]), float(use[r]), flat[r], seen[r])
        for r in order
        if seen[r].any()
    ]


def place_at_ends(overlay: Overlay, crowd: Crowd, names: list[RowName]) -> None:
    """Write each name near the end of its row that has room."""
    point, size = overlay.point, overlay.type_size("label")
    pad = 3.0 * point
    for name in names:
        width = text_width(name.text, size, bold=True)
        found = None
        for end in np.flatnonzero(name.seen)[::-1]:
            way = name.ends[end] - name.ends[1 - end]
            away = name.ends[end] + way / max(float(np.linalg.norm(way)), 1e-9) * (6.0 * point + 0.5 * width)
            anchor = (float(away[0]), float(away[1]))
            padded = (width + 2.0 * pad, 1.1 * size + 2.0 * pad)
            found = found or crowd.place(padded, anchor, pull=2.5, most=26.0 * point)
        if found is None:
            overlay.unnamed.append(name.name)
            continue
        crowd.take(found)
        box = (found[0] + pad, found[1] + pad, found[2] - pad, found[3] - pad)
        for start, end in _write(overlay, name, box):
            crowd.cover_line(start, end, point, 20.0)


def place_beside(overlay: Overlay, crowd: Crowd, names: list[RowName], scene: Scene, view: View) -> None:
    """Write the names left and right of the roof, each beside an end of its row that can be seen.

    No line to a row crosses more than `CROSSING` of the roof; rows that would need one, or find no room, get
    numbers and a key.
    """
    point, size = overlay.point, overlay.type_size("legend")
    pitch = 1.22 * size
    roof, walls = (
        shapely.union_all(shapely.buffer(shapely.polygons(view.project(corners)), 0.5))
        for corners in (scene.planes, scene.walls)
    )
    body = shapely.union(roof, walls)
    low, high = crowd.box[1] + 0.6 * size, crowd.box[3] - 0.6 * size
    room = min(int((high - low) / pitch), MOST_IN_COLUMN)
    left_over: list[RowName] = []
    for side, members in enumerate(_sides(names, roof, room, left_over, 14.0 * point)):
        members.sort(key=lambda member: member[1][1])
        levels = spread(np.array([at[1] for _, at in members]), pitch, low, high)
        for (name, at), level in zip(members, levels, strict=True):
            width = text_width(name.text, size, bold=True)
            band = shapely.box(crowd.box[0], level - 0.6 * pitch, crowd.box[2], level + 0.6 * pitch)
            beside = shapely.intersection(body, band)
            reach = [at[0], *(beside.bounds[::2] if not beside.is_empty else ())]
            edge = max(reach) + 12.0 * point if side else min(reach) - 12.0 * point - width
            left = float(np.clip(edge, crowd.box[0], crowd.box[2] - width))
            box = (left, level - 0.5 * pitch, left + width, level + 0.5 * pitch)
            start = np.array([left - 4.0 * point if side else left + width + 4.0 * point, level])
            if _crossed(start, at, roof) > CROSSING or not crowd.free(_inner(box)):
                left_over.append(name)
                continue
            crowd.take(box)
            overlay.texts.append(Text(name.text, (left, level), size, True, name.color, "left", True))
            overlay.shapes.append(Shape(np.stack([start, at]), line=style.MUTED, width=0.6 * point))
            overlay.shapes.append(Shape(dot(at, 1.5 * point), fill=style.INK))
            crowd.cover_line(start, at, point, 20.0)
    _key(overlay, crowd, [name for name in names if name in left_over])


def _crossed(start: Array, end: Array, roof: BaseGeometry) -> float:
    """Part of the roof's width that a line crosses."""
    low, _, high, _ = roof.bounds
    return float(shapely.length(shapely.intersection(roof, shapely.linestrings([start, end])))) / (high - low)


def dot(at: Array, radius: float) -> Array:
    """Outline (12, 2) of a dot, for the end of a line from a name. [px]."""
    turn = np.linspace(0.0, 2.0 * np.pi, 13)[:-1]
    return at + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _sides(
    names: list[RowName], roof: BaseGeometry, room: int, left_over: list[RowName], apart: float
) -> tuple[list[tuple[RowName, Array]], list[tuple[RowName, Array]]]:
    """Names on the left and on the right with the points they are tied to, a little inside a seen end.

    Of the ends and sides the shortest way out wins that is not crowded; names that have no short way, or no
    place in the columns of so much `room`, are added to `left_over`.
    """
    sides: tuple[list[tuple[RowName, Array]], list[tuple[RowName, Array]]] = ([], [])
    low, top, high, foot = roof.bounds
    for name in names:
        best: tuple[float, int, Array] | None = None
        for end, side in itertools.product(np.flatnonzero(name.seen), (0, 1)):
            at = name.ends[end] + INSET * (name.ends[1 - end] - name.ends[end])
            out = np.array([high + 1.0 if side else low - 1.0, at[1]])
            crossed = _crossed(out, at, roof)
            if crossed > CROSSING or len(sides[side]) >= room:
                continue
            near = sum(float(np.linalg.norm(at - other) < apart) for _, other in sides[0] + sides[1])
            level = sum(float(abs(at[1] - other[1]) < 0.03 * (foot - top)) for _, other in sides[side])
            way = abs(out[0] - at[0]) / (high - low)
            torn = 0.3 * any(other.plane == name.plane for other, _ in sides[1 - side])
            cost = 4.0 * crossed + way + 0.6 * near + 0.2 * level + torn + 0.03 * len(sides[side])
            if best is None or cost < best[0]:
                best = (cost, side, at)
        if best is None:
            left_over.append(name)
        else:
            sides[best[1]].append((name, best[2]))
    return sides


def _inner(box: Box) -> Box:
    """The box without its rim, which may share cells of the grid with a neighbor. [px]."""
    rim = 0.25 * (box[3] - box[1])
    return box[0], box[1] + rim, box[2], box[3] - rim


def _key(overlay: Overlay, crowd: Crowd, names: list[RowName]) -> None:
    """Numbers on the rows, and a list of them where the picture is empty."""
    point, size = overlay.point, overlay.type_size("legend")
    pitch = 1.22 * size
    for count in range(len(names), 0, -1):
        lines = ["Rows by number", *(f"{n}  {name.text}" for n, name in enumerate(names[:count], 1))]
        width = max(text_width(line, size, bold=True) for line in lines) + 8.0 * point
        corner = (crowd.box[0], crowd.box[3])
        found = crowd.place((width, pitch * len(lines) + 6.0 * point), corner, pull=0.05)
        if found is not None and crowd.empty(found):
            break
    else:
        overlay.unnamed += [name.name for name in names]
        return
    overlay.unnamed += [name.name for name in names[count:]]
    crowd.take(found)
    for index, line in enumerate(lines):
        at = (found[0] + 4.0 * point, found[1] + 3.0 * point + (index + 0.5) * pitch)
        color = names[index - 1].color if index else style.MUTED
        overlay.texts.append(Text(line, at, size, index > 0, color, "left", True))
    for index, name in enumerate(names[:count], 1):
        _number(overlay, crowd, str(index), name, size)


def _number(overlay: Overlay, crowd: Crowd, text: str, name: RowName, size: float) -> None:
    """A number beside a row, where it covers least."""
    room = (text_width(text, size, bold=True) + 2.0 * overlay.point, 1.1 * size)
    best = None
    for share in (0.5, 0.3, 0.7, 0.1, 0.9):
        anchor = name.ends[0] * (1.0 - share) + name.ends[1] * share
        best = best or crowd.place(room, (float(anchor[0]), float(anchor[1])), pull=3.0, most=1.5 * size)
    if best is None:
        overlay.unnamed.append(name.name)
        return
    crowd.take(best)
    middle = (best[0] + overlay.point, 0.5 * (best[1] + best[3]))
    overlay.texts.append(Text(text, middle, size, True, name.color, "left", True))


def spread(wanted: Array, pitch: float, low: float, high: float) -> Array:
    """Places in rising order, at least a pitch apart, near those wanted, between two bounds.

    Parameters
    ----------
    wanted : (n,) float
        In rising order. [px]
    pitch, low, high : float
        [px] The bounds hold while n - 1 pitches fit between them.

    Returns
    -------
    (n,) float
        Least squares under the spacing: pool adjacent violators, from memory of the textbook method.
    """
    count = len(wanted)
    shifted = wanted - pitch * np.arange(count)
    groups: list[tuple[float, int]] = []
    for value in shifted:
        mean, size = float(value), 1
        while groups and groups[-1][0] > mean:
            before, number = groups.pop()
            mean, size = (mean * size + before * number) / (size + number), size + number
        groups.append((mean, size))
    pooled = np.repeat([mean for mean, _ in groups], [size for _, size in groups]) if groups else np.zeros(0)
    return np.clip(pooled, low, max(high - pitch * (count - 1), low)) + pitch * np.arange(count)


def _write(
    overlay: Overlay, name: RowName, box: tuple[float, float, float, float]
) -> list[tuple[Array, Array]]:
    """The name in a box; the thin line to its row, if the two are not side by side, is given back too."""
    size = overlay.type_size("label")
    pad, middle = 3.0 * overlay.point, 0.5 * (box[1] + box[3])
    overlay.texts.append(Text(name.text, (box[0], middle), size, True, name.color, "left", True))
    near = np.clip(name.ends, (box[0] - pad, middle), (box[2] + pad, middle))
    gap = np.linalg.norm(near - name.ends, axis=1)
    end = int(np.argmin(gap))
    if gap[end] <= 9.0 * overlay.point:
        return []
    tie = (near[end], name.ends[end])
    overlay.shapes.append(Shape(np.stack(tie), line=style.MUTED, width=0.6 * overlay.point))
    return [tie]
