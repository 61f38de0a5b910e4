"""Structured mesh of one panel strip: the sheet of one seam, half a pan to each side.

Axes are those of the seam: x along (down the slope), y across (to the right looking up), z away from the
roof; the pan lies at z = 0, the seam stands at y = 0 and its eave end at x = 0. Two legs, one of each sheet,
stand back to back; the fold at their top joins them. A strip is a grid of lines across the seam times the
points of its cross-section, cut in the middle of both pans.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import Bearing, Panel, SeamDetail

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

FINE, COARSE = 0.015, 0.08  # lines across the seam at the grips and away from them [m]
GROWTH = 0.3  # spacing gained per distance from a grip [-]


class Part(IntEnum):
    """What a piece of the cross-section is."""

    PAN = 0
    LEG = 1
    FOLD = 2


@dataclass(frozen=True)
class CrossSection:
    """Cross-section of a strip from its left cut to its right one.

    Attributes
    ----------
    yz : (s, 2) float
        Points: left pan, left leg up, right leg down, right pan. [m]
    segment : (k, 2) int
        Points that the sheet joins.
    part : (k,) int
        `Part` of each segment.
    left, right : (h,) int
        Points of the two legs from the pan to the top.
    """

    yz: Array
    segment: IntArray
    part: IntArray
    left: IntArray
    right: IntArray

    @property
    def length(self) -> Array:
        """Lengths of the segments, (k,). [m]."""
        ends = self.yz[self.segment]
        return np.asarray(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))

    def share(self) -> Array:
        """Length of sheet that belongs to each point, (s,); a fold counts once. [m]."""
        out = np.zeros(len(self.yz))
        np.add.at(out, self.segment, 0.5 * self.length[:, None])
        return out


def graded(breaks: Array, features: Array, fine: float, coarse: float, growth: float = 0.4) -> Array:
    """Lines through all breaks, `fine` apart at the features and growing away from them to `coarse`.

    Parameters
    ----------
    breaks : (b,) float
        Places that must be lines, first and last included. [m]
    features : (f,) float
        Places that need the fine spacing. [m]
    fine, coarse : float
        [m]
    growth : float
        Spacing gained per distance from a feature. [-]

    Returns
    -------
    (n,) float
        Increasing. [m]
    """
    breaks = np.unique(np.round(breaks, 9))
    pieces = []
    for a, b in itertools.pairwise(breaks):
        at = np.linspace(a, b, 65)
        near = np.abs(at[:, None] - features[None, :]).min(axis=1) if len(features) else np.full(65, np.inf)
        density = 1.0 / np.minimum(fine + growth * near, coarse)
        total = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(at))])
        count = max(int(np.ceil(total[-1] - 1e-9)), 1)
        pieces.append(np.interp(np.linspace(0.0, total[-1], count + 1)[:-1], total, at))
    return np.concatenate([*pieces, breaks[-1:]])


def _half_pan(panel: Panel, detail: SeamDetail, refine: float) -> Array:
    """Points from the seam to the middle of the pan, (n, 2) distance and height."""
    half, height = 0.5 * panel.seam_spacing, detail.pan_rib_height
    corners = [(0.0, 0.0), (half, 0.0)]
    for number in range(1, detail.pan_ribs + 1):
        middle = panel.seam_spacing * number / (detail.pan_ribs + 1)
        for part, up in ((-0.5, 0.0), (0.0, height), (0.5, 0.0)):
            y = middle + part * detail.pan_rib_width
            if y <= half + 1e-9:
                corners.append((y, up))
    points = np.array(sorted({(round(y, 9), z) for y, z in corners}, key=lambda p: (p[0], -p[1])))
    points = points[np.concatenate([[True], np.diff(points[:, 0]) > 1e-9])]
    fine = 0.02 / refine
    out = graded(points[:, 0], np.zeros(1), fine, 0.05 / refine, 0.35)
    return np.stack([out, np.interp(out, points[:, 0], points[:, 1])], axis=1)


def cross_section(panel: Panel, detail: SeamDetail, grip_height: float, refine: float = 1.0) -> CrossSection:
    """Cross-section of a strip.

    Parameters
    ----------
    panel, detail
    grip_height : float
        Of the clamp over the pan; becomes a point of both legs. [m]
    refine : float
        Divides the sizes of the elements.
    """
    half = _half_pan(panel, detail, refine)
    fold = panel.seam_height - detail.fold_height
    breaks = np.array([0.0, min(grip_height, panel.seam_height), fold, panel.seam_height])
    high = graded(breaks, np.zeros(0), 1.0, 0.0125 / refine)
    n, h = len(half), len(high)
    mirrored = half[::-1] * np.array([-1.0, 1.0])
    leg = np.stack([np.zeros(h), high], axis=1)
    yz = np.concatenate([mirrored, leg[1:], leg[:0:-1], half])
    left = np.arange(n - 1, n + h - 1)
    right = np.arange(n + 2 * h - 2, n + h - 2, -1)
    follow = np.stack([np.arange(len(yz) - 1), np.arange(1, len(yz))], axis=1)
    segment = follow[follow[:, 0] != left[-1]]
    middle = yz[segment].mean(axis=1)
    upright = np.abs(yz[segment][:, 1, 0] - yz[segment][:, 0, 0]) < 1e-12
    part = np.where(~upright, Part.PAN, np.where(middle[:, 1] > fold, Part.FOLD, Part.LEG))
    return CrossSection(yz, segment, part.astype(np.int64), left, right)


@dataclass(frozen=True)
class StripMesh:
    """One strip.

    Attributes
    ----------
    x : (l,) float
        Lines across the seam, increasing. [m]
    section : CrossSection
    xyz : (l s, 3) float
        Nodes, line by line. [m]
    """

    x: Array
    section: CrossSection
    xyz: Array

    @property
    def points(self) -> int:
        """Points of the cross-section."""
        return len(self.section.yz)

    def node(self, line: IntArray, point: IntArray) -> IntArray:
        """Node numbers of lines and points, broadcast."""
        return np.asarray(np.asarray(line) * self.points + np.asarray(point))

    def line_share(self) -> Array:
        """Length along the seam that belongs to each line, (l,). [m]."""
        step = np.diff(self.x)
        return 0.5 * (np.concatenate([[0.0], step]) + np.concatenate([step, [0.0]]))

    def quads(self) -> tuple[IntArray, IntArray]:
        """Elements (m, 4), and the segment of the cross-section of each (m,)."""
        line, segment = np.meshgrid(
            np.arange(len(self.x) - 1), np.arange(len(self.section.segment)), indexing="ij"
        )
        a, b = self.section.segment[segment.ravel()].T
        first = line.ravel()
        corners = [self.node(first, a), self.node(first + 1, a), self.node(first + 1, b), self.node(first, b)]
        return np.stack(corners, axis=1), segment.ravel()

    def lines_between(self, low: float, high: float) -> IntArray:
        """Lines from low to high, ends included."""
        return np.flatnonzero((self.x >= low - 1e-7) & (self.x <= high + 1e-7))


def clip_places(detail: SeamDetail, low: float, high: float) -> Array:
    """Middles of the clips whose patch lies between two places along the seam, (k,). [m]."""
    half = 0.5 * detail.clip_length
    first = np.ceil((-high + half - detail.clip_first) / detail.clip_spacing - 1e-9)
    last = np.floor((-low - half - detail.clip_first) / detail.clip_spacing + 1e-9)
    number = np.arange(max(first, 0.0), last + 1.0)
    return np.asarray(-(detail.clip_first + number * detail.clip_spacing)[::-1])


def purlin_places(detail: SeamDetail, low: float, high: float) -> Array:
    """Purlins between two places along the seam, one under the first clip, (k,). [m]."""
    first = np.ceil((-high - detail.clip_first) / detail.purlin_spacing - 1e-9)
    last = np.floor((-low - detail.clip_first) / detail.purlin_spacing + 1e-9)
    return np.asarray(-(detail.clip_first + np.arange(first, last + 1.0) * detail.purlin_spacing)[::-1])


def window_to_holds(detail: SeamDetail, window: tuple[float, float], length: float) -> tuple[float, float]:
    """A window along a seam, made wider where it takes that to reach the next clips and purlins.

    Parameters
    ----------
    detail : SeamDetail
    window : (float, float)
        From the upper to the lower end, x increasing down the slope. [m]
    length : float
        Of the seam, from x = -length to 0. [m]
    """
    low, high = window
    kinds = [(clip_places(detail, -length, 0.0), 0.5 * detail.clip_length)]
    if detail.bearing is Bearing.PURLINS:
        kinds.append((purlin_places(detail, -length, 0.0), 0.0))
    for places, half in kinds:
        if np.count_nonzero((places - half >= low - 1e-9) & (places + half <= high + 1e-9)) < 2:
            upper, lower = places[places - half < low], places[places + half > high]
            low = min([low, *(upper[-1:] - half)])
            high = max([high, *(lower[:1] + half)])
    return float(low), float(high)


def strip_mesh(
    panel: Panel,
    detail: SeamDetail,
    window: tuple[float, float],
    clamp_x: Array,
    grip: tuple[float, float],
    refine: float = 1.0,
) -> StripMesh:
    """Mesh of a strip in a window along its seam.

    Parameters
    ----------
    panel, detail
    window : (float, float)
        From the upper to the lower end, x increasing down the slope. [m]
    clamp_x : (k,) float
        Clamps, middle of their grip. [m]
    grip : (float, float)
        Length of a clamp along the seam and height of its grip over the pan. [m]
    refine : float
        Divides the sizes of all elements.

    Returns
    -------
    StripMesh
    """
    low, high = window
    length, height = grip
    ends = np.concatenate([clamp_x - 0.5 * length, clamp_x + 0.5 * length])
    clips = clip_places(detail, low, high)
    patches = np.concatenate([clips - 0.5 * detail.clip_length, clips + 0.5 * detail.clip_length])
    lines = [np.array([low, high]), ends, clamp_x, patches, -detail.through_fixings]
    if detail.bearing is Bearing.PURLINS:
        lines.append(purlin_places(detail, low, high))
    breaks = np.concatenate(lines)
    breaks = breaks[(breaks >= low - 1e-9) & (breaks <= high + 1e-9)]
    breaks = _apart(np.sort(breaks), 1e-3)
    x = graded(breaks, np.concatenate([ends, clamp_x]), FINE / refine, COARSE / refine, GROWTH)
    section = cross_section(panel, detail, height, refine)
    xyz = np.empty((len(x), len(section.yz), 3))
    xyz[..., 0], xyz[..., 1:] = x[:, None], section.yz
    return StripMesh(x, section, xyz.reshape(-1, 3))


def _apart(sorted_places: Array, least: float) -> Array:
    """Places that are at least this far apart; of near ones the first stays."""
    keep = np.concatenate([[True], np.diff(sorted_places) > least])
    keep[-1] = True
    return np.asarray(sorted_places[keep])
