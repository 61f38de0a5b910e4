"""What must be said beside the strengths of a campaign."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.strength_tests.curve_notes import curve_notes
from fea.strength_tests.fractiles import looks_normal, suspects
from fea.strength_tests.likely import play_notes
from fea.strength_tests.record_notes import record_notes
from fea.strength_tests.results import SPREAD_BOUND, CampaignResult
from fea.strength_tests.rig import shares_out
from fea.strength_tests.unit_notes import unit_notes
from roofmodel.project.starting import example_words
from roofmodel.project.strength_doubts import LEAST_SCATTER, LEAST_TESTS
from roofmodel.units import SYSTEMS

HEIGHT_OPEN = "specimen.load_height"
ASKED = "three"  # tests at least that are asked for then (AISI S100 K2.1.1, from memory)
D7_3_BELOW = 0.99  # of the design value by D7.2, below which that by D7.3 is told (judgment) [-]
TOLD = 5  # tests that do not count, and ways to fail, that are told one by one
LARGER = " clamp.toml takes the LARGER."  # of the two design strengths of EN
DOUBTFUL = 0.05  # chance below which a distribution is doubted


def campaign_notes(found: CampaignResult) -> tuple[str, ...]:
    """Exclusions, suspects, scatter, missing measurements, one sentence each."""
    return (
        *example_words("campaign", found.campaign.table.campaign.name),
        *_forgotten(found),
        *record_notes(found),
        *unit_notes(found),
        *_height(found),
        *_rig(found),
        *_outliers(found),
        *_left_out(found),
        *_failures(found),
        *_distribution(found),
        *_more(found),
        *_measurements(found),
        *play_notes(found),
        *curve_notes(found),
        *_scatter(found),
        *_bounded(found),
        *_other_metal(found),
    )


def _forgotten(found: CampaignResult) -> list[str]:
    """CSV files beside those of the tests that no test is of."""
    some = found.campaign.left_out
    if not some:
        return []
    more = f" and {len(some) - TOLD} more" if len(some) > TOLD else ""
    files = "1 CSV file belongs" if len(some) == 1 else f"{len(some)} CSV files belong"
    return [
        f"CHECK THE FOLDER: {files} to no test: {', '.join(some[:TOLD])}{more}. A test that was done counts, "
        "or is excluded with a reason; records of nothing go elsewhere."
    ]


def _bounded(found: CampaignResult) -> list[str]:
    """Where the strengths were held down by rules of safety, and what AISI took."""
    one, notes = found.justified, []
    lowest = float(found.nominal[found.counted].min())
    if one.fractile > lowest:
        text = SYSTEMS[found.campaign.table.campaign.units].text
        notes.append(
            f"The lowest test, {text(lowest, 'force')}, counts in place of the 5 % fractile, "
            f"{text(one.fractile, 'force')} (judgment); more tests cannot raise it."
        )
    if one.direct < D7_3_BELOW * one.design:
        # Strengths of ASD and LRFD are neither.
        taken = LARGER if found.campaign.table.method.format == "EN" else ""
        text = SYSTEMS[found.campaign.table.campaign.units].text
        notes.append(
            "The design strength straight from the tests (EN 1990 D7.3) is "
            f"{text(one.direct, 'force')}, less than {text(one.design, 'force')} by the partial factor "
            f"(D7.2): so few tests say little of the design level.{taken}"
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
    tests = found.campaign.tests
    out = [test for test in tests if test.excluded.strip()]
    notes = [
        f"Test {test.name} does not count: {test.excluded.strip().rstrip('.')}. It stays in every table."
        for test in out[:TOLD]
    ]
    if len(out) > TOLD:
        notes.append(
            f"{len(out) - TOLD} more of the {len(tests)} tests do not count either; they stay in every table "
            "with why."
        )
    if found.suspect >= 0:
        notes.append(
            f"Test {tests[found.suspect].name} may not belong: {found.distance[found.suspect]:.2f} "
            f"deviations from the mean, more than {found.limit:.2f} (Grubbs, 5 %). It counts until you "
            f"exclude it with a reason; look for a cause in the laboratory, not in the "
            f"numbers.{_without(found)}"
        )
    if found.far_off:
        notes.append(
            f"Test {tests[found.furthest].name} is {100.0 * found.far_off:.0f} % off the mean, more than "
            f"{100.0 * SPREAD_BOUND:.0f} %: AISI S100 K2.1.1 then asks for more tests of the same "
            f"kind (at least {ASKED} more; from memory)."
        )
    return notes


def _without(found: CampaignResult) -> str:
    """What the strengths are if the suspect is shown not to belong; empty where too few tests are left."""
    if found.without is None:
        return ""
    text = SYSTEMS[found.campaign.table.campaign.units].text
    one, other = found.justified, found.without
    ends = [
        f"{name} {text(now, 'force')} to {text(then, 'force')}"
        for name, now, then in (
            ("characteristic", one.characteristic, other.characteristic),
            ("ASD", one.asd, other.asd),
            ("LRFD", one.lrfd, other.lrfd),
        )
        if not (np.isnan(now) or np.isnan(then))
    ]
    return f" If it is shown not to belong, the strengths go from {', '.join(ends)}."


def _left_out(found: CampaignResult) -> list[str]:
    """Excluded tests that held less than any that counts."""
    if found.all_tests is None:
        return []
    weak = np.flatnonzero(~found.counted & (found.nominal < found.nominal[found.counted].min()))
    return [*_unsuspected(found), *(_weakest(found, weak) if len(weak) else [])]


def _unsuspected(found: CampaignResult) -> list[str]:
    """Excluded tests that no test of the numbers suspects, where leaving them out raises the strengths."""
    assert found.all_tests is not None
    plain = []
    for i in np.flatnonzero(~found.counted).tolist():
        beside = found.counted | (np.arange(len(found.counted)) == i)
        distance, limit = suspects(found.nominal[beside])
        if distance[int(found.counted[:i].sum())] <= limit:
            plain.append(i)
    gains = [
        f"{name} by {100.0 * (now / all_ - 1.0):.0f} %"
        for name, now, all_ in (
            ("characteristic", found.justified.characteristic, found.all_tests.characteristic),
            ("ASD", found.justified.asd, found.all_tests.asd),
        )
        if now > 1.005 * all_
    ]
    if not plain or not gains:
        return []
    names = ", ".join(found.campaign.tests[i].name for i in plain)
    return [
        f"NOTHING IN THE NUMBERS speaks against {names}, and leaving out what was excluded raises the "
        f"strengths ({', '.join(gains)}): only a cause that the laboratory found justifies that."
    ]


def _weakest(found: CampaignResult, weak: NDArray[np.int64]) -> list[str]:
    assert found.all_tests is not None
    text, one = SYSTEMS[found.campaign.table.campaign.units].text, len(weak) == 1
    names = ", ".join(found.campaign.tests[i].name for i in weak)
    gain = 100.0 * (found.justified.characteristic / found.all_tests.characteristic - 1.0)
    what = f"leaving {'it' if one else 'them'} out raises the characteristic strength by {gain:.0f} %"
    return [
        f"The excluded test{'' if one else 's'} {names} {'was' if one else 'were'} the weakest "
        f"({text(float(found.nominal[weak].min()), 'force')}{'' if one else ' and above'}): {what}; a weaker "
        "way to fail has to be judged by itself."
    ]


def failures(found: CampaignResult) -> dict[str, int]:
    """How the tests that count failed, as far as somebody said, and how many did so."""
    ways: dict[str, int] = {}
    for test, on in zip(found.campaign.tests, found.counted, strict=True):
        way = test.failure.strip().rstrip(".")
        if on and way:
            ways[way] = ways.get(way, 0) + 1
    return ways


def _failures(found: CampaignResult) -> list[str]:
    """That one strength of several ways to fail is none of any of them."""
    ways = failures(found)
    if len(ways) < 2:
        return []
    most = sorted(ways, key=lambda way: -ways[way])
    listed = "; ".join(f"{way}: {ways[way]}" for way in most[:TOLD])
    if len(most) > TOLD:
        listed += f"; and {len(most) - TOLD} more ways: use the same words for the same way"
    return [
        f"The tests failed in {len(ways)} ways ({listed}): one distribution does not hold for all of them. "
        "Judge each way by itself, with its own tests (EN 1990 D7.1, from memory)."
        f"{_meanwhile(found, ways)}"
    ]


def _meanwhile(found: CampaignResult, ways: dict[str, int]) -> str:
    """Which number to use until each way has tests of its own."""
    force = SYSTEMS[found.campaign.table.campaign.units].text(found.justified.characteristic, "force")
    few = [way for way, n in ways.items() if n < LEAST_TESTS]
    alone = (
        ""
        if not few
        else f"; {LEAST_TESTS} tests or more are wanted of each ({', '.join(few[:TOLD])}: fewer)"
    )
    return (
        f" Until then use the characteristic strength of all of them, {force}, which their difference makes "
        f"low (judgment){alone}. Leave out no test for its way to fail."
    )


def _other_metal(found: CampaignResult) -> list[str]:
    """That AISI S100 is no standard of this metal."""
    metal = found.campaign.table.specimen.metal
    if metal == "steel":
        return []
    return [
        f"AISI S100 is a standard of cold-formed steel: on {metal} its statistics are an analogy; the "
        f"standard of {metal} structures governs (from memory)."
    ]


def _height(found: CampaignResult) -> list[str]:
    """That nobody said how high above the grip a clamp was pushed."""
    one = found.campaign.table.specimen
    if one.direction != "along" or one.load_height is not None:
        return []
    return [
        f"{HEIGHT_OPEN} is not given (height of the load above the grip): the strength counts as if the load "
        "had acted at the grip, so that all a rail above it does to tip the clamp comes on top. Safe, and "
        "dear: span tables may fall to a fifth or less. Give it, from the drawing of the rig."
    ]


def _rig(found: CampaignResult) -> list[str]:
    """How a strength of one clamp comes from the force on a rig."""
    rig = found.campaign.rig
    if rig is None:
        return []
    if rig.rail is None:
        if found.calibration is None or found.calibration.fits:
            return []
        return [
            "The model of a clamp that slips does not fit these curves: they give no stiffness. The "
            "strengths do not depend on it."
        ]
    slip = found.campaign.table.method.take == "slip"
    model = slip and found.calibration is not None and found.calibration.fits
    soft = model and found.calibration is not None and found.calibration.softens
    how = "by the rig's model" if model else "at least, by equilibrium"
    if soft:
        how = "at least, however its neighbors hold: clamps that soften share more than the rig's model says"
        if rig.clamp.sum() == 1:
            how = "by the rig's model, with the clamp as soft as where it slipped"
    notes = [
        f"Strengths are those of one clamp: {found.share:.3f} of the force on the rig, what the clamp that "
        f"carries most has of it ({how})."
    ]
    if shares_out(rig) and not slip:
        notes.append(
            "The clamps of this rig take over from each other, so each strength is a mean of several clamps, "
            "which scatters less than one: the characteristic strength is TOO HIGH for one clamp. Load one "
            'clamp at a time, or take = "slip".'
        )
    return notes


def chance_of_distribution(found: CampaignResult, *, suspect: bool = True) -> float:
    """Chance of tests as odd as these if their distribution is as said (Shapiro-Wilk); NaN for few.

    Without the suspect, if asked for.
    """
    some = found.counted & (suspect | (np.arange(len(found.counted)) != found.suspect))
    normal, lognormal = looks_normal(found.nominal[some])
    return lognormal if found.campaign.table.method.distribution == "lognormal" else normal


def _distribution(found: CampaignResult) -> list[str]:
    shape, chance = found.campaign.table.method.distribution, chance_of_distribution(found)
    if not chance < DOUBTFUL:
        return []
    why = "two modes of failure in one set would explain it"
    if found.suspect >= 0 and not chance_of_distribution(found, suspect=False) < DOUBTFUL:
        why = f"without {found.campaign.tests[found.suspect].name} they do"
    return [f"The strengths do not look {shape} (Shapiro-Wilk, {100.0 * chance:.1f} %); {why}."]


def more_relied_on(found: CampaignResult) -> bool:
    """Whether what more tests would buy hangs on no suspect, odd distribution or second way to fail."""
    return found.suspect < 0 and not chance_of_distribution(found) < DOUBTFUL and len(failures(found)) < 2


def _more(found: CampaignResult) -> list[str]:
    """Whether what more tests would buy can be believed."""
    notes, name = [], ""
    gained = found.more.middle
    if len(gained) and gained[-1] < gained.max():
        notes.append(
            "What more tests would buy falls again with many of them: the more there are, the lower the "
            "lowest, and no characteristic strength is above that (judgment)."
        )
    if chance_of_distribution(found) < DOUBTFUL:
        shape = found.campaign.table.method.distribution
        notes.append(
            f"What more tests would buy is drawn from a {shape} distribution, which these tests do not look "
            "like: DO NOT RELY ON IT before it is known why."
        )
    if len(failures(found)) > 1:
        notes.append(
            "What more tests would buy is drawn from one distribution, and these tests failed in several "
            "ways: DO NOT RELY ON IT before each has tests of its own; clamp.toml leaves it out."
        )
    if found.suspect >= 0 and found.more_without is not None and found.without is not None:
        name = found.campaign.tests[found.suspect].name
        alone = found.without.characteristic / found.justified.characteristic - 1.0
        allowed = found.without.asd / found.justified.asd - 1.0
        notes.append(
            f"What more tests would buy hangs on {name}: if a cause shows that it does not belong, its "
            f"exclusion alone changes the characteristic strength by {100.0 * alone:+.0f} % and the ASD "
            f"strength by {100.0 * allowed:+.0f} %; if it belongs, more tests will find its like."
        )
    return notes


def _measurements(found: CampaignResult) -> list[str]:
    table, notes = found.campaign.table, []
    used = [test for test, on in zip(found.campaign.tests, found.counted, strict=True) if on]
    bare = sum(test.thickness is None for test in used)
    if bare:
        notes.append(
            f"No measured sheet thickness in {bare} of {len(used)} tests, taken as nominal: "
            "UNSAFE if thicker."
        )
    if table.specimen.yield_strength is None or any(test.yield_strength is None for test in used):
        notes.append(
            "Strengths are not corrected for the sheet's yield strength, as values are missing: UNSAFE if "
            "the specimens were stronger than nominal."
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
