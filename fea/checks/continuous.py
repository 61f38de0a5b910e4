"""Continuous beams on firm supports under loads that leave spans half loaded.

Three-moment equation (Clapeyron; any textbook of structural analysis) for constant bending stiffness, with
cantilevers at either end. Moments are positive where they stretch the underside, reactions where they push
up. Everything is linear in the loads, so patterns are factors on spans.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FULL = "full on all spans"  # the pattern of balanced snow
IntArray = NDArray[np.int64]

TOUCH = 1e-6  # supports and ends nearer than this are one place [m]


@dataclass(frozen=True)
class Spans:
    """A beam cut into cells that no support splits.

    Attributes
    ----------
    edges : (m + 1,) float
        Ends of the cells, rising; the first and last are the beam's ends. [m]
    supports : (n,) float
        Rising, each on an edge; two or more. [m]
    """

    edges: Array
    supports: Array

    @property
    def span(self) -> IntArray:
        """Span of each cell (m,), 0 for the cantilever on the left even where there is none."""
        middle = 0.5 * (self.edges[:-1] + self.edges[1:])
        return np.searchsorted(self.supports, middle).astype(np.int64)

    @property
    def loaded(self) -> IntArray:
        """Spans that exist, cantilevers among them, left to right."""
        return np.unique(self.span)


@dataclass(frozen=True)
class BeamForces:
    """Forces of a beam under many loadings.

    Attributes
    ----------
    sagging, hogging : (...) float
        Largest and least moment anywhere, both as sizes. [N m]
    shear : (...) float
        Largest size. [N]
    reaction : (..., n) float
        Upward at each support. [N]
    span_moment : (..., n + 1) float
        Largest moment in each span, 0 at least. [N m]
    support_moment : (..., n) float
        Over each support. [N m]
    """

    sagging: Array
    hogging: Array
    shear: Array
    reaction: Array
    span_moment: Array
    support_moment: Array


def beam_forces(beam: Spans, force: Array) -> BeamForces:
    """Solve a continuous beam whose cells each carry an evenly spread force.

    Parameters
    ----------
    beam : Spans
        n supports, m cells.
    force : (..., m) float
        Downward force of each cell. [N]

    Returns
    -------
    BeamForces
        Exact for such loads: moments between the edges of a cell are parabolas.
    """
    edges, supports = beam.edges, beam.supports
    width, middle, span = np.diff(edges), 0.5 * (edges[:-1] + edges[1:]), beam.span
    length, count = np.diff(supports), len(supports)
    inner = (span > 0) & (span < count)
    first, last = span == 0, span == count
    at = np.where(inner, span - 1, 0)
    L = length[at]
    a = middle - supports[at]  # from the support on the left
    b = L - a
    low = np.eye(count)[:, at] * inner  # (n, m), support on the left of each cell
    high = np.eye(count)[:, np.minimum(at + 1, count - 1)] * inner
    # Terms 6 A x / L of a force spread over a cell: P a (L^2 - a^2 - h^2 / 4) / L for the right support.
    term = -(high * a * (L**2 - a**2 - 0.25 * width**2) / L + low * b * (L**2 - b**2 - 0.25 * width**2) / L)
    matrix = np.zeros((count, count))
    index = np.arange(count - 1)
    matrix[index, index + 1] = matrix[index + 1, index] = length
    matrix[index, index] += 2.0 * length
    matrix[index + 1, index + 1] += 2.0 * length
    for end, side in ((0, first), (count - 1, last)):
        matrix[end] = 0.0
        matrix[end, end] = 1.0
        term[end] = -np.abs(middle - supports[end]) * side
    support_moment = force @ np.linalg.solve(matrix, term).T
    step = np.diff(support_moment, axis=-1) / length
    low_shear = (force @ (low * b / L).T)[..., :-1] + step
    high_shear = (force @ (high * a / L).T)[..., 1:] - step
    reaction = np.zeros(support_moment.shape)
    reaction[..., :-1] += low_shear
    reaction[..., 1:] += high_shear
    reaction[..., 0] += force @ first
    reaction[..., -1] += force @ last
    place = np.searchsorted(edges, supports - TOUCH)
    push = np.zeros((*force.shape[:-1], len(edges)))
    push[..., place] = reaction
    right = np.cumsum(push - np.concatenate([0.0 * force[..., :1], force], axis=-1), axis=-1)
    left = right - push  # shear just left of each edge
    start = right[..., :-1]
    moment = np.concatenate(
        [0.0 * force[..., :1], np.cumsum((start - 0.5 * force) * width, axis=-1)], axis=-1
    )
    q = np.divide(force, width, out=np.zeros_like(force), where=width > 0.0)
    peak = np.divide(start, q, out=np.zeros_like(q), where=q > 0.0)
    inside = (peak > 0.0) & (peak < width)
    between = moment[..., :-1] + np.where(inside, 0.5 * start * peak, 0.0)
    cell = np.maximum(np.maximum(moment[..., :-1], moment[..., 1:]), between)
    per_span = np.zeros((*force.shape[:-1], count + 1))
    loaded, first_cell = np.unique(span, return_index=True)
    per_span[..., loaded] = np.maximum(np.maximum.reduceat(cell, first_cell, axis=-1), 0.0)
    return BeamForces(
        sagging=np.maximum(cell.max(axis=-1), 0.0),
        hogging=np.maximum(-moment.min(axis=-1), 0.0),
        shear=np.maximum(np.abs(right[..., :-1]), np.abs(left[..., 1:])).max(axis=-1),
        reaction=reaction,
        span_moment=per_span,
        support_moment=support_moment,
    )


def asce_patterns(spans: int) -> tuple[Array, tuple[str, ...]]:
    """Partial loading of continuous beams, ASCE/SEI 7-22 and 7-16 7.5.1, from memory.

    Case 1: full on one exterior span, half elsewhere; case 2: half on one exterior span, full elsewhere; case
    3: full on any two adjacent spans, half elsewhere. A cantilever is a span.

    Parameters
    ----------
    spans : int
        Cantilevers among them.

    Returns
    -------
    factor : (k, spans) float
        Full load on all spans first.
    words : tuple of str, (k,)
    """
    full, half = np.ones(spans), np.full(spans, 0.5)
    found = [(full, FULL)]
    if spans > 1:
        for end, name in ((0, "first"), (spans - 1, "last")):
            found.append((_with(half, [end], 1.0), f"7.5.1 case 1, full on the {name} span, half elsewhere"))
            found.append((_with(full, [end], 0.5), f"7.5.1 case 2, half on the {name} span, full elsewhere"))
    if spans > 2:
        found += [
            (_with(half, [i, i + 1], 1.0), f"7.5.1 case 3, full on spans {i + 1} and {i + 2}, half elsewhere")
            for i in range(spans - 1)
        ]
    return np.array([factor for factor, _ in found]), tuple(words for _, words in found)


def worst_patterns(spans: int) -> tuple[Array, tuple[str, ...]]:
    """Full load on any one part and half on the rest, NBCC 2020 4.1.6.3.(2), from memory.

    For prismatic beams the greatest effects come from every other span, and from two spans beside a support
    with every other one beyond (influence lines, any textbook); both with full and half exchanged.
    Returns as `asce_patterns`.
    """
    index = np.arange(spans)
    found = [(np.ones(spans), FULL)]
    if spans > 1:
        masks = [
            (index % 2 == k, f"spans {k + 1}, {k + 3} ..." if spans > k + 2 else f"span {k + 1}")
            for k in (0, 1)
        ]
        for i in range(spans - 1):
            away = np.where(index <= i, i - index, index - i - 1)
            masks.append((away % 2 == 0, f"spans {i + 1} and {i + 2} and every other beyond"))
        for mask, name in masks:
            if not mask.all():
                found.append((np.where(mask, 1.0, 0.5), f"4.1.6.3.(2), full on {name}, half elsewhere"))
                found.append((np.where(mask, 0.5, 1.0), f"4.1.6.3.(2), half on {name}, full elsewhere"))
    return np.array([factor for factor, _ in found]), tuple(words for _, words in found)


def _with(base: Array, at: list[int], value: float) -> Array:
    out = base.copy()
    out[at] = value
    return out
