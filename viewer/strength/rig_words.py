"""What the curves of a campaign say of a clamp in its rig, in words, tables and data."""

from __future__ import annotations

from typing import Any

import numpy as np

from fea.strength_tests.calibrate import Calibration, Mean
from fea.strength_tests.results import CampaignResult
from roofmodel.units import UnitSystem
from viewer.quantities import quantity, significant
from viewer.report.tables import Table


def interval(one: Mean, kind: str, units: UnitSystem) -> str:
    """Mean with its 95 % interval."""
    value = quantity(one.value, kind, units)
    if np.isnan(one.low):
        return f"{value} (one curve: no interval)"
    return f"{value} (95 % interval {quantity(one.low, kind, units)} to {quantity(one.high, kind, units)})"


def rig_answer(found: CampaignResult, units: UnitSystem) -> str:
    """Stiffness, slip and what is kept; empty without a rig."""
    one = found.calibration
    if one is None:
        return ""
    direction = found.campaign.table.specimen.direction
    if np.isnan(one.stiffness.value):
        return "The rig's model says nothing of the clamp: see below."
    text = (
        f"Mean of a clamp {direction}: stiffness of the line fitted to each curve "
        f"{interval(one.stiffness, 'stiffness', units)}{curved_words(one, units)}, slip force "
        f"{interval(one.slip, 'force', units)}"
    )
    text += f"; {kept_words(one)}" if np.isfinite(one.kept) else ""
    if np.isfinite(one.stiffness.range_low):
        text += (
            ". Nine in ten clamps of this lot lie between "
            f"{quantity(one.stiffness.range_low, 'stiffness', units)} and "
            f"{quantity(one.stiffness.range_high, 'stiffness', units)}"
        )
    return f"{text}. Means serve deflections and how rows share, strengths for design are the fractiles."


def rig_short(found: CampaignResult, units: UnitSystem) -> str:
    """The same for a screen; what the model misses goes with it."""
    one = found.calibration
    if one is None or np.isnan(one.stiffness.value):
        return rig_answer(found, units)
    text = (
        f"Mean of a clamp: stiffness {quantity(one.stiffness.value, 'stiffness', units)}"
        f"{curved_words(one, units)}, slip force {quantity(one.slip.value, 'force', units)}"
    )
    if np.isfinite(one.kept) and "STILL" in (kept := kept_words(one)):
        text += f"; {kept}"
    if not one.fits:
        return f"{text}."
    if len(one.fit) < 2:
        return f"{text}. {rig_verdict(one)}"
    return f"{text}. The model of the rig misses a curve by {100 * one.rms.mean():.1f} % on average."


def kept_words(one: Calibration) -> str:
    """How far the worst clamp fell, whether at once or slowly, and whether it had come to rest."""
    worst = one.fit[int(np.nanargmin([fit.kept for fit in one.fit]))]
    share = significant(one.kept)
    open_ = ", where the record ends, STILL FALLING" if worst.falling else ""
    if worst.sudden:
        return f"after its first sudden loss it fell to {share} of its slip force in the worst test{open_}"
    return f"it gave way slowly, without a sudden loss, to {share} of its slip force in the worst test{open_}"


def curved_words(one: Calibration, units: UnitSystem) -> str:
    """The other stiffness of a clamp whose curves are no straight lines; empty for straight ones."""
    if not one.between[0] < one.between[1]:
        return ""
    if not one.curved:
        low, high = (quantity(end, "stiffness", units) for end in one.between)
        held = "clamp.toml holds this range" if one.fits else "clamp.toml holds none, as no model fits"
        return f", but single curves are not straight ({low} to {high}; {held})"
    what = "SOFTENS" if one.early.value > one.stiffness.value else "STIFFENS"
    taken = "clamp.toml holds both as a range" if one.fits else "clamp.toml holds neither, as no model fits"
    return (
        f", but {quantity(one.early.value, 'stiffness', units)} between 10 and 40 % of the peak (it {what}; "
        f"{taken})"
    )


def rig_verdict(one: Calibration) -> str:
    """How well the model predicts specimens it has not seen, or why it must not be trusted."""
    if one.flags:
        return "THE MODEL DOES NOT FIT: " + " ".join(one.flags)
    if len(one.fit) < 2:
        return "One curve: the model is fitted to it and predicts nothing; test more specimens."
    return (
        f"Predicted from the other specimens, the model misses a curve up to its first loss by "
        f"{100 * one.rms.mean():.1f} % of its force on average (at most "
        f"{100 * one.rms.max():.1f} %), with a bias of "
        f"{signed_share(float(one.bias.mean()))} (positive: the model holds more); largest force "
        f"{one.slip_ratio.min():.2f} to {one.slip_ratio.max():.2f} times the measured one, stiffness "
        f"{one.stiffness_ratio.min():.2f} to {one.stiffness_ratio.max():.2f} times the fitted one."
    )


def rig_remedy(found: CampaignResult) -> str:
    """What to do about a model that does not fit; empty where it does."""
    one, rig = found.calibration, found.campaign.rig
    if one is None or one.fits or rig is None:
        return ""
    if rig.rail is None:
        return (
            "The strengths do not depend on it: leave out [rig] and they are the same, without a stiffness "
            "of the clamp."
        )
    return (
        "Correct [rig] until it is that of the test. Do not leave it out: which share of the load one clamp "
        "held comes from it."
    )


def signed_share(value: float) -> str:
    """Percent with its sign, none before zero."""
    text = f"{100.0 * value:+.1f}"
    return "0 %" if float(text) == 0.0 else f"{text.replace('-', '−')} %"


def rig_table(found: CampaignResult, units: UnitSystem) -> Table | None:
    """Every fitted curve."""
    one = found.calibration
    if one is None:
        return None
    rows = tuple(
        (
            found.campaign.tests[int(i)].name,
            "none" if np.isnan(fit.stiffness) else quantity(fit.stiffness, "stiffness", units),
            quantity(fit.slip, "force", units) + ("" if fit.plateau else " ≥"),
            "–" if np.isnan(fit.kept) else ("≤ " if fit.falling else "") + significant(fit.kept),
            f"{100 * fit.rms:.1f} %",
            f"{100 * fit.noise:.1f} %",
            "–" if np.isnan(fit.early) else f"{fit.early:.2f}",
            *(
                "–" if np.isnan(v) else text
                for v, text in (
                    (rms, f"{100 * rms:.1f} %"),
                    (bias, signed_share(float(bias))),
                    (slip, f"{slip:.2f}"),
                    (stiff, f"{stiff:.2f}"),
                )
            ),
        )
        for i, fit, rms, bias, slip, stiff in zip(
            one.test, one.fit, one.rms, one.bias, one.slip_ratio, one.stiffness_ratio, strict=True
        )
    )
    heads = (
        "Test", "Stiffness of a clamp", "Slip force", "Kept after a loss", "Miss of the fit", "Noise",
        "Early stiffness / fit", "Miss from others", "Bias", "Force, model / test",
        "Stiffness, model / fit",
    )  # fmt: skip
    take = found.campaign.table.method.take
    note = (
        "Fit: the rig's model by least squares, from a tenth of the largest force to the first sudden loss. "
        "From others: the model with the mean of the other specimens. Misses are root mean squares over the "
        "largest force of the curve. Early: stiffness between 10 and 40 % of the peak. ≥: no plateau before "
        "the loss, the force that was reached. Kept: least force after the first loss, sudden or slow, until "
        "the specimen is unloaded or leaves its last rest before it is gone (0 without a rest), over the "
        "slip force; clamp.slip_residual must not be more than the least of them"
        f"{'' if take == 'slip' else ' times slip force over strength'}. ≤: the record ends while the force "
        "still falls, so that it says nothing of clamp.slip_residual."
    )
    return Table("Clamp in the rig", heads, "tnnnnnnnnnn", rows, note=note)


def rig_data(found: CampaignResult) -> dict[str, Any] | None:
    """For tests.json, SI."""
    one = found.calibration
    if one is None:
        return None
    return {
        "fits": one.fits,
        "flags": one.flags,
        "stiffness": vars(one.stiffness),
        "slip": vars(one.slip),
        "early": vars(one.early),
        "between": one.between,
        "kept": one.kept,
        "model_curve": {"displacement": one.curve[0], "force": one.curve[1]},
        "tests": [
            {
                "name": found.campaign.tests[int(i)].name,
                "stiffness": fit.stiffness,
                "slip": fit.slip,
                "early_stiffness": fit.early_stiffness,
                "toe": fit.toe,
                "seating": fit.seating,
                "plateau": fit.plateau,
                "kept": fit.kept,
                "sudden": fit.sudden,
                "falling": fit.falling,
                "fit_rms": fit.rms,
                "noise": fit.noise,
                "early_over_fit": fit.early,
                "predicted_rms": rms,
                "predicted_bias": bias,
                "force_ratio": slip,
                "stiffness_ratio": stiff,
            }
            for i, fit, rms, bias, slip, stiff in zip(
                one.test, one.fit, one.rms, one.bias, one.slip_ratio, one.stiffness_ratio, strict=True
            )
        ],
    }
