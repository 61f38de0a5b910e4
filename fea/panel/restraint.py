"""Second fixed points: what else than its fixed point keeps a panel strip from moving with temperature.

A strip is a bar from its fixed point. Whatever holds it elsewhere along the seam (a clamp over a clip that
grips the seam, a screw through the sheet, a rail on strips that move differently) is a spring behind a length
of bar; its force under warmth is the free travel there times the stiffness of the series. Several such points
on one strip are solved together, exactly for a bar on springs. None of them relieves the fixed point: one may
slip, yield or come loose, so the worst choice of points that hold counts (judgment).

A rail on strips that move differently is part of the frame of the rows, which moves its clamps with their
seams; here it is named, and its force is that of the frame.

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
from roofmodel.counting import within
from roofmodel.errors import InputError
from roofmodel.hardware import FixedPoint, Panel, SeamDetail
from roofmodel.units import SI, UnitSystem

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CLIP_UNDER_CLAMP = 1e-6  # overlap of grip and clip that counts [m]
APART = 1e-3  # strips of one rail move differently where their lengths of bar differ by more [m]


class SecondPoint(StrEnum):
    """What holds a strip besides its fixed point."""

    FIXED_CLIP = "a clip that is fixed along the seam"
    CLAMP_ON_CLIP = "a clamp that presses the seam onto a clip"
    THROUGH_FIXING = "a screw through the sheet"
    RAIL = "a rail that joins it to strips that move differently"


HELD = (SecondPoint.FIXED_CLIP, SecondPoint.CLAMP_ON_CLIP, SecondPoint.THROUGH_FIXING)


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
        Of the holding part along the seam, without the bar; NaN for rails. [N/m]
    force : (k,) float
        On the strip where all of them hold, down the seam positive, for the change of temperature. [N]
    row : (k,) int
        Of the rail, -1 for other kinds.
    anchorage : (m,) float
        Largest force that they bring to each strip's fixed point, whichever of them hold and with nothing
        for what one side takes from the other; without rails, which count with their clamps. [N]
    stress : (m,) float
        Largest mean stress in each strip. [Pa]
    way : (c,) float
        Of the strip at every clamp, down the seam, where all points hold: as long as the bar whose free
        change of length it is. Without second points this is the bar from clamp to fixed point. [m]
    """

    strip: IntArray
    place: Array
    kind: tuple[SecondPoint, ...]
    stiffness: Array
    force: Array
    row: IntArray
    anchorage: Array
    stress: Array
    way: Array


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
) -> Restraints:
    """Find second fixed points and the forces of a change of temperature; rails come by `with_rails`.

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
    ]
    on, at, k = (np.concatenate([part[i] for part in parts]) for i in range(3))
    kind = tuple(name for part, name in zip(parts, HELD, strict=True) for _ in range(len(part[0])))
    on = on.astype(np.int64)
    area = strip_area(panel, detail)
    force, anchorage, largest, way = _bars(detail, area, length, (on, at, k), (strip, place))
    strain = detail.sheet.alpha * detail.thermal
    return Restraints(
        strip=on,
        place=at,
        kind=kind,
        stiffness=k,
        force=strain * force,
        row=np.full(len(on), -1),
        anchorage=abs(strain) * anchorage,
        stress=abs(strain) * largest / area,
        way=way,
    )


def with_rails(
    found: Restraints,
    detail: SeamDetail,
    length: Array,
    strip: IntArray,
    place: Array,
    row: IntArray,
    force: Array,
) -> Restraints:
    """Add the clamps of rails that join strips which move differently.

    Parameters
    ----------
    found : Restraints
    detail : SeamDetail
    length : (m,) float
        Of the strips. [m]
    strip : (c,) int
    place : (c,) float
        Of every clamp up its seam. [m]
    row : (c,) int
        Of every clamp.
    force : (c,) float
        What temperature brings to the strip at every clamp, from the frame of the rows, down the seam
        positive. It is part of the clamps' forces and reaches the anchorage with them. [N]
    """
    free = fixed_from_eave(length, detail.fixed_at)[strip] - place
    apart = np.zeros(len(row), dtype=bool)
    for bar in (free, found.way):
        low, high = np.full(row.max(initial=-1) + 1, np.inf), np.full(row.max(initial=-1) + 1, -np.inf)
        np.minimum.at(low, row, bar)
        np.maximum.at(high, row, bar)
        apart |= high[row] - low[row] > APART
    on = np.flatnonzero(apart)
    return Restraints(
        strip=np.concatenate([found.strip, strip[on]]),
        place=np.concatenate([found.place, place[on]]),
        kind=found.kind + (SecondPoint.RAIL,) * len(on),
        stiffness=np.concatenate([found.stiffness, np.full(len(on), np.nan)]),
        force=np.concatenate([found.force, force[on]]),
        row=np.concatenate([found.row, row[on]]),
        anchorage=found.anchorage,
        stress=found.stress,
        way=found.way,
    )


_Part = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]  # strip, place, stiffness


def _fixed_clips(detail: SeamDetail, length: Array) -> _Part:
    """Clips that hold along the seam by themselves."""
    count = np.floor((length - detail.clip_first) / detail.clip_spacing + 1e-9).astype(int) + 1
    count = np.maximum(count, 0) if detail.clip_stiffness[0] > 0.0 else np.zeros(len(length), dtype=int)
    strip = np.repeat(np.arange(len(length)), count)
    number = within(count)
    place = detail.clip_first + number * detail.clip_spacing
    return strip, place, np.full(len(strip), detail.clip_stiffness[0])


def _clamps_on_clips(
    detail: SeamDetail, strip: IntArray, place: Array, grip_length: float, *, grips_clip: bool
) -> _Part:
    """Clamps whose grip lies over a clip."""
    number = np.maximum(np.rint((place - detail.clip_first) / detail.clip_spacing), 0.0)
    clip = detail.clip_first + number * detail.clip_spacing
    over = 0.5 * (grip_length + detail.clip_length) - np.abs(place - clip) > CLIP_UNDER_CLAMP
    over &= grips_clip and not detail.clip_stiffness[0] > 0.0
    return strip[over], clip[over], np.full(int(over.sum()), detail.fixed_stiffness)


def _screws(detail: SeamDetail, length: Array) -> _Part:
    strip, screw = np.nonzero(detail.through_fixings[None, :] <= length[:, None])
    place = detail.through_fixings[screw]
    return strip, place, np.full(len(strip), detail.fixed_stiffness)


def _bars(
    detail: SeamDetail,
    area: float,
    length: Array,
    points: tuple[IntArray, Array, Array],
    clamps: tuple[IntArray, Array],
) -> tuple[Array, Array, Array, Array]:
    """Forces on the strips at their springs, largest at their fixed points and in each strip, and their way.

    For a free strain of 1; `points` are strip, place and stiffness, `clamps` strip and place.

    The points of one side of the fixed point share its bar: the flexibility between two of them is that of
    the fixed point plus the bar up to the nearer one. All strips are padded to as many points and solved
    at once.
    """
    many, fixed = len(length), fixed_from_eave(length, detail.fixed_at)
    strip, place, k = points
    own = fixed[clamps[0]] - clamps[1]
    if not len(strip):
        return np.zeros(0), np.zeros(many), np.zeros(many), own
    order = np.argsort(strip, kind="stable")
    count = np.bincount(strip, minlength=many)
    slot = np.empty(len(strip), dtype=np.int64)
    slot[order] = within(count)
    size = int(count.max())
    arm = np.zeros((many, size))  # down from the fixed point
    soft, lost = np.ones((many, size)), np.zeros((many, size))
    used = np.zeros((many, size), dtype=bool)
    arm[strip, slot] = fixed[strip] - place
    soft[strip, slot] = 1.0 / k
    lost[strip, slot] = place - fixed[strip]
    used[strip, slot] = True
    a, b = arm[:, :, None], arm[:, None, :]

    def between(one: Array, other: Array) -> Array:
        shared = np.where(one * other > 0.0, np.minimum(np.abs(one), np.abs(other)), 0.0)
        return np.asarray(shared / (detail.sheet.E * area) + 1.0 / detail.fixed_stiffness)

    flexible = between(a, b)
    flexible += soft[:, :, None] * np.eye(size)
    force = _held(flexible, lost, used)
    sides = [np.abs((force * side).sum(axis=1)) for side in (arm > 0.0, arm < 0.0)]
    anchorage = np.max([*sides, _most(flexible, lost, used), _most(flexible, -lost, used)], axis=0)
    beyond = np.abs(b) >= np.abs(a)
    inner = np.abs((force[:, None, :] * (beyond & (a * b > 0.0))).sum(axis=2)).max(axis=1)
    way = own + (between(own[:, None], arm[clamps[0]]) * force[clamps[0]]).sum(axis=1)
    return np.asarray(force[strip, slot]), np.asarray(anchorage), np.asarray(inner), way


def _held(flexible: Array, lost: Array, on: NDArray[np.bool_]) -> Array:
    """Forces (m, p) of the points that are on; the others hold nothing."""
    both = on[:, :, None] & on[:, None, :]
    matrix = np.where(both, flexible, np.eye(on.shape[1]))
    return np.asarray(np.linalg.solve(matrix, np.where(on, lost, 0.0)[:, :, None])[:, :, 0])


def _most(flexible: Array, lost: Array, used: NDArray[np.bool_]) -> Array:
    """Largest force down the seam that any choice of points brings to each fixed point, (m,).

    A point whose force is up the seam relieves the fixed point, and without it all others are found lower
    still, since a force down the seam moves no point of a bar up. So dropping such points until none is left
    ends at the largest of all choices.
    """
    on = used.copy()
    for _ in range(used.shape[1] + 1):
        force = _held(flexible, lost, on)
        against = on & (force < 0.0)
        if not against.any():
            break
        on &= ~against
    return np.asarray(force.sum(axis=1))


def restraint_words(
    found: Restraints,
    detail: SeamDetail,
    names: Sequence[str],
    units: UnitSystem = SI,
    rows: Sequence[str] = (),
) -> tuple[str, ...]:
    """What second fixed points mean, one line for every kind that was found.

    Parameters
    ----------
    found : Restraints
    detail : SeamDetail
    names : sequence of str, (m,)
        Of the strips.
    units : UnitSystem
    rows : sequence of str
        Of the rails, where some were found.
    """
    notes = []
    kinds = np.array([k.value for k in found.kind])
    for kind in dict.fromkeys(found.kind):
        of = np.flatnonzero(kinds == kind.value)
        worst = of[np.abs(found.force[of]).argmax()]
        strip = found.strip[worst]
        strips = len(np.unique(found.strip[of]))
        which = f"rail {rows[found.row[worst]]}, {names[strip]}" if kind is SecondPoint.RAIL else names[strip]
        line = (
            f"Second fixed point on {strips} panel strip{'s' if strips > 1 else ''}: {kind.value} ({which}, "
            f"{units.text(found.place[worst], 'length')} up its seam)."
        )
        change, force = (
            units.text(detail.thermal, "temperature"),
            units.text(abs(found.force[worst]), "force"),
        )
        if detail.thermal == 0.0:
            line += " It adds nothing here: no seam.temperature_change is given."
        elif kind is SecondPoint.RAIL:
            others = list(dict.fromkeys(rows[row] for row in found.row[of]))
            line += (
                f" A change of {change}, with that of the rail, brings up to {force} there. It is part of "
                "the clamp's force along the seam, and reaches the anchorage with it."
            )
            line += f" Rails that do so: {', '.join(others)}." if len(others) > 1 else ""
        else:
            line += (
                f" A change of {change} brings up to {force} there; the worst choice of such points adds "
                f"{units.text(found.anchorage[strip], 'force')} to the anchorage of that strip. Forces of "
                "warmth from two sides of a fixed point do not relieve each other here: one side may slip or "
                "yield (judgment). No limit compares that force with what the screw or clip and the sheet "
                "around it hold: show it by test. Rails and clamps are checked with all such points holding "
                "and with none; one that slips beside others that hold can load them more."
            )
        notes.append(line)
    if SecondPoint.CLAMP_ON_CLIP in found.kind:
        notes.append(
            "A clip under a clamp is taken to be as stiff along the seam as the fixed point (judgment); put "
            "the clamp between clips, or show by test that the seam still slides."
        )
    return tuple(notes)
