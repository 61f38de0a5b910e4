"""Uncertain inputs: distributions, correlated where they are, from standard normal numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

Array = NDArray[np.float64]


class Shape(StrEnum):
    """Families of distributions, by mean and deviation where not said otherwise."""

    NORMAL = "normal"
    LOGNORMAL = "lognormal"
    GUMBEL = "gumbel"  # of yearly largest values
    WEIBULL = "weibull"  # of smallest values, such as brittle strengths
    UNIFORM = "uniform"  # between two bounds
    FIXED = "fixed"


@dataclass(frozen=True)
class Variable:
    """One uncertain input.

    Attributes
    ----------
    name : str
    shape : Shape
    first, second : float
        Mean and standard deviation; the lower and upper bound of a uniform one; the value of a fixed one.
    """

    name: str
    shape: Shape
    first: float
    second: float = 0.0

    @property
    def law(self) -> Any:
        """The frozen distribution of scipy; None for a fixed value."""
        mean, deviation = self.first, self.second
        if self.shape is Shape.FIXED:
            return None
        if self.shape is Shape.UNIFORM:
            return stats.uniform(mean, deviation - mean)
        if self.shape is Shape.NORMAL:
            return stats.norm(mean, deviation)
        if self.shape is Shape.LOGNORMAL:
            s = np.sqrt(np.log1p((deviation / mean) ** 2))
            return stats.lognorm(s, scale=mean * np.exp(-0.5 * s**2))
        if self.shape is Shape.GUMBEL:
            scale = deviation * np.sqrt(6.0) / np.pi
            return stats.gumbel_r(mean - np.euler_gamma * scale, scale)
        return _weibull(mean, deviation)


def _weibull(mean: float, deviation: float) -> Any:
    """Two-parameter Weibull distribution from its moments."""
    from scipy.special import gammaln

    def excess(log_shape: float) -> float:
        k = np.exp(log_shape)
        ratio = np.exp(gammaln(1.0 + 2.0 / k) - 2.0 * gammaln(1.0 + 1.0 / k))
        return float(ratio - 1.0 - (deviation / mean) ** 2)

    k = float(np.exp(optimize.brentq(excess, np.log(0.05), np.log(500.0))))
    return stats.weibull_min(k, scale=mean / float(np.exp(gammaln(1.0 + 1.0 / k))))


@dataclass(frozen=True)
class Inputs:
    """Uncertain inputs together.

    Attributes
    ----------
    variables : tuple of Variable
    correlation : (n, n) float
        Of the standard normal numbers behind them (Gaussian copula; near that of the values themselves for
        modest scatter).
    """

    variables: tuple[Variable, ...]
    correlation: Array

    @property
    def count(self) -> int:
        """Number of inputs, fixed ones included."""
        return len(self.variables)

    def values(self, normal: Array) -> Array:
        """Values (..., n) from independent standard normal numbers (..., n)."""
        root = np.linalg.cholesky(self.correlation)
        linked = normal @ root.T
        out = np.empty_like(linked)
        for i, variable in enumerate(self.variables):  # one call for each input, not for each sample
            out[..., i] = _value(variable, linked[..., i])
        return out


def _value(variable: Variable, normal: Array) -> Array:
    if variable.shape is Shape.FIXED:
        return np.full_like(normal, variable.first)
    law = variable.law
    if variable.shape is Shape.NORMAL:
        return np.asarray(variable.first + variable.second * normal)
    if variable.shape is Shape.LOGNORMAL:
        return np.asarray(law.kwds["scale"] * np.exp(law.args[0] * normal))
    # The nearer tail keeps its digits.
    return np.where(normal < 0.0, law.ppf(stats.norm.cdf(normal)), law.isf(stats.norm.sf(normal)))


def make_inputs(
    variables: Sequence[Variable], links: Mapping[tuple[str, str], float] | None = None
) -> Inputs:
    """Inputs with the correlations of pairs by name.

    Raises
    ------
    ValueError
        An unknown name, a bad number, or correlations that contradict each other.
    """
    names = [variable.name for variable in variables]
    matrix = np.eye(len(names))
    for (a, b), value in (links or {}).items():
        unknown = next((name for name in (a, b) if name not in names), None)
        if unknown is not None:
            message = f'there is no uncertain input "{unknown}"; there are {", ".join(names)}'
            raise ValueError(message)
        if a == b or not -1.0 < value < 1.0:
            message = f"the correlation of {a} and {b}, {value:g}, must lie between -1 and 1 for two inputs"
            raise ValueError(message)
        i, j = names.index(a), names.index(b)
        matrix[i, j] = matrix[j, i] = value
    if len(names) and np.linalg.eigvalsh(matrix).min() <= 1e-10:
        message = "the correlations contradict each other: no set of inputs can have them all"
        raise ValueError(message)
    for variable in variables:
        _check(variable)
    return Inputs(tuple(variables), matrix)


def _check(variable: Variable) -> None:
    a, b = variable.first, variable.second
    wrong = ""
    if not np.isfinite(a) or not np.isfinite(b):
        wrong = "has a number that is not finite"
    elif variable.shape is Shape.UNIFORM:
        wrong = "" if a < b else "must have its lower bound below the upper one"
    elif variable.shape is not Shape.FIXED and b <= 0.0:
        wrong = "must have a standard deviation above zero"
    elif variable.shape in (Shape.LOGNORMAL, Shape.WEIBULL) and a <= 0.0:
        wrong = "must have a mean above zero"
    if wrong:
        message = f"{variable.name} {wrong}"
        raise ValueError(message)
