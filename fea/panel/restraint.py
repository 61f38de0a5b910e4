"""Second fixed points: what else than its fixed point keeps a panel strip from moving with temperature.

A strip is a bar from its fixed point. Whatever holds it elsewhere along the seam (a clamp over a clip that
grips the seam, a screw through the sheet, a rail on strips that move differently) is a spring behind a length
of bar; its force under warmth is the free travel there times the stiffness of the series. Several such points
on one strip are solved together, exactly for a bar on springs.

Source: bar theory; Timoshenko, Strength of Materials I, art. 9 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.panel.mesh import cross_section
from fea.panel.model import sheet_share
from roofmodel.errors import InputError
from roofmodel.hardware import FixedPoint, Panel, SeamDetail
from roofmodel.units import SI, UnitSystem

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CLIP_UNDER_CLAMP = 1e-6  # overlap of grip and clip that counts [m]


class SecondPoint(StrEnum):
    """What holds a strip besides its fixed point."""

    FIXED_CLIP = "a clip that is fixed along the seam"
    CLAMP_ON_CLIP = "a clamp that presses the seam onto a clip"
    THROUGH_FIXING = "a screw through the sheet"
    RAIL = "a rail that joins it to strips that move differently"


@dataclass(frozen=True)
class Restraints:
    """Places that hold strips besides their fixed points, and what warmth does there.

    Attributes
    ----------
    strip : (k,) int
    place : (k,) float
        Up the seam from its lower end. [m]
    kind : tuple of SecondPoint, (k,)
    stiffness : (k,) float
        Of the holding part along the seam, without the bar. [N/m]
    force : (k,) float
        On the strip, down the seam positive, for the change of temperature. [N]
    anchorage : (m,) float
        Size of the force that all of them bring to each strip's fixed point. [N]
    stress : (m,) float
        Largest mean stress in each strip. [Pa]
    """

    strip: IntArray
    place: Array
    kind: tuple[SecondPoint, ...]
    stiffness: Array
    force: Array
    anchorage: Array
    stress: Array


def fixed_from_eave(length: Array, fixed_at: FixedPoint) -> Array:
    """Fixed points of strips, up from their lower ends, (m,). [m]."""
    share = {FixedPoint.EAVE: 0.0, FixedPoint.MIDDLE: 0.5, FixedPoint.RIDGE: 1.0}[fixed_at]
    return np.asarray(share * np.asarray(length, dtype=float))


def free_travel(length: Array, strip: IntArray, place: Array, detail: SeamDetail) -> Array:
    """Way that points on strips go down the seam when nothing but the fixed point holds them.

    Parameters
    ----------
    length : (m,) float
        Of the strips. [m]
    strip : (k,) int
    place : (k,) float
        Up the seam from its lower end. [m]
    detail : SeamDetail

    Returns
    -------
    (k,) float
        Positive down the seam, the seam's direction "along". [m]
    """
    fixed = fixed_from_eave(length, detail.fixed_at)[strip]
    return np.asarray(detail.sheet.alpha * detail.thermal * (fixed - place))


def strip_area(panel: Panel, detail: SeamDetail) -> float:
    """Cross-section of the sheet of one strip: its pan, both legs and the fold. [m^2]."""
    return float(sheet_share(cross_section(panel, detail, 0.0), panel, detail).sum())


def second_points(
    panel: Panel,
    detail: SeamDetail,
    length: Array,
    strip: IntArray,
    place: Array,
    *,
    grip_length: float,
    grips_clip: bool,
    rail_stiffness: Array | None = None,
    rail_travel: Array | None = None,
) -> Restraints:
    """Find second fixed points and the forces of a change of temperature.

    Parameters
    ----------
    panel, detail
    length : (m,) float
        Of the strips from lower to upper end. [m]
    strip : (c,) int
        Strip of every clamp.
    place : (c,) float
        Of every clamp up the seam from the strip's lower end. [m]
    grip_length : float
        Of a clamp along the seam. [m]
    grips_clip : bool
        Whether a clamp that stands over a clip stops the seam from sliding on it.
    rail_stiffness : (c,) float, optional
        Along the seam, of clamp and rail as the strip finds them there; 0 or nothing where no rail joins
        strips. [N/m]
    rail_travel : (c,) float, optional
        Way along the seam of that rail where it is left alone, such as the mean of `free_travel` over the
        strips it joins. [m]

    Returns
    -------
    Restraints
        Forces are those of `detail.thermal`.

    Raises
    ------
    InputError
        A strip without length, a clamp beyond its strip.
    """
    length, strip, place = np.asarray(length, float), np.asarray(strip), np.asarray(place, float)
    if not (length > 0.0).all():
        message = (
            f"panel strip {int(np.argmin(length)) + 1}: length = {length.min():g} m; it must be positive."
        )
        raise InputError(message)
    off = np.flatnonzero((place < 0.0) | (place > length[strip]))
    if len(off):
        message = (
            f"clamp {off[0] + 1}: it stands {place[off[0]]:.3g} m up a strip of "
            f"{length[strip[off[0]]]:.3g} m; it must stand on its strip."
        )
        raise InputError(message)
    parts = [
        _fixed_clips(detail, length),
        _clamps_on_clips(detail, strip, place, grip_length, grips_clip=grips_clip),
        _screws(detail, length),
        _rails(detail, length, strip, place, rail_stiffness, rail_travel),
    ]
    on, at, k, way = (np.concatenate([part[i] for part in parts]) for i in range(4))
    kind = tuple(name for part, name in zip(parts, SecondPoint, strict=True) for _ in range(len(part[0])))
    on = on.astype(np.int64)
    area = strip_area(panel, detail)
    force, anchorage, largest = _bars(detail, area, length, on, at, k, way)
    return Restraints(on, at, kind, k, force, anchorage, largest / area)


_Part = tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]  # strip, place, stiffness, own way


def _fixed_clips(detail: SeamDetail, length: Array) -> _Part:
    """Clips that hold along the seam by themselves."""
    count = np.floor((length - detail.clip_first) / detail.clip_spacing + 1e-9).astype(int) + 1
    count = np.maximum(count, 0) if detail.clip_stiffness[0] > 0.0 else np.zeros(len(length), dtype=int)
    strip = np.repeat(np.arange(len(length)), count)
    number = np.arange(len(strip)) - np.repeat(np.cumsum(count) - count, count)
    place = detail.clip_first + number * detail.clip_spacing
    return strip, place, np.full(len(strip), detail.clip_stiffness[0]), np.zeros(len(strip))


def _clamps_on_clips(
    detail: SeamDetail, strip: IntArray, place: Array, grip_length: float, *, grips_clip: bool
) -> _Part:
    """Clamps whose grip lies over a clip."""
    number = np.maximum(np.rint((place - detail.clip_first) / detail.clip_spacing), 0.0)
    clip = detail.clip_first + number * detail.clip_spacing
    over = 0.5 * (grip_length + detail.clip_length) - np.abs(place - clip) > CLIP_UNDER_CLAMP
    over &= grips_clip and not detail.clip_stiffness[0] > 0.0
    count = int(over.sum())
    return strip[over], clip[over], np.full(count, detail.fixed_stiffness), np.zeros(count)


def _screws(detail: SeamDetail, length: Array) -> _Part:
    strip, screw = np.nonzero(detail.through_fixings[None, :] <= length[:, None])
    place = detail.through_fixings[screw]
    return strip, place, np.full(len(strip), detail.fixed_stiffness), np.zeros(len(strip))


def _rails(
    detail: SeamDetail,
    length: Array,
    strip: IntArray,
    place: Array,
    stiffness: Array | None,
    travel: Array | None,
) -> _Part:
    """Clamps of rails whose own way differs from that of the strip."""
    if stiffness is None:
        none = np.zeros(0)
        return none, none, none, none
    own = np.zeros(len(place)) if travel is None else np.asarray(travel, dtype=float)
    apart = np.abs(own - free_travel(length, strip, place, detail)) > 1e-9
    use = apart & (np.asarray(stiffness) > 0.0)
    return strip[use], place[use], np.asarray(stiffness, dtype=float)[use], own[use]


def _bars(
    detail: SeamDetail, area: float, length: Array, strip: IntArray, place: Array, k: Array, way: Array
) -> tuple[Array, Array, Array]:
    """Forces on the strips at their springs, at their fixed points, and the largest in each strip.

    The points of one side of the fixed point share its bar: the flexibility between two of them is that of
    the fixed point plus the bar up to the nearer one. All strips are padded to as many points and solved
    at once.
    """
    many = len(length)
    if not len(strip):
        return np.zeros(0), np.zeros(many), np.zeros(many)
    order = np.argsort(strip, kind="stable")
    count = np.bincount(strip, minlength=many)
    slot = np.empty(len(strip), dtype=np.int64)
    slot[order] = np.arange(len(strip)) - np.repeat(np.cumsum(count) - count, count)
    size = int(count.max())
    arm = np.zeros((many, size))  # down from the fixed point
    soft, lost = np.ones((many, size)), np.zeros((many, size))
    used = np.zeros((many, size), dtype=bool)
    fixed = fixed_from_eave(length, detail.fixed_at)
    arm[strip, slot] = fixed[strip] - place
    soft[strip, slot] = 1.0 / k
    lost[strip, slot] = way - free_travel(length, strip, place, detail)
    used[strip, slot] = True
    both = used[:, :, None] & used[:, None, :]
    a, b = arm[:, :, None], arm[:, None, :]
    shared = np.where(a * b > 0.0, np.minimum(np.abs(a), np.abs(b)), 0.0)
    flexible = np.where(both, shared / (detail.sheet.E * area) + 1.0 / detail.fixed_stiffness, 0.0)
    flexible += soft[:, :, None] * np.eye(size)
    force = np.linalg.solve(flexible, lost[:, :, None])[:, :, 0]
    total = force.sum(axis=1)
    beyond = np.abs(b) >= np.abs(a)
    inner = np.abs((force[:, None, :] * (beyond & (a * b > 0.0))).sum(axis=2)).max(axis=1)
    return np.asarray(force[strip, slot]), np.asarray(np.abs(total)), np.asarray(inner)


def restraint_words(
    found: Restraints, detail: SeamDetail, names: Sequence[str], units: UnitSystem = SI
) -> tuple[str, ...]:
    """What second fixed points mean, one line for every kind that was found.

    Parameters
    ----------
    found : Restraints
    detail : SeamDetail
    names : sequence of str, (m,)
        Of the strips.
    units : UnitSystem
    """
    notes = []
    kinds = np.array([k.value for k in found.kind])
    for name in dict.fromkeys(k.value for k in found.kind):
        of = np.flatnonzero(kinds == name)
        worst = of[np.abs(found.force[of]).argmax()]
        strip = found.strip[worst]
        strips = len(np.unique(found.strip[of]))
        line = (
            f"Second fixed point on {strips} panel strip{'s' if strips > 1 else ''}: {name} ({names[strip]}, "
            f"{units.text(found.place[worst], 'length')} up its seam)."
        )
        if detail.thermal == 0.0:
            line += " It adds nothing here: no seam.temperature_change is given."
        else:
            line += (
                f" A change of {units.text(detail.thermal, 'temperature')} brings up to "
                f"{units.text(abs(found.force[worst]), 'force')} there; all such forces together add "
                f"{units.text(found.anchorage[strip], 'force')} to the anchorage of that strip."
            )
        notes.append(line)
    if SecondPoint.CLAMP_ON_CLIP in found.kind:
        notes.append(
            "A clip under a clamp is taken to be as stiff along the seam as the fixed point (judgment); put "
            "the clamp between clips, or show by test that the seam still slides."
        )
    return tuple(notes)
