"""An aid to judgment, no code: when sun and heat from below can thaw the bond of snow on a metal roof.

Snow lets part of the sun through; the sheet below takes it up and warms the snow at the bond from below,
while the air above stays frozen. The balance is steady and one-dimensional:

    q + U (t_in - t) = (t - t_air) / R,   R = d / k + 1 / h

with q what the sheet takes up, U the roof below, d, k depth and conductivity of the snow and h its surface.
The bond thaws where t reaches 0 degrees C. So thin or coarse snow can slide on a sunny day far below
freezing, and thick snow over a heated room.

Sources, all from memory: declination, Cooper 1969 and angles of incidence, Duffie and Beckman, Solar
Engineering of Thermal Processes, ch. 1; clear sky, Meinel and Meinel, Applied Solar Energy (1976);
conductivity of snow, Yen, CRREL Report 81-10 (1981); light in snow, Warren, Rev. Geophys. 20 (1982) 67.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SOLAR = 1353.0  # [W/m^2]
DIFFUSE = 0.1  # diffuse light over direct, clear sky
SURFACE = 15.0  # air and sky over the snow [W/m^2 K]
HOURS = np.arange(0.0, 24.0, 0.25)  # solar time


@dataclass(frozen=True)
class ThawAid:
    """What decides whether a bond thaws.

    Attributes
    ----------
    latitude : float
        North positive. [rad]
    day : int
        Of the year, 1 to 365.
    reflected : float
        Share of the light that the snow throws back; old snow 0.5 to 0.7, fresh snow 0.8 to 0.9.
    extinction : float
        Of light in snow; 10 to 40 from coarse to fine grains. [1/m]
    taken_up : float
        Share of the light that the sheet takes up.
    roof_conductance : float
        U below the sheet, inside film included; 0 for none. [W/m^2 K]
    inside : float
        Temperature below. [degrees C]
    """

    latitude: float
    day: int
    reflected: float = 0.65
    extinction: float = 20.0
    taken_up: float = 0.7
    roof_conductance: float = 0.0
    inside: float = 0.0


def clear_sky(latitude: float, day: int, slope: ArrayLike, azimuth: ArrayLike) -> Array:
    """Sun on planes through a clear day, (p, hours). [W/m^2].

    Parameters
    ----------
    latitude : float
        [rad]
    day : int
    slope, azimuth : (p,) float
        Azimuth of the fall, clockwise from north. [rad]
    """
    tilt, way = (np.asarray(x, dtype=float)[..., None] for x in (slope, azimuth))
    declination = np.radians(23.45) * np.sin(2.0 * np.pi * (284 + day) / 365.0)
    hour = np.radians(15.0 * (HOURS - 12.0))
    up = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    east = -np.cos(declination) * np.sin(hour)
    north = np.cos(latitude) * np.sin(declination) - np.sin(latitude) * np.cos(declination) * np.cos(hour)
    with np.errstate(divide="ignore", over="ignore"):
        mass = np.where(up > 0.0, 1.0 / np.maximum(up, 1e-3), np.inf)
        direct = np.where(up > 0.0, SOLAR * 0.7 ** (mass**0.678), 0.0)
    facing = np.cos(tilt) * up + np.sin(tilt) * (np.sin(way) * east + np.cos(way) * north)
    return np.asarray(direct * (np.maximum(facing, 0.0) + DIFFUSE * 0.5 * (1.0 + np.cos(tilt))))


def conductivity(density: ArrayLike) -> Array:
    """Of snow, 2.22 rho^1.885 with rho in g/cm^3, Yen 1981, from memory. [W/m K].

    Parameters
    ----------
    density : (...) float
        [kg/m^3]
    """
    return np.asarray(2.22362 * (np.asarray(density, dtype=float) / 1000.0) ** 1.885)


def warmth_at_bond(aid: ThawAid, sun: ArrayLike, depth: ArrayLike) -> Array:
    """What the sheet takes up of the sun through the snow. [W/m^2].

    Parameters
    ----------
    aid : ThawAid
    sun : (...) float
        On the snow. [W/m^2]
    depth : (...) float
        Square to the roof. [m]
    """
    through = np.exp(-aid.extinction * np.asarray(depth, dtype=float))
    return np.asarray((1.0 - aid.reflected) * np.asarray(sun) * through * aid.taken_up)


def coldest_thaw(aid: ThawAid, sun: ArrayLike, depth: ArrayLike, density: ArrayLike) -> Array:
    """Air temperature down to which the bond thaws. [degrees C].

    Parameters
    ----------
    aid : ThawAid
    sun : (...) float
        On the snow. [W/m^2]
    depth : (...) float
        Of the snow square to the roof. [m]
    density : (...) float
        [kg/m^3]

    Returns
    -------
    (...) float
        -R (q + U t_in): 0 or below unless the inside is colder than 0.
    """
    resistance = np.asarray(depth, dtype=float) / conductivity(density) + 1.0 / SURFACE
    heat = warmth_at_bond(aid, sun, depth) + aid.roof_conductance * aid.inside
    return np.asarray(-resistance * heat)
