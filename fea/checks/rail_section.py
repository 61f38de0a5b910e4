"""Stress of the rail's section from its forces, and what a reader must know about it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import Rail
from roofmodel.profiles.data import Section

Array = NDArray[np.float64]


def bending_stress(M_y: Array, M_z: Array, section: Section) -> Array:
    """Largest normal stress of two moments. [Pa].

    Stress is E (z r_y' - y r_z') for the curvatures that both moments make together. Both parts add up at
    the corner of a section, a safe reading, and as a vector in a round one.
    """
    I_y, I_z, I_yz = section.I_y, section.I_z, section.I_yz
    if I_yz == 0.0:
        about_y, about_z = np.abs(M_y) / section.W_y, np.abs(M_z) / section.W_z
    else:
        share = 1.0 - I_yz**2 / (I_y * I_z)
        about_y = np.abs(M_y + M_z * I_yz / I_z) / share / section.W_y
        about_z = np.abs(M_z + M_y * I_yz / I_y) / share / section.W_z
    return np.asarray(np.hypot(about_y, about_z) if section.round else about_y + about_z)


def yield_moments(stress: float, section: Section) -> Array:
    """Moments (2,) about y and z, each alone, at which `bending_stress` reaches a stress [Pa]. [N m]."""
    unit = np.eye(2)
    return np.asarray(stress / bending_stress(unit[0], unit[1], section))


def rail_stress(force: Array, rail: Rail) -> Array:
    """Von Mises stress (...) of rail forces (..., 6 or 8), as `fea.rails.loads.FrameResult.rail_force`. [Pa].

    Shear from torsion and from shear forces adds up, a safe reading. In an open rail, whose warping torsion
    makes less shear than St Venant's, the larger of the whole torsion and the St-Venant part counts
    as the latter. The bimoment adds B omega_max / I_w where omega_max is given (`open_words` says so where it
    is not).
    """
    section = rail.section
    normal = np.abs(force[..., 0]) / section.area + bending_stress(force[..., 4], force[..., 5], section)
    torque = np.abs(force[..., 3])
    if force.shape[-1] > 6:
        torque = np.maximum(torque, np.abs(force[..., 7]))
        if not np.isnan(section.omega_max):
            normal = normal + np.abs(force[..., 6]) * section.omega_max / section.I_w
    shear_area = min(section.shear_y, section.shear_z, section.area)
    shear = torque / section.W_t + np.hypot(force[..., 1], force[..., 2]) / shear_area
    return np.asarray(np.sqrt(normal**2 + 3.0 * shear**2))


def open_words(rail: Rail) -> str:
    """How the stress of an open rail was taken, and what is left out; empty for closed rails."""
    if not rail.section.I_w > 0.0:
        return ""
    words = "torsion of the open rail counts whole as St Venant's"
    if np.isnan(rail.section.omega_max):
        words += "; stress from the bimoment is NOT in it, for rail.omega_max is not given"
    return words
