"""Screws that hold a bracket through an exposed-fastened panel, as data, SI."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Screws:
    """Screws of one bracket. NaN for what nobody gave.

    Attributes
    ----------
    place : (n, 2) float
        Along the seam (down the slope positive) and across it, from the bracket's center. [m]
    base : (2,) float
        Size of the bracket's base along and across. [m]
    diameter, head, thread_pitch : float
        Of a screw: thread, head or washer, distance of threads. [m]
    base_thickness, support_thickness : float
        Base of the bracket, below the heads, and the steel that holds the threads. [m]
    base_ultimate, support_ultimate : float
        Their tensile strengths. [Pa]
    own : (2,) float
        Shear and tension strength of the screw itself, nominal or characteristic. [N]
    tested, tested_nominal : (3,) float
        Shear, pull-out and pull-over of one screw in this joint from tests: design values, and as given. [N]
    tested_factor : float
        The factor between the two, as the format uses it.
    """

    place: Array
    base: Array
    diameter: float
    head: float
    thread_pitch: float
    base_thickness: float
    support_thickness: float
    base_ultimate: float
    support_ultimate: float
    own: Array
    tested: Array
    tested_nominal: Array
    tested_factor: float
