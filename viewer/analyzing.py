"""Running the analysis for a command."""

from __future__ import annotations

from collections.abc import Callable

from fea.analysis import Analysis
from fea.refining import analyze_refined
from roofmodel.errors import InputError
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS


def analyze_project(project: Project, tell: Callable[[str], None] | None = None) -> Analysis:
    """The analysis of a project; what cannot stand is refused with the project's name.

    Raises
    ------
    InputError
    """
    try:
        return analyze_refined(project, tell)
    except InputError as error:
        message = f"{project.path.name}: {SYSTEMS[project.table.project.units].reworded(str(error))}"
        raise InputError(message) from None
