"""What buckling, holes and welds leave of a rail, ready to be held against its forces at any station."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import LOADED, rail_resistance
from fea.checks.rail_section import bending_stress, rail_stress
from fea.sections.effective import effective
from fea.sections.lateral import column_factor, lateral_factor, rail_critical
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.profiles.data import Profile
from roofmodel.profiles.plain import walls_profile

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHORTEST = 0.05  # pieces shorter than this cannot buckle sideways [m]
TALL = 2.0  # closed sections up to this much taller than wide do not buckle sideways by bending
FULL = 0.999  # share of yield that counts as all
# Squeeze over the critical force up to which the section alone counts where bending does not buckle the rail
# sideways: below the 0.04 of EN 1993-1-1 and 0.1 of EN 1999-1-1 6.3.1.2(4) (from memory).
UNSQUEEZED = 0.01
# Of the share of yield that tested moments show, what walls of a cell that were not recognized reach under
# compression: a plate that bends buckles at 24 / 4 times the stress, which counts by its root (judgment).
SQUEEZED = 0.25
LOCAL, LATERAL, HOLES, WELDS = (
    "rail local buckling", "rail lateral buckling", "rail at holes", "rail at welds",
)  # fmt: skip

# Design rupture on a net section as a share of the ultimate strength: EN 1993-1-1 6.2.3 and EN 1999-1-1
# 6.2.3, 0.9 / 1.25; AISC 360-16 D2 and ADM 2020 D.2 with k_t = 1. From memory.
_RUPTURE = {DesignFormat.EN: 0.9 / 1.25, DesignFormat.LRFD: 0.75, DesignFormat.ASD: 1.0 / 2.0}
_LATERAL = {
    ("steel", True): "EN 1993-1-1 6.3 (from memory)",
    ("steel", False): "AISI S100-16 F2.1 and E2 (from memory)",
    ("stainless steel", True): "EN 1993-1-4 5.4 (from memory)",
    ("stainless steel", False): "EN 1993-1-4 5.4 (from memory)",
    ("aluminum", True): "EN 1999-1-1 6.3 (from memory)",
    ("aluminum", False): "Aluminum Design Manual 2020 F.4 and E.2 (from memory)",
}


@dataclass(frozen=True)
class MemberStrength:
    """Strength of a rail's pieces.

    Attributes
    ----------
    rail : Rail
    form : DesignFormat
    profile : Profile
    stress : float
        Design yield stress. [Pa]
    share : (3,) float
        Of yield that local buckling leaves in compression and in bending about y and z; NaN where not known.
    sideways, column : (n,) float
        Shares of moment and squash force that buckling from clamp to clamp leaves to each piece. [-]
    critical : (n,) float
        Elastic critical force of each piece. [N]
    kinds : tuple of str
        Limits that there are.
    basis : dict of str to str
        Words for each.
    """

    rail: Rail
    form: DesignFormat
    profile: Profile
    stress: float
    share: Array
    sideways: Array
    column: Array
    critical: Array
    kinds: tuple[str, ...]
    basis: dict[str, str]


def member_strength(rail: Rail, form: DesignFormat, length: Array) -> MemberStrength | None:
    """Strength of pieces that are free over some lengths; None for a rail by its values.

    Parameters
    ----------
    rail : Rail
    form : DesignFormat
    length : (n,) float
        Between clamps, twice that of an overhang. [m]

    Notes
    -----
    Plain tubes and bars have no limit of local buckling where no wall buckles before it yields: the limit
    would be that of the rail's stress again. Closed sections up to twice as tall as wide do not buckle
    sideways by bending (EN 1993-1-1 6.3.2.1(2), EN 1999-1-1 6.3.2.1, AISC 360-16 F7 and F8; from memory).
    In plain sections only the strong axis's moment makes the rail buckle sideways; profiles count both. A
    welded rail buckles sideways with its welded strength wherever the welds are (EN 1999-1-1 6.3.3.3 asks for
    that where they are not known).
    """
    profile = walls_profile(rail.section, rail.profile)
    if profile is None:
        return None
    s, metal = rail.section, rail.material
    stress = rail_resistance(rail, form)
    found = effective(profile, metal, form, welded=rail.welded)
    share = np.array([found.share[0], found.share[1:3].min(), found.share[3:5].min()])
    tested = not np.isnan(rail.moment).any()
    shown = bool(np.isnan(share[0])) and tested and profile.closed
    if shown:
        share[0] = SQUEEZED * min(*(np.array(rail.moment) / stress / [s.W_y, s.W_z]), 1.0)
    free = np.maximum(length, SHORTEST)
    moment, force = rail_critical(rail, free)
    first = metal.yield_strength * max(s.W_y, s.W_z)
    sideways = lateral_factor(np.sqrt(first / moment), metal, form)
    if rail.welded:
        soft = min(rail.weld_strength / metal.yield_strength, 1.0)
        sideways = np.minimum(sideways, soft * lateral_factor(np.sqrt(soft * first / moment), metal, form))
    stout = max(s.depth_y, s.depth_z) <= TALL * min(s.depth_y, s.depth_z)
    if rail.profile is None and (s.round or (profile.closed and stout)):
        sideways = np.ones_like(sideways)
    squash = s.area * metal.yield_strength
    words = "" if not rail.welded else "with the strength of the welds; "
    words += "free from clamp to clamp, twice the length of an overhang; "
    if (sideways >= 1.0).all() and rail.profile is not None:
        slender = float(np.sqrt(first / moment).max(initial=0.0))
        words += (
            f"too stocky to turn over (relative slenderness {slender:.2f} at most), so only with a squeeze; "
        )
    if (sideways < 1.0).any() or rail.profile is not None:
        words += "M_cr by ENV 1993-1-1 annex F for a uniform moment, load at the far face; "
    local = "moment strengths given by the user" if tested else found.basis
    if shown:
        local += (
            f"; compression, where walls were not recognized, {SQUEEZED:g} of the share these show (judgment)"
        )
    basis = {
        LOCAL: local,
        LATERAL: f"{words}{_LATERAL[metal.name, form is DesignFormat.EN]}",
    }
    kinds = [LOCAL, LATERAL]
    if rail.profile is None and bool((share >= FULL).all()):
        kinds = [LATERAL]
    if profile.net is not None:
        kinds.append(HOLES)
        clause = (
            "EN 1993-1-1 and EN 1999-1-1 6.2.3" if form is DesignFormat.EN else "AISC 360-16 and ADM 2020 D.2"
        )
        basis[HOLES] = (
            f"net section, all holes at the worst place: yield, and rupture by {clause} (from memory)"
        )
    if rail.welded:
        kinds.append(WELDS)
        basis[WELDS] = "as if welded all along, user's strength"
    return MemberStrength(
        rail=rail,
        form=form,
        profile=profile,
        stress=stress,
        share=share,
        sideways=sideways,
        column=column_factor(np.sqrt(squash / force), metal, form, welded=rail.welded),
        critical=force,
        kinds=tuple(kinds),
        basis=basis,
    )


def station_use(
    member: MemberStrength,
    kind: str,
    force: Array,
    piece: IntArray,
    *,
    always: bool = False,
    bend: tuple[Array, Array] | None = None,
) -> Array:
    """Use (...) of one limit at stations of rail.

    Parameters
    ----------
    member : MemberStrength
    kind : str
        One of its kinds.
    force : (..., t, 6 or 8) float
        As `fea.rails.loads.FrameResult.rail_force`, factored.
    piece : (t,) int
    always : bool
        Whether lateral buckling counts where the rail does not buckle by bending and is hardly squeezed too.
    bend : two (...) float, optional
        `bending_use` of the same forces, where it is known already.
    """
    rail, s = member.rail, member.rail.section
    if kind == WELDS:
        welded = member.stress * rail.weld_strength / rail.material.yield_strength
        return np.asarray(rail_stress(force, rail) / welded)
    if kind == HOLES:
        net = member.profile.net
        assert net is not None
        own = (
            np.abs(force[..., 0]) / net.area
            + np.abs(force[..., 4]) / net.W_y
            + np.abs(force[..., 5]) / net.W_z
        )
        return np.asarray(own / min(member.stress, _RUPTURE[member.form] * rail.ultimate_strength))
    squeeze = np.maximum(-force[..., 0], 0.0)
    strong, weak = bending_use(member, force) if bend is None else bend
    squash = s.area * member.stress * float(member.share[0])
    least = LOADED * s.area * member.stress if np.isnan(squash) else 0.0
    pressed = np.where(squeeze > least, squeeze / squash, 0.0)
    if kind == LOCAL:
        return np.asarray(pressed + strong + weak)
    near = squeeze * rail.material.yield_strength / member.stress / member.critical[piece]
    grows = np.where(near < 1.0, 1.0 / np.maximum(1.0 - near, 1e-9), np.inf)
    bent = strong / member.sideways[piece] + weak
    use = np.asarray(pressed / member.column[piece] + grows * bent)
    section_alone = (near <= UNSQUEEZED) & (member.sideways[piece] >= 1.0)
    return use if always else np.where(section_alone & np.isfinite(use), 0.0, use)


def bending_use(member: MemberStrength, force: Array) -> tuple[Array, Array]:
    """Use of the section by its moments and bimoment: what may make it buckle sideways, and the rest."""
    rail, s = member.rail, member.rail.section
    none = np.zeros_like(force[..., 4])
    if not np.isnan(rail.moment).any():
        return np.abs(force[..., 4]) / rail.moment[0] + np.abs(force[..., 5]) / rail.moment[1], none
    if s.round:
        both = bending_stress(force[..., 4], force[..., 5], s)
        bend = both / member.stress / member.share[1:].min()
    else:
        about_y = bending_stress(force[..., 4], none, s) / member.stress / member.share[1]
        about_z = bending_stress(none, force[..., 5], s) / member.stress / member.share[2]
        if rail.profile is None:
            return (about_y, about_z) if s.I_y >= s.I_z else (about_z, about_y)
        # Both at once are never worse than the weaker of both shares for the stress they make together.
        both = bending_stress(force[..., 4], force[..., 5], s) / member.stress / member.share[1:].min()
        bend = np.fmin(about_y + about_z, both)
    if force.shape[-1] > 6 and s.I_w > 0.0:
        bend = bend + np.abs(force[..., 6]) * s.omega_max / s.I_w / member.stress / member.share.min()
    return np.asarray(bend), none
