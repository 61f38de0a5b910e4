"""The working of a picked attachment: every limit, then the hand check of the worst, step by step."""

from __future__ import annotations

from typing import Any

import numpy as np

from fea.analysis import Analysis
from fea.checks.governing import Governing
from fea.checks.ties import EQUAL, first_largest
from roofmodel.errors import InputError
from roofmodel.units import UnitSystem
from viewer.app.view import finite, of_kind
from viewer.combining import combination
from viewer.quantities import brief, percent, quantity, system
from viewer.report.page import expression_html, symbols
from viewer.report.tables import pressure_text, values_text
from viewer.report.working import Working, hand_check
from viewer.summary import NOT_LOADED, governing_text, shown_name


def working_data(analysis: Analysis, kind: str, index: int, case: int | None) -> dict[str, Any]:
    """Everything about one attachment, with formulas as safe HTML.

    Parameters
    ----------
    analysis : Analysis
    kind : str
        "clamp" or "panel strip".
    index : int
        Which of them.
    case : int or None
        Snow case; None for the worst of each limit.

    Returns
    -------
    dict

    Raises
    ------
    InputError
        There is no such attachment or case.
    """
    limits = of_kind(analysis, kind)
    if not limits or index >= len(limits[0].target_name) or (case or 0) >= len(analysis.snow.cases):
        message = f"{kind} {index}: is not there any more; pick another"
        raise InputError(message)
    units = system(analysis.project.table.project.units)
    cases = range(len(analysis.snow.cases)) if case is None else [case]
    chosen = _worst(analysis, kind, index, list(cases))
    data: dict[str, Any] = {
        "kind": kind,
        "index": index,
        "name": limits[0].target_name[index],
        "limits": [_limit_line(analysis, limit, index, list(cases), units) for limit in limits],
    }
    if chosen is None:
        return {**data, "steps": [], "sentence": "No snow reaches it in this case."}
    over = ": EXCEEDED." if chosen.utilization > 1.0 else "."
    data["sentence"] = governing_text(analysis, chosen) + over
    working = hand_check(analysis, chosen)
    return {
        **data,
        "case": analysis.snow.cases[chosen.case].name,
        "combination": combination(analysis, chosen.case),
        **(_steps(working, units) if working is not None else {"steps": []}),
    }


def _worst(analysis: Analysis, kind: str, index: int, cases: list[int]) -> Governing | None:
    """Limit and case that use most of one attachment, also where another one is not verified."""
    best: Governing | None = None
    for number, limit in enumerate(analysis.limits):
        if limit.target != kind:
            continue
        use = np.nan_to_num(limit.utilization[cases, index], nan=0.0)
        case = first_largest(use)
        if use[case] > 0.0 and (best is None or use[case] >= best.utilization * (1.0 - EQUAL)):
            best = Governing(number, index, cases[case], float(use[case]))
    return best


def _limit_line(
    analysis: Analysis, limit: Any, index: int, cases: list[int], units: UnitSystem
) -> dict[str, Any]:
    use = limit.utilization[cases, index]
    known = np.nan_to_num(use, nan=0.0)
    open_ = bool(np.isnan(use).any()) and known.max() <= 1.0
    demand = np.nan_to_num(limit.demand[cases, index], nan=0.0)
    at = first_largest(np.where(np.isnan(use), demand, -1.0) if open_ else known)
    return {
        "name": shown_name(analysis, limit),
        "demand": NOT_LOADED
        if not open_ and known.max() == 0.0
        else brief(float(limit.demand[cases[at], index]), limit.quantity, units),
        "resistance": quantity(float(limit.resistance[index]), limit.quantity, units),
        "use": None if open_ else finite(float(known.max())),
        "percent": "not verified" if open_ else percent(float(known.max())),
        "case": analysis.snow.cases[cases[at]].name,
        "basis": limit.basis,
    }


def _steps(working: Working, units: UnitSystem) -> dict[str, Any]:
    return {
        "follows": working.clamp,
        "unverified": list(working.unverified),
        "zones": [
            {
                "name": zone.zone.name,
                "pressure": quantity(zone.pressure, "pressure", units, 4),
                "run": quantity(zone.run, "length", units, 4),
                "whole": pressure_text(zone.zone, units, *zone.pieces[1:]),
                "clause": zone.zone.clause,
                "formula": str(symbols(zone.zone.formula)),
                "values": str(symbols(values_text(zone.zone.values, units))),
            }
            for zone in working.zones
        ],
        "steps": [
            {
                "title": step.title,
                "symbol": str(symbols(step.symbol)),
                "formula": str(symbols(step.formula)),
                "numbers": str(expression_html(step.expression, units)),
                "result": str(expression_html((step.result,), units)),
                "source": str(symbols(step.source)),
                "note": str(symbols(" ".join(text for text in (step.note, step.places) if text))),
            }
            for step in working.steps
        ],
    }
