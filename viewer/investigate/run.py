"""From what was found to the ranked explanations."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from fea.evidence.aim import Aim, aim_at
from fea.evidence.explanations import Strengths, possible, sample_bank
from fea.evidence.fit import Found, fit, further
from fea.evidence.roof import evidence_roof
from fea.failure.inputs import read_uncertainty
from fea.failure.roof_case import Laws, mean_pressure
from roofmodel.errors import InputError
from roofmodel.project.evidence import Evidence
from viewer.analyzing import analyze_project
from viewer.history.findings import find_history
from viewer.investigate.findings import CaseFindings


def case_findings(evidence: Evidence, tell: Callable[[str], None]) -> CaseFindings:
    """All that an investigation finds.

    Raises
    ------
    InputError
    """
    project, table = evidence.project, evidence.table
    analysis = analyze_project(project)
    mean, strengths, note = _strengths(evidence)
    try:
        near = aim_at(evidence.gave_way, project.layout.clamp_row, (np.nan, np.nan)).near
        roof, chosen = evidence_roof(analysis, table.case.case, _laws(evidence, mean), near)
    except InputError as error:
        message = f"{evidence.path.name}: {str(error).replace('uncertainty.case', 'case.case')}"
        raise InputError(message) from None
    causes, cannot = possible(roof)
    sampling, given = table.sampling, {str(one.cause): one.prior for one in table.explanation}
    out = dict(cannot)
    wrong = next((cause for cause in given if cause in out), None)
    if wrong is not None:
        message = f'{evidence.path.name}: explanation "{wrong}" is not possible here: {out[wrong]}'
        raise InputError(message)
    history = None
    if table.weather is not None:
        history = find_history(project, evidence.path.parent / table.weather, table.weather)
    tell(f"sampling {len(causes)} explanations")
    pressure = mean_pressure(analysis.snow.cases[chosen.case], roof.plane)
    load = (evidence.load[0] / pressure, evidence.load[1] / pressure)
    aim = Aim(near, load)
    with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        banks = tuple(
            pool.map(
                lambda cause: sample_bank(roof, cause, strengths, sampling.samples, sampling.seed, aim),
                causes,
            )
        )
    found = Found(evidence.known, evidence.gave_way, evidence.doubt, load, evidence.fallen, evidence.rails)
    fits = fit(project.layout, found, banks, [given.get(cause, 1.0) for cause in causes], sampling.seed)
    return CaseFindings(
        evidence, analysis, chosen, roof, strengths, note, banks, fits, cannot, further(fits, banks), history
    )


def _laws(evidence: Evidence, mean_strength: float) -> Laws:
    """How hard snow runs onto lower rows: as the project says, or worked out, as `risk` does."""
    given = evidence.project.table.uncertainty
    if given is None:
        return Laws(mean_strength=mean_strength, impact=None)
    return Laws(mean_strength=mean_strength, impact=given.impact, stopping=given.stopping)


def _strengths(evidence: Evidence) -> tuple[float, Strengths, str]:
    """Mean over nominal, scatter, and where they come from."""
    project, sampling = evidence.project, evidence.table.sampling
    given = project.table.uncertainty
    if given is not None and given.strength is not None:
        found = read_uncertainty(project)
        scatter = Strengths(found.scatter.strength, found.scatter.together)
        return found.mean_strength, scatter, f"Clamps scatter as the project says. {found.notes[0]}"
    mean, scatter_ = sampling.strength_mean, sampling.strength_scatter
    note = (
        f"Clamps hold {mean:g} times their nominal strength in the mean, scatter {scatter_:g} (sampling of "
        "this file; tests of this clamp would tell better)."
    )
    return mean, Strengths(scatter_, 0.2), note
