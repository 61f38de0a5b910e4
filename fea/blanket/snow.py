"""Stiffness, strength and creep of snow from density and temperature.

All fits below are from memory, and each scatters by a factor of two and more; the modulus by ten. Dry snow
of rounded grains; wet snow and depth hoar are weaker at the same density (Keeler and Weeks, J. Glaciology 7
(1968) 253, abstract read).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.blanket.data import Snow
from fea.blanket.yielding import Strength

Array = NDArray[np.float64]

ICE = 917.0  # [kg/m^3]
DENSEST = 800.0  # that snow packs to against a stop (judgment) [kg/m^3]
COLD = 5.0  # this far below freezing and colder, strength is that of dry snow (judgment) [K]
STEEPEST = 0.98  # slope of the envelope [-]
USUAL = 300.0  # density where nobody gives one, old snow that has settled (judgment) [kg/m^3]
LITTLE = 0.02  # part of its tensile strength that cracked snow keeps, so that forces stay unique [-]
WET = 0.5  # part of it that is left at the melting point (judgment) [-]


@dataclass(frozen=True)
class SnowChoice:
    """What the user knows of the snow; NaN for what follows from density and temperature.

    Attributes
    ----------
    density : float
        [kg/m^3]
    below_freezing : float
        How far the snow is below its melting point. [K]
    poisson : float
    slope : float
        Sine of the angle of internal friction; NaN for what fits the strengths. [-]
    creep : float
        Time over which the snow has crept, 0 for none. [s]
    young, tension, shear, compression : float
        [Pa]
    """

    density: float
    below_freezing: float = 0.0
    poisson: float = 0.2
    slope: float = np.nan
    creep: float = 0.0
    young: float = np.nan
    tension: float = np.nan
    shear: float = np.nan
    compression: float = np.nan


def modulus(density: Array) -> Array:
    """Young's modulus under slow loading, 0.187 exp(0.0149 rho) MPa (Scapozza 2004). [Pa].

    Parameters
    ----------
    density : (n,) float
        [kg/m^3]
    """
    return np.asarray(0.187e6 * np.exp(0.0149 * np.asarray(density)))


def viscosity(density: Array, below_freezing: float) -> Array:
    """Compaction viscosity 3.6e6 exp(0.08 dT) exp(0.021 rho) (Anderson 1976 after Kojima). [Pa s]."""
    return np.asarray(3.6e6 * np.exp(0.08 * below_freezing) * np.exp(0.021 * np.asarray(density)))


def effective_modulus(density: Array, below_freezing: float, creep: float) -> Array:
    """Modulus of a Maxwell body after a time: E / (1 + E t / eta). [Pa].

    The compaction viscosity is taken for the plane too (judgment).
    """
    young = modulus(density)
    return np.asarray(young / (1.0 + young * creep / viscosity(density, below_freezing)))


def warmth(below_freezing: float) -> float:
    """Part of the dry strength: 1 at `COLD` and colder, `WET` at the melting point (judgment). [-]."""
    return float(WET + (1.0 - WET) * min(max(below_freezing, 0.0) / COLD, 1.0))


def shear_strength(density: Array) -> Array:
    """14.5 kPa (rho / 917)^1.73 (Jamieson and Johnston, Annals of Glaciology 32 (2001) 59). [Pa]."""
    return np.asarray(14.5e3 * (np.asarray(density) / ICE) ** 1.73)


def tensile_strength(density: Array) -> Array:
    """79.7 kPa (rho / 917)^2.39 (Jamieson and Johnston, J. Glaciology 36 (1990) 296). [Pa]."""
    return np.asarray(79.7e3 * (np.asarray(density) / ICE) ** 2.39)


def compressive_strength(density: Array) -> Array:
    """Of the middle of 1-3 kPa at 100, 5-30 at 200 and 50-200 at 400 kg/m^3, straight in logarithms. [Pa].

    Mellor 1975, from memory; it rises with the speed of loading.
    """
    marks, middle = np.log([100.0, 200.0, 400.0]), np.log([1.7e3, 12e3, 100e3])
    x = np.log(np.asarray(density))
    rate = (middle[2] - middle[1]) / (marks[2] - marks[1])
    beyond = np.maximum(x - marks[2], 0.0)
    return np.asarray(np.exp(np.interp(x, marks, middle) + rate * beyond))


def make_snow(choice: SnowChoice, density: Array, *, cracked: bool = False) -> Snow:
    """Stiffness and strength of cells.

    Shear that nobody gave is that of a straight envelope (Mohr-Coulomb) which touches uniaxial tension and
    compression, so that the slab is as strong in its plane as these say; the shear frame measures weak layers
    and gives less.

    Parameters
    ----------
    choice : SnowChoice
    density : (m,) float
        Of each cell; what the user gave holds at `choice.density` and changes with it by the laws above.
        [kg/m^3]
    cracked : bool
        Whether the layer holds next to no tension, `LITTLE` of its strength.
    """
    part = warmth(choice.below_freezing)

    def law(given: float, found: Callable[[Array], Array], scale: float = 1.0) -> Array:
        here = np.asarray(found(density)) * scale
        return here if np.isnan(given) else given * here / (float(found(np.array(choice.density))) * scale)

    def young(rho: Array) -> Array:
        return effective_modulus(rho, choice.below_freezing, choice.creep)

    tension = law(choice.tension, tensile_strength, part)
    compression = law(choice.compression, compressive_strength, part)
    shear = tension * compression / np.maximum(tension + compression, 1e-9)
    if not np.isnan(choice.shear):
        shear = law(choice.shear, shear_strength, part)
    through = np.clip(1.0 - 2.0 * shear / np.maximum(compression, 1e-9), 0.0, STEEPEST)
    return Snow(
        young=law(choice.young, young),
        poisson=choice.poisson,
        strength=Strength(
            tension=tension * (LITTLE if cracked else 1.0),
            shear=shear,
            compression=compression,
            slope=through if np.isnan(choice.slope) else np.full(len(density), choice.slope),
        ),
        density=density,
    )


def even_snow(choice: SnowChoice) -> Snow:
    """One cell of it at its own density, neither packed nor cracked."""
    return make_snow(choice, np.array([choice.density]))


def packed(density: float, shortening: Array) -> Array:
    """Density of snow that has been shortened in its plane, at most `DENSEST`. [kg/m^3].

    Parameters
    ----------
    density : float
        Before. [kg/m^3]
    shortening : (m,) float
        Loss of area, positive. [-]
    """
    grown = density / np.maximum(1.0 - np.maximum(shortening, 0.0), density / DENSEST)
    return np.minimum(grown, max(DENSEST, density))


def weak_layer(choice: SnowChoice) -> float:
    """Shear strength in planes level with the roof: the user's, or that of the shear frame. [Pa]."""
    if not np.isnan(choice.shear):
        return choice.shear
    return float(shear_strength(np.array(choice.density))) * warmth(choice.below_freezing)
