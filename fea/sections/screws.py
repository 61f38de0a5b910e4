"""Strength of one screw that joins two steel sheets: tilting, bearing, pull-out, pull-over.

Nominal or characteristic values before Omega, phi or gamma_M; arguments broadcast. AISI S100-16 section J4
and EN 1993-1-3:2006 section 8.3, both from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Values = float | Array

WIDEST = 0.01905  # head or washer that counts in AISI, 3/4 in [m]
TILTING, BEARING = 1.0, 2.5  # t2 / t1 up to which screws tilt, and from which they only bear [-]
THREADED, PLAIN = 0.65, 0.45  # EN pull-out with a full thread in the sheet, and without [-]
EN_THICKEST = 0.0015  # sheet below the head for which EN gives pull-through [m]
EN_STRONGEST = 550e6  # tensile strength that counts in EN [Pa]
EN_THINNEST, EN_OTHER = 0.0005, 0.0009  # least thickness of the thinner and of the thicker sheet in EN [m]


def tilting(t2: Values, d: Values, Fu2: Values) -> Array:
    """Tilting of a screw, 4.2 (t2^3 d)^0.5 F_u2, AISI S100-16 J4.3.1. [N].

    Parameters
    ----------
    t2 : (...) float
        Sheet that is not in contact with the head. [m]
    d : (...) float
        Diameter of the screw. [m]
    Fu2 : (...) float
        Tensile strength of that sheet. [Pa]
    """
    return np.asarray(4.2 * np.sqrt(t2**3 * d) * Fu2)


def bearing(t: Values, d: Values, Fu: Values) -> Array:
    """Bearing of a screw on one sheet, 2.7 t d F_u, AISI S100-16 J4.3.1. [N]. As `tilting`."""
    return np.asarray(2.7 * t * d * Fu)


def joint_shear(t1: Values, t2: Values, d: Values, Fu1: Values, Fu2: Values) -> Array:
    """Shear strength P_nv of a joint by tilting and bearing, AISI S100-16 J4.3.1. [N].

    The least of three up to t2 = t1, bearing alone from t2 = 2.5 t1, a straight line between.

    Parameters
    ----------
    t1, t2 : (...) float
        Sheet below the head, and the other. [m]
    d : (...) float
        Diameter of the screw. [m]
    Fu1, Fu2 : (...) float
        Tensile strengths. [Pa]
    """
    bears = np.minimum(bearing(t1, d, Fu1), bearing(t2, d, Fu2))
    tilts = np.minimum(tilting(t2, d, Fu2), bears)
    share = np.clip((np.asarray(t2) / t1 - TILTING) / (BEARING - TILTING), 0.0, 1.0)
    return np.asarray(tilts + share * (bears - tilts))


def edge_shear(t: Values, edge: Values, d: Values, Fu: Values) -> Array:
    """Tear-out of a sheet's end, 0.6 F_u 2 t e_net, AISI S100-16 J4.2 and J6.1. [N].

    Parameters
    ----------
    t : (...) float
        Sheet. [m]
    edge : (...) float
        From the screw's center to the edge; e_net is half a diameter less. [m]
    d, Fu
        As `tilting`.
    """
    return np.asarray(0.6 * Fu * 2.0 * t * (edge - 0.5 * np.asarray(d)))


def pull_out(t: Values, d: Values, Fu: Values) -> Array:
    """Pull-out P_not = 0.85 t_c d F_u2 of the sheet that holds the thread, AISI S100-16 J4.4.1. [N].

    Parameters
    ----------
    t : (...) float
        Lesser of that sheet's thickness and the depth of the thread in it. [m]
    d, Fu
        As `tilting`.
    """
    return np.asarray(0.85 * t * d * Fu)


def pull_over(t: Values, head: Values, Fu: Values) -> Array:
    """Pull-over P_nov = 1.5 t1 d'_w F_u1 of the sheet below the head, AISI S100-16 J4.4.2. [N].

    Parameters
    ----------
    t : (...) float
        That sheet. [m]
    head : (...) float
        Diameter of head or washer; not more than 3/4 in of it counts. [m]
    Fu : (...) float
        Tensile strength of the sheet. [Pa]
    """
    return np.asarray(1.5 * t * np.minimum(head, WIDEST) * Fu)


def shear_and_pull(
    shear: Values, pull: Values, holds: tuple[Values, Values], weight: float, bound: float
) -> Array:
    """Use of one screw by shear and pull together, (Q / S + w T / P) / B. [-].

    AISI S100-16 J4.5.1 with w = 0.71, B = 1.10 / Omega or 1.10 phi; J4.5.2 with w = 1, B = 1.15 / Omega or
    1.15 phi; EN 1993-1-3 8.3(8) with design values and w = B = 1.

    Parameters
    ----------
    shear, pull : (...) float
        Factored forces. [N]
    holds : two of (...) float
        S and P. [N]
    weight, bound : float
        w and B.
    """
    return np.asarray((shear / holds[0] + weight * pull / holds[1]) / bound)


def en_alpha(t: Values, thicker: Values, d: Values, *, thin_at_head: bool) -> Array:
    """Factor alpha of bearing, EN 1993-1-3:2006 table 8.2. [-].

    3.2 (t / d)^0.5, not more than 2.1. Sheets from t = 1 mm on below the head of a joint to one at least 2.5
    times as thick reach 2.1, with a straight line between. The table stands for the thinner sheet below the
    head; the other way round nothing is gained from the thicker one (judgment).

    Parameters
    ----------
    t, thicker, d : (...) float
        Thinner sheet, thicker sheet, diameter of the screw. [m]
    thin_at_head : bool
    """
    same = np.minimum(3.2 * np.sqrt(t / d), 2.1)
    far = np.where(t < 1e-3, same, 2.1)
    share = np.clip((thicker / t - 1.0) / 1.5, 0.0, 1.0)
    return np.asarray(same + share * (far - same) if thin_at_head else same)


def en_bearing(t1: float, t2: float, d: float, Fu1: float, Fu2: float) -> tuple[float, float]:
    """Bearing alpha f_u d t on sheet below the head and on the other, EN 1993-1-3:2006 table 8.2. [N].

    Parameters
    ----------
    t1, t2 : float
        Sheet below the head, and the other. [m]
    d : float
        Diameter of the screw. [m]
    Fu1, Fu2 : float
        Tensile strengths. [Pa]
    """
    alpha = float(en_alpha(min(t1, t2), max(t1, t2), d, thin_at_head=t1 <= t2))
    return alpha * Fu1 * d * t1, alpha * Fu2 * d * t2


def en_pull_through(t: Values, head: Values, Fu: Values) -> Array:
    """Pull-through d_w t f_u for snow, EN 1993-1-3:2006 table 8.2; not more than 1.5 mm counts. [N].

    Parameters
    ----------
    t, head, Fu : (...) float
        Sheet below the head [m], diameter of head or washer [m], tensile strength [Pa].
    """
    return np.asarray(np.minimum(t, EN_THICKEST) * head * Fu)


def en_pull_out(t: Values, d: Values, Fu: Values, thread_pitch: Values = np.nan) -> Array:
    """Pull-out 0.45 d t_sup f_u,sup, 0.65 for a sheet at least as thick as a thread, table 8.2. [N].

    Parameters
    ----------
    t, d, Fu : (...) float
        As `pull_out`.
    thread_pitch : (...) float, optional
        Unknown counts as more than t. [m]
    """
    factor = np.where(t >= np.nan_to_num(thread_pitch, nan=np.inf), THREADED, PLAIN)
    return np.asarray(factor * d * t * Fu)


def en_in_range(t1: float, t2: float) -> bool:
    """Whether EN 1993-1-3:2006 table 8.2 speaks of tension with these sheets. [m]."""
    return min(t1, t2) >= EN_THINNEST and max(t1, t2) >= EN_OTHER
