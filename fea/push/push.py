"""The virtual test: rows of one plane under held loads and snow that grows until a row lets go."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.push.bay import Bay, Places, make_bay, missing_places, rail_use, state_of
from fea.push.contact import with_bearings
from fea.push.watch import BayWatch, Failures
from fea.rails.loads import FrameResult, RailLoads
from fea.solvers.events import EventPath, Outcome, follow_links
from fea.solvers.laws import Laws, LinkState
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

GROWS = 1  # stage in which the snow grows
PASSED = 1e-3  # share of its moment by which the rail may pass it between places of hinges
ROUNDS = 6  # times that places are added
GROWTH = 20.0  # times the growing load up to which it grows
PROVED = 1e-6  # largest use over 1 and energy missing at the end
GIVES_WAY = ("slip", "off", "yields")  # kinds of events of a clamp
DIRECTIONS = ("along its seam", "across its seam", "off its seam", "into the roof", "by roll", "by twist")


@dataclass(frozen=True)
class Strips:
    """Panel strips: of each clamp (c,), names (s,), what they hold (s,), what else loads them (2, s). [N]."""

    clamp: IntArray
    name: tuple[str, ...]
    anchorage: Array
    rest: Array


@dataclass(frozen=True)
class Event:
    """One event.

    Attributes
    ----------
    factor : float
        On the growing load; 0 while the held load comes on. [-]
    point : int
        Of the path.
    kind : str
        "slip", "off", "yields", "strip", "bears", "hinge" or "breaks".
    row : int
    s : float
        Along the row. [m]
    words : str
    """

    factor: float
    point: int
    kind: str
    row: int
    s: float
    words: str


@dataclass(frozen=True)
class Push:
    """A virtual test.

    Attributes
    ----------
    bay : Bay
    path : EventPath
    events : tuple of Event
    factor : (t,) float
        On the growing load at the points of the path; 0 while the held load comes on. [-]
    stage : (t,) int
        0 while the held load comes on.
    moved : (t, r) float
        Mean displacement of each row down the slope, weighted by the growing load, from where the held load
        left it. [m]
    total : (r,) float
        Growing load down the slope on each row at factor 1. [N]
    jump : (t, c) float
        Of the bay's links, with the forces of bearings brought on as travels. [m, rad]
    clamp_force : (t, c, 6) float
        At the grips. [N, N m]
    clamp_state : (c,) int
        At the end, of `fea.push.watch`.
    strip_gone : (s,) bool
    most : float
        Largest factor that was carried.
    first : float
        Factor of the first event; `most` without one.
    weakest : int
        Row that lets go, or that moved most.
    state : FrameResult
        At the points of the path.
    rail_use : float
        Largest moment of the rail on the path over what it bends on at; a little over 1 between places. [-]
    end : str
    broken : bool
        Whether it ends where a rail that cannot bend on reaches its moment.
    """

    bay: Bay
    path: EventPath
    events: tuple[Event, ...]
    factor: Array
    stage: IntArray
    moved: Array
    total: Array
    jump: Array
    clamp_force: Array
    clamp_state: IntArray
    strip_gone: NDArray[np.bool_]
    most: float
    first: float
    weakest: int
    state: FrameResult
    rail_use: float
    end: str
    broken: bool = False

    @property
    def collapsed(self) -> bool:
        """Whether a row let go."""
        return self.broken or self.path.outcome is Outcome.COLLAPSE

    @property
    def answered(self) -> bool:
        """Whether the path has an answer."""
        return self.path.outcome in (Outcome.COLLAPSE, Outcome.COMPLETE)


def push_bay(
    bay: Bay, strips: Strips, failures: Failures, *, growth: float = GROWTH, held: float = 1.0
) -> Push:
    """Push a bay.

    Parameters
    ----------
    bay : Bay
    strips : Strips
    failures : Failures
    growth : float
        Factor up to which the growing load grows.
    held : float
        Factor on the held load; 0 leaves it out.

    Raises
    ------
    InputError
        Shares that are none, or nothing that could fail.
    """
    for name in ("slip", "off", "anchorage", "unzip"):
        share = getattr(failures, name)
        if not 0.0 <= share <= 1.0 or (name == "unzip" and share == 1.0):
            message = f"push: {name} = {share:g} must be from 0 to {'below 1' if name == 'unzip' else '1'}"
            raise InputError(message)
    clamps = len(bay.layout.clamp_s)
    link = np.full((clamps, 6), -1, dtype=np.int64)
    of_clamps = bay.link_clamp >= 0
    link[bay.link_clamp[of_clamps], bay.link_part[of_clamps]] = np.flatnonzero(of_clamps)
    pull = link[bay.bears, 2]
    joined = with_bearings(bay.form, bay.laws, bay.q, pull)
    laws = Laws(*(np.array(value) for value in vars(joined.laws).values()))
    bearing = np.full(clamps, -1, dtype=np.int64)
    bearing[bay.bears] = len(bay.link_clamp) + np.arange(len(pull))
    watch = BayWatch(bay.clamp, link, strips.clamp, strips.anchorage, strips.rest, laws, failures, bearing)
    targets = np.array([held, growth])
    path = follow_links(joined.form, laws, joined.q, targets=targets, watch=watch)
    force = watch.forces(path.path_force)
    force[:, bay.bears, 2] -= path.path_force[:, len(bay.link_clamp) :]
    jump = joined.as_travel(path.path_force, path.path_jump)
    moved, total = _moved(bay, path, jump, held)
    events = _events(bay, path, watch, strips)
    factor = np.where(path.path_stage == GROWS, path.path_factor, 0.0)
    most = float(factor.max(initial=0.0))
    row = _weakest(bay, path, moved)
    first = events[0].factor if events else most
    share = _shares(path, held)
    state = state_of(bay, share, jump)
    return Push(
        bay=bay,
        path=_proved(path, watch, force),
        events=events,
        factor=factor,
        stage=path.path_stage,
        moved=moved,
        total=total,
        jump=jump,
        clamp_force=force,
        clamp_state=watch.state,
        strip_gone=watch.gone,
        most=most,
        first=first,
        weakest=row,
        state=state,
        rail_use=float(rail_use(bay, state).max(initial=0.0)),
        end=_end(bay, path, row, most, growth),
    )


def push_rows(
    layout: Layout,
    hardware: tuple[Rail, Clamp, tuple[float, float]],
    loads: RailLoads,
    strips: Strips,
    failures: Failures,
    *,
    support: sparse.csr_array | None = None,
    growth: float = GROWTH,
    brittle: str = "",
) -> Push:
    """Make a bay and push it, without hinges where the rail never passes its moment.

    Where it does, hinges are there, with further places where the rail would pass its moment between them.

    Parameters
    ----------
    layout : Layout
    hardware : Rail, Clamp, (float, float)
        The last is the moment at which the rail bends on about its y and z axes. [N m]
    loads : RailLoads
        Two right-hand sides: held, growing.
    strips, failures, growth
        As `push_bay`.
    support
        As `make_bay`.
    brittle : str
        Why the rail lets go instead of bending on; empty where it bends on.
    """
    rail, clamp, moment = hardware
    more: Places | None = None
    for turn in range(ROUNDS):
        bay = make_bay(layout, rail, clamp, loads, moment, support=support, more=more, hinges=turn > 0)
        found = push_bay(bay, strips, failures, growth=growth)
        places = missing_places(found.state, rail_use(bay, found.state), 1.0 + PASSED)
        if places is None or not found.answered:
            break
        if turn == 0:
            continue
        if more is not None:
            places = np.concatenate([more[0], places[0]]), np.concatenate([more[1], places[1]])
        more = places
    hinge = next((event for event in found.events if event.kind == "hinge"), None)
    if not brittle or hinge is None:
        return found
    return _let_go(found, hinge, brittle, lambda most: push_bay(bay, strips, failures, growth=most))


def _let_go(found: Push, hinge: Event, brittle: str, again: Callable[[float], Push]) -> Push:
    """A push that ends at the first hinge, as its rail cannot turn there."""
    name = found.bay.layout.row_name[hinge.row]
    place = hinge.words.removeprefix("the rail bends on ")
    what = f"the rail lets go {place}: {brittle}"
    before = found.events[: found.events.index(hinge)]  # what gives way at the same snow leads to it
    if hinge.factor <= 0.0:
        end = f"row {name} lets go under the held load alone: {what}"
        return replace(found, first=0.0, most=0.0, weakest=hinge.row, end=end, broken=True)
    whole, found = found, again(hinge.factor)
    at = len(found.factor) - 1
    last = Event(hinge.factor, at, "breaks", hinge.row, hinge.s, what)
    gone = [_clamp_of(found.bay, event) for event in before if event.kind in GIVES_WAY]
    state = found.clamp_state.copy()
    state[gone] = whole.clamp_state[gone]
    return replace(
        found,
        events=(*(replace(event, point=min(event.point, at)) for event in before), last),
        clamp_state=state,
        strip_gone=whole.strip_gone if any(event.kind == "strip" for event in before) else found.strip_gone,
        first=before[0].factor if before else hinge.factor,
        weakest=hinge.row,
        end=f"row {name} lets go at {hinge.factor:.4g} times the snow",
        broken=True,
    )


def _clamp_of(bay: Bay, event: Event) -> int:
    """Clamp of an event."""
    near = np.flatnonzero(bay.layout.clamp_row == event.row)
    return int(near[int(np.abs(bay.layout.clamp_s[near] - event.s).argmin())])


def _proved(path: EventPath, watch: BayWatch, force: Array) -> EventPath:
    """The path, unproven where a clamp that holds is used beyond its strength at some point."""
    use = watch.use(force[-1])  # those that are off hold nothing that could be used up
    if path.outcome is Outcome.COLLAPSE or not (use > 1.0 + PROVED).any():
        return path
    return replace(
        path,
        outcome=Outcome.UNPROVEN,
        words=f"{path.words}; but a clamp that holds is used {float(use.max()):.6f} times",
    )


def _moved(bay: Bay, path: EventPath, jump: Array, held: float) -> tuple[Array, Array]:
    """Mean displacement (t, r) of the rows down the slope, and the growing load on each (r,)."""
    loads = bay.loads
    line = loads.line[1, :, 1] * (loads.s1 - loads.s0)
    rows = len(bay.frame.row_name)
    total = np.zeros(rows)
    np.subtract.at(total, loads.row, line)
    np.subtract.at(total, loads.point_row, loads.point[1, :, 1])
    work = _shares(path, held) @ bay.work.T + jump @ bay.probe.T
    known = total > 0.0
    moved = np.where(known, work / np.where(known, total, 1.0), 0.0)
    start = int(np.flatnonzero(path.path_stage < GROWS)[-1])  # where all of the held load is on
    return moved - moved[start], total


def _shares(path: EventPath, held: float) -> Array:
    """Shares (t, 2) of both loads at the points of the path."""
    stage = path.path_stage
    return np.stack(
        [np.where(stage == 0, path.path_factor, held), np.where(stage == GROWS, path.path_factor, 0.0)],
        axis=1,
    )


def _weakest(bay: Bay, path: EventPath, moved: Array) -> int:
    if path.critical >= 0:
        return int(_place(bay, path.critical)[0])
    return int(np.argmax(moved[-1]))


def _end(bay: Bay, path: EventPath, row: int, most: float, growth: float) -> str:
    name = bay.layout.row_name[row]
    match path.outcome:
        case Outcome.COLLAPSE if path.stage < GROWS:
            return f"row {name} lets go under the held load alone"
        case Outcome.COLLAPSE:
            return f"row {name} lets go at {most:.4g} times the snow"
        case Outcome.COMPLETE:
            return f"all rows still hold at {growth:g} times the snow"
        case _:
            return f"no answer ({path.words})"


def _events(bay: Bay, path: EventPath, watch: BayWatch, strips: Strips) -> tuple[Event, ...]:
    """Events in their order, but for parts that gave way and only hold or slip again."""
    log = path.events
    found: list[Event] = []
    share = np.where(path.path_stage == GROWS, 1.0 + path.path_factor, path.path_factor)
    for i in range(len(log)):
        stage, factor, k = int(log.stage[i]), float(log.factor[i]), int(log.link[i])
        row, s = _place(bay, k)
        at = int(np.searchsorted(share, (1.0 if stage == GROWS else 0.0) + factor - 1e-12))
        kind, words = _what(bay, watch, strips, i, k, LinkState(int(log.after[i])))
        # Its other side, or its other axis.
        again = kind == "hinge" and any((e.kind, e.row, e.s) == (kind, row, s) for e in found)
        if words and not again and kind != "other":
            found.append(
                Event(factor if stage == GROWS else 0.0, min(at, len(share) - 1), kind, row, s, words)
            )
    return tuple(found)


def _place(bay: Bay, link: int) -> tuple[int, float]:
    """Row of a link or bearing, and its place along it. [m]."""
    links = len(bay.link_clamp)
    if link < links:
        return int(bay.link_row[link]), float(bay.link_s[link])
    clamp = int(np.flatnonzero(bay.bears)[link - links])
    return int(bay.layout.clamp_row[clamp]), float(bay.layout.clamp_s[clamp])


def _what(bay: Bay, watch: BayWatch, strips: Strips, i: int, k: int, after: LinkState) -> tuple[str, str]:
    """Kind and words of an event; no words for what needs none."""
    names = bay.layout.clamp_name
    if i in watch.told:
        what, number, mode = watch.told[i]
        if what == "strip":
            return "strip", f"the fixed point of {strips.name[number]} lets go"
        if what == "slips":
            return "slip", f"clamp {names[number]} slips along its seam"
        if what == "yields":
            return "yields", f"clamp {names[number]} gives way {DIRECTIONS[mode]} and holds on"
        if mode == 0:
            return "off", f"clamp {names[number]} breaks along its seam"
        return "off", f"clamp {names[number]} comes off: {DIRECTIONS[mode]}"
    if k >= len(bay.link_clamp):
        name = names[int(np.flatnonzero(bay.bears)[k - len(bay.link_clamp)])]
        return "bears", f"clamp {name}, which is off, bears on its seam" if after is LinkState.HOLDS else ""
    clamp = int(bay.link_clamp[k])
    if clamp >= 0:
        if after is LinkState.STUCK:
            return "other", f"clamp {names[clamp]} holds again"
        return "other", f"clamp {names[clamp]} slips again" if after != LinkState.HOLDS else ""
    row = int(bay.link_row[k])
    near = np.flatnonzero(bay.layout.clamp_row == row)
    name = names[near[int(np.abs(bay.layout.clamp_s[near] - bay.link_s[k]).argmin())]]
    place = f"near {name}"
    if after is LinkState.STUCK:
        return "other", f"the rail stops bending {place}"
    return "hinge", f"the rail bends on {place}"


def no_strips(clamps: int) -> Strips:
    """Strips whose fixed points hold anything."""
    return Strips(
        np.arange(clamps), tuple(f"seam {i + 1}" for i in range(clamps)), np.full(clamps, np.inf),
        np.zeros((2, clamps)),
    )  # fmt: skip
