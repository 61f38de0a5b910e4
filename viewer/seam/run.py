"""From a project to the study of one clamp, and to its files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail, find_clamp, study_clamp
from fea.panel.groups import Tell
from fea.refining import analyze_refined
from roofmodel.errors import InputError
from roofmodel.project.load import Project
from viewer.picture.draw import Picture
from viewer.picture.render import Renderer
from viewer.seam.export import write_seam_data
from viewer.seam.page import write_seam_page
from viewer.seam.picture import draw_seam


@dataclass(frozen=True)
class Written:
    """What is worth saying about the files: why there is no picture, what the deck carries otherwise."""

    reason: str
    substitutions: tuple[str, ...]


def study_project(
    project: Project, name: str | None, tell: Tell | None = None
) -> tuple[Analysis, ClampDetail]:
    """Analyze a project and study one of its clamps; `tell` as for `fea.analysis.analyze`.

    Raises
    ------
    InputError
        No table [seam], no such clamp; before the long work where that can be.
    """
    try:
        if project.seam is None:
            message = "seam is missing; add [seam] with lock, yield_strength, clip_stiffness and bearing"
            raise InputError(message)
        analysis = analyze_refined(project, tell)
        return analysis, study_clamp(analysis, project.layout.clamp_name[find_clamp(analysis, name)])
    except InputError as error:
        message = str(error) if str(error).startswith("--clamp") else f"{project.path.name}: {error}"
        raise InputError(message) from None


def write_seam(analysis: Analysis, detail: ClampDetail, folder: Path, renderer: Renderer | None) -> Written:
    """Write every output into a folder that exists; an old picture does not outlive a run without one."""
    target = folder / "seam.png"
    drawn = Picture(None, "left out on request (--no-picture)")
    if renderer is not None:
        drawn = draw_seam(analysis, detail, renderer, target)
    if drawn.path is None:
        target.unlink(missing_ok=True)
    substitutions = write_seam_data(analysis, detail, folder)
    write_seam_page(analysis, detail, folder / "seam.html", drawn.path, drawn.reason, substitutions)
    return Written(drawn.reason, substitutions)
