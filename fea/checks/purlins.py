"""Purlin lines: what snow brings to them, and their bending as continuous beams.

Sheets span from line to line as if hinged there, and reach past the outermost lines as levers; so force and
moment up the slope are kept, and the lines of a plane carry its snow to rounding (`LineLoads.total`). Demands
take more: what a lever would lift off the next line is no relief, and each place of a line takes what sheets
that run through over all lines bring, where that is more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from fea.checks.continuous import Spans, asce_patterns, beam_forces, worst_patterns
from roofmodel.framing import Framing
from roofmodel.snow.cases import SnowCase, case_forces
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Patterns = Callable[[int], tuple[Array, tuple[str, ...]]]

PIECES, MOST_PIECES = 16, 1200  # cells in a usual span, and in all spans of a line
MOST_AT_ONCE = 3e6  # numbers in one solve of many loadings
STRIPS = 3  # strips between two lines
NEAR = 1e-6  # places closer than this are one [m]

# Standards that ask for spans left half loaded: their rule, and the cases that it starts from.
PARTIAL: dict[str, Patterns] = {
    "ASCE/SEI 7-22": asce_patterns,
    "ASCE/SEI 7-16": asce_patterns,
    "NBCC 2020": worst_patterns,
}
PARTIAL_WORDS = {
    "ASCE/SEI 7-22": "Balanced snow is also left at half on spans by 7.5.1, cases 1 to 3 (from memory).",
    "ASCE/SEI 7-16": "Balanced snow is also left at half on spans by 7.5.1, cases 1 to 3 (from memory).",
    "NBCC 2020": "Balanced snow is also left at half on the worst choice of spans, 4.1.6.3.(2), from memory; "
    "on slopes above 15 degrees too, where the article does not ask for it (safe).",
    "EN 1991-1-3": "Snow is a fixed action there (clause 2, from memory): no span is left half loaded, only "
    "the arrangements of 5.3 count. Where snow is cleared away by hand, the annex may ask for more.",
    "measured": "Measured snow counts as it lay, on all spans.",
}


@dataclass(frozen=True)
class Cells:
    """One plane cut into cells, and the lines that carry them.

    Attributes
    ----------
    edges : (m + 1,) float
        Across the plane, u. [m]
    polygon : (c,) shapely Polygon
        On plan. [m]
    plane : int
    levels : (k + 1,) float
        Up the plane, v. [m]
    column, strip : (c,) int
        Cell of `edges` and of `levels` of each polygon.
    place : (c,) float
        Middle up the slope, v. [m]
    area : (c,) float
        On the slope. [m^2]
    """

    edges: Array
    levels: Array
    polygon: NDArray[np.object_]
    plane: int
    column: IntArray
    strip: IntArray
    place: Array
    area: Array


@dataclass(frozen=True)
class LineLoads:
    """What every purlin line takes in every case, before load factors, vertical.

    Attributes
    ----------
    cases : tuple of str, (q,)
    total : (q, l) float
        Their sum over the lines of a plane is the plane's snow. [N]
    mean, peak : (q, l) float
        Per length of line; the largest place by place. [N/m]
    reaction, sagging, hogging, shear : (q, l) float
        Largest over all supports, spans and patterns; NaN without frames. [N, N m, N m, N]
    pattern : tuple of tuple of str, (q, l)
        Pattern of the largest moment.
    moment : (q, l) float
        Largest factored moment with dead load, NaN without frames or dead load. [N m]
    spans : (l,) int
        Spans of each line, cantilevers among them; 0 without frames.
    assumed : (l,) bool
        Fewer than two supports were known, so the line's ends count as supports.
    """

    cases: tuple[str, ...]
    total: Array
    mean: Array
    peak: Array
    reaction: Array
    sagging: Array
    hogging: Array
    shear: Array
    pattern: tuple[tuple[str, ...], ...]
    moment: Array
    spans: IntArray
    assumed: NDArray[np.bool_]

    def some(self, which: slice) -> LineLoads:
        """Only some of the cases."""
        by_case = {
            name: getattr(self, name)[which]
            for name in (
                *("cases", "total", "mean", "peak", "reaction"),
                *("sagging", "hogging", "shear", "pattern", "moment"),
            )
        }
        return replace(self, **by_case)


def line_loads(
    roof: RoofSurface,
    framing: Framing,
    cases: tuple[SnowCase, ...],
    standard: str,
    factors: tuple[Array, Array],
    marks: Array,
) -> LineLoads:
    """Loads and bending of all purlin lines.

    Parameters
    ----------
    roof : RoofSurface
    framing : Framing
        l lines.
    cases : tuple of SnowCase, (q,)
    standard : str
        Decides whether spans are left half loaded.
    factors : (snow, dead), (q,) float each
        For the factored moment.
    marks : (p,) float
        Place up the slope of each plane where a load ends, so that no cell crosses it; NaN for none. [m]
    """
    count, lines = len(cases), len(framing.plane)
    total, mean, peak = (np.zeros((count, lines)) for _ in range(3))
    bent = np.full((5, count, lines), np.nan)
    words = [[""] * lines for _ in range(count)]
    spans, assumed = np.zeros(lines, dtype=np.int64), np.zeros(lines, dtype=bool)
    balanced = np.array([case.name.startswith("balanced") for case in cases])
    for plane in np.unique(framing.plane).tolist():
        on = np.flatnonzero(framing.plane == plane)
        cells = plane_cells(roof, framing, plane, marks[plane : plane + 1])
        force = case_forces(cases, cells.polygon, np.full(len(cells.polygon), plane))
        hinged, lifted, through = _shares(cells, framing, on)
        width = np.diff(cells.edges)
        full, off, run = (
            (share @ np.vstack([force, cells.area]).T).T.reshape(count + 1, len(on), -1)
            for share in (hinged, lifted, through)
        )
        total[:, on] = (full + off)[:-1].sum(axis=-1)
        *_, own = full = np.maximum(full, run)
        full, dead = full[:-1], own * framing.dead[plane]
        mean[:, on] = total[:, on] / np.diff(framing.ends[on], axis=1)[:, 0]
        peak[:, on] = (full / width).max(axis=-1)
        if not len(framing.frames[plane]):
            continue
        for members in _alike(cells, framing, on):
            beam, first, guessed = _beam(cells, framing, int(on[members[0]]))
            inside = slice(first, first + len(beam.edges) - 1)
            carried = full[:, members, inside]
            weight = dead[members, inside]
            worst, said, many = _bending(beam, carried, weight, (standard, balanced), factors)
            at = on[members]
            bent[:, :, at] = worst
            spans[at], assumed[at] = many, guessed
            for q in range(count):
                for k, line in enumerate(at.tolist()):
                    words[q][line] = said[q][k]
    reaction, sagging, hogging, shear, moment = bent
    names = tuple(case.name for case in cases)
    told = tuple(tuple(row) for row in words)
    return LineLoads(
        names, total, mean, peak, reaction, sagging, hogging, shear, told, moment, spans, assumed
    )


def plane_cells(
    roof: RoofSurface, framing: Framing, plane: int, marks: Array, up_to: float = np.inf
) -> Cells:
    """Cut a plane along frames, ends of lines, lines and other marks up the slope, and finer between them."""
    outline = roof.planes.outline[plane]
    on = framing.plane == plane
    low, bottom, high, top = outline.bounds
    top = min(top, up_to)
    fixed = [low, high, *framing.ends[on].ravel(), *framing.frames[plane]]
    columns = _merged(np.array(fixed), low, high)
    spans = np.diff(_merged(np.concatenate([[low, high], framing.frames[plane]]), low, high))
    pieces = np.clip(MOST_PIECES / len(spans), 2, PIECES)
    edges = _divided(columns, float(np.median(spans) / pieces))
    across = _merged(np.concatenate([[bottom, top], framing.up[on], marks[~np.isnan(marks)]]), bottom, top)
    levels = np.concatenate([np.linspace(a, b, STRIPS, endpoint=False) for a, b in pairwise(across.tolist())])
    levels = np.append(levels, across[-1])
    column, strip = (k.ravel() for k in np.meshgrid(np.arange(len(edges) - 1), np.arange(len(levels) - 1)))
    boxes = shapely.box(edges[column], levels[strip], edges[column + 1], levels[strip + 1])
    shapely.prepare(outline)
    cut = ~shapely.covers(outline, boxes)
    boxes[cut] = shapely.intersection(boxes[cut], outline)
    area = shapely.area(boxes)
    kept = area > 0.0
    boxes, column, strip = boxes[kept], column[kept], strip[kept]
    plan = shapely.transform(boxes, lambda uv: roof.planes.to_world(plane, uv)[:, :2])
    return Cells(
        edges, levels, plan, plane, column, strip, shapely.get_y(shapely.centroid(boxes)), area[kept]
    )


def _merged(places: Array, low: float, high: float) -> Array:
    """Places in rising order, each once."""
    found = np.unique(np.clip(places, low, high))
    return found[np.append(True, np.diff(found) > NEAR)]


def _divided(fixed: Array, longest: float) -> Array:
    """The fixed places and as many between them that no piece is longer."""
    parts = np.maximum(np.ceil(np.diff(fixed) / longest - 1e-6), 1.0).astype(int)
    pieces = [
        np.linspace(a, b, n, endpoint=False) for a, b, n in zip(fixed[:-1], fixed[1:], parts, strict=True)
    ]
    return np.append(np.concatenate(pieces), fixed[-1])


def _shares(cells: Cells, framing: Framing, on: IntArray) -> tuple[csr_array, csr_array, csr_array]:
    """Shares (l m, c) of each cell that each line takes at each place.

    Sheets hinged at the lines; what levers lift off then, negative; sheets that run through.
    """
    up, size, many = framing.up[on], len(cells.edges) - 1, len(cells.column)
    pair = np.clip(np.searchsorted(up, cells.place) - 1, 0, max(len(up) - 2, 0))
    upper = np.minimum(pair + 1, len(up) - 1)
    gap = np.where(upper > pair, up[upper] - up[pair], 1.0)
    high = np.where(upper > pair, (cells.place - up[pair]) / gap, 0.0)
    ends = framing.ends[on]
    first = np.searchsorted(cells.edges, ends[:, 0] - NEAR)
    last = np.maximum(np.searchsorted(cells.edges, ends[:, 1] - NEAR) - 1, first)

    def placed(line: IntArray, cell: IntArray, share: Array) -> csr_array:
        row = line * size + np.clip(cells.column[cell], first[line], last[line])
        return csr_array(coo_array((share, (row, cell)), shape=(len(up) * size, many)))

    line, cell = np.concatenate([pair, upper]), np.tile(np.arange(many), 2)
    share = np.concatenate([1.0 - high, high])
    hinged, lifted = placed(line, cell, np.maximum(share, 0.0)), placed(line, cell, np.minimum(share, 0.0))
    if len(up) < 3:
        return hinged, lifted, hinged
    sheet = beam_forces(Spans(cells.levels, up), np.eye(len(cells.levels) - 1)).reaction[cells.strip]
    every = np.tile(np.arange(len(up)), many)
    return hinged, lifted, placed(every, np.repeat(np.arange(many), len(up)), sheet.ravel())


def _alike(cells: Cells, framing: Framing, on: IntArray) -> list[IntArray]:
    """Groups of lines with the same ends and supports."""
    keys = np.column_stack([np.round(framing.ends[on], 6), framing.held[on]])
    _, group = np.unique(keys, axis=0, return_inverse=True)
    return [np.flatnonzero(group.ravel() == k) for k in range(group.max() + 1)]


def _beam(cells: Cells, framing: Framing, line: int) -> tuple[Spans, int, bool]:
    """A line's beam, its first cell, and whether its ends had to be taken for supports."""
    ends, held, frames = framing.ends[line], framing.held[line], framing.frames[framing.plane[line]]
    first, last = (int(np.argmin(np.abs(cells.edges - end))) for end in ends)
    edges = cells.edges[first : last + 1]
    inside = frames[(frames >= ends[0] - NEAR) & (frames <= ends[1] + NEAR)]
    supports = np.concatenate([inside, ends[held]])
    guessed = len(_merged(supports, *ends)) < 2 if len(supports) else True
    supports = _merged(ends if guessed else supports, *ends)
    at = np.unique(np.argmin(np.abs(edges[:, None] - supports), axis=0))
    return Spans(edges, edges[at]), first, bool(guessed)


def _bending(
    beam: Spans, force: Array, dead: Array, rule: tuple[str, NDArray[np.bool_]], factors: tuple[Array, Array]
) -> tuple[Array, list[list[str]], int]:
    """Worst forces (5, q, k) of k alike lines over all patterns, and the pattern of the largest moment."""
    standard, balanced = rule
    spans = len(beam.loaded)
    patterns, words = PARTIAL.get(standard, _no_patterns)(spans)
    factor = patterns[:, np.searchsorted(beam.loaded, beam.span)]
    snow, own = (f[:, None, None] for f in factors)
    worst, chosen = np.zeros((5, *force.shape[:2])), np.zeros(force.shape[:2], dtype=np.int64)
    for ways, some in ((factor, np.flatnonzero(balanced)), (factor[:1], np.flatnonzero(~balanced))):
        several = max(int(MOST_AT_ONCE / (ways.size * max(len(some), 1))), 1)
        for first in range(0, force.shape[1] if len(some) else 0, several):
            here = slice(first, first + several)
            load = ways[:, None, None] * force[some, here]
            plain = beam_forces(beam, load)
            whole = beam_forces(beam, snow[some] * load + own[some] * dead[here])
            parts = [plain.reaction.max(axis=-1), plain.sagging, plain.hogging, plain.shear]
            parts.append(np.maximum(whole.sagging, whole.hogging))
            worst[:, some, here] = np.stack([value.max(axis=0) for value in parts])
            chosen[some, here] = np.maximum(plain.sagging, plain.hogging).argmax(axis=0)
    return worst, [[words[int(k)] for k in row] for row in chosen], spans


def _no_patterns(spans: int) -> tuple[Array, tuple[str, ...]]:
    return np.ones((1, spans)), ("full on all spans",)
