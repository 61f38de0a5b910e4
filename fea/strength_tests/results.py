"""What a campaign of load tests justifies, as data."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fea.strength_tests.calibrate import Calibration
from fea.strength_tests.curves import CurveReading
from fea.strength_tests.fractiles import Sample
from fea.strength_tests.records import Record
from fea.strength_tests.resistance import FactorFromTests, ModelFactor
from roofmodel.project.campaigns import Campaign

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SPREAD_BOUND = 0.15  # of one test from the mean, beyond which more tests are asked for (AISI S100 K2.1.1)


@dataclass(frozen=True)
class Justified:
    """Strengths of one set of tests. [N].

    Attributes
    ----------
    sample : Sample
    scatter : float
        Coefficient of variation that was used.
    k : float
        k_n of EN 1990 Table D1.
    fractile, characteristic : float
        5 % fractile, and the same held to the lowest test.
    design : float
        eta_d X_k / gamma_M.
    k_design, direct : float
        k_d,n of Table D2 and the design value straight from the tests, eta_d times it.
    tolerance : float
        95 % of all strengths lie above it with 75 % confidence, by the larger of `scatter` and the tests'.
    factor : FactorFromTests or None
        phi and Omega of AISI S100 K2 on the mean; None below three tests.
    lrfd, asd : float
        phi R_n and R_n / Omega with R_n the mean; NaN below three tests.
    over_factor : float
        Mean over the safety factor asked for, NaN for none.
    """

    sample: Sample
    scatter: float
    k: float
    fractile: float
    characteristic: float
    design: float
    k_design: float
    direct: float
    tolerance: float
    factor: FactorFromTests | None
    lrfd: float
    asd: float
    over_factor: float

    @property
    def given(self) -> float:
        """The scatter that took the place of the tests' own, NaN for none."""
        return np.nan if self.scatter == self.sample.scatter else self.scatter


@dataclass(frozen=True)
class MoreTests:
    """What more tests would buy: strengths after `added` tests, over today's.

    Each with median and the 10 and 90 % fractiles over what the further tests may give, drawn from what the
    tests so far say (predictive distribution, mean and scatter both unknown).

    Attributes
    ----------
    added : (a,) int
    middle, low, high : (a,) float
        Of the characteristic strength (EN 1990 D7.2).
    factored : (3, a) float
        Middle, low and high of ASD and LRFD strength (AISI S100 K2) alike, as Omega is 1.6 / phi.
    k, same : (a,) float
        k_n of EN 1990 Table D1 with so many tests; characteristic strength if mean, scatter and lowest
        test stayed as they are.
    """

    added: IntArray
    middle: Array
    low: Array
    high: Array
    factored: Array
    k: Array
    same: Array


@dataclass(frozen=True)
class CampaignResult:
    """All that a campaign says.

    Attributes
    ----------
    campaign : Campaign
    readings : tuple of CurveReading or None
    records : tuple of Record or None
        What is odd in the records, whose curves stand in `campaign` without lone spikes.
    share : float
        Force of the clamp that carries most over the force on the rig; 1 without a rail between them.
    measured : (n,) float
        Strength of every test as read, of one clamp: force on the rig times `share`. [N]
    nominal : (n,) float
        Brought to nominal thickness and metal, never up. [N]
    counted : (n,) bool
        Tests that the user has not excluded.
    distance, limit
        Grubbs's test of the counted ones; distance is NaN for the others.
    justified : Justified
        From the counted tests.
    all_tests : Justified or None
        From all tests, where some are excluded.
    without : Justified or None
        As if the suspect were not there, for comparison only.
    model : ModelFactor or None
        Where three tests or more have a calculated strength.
    more : MoreTests
    more_without : MoreTests or None
        The same as if the suspect were not there.
    early : dict of str to Justified
        Where peaks count: strengths by `proof`, `slip` and `peak` of the tests with curves, three or more.
    notes : tuple of str
    calibration : Calibration or None
        Where the campaign says how its curves were measured.
    """

    campaign: Campaign
    readings: tuple[CurveReading | None, ...]
    records: tuple[Record | None, ...]
    share: float
    measured: Array
    nominal: Array
    counted: NDArray[np.bool_]
    distance: Array
    limit: float
    justified: Justified
    all_tests: Justified | None
    without: Justified | None
    model: ModelFactor | None
    more: MoreTests
    more_without: MoreTests | None
    notes: tuple[str, ...]
    calibration: Calibration | None = None
    early: dict[str, Justified] = field(default_factory=dict)

    @property
    def furthest(self) -> int:
        """The test that is furthest off the mean."""
        mean = self.nominal[self.counted].mean()
        return int(np.argmax(np.where(self.counted, np.abs(self.nominal / mean - 1.0), -1.0)))

    @property
    def far_off(self) -> float:
        """Share by which it is off the mean where AISI S100 K2.1.1 asks for more tests for it, else 0."""
        far = float(abs(self.nominal[self.furthest] / self.nominal[self.counted].mean() - 1.0))
        return far if far > SPREAD_BOUND else 0.0

    @property
    def suspect(self) -> int:
        """The test that may not belong, -1 for none."""
        far = np.nan_to_num(self.distance, nan=0.0)
        return int(np.argmax(far)) if far.max(initial=0.0) > self.limit else -1
