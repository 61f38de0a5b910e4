"""The analysis with strips as narrow as its self-audit asks for."""

from __future__ import annotations

from dataclasses import replace

from fea.analysis import Analysis, analyze
from fea.checks.audit import REFINED
from fea.panel.groups import Tell
from roofmodel.memory import Memory
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS

NARROWINGS = 2


def with_narrower_strips(project: Project) -> tuple[Project, str]:
    """The project with `analysis.strip_width` halved, and the new width in its units."""
    width = 0.5 * project.slide.strip_width
    options = project.table.analysis.model_copy(update={"strip_width": width})
    table = project.table.model_copy(update={"analysis": options})
    units = SYSTEMS[table.project.units]
    words = f"{units.convert(width, 'length'):.4g} {units.label('length')}"
    return replace(project, table=table, slide=replace(project.slide, strip_width=width)), words


def only_strips_fail(analysis: Analysis) -> bool:
    """Whether the one self-check that is not met is that of strips twice as wide."""
    return [proof.name for proof in analysis.proofs if not proof.met] == [REFINED]


def analyze_refined(project: Project, tell: Tell | None = None) -> Analysis:
    """`fea.analysis.analyze`, again with narrower strips where its self-audit needs them.

    Strips of usual width are coarse where facets of curves end in slanting lines on every side, and where a
    stream from beside a dormer comes down on few clamps.

    Parameters
    ----------
    project : Project
    tell : callable, optional
        As for `analyze`.

    Returns
    -------
    Analysis
        Of the project with its strips halved up to `NARROWINGS` times, which is said among its cautions.

    Raises
    ------
    InputError
    """
    memory = Memory()
    analysis = analyze(project, tell, memory)
    said = ""
    for _ in range(NARROWINGS):
        if not only_strips_fail(analysis):
            break
        narrower, width = with_narrower_strips(analysis.project)
        analysis = analyze(narrower, tell, memory)
        said = (
            f"Strips were made narrower, as the self-audit asked: strip_width {width}"
            " in place of that of the project."
        )
    return replace(analysis, cautions=(said, *analysis.cautions)) if said else analysis
