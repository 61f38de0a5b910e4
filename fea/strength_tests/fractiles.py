"""Fractiles of a strength from few tests: factors of EN 1990 Annex D and of tolerance limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Array = NDArray[np.float64]

CHARACTERISTIC = 0.05  # fractile of a characteristic strength (EN 1990 4.2(3))
DESIGN_INDEX = 3.04  # alpha_R beta = 0.8 x 3.8 (EN 1990 C7 and D8)
DESIGN_FRACTILE = 0.001  # that Table D2 stands for; its line for many tests has 3.04, a little less safe


@dataclass(frozen=True)
class Sample:
    """Strengths of one kind.

    Attributes
    ----------
    count : int
    mean : float
    deviation : float
        Standard deviation from n - 1; NaN for one test.
    log_mean, log_deviation : float
        Of the natural logarithms.
    """

    count: int
    mean: float
    deviation: float
    log_mean: float
    log_deviation: float

    @property
    def scatter(self) -> float:
        """Coefficient of variation."""
        return self.deviation / self.mean


def sample_of(values: ArrayLike) -> Sample:
    """Moments of strengths (n,), all greater than zero."""
    found = np.asarray(values, dtype=float)
    several = len(found) > 1
    logs = np.log(found)
    return Sample(
        count=len(found),
        mean=float(found.mean()),
        deviation=float(found.std(ddof=1)) if several else np.nan,
        log_mean=float(logs.mean()),
        log_deviation=float(logs.std(ddof=1)) if several else np.nan,
    )


def fractile_factor(count: ArrayLike, *, known: bool, fractile: float = CHARACTERISTIC) -> Array:
    """Factor k_n of EN 1990 D7.2, Table D1, for any fractile.

    Parameters
    ----------
    count : (...) int
        Number of tests.
    known : bool
        Whether the scatter is known from before; else it comes from the tests (infinite for one test).
    fractile : float
        0.05 for characteristic strengths.

    Returns
    -------
    (...) float
        Predictive for one further value: quantile of the normal, or of Student's t with n - 1 degrees of
        freedom, times sqrt(1 + 1 / n).
    """
    n = np.asarray(count, dtype=float)
    spread = np.sqrt(1.0 + 1.0 / n)
    if known:
        return np.asarray(-stats.norm.ppf(fractile) * spread)
    with np.errstate(invalid="ignore"):
        quantile = -stats.t.ppf(fractile, np.maximum(n - 1.0, 1.0))
    return np.where(n > 1, quantile * spread, np.inf)


def design_factor(count: ArrayLike, *, known: bool) -> Array:
    """Factor k_d,n of EN 1990 D7.3, Table D2: design values straight from tests, fractile 0.1 %."""
    return fractile_factor(count, known=known, fractile=DESIGN_FRACTILE)


def tolerance_factor(count: ArrayLike, *, share: float = 0.95, confidence: float = 0.75) -> Array:
    """One-sided tolerance factor k of a normal sample with unknown mean and scatter.

    With `confidence`, at least `share` of all values lie above mean - k s: k is the quantile of the
    noncentral t distribution with n - 1 degrees of freedom and noncentrality z sqrt(n), over sqrt(n)
    (ISO 16269-6:2014, Annex; Owen 1963).
    """
    n = np.asarray(count, dtype=float)
    shift = stats.norm.ppf(share) * np.sqrt(n)
    return np.asarray(stats.nct.ppf(confidence, np.maximum(n - 1.0, 1.0), shift) / np.sqrt(n))


def fractile_value(sample: Sample, factor: float, *, lognormal: bool, scatter: float = np.nan) -> float:
    """Strength at a factor below the mean.

    Normal: m (1 - k V). Lognormal: exp(m_y - k s_y) (EN 1990 D7.2). A known `scatter` V takes the place of
    that of the tests; s_y is then sqrt(ln(1 + V^2)). Never below zero.
    """
    known = not np.isnan(scatter)
    if lognormal:
        deviation = float(np.sqrt(np.log1p(scatter**2))) if known else sample.log_deviation
        return float(np.exp(sample.log_mean - factor * deviation)) if np.isfinite(factor) else 0.0
    deviation = scatter * sample.mean if known else sample.deviation
    return max(sample.mean - factor * deviation, 0.0) if np.isfinite(factor) else 0.0


def suspects(values: ArrayLike, level: float = 0.05) -> tuple[Array, float]:
    """Grubbs's test for one value that does not belong (ASTM E178; Grubbs 1969).

    Parameters
    ----------
    values : (n,) float
    level : float
        Chance to suspect a value of a normal sample.

    Returns
    -------
    distance : (n,) float
        |x - mean| / s of every value; zeros for fewer than three.
    limit : float
        Critical value; a distance above it is suspect. Infinite for fewer than three.
    """
    found = np.asarray(values, dtype=float)
    n = len(found)
    deviation = found.std(ddof=1) if n > 1 else 0.0
    # Scatter that is rounding says nothing.
    if n < 3 or deviation <= 1e-9 * abs(found.mean()):
        return np.zeros(n), np.inf
    t = stats.t.ppf(1.0 - level / (2.0 * n), n - 2)
    limit = (n - 1) / np.sqrt(n) * np.sqrt(t**2 / (n - 2 + t**2))
    return np.abs(found - found.mean()) / deviation, float(limit)


def odd_ones(values: ArrayLike, most: int = 2) -> list[int]:
    """Values that do not belong, by the generalized test of Rosner (1983), level 5 %; from memory.

    Grubbs's test is blind for two that are alike, as each hides the other. Here the furthest is taken out
    one after the other, and all up to the last one that was suspect among the rest do not belong. At most
    `most`, and less than half of all. Of normal samples of 5 to 10 it suspects 7 to 10 %, of 20 it is 5 %.
    """
    found = np.asarray(values, dtype=float)
    left, out, taken = np.arange(len(found)), 0, []
    for step in range(1, min(most, (len(found) - 1) // 2) + 1):
        distance, limit = suspects(found[left])
        furthest = int(np.argmax(distance))
        taken.append(int(left[furthest]))
        if distance[furthest] > limit:
            out = step
        left = np.delete(left, furthest)
    return taken[:out]


def looks_normal(values: ArrayLike) -> tuple[float, float]:
    """Chance of such a sample if normal, and if lognormal (Shapiro-Wilk); NaN below three."""
    found = np.asarray(values, dtype=float)
    if len(found) < 3 or np.ptp(found) <= 1e-9 * abs(found.mean()):
        return np.nan, np.nan
    return float(stats.shapiro(found).pvalue), float(stats.shapiro(np.log(found)).pvalue)
