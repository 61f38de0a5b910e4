"""A project's rows as a bay: governing case and reading, strengths, panels and fixed points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.analysis import Analysis
from fea.checks.limits import LOADED, clamp_components, component_utilization, interact, rail_resistance
from fea.checks.member_strength import FULL
from fea.checks.strips import panel_strips
from fea.push.bending import Bending, rail_bending
from fea.push.push import GROWTH, Push, Strips, push_rows
from fea.push.watch import Failures, unlimited
from fea.rails.actions import Reading, rail_loads
from fea.rails.loads import loads_alone
from fea.unknowns import End, ends_of, unknown_fields, worse_words
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail
from roofmodel.layout import Layout, rows_alone
from roofmodel.project.load import Project
from roofmodel.project.screw_tables import refuse_screws

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LARGEST = 160  # clamps that are followed together; the links are dense
SAME = 5e-3  # reserves of check and push that differ less are one
DIRECTIONS = ("along", "across", "pull", "push", "moment_along", "moment_pull")


@dataclass(frozen=True)
class Other:
    """The same rows at another end of what nobody gave: times the snow at the first event, and at most."""

    state: str
    first: float
    most: float
    answered: bool


@dataclass(frozen=True)
class ProjectPush:
    """A virtual test of a project.

    Attributes
    ----------
    push : Push
    rows : (r,) int
        Rows of the project that are in it.
    clamps : (c,) int
        Their clamps.
    row : int
        Row of the project that was asked for, or that governs.
    case : int
    reading : Reading
    nominal : bool
        Whether strengths and loads are without factors.
    failures : Failures
    missing : tuple of str
        Strengths that are loaded and that nobody gave.
    notes : tuple of str
    bending : Bending
        What the rail bends on at, and why it does not turn on there.
    check_reserve : float
        The check's reserve of this case, with all its limits of strength; NaN with nominal strengths. [-]
    exceeded : tuple of str
        Limits of the check that are exceeded in this case; none with nominal strengths.
    unknown : tuple of str
        Fields that nobody gave and that are followed at each end.
    state : str
        The end of them that is shown: the row lets go at the least load there. Empty where all is given.
    others : tuple of Other
        The other ends.
    """

    push: Push
    rows: IntArray
    clamps: IntArray
    row: int
    case: int
    reading: Reading
    nominal: bool
    failures: Failures
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    bending: Bending
    check_reserve: float
    exceeded: tuple[str, ...]
    unknown: tuple[str, ...] = ()
    state: str = ""
    others: tuple[Other, ...] = ()

    @property
    def passes(self) -> bool:
        """Whether the factored snow is carried at every end and by the check, with strengths given."""
        least = min(self.push.first, np.nan_to_num(self.check_reserve, nan=np.inf))
        held = self.push.answered and all(one.answered and one.first >= 1.0 for one in self.others)
        return held and not self.missing and not self.exceeded and least >= 1.0

    @property
    def optimistic(self) -> bool:
        """Whether the check lets go before the first event here."""
        return self.check_reserve < self.push.first * (1.0 - SAME)


def push_project(
    analysis: Analysis,
    failures: Failures,
    *,
    row: str | None = None,
    case: str | None = None,
    nominal: bool = False,
    growth: float = GROWTH,
) -> ProjectPush:
    """Push the rows on the plane of one row until something lets go.

    Parameters
    ----------
    analysis : Analysis
    failures : Failures
    row, case : str, optional
        The row whose clamps use most, and the case in which they do, by default.
    nominal : bool
        Strengths as given and loads without factors, to compare with tests; not for design.
    growth : float
        Times the snow up to which it grows.

    Raises
    ------
    InputError
        No such row or case; a row that cannot be followed.
    """
    project = analysis.project
    refuse_screws(project.table.clamp)
    ends = ends_of(analysis)
    hardest = max(
        (_worst(end.analysis, row, case) for end in ends), key=lambda one: one[0]
    )  # the same row and case for all
    names = project.layout.row_name[hardest[1]], analysis.snow.cases[hardest[2]].name
    found = [
        _push_end(end, _worst(end.analysis, *names)[1:], failures, nominal=nominal, growth=growth)
        for end in ends
    ]
    least = min(found, key=lambda one: (one.push.answered, one.push.most, one.push.first))
    others = tuple(
        Other(one.state, one.push.first, one.push.most, one.push.answered)
        for one in found
        if one is not least
    )
    said = worse_words(project, "are followed; what is shown lets go at the least snow")
    exceeded, unknown = ((), ()) if nominal else _by_check([end.analysis for end in ends], hardest[2])
    return replace(
        least,
        missing=tuple(dict.fromkeys([*(name for one in found for name in one.missing), *unknown])),
        exceeded=exceeded,
        unknown=unknown_fields(project),
        others=others,
        notes=(*said, *_of_others(others), *least.notes),
    )


def _of_others(others: tuple[Other, ...]) -> tuple[str, ...]:
    """What the other ends do, in words."""
    return tuple(
        f"Where {one.state}, the first event comes at {one.first:.3g} times the snow, and the most is "
        f"{one.most:.3g} times."
        if one.answered
        else f"Where {one.state}, there is no answer."
        for one in others
    )


def _push_end(
    end: End, place: tuple[int, int, int, Reading], failures: Failures, *, nominal: bool, growth: float
) -> ProjectPush:
    """Push one end of what nobody gave, at a row, case, state and reading."""
    analysis, (at_row, at_case, state, reading) = end.analysis, place
    project, layout = analysis.project, analysis.project.layout
    kept = layout.row_plane == layout.row_plane[at_row]
    alone = int(kept[layout.clamp_row].sum()) > LARGEST
    if alone:
        kept = np.arange(len(layout.row_name)) == at_row
        many = int(kept[layout.clamp_row].sum())
        if many > LARGEST:
            message = (
                f"push: row {layout.row_name[at_row]} has {many} clamps; "
                f"rows of up to {LARGEST} are followed; name a shorter one with --row"
            )
            raise InputError(message)
    weights = _weights(analysis, at_case, reading, nominal)
    loads, _ = rail_loads(
        project.roof, layout, project.rail, analysis.force, analysis.support.travel, analysis.support.held
    )
    own, mixed = rows_alone(layout, kept), loads_alone(loads, layout, kept, weights)
    clamps = np.flatnonzero(kept[layout.clamp_row])
    rail, clamp, panel, bending = _hardware(analysis.states[state].project, own, nominal)
    strips = _strips(analysis, at_case, clamps, weights, panel, nominal)
    support = None
    stiffness = analysis.states[state].stiffness
    if stiffness is not None:
        at = (6 * clamps[:, None] + np.arange(6)).ravel()
        support = sparse.csr_array(sparse.csr_array(stiffness)[at][:, at])
    hardware = (rail, clamp, bending.moment)
    found = push_rows(
        own, hardware, mixed, strips, failures, support=support, growth=growth, brittle=bending.brittle
    )
    return ProjectPush(
        push=found,
        rows=np.flatnonzero(kept),
        clamps=clamps,
        row=at_row,
        case=at_case,
        reading=reading,
        nominal=nominal,
        failures=failures,
        missing=_missing(found, clamp, panel, strips),
        notes=_notes(end, found, failures, alone, reading, state, bending),
        bending=bending,
        check_reserve=np.nan if nominal else float(analysis.reserve[at_case]),
        exceeded=(),
        state=end.words,
    )


def check_pushed(layout: Layout, row: str | None) -> None:
    """Refuse to push a row that the layout does not have. Raises InputError."""
    if row is not None and row not in layout.row_name:
        message = f'push: there is no row "{row}"; there are {", ".join(layout.row_name)}'
        raise InputError(message)


def _worst(analysis: Analysis, row: str | None, case: str | None) -> tuple[float, int, int, int, Reading]:
    """How much of its strength a clamp uses at most, and the row, case, state and reading where it does."""
    layout, clamp = analysis.project.layout, analysis.project.clamp
    names = [one.name for one in analysis.snow.cases]
    check_pushed(layout, row)
    if case is not None and case not in names:
        message = f'push: there is no case "{case}"; there are {"; ".join(names)}'
        raise InputError(message)
    force = analysis.clamp_force
    components = clamp_components(force, clamp)
    use = interact(component_utilization(components, unlimited(clamp), 0.0), clamp.interaction)
    if not use.any():
        use = components[..., 0]
    if row is not None:
        use = np.where(layout.clamp_row == layout.row_name.index(row), use, -1.0)
    if case is not None:
        use = np.where((np.arange(len(names)) == names.index(case))[:, None, None], use, -1.0)
    q, v, c = np.unravel_index(int(np.argmax(use)), use.shape)
    readings = analysis.basis.readings
    place = int(layout.clamp_row[c]), int(q), int(v) // len(readings), readings[int(v) % len(readings)]
    return float(use[q, v, c]), *place


def _weights(analysis: Analysis, case: int, reading: Reading, nominal: bool) -> Array:
    """Weights (2, count) of what is held and of what grows."""
    factors = analysis.factors
    snow, dead, thermal = (np.array([getattr(f, k) for f in factors]) for k in ("snow", "dead", "thermal"))
    if nominal:
        snow, dead, thermal = np.ones_like(snow), np.ones_like(dead), np.ones_like(thermal)
    held = analysis.basis.weights(
        0.0 * snow, dead, reading.warmth * thermal, top=reading.top, held=reading.held
    )
    grows = analysis.basis.weights(snow, 0.0 * dead, 0.0 * thermal, top=reading.top, held=reading.held)
    return np.stack([held[case], grows[case]])


def _by_check(ends: Sequence[Analysis], case: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Limits that the check finds exceeded in a case at any end, with their use, and those not known.

    What is not known is told of the rail alone.
    """
    every = [[one for one in end.limits if not one.target.startswith("solar")] for end in ends]
    own, use = (
        every[0],
        [
            float(max(np.nan_to_num(one.utilization[case], nan=0.0).max(initial=0.0) for one in same))
            for same in zip(*every, strict=True)
        ],
    )
    exceeded = tuple(
        f"{limit.name} {100.0 * u:.0f} %" if u > 1.005 else f"{limit.name} {100.0 * u:.2f} %"
        for limit, u in zip(own, use, strict=True)
        if u > 1.0
    )
    unknown = tuple(
        limit.name
        for limit in own
        if limit.name.startswith("rail ")
        and not limit.service
        and limit.target == "span"
        and np.isnan(limit.utilization[case]).any()
    )
    return exceeded, unknown


def _hardware(project: Project, layout: Layout, nominal: bool) -> tuple[Rail, Clamp, Panel, Bending]:
    rail, clamp, panel = project.rail, project.clamp, project.panel
    form = DesignFormat(project.table.design.format)
    bending = rail_bending(rail, layout, form)
    if nominal:
        factor = rail.material.yield_strength / rail_resistance(rail, form)
        clamp = replace(clamp, strength=clamp.nominal)
        panel = replace(panel, anchorage=panel.anchorage_nominal)
        m_y, m_z = bending.moment
        bending = replace(bending, moment=(factor * m_y, factor * m_z))
    return rail, clamp, panel, bending


def _strips(
    analysis: Analysis, case: int, clamps: IntArray, weights: Array, panel: Panel, nominal: bool
) -> Strips:
    """Fixed points under the clamps of a bay, with what loads them besides."""
    strip, names = panel_strips(analysis.project.layout)
    kept, own = np.unique(strip[clamps], return_inverse=True)
    loads, factor = analysis.strip_loads, analysis.factors[case]
    by = (1.0, 1.0) if not nominal else (max(factor.snow, 1e-9), max(factor.dead, 1e-9))
    rest = np.stack([loads.weight[case] / by[1] + loads.restrained[case], loads.snow[case] / by[0]])[:, kept]
    others = np.setdiff1d(np.flatnonzero(np.isin(strip, kept)), clamps)
    if len(others):  # clamps of rows that are not followed bring their elastic force
        along = np.tensordot(weights, analysis.response.clamp_force[:, others, 0], axes=1)
        for i in (0, 1):
            rest[i] += np.bincount(
                np.searchsorted(kept, strip[others]), np.maximum(along[i], 0.0), minlength=len(kept)
            )
    holds = np.full(len(kept), np.inf if np.isnan(panel.anchorage) else panel.anchorage)
    return Strips(own.ravel(), tuple(names[s] for s in kept.tolist()), holds, rest)


def _missing(found: Push, clamp: Clamp, panel: Panel, strips: Strips) -> tuple[str, ...]:
    parts = clamp_components(found.clamp_force, unlimited(clamp))
    scale = float(np.abs(found.clamp_force[..., 0]).max(initial=0.0))
    size = scale * np.array([1.0, 1.0, 1.0, 1.0, clamp.grip_length, clamp.grip_length])
    loaded = np.atleast_1d((parts > LOADED * size).any(axis=(0, 1)))
    missing = [
        f"clamp.strength.{name}"
        for name, on, strength in zip(DIRECTIONS, loaded, clamp.strength, strict=True)
        if on and np.isnan(strength)
    ]
    if np.isnan(panel.anchorage):
        missing.append("panel.anchorage")
    return tuple(missing)


def _notes(
    end: End,
    found: Push,
    failures: Failures,
    alone: bool,
    reading: Reading,
    state: int,
    bending: Bending,
) -> tuple[str, ...]:
    analysis, kept = end.analysis, end.analysis.project.clamp
    notes = [
        f"Loads in the reading that uses most: {reading.words}. Dead load and temperature are held while the "
        "snow grows, and there is no unloading.",
        "The push ends with the first row that lets go. Here its snow does not come onto the rows below, "
        "which it may take along at far less than they hold by themselves; `risk` and `investigate` follow "
        "that.",
        "Clamps fail by the check's own rule for all their directions together. One that slips keeps "
        f"{100 * failures.slip:g} % along its seam and still holds the rail down until its other directions "
        "are used up (judgment); with 0 % it comes off.",
        f"A clamp that comes off keeps {100 * failures.off:g} % of its forces; a fixed point that lets go "
        f"leaves its clamps {100 * failures.anchorage:g} %; a seam that opens takes "
        f"{100 * failures.unzip:g} % from its other clamps.",
        _bends(bending)
        + (
            "an octagon within the circle of both axes"
            if found.bay.rail.section.round
            else "the moments about both axes add up linearly"
        )
        + "; shear, torsion, force along the rail and crushing on the clamps are left to the check.",
        "A falling load at a standing displacement is not drawn: snow is a dead load, so what lets go "
        "lets go at once; swinging past is not counted. Parts that gave way and hold or slip again are "
        "followed, but not listed.",
    ]
    if analysis.support.stiffness:
        notes.append(
            "Panels give way as the check has them: "
            f"{analysis.support.states[analysis.states[state].panel]}; a clamp that is off bears nothing."
        )
    else:
        notes.append(
            "Seams and sheets count as rigid (ask with analysis.panel_flexibility); a clamp that is off "
            "still bears on its seam when its rail is pressed onto it."
        )
    if alone:
        notes.append(
            f"More than {LARGEST} clamps stand on this plane: one row is followed, the others load their "
            "fixed points elastically."
        )
    if end.words:
        notes.append(f"What is shown: {end.words}.")
    elif analysis.states[state].splices:
        notes.append(f"As the project says, {analysis.states[state].splices}.")
    if kept.residual == 0.0 and failures.slip == 0.0:
        notes.append("No clamp.slip_residual is given: a clamp that slips comes off.")
    if analysis.project.rail.section.I_w > 0.0:
        notes.append("The rail's warping stiffness is left out.")
    if found.rail_use > 1.005:
        notes.append(f"Between places of hinges the rail reaches {found.rail_use:.3f} of its moment.")
    return tuple(notes)


def _bends(bending: Bending) -> str:
    """How far the rail bends."""
    share = float(np.min(bending.share))
    least = (
        ""
        if np.isnan(share) or share > FULL
        else f", of which the check's limits leave {100.0 * share:.0f} %"
    )
    moment = f"its yield moment (or the moment that was given){least}: "
    if bending.brittle:
        return f"The rail does not bend on, as {bending.brittle}: the push ends where it reaches {moment}"
    return f"The rail bends on, without end, at {moment}"
