"""Problems whose chance is known."""

from __future__ import annotations

import numpy as np
from scipy import stats
from scipy.integrate import quad

MILLIONTH = float(-stats.norm.ppf(1e-6))


def plane(beta, inputs):
    """Failure beyond a plane: chance Phi(-beta) in any number of inputs."""
    return lambda u: beta - u.sum(axis=1) / np.sqrt(inputs)


def ball(radius):
    """Failure outside a ball: chi-square distribution of the radius, no single design point."""
    return lambda u: radius**2 - (u**2).sum(axis=1)


def two_sides(beta):
    """Two design points: chance 2 Phi(-beta)."""
    return lambda u: beta - np.abs(u[:, 0])


def curved(beta, kappa):
    """A parabola, Breitung 1984: exact by one integral."""
    return lambda u: beta + 0.5 * kappa * u[:, 1] ** 2 - u[:, 0]


def curved_chance(beta, kappa):
    return quad(lambda v: stats.norm.pdf(v) * stats.norm.sf(beta + 0.5 * kappa * v**2), -12.0, 12.0)[0]


def four_branches(u):
    """Series system of four branches (Waarts 2000; Schueremans and Van Gemert 2005): 2.22e-3."""
    x, y = u[:, 0], u[:, 1]
    a = 3.0 + 0.1 * (x - y) ** 2
    b = 7.0 / np.sqrt(2.0)
    return np.min([a - (x + y) / np.sqrt(2.0), a + (x + y) / np.sqrt(2.0), (x - y) + b, (y - x) + b], axis=0)


RARE = {
    "plane, 2 inputs": (plane(MILLIONTH, 2), 2, 1e-6),
    "plane, 100 inputs": (plane(MILLIONTH, 100), 100, 1e-6),
    "two sides": (two_sides(float(-stats.norm.ppf(5e-7))), 3, 1e-6),
    "ball, 5 inputs": (ball(np.sqrt(stats.chi2.isf(1e-6, 5))), 5, 1e-6),
    "parabola": (curved(4.5, 0.4), 2, curved_chance(4.5, 0.4)),
}
