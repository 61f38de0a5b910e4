"""From a checked project to the study of one of its clamps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.audit import Proof
from fea.checks.combinations import least_dead_factor
from fea.checks.limits import Limit
from fea.checks.strips import panel_strips
from fea.doubts import seam_doubts
from fea.panel.limits import number_of, seam_limits
from fea.panel.mesh import clip_places
from fea.panel.plane import clamp_strips
from fea.panel.study import SeamAction, SeamStates, SeamStudy, study_states, worse_of
from fea.rails.actions import Reading
from fea.unknowns import STIFF_WORDS, worse_words
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat
from roofmodel.layout import Layout
from roofmodel.units import SYSTEMS, shown

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


MANY = 48  # actions beyond which only those are solved that have an extreme of something


@dataclass(frozen=True)
class StateSource:
    """Where an action comes from.

    Attributes
    ----------
    case : int
        Snow case.
    at_top : bool
        Whether the sliding force acts at the rail's top.
    bare : bool
        Whether the pan around the clamp is taken to be free of snow, and the sheet's weight at its least.
    words : str
    """

    case: int
    at_top: bool
    bare: bool
    words: str


MOST_STRIPS = 5  # that are modeled; more change results by about 1 % [-]
END_STRIPS = 3  # at least, for a clamp at the end of its row [-]


@dataclass(frozen=True)
class ClampDetail:
    """A clamp of the project, what acts on it, and the study of its seam.

    Attributes
    ----------
    clamp : int
        Index in the layout.
    states : SeamStates
        Those that are worst for some limit.
    source : tuple of StateSource
        Of each state.
    shown : int
        State of the limit that is used most.
    tried : int
        Actions that were compared on the coarser mesh.
    drag_case : int
        Case in which the check brings the most to the strip's fixed point.
    place, length : float
        Of the clamp up its seam, and of the panel strip, from the eave end. [m]
    every : int
        Seams from one clamp to the next.
    limits : tuple of Limit
    notes : tuple of str
        What is said of what nobody gave, and of how many strips are modeled.
    doubts : tuple of str
        What keeps the panel from passing, whatever the limits say (`fea.doubts.seam_doubts`).
    """

    clamp: int
    states: SeamStates
    source: tuple[StateSource, ...]
    shown: int
    tried: int
    drag_case: int
    place: float
    length: float
    every: int
    limits: tuple[Limit, ...]
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def study(self) -> SeamStudy:
        """The shown state."""
        return self.states.study[self.shown]

    @property
    def shown_source(self) -> StateSource:
        """Where the shown state comes from."""
        return self.source[self.shown]

    def study_of(self, limit: str) -> SeamStudy:
        """The state that is worst for a limit."""
        return self.states.study[self.states.worst[number_of(limit)]]

    @property
    def proofs(self) -> tuple[Proof, ...]:
        """Self-checks, the worst of all states."""
        each = zip(*(study.proofs for study in self.states.study), strict=True)
        return tuple(replace(same[0], error=float(np.max([p.error for p in same]))) for same in each)


def find_clamp(analysis: Analysis, name: str | None) -> int:
    """Index of a clamp by its name; the one that uses most of its strength without a name.

    Raises
    ------
    InputError
        No such clamp.
    """
    names = analysis.project.layout.clamp_name
    if name is None:
        return int(np.argmax(np.nan_to_num(clamp_use(analysis)).max(axis=0)))
    if name not in names:
        message = f"--clamp {shown(name)}: there is no such clamp; they run from {names[0]} to {names[-1]}"
        raise InputError(message)
    return names.index(name)


def clamp_use(analysis: Analysis) -> Array:
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
    if len(_arrangements(every, strips)) > 1:
        twice = f"with a clamp every {strips} seams and every {every}, and the worse counts"
        return every, strips, (f"{why}; it is studied twice, as one of a row {twice}.",)
    return every, strips, (f"{why}; it is studied as one of a row with a clamp every {strips} seams.{more}",)


def _arrangements(every: int, strips: int) -> tuple[int, ...]:
    """Strips from clamp to clamp that are modeled: at the end of a row also as if the row went on."""
    return (strips, every) if every < strips <= END_STRIPS else (strips,)


def pan_pressure(analysis: Analysis, clamp: int) -> Array:
    """Factored snow square to the roof just above a clamp in each case, (q,). [Pa]."""
    project, cells = analysis.project, analysis.graph.cells
    plane = int(project.layout.row_plane[project.layout.clamp_row[clamp]])
    on = np.flatnonzero(cells.plane == plane)
    middle = cells.corners[on].mean(axis=1)
    nearest = on[np.argmin(np.linalg.norm(middle - project.layout.clamp_uv[clamp], axis=1))]
    slope = project.roof.planes.slope[plane]
    snow = np.array([factors.snow for factors in analysis.factors])
    return np.asarray(analysis.force.cell_pressure[:, nearest] * snow * np.cos(slope) ** 2)


def seam_actions(analysis: Analysis, clamp: int) -> tuple[tuple[SeamAction, ...], tuple[StateSource, ...]]:
    """All that may be worst for the seam of a clamp: cases, readings of the force, snow on the pan or none.

    Without snow on the pan the grip carries the same force: the snow that pulls may lie above the row while
    the pan around the clamp is bare (no source, judgment); the sheet then weighs its least.
    """
    project = analysis.project
    row = int(project.layout.clamp_row[clamp])
    slope = float(project.roof.planes.slope[project.layout.row_plane[row]])
    angle = float(project.layout.seam_angle[row])
    down = np.array([np.sin(slope) * np.cos(angle), np.sin(slope) * np.sin(angle), -np.cos(slope)])
    form = DesignFormat(project.table.design.format)
    dead = np.array([factors.dead for factors in analysis.factors])
    least = np.minimum(dead, [least_dead_factor(form, case.level) for case in analysis.snow.cases])
    grip, readings = analysis.clamp_force[:, :, clamp], analysis.readings
    if analysis.stiff_force is not None:  # the default of what nobody gave is one end of it
        stiff = analysis.stiff_force[:, :, clamp]
        grip = np.concatenate([grip, stiff], axis=1)
        readings += tuple(
            analysis.basis.readings[i % len(analysis.basis.readings)] for i in range(stiff.shape[1])
        )
    q, k = grip.shape[:2]
    case, reading, bare = (a.ravel() for a in np.meshgrid(np.arange(q), np.arange(k), [0, 1], indexing="ij"))
    force = grip[case, reading]
    pressure = np.where(bare, 0.0, pan_pressure(analysis, clamp)[case])
    factor = np.where(bare, least[case], dead[case])
    every = np.column_stack([force, pressure, factor])
    kept = _worth_trying(every, np.nan_to_num(clamp_use(analysis)[:, clamp])[case])
    actions = tuple(SeamAction(force[i], float(pressure[i]), factor[i] * down) for i in kept)
    sources = tuple(
        _source(
            analysis.snow.cases[case[i]].name,
            int(case[i]),
            readings[reading[i]],
            bool(bare[i]),
            STIFF_WORDS if reading[i] >= len(analysis.readings) else "",
        )
        for i in kept
    )
    return actions, sources


def _worth_trying(action: Array, use: Array) -> IntArray:
    """Actions (n, 8) without repetitions; of too many, those with an extreme of something.

    Those with snow on the pan come first, then those that use most of the clamp. That the worst of very many
    has the largest or least part of something, with snow on the pan or without, is judgment.
    """
    scale = np.maximum(np.abs(action).max(axis=0), np.finfo(float).tiny)
    order = np.lexsort([-use, action[:, 6] == 0.0])
    first = np.unique(np.round(action[order] / scale, 9), axis=0, return_index=True)[1]
    order = order[np.sort(first)]
    if len(order) <= MANY:
        return np.asarray(order)
    kept: list[int] = []
    for group in (order[action[order, 6] > 0.0], order[action[order, 6] == 0.0]):
        if len(group):
            parts = np.column_stack([action[group, :7], np.linalg.norm(action[group, :3], axis=1)])
            kept += [*group[parts.argmax(axis=0)], *group[parts.argmin(axis=0)]]
    return np.asarray(order[np.isin(order, kept)])


def _source(name: str, case: int, reading: Reading, bare: bool, clamps: str) -> StateSource:
    pan = "no snow on the pan" if bare else "snow on the pan"
    said = f", {clamps}" if clamps else ""
    return StateSource(case, reading.top, bare, f"{name}, sliding {reading.words}, {pan}{said}")


def study_clamp(analysis: Analysis, name: str | None = None, refine: float = 1.0) -> ClampDetail:
    """Study one clamp of a project on its seam: every limit of the panel in the state that is worst for it.

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
    every, strips, said = strips_between(project.layout, clamp)
    actions, sources = seam_actions(analysis, clamp)
    states = worse_of(
        [
            study_states(
                project.panel,
                project.seam,
                project.clamp,
                actions,
                place=place,
                length=length,
                every=apart,
                refine=refine,
            )
            for apart in _arrangements(every, strips)
        ]
    )
    source = tuple(sources[i] for i in states.action)
    whole = next(limit for limit in analysis.limits if limit.name == "panel anchorage")
    brought = whole.demand[:, panel_strips(project.layout)[0][clamp]]
    drag_case = int(np.argmax(brought))
    drag = float(brought[drag_case]), f"{analysis.snow.cases[drag_case].name}, all clamps of the strip"
    words = [state.words for state in source]
    sheet_yield = project.seam.sheet.yield_strength
    limits = seam_limits(states, words, project.panel, project.seam, label, drag)
    return ClampDetail(
        clamp=clamp,
        states=states,
        source=source,
        shown=states.worst[number_of(max(limits, key=lambda limit: _rank(limit, sheet_yield)).name)],
        tried=len(actions),
        drag_case=drag_case,
        place=place,
        length=length,
        every=every,
        limits=limits,
        notes=(*worse_words(project, "are tried, and the worse counts for every limit"), *said),
        doubts=seam_doubts(project),
    )


def _rank(limit: Limit, yield_strength: float) -> float:
    """Use of a limit; of the sheet's yield strength where there is no design strength."""
    use = float(limit.utilization[0, 0])
    if np.isnan(use) and limit.quantity == "stress":
        return float(limit.demand[0, 0]) / yield_strength
    return float(np.nan_to_num(use))
