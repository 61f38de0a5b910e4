"""Torsion of open sections with restrained warping, exact for any length (Vlasov).

A bar of St-Venant stiffness GJ and warping stiffness EI_w under a torque m(x) per length obeys
EI_w t'''' - GJ t'' = m for its twist t. Degrees of freedom are the twist t and its rate c = t' at both ends;
the force of the rate is the bimoment B = EI_w t''. Three ways to deform, orthogonal in energy: the
twist of the chord, the difference of the end rates (even about the middle) and their mean over the chord
(odd). With h = L / 2 sqrt(GJ / EI_w) all functions are written by series for small h and by decaying
exponentials for large h, so that nothing cancels or overflows.

Sources (from memory): Vlasov, Thin-walled Elastic Beams, II; the even and odd functions derived here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SMALL = 1.5  # h below which functions come from series
TERMS = 12  # of the series; the first one left out is below 1e-16 at `SMALL`
FRACTIONS = 14  # levels of the continued fraction of coth, exact to rounding below `SMALL`
SMOOTH = 3.0  # lengths up to this many decay lengths are integrated by Gauss points
POINT, WEIGHT = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class Twist:
    """Twist along bars for unit values of (t1, c1, t2, c2), each (m, 4): itself, t' and t''."""

    value: Array
    slope: Array
    curvature: Array


def decay(L: Array, torsion: float, warping: float) -> Array:
    """Half of the length in decay lengths, h = L / 2 sqrt(GJ / EI_w). [-]."""
    return np.asarray(0.5 * L * np.sqrt(torsion / warping))


def odd_stiffness(h: Array) -> Array:
    """Ratio h^2 / (h coth h - 1), 3 for a bar without St-Venant stiffness."""
    small = np.minimum(h, SMALL) ** 2
    fraction = np.full_like(small, 2.0 * FRACTIONS + 3.0)
    for level in range(FRACTIONS, 0, -1):
        fraction = 2.0 * level + 1.0 + small / fraction
    large = np.maximum(h, SMALL)
    return np.where(h < SMALL, fraction, large**2 / (large / np.tanh(large) - 1.0))


def torsion_stiffness(L: Array, torsion: float, warping: float) -> Array:
    """Stiffness matrices (m, 4, 4) of (t1, c1, t2, c2) for lengths L. [N m, N m^2, N m^3]."""
    h = decay(L, torsion, warping)
    ratio = odd_stiffness(h)
    odd = 2.0 * warping / L * ratio
    even = warping / L * (1.0 + h**2 / ratio)
    turn, side = 2.0 * odd / L**2 + torsion / L, odd / L
    near, far = odd / 2.0 + even, odd / 2.0 - even
    rows = [
        [turn, side, -turn, side],
        [side, near, -side, far],
        [-turn, -side, turn, -side],
        [side, far, -side, near],
    ]
    return np.moveaxis(np.array(rows), 2, 0)


def _series(r: Array, h: Array, ratio: Array) -> tuple[Array, Array]:
    """Even and odd functions and two derivatives by r = 2 x / L - 1, (3, m) each, for small h."""
    even, odd = np.zeros((3, *r.shape)), np.zeros((3, *r.shape))
    arc, power, square = np.ones_like(h), np.ones_like(h), h * h
    r2, lower = r * r, np.ones_like(r)  # r^(2 n - 2)
    for n in range(1, TERMS):
        k = 2 * n
        first, second, third = (power / factorial(k + i) for i in (-1, 0, 1))
        lower_r, upper = lower * r, lower * r2
        even[0] += second * (upper - 1.0)
        even[1] += first * lower_r
        even[2] += k * (k - 1) * second * lower
        odd[0] += third * r * (upper - 1.0)
        odd[1] += third * ((k + 1) * upper - 1.0)
        odd[2] += first * lower_r
        power = power * square
        arc += power / factorial(k + 1)
        lower = upper
    return even / (4.0 * arc), odd * ratio / (2.0 * arc)


def _exponentials(r: Array, h: Array, ratio: Array) -> tuple[Array, Array]:
    """The same for large h."""
    side = h * np.abs(r)
    full = -np.expm1(-2.0 * h)
    fall = np.exp(side - h)
    sine = -np.sign(r) * fall * np.expm1(-2.0 * side) / full  # sinh(h r) / sinh h
    cosine = fall * (1.0 + np.exp(-2.0 * side)) / full  # cosh(h r) / sinh h
    bow = -np.expm1(-h * (1.0 + r)) * np.expm1(-h * (1.0 - r)) / full
    even = np.stack([bow / h, sine, h * cosine]) / 4.0
    odd = np.stack([sine - r, h * cosine - 1.0, h**2 * sine]) * ratio / (2.0 * h**2)
    return even, odd


def _modes(x: Array, L: Array, h: Array) -> tuple[Array, Array, Array]:
    """Twist, slope and curvature (m, 4) of the ways to deform: near chord, far chord, even, odd."""
    r = 2.0 * x / L - 1.0
    ratio = odd_stiffness(h)
    even, odd = np.empty((2, 3, len(x)))
    for use, functions in ((h < SMALL, _series), (h >= SMALL, _exponentials)):
        if use.any():
            even[:, use], odd[:, use] = functions(r[use], h[use], ratio[use])
    even, odd = L * even, L * odd
    zero, one, rate = np.zeros_like(x), np.ones_like(x), 2.0 / L
    value = np.stack([0.5 * (1.0 - r), 0.5 * (1.0 + r), even[0], odd[0]], axis=1)
    slope = np.stack([-one / L, one / L, rate * even[1], rate * odd[1]], axis=1)
    curvature = np.stack([zero, zero, rate**2 * even[2], rate**2 * odd[2]], axis=1)
    return value, slope, curvature


def _to_ends(modes: Array, L: Array) -> Array:
    """From the ways to deform (m, 4, ...) to the ends' degrees of freedom (t1, c1, t2, c2)."""
    near, far, even, odd = (modes[:, i] for i in range(4))
    length = L.reshape(-1, *[1] * (modes.ndim - 2))
    return np.stack([near + odd / length, 0.5 * odd - even, far - odd / length, 0.5 * odd + even], axis=1)


def twist_functions(x: Array, L: Array, torsion: float, warping: float) -> Twist:
    """Exact shape functions at places x of bars of length L, both (m,). [m]."""
    return Twist(*(_to_ends(part, L) for part in _modes(x, L, decay(L, torsion, warping))))


def torque_vectors(a: Array, b: Array, L: Array, torsion: float, warping: float) -> Array:
    """Nodal loads that torques on part of a bar are worth.

    Parameters
    ----------
    a, b : (m,) float
        Ends of the loaded part from the bars' starts. [m]
    L : (m,) float
        Lengths of the bars. [m]
    torsion, warping : float
        GJ [N m^2], EI_w [N m^4].

    Returns
    -------
    (m, 4, 2) float
        For a torque per length that is 1 at a and falls to 0 at b, and the reverse.
    """
    h = decay(L, torsion, warping)
    steps = (b - a) * 2.0 * h / L
    part = np.zeros((len(a), 4, 2))
    for use, integral in (((b > a) & (steps <= SMOOTH), _by_points), (steps > SMOOTH, _by_parts)):
        if use.any():
            part[use] = integral(a[use], b[use], L[use], h[use])
    return _to_ends(part, L)


def _by_points(a: Array, b: Array, L: Array, h: Array) -> Array:
    """Integrals of the ways to deform by Gauss points."""
    share = 0.5 * (1.0 + POINT)
    x = a[:, None] + (b - a)[:, None] * share
    repeat = len(share)
    value = _modes(x.ravel(), np.repeat(L, repeat), np.repeat(h, repeat))[0].reshape(len(a), repeat, 4)
    lines = np.stack([1.0 - share, share], axis=1) * WEIGHT[:, None] / 2.0
    return np.swapaxes(value, 1, 2) @ lines * (b - a)[:, None, None]


def _by_parts(a: Array, b: Array, L: Array, h: Array) -> Array:
    """The same for steep functions: each is a line plus its second derivative over (2 h / L)^2."""
    scale = (0.5 * L / h)[:, None] ** 2
    at_a, at_b = _modes(a, L, h), _modes(b, L, h)
    line_a, line_b = at_a[0] - scale * at_a[2], at_b[0] - scale * at_b[2]
    length = (b - a)[:, None]
    drop = (at_b[0] - at_a[0]) / length
    first = length * (2.0 * line_a + line_b) / 6.0 + scale * (drop - at_a[1])
    second = length * (line_a + 2.0 * line_b) / 6.0 + scale * (at_b[1] - drop)
    return np.stack([first, second], axis=2)
