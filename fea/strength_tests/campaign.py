"""What a test campaign justifies, and what more tests would buy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from fea.checks.rail_section import yield_moments
from fea.strength_tests.calibrate import Calibration, calibrate, stiffness_of
from fea.strength_tests.curves import CurveReading, read_curve
from fea.strength_tests.fractiles import (
    design_factor,
    fractile_factor,
    fractile_value,
    sample_of,
    suspects,
    tolerance_factor,
)
from fea.strength_tests.notes import campaign_notes
from fea.strength_tests.records import Record, read_record, readable
from fea.strength_tests.resistance import (
    NOT_LISTED,
    ModelFactor,
    Reliability,
    corrected,
    factor_from_tests,
    model_factor,
    resistance_factor,
)
from fea.strength_tests.results import CampaignResult, Justified, MoreTests
from fea.strength_tests.rig import clamp_shares, least_share, rig_model, share_below_load
from roofmodel.errors import InputError
from roofmodel.project.campaigns import Campaign
from roofmodel.project.strength_doubts import LEAST_SCATTER, LEAST_TESTS
from roofmodel.units import SYSTEMS

Array = NDArray[np.float64]

MORE_TESTS = (1, 2, 3, 5, 7, 10, 15)
HELD = (10.0, 2e5)  # what a clamp may hold, as everywhere in a project [N]
LEAST_SHARE = 1e-6  # of the load on a rig, below which its clamps carry nothing
DRAWS = 20_000
SEED = 20_240_601


def judge(campaign: Campaign) -> CampaignResult:
    """Strengths that the tests justify.

    Raises
    ------
    InputError
        Fewer than three tests count, or a curve cannot be read.
    """
    method, name = campaign.table.method, campaign.path.name
    campaign, records = _settled(campaign)
    readings: list[CurveReading | None] = []
    for test, curve in zip(campaign.tests, campaign.curves, strict=True):
        try:
            readings.append(None if curve is None else read_curve(*curve, offset=method.offset))
        except ValueError as error:
            message = f'{name}: test "{test.name}".curve: {test.curve} {error}'
            raise InputError(message) from None
    counted = np.array([not test.excluded.strip() for test in campaign.tests])
    if counted.sum() < LEAST_TESTS:
        message = (
            f"{name}: {int(counted.sum())} tests count; at least {LEAST_TESTS} are wanted for a strength "
            "(one or two tests say nothing about scatter)"
        )
        raise InputError(message)
    calibration = _calibration(campaign, readings, counted)
    share = _share(campaign, calibration, readings)
    measured = share * np.array(
        [
            test.strength if reading is None else getattr(reading, method.take)
            for test, reading in zip(campaign.tests, readings, strict=True)
        ],
        dtype=float,
    )
    _check_range(campaign, measured)
    nominal = _nominal(campaign, measured)
    distance, limit = np.full(len(measured), np.nan), np.inf
    distance[counted], limit = suspects(nominal[counted])
    found = CampaignResult(
        campaign=campaign,
        readings=tuple(readings),
        records=records,
        share=share,
        measured=measured,
        nominal=nominal,
        counted=counted,
        distance=distance,
        limit=limit,
        justified=justify(nominal[counted], campaign),
        all_tests=None if counted.all() else justify(nominal, campaign),
        without=None,
        model=_model(campaign, measured, counted),
        more=more_tests(nominal[counted], campaign),
        more_without=None,
        notes=(),
        calibration=calibration,
        early=_early(campaign, readings, nominal / measured * share, counted),
    )
    kept = counted & (np.arange(len(counted)) != found.suspect)
    if found.suspect >= 0 and kept.sum() >= LEAST_TESTS:
        found = replace(
            found,
            without=justify(nominal[kept], campaign),
            more_without=more_tests(nominal[kept], campaign),
        )
    return replace(found, notes=campaign_notes(found))


def _early(
    campaign: Campaign, readings: list[CurveReading | None], share: Array, counted: NDArray[np.bool_]
) -> dict[str, Justified]:
    """Strengths as if proof load or first slip counted, where peaks do; `share` of the force on the rig.

    Peaks of the same tests too, those that count and have a curve; nothing where they are too few.
    """
    rows = zip(readings, share, counted, strict=True)
    some = [(one, part) for one, part, on in rows if on and one is not None]
    if campaign.table.method.take != "peak" or len(some) < LEAST_TESTS:
        return {}
    return {
        name: justify(np.array([part * getattr(one, name) for one, part in some]), campaign)
        for name in ("proof", "slip", "peak")
    }


def _settled(campaign: Campaign) -> tuple[Campaign, tuple[Record | None, ...]]:
    """The campaign without lone spikes in its curves, and what is odd in each; None for none to be read."""
    curves = list(campaign.curves)
    records: list[Record | None] = [None] * len(curves)
    for i, curve in enumerate(curves):
        if curve is not None and readable(*curve):
            force, records[i] = read_record(*curve)
            curves[i] = curve[0], force
    return replace(campaign, curves=tuple(curves)), tuple(records)


def justify(strengths: Array, campaign: Campaign) -> Justified:
    """Strengths from tests that all count."""
    method = campaign.table.method
    sample, known = sample_of(strengths), holding_scatter(campaign, strengths)
    lognormal = method.distribution == "lognormal"
    scatter = max(sample.scatter if known is None else known, LEAST_SCATTER)
    given = np.nan if scatter == sample.scatter else scatter
    n, lowest = sample.count, float(strengths.min())
    k, k_design = (float(f(n, known=known is not None)) for f in (fractile_factor, design_factor))
    fractile = fractile_value(sample, k, lognormal=lognormal, scatter=given)
    characteristic = min(fractile, lowest)
    direct = min(fractile_value(sample, k_design, lognormal=lognormal, scatter=given), lowest)
    more = given if scatter > sample.scatter else np.nan  # never less than the tests show
    tolerance = fractile_value(sample, float(tolerance_factor(n)), lognormal=lognormal, scatter=more)
    factor = None
    if n >= LEAST_TESTS:
        # V_P is that of the tests themselves, whatever is known from before.
        spread = max(sample.scatter, known or 0.0)
        factor = factor_from_tests(n, spread, reliability_of(campaign))
    return Justified(
        sample=sample,
        scatter=scatter,
        k=k,
        fractile=fractile,
        characteristic=characteristic,
        design=method.conversion * characteristic / method.partial_factor,
        k_design=k_design,
        direct=method.conversion * direct,
        tolerance=tolerance,
        factor=factor,
        lrfd=np.nan if factor is None else factor.phi * sample.mean,
        asd=np.nan if factor is None else sample.mean / factor.omega,
        over_factor=np.nan if method.safety_factor is None else sample.mean / method.safety_factor,
    )


def holding_scatter(campaign: Campaign, strengths: Array) -> float | None:
    """The known scatter, unless these tests speak against it (chi-square, 5 %)."""
    known = campaign.table.method.known_scatter
    sample = sample_of(strengths)
    if known is None or sample.count < 2:
        return known
    bound = known * np.sqrt(stats.chi2.ppf(0.95, sample.count - 1) / (sample.count - 1))
    return known if sample.scatter <= bound else None


def reliability_of(campaign: Campaign) -> Reliability:
    """What AISI S100 K2.1.1 takes for clamps on seams: connections that its table does not list.

    The material factor counts metal that is stronger than nominal only where the strengths were brought down
    to nominal metal; where they were not, the tests have that already.
    """
    index = campaign.table.method.reliability_index
    if campaign.table.method.connection == "screws":
        return Reliability(index=index)
    counted = [test for test in campaign.tests if not test.excluded.strip()]
    brought_down = campaign.table.specimen.yield_strength is not None and all(
        test.yield_strength is not None for test in counted
    )
    mean = NOT_LISTED.material[0] if brought_down else 1.0
    return replace(NOT_LISTED, material=(mean, NOT_LISTED.material[1]), index=index)


def more_tests(strengths: Array, campaign: Campaign) -> MoreTests:
    """Characteristic strength, and strengths by AISI S100 K2, after further tests, as shares of today's.

    Mean and scatter are drawn from their posterior without prior knowledge (chi-square and normal), further
    tests from these; a known scatter stays. The lowest test and the least scatter hold the fractile down, as
    they do today; of K2's V_P the known scatter is the least, and C_P falls with the number of tests. The
    draws are the same in every run.
    """
    method, rng = campaign.table.method, np.random.default_rng(SEED)
    logs = method.distribution == "lognormal"
    values = np.log(strengths) if logs else strengths
    n, mean, known = len(values), values.mean(), holding_scatter(campaign, strengths)
    given = np.nan
    if known is None:
        deviation = values.std(ddof=1) * np.sqrt((n - 1) / rng.chisquare(n - 1, DRAWS))
    else:
        given = np.sqrt(np.log1p(known**2)) if logs else known * strengths.mean()
        deviation = np.full(DRAWS, given)
    center = mean + deviation / np.sqrt(n) * rng.standard_normal(DRAWS)
    total, squares = values.sum() + np.zeros(DRAWS), (values**2).sum() + np.zeros(DRAWS)
    now, reliability = justify(strengths, campaign), reliability_of(campaign)
    today, lowest = now.characteristic, np.full(DRAWS, values.min())
    plain, plain_squares = strengths.sum() + np.zeros(DRAWS), (strengths**2).sum() + np.zeros(DRAWS)
    added, found, factored, count = [], [], [], 0
    for extra in range(1, max(MORE_TESTS) + 1):
        draw = center + deviation * rng.standard_normal(DRAWS)
        total, squares, count = total + draw, squares + draw**2, n + extra
        lowest = np.minimum(lowest, draw)
        strength = np.exp(draw) if logs else np.maximum(draw, 0.0)
        plain, plain_squares = plain + strength, plain_squares + strength**2
        if extra not in MORE_TESTS:
            continue
        average, spread = _moments(total, squares, count)
        k = float(fractile_factor(count, known=known is not None))
        least = np.sqrt(np.log1p(LEAST_SCATTER**2)) if logs else LEAST_SCATTER * average
        low = np.minimum(average - k * np.maximum(spread if known is None else given, least), lowest)
        added.append(extra)
        found.append(np.exp(low) if logs else np.maximum(low, 0.0))
        average, spread = _moments(plain, plain_squares, count)
        phi = resistance_factor(count, np.maximum(spread / average, known or 0.0), reliability)
        factored.append(phi * average / now.lrfd)
    if today <= 0.0:
        share = np.full((3, len(added)), np.nan)
    else:
        share = np.quantile(np.array(found) / today, [0.5, 0.1, 0.9], axis=1)
    by_aisi = np.quantile(np.array(factored), [0.5, 0.1, 0.9], axis=1)
    factors = fractile_factor(n + np.array(added), known=known is not None)
    same = [fractile_value(now.sample, k, lognormal=logs, scatter=now.given) for k in factors.tolist()]
    alike = np.minimum(same, strengths.min()) / today if today > 0.0 else np.full(len(added), np.nan)
    return MoreTests(np.array(added), share[0], share[1], share[2], by_aisi, factors, alike)


def _moments(total: Array, squares: Array, count: int) -> tuple[Array, Array]:
    """Mean and standard deviation of samples from their sums."""
    average = total / count
    return average, np.sqrt(np.maximum(squares - count * average**2, 0.0) / (count - 1))


def _share(campaign: Campaign, calibration: Calibration | None, readings: list[CurveReading | None]) -> float:
    """Force of the clamp that carries most over the force on the rig.

    At the first slip by the rig's model, as all was elastic until then; at peak and proof load, when clamps
    may have slipped, what equilibrium asks of it at least. Where clamps soften, the one that carries most is
    softer than its neighbors and has less than any one stiffness of all says: of a clamp right below the load
    counts what rail and rigid neighbors leave to it, of a single one that with its secant at slip, else what
    equilibrium asks. A model that does not fit is not asked.

    Raises
    ------
    InputError
        Bearings of the rig could have held the load alone.
    """
    rig, take = campaign.rig, campaign.table.method.take
    if rig is None or rig.rail is None:
        return 1.0
    least = least_share(rig)
    fits = take == "slip" and calibration is not None and calibration.fits
    if fits and calibration is not None:
        model = rig_model(rig, campaign.table.specimen.direction)
        soft = calibration.between[0]
        if not calibration.softens:
            return max(float(np.abs(clamp_shares(model, soft)).max()), least)
        some = [one for i in calibration.test if (one := readings[i]) is not None]
        at_slip = [one.slip_at / one.slip for one in some]
        if rig.clamp.sum() == 1:
            soft = np.nanmin([soft, *(stiffness_of(model, flexible) for flexible in at_slip)])
            return max(float(np.abs(clamp_shares(model, soft)).max()), least)
        least = max(least, share_below_load(rig, model, max(at_slip)))
    if least > LEAST_SHARE:
        return least
    why = f'method.take = "{take}"'
    if take == "slip":
        why = "clamps that soften" if fits else "that the rig's model does not fit"
    message = (
        f"{campaign.path.name}: rig.support: its bearings can hold the load alone, so with {why} nothing is "
        'known of the clamps\' strength; load the clamps alone, or take = "slip" with a rig that fits and '
        "clamps that do not soften"
    )
    raise InputError(message)


def _check_range(campaign: Campaign, measured: Array) -> None:
    """Refuse what no clamp holds: newtons under a head of kilonewtons, a curve in other units."""
    units = SYSTEMS[campaign.table.campaign.units]
    least, most = HELD
    wrong = np.flatnonzero(~((measured >= least) & (measured <= most)))
    if not len(wrong):
        return
    first = campaign.tests[int(wrong[0])]
    field = f"curve: {first.curve}" if first.curve is not None else "strength:"
    held, low, high = (f"{units.convert(v, 'force'):,.4g}" for v in (float(measured[wrong[0]]), least, most))
    message = (
        f'{campaign.path.name}: test "{first.name}".{field} {held} {units.label("force")} is outside '
        f"{low} to {high} {units.label('force')} of a clamp; check its unit"
    )
    raise InputError(message)


def _nominal(campaign: Campaign, measured: Array) -> Array:
    specimen, method = campaign.table.specimen, campaign.table.method

    def given(values: list[float | None]) -> Array:
        return np.array([np.nan if v is None else v for v in values])

    thickness = given([test.thickness for test in campaign.tests])
    metal = given([test.yield_strength for test in campaign.tests])
    nominal_metal = specimen.yield_strength
    return corrected(
        measured,
        (thickness, specimen.thickness),
        None if nominal_metal is None else (metal, nominal_metal),
        (method.thickness_power, method.strength_power),
    )


def _model(campaign: Campaign, measured: Array, counted: NDArray[np.bool_]) -> ModelFactor | None:
    calculated = np.array([np.nan if t.calculated is None else t.calculated for t in campaign.tests])
    on = counted & ~np.isnan(calculated)
    return model_factor(measured[on], calculated[on]) if on.sum() >= LEAST_TESTS else None


def _calibration(
    campaign: Campaign, readings: list[CurveReading | None], counted: NDArray[np.bool_]
) -> Calibration | None:
    """Stiffness and slip by the rig, from the curves that count; None without a rig or without curves."""
    rig = campaign.rig
    pairs = [
        (i, curve, one)
        for i, (curve, one) in enumerate(zip(campaign.curves, readings, strict=True))
        if curve is not None and one is not None and counted[i]
    ]
    if rig is None or not pairs:
        return None
    direction = campaign.table.specimen.direction
    yields = np.inf
    if rig.rail is not None:
        about = 1 if direction == "along" else 0
        yields = float(yield_moments(rig.rail.material.yield_strength, rig.rail.section)[about])
    return calibrate(
        rig_model(rig, direction),
        [curve for _, curve, _ in pairs],
        [one for _, _, one in pairs],
        np.array([i for i, _, _ in pairs]),
        [campaign.tests[i].name for i, _, _ in pairs],
        yields,
    )
