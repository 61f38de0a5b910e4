"""From a project to everything that table, page, picture and data of its snow say."""

from __future__ import annotations

from dataclasses import dataclass

from roofmodel.errors import InputError
from roofmodel.project.load import Project
from roofmodel.snow.registry import snow_cases
from roofmodel.units import UnitSystem
from viewer.quantities import system
from viewer.snow.contours import Scale, pressure_scale
from viewer.snow.findings import SnowFindings, snow_findings
from viewer.snow.sections import Section, snow_sections


@dataclass(frozen=True)
class SnowStudy:
    """The snow on a roof.

    Attributes
    ----------
    findings : SnowFindings
        Cases, zones and totals.
    sections : tuple of Section
    section_of : dict of int to int
        Index of the section that shows each patch.
    scale : Scale
        Bands of pressure, common to all drawings.
    units : UnitSystem
        Of the project.
    """

    findings: SnowFindings
    sections: tuple[Section, ...]
    section_of: dict[int, int]
    scale: Scale
    units: UnitSystem


def snow_study(project: Project) -> SnowStudy:
    """Find the snow cases of a project and sort them for people.

    Raises
    ------
    InputError
        Site values out of range.
    """
    try:
        snow = snow_cases(project.roof, project.site, project.layout.row_plane)
    except InputError as error:
        message = f"{project.path.name}: {error}"
        raise InputError(message) from None
    findings = snow_findings(project, snow)
    units = system(project.table.project.units)
    sections, shown = snow_sections(findings)
    return SnowStudy(findings, sections, shown, pressure_scale(findings.largest, units), units)
