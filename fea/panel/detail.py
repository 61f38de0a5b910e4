"""From a checked project to the study of one of its clamps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.panel.limits import seam_limits
from fea.panel.mesh import clip_places
from fea.panel.plane import clamp_strips
from fea.panel.study import SeamAction, SeamStudy, study_seam
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.units import SYSTEMS, shown

Array = NDArray[np.float64]

MOST_STRIPS = 5  # that are modeled; more change results by about 1 % [-]
END_STRIPS = 3  # at least, for a clamp at the end of its row [-]


@dataclass(frozen=True)
class ClampDetail:
    """A clamp of the project, what acts on it, and the study of its seam.

    Attributes
    ----------
    clamp : int
        Index in the layout.
    case : int
        Snow case that is worst for it.
    at_top : bool
        Whether the sliding force acts at the rail's top in the worse reading.
    place, length : float
        Of the clamp up its seam, and of the panel strip, from the eave end. [m]
    every : int
        Seams from one clamp to the next.
    study : SeamStudy
    limits : tuple of Limit
    """

    clamp: int
    case: int
    at_top: bool
    place: float
    length: float
    every: int
    study: SeamStudy
    limits: tuple[Limit, ...]


def find_clamp(analysis: Analysis, name: str | None) -> int:
    """Index of a clamp by its name; the one that uses most of its strength without a name.

    Raises
    ------
    InputError
        No such clamp.
    """
    names = analysis.project.layout.clamp_name
    if name is None:
        return int(np.argmax(np.nan_to_num(_use(analysis)).max(axis=0)))
    if name not in names:
        message = f"--clamp {shown(name)}: there is no such clamp; they run from {names[0]} to {names[-1]}"
        raise InputError(message)
    return names.index(name)


def _use(analysis: Analysis) -> Array:
    """How much of its strength each clamp uses in each case, (q, c)."""
    return next(limit for limit in analysis.limits if limit.name == "clamp combined").utilization


def seam_place(analysis: Analysis, clamp: int) -> tuple[float, float]:
    """Place of a clamp up its seam from the lower end of its strip, and the strip's length. [m].

    Where the seam is cut in pieces, the strip is the piece that the clamp stands on.

    Raises
    ------
    InputError
        The seam does not meet the plane.
    """
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    plane = int(layout.row_plane[layout.clamp_row[clamp]])
    chosen, up, ends = clamp_strips(layout, plane, planes.outline[plane], planes.name[plane])
    own = int(np.flatnonzero(chosen == clamp)[0])
    return float(up[own] - ends[own, 0]), float(ends[own, 1] - ends[own, 0])


def strips_between(layout: Layout, clamp: int) -> tuple[int, int, tuple[str, ...]]:
    """Seams from a clamp to the farther one of its neighbors in the row, and how many strips to model.

    The model repeats itself across the seams. A clamp at the end of its row has no neighbor on one side; what
    neighbors do to it adds up, so it is halfway between a row that goes on and a clamp far from all others.
    Three strips are not less than that where it was tried (no source); legs differ most.

    Returns
    -------
    every : int
        1 for a clamp alone in its row.
    strips : int
    notes : tuple of str
        What is said where strips and `every` differ.
    """
    own = np.sort(layout.clamp_seam[layout.clamp_row == layout.clamp_row[clamp]])
    at = int(np.searchsorted(own, layout.clamp_seam[clamp]))
    gaps = np.diff(own)[max(at - 1, 0) : at + 1]
    every, label = int(gaps.max(initial=1)), layout.clamp_name[clamp]
    strips, why = min(every, MOST_STRIPS), ""
    if not len(gaps):
        strips, why = MOST_STRIPS, f"Clamp {label} is alone in its row"
    elif every > MOST_STRIPS:
        why = f"Clamp {label} stands {every} seams from a neighbor"
    elif len(gaps) == 1:
        strips, why = max(every, END_STRIPS), f"Clamp {label} ends its row"
    if strips == every:
        return every, strips, ()
    more = " Where it was tried, more seams changed results by about 1 %." if strips == MOST_STRIPS else ""
    return every, strips, (f"{why}; it is studied as one of a row with a clamp every {strips} seams.{more}",)


def pan_pressure(analysis: Analysis, clamp: int, case: int) -> float:
    """Factored snow square to the roof just above a clamp. [Pa]."""
    project, cells = analysis.project, analysis.graph.cells
    plane = int(project.layout.row_plane[project.layout.clamp_row[clamp]])
    on = np.flatnonzero(cells.plane == plane)
    middle = cells.corners[on].mean(axis=1)
    nearest = on[np.argmin(np.linalg.norm(middle - project.layout.clamp_uv[clamp], axis=1))]
    slope = project.roof.planes.slope[plane]
    pressure = float(analysis.force.cell_pressure[case, nearest]) * analysis.factors[case].snow
    return pressure * float(np.cos(slope)) ** 2


def study_clamp(analysis: Analysis, name: str | None = None, refine: float = 1.0) -> ClampDetail:
    """Study one clamp of a project on its seam, under its worst case.

    Parameters
    ----------
    analysis : Analysis
    name : str, optional
        Of the clamp, such as "R1-07"; the one that uses most of its strength by default.
    refine : float
        Divides the sizes of the elements.

    Returns
    -------
    ClampDetail

    Raises
    ------
    InputError
        No such clamp, no table [seam] in the project, a clamp that stands too near the end of its seam, or
        one on a strip without clips.
    """
    project = analysis.project
    if project.seam is None:
        message = "seam is missing; add [seam] with lock, yield_strength, clip_stiffness and bearing"
        raise InputError(message)
    clamp = find_clamp(analysis, name)
    label = project.layout.clamp_name[clamp]
    case = int(np.argmax(np.nan_to_num(_use(analysis)[:, clamp])))
    place, length = seam_place(analysis, clamp)
    if not len(clip_places(project.seam, -length, 0.0)):
        units = SYSTEMS[project.table.project.units]
        long, first = (units.text(size, "length") for size in (length, project.seam.clip_first))
        message = (
            f"clamp {label}: its panel strip is {long} long, and no clip holds it: the first stands {first} "
            "up the seam (seam.clip_first); move the row, or bring that clip nearer to the eave"
        )
        raise InputError(message)
    half = 0.5 * project.clamp.grip_length
    if place < half or length - place < half:
        message = f"clamp {label}: its grip reaches over the end of its seam; move the row"
        raise InputError(message)
    forces = analysis.clamp_force[case, :, clamp]
    reading = int(np.argmax(np.abs(forces[:, 4])))
    row = int(project.layout.clamp_row[clamp])
    every, strips, said = strips_between(project.layout, clamp)
    slope = float(project.roof.planes.slope[project.layout.row_plane[row]])
    dead = analysis.factors[case].dead
    angle = float(project.layout.seam_angle[row])
    action = SeamAction(
        grip=forces[reading],
        pressure=pan_pressure(analysis, clamp, case),
        weight=dead
        * np.array([np.sin(slope) * np.cos(angle), np.sin(slope) * np.sin(angle), -np.cos(slope)]),
    )
    study = study_seam(
        project.panel,
        project.seam,
        project.clamp,
        action,
        place=place,
        length=length,
        every=strips,
        refine=refine,
    )
    study = replace(study, notes=(*study.notes, *said))
    whole = next(limit for limit in analysis.limits if limit.name == "panel anchorage")
    drag = float(whole.demand[case, panel_strips(project.layout)[0][clamp]])
    limits = seam_limits(study, project.panel, project.seam, label, drag)
    top = analysis.readings[reading].top
    return ClampDetail(clamp, case, top, place, length, every, study, limits)
