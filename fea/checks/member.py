"""Member strength of rails with a profile: local and lateral buckling, holes, welds, crushing at clamps.

Everything is elastic: design yield stress times the share that buckling leaves. Parts of a section add up, a
safe reading.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import (
    LOADED,
    Demands,
    Limit,
    _piece_max,
    combine,
    rail_resistance,
    relative_deflection,
    sample_piece,
    span_names,
    worse,
)
from fea.checks.rail_section import bending_stress, rail_stress
from fea.rails.actions import Basis
from fea.rails.loads import FrameResult
from fea.sections.crippling import bearing_resistance
from fea.sections.effective import effective
from fea.sections.lateral import column_factor, lateral_factor, rail_critical
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]

SHORTEST = 0.05  # pieces shorter than this cannot buckle sideways [m]
END = 1.5  # a clamp nearer to an end of the rail than this many depths is an end bearing
FAR = 1e3  # factor on snow that counts as no end
HALVINGS = 40

# Design rupture on a net section as a share of the ultimate strength: EN 1993-1-1 6.2.3 and EN 1999-1-1
# 6.2.3, 0.9 / 1.25; AISC 360-16 D2 and ADM 2020 D.2 with k_t = 1. From memory.
_RUPTURE = {DesignFormat.EN: 0.9 / 1.25, DesignFormat.LRFD: 0.75, DesignFormat.ASD: 1.0 / 2.0}


def member_limits(
    demands: tuple[Demands, ...],
    responses: tuple[FrameResult, ...],
    rail: Rail,
    layout: Layout,
    form: DesignFormat,
) -> tuple[Limit, ...]:
    """Limits of a rail with a profile, the worst of all states; none for other rails."""
    if rail.profile is None or not len(layout.clamp_row):
        return ()
    states = [_of_state(d, r, rail, layout, form) for d, r in zip(demands, responses, strict=True)]
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
    if rail.profile is None or not len(layout.clamp_row):
        return reserve
    snow, dead, thermal = factors

    def over(share: Array) -> NDArray[np.bool_]:
        demands = tuple(combine(r, basis, snow * share, dead, thermal) for r in responses)
        use = [limit.utilization for limit in member_limits(demands, responses, rail, layout, form)]
        return np.asarray(np.nan_to_num(np.concatenate(use, axis=1), nan=0.0).max(axis=1) > 1.0)

    high = np.minimum(reserve, FAR)
    wrong = over(high)
    if not wrong.any():
        return reserve
    low, high = np.zeros_like(high), high.copy()
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        bad = over(middle)
        low, high = np.where(bad, low, middle), np.where(bad, middle, high)
    return np.where(wrong, low, reserve)


def _of_state(
    demands: Demands, result: FrameResult, rail: Rail, layout: Layout, form: DesignFormat
) -> tuple[Limit, ...]:
    profile, s = rail.profile, rail.section
    assert profile is not None
    strength, found = rail_resistance(rail, form), effective(profile, rail.material, form)
    force = demands.rail
    squeeze = np.maximum(-force[..., 0], 0.0)
    zero = np.zeros_like(squeeze)
    about_y = bending_stress(force[..., 4], zero, s) / strength
    about_z = bending_stress(zero, force[..., 5], s) / strength
    share_y, share_z = found.share[1:3].min(), found.share[3:5].min()
    bend, basis = about_y / share_y + about_z / share_z, found.basis
    if not np.isnan(rail.moment).any():
        bend = np.abs(force[..., 4]) / rail.moment[0] + np.abs(force[..., 5]) / rail.moment[1]
        basis = "moment strengths given by the user"
    elif force.shape[-1] > 6 and s.I_w > 0.0:
        bend = bend + np.abs(force[..., 6]) * s.omega_max / s.I_w / strength / found.share.min()
    squash = s.area * strength * found.share[0]
    floor = LOADED * s.area * strength if np.isnan(squash) else 0.0
    pressed = np.where(squeeze > floor, squeeze / squash, 0.0)
    names, _ = span_names(layout)
    piece = sample_piece(result, layout)
    limits = [_ratio("rail local buckling", names, piece, pressed + bend, basis)]
    length = np.maximum(relative_deflection(result, layout, piece)[0], SHORTEST)
    critical, column = rail_critical(rail, length)
    first = rail.material.yield_strength * max(s.W_y, s.W_z)
    chi = lateral_factor(np.sqrt(first / critical), rail.material, form)
    chi_n = column_factor(np.sqrt(s.area * rail.material.yield_strength / column), rail.material, form)
    near = squeeze * rail.material.yield_strength / strength / column[piece]
    grows = np.where(near < 1.0, 1.0 / np.maximum(1.0 - near, 1e-9), np.inf)
    words = "free from clamp to clamp, twice the length of an overhang; M_cr by ENV 1993-1-1 annex F for a "
    words += f"uniform moment, load at the far face; {_LATERAL[rail.material.name, form is DesignFormat.EN]}"
    limits.append(
        _ratio(
            "rail lateral buckling", names, piece, pressed / chi_n[piece] + grows * bend / chi[piece], words
        )
    )
    limits += _holes(force, rail, form, names, piece)
    if not np.isnan(rail.weld_strength):
        share = rail_stress(force, rail) / (strength * rail.weld_strength / rail.material.yield_strength)
        limits.append(_ratio("rail at welds", names, piece, share, "as if welded all along, user's strength"))
    return (*limits, *_bearing(demands.clamp, rail, layout, form))


_LATERAL = {
    ("steel", True): "EN 1993-1-1 6.3 (from memory)",
    ("steel", False): "AISI S100-16 F2.1 and E2 (from memory)",
    ("stainless steel", True): "EN 1993-1-4 5.4 (from memory)",
    ("stainless steel", False): "EN 1993-1-4 5.4 (from memory)",
    ("aluminum", True): "EN 1999-1-1 6.3 (from memory)",
    ("aluminum", False): "Aluminum Design Manual 2020 F.4 and E.2 (from memory)",
}


def _ratio(name: str, names: tuple[str, ...], piece: NDArray[np.int64], use: Array, basis: str) -> Limit:
    """A limit of every piece of rail from utilizations (q, k, t)."""
    worst = _piece_max(use.max(axis=1), piece, len(names))
    return Limit(name, "span", names, worst, np.ones(len(names)), worst, "ratio", basis)


def _holes(
    force: Array, rail: Rail, form: DesignFormat, names: tuple[str, ...], piece: NDArray[np.int64]
) -> list[Limit]:
    profile = rail.profile
    if profile is None or profile.net is None:
        return []
    net = profile.net
    stress = (
        np.abs(force[..., 0]) / net.area + np.abs(force[..., 4]) / net.W_y + np.abs(force[..., 5]) / net.W_z
    )
    limit = min(rail_resistance(rail, form), _RUPTURE[form] * rail.ultimate_strength)
    clause = (
        "EN 1993-1-1 and EN 1999-1-1 6.2.3" if form is DesignFormat.EN else "AISC 360-16 and ADM 2020 D.2"
    )
    words = f"net section, all holes at the worst place: yield, and rupture by {clause} (from memory)"
    return [_ratio("rail at holes", names, piece, stress / limit, words)]


def _bearing(force: Array, rail: Rail, layout: Layout, form: DesignFormat) -> list[Limit]:
    """Crushing at every clamp, both directions added up; only where a bearing length or strength is given."""
    profile = rail.profile
    assert profile is not None
    if np.isnan(rail.bearing_strength) and np.isnan(rail.bearing_length):
        return []
    pushes = np.abs(force[..., 0]), np.abs(force[..., 2])
    if not np.isnan(rail.bearing_strength):
        use = np.hypot(*pushes) / rail.bearing_strength
        words = "strength given by the user"
    else:
        rest = np.minimum(layout.clamp_s, layout.row_length[layout.clamp_row] - layout.clamp_s)
        at_end = rest < END * max(rail.section.depth_y, rail.section.depth_z)
        shares = []
        for axis, push in enumerate(pushes):
            inner, outer = (
                bearing_resistance(profile.walls, axis, rail.bearing_length, rail.material, form, end=end)
                for end in (False, True)
            )
            floor = 1e-4 * pushes[0].max(initial=0.0)
            shares.append(np.where(push > floor, push / np.where(at_end, min(inner, outer), inner), 0.0))
        use = shares[0] + shares[1]
        words = "EN 1993-1-3 6.1.7, EN 1999-1-4 6.1.7, AISI S100-16 G5 or ADM 2020 J.9.1 (from memory)"
    worst = np.asarray(use.max(axis=1))
    count = len(layout.clamp_name)
    return [Limit("rail crushing", "clamp", layout.clamp_name, worst, np.ones(count), worst, "ratio", words)]
