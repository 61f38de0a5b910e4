"""Member strength of rails: local and lateral buckling, holes, welds, crushing at clamps.

Everything is elastic: design yield stress times the share that buckling leaves. Parts of a section add up, a
safe reading.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import (
    Demands,
    Limit,
    _piece_max,
    clamp_samples,
    combine,
    piece_lengths,
    sample_piece,
    span_names,
    worse,
)
from fea.checks.member_strength import LOCAL, MemberStrength, member_strength, station_use
from fea.checks.reserve import tightened
from fea.rails.actions import Basis
from fea.rails.loads import FrameResult
from fea.sections.crippling import bearing_and_bending, bearing_resistance, uneven_shears
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.layout import Layout
from roofmodel.profiles.plain import walls_profile

Array = NDArray[np.float64]

END = 1.5  # a clamp nearer to an end of the rail than this many depths is an end bearing
CRUSHING = "rail crushing"
EN = DesignFormat.EN
_TOGETHER = {
    (False, True): "EN 1993-1-3 6.1.11 (from memory)",
    (False, False): "EN 1993-1-3 6.1.11 (from memory)",
    (True, True): "EN 1993-1-3 and EN 1999-1-4 6.1.11 (from memory)",
    (True, False): "ADM 2020 J.9.3 (from memory)",
}


def member_limits(
    demands: tuple[Demands, ...],
    responses: tuple[FrameResult, ...],
    rail: Rail,
    layout: Layout,
    form: DesignFormat,
) -> tuple[Limit, ...]:
    """Limits of a rail whose walls are known, the worst of all states; none for a rail by its values."""
    member = _member(rail, layout, form)
    return () if member is None else _limits(demands, responses, member, layout)


def _member(rail: Rail, layout: Layout, form: DesignFormat) -> MemberStrength | None:
    return member_strength(rail, form, piece_lengths(layout)) if len(layout.clamp_row) else None


def _limits(
    demands: tuple[Demands, ...], responses: tuple[FrameResult, ...], member: MemberStrength, layout: Layout
) -> tuple[Limit, ...]:
    states = [_of_state(d, r, member, layout) for d, r in zip(demands, responses, strict=True)]
    return tuple(worse(list(one)) for one in zip(*states, strict=True))


def member_reserve(
    reserve: Array,
    responses: tuple[FrameResult, ...],
    basis: Basis,
    factors: tuple[Array, Array, Array],
    rail: Rail,
    layout: Layout,
    form: DesignFormat,
) -> Array:
    """Reserve (q,) of each case with these limits too, by bisection on all cases at once."""
    member = _member(rail, layout, form)
    if member is None:
        return reserve
    snow, dead, thermal = factors

    def over(share: Array) -> NDArray[np.bool_]:
        demands = tuple(combine(r, basis, snow * share, dead, thermal) for r in responses)
        use = [limit.utilization for limit in _limits(demands, responses, member, layout)]
        return np.asarray(np.nan_to_num(np.concatenate(use, axis=1), nan=0.0).max(axis=1) > 1.0)

    return tightened(reserve, over)


def _of_state(
    demands: Demands, result: FrameResult, member: MemberStrength, layout: Layout
) -> tuple[Limit, ...]:
    names, _ = span_names(layout)
    piece = sample_piece(result, layout)
    limits = [
        _ratio(kind, names, piece, station_use(member, kind, demands.rail, piece), member.basis[kind])
        for kind in member.kinds
    ]
    return (*limits, *_bearing(demands, result, member, layout))


def _ratio(name: str, names: tuple[str, ...], piece: NDArray[np.int64], use: Array, basis: str) -> Limit:
    """A limit of every piece of rail from utilizations (q, k, t)."""
    worst = _piece_max(use.max(axis=1), piece, len(names))
    return Limit(name, "span", names, worst, np.ones(len(names)), worst, "ratio", basis)


def crushing(
    push: Array, bend: Array, uneven: Array, at_end: NDArray[np.bool_], rail: Rail, form: DesignFormat
) -> Array:
    """Use (..., c) of a rail's walls over clamps, by their forces and together with the moments there.

    Parameters
    ----------
    push : (..., c, 2) float
        Sizes of the forces along the slope and square to it, which add up. [N]
    bend : (..., c) float
        Use of the section by its moments there, as `bending_at_clamps`.
    uneven : (..., c, 2) float
        Of the shear forces there, as `uneven_at_clamps`.
    at_end : (c,) bool
        Clamps near an end of the rail, which are end bearings.
    rail : Rail
    form : DesignFormat
    """
    profile = walls_profile(rail.section, rail.profile)
    assert profile is not None
    if not np.isnan(rail.bearing_strength):
        crush = np.hypot(push[..., 0], push[..., 1]) / rail.bearing_strength
        return bearing_and_bending(crush, bend, rail.material, form)
    shares = []
    floor = 1e-4 * push[..., 0].max(initial=0.0)
    for axis in (0, 1):
        inner, apart, outer = (
            bearing_resistance(
                profile.walls, axis, rail.bearing_length, rail.material, form,
                end=end, factor=rail.resistance_factor, uneven=other,
            )
            for end, other in ((False, False), (False, True), (True, True))
        )  # fmt: skip
        own = push[..., axis]
        holds = np.where(at_end, min(inner, outer), inner + (apart - inner) * uneven[..., axis])
        shares.append(np.where((own > floor) | np.isfinite(holds), own / holds, 0.0))  # floor: unknown ones
    return bearing_and_bending(shares[0] + shares[1], bend, rail.material, form)


def bending_at_clamps(member: MemberStrength, force: Array, piece: NDArray[np.int64]) -> Array:
    """Use (..., c) of the section at clamps by forces (..., 2 c, 6 or 8) at `clamp_samples`, piece (2 c,)."""
    use = station_use(member, LOCAL, force, piece)
    return np.asarray(use.reshape(*use.shape[:-1], 2, -1).max(axis=-2))


def uneven_at_clamps(force: Array) -> Array:
    """`uneven_shears` (..., c, 2) by forces (..., 2 c, 6 or 8) at `clamp_samples`."""
    left, right = np.split(force[..., 1:3], 2, axis=-2)
    return uneven_shears(left, right)


def has_crushing(rail: Rail) -> bool:
    """Whether a bearing length or strength is given."""
    return not (np.isnan(rail.bearing_strength) and np.isnan(rail.bearing_length))


def crushing_open(rail: Rail, form: DesignFormat) -> bool:
    """Whether no web is known for a force along the slope or square to it, so that tests are needed."""
    profile = walls_profile(rail.section, rail.profile)
    if not has_crushing(rail) or not np.isnan(rail.bearing_strength) or profile is None:
        return False
    return any(
        np.isnan(
            bearing_resistance(
                profile.walls, axis, rail.bearing_length, rail.material, form,
                end=False, factor=rail.resistance_factor,
            )
        )
        for axis in (0, 1)
    )  # fmt: skip


def end_bearings(layout: Layout, rail: Rail) -> NDArray[np.bool_]:
    """Clamps near an end of their rail, (c,)."""
    rest = np.minimum(layout.clamp_s, layout.row_length[layout.clamp_row] - layout.clamp_s)
    return np.asarray(rest < END * max(rail.section.depth_y, rail.section.depth_z))


def _bearing(demands: Demands, result: FrameResult, member: MemberStrength, layout: Layout) -> list[Limit]:
    """Crushing at every clamp; only where a bearing length or strength is given."""
    rail = member.rail
    if not has_crushing(rail):
        return []
    words = "EN 1993-1-3 6.1.7, EN 1999-1-4 6.1.7, AISI S100-16 G5 or ADM 2020 J.9.1 (from memory)"
    if not np.isnan(rail.bearing_strength):
        words = "strength given by the user"
    words += f"; with the moment there by {_TOGETHER[rail.material.name == 'aluminum', member.form is EN]}"
    at = clamp_samples(result, layout).ravel()
    force = demands.rail[..., at, :]
    bend = bending_at_clamps(member, force, sample_piece(result, layout)[at])
    push = np.abs(demands.clamp[..., [0, 2]])
    use = crushing(push, bend, uneven_at_clamps(force), end_bearings(layout, rail), rail, member.form)
    worst = np.asarray(use.max(axis=1))
    count = len(layout.clamp_name)
    return [Limit(CRUSHING, "clamp", layout.clamp_name, worst, np.ones(count), worst, "ratio", words)]
