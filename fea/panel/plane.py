"""The panel field of one plane for the clamps of its rows, and what it does to their stiffness."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import linalg
from shapely import Polygon

from fea.panel.field import CondensedField, condense_strips
from fea.panel.groups import Loads
from fea.panel.mesh import strip_mesh
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, Panel, SeamDetail
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

REACH = 4.0  # clip spacings of seam meshed beyond the outermost clamps; 2.6 is 5% too soft in pull [-]
BESIDE = 2  # strips without clamps beyond the outermost ones with clamps
SNAP = 0.005  # clamps are moved along their seam to multiples of this, so that strips are alike [m]
LINES_LIMIT = 400  # across the seams: cuts of 2,400 unknowns


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


def strip_ends(outline: Polygon, angle: float, across: Array) -> Array:
    """Lower and upper ends of seams within a plane's outline, up from its lowest point.

    Parameters
    ----------
    outline : Polygon
        In the plane's (u, v). [m]
    angle : float
        From the fall line to the seams, positive toward +u going up. [rad]
    across : (m,) float
        Places of the seams. [m]

    Returns
    -------
    (m, 2) float
        NaN for seams that miss the plane; outermost ends where the plane is cut in pieces. [m]
    """
    rise, side = _seam_axes(angle)
    points = np.asarray(outline.exterior.coords)
    up = points @ rise
    low, high = up.min(), up.max()
    foot = np.asarray(across)[:, None] * side
    lines = shapely.linestrings(np.stack([foot + (low - 1.0) * rise, foot + (high + 1.0) * rise], axis=1))
    inside = shapely.intersection(lines, outline)
    coordinates, which = shapely.get_coordinates(inside, return_index=True)
    out = np.full((len(foot), 2), np.nan)
    place = coordinates @ rise - low
    np.fmin.at(out[:, 0], which, place)
    np.fmax.at(out[:, 1], which, place)
    return out


def plane_field(
    layout: Layout,
    plane: int,
    outline: Polygon,
    panel: Panel,
    detail: SeamDetail,
    clamp: Clamp,
    *,
    refine: float = 1.0,
    reach: float = REACH,
    held: Mapping[str, bool] | None = None,
    loads: Loads | None = None,
) -> PlaneField:
    """Stiffness of the panels of one plane for all its clamps.

    Parameters
    ----------
    layout : Layout
    plane : int
    outline : Polygon
        Of the plane, (u, v). [m]
    panel, detail, clamp
    refine : float
        Divides the sizes of the elements.
    reach : float
        Clip spacings of seam that are meshed beyond the outermost clamps.
    held, loads
        As for `fea.panel.field.condense_strips`.

    Returns
    -------
    PlaneField

    Raises
    ------
    InputError
        No clamps or too many; a seam that misses the plane; rows so askew that the mesh has no end.
    """
    chosen, up, across, angle = seam_places(layout, plane, outline)
    seam = layout.clamp_seam[chosen]
    spacing = panel.seam_spacing
    first, count = int(seam.min()) - BESIDE, int(np.ptp(seam)) + 1 + 2 * BESIDE
    zero = float(np.mean(across - seam * spacing))
    ends = strip_ends(outline, angle, np.asarray(zero + (first + np.arange(count)) * spacing))
    missing = seam[~np.isfinite(ends[seam - first, 0])]
    if len(missing):
        message = (
            f"plane {plane}: seam {missing[0] + 1} carries a clamp, but misses the plane; move the clamp."
        )
        raise InputError(message)
    place = SNAP * np.round(up / SNAP)
    low = max(place.min() - reach * detail.clip_spacing, 0.0)
    high = min(place.max() + reach * detail.clip_spacing, float(np.nanmax(ends[:, 1])))
    least = detail.clip_spacing
    start, stop = _reach_of_strips(
        np.minimum(ends[:, 1], high) - np.maximum(ends[:, 0], low) > least, seam - first
    )
    ends, first = ends[start:stop], first + start
    grip = (clamp.grip_length, clamp.grip_height)
    mesh = strip_mesh(panel, detail, (-high, -low), -np.unique(place)[::-1], grip, refine)
    if len(mesh.x) > LINES_LIMIT:
        message = (
            f"plane {plane}: its clamps stand at {len(np.unique(place))} heights, so that the panel "
            f"field has {len(mesh.x)} lines, more than {LINES_LIMIT}; study fewer rows at once."
        )
        raise InputError(message)
    strips = [-np.sort(place[seam == first + i])[::-1] for i in range(len(ends))]
    field = condense_strips(mesh, panel, detail, grip, strips, ends, alike=False, held=held, loads=loads)
    rank = np.empty(len(chosen), dtype=np.int64)
    rank[np.lexsort((-place, seam))] = np.arange(len(chosen))
    order = (6 * rank[:, None] + np.arange(6)).ravel()
    return PlaneField(
        clamp=chosen,
        stiffness=field.stiffness[np.ix_(order, order)],
        push=field.push[order],
        first_seam=first,
        ends=ends,
        field=field,
        order=order,
        notes=_notes(place - up),
    )


def _reach_of_strips(there: NDArray[np.bool_], strip: IntArray) -> tuple[int, int]:
    """First and last plus one of the strips that go on beside those with clamps without a break."""
    low, high = int(strip.min()), int(strip.max())
    gone = np.flatnonzero(~there)
    before, after = gone[gone < low], gone[gone > high]
    return int(before[-1]) + 1 if len(before) else 0, int(after[0]) if len(after) else len(there)


def _notes(moved: Array) -> tuple[str, ...]:
    notes = [
        "Panel flexibility is linear: bearing and clips act both ways, as they do under snow that presses "
        "the sheet down; without snow beside the clamp the seam is softer.",
        "Clips of all seams of a plane stand on common lines, counted from its lowest point.",
    ]
    if np.abs(moved).max() > 1e-4:
        notes.append(
            "Some clamps were moved along their seams, by a few millimeters at most, to meet the mesh."
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
