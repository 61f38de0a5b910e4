"""Names of the rows beside the roof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from viewer import style
from viewer.picture.camera import View, hidden
from viewer.picture.labels import Crowd, Text, text_width
from viewer.picture.scene import Scene
from viewer.picture.sheet import Overlay, Shape

Array = NDArray[np.float64]

MOST_IN_COLUMN = 16  # more ties than this become a tangle
LONGEST = 18  # letters of a row's name that are shown


@dataclass(frozen=True)
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


def place_in_columns(overlay: Overlay, crowd: Crowd, names: list[RowName], scene: Scene, view: View) -> None:
    """Write the names in two columns beside the roof, in the order of the rows, tied to their ends."""
    point, size = overlay.point, overlay.type_size("legend")
    pitch = 1.22 * size
    room = min(int((crowd.box[3] - crowd.box[1]) / pitch), MOST_IN_COLUMN)
    roof = view.project(scene.cells.reshape(-1, 3))[:, 0]
    low, high = crowd.box[1] + 0.6 * size, crowd.box[3] - 0.6 * size
    for side, members in enumerate(_sides(names, pitch, low, high)):
        chosen = members[:room]
        overlay.unnamed += [name.name for name in members[room:]]
        # A name stands beside the end of its row that lies to this side.
        ends = np.array([n.ends[np.argmax(n.ends[:, 0] * (1 if side else -1))] for n in chosen]).reshape(
            -1, 2
        )
        order = np.argsort(ends[:, 1], kind="stable")
        levels = spread(ends[order, 1], pitch, low, high)
        for level, index in zip(levels, order, strict=True):
            name = chosen[index]
            width = text_width(name.text, size, bold=True)
            edge = roof.max() + 15.0 * point if side else roof.min() - 15.0 * point - width
            left = float(np.clip(edge, crowd.box[0], crowd.box[2] - width))
            box = (left, level - 0.5 * pitch, left + width, level + 0.5 * pitch)
            crowd.take(box)
            for start, end in _write(overlay, name, box, size):
                crowd.cover_line(start, end, point, 20.0)


def _sides(
    names: list[RowName], pitch: float, low: float, high: float
) -> tuple[list[RowName], list[RowName]]:
    """Left and right members: the rows of a plane together, on the side that moves names least."""

    def moved(members: list[RowName], side: int) -> float:
        wanted = np.sort([n.ends[np.argmax(n.ends[:, 0] * (1 if side else -1)), 1] for n in members])
        return float(np.sum(np.abs(spread(wanted, pitch, low, high) - wanted)))

    sides: tuple[list[RowName], list[RowName]] = ([], [])
    for plane in dict.fromkeys(name.plane for name in names):
        members = [name for name in names if name.plane == plane]
        blind = [
            sum(not n.seen[np.argmax(n.ends[:, 0] * (1 if side else -1))] for n in members) for side in (0, 1)
        ]
        cost = [moved(sides[side] + members, side) + 1e4 * blind[side] for side in (0, 1)]
        sides[int(cost[1] < cost[0])].extend(members)
    return sides


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
    overlay: Overlay, name: RowName, box: tuple[float, float, float, float], size: float | None = None
) -> list[tuple[Array, Array]]:
    """The name in a box; the thin line to its row, if the two are not side by side, is given back too."""
    size = overlay.type_size("label") if size is None else size
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
