"""The panel field of one plane for the clamps of its rows, and what it does to their stiffness."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import linalg
from shapely import Polygon

from fea.panel.field import CLAMP_LIMIT, CondensedField, condense_strips
from fea.panel.groups import Loads, Tell
from fea.panel.mesh import strip_mesh, window_to_holds
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, FixedPoint, Panel, SeamDetail
from roofmodel.layout import Layout
from roofmodel.memory import Memory, recall
from roofmodel.words import shortlist

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

REACH = 4.0  # clip spacings of seam meshed beyond the outermost clamps; 2.6 is 5% too soft in pull [-]
BESIDE = 2  # strips without clamps beyond the outermost ones with clamps
SNAP = 0.005  # clamps are moved along their seam to multiples of this, so that strips are alike [m]
CONFORMING = 160  # lines across the seams up to which all strips have lines at all clamps
LINES_LIMIT = 400  # across the seams: cuts of 2,400 unknowns
TOUCH = 1e-3  # pieces of seam shorter or nearer than this count for nothing [m]
EDGE, ALONG_EDGE = 1e-5, 0.01  # a step aside that gains so much length: the seam lies on an edge [m]
SHORTEST = 0.05  # strips without clamps that have less in the window are left out [m]


@dataclass(frozen=True)
class PlaneField:
    """What the clamps of one plane stand on.

    Attributes
    ----------
    clamp : (c,) int
        Clamps of the layout on this plane, in its order.
    stiffness : (6 c, 6 c) float
        Of the panel field, six of every clamp in that order: along, across, pull and rotations.
        [N/m, N, N m/rad]
    push : (6 c, q) float
        Loads on the sheets as forces on the clamps. [N, N m]
    first_seam : int
        Seam of strip 0 of the field.
    ends : (m, 2) float
        Lower and upper end of every strip, up the seam from the plane's lowest point. [m]
    field : CondensedField
    order : (6 c,) int
        Where each entry stands in the field.
    notes : tuple of str
        What was assumed.
    """

    clamp: IntArray
    stiffness: Array
    push: Array
    first_seam: int
    ends: Array
    field: CondensedField
    order: IntArray
    notes: tuple[str, ...]


def seam_places(layout: Layout, plane: int, outline: Polygon) -> tuple[IntArray, Array, Array, float]:
    """Clamps of a plane and where each stands.

    Returns
    -------
    clamp : (c,) int
    up, across : (c,) float
        Up from the plane's lowest point; across from the origin of its coordinates. [m]
    angle : float
        From the fall line to the seams. [rad]
    """
    clamp = np.flatnonzero(layout.row_plane[layout.clamp_row] == plane)
    if not len(clamp):
        message = f"plane {plane}: no clamp stands on it; leave it out of the panel field."
        raise InputError(message)
    angle = float(layout.seam_angle[layout.clamp_row[clamp[0]]])
    rise, side = _seam_axes(angle)
    lowest = (np.asarray(outline.exterior.coords) @ rise).min()
    uv = layout.clamp_uv[clamp]
    return clamp, uv @ rise - lowest, uv @ side, angle


def _seam_axes(angle: float) -> tuple[Array, Array]:
    """Up the seam and across it, in the plane's (u, v)."""
    return np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])


def strip_ends(outline: Polygon, angle: float, across: Array, at: Array) -> Array:
    """Lower and upper ends of seams within a plane's outline, up from its lowest point.

    Parameters
    ----------
    outline : Polygon
        In the plane's (u, v). [m]
    angle : float
        From the fall line to the seams, positive toward +u going up. [rad]
    across : (m,) float
        Places of the seams. [m]
    at : (m,) float
        A place up each seam: where the plane is cut in pieces, the piece that holds it, or the nearest. [m]

    Returns
    -------
    (m, 2) float
        NaN for seams that miss the plane. A seam within 0.01 mm of an edge that runs with it lies on the
        plane. [m]
    """
    ends = _piece_ends(outline, angle, across, at)
    for shift in (-EDGE, EDGE):
        beside = _piece_ends(outline, angle, across + shift, at)
        gained = np.nan_to_num(np.ptp(beside, axis=1)) - np.nan_to_num(np.ptp(ends, axis=1))
        ends = np.where(gained[:, None] > ALONG_EDGE, beside, ends)
    return ends


def _piece_ends(outline: Polygon, angle: float, across: Array, at: Array) -> Array:
    rise, side = _seam_axes(angle)
    up = np.asarray(outline.exterior.coords) @ rise
    low, high = up.min(), up.max()
    foot = across[:, None] * side
    lines = shapely.linestrings(np.stack([foot + (low - 1.0) * rise, foot + (high + 1.0) * rise], axis=1))
    parts, seam = shapely.get_parts(shapely.intersection(lines, outline), return_index=True)
    long = shapely.length(parts) > TOUCH
    parts, seam = parts[long], seam[long]
    points, part = shapely.get_coordinates(parts, return_index=True)
    pieces = np.tile([np.inf, -np.inf], (len(parts), 1))
    np.minimum.at(pieces[:, 0], part, points @ rise - low)
    np.maximum.at(pieces[:, 1], part, points @ rise - low)
    order = np.lexsort((pieces[:, 0], seam))
    pieces, seam = pieces[order], seam[order]
    new = np.ones(len(pieces), dtype=bool)
    new[1:] = (seam[1:] != seam[:-1]) | (pieces[1:, 0] - pieces[:-1, 1] > TOUCH)
    last = np.roll(new, -1)  # of the parts that touch each other
    pieces, seam = np.stack([pieces[new, 0], pieces[last, 1]], axis=1), seam[new]
    away = np.maximum(pieces[:, 0] - at[seam], at[seam] - pieces[:, 1])
    order = np.lexsort((np.maximum(away, 0.0), seam))
    found, nearest = np.unique(seam[order], return_index=True)
    out = np.full((len(across), 2), np.nan)
    out[found] = pieces[order[nearest]]
    return out


def clamp_strips(
    layout: Layout, plane: int, outline: Polygon, name: str, memory: Memory | None = None
) -> tuple[IntArray, Array, Array]:
    """Clamps of a plane, and the piece of its seam that each stands on.

    Parameters
    ----------
    layout : Layout
    plane : int
    outline : Polygon
        Of the plane, (u, v). [m]
    name : str
        Of the plane, for messages.
    memory : Memory, optional
        Keeps the ends of seams whose clamps do not move.

    Returns
    -------
    clamp : (c,) int
    up : (c,) float
        Up from the plane's lowest point. [m]
    ends : (c, 2) float
        Of the piece, from the same point. [m]

    Raises
    ------
    InputError
        A clamp off its seam.
    """
    chosen, up, across, angle = seam_places(layout, plane, outline)
    key = ("seam ends", plane, angle, across.tobytes(), up.tobytes())
    ends = recall(memory, key, partial(strip_ends, outline, angle, across, up))
    on = (up > ends[:, 0] - TOUCH) & (up < ends[:, 1] + TOUCH)
    if not on.all():
        label = layout.clamp_name[chosen[np.argmin(on)]]
        message = (
            f"clamp {label}: its seam has no length on plane {name} there; move the row, or end it sooner."
        )
        raise InputError(message)
    return chosen, np.clip(up, ends[:, 0], ends[:, 1]), ends


def plane_field(
    layout: Layout,
    plane: int,
    outline: Polygon,
    panel: Panel,
    detail: SeamDetail,
    clamp: Clamp,
    *,
    name: str = "",
    refine: float = 1.0,
    reach: float = REACH,
    held: Mapping[str, bool] | None = None,
    loads: Loads | None = None,
    tell: Tell | None = None,
) -> PlaneField:
    """Stiffness of the panels of one plane for all its clamps.

    Parameters
    ----------
    layout : Layout
    plane : int
    outline : Polygon
        Of the plane, (u, v). [m]
    panel, detail, clamp
    name : str
        Of the plane, for messages.
    refine : float
        Divides the sizes of the elements.
    reach : float
        Clip spacings of seam that are meshed beyond the outermost clamps.
    held, loads, tell
        As for `fea.panel.field.condense_strips`.

    Returns
    -------
    PlaneField

    Raises
    ------
    InputError
        No clamps or too many; a clamp off its seam; rows so askew that the mesh has no end.
    """
    called = f"plane {name or plane}"
    chosen, up, own = clamp_strips(layout, plane, outline, name or str(plane))
    if len(chosen) > CLAMP_LIMIT:
        message = (
            f"analysis.panel_flexibility: {called} carries {len(chosen)} clamps, more than the {CLAMP_LIMIT} "
            "that can be solved with their panels; set it to false, or give the plane fewer rows."
        )
        raise InputError(message)
    place = SNAP * np.round(up / SNAP)
    half = 0.5 * clamp.grip_length
    first, ends = _ends_beside(layout, plane, outline, panel.seam_spacing, (up, own))
    strip = layout.clamp_seam[chosen] - first
    np.fmin.at(ends[:, 0], strip, place - half)
    np.fmax.at(ends[:, 1], strip, place + half)
    top = float(np.nanmax(ends[:, 1]))
    window = (-place.max() - reach * detail.clip_spacing, -place.min() + reach * detail.clip_spacing)
    window = window_to_holds(detail, (max(window[0], -top), min(window[1], 0.0)), top)
    low, high = min(-window[1], place.min() - half), max(-window[0], place.max() + half)
    inside = np.nan_to_num(np.minimum(ends[:, 1], high) - np.maximum(ends[:, 0], low))
    start, stop = _reach_of_strips(inside > detail.clip_spacing, strip)
    ends[~_with_clamps(inside > SHORTEST, strip)] = np.nan
    ends, first, strip = ends[start:stop], first + start, strip - start
    grip = (clamp.grip_length, clamp.grip_height)
    mesh = strip_mesh(panel, detail, (-high, -low), -np.unique(place)[::-1], grip, refine)
    options: dict[str, Any] = {}
    if len(mesh.x) > CONFORMING:
        mesh = strip_mesh(panel, detail, (-high, -low), np.zeros(0), grip, refine)
        options = {
            "own_lines": refine,
            "windows": _windows(place, strip, len(ends), reach * detail.clip_spacing, detail.fixed_at),
        }
    if len(mesh.x) > LINES_LIMIT:
        message = (
            f"analysis.panel_flexibility: the panel field of {called} takes {len(mesh.x)} lines across the "
            f"seams, more than {LINES_LIMIT}; set it to false, or give the plane fewer rows."
        )
        raise InputError(message)
    strips = [-np.sort(place[strip == i])[::-1] for i in range(len(ends))]
    field = condense_strips(
        mesh, panel, detail, grip, strips, ends, alike=False, held=held, loads=loads, tell=tell, **options
    )
    rank = np.empty(len(chosen), dtype=np.int64)
    rank[np.lexsort((-place, strip))] = np.arange(len(chosen))
    order = (6 * rank[:, None] + np.arange(6)).ravel()
    return PlaneField(
        clamp=chosen,
        stiffness=field.stiffness[np.ix_(order, order)],
        push=field.push[order],
        first_seam=first,
        ends=ends,
        field=field,
        order=order,
        notes=_notes(place - up, _overhanging(layout, chosen, up, own, half)),
    )


def _reach_of_strips(there: NDArray[np.bool_], strip: IntArray) -> tuple[int, int]:
    """First and last plus one of the strips that go on beside those with clamps without a break."""
    low, high = int(strip.min()), int(strip.max())
    gone = np.flatnonzero(~there)
    before, after = gone[gone < low], gone[gone > high]
    return int(before[-1]) + 1 if len(before) else 0, int(after[0]) if len(after) else len(there)


def _windows(place: Array, strip: IntArray, count: int, reach: float, fixed_at: FixedPoint) -> Array:
    """What to mesh of every strip, (m, 2): so far beyond the clamps on it and beside it. [m].

    Toward the fixed point nothing is left out: there strips share what they carry along the seams.
    """
    carry = np.unique(strip)
    near = max(BESIDE, int(np.diff(carry, prepend=0, append=count - 1).max()))
    beside = np.abs(strip - np.arange(count)[:, None]) <= near
    low = np.where(beside, place, np.inf).min(axis=1) - reach
    high = np.where(beside, place, -np.inf).max(axis=1) + reach
    if fixed_at is not FixedPoint.RIDGE:
        low[:] = -np.inf
    if fixed_at is not FixedPoint.EAVE:
        high[:] = np.inf
    return np.stack([low, high], axis=1)


def _ends_beside(
    layout: Layout, plane: int, outline: Polygon, spacing: float, clamps: tuple[Array, Array]
) -> tuple[int, Array]:
    """Seam of the first strip that may belong to the field, and the ends of all that may, (m, 2)."""
    up, own = clamps
    chosen, _, across, angle = seam_places(layout, plane, outline)
    seam = layout.clamp_seam[chosen]
    first = int(seam.min()) - BESIDE
    number = first + np.arange(int(np.ptp(seam)) + 1 + 2 * BESIDE)
    nearest = np.abs(seam - number[:, None]).argmin(axis=1)
    zero = float(np.mean(across - seam * spacing))
    ends = strip_ends(outline, angle, np.asarray(zero + number * spacing), up[nearest])
    np.fmin.at(ends[:, 0], seam - first, own[:, 0])
    np.fmax.at(ends[:, 1], seam - first, own[:, 1])
    return first, ends


def _with_clamps(there: NDArray[np.bool_], strip: IntArray) -> NDArray[np.bool_]:
    """Strips in one run, without a gap, with a strip that carries a clamp."""
    there = there.copy()
    there[strip] = True
    run = np.cumsum(~there)
    return np.asarray(there & np.isin(run, run[strip]))


def _overhanging(layout: Layout, clamp: IntArray, up: Array, ends: Array, half: float) -> list[str]:
    """Names of the clamps whose grip reaches over the end of its seam."""
    over = np.maximum(ends[:, 0] - up, up - ends[:, 1]) + half > TOUCH
    return [layout.clamp_name[c] for c in clamp[over]]


def _notes(moved: Array, overhanging: list[str]) -> tuple[str, ...]:
    notes = [
        "Clips of all seams of a plane stand on common lines, counted from its lowest point.",
    ]
    if np.abs(moved).max() > 1e-4:
        notes.append(
            "Some clamps were moved along their seams, by a few millimeters at most, to meet the mesh."
        )
    if overhanging:
        notes.append(
            f"The grip of {shortlist(overhanging, 3)} reaches over the end of its seam, which is "
            "taken to go on as far as the grip; move the row."
        )
    return tuple(notes)


def series(clamps: Array, panel: Array) -> Array:
    """Stiffness of clamps on a panel field.

    Parameters
    ----------
    clamps : (6 c, 6 c) float
        Of the clamps alone, positive definite; zero between different clamps.
    panel : (6 c, 6 c) float
        Of the panel field at the grips, at least positive semi-definite.

    Returns
    -------
    (6 c, 6 c) float
        K_c - K_c (K_c + K_P)^-1 K_c.
    """
    factor = linalg.cho_factor(clamps + panel, lower=True)
    K = clamps - clamps @ linalg.cho_solve(factor, clamps)
    return np.asarray(0.5 * (K + K.T))
