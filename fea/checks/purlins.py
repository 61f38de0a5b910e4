"""Purlin lines: what snow brings to them, and their bending as continuous beams.

Sheets span from line to line as if hinged there, and reach past the outermost lines as levers; so force and
moment up the slope are kept, and the lines of a plane carry its snow to rounding (`LineLoads.total`). Demands
take more: what a lever would lift off the next line is no relief, and each place of a line takes what sheets
that run through over all lines bring, where that is more. What lifts a line, or a line off its frames, is a
demand of its own: the most that either reading of the sheets brings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from fea.checks.continuous import FULL, Spans, asce_patterns, beam_forces, worst_patterns
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
TIE = 1e-9  # patterns that differ by less bring the same, and the first of them is named [-]

BENT = ("reaction", "uplift", "sagging", "hogging", "shear")  # quantities with a pattern of their own

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
    lift, lift_dead : (q, l) float
        Largest upward load of the line place by place, 0 at least: of snow alone, and with dead load, NaN
        where none is given. [N/m]
    reaction, sagging, hogging, shear : (q, l) float
        Largest over all supports, spans and patterns; NaN without frames. [N, N m, N m, N]
    uplift, uplift_dead : (q, l) float
        Largest pull upward on any support over all patterns, 0 at least: of snow alone, and with dead load.
        NaN without frames, or dead load. [N]
    patterns : dict of str to (q, l) object
        Pattern of each of `BENT`, "" without frames; the first of equals.
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
    lift: Array
    lift_dead: Array
    reaction: Array
    uplift: Array
    uplift_dead: Array
    sagging: Array
    hogging: Array
    shear: Array
    patterns: dict[str, NDArray[np.object_]]
    moment: Array
    spans: IntArray
    assumed: NDArray[np.bool_]

    def some(self, which: slice) -> LineLoads:
        """Only some of the cases."""
        by_case = {
            name: getattr(self, name)[which]
            for name in (
                "cases",
                "total",
                "mean",
                "peak",
                "lift",
                "lift_dead",
                "uplift_dead",
                "moment",
                *BENT,
            )
        }
        return replace(self, **by_case, patterns={name: told[which] for name, told in self.patterns.items()})

    def pattern(self, case: int, line: int) -> str:
        """Pattern of the largest moment."""
        worst = "sagging" if self.sagging[case, line] > self.hogging[case, line] else "hogging"
        return str(self.patterns[worst][case, line])


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
    total, mean, peak, lift, lift_dead = (np.zeros((count, lines)) for _ in range(5))
    bent = np.full((len(BENT) + 2, count, lines), np.nan)
    told = np.full((len(BENT), count, lines), "", dtype=object)
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
        readings = np.stack([np.maximum(full, run), full + off, run])  # (3, q + 1, k, m)
        snow, dead = readings[:, :-1], readings[:, -1] * framing.dead[plane]
        mean[:, on] = total[:, on] / np.diff(framing.ends[on], axis=1)[:, 0]
        peak[:, on] = (snow[0] / width).max(axis=-1)
        lift[:, on] = _upward(snow[1:] / width)
        lift_dead[:, on] = _upward((snow[1:] + dead[1:, None]) / width)
        if not len(framing.frames[plane]):
            continue
        for members in _alike(cells, framing, on):
            beam, first, guessed = _beam(cells, framing, int(on[members[0]]))
            inside = slice(first, first + len(beam.edges) - 1)
            at = on[members]
            bent[:, :, at], told[:, :, at] = _bending(
                beam, snow[:, :, members, inside], dead[:, members, inside], (standard, balanced), factors
            )
            spans[at], assumed[at] = len(beam.loaded), guessed
    reaction, uplift, sagging, hogging, shear, uplift_dead, moment = bent
    return LineLoads(
        cases=tuple(case.name for case in cases),
        total=total,
        mean=mean,
        peak=peak,
        lift=lift,
        lift_dead=lift_dead,
        reaction=reaction,
        uplift=uplift,
        uplift_dead=uplift_dead,
        sagging=sagging,
        hogging=hogging,
        shear=shear,
        patterns=dict(zip(BENT, told, strict=True)),
        moment=moment,
        spans=spans,
        assumed=assumed,
    )


def _upward(load: Array) -> Array:
    """Largest upward value (q, k) of loads (readings, q, k, m), without rounding."""
    up = -load.min(axis=(0, -1))
    return np.where(up <= TIE * np.abs(load).max(axis=(0, -1)), 0.0, up)


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
) -> tuple[Array, NDArray[np.object_]]:
    """Worst forces (7, q, k) of k alike lines over all patterns: `BENT`, uplift with dead load, moment.

    `force` (3, q, k, m) and `dead` (3, k, m): what counts as load, then both readings of the sheets, which
    can lift. Also the pattern (5, q, k) of each of `BENT`.
    """
    standard, balanced = rule
    patterns, words = PARTIAL.get(standard, _no_patterns)(len(beam.loaded))
    factor = patterns[:, np.searchsorted(beam.loaded, beam.span)]
    shape = force.shape[1:3]
    worst, told = np.zeros((len(BENT) + 2, *shape)), np.full((len(BENT), *shape), "", dtype=object)
    for ways, some in ((factor, np.flatnonzero(balanced)), (factor[:1], np.flatnonzero(~balanced))):
        several = max(int(MOST_AT_ONCE / (ways.size * max(len(some), 1))), 1)
        for first in range(0, shape[1] if len(some) else 0, several):
            here = slice(first, first + several)
            given = (force[:, some, here], dead[:, here], factors[0][some], factors[1][some])
            found = _loaded(beam, ways, *given)
            largest = found.max(axis=1)
            worst[:, some, here] = largest
            chosen = (found >= largest[:, None] * (1.0 - TIE)).argmax(axis=1)[: len(BENT)]
            told[:, some, here] = np.array(words, dtype=object)[chosen]
    return worst, told


def _loaded(beam: Spans, ways: Array, force: Array, dead: Array, snow: Array, own: Array) -> Array:
    """What `_bending` gives, pattern by pattern, (7, patterns, q, k)."""
    pattern = ways[:, None, None]
    plain = beam_forces(beam, pattern * force[0])
    whole = beam_forces(beam, snow[:, None, None] * pattern * force[0] + own[:, None, None] * dead[0])
    sagging, hogging, shear = plain.sagging, plain.hogging, plain.shear
    moment = np.maximum(whole.sagging, whole.hogging)
    scale = np.abs(plain.reaction).max(axis=-1)
    ups = [(plain.reaction, beam_forces(beam, dead[0]).reaction)]
    for sheet, weight in zip(force[1:], dead[1:], strict=True):
        if not np.any(sheet < 0.0) and np.allclose(sheet, force[0]):
            continue
        lifted = beam_forces(beam, pattern * sheet)
        sagging, hogging = np.maximum(sagging, lifted.sagging), np.maximum(hogging, lifted.hogging)
        shear = np.maximum(shear, lifted.shear)
        # Dead load relieves what lifts, so none of it is counted there.
        most = np.maximum(lifted.sagging, lifted.hogging)
        moment = np.maximum(moment, snow[:, None] * most + 0.0 * moment)
        ups.append((lifted.reaction, beam_forces(beam, weight).reaction))
    up = -np.min([reaction.min(axis=-1) for reaction, _ in ups], axis=0)
    net = -np.min([(reaction + weight).min(axis=-1) for reaction, weight in ups], axis=0)
    up, net = (np.where(value <= TIE * scale, 0.0, value) for value in (up, net))
    return np.stack([plain.reaction.max(axis=-1), up, sagging, hogging, shear, net, moment])


def _no_patterns(spans: int) -> tuple[Array, tuple[str, ...]]:
    return np.ones((1, spans)), (FULL,)
