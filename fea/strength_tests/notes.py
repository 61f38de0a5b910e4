"""What must be said beside the strengths of a campaign."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fea.strength_tests.fractiles import looks_normal

if TYPE_CHECKING:
    from fea.strength_tests.campaign import CampaignResult

SPREAD_BOUND = 0.15  # of one test from the mean, beyond which more tests are asked for (AISI S100 K2.1.1)
LEAST_SCATTER = 0.03  # of strengths, below which few tests agree by luck (judgment) [-]
SLIPPED = 0.97  # a first slip below this share of the peak is one [-]
DOUBTFUL = 0.05  # chance below which a distribution is doubted


def campaign_notes(found: CampaignResult) -> tuple[str, ...]:
    """Exclusions, suspects, scatter, missing measurements, one sentence each."""
    return (
        *_outliers(found),
        *_distribution(found),
        *_measurements(found),
        *_scatter(found),
        *_bounded(found),
    )


def _bounded(found: CampaignResult) -> list[str]:
    """Where the strengths were held down by rules of safety, and what AISI took."""
    one, notes = found.justified, []
    lowest = float(found.nominal[found.counted].min())
    if one.characteristic >= lowest:
        notes.append(
            "The 5 % fractile would lie above the lowest test that counts: that test is taken instead."
        )
    if one.scatter == LEAST_SCATTER:
        notes.append(
            f"So little scatter ({one.sample.scatter:.3f}) is not to be trusted from so few tests; "
            f"{LEAST_SCATTER:g} is taken (judgment)."
        )
    if one.factor is not None:
        r = one.factor.reliability
        notes.append(
            f"AISI S100 K2.1.1 with C_phi {r.calibration:g}, M_m {r.material[0]:.2f}, V_M {r.material[1]:.2f}"
            f", F_m {r.fabrication[0]:.2f}, V_F {r.fabrication[1]:.2f} "
            f"({found.campaign.table.method.connection}), P_m {one.factor.professional:.2f}, "
            f"V_P {one.factor.professional_scatter:.3f}, C_P "
            f"{one.factor.correction:.2f}, V_Q {r.load_scatter:.2f}, beta_0 {r.index:g}; from memory."
        )
    return notes


def _outliers(found: CampaignResult) -> list[str]:
    tests, values = found.campaign.tests, found.nominal[found.counted]
    notes = [
        f"Test {test.name} does not count: {test.excluded.strip().rstrip('.')}. It stays in every table."
        for test in tests
        if test.excluded.strip()
    ]
    if found.suspect >= 0:
        notes.append(
            f"Test {tests[found.suspect].name} may not belong: {found.distance[found.suspect]:.2f} "
            f"deviations from the mean, more than {found.limit:.2f} (Grubbs, 5 %). It counts until you "
            "exclude it with a reason; look for a cause in the laboratory, not in the numbers."
        )
    far = np.abs(values / values.mean() - 1.0).max()
    if far > SPREAD_BOUND:
        notes.append(
            f"One test is {100.0 * far:.0f} % off the mean, more than {100.0 * SPREAD_BOUND:.0f} %: AISI "
            "S100 K2.1.1 then asks for more tests of the same kind (at least three more; from memory)."
        )
    return notes


def _distribution(found: CampaignResult) -> list[str]:
    shape = found.campaign.table.method.distribution
    normal, lognormal = looks_normal(found.nominal[found.counted])
    chance = lognormal if shape == "lognormal" else normal
    if not chance < DOUBTFUL:
        return []
    return [
        f"The strengths do not look {shape} (Shapiro-Wilk, {100.0 * chance:.1f} %); two modes of failure in "
        "one set would explain it."
    ]


def _measurements(found: CampaignResult) -> list[str]:
    table, notes = found.campaign.table, []
    used = [test for test, on in zip(found.campaign.tests, found.counted, strict=True) if on]
    bare = sum(test.thickness is None for test in used)
    if bare:
        notes.append(
            f"{bare} of {len(used)} tests have no measured sheet thickness: their strengths are taken as if "
            "their sheet were nominal, which is unsafe if it was thicker."
        )
    if table.specimen.yield_strength is None or any(test.yield_strength is None for test in used):
        notes.append(
            "Strengths are not corrected for the sheet's yield strength where nominal or measured values are "
            "missing: unsafe if the specimens were stronger than nominal."
        )
    slipped = any(r is not None and r.slip < SLIPPED * r.peak for r in found.readings)
    if table.method.take == "peak" and slipped:
        notes.append(
            "Some curves lose force before their peak: a clamp that has slipped has marked the sheet. "
            'take = "slip" is the safe reading.'
        )
    return notes


def _scatter(found: CampaignResult) -> list[str]:
    method = found.campaign.table.method
    if method.known_scatter is None:
        return []
    own = found.justified.sample.scatter
    notes = [
        f"Scatter {method.known_scatter:g} is taken as known ({method.scatter_reason.strip().rstrip('.')}); "
        f"the tests show {own:.3f}."
    ]
    if found.justified.scatter != method.known_scatter:
        notes.append(
            "The tests scatter more than that can be by chance (chi-square, 5 %): the known scatter does not "
            "hold for them and IS NOT USED; theirs is."
        )
    return notes
