"""Effective section of a profile: what local and distortional buckling leave at first yield.

The weakest plate counts for the whole section (reduced stress method, EN 1993-1-5 section 10; limiting
element, Aluminum Design Manual F.3.3; from memory): no load is shed to stronger plates, on the safe side of
the effective width method, whose neutral axis wanders.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.sections.plates import plate_factor, round_factor, squeezed_round
from roofmodel.hardware import DesignFormat, Material
from roofmodel.profiles.data import Profile, Walls

Array = NDArray[np.float64]

LOWEST = 1e-9


@dataclass(frozen=True)
class Effective:
    """Share of yield that the weakest plate reaches, for five kinds of stress.

    Attributes
    ----------
    share : (5,) float
        In compression, bending about +y, -y, +z, -z; NaN where it is not known. [-]
    plate : (5, n) float
        Share of each wall; 1 where it is not compressed.
    basis : str
    """

    share: Array
    plate: Array
    basis: str


def effective(profile: Profile, metal: Material, form: DesignFormat, *, welded: bool = False) -> Effective:
    """Shares of yield of a profile.

    Parameters
    ----------
    profile : Profile
    metal : Material
    form : DesignFormat
    welded : bool
        Whether there are welds (`plate_factor`).
    """
    walls, en = profile.walls, form is DesignFormat.EN
    stress = np.stack([edge_stress(profile, kind) for kind in range(5)])
    plate = np.stack([_shares(walls, one, metal, en, welded) for one in stress])
    share = plate.min(axis=1, initial=1.0)
    if profile.section.round and profile.closed:
        inner = np.sqrt(profile.outline.interiors[0].envelope.area)
        outer = 0.5 * (profile.section.depth_y + profile.section.depth_z)
        ratio = outer / (0.5 * (outer - inner))
        share = np.full(5, round_factor(ratio, metal, form, welded=welded))
        share[0] *= squeezed_round(ratio, metal, form)
    elif not walls.known:
        share = np.full(5, np.nan)
    return Effective(share, plate, standard_words(metal, form))


def standard_words(metal: Material, form: DesignFormat) -> str:
    """The standard behind the shares."""
    if metal.name == "stainless steel":
        return "EN 1993-1-4 5.2.3 (from memory)"
    if form is DesignFormat.EN:
        steel, aluminum = (
            "EN 1993-1-5 4.4 and section 10",
            f"EN 1999-1-1 6.1.5, buckling class {metal.buckling_class}",
        )
    else:
        steel, aluminum = "AISI S100-16 appendix 1", "Aluminum Design Manual 2020 B.5.4"
    return f"{aluminum if metal.name == 'aluminum' else steel} (from memory), weakest plate"


def edge_stress(profile: Profile, kind: int) -> Array:
    """Stress (n, 2) at both ends of the walls over the largest of the section, compression positive."""
    walls, s = profile.walls, profile.section
    ends = np.stack([walls.start, walls.end], axis=1)
    if kind == 0:
        return np.ones(ends.shape[:2])
    det = s.I_y * s.I_z - s.I_yz**2
    y, z = ends[..., 0], ends[..., 1]
    corner = np.array(profile.outline.exterior.coords)
    if kind < 3:
        sign, value = (1.0, z * s.I_z - y * s.I_yz) if kind == 1 else (-1.0, z * s.I_z - y * s.I_yz)
        most = np.abs(corner[:, 1] * s.I_z - corner[:, 0] * s.I_yz).max()
    else:
        sign, value = (1.0, y * s.I_y - z * s.I_yz) if kind == 3 else (-1.0, y * s.I_y - z * s.I_yz)
        most = np.abs(corner[:, 0] * s.I_y - corner[:, 1] * s.I_yz).max()
    assert det > 0.0
    return np.asarray(sign * value / most)


def _shares(walls: Walls, stress: Array, metal: Material, en: bool, welded: bool) -> Array:
    """Share (n,) of yield at which each wall buckles; 1 for one in tension or held at no edge."""
    ratio = walls.width / walls.thickness
    outstand = walls.free.sum(axis=1) == 1
    most, least = stress.max(axis=1), stress.min(axis=1)
    psi = np.where(outstand, 1.0, least / np.where(most > LOWEST, most, 1.0))
    rho = plate_factor(ratio, psi, outstand, metal, en, welded=welded)
    rho = np.where(walls.free.all(axis=1), 1.0, rho)
    chi = _distortional(walls, metal, en, rho, welded)
    # At yield of the section's edge a wall inside is stressed less, so that much of its share counts.
    return np.where(most > LOWEST, np.minimum(rho * chi / np.maximum(most, LOWEST), 1.0), 1.0)


def _distortional(walls: Walls, metal: Material, en: bool, rho: Array, welded: bool) -> Array:
    """Factor (n,) on flanges and their lips, EN 1993-1-3 5.5.3.2 and EN 1999-1-4 5.5.3 (from memory).

    Used in every format. A lip shorter than a fifth of its flange leaves the flange an outstand.
    """
    chi = np.ones(len(walls.thickness))
    flange = np.flatnonzero(walls.lip.max(axis=1, initial=-1) >= 0) if len(chi) else np.zeros(0, dtype=int)
    if not len(flange):
        return chi
    lip = walls.lip[flange].max(axis=1)
    t, b, c = walls.thickness[flange], walls.width[flange], walls.width[lip]
    web = walls.web[flange]
    height = np.where(web >= 0, walls.width[np.maximum(web, 0)], b)
    half = 0.5 * rho[flange] * b
    thin = np.minimum(walls.thickness[lip], t)
    area = half * t + c * thin
    below = c**2 * thin / 2.0 / area  # of the centroid below the flange, lip square to it
    inertia = half * t * below**2 + c**3 * thin / 12.0 + c * thin * (0.5 * c - below) ** 2
    arm = b - half**2 * t / 2.0 / area
    spring = metal.E * t**3 / (4.0 * 0.91) / (arm**2 * height + arm**3 + 0.5 * arm * b * height)
    critical = 2.0 * np.sqrt(spring * metal.E * inertia) / area
    slender = np.sqrt(metal.yield_strength / critical)
    if metal.name == "aluminum":
        found = np.where(
            slender <= 0.25, 1.0, np.where(slender < 1.04, 1.155 - 0.62 * slender, 0.53 / slender)
        )
    else:
        found = np.where(
            slender <= 0.65, 1.0, np.where(slender < 1.38, 1.47 - 0.723 * slender, 0.66 / slender)
        )
    alone = plate_factor(b / t, np.ones(len(t)), np.ones(len(t), dtype=bool), metal, en, welded=welded)
    found = np.where(c < 0.2 * b, np.minimum(found, alone), found)
    np.minimum.at(chi, flange, found)
    np.minimum.at(chi, lip, found)
    return chi
