"""Dormers on the planes of a built roof, by exact intersection with all slopes that they run into."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.shape.envelopes import FINE, SLIVER, Cell, areal, lowest, merged, split, where_below
from roofmodel.shape.planes import plan_polygons
from roofmodel.surface import Planes

KINDS = ("gable", "hip", "shed")
INSIDE = 1e-6  # a dormer may reach this far over the bounds of its plane, by rounding [m]
LEVEL = 1e-6  # planes that rise less than this are level


@dataclass(frozen=True)
class Dormer:
    """A dormer on one plane.

    Attributes
    ----------
    plane : str
        Name of the plane on the roof without dormers.
    across, up : float
        Middle of its front from the left end of the plane, looking up the slope, and distance of the front
        from the plane's lowest point up the slope. [m]
    width : float
        Between its cheeks. [m]
    height : float
        Of its eaves above the plane at the front; 0 for none, so that valleys start at the front. [m]
    pitch : float
        [rad]
    kind : str
        "gable" or "hip" with a level ridge square to the front, "shed" falling to the front.
    name : str
        For messages.
    """

    plane: str
    across: float
    up: float
    width: float
    height: float
    pitch: float
    kind: str = "gable"
    name: str = "dormer"


def with_dormers(planes: Planes, cells: Sequence[Cell], dormers: Sequence[Dormer]) -> list[Cell]:
    """Cells of a roof with dormers on it; cheeks are walls below the edges of the dormers.

    Parameters
    ----------
    planes : Planes
        Of the roof without dormers.
    cells : sequence of Cell
        Of the same roof.
    dormers : sequence of Dormer

    Returns
    -------
    list of Cell

    Raises
    ------
    InputError
        Names the dormer: no such plane, too large for it, too steep, or two in one place.
    """
    outlines = plan_polygons(planes)
    whole = shapely.union_all([cell for _, cell in cells], grid_size=FINE).buffer(INSIDE)
    taken: list[tuple[str, BaseGeometry]] = []
    own: list[Cell] = []
    for dormer in dormers:
        if dormer.plane not in planes.name:
            message = (
                f"{dormer.name}: there is no plane {dormer.plane!r} on the roof without dormers; there are "
                f"{', '.join(planes.name[:12])}."
            )
            raise InputError(message)
        number = planes.name.index(dormer.plane)
        found = _cells(planes, number, cells, dormer, outlines[number].buffer(INSIDE), whole)
        area = shapely.union_all([cell for _, cell in found], grid_size=FINE)
        rival = next((name for name, other in taken if other.intersection(area).area > SLIVER), None)
        if rival is not None:
            message = f"{dormer.name}: it stands in the place of {rival}; set them apart."
            raise InputError(message)
        taken.append((dormer.name, area))
        own += found
    hidden = shapely.union_all([area for _, area in taken], grid_size=FINE)
    left = [(plane, areal(shapely.difference(cell, hidden, grid_size=FINE))) for plane, cell in cells]
    return merged(split([*left, *own]))


def _cells(
    planes: Planes,
    number: int,
    cells: Sequence[Cell],
    dormer: Dormer,
    outline: BaseGeometry,
    whole: BaseGeometry,
) -> list[Cell]:
    """Planes of a dormer where they lie above the roof, from its front as far as they come out of it."""
    own = np.tan(dormer.pitch)
    _check(dormer, float(np.tan(planes.slope[number])), float(own))
    foot = planes.to_world(number, np.array([[dormer.across, dormer.up]]))[0]
    side = planes.across[number][:2]
    inward = np.array([-side[1], side[0]])
    half, eave = 0.5 * dormer.width, foot[2] + dormer.height
    if dormer.kind == "shed":
        slopes = [(inward, eave)]
    else:
        slopes = [(side, eave + own * half), (-side, eave + own * half)]
        slopes += [(inward, eave)] if dormer.kind == "hip" else []
    left, right = foot[:2] - half * side, foot[:2] + half * side
    x0, y0, x1, y1 = whole.bounds
    deep = (np.hypot(x1 - x0, y1 - y0) + dormer.width) * inward
    surfaces = np.array([[*(own * way), level - own * way @ foot[:2]] for way, level in slopes])
    if not outline.covers(shapely.LineString([left, right])):
        message = (
            f"{dormer.name}: its front reaches off the plane {dormer.plane}; move it or make it narrower."
        )
        raise InputError(message)
    strip = Polygon([left, right, right + deep, left + deep])
    pieces = [
        (plane, main, piece)
        for plane, area in lowest(strip, surfaces)
        for main, cell in cells
        for piece in shapely.get_parts(
            where_below(areal(shapely.intersection(area, cell, grid_size=FINE)), main, plane)
        )
        if piece.area > SLIVER
    ]
    # Pieces that touch up to rounding hang together; those behind another slope are no part of the dormer.
    blobs = shapely.get_parts(shapely.union_all([piece.buffer(INSIDE) for _, _, piece in pieces]))
    front = shapely.LineString([left, right])
    blob = max(blobs, key=lambda one: float(one.intersection(front).length), default=Polygon())
    own_pieces = [one for one in pieces if blob.covers(shapely.point_on_surface(one[2]))]
    corners = shapely.get_coordinates([piece for _, _, piece in own_pieces])
    depth = float((corners @ inward - foot[:2] @ inward).max(initial=0.0))
    needed = Polygon([left, right, right + depth * inward, left + depth * inward])
    over = any(main[:2] @ inward < -LEVEL for _, main, _ in own_pieces)
    if over or not whole.covers(needed):
        message = (
            f"{dormer.name}: it runs {'over the ridge' if over else 'off the roof'} before it meets a slope; "
            "make it lower, narrower or flatter, move it, or build it as a part of its own."
        )
        raise InputError(message)
    return split([(plane, piece) for plane, _, piece in own_pieces])


def _check(dormer: Dormer, rate: float, own: float) -> None:
    slope = np.degrees(np.arctan(rate))
    wrong = ""
    if dormer.kind not in KINDS:
        wrong = f"kind {dormer.kind!r} is not known; use {', '.join(KINDS)}"
    elif not (dormer.width > 0.0 and dormer.height >= 0.0 and dormer.up >= 0.0):
        wrong = "width must be above 0, height and up at least 0"
    elif rate < np.tan(np.radians(1.0)):
        wrong = f"the plane {dormer.plane} is level; a dormer needs a slope to run into"
    elif dormer.kind == "shed" and not (own < rate and dormer.height > 0.0):
        wrong = (
            f"a shed dormer needs a height above 0 and a pitch below that of its plane, {slope:.4g} degrees, "
            f"got {np.degrees(np.arctan(own)):.4g}"
        )
    elif dormer.kind != "shed" and own <= 0.0:
        wrong = f"a {dormer.kind} dormer needs a pitch above 0"
    elif dormer.kind == "hip" and dormer.height == 0.0 and own <= rate:
        wrong = (
            "its front slope would lie below the roof; give it a height, or a pitch above "
            f"{slope:.4g} degrees"
        )
    if wrong:
        message = f"{dormer.name}: {wrong}."
        raise InputError(message)
