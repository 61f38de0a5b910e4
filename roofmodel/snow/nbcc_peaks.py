"""C_a0 and x_d of a drift at a step, NBCC 2020 4.1.6.5, and their working."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roofmodel.snow import nbcc2020 as nbcc
from roofmodel.snow import nbcc2020_drift as drift
from roofmodel.snow.cases import Value
from roofmodel.snow.nbcc_roof import NbccRoof, common_values
from roofmodel.snow.nbcc_working import DENSITY


@dataclass(frozen=True)
class StepDrift:
    """A drift at one step: C_a0, x_d, which case gave it, and both sources."""

    peak: float
    length: float
    case: str
    upper_source: float
    lower_source: float


def drift_at(known: NbccRoof, i: int) -> StepDrift:
    """The greatest of cases I (snow from the upper roof) and II or III (from the lower)."""
    steps, site = known.roof.steps, known.site
    upper, lower = int(steps.upper[i]), int(steps.lower[i])
    sources = np.array([known.length[upper], known.length[lower]])
    found = drift.step_accumulation(
        site.ground_snow,
        known.weight_density,
        known.calm[lower],
        sources,
        float(steps.wall[i].max()),
        np.array([nbcc.DRIFT_SHARE["I"], nbcc.DRIFT_SHARE["II"]]),
        capped=known.wind[[upper, lower]] >= 1.0,
    )
    best = int(np.argmax(found.peak))
    return StepDrift(
        float(found.peak[best]),
        float(found.length[best]),
        ("I", "II or III")[best],
        float(sources[0]),
        float(sources[1]),
    )


def peak_values(known: NbccRoof, i: int, at: StepDrift) -> tuple[Value, ...]:
    """C_a0 and x_d at a step and what they take, both sources of snow beside each other."""
    steps, site = known.roof.steps, known.site
    upper, lower = int(steps.upper[i]), int(steps.lower[i])
    wall, basic = float(steps.wall[i].max()), float(known.calm[lower])
    width, length = (float(side) for side in known.sides[upper])
    unit = known.weight_density / (basic * site.ground_snow)
    found: list[Value] = []
    for case, plane, source, what in (
        ("I", upper, at.upper_source, "2 w_I - w_I^2 / l_I"),
        ("II", lower, at.lower_source, "l_c"),
    ):
        share = nbcc.DRIFT_SHARE[case]
        full = 0.35 * share * np.sqrt(known.weight_density * source / site.ground_snow) + basic
        line = f"0.35 beta_{case} sqrt(gamma l_cs,{case} / S_s) + C_b"
        if known.wind[plane] >= 1.0:
            full, line = min(full, nbcc.F_CAP), f"min({line}, 5)"
        peak = min(share * unit * wall, full / basic)
        whose = "upper roof, case I" if case == "I" else "lower roof, cases II and III"
        found += [
            Value(f"beta_{case}", share, "", f"4.1.6.5, {whose}"),
            Value(f"l_cs,{case}", source, "m", whose, what),
            Value(f"F_{case}", float(full), "", "4.1.6.5", line),
            Value(
                f"C_a0,{case}",
                float(peak),
                "",
                whose,
                f"min(beta_{case} gamma h / (C_b S_s), F_{case} / C_b)",
            ),
        ]
    return (
        *common_values(known, lower),
        Value("gamma", known.weight_density, "N/m**3", "4.1.6.13", DENSITY),
        Value("h", wall, "m", "greatest height of the wall"),
        Value("w_I", width, "m", "short side of the smallest rectangle around the upper roof's level"),
        Value("l_I", length, "m", "long side"),
        *found,
        Value("C_a0", at.peak, "", f"case {at.case}", "max(1, C_a0,I, C_a0,II)"),
        Value("x_d", at.length, "m", "4.1.6.5", "5 (C_b S_s / gamma) (C_a0 - 1)"),
    )
