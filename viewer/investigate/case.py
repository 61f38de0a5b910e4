"""All that an investigation found."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from fea.analysis import Analysis
from fea.evidence.causes import Roof, Strengths
from fea.evidence.explanations import Bank, Course
from fea.evidence.families import Family
from fea.evidence.fit import Fit, Measurement
from fea.failure.roof_case import Chosen, mean_pressure
from roofmodel.project.evidence import Evidence
from roofmodel.units import SYSTEMS, UnitSystem
from viewer.history.findings import HistoryFindings


@dataclass(frozen=True)
class CaseFindings:
    """All that an investigation found."""

    evidence: Evidence
    analysis: Analysis
    chosen: Chosen
    roof: Roof
    strengths: Strengths
    strength_note: str
    banks: tuple[Bank, ...]
    fits: tuple[Fit, ...]
    cannot: tuple[tuple[str, str], ...]
    further: tuple[Measurement, ...]
    course: Course
    families: tuple[Family, ...] = ()
    history: HistoryFindings | None = None

    @property
    def units(self) -> UnitSystem:
        """Of the project."""
        return SYSTEMS[self.evidence.project.table.project.units]

    @property
    def case_name(self) -> str:
        """Snow case."""
        return self.analysis.snow.cases[self.chosen.case].name

    @cached_property
    def pressure(self) -> float:
        """Mean load of the case without drift on the planes with rows. [Pa]."""
        return mean_pressure(self.analysis.snow.cases[self.chosen.case], self.roof.plane)

    def bank(self, cause: str) -> Bank:
        """Samples of an explanation."""
        return next(bank for bank in self.banks if bank.cause == cause)
