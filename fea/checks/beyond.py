"""What follows when the first attachment gives way: whether the row passes its load on or lets go.

One row by itself, under the case that governs it, dead load and temperature first and then snow, which grows
until nothing more can be held. A clamp slips along its seam when it has used all of its strength there as the
check counts it, and keeps the residual that tests gave, or breaks; the rail bends on at its yield moment.
This is no check: it tells a row that redistributes from one that goes like a zipper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import Limit, clamp_components, component_utilization, interact, rail_resistance
from fea.checks.rail_section import yield_moments
from fea.checks.screw_strength import screw_rule, screw_strength
from fea.checks.screws import SCREW_LIMITS, screw_capacity
from fea.rails.actions import GIVEN, Basis
from fea.rails.loads import RailLoads, loads_alone
from fea.rails.row_events import PARTS, RowEvents, RowLimits, follow_rows
from fea.solvers.events import Outcome
from fea.solvers.laws import LinkState
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat, Rail
from roofmodel.layout import Layout, rows_alone
from roofmodel.project.load import Project

Array = NDArray[np.float64]

GROWTH = 10.0  # times the factored snow up to which it grows
SLIGHT = 1e-3  # share of its strength below which a clamp's mix of forces says nothing
GROWS = 1  # stage in which the snow grows
PAST = (LinkState.FLOWS_UP, LinkState.FLOWS_DOWN, LinkState.LOST)
LARGEST = 120  # clamps of a row that are followed; the links are dense


@dataclass(frozen=True)
class Beyond:
    """How one row goes on after its first failure.

    Attributes
    ----------
    row, case : int
    top : bool
        Whether the sliding force acts at the rail's top in the worse reading.
    first, last : float
        Factor on the factored snow at the first event and at the end; NaN without events or answer. [-]
    end : str
        How it ended, in words.
    factor : tuple of float
        Of each event.
    event : tuple of str
        What happens then.
    slipped : int
        Clamps that are past their strength at the end.
    notes : tuple of str
    """

    row: int
    case: int
    top: bool
    first: float
    last: float
    end: str
    factor: tuple[float, ...]
    event: tuple[str, ...]
    slipped: int
    notes: tuple[str, ...]


def row_limits(
    force: Array,
    clamp: Clamp,
    rail: Rail,
    yield_stress: float,
    residual: float | Array,
    screws: Array | None = None,
) -> RowLimits:
    """What clamps and rail of a row hold.

    Along the seam a clamp counts as used up when all its directions together are, in the mix that the check
    found: what it holds there is its force in the check over its combined use.

    Parameters
    ----------
    force : (c, 6) float
        Factored forces at the grips in the check. [N, N m]
    clamp, rail
    yield_stress : float
        Design yield stress of the rail. [Pa]
    residual : float or (c,) float
        Share of its strength that a clamp keeps along the seam once it slips.
    screws : (c,) float, optional
        What a bracket's screws hold along the seam (`fea.checks.screws.screw_capacity`); where that is less,
        nothing is left once they let go. [N]
    """
    parts = clamp_components(force, clamp)
    use = component_utilization(parts, clamp, np.abs(force[:, 0]))
    known = np.nan_to_num(use, nan=0.0)
    whole = interact(known, clamp.interaction)
    along = np.abs(force[:, 0])
    strength = np.full(len(force), clamp.strength[0])
    capacity = np.full((len(force), 6), np.inf)
    used = whole * strength > SLIGHT * strength
    capacity[:, 0] = np.where(
        used & (along > SLIGHT * strength), along / np.where(used, whole, 1.0), strength
    )
    capacity[:, 0] = np.fmin(capacity[:, 0], strength)
    capacity[:, 1] = clamp.strength[1]
    capacity = np.where(np.isnan(capacity), np.inf, capacity)
    left = np.where(np.isfinite(capacity), 0.0, np.inf)
    left[:, 0] = np.where(np.isfinite(capacity[:, 0]), residual * capacity[:, 0], np.inf)
    if screws is not None:
        left[:, 0] = np.where(screws < capacity[:, 0], 0.0, left[:, 0])
        capacity[:, 0] = np.minimum(screws, capacity[:, 0])
    return RowLimits(capacity, left, yield_moments(yield_stress, rail.section))


def hardest_beyond(
    project: Project,
    checked: tuple[Sequence[Limit], Array, Sequence[Rail]],
    loaded: tuple[RailLoads, Basis],
    strength: tuple[Array, Array, Array],
) -> Beyond:
    """The row with the most used clamp, past its first failure, in the reading that turns its clamps most.

    Parameters
    ----------
    project : Project
    checked : limits, (q, v, c, 6) float, rails
        What the check found: limits, forces at the grips [N, N m], and the rail of each of its states.
    loaded : RailLoads and Basis
    strength : three (q,) float
        Factors of snow, dead load and temperature.
    """
    (limits, clamp_force, rails), (loads, basis), layout = checked, loaded, project.layout
    clamp, (row, case) = project.clamp, worst_row(limits, layout)
    own = clamp_force[case][:, layout.clamp_row == row]
    hardest = int(np.argmax(np.abs(own[..., 4]).max(axis=1)))
    reading = basis.readings[hardest % len(basis.readings)]
    rail = rails[hardest // len(basis.readings)]
    snow, dead, thermal = strength
    still, grows = (
        basis.weights(*parts, top=reading.top, held=reading.held)[case]
        for parts in ((0.0 * snow, dead, reading.warmth * thermal), (snow, 0.0 * dead, 0.0 * thermal))
    )
    form = DesignFormat(project.table.design.format)
    hardware = (rail, clamp, rail_resistance(rail, form))
    screws = None
    if clamp.screws is not None:
        strength_of = screw_strength(clamp.screws, screw_rule(form, project.site.standard))
        screws = screw_capacity(own[hardest], clamp, strength_of)
    after = beyond_first_failure(
        layout, loads, (still, grows), hardware, own[hardest], (row, case, reading.top), screws
    )
    if reading in GIVEN:
        return after
    return replace(after, notes=(*after.notes, f"Loads in the worst reading: {reading.words}."))


def beyond_first_failure(
    layout: Layout,
    loads: RailLoads,
    weights: Sequence[Array],
    hardware: tuple[Rail, Clamp, float],
    force: Array,
    place: tuple[int, int, bool],
    screws: Array | None = None,
) -> Beyond:
    """Follow one row past its first failure.

    Parameters
    ----------
    layout : Layout
        Of the whole roof.
    loads : RailLoads
        Unit right-hand sides.
    weights : two (count,) float
        Of the right-hand sides: dead load and temperature, then the factored snow.
    hardware : Rail, Clamp, float
        The float is the design yield stress of the rail. [Pa]
    force : (c, 6) float
        Factored forces at the grips of the row in the check. [N, N m]
    place : row, case, top
    screws : (c,) float, optional
        As in `row_limits`.

    Returns
    -------
    Beyond
        Without events, and with the reason among its notes, where a row cannot be followed.
    """
    rail, clamp, yield_stress = hardware
    row, case, top = place
    kept = np.arange(len(layout.row_name)) == row
    own = rows_alone(layout, kept)
    nothing = Beyond(row, case, top, np.nan, np.nan, "not followed", (), (), 0, ())
    if len(own.clamp_s) > LARGEST:
        note = f"The row has {len(own.clamp_s)} clamps; rows of up to {LARGEST} are followed."
        return replace(nothing, notes=(note,))
    if screws is not None and np.isnan(screws).any():
        note = "A strength or lever of the brackets' screws is missing; the row is not followed."
        return replace(nothing, notes=(note,))
    plain = replace(rail, section=replace(rail.section, I_w=0.0))
    notes = [
        "Strengths are design values, and each clamp's directions keep the mix they have in the check.",
        "A clamp that gives way along its seam still holds the rail down and upright.",
        "The rail bends on at its yield moment, about each axis by itself; panels count as rigid.",
    ]
    if not clamp.residual > 0.0:
        notes.append("A clamp past its strength holds nothing: no clamp.slip_residual is given.")
    if rail.section.I_w > 0.0:
        notes.append("The rail's warping stiffness is left out.")
    if screws is not None:
        notes.append("A bracket whose screws are used up holds nothing along its seam.")
    limits = row_limits(force, clamp, plain, yield_stress, clamp.residual, screws)
    try:
        found = follow_rows(
            own,
            plain,
            clamp,
            loads_alone(loads, layout, kept, np.stack(list(weights))),
            limits,
            targets=np.array([1.0, GROWTH]),
        )
    except InputError as error:
        return replace(nothing, notes=(str(error),))
    return _read(found, own, (row, case, top), tuple(notes))


def _read(found: RowEvents, layout: Layout, place: tuple[int, int, bool], notes: tuple[str, ...]) -> Beyond:
    path, (row, case, top) = found.path, place
    events = path.events
    factor = np.where(events.stage == GROWS, events.factor, 0.0)
    words = tuple(
        _words(found, layout, link, after)
        for link, after in zip(events.link.tolist(), events.after.tolist(), strict=True)
    )
    last = path.factor if path.stage == GROWS else 0.0
    match path.outcome:
        case Outcome.COLLAPSE:
            end = "the row lets go"
        case Outcome.COMPLETE:
            end = f"the row still holds at {GROWTH:g} times the factored snow"
        case _:
            end, last = f"no answer ({path.words})", np.nan
    first = float(factor[0]) if len(factor) else last
    past = np.isin(path.state, PAST) & (found.link_clamp >= 0)
    slipped = len(np.unique(found.link_clamp[past]))
    return Beyond(
        row, case, top, first, last, end, tuple(factor.tolist()), words, slipped, notes + found.notes[1:]
    )


def _words(found: RowEvents, layout: Layout, link: int, after: int) -> str:
    """One event for a reader."""
    clamp, part = int(found.link_clamp[link]), int(found.link_part[link])
    if clamp < 0:
        nearest = int(np.abs(layout.clamp_s - found.link_s[link]).argmin())
        what = "bends on" if after in PAST else "stops bending"
        return f"rail {what} near {layout.clamp_name[nearest]}"
    what = {LinkState.LOST: "breaks", LinkState.STUCK: "holds again"}.get(LinkState(after), "slips")
    return f"clamp {layout.clamp_name[clamp]} {what} {PARTS[part]} its seam"


def clamp_use(limits: Sequence[Limit]) -> Array:
    """Use (q, c) of the clamps, all directions together, or of their screws; unknown ones 0."""
    named = [one for one in limits if one.name == "clamp combined" or one.name in SCREW_LIMITS]
    return np.asarray(np.max([np.nan_to_num(one.utilization) for one in named], axis=0))


def worst_row(limits: Sequence[Limit], layout: Layout) -> tuple[int, int]:
    """Row and case of the clamp that uses most of its strength."""
    use = clamp_use(limits)
    case, clamp = np.unravel_index(int(use.argmax()), use.shape)
    return int(layout.clamp_row[clamp]), int(case)
