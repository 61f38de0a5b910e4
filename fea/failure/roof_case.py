"""From a checked project to its roof under the snow cases whose clamps can be sampled."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from fea.analysis import Analysis
from fea.checks.beyond import clamp_use, row_limits, worst_row
from fea.checks.limits import rail_resistance
from fea.checks.screw_strength import project_rule, screw_strength, unfactored
from fea.checks.screws import screw_capacity
from fea.failure.assembled import Assembly
from fea.failure.condense import condense
from fea.failure.pieces_below import landing_shares
from fea.failure.runs import LEAST, STOPPING, factors_of, run_words, runs_between
from fea.failure.splice_laws import SpliceStrength, splice_case
from fea.failure.splices import Splices, link_forces, loose_splices
from fea.failure.study import RoofCase
from fea.rails.actions import Reading, rail_loads
from fea.rails.row_events import RowLimits
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.sliding.landed import with_landed
from roofmodel.sliding.thrust import RowForce, slide
from roofmodel.snow.cases import SnowCase, Zone, linear_integral
from roofmodel.units import SYSTEMS
from roofmodel.words import shortlist

Array = NDArray[np.float64]

DRIFT_WORDS = ("drift", "leeward", "surcharge behind", "blown")
CLOSE = 0.5  # use of a row by a case over that by its worst one, from which the case is sampled too [-]
MOST_CASES = 12
SHOWN = 8  # names in a note
MORE = 1.05  # use of a row by another case over that by the one sampled [-]
MOST_CLAMPS = 800  # links between all of them are dense
FRICTIONS = 9  # coefficients that are calculated where friction scatters
SLIGHT = 0.01  # difference of two cases' use of a clamp that counts as none [-]
TINY = 1e-9  # share of a row's force that is rounding

NOTES = (
    "A clamp's directions keep the mix they have in the check, and one that gives way along its seam still "
    "holds the rail down and upright (favorable).",
    "Rails do not bend beyond yield; panels count as rigid.",
    "Warping stiffness of an open rail is left out.",
    "A clamp out of place changes its stretch of rail, not the rail's stiffness.",
)
NEVER_PART = "Splices do not part (uncertainty.splice says what they hold)."
SCREWED = (
    "A bracket on screws gives way by them where they hold less than its own strength; then it holds nothing "
    "along its seam. Its screws scatter as it does; tests of the clamp raise them by nothing."
)


@dataclass(frozen=True)
class Chosen:
    """A case that is sampled.

    Attributes
    ----------
    case, reading : int, Reading
        And the one that uses the clamps most.
    roof : RoofCase
    use : (c,) float
        Snow of the case over the mean strength, clamp by clamp. [-]
    state : str
        The end of what nobody gave, such as "clamps do not tip"; empty where all is given.
    """

    case: int
    reading: Reading
    roof: RoofCase
    use: Array
    notes: tuple[str, ...]
    state: str = ""


@dataclass(frozen=True)
class Laws:
    """What clamps, friction and sudden losses are taken for.

    Attributes
    ----------
    mean_strength : float
        Mean strength of a clamp along its seam over the nominal one. [-]
    frictions : (2,) float or none
        Least and largest friction coefficient where it scatters.
    release : float
        As `fea.failure.cascade`.
    unzip : float or (c,) float
        As there.
    residual : (c,) float or None
        Share of its strength that each clamp holds past it; NaN and None for what the clamp's table says.
    splices : SpliceStrength, optional
        What splices hold; they never part by default.
    impact : float or None
        As there; None works it out, see `fea.failure.runs`.
    stopping : float
        Distance over which snow stops that runs onto a lower row. [m]
    """

    mean_strength: float = 1.0
    frictions: tuple[float, ...] = ()
    release: float = 2.0
    impact: float | None = 2.0
    unzip: ArrayLike = 0.0
    stopping: float = STOPPING
    residual: Array | None = None
    splices: SpliceStrength | None = None


def choose_case(analysis: Analysis, name: str | None = None, laws: Laws | None = None) -> Chosen:
    """The roof of a project under one snow case, before load factors.

    Parameters
    ----------
    analysis : Analysis
    name : str, optional
        Of the case; the one that uses the clamps most by default.
    laws : Laws, optional

    Returns
    -------
    Chosen

    Raises
    ------
    InputError
        No such case, no load, too many clamps.
    """
    laws = laws or Laws()
    plain = _condensed(analysis, laws)
    return _chosen(analysis, (_first(analysis, name, laws, plain.splices),), laws, plain)[0]


def choose_cases(analysis: Analysis, name: str | None = None, laws: Laws | None = None) -> tuple[Chosen, ...]:
    """All cases that may be the worst for some row, that which uses the clamps most first; as `choose_case`.

    Left out are cases that use every row less than `CLOSE` times as much as another one does, and cases that
    load no clamp and no splice more than another one does, with their drift or without: no sample fails by
    them alone. Where splices can part their use counts as that of a row does.
    """
    laws = laws or Laws()
    plain = _condensed(analysis, laws)
    first = _first(analysis, name, laws, plain.splices)
    if name is not None:
        found = _chosen(analysis, (first,), laws, plain)[0]
        return (replace(found, notes=(*found.notes, *_other_cases(analysis, first.case))),)
    by_row = _use_by_row(analysis)
    by_splice = _use_by_splice(analysis, laws, plain.splices)
    close = (by_row >= CLOSE * by_row.max(axis=0)).any(axis=1) & (by_row.max(axis=1) > 0.0)
    close |= ((by_splice >= CLOSE * by_splice.max(axis=0)) & (by_splice > 0.0)).any(axis=1)
    near = np.flatnonzero(close)
    by_row = np.concatenate([by_row, by_splice], axis=1)
    rest = sorted((q for q in near.tolist() if q != first.case), key=lambda q: -by_row[q].max())
    kept = [first]
    for q in rest:
        one = _pulled(analysis, q, laws, plain.splices)
        if one.loaded and not any(_covers(other, one) for other in kept):
            kept.append(one)
    if any(
        _covers(other, first) for other in kept[1:]
    ):  # such as its own snow with a drift that loads other rows
        kept = kept[1:]
    left = [analysis.snow.cases[one.case].name for one in kept[MOST_CASES:]]
    all_found = _chosen(analysis, tuple(kept[:MOST_CASES]), laws, plain)
    if not left:
        return all_found
    note = f"NOT ALL CASES: {MOST_CASES} snow cases are sampled; these use the rows less: {'; '.join(left)}."
    return (replace(all_found[0], notes=(*all_found[0].notes, note)), *all_found[1:])


@dataclass(frozen=True)
class _Pulled:
    """Forces of one case: as `RoofCase` and `SpliceCase`, and the force on the rows at the usual friction."""

    case: int
    reading: Reading
    held: Array
    snow: Array
    grid: Array
    usual: int
    capacity: Array
    residual: Array
    ends: Array
    force: RowForce
    splice_held: Array
    splice_snow: Array
    splice_ends: Array

    @property
    def whole(self) -> Array:
        """Clamp forces of the whole case at the usual friction, (c,). [N]."""
        return np.asarray(self.snow[self.usual].sum(axis=0))

    @property
    def loaded(self) -> bool:
        return bool(np.abs(self.whole).max(initial=0.0) > 0.0)


def _condensed(analysis: Analysis, laws: Laws) -> Assembly:
    project = analysis.project
    rail, part = unwarped(project.rail), laws.splices is not None
    return condense(project.layout, rail, project.clamp, unzip=laws.unzip, splices=part)


def _first(analysis: Analysis, name: str | None, laws: Laws, splices: Splices | None) -> _Pulled:
    """The named case, or the one that uses the clamps most."""
    pulled = _pulled(analysis, _case_number(analysis, name), laws, splices)
    if not pulled.loaded:
        message = (
            f'case "{analysis.snow.cases[pulled.case].name}" brings no force to any clamp; nothing can fail'
        )
        raise InputError(message)
    return pulled


def _case_number(analysis: Analysis, name: str | None) -> int:
    layout, names = analysis.project.layout, [case.name for case in analysis.snow.cases]
    c = len(layout.clamp_s)
    if c > MOST_CLAMPS:
        message = f"{c} clamps; up to {MOST_CLAMPS} can be followed past their first failure"
        raise InputError(message)
    if name is not None and name not in names:
        message = f'uncertainty.case: there is no case "{name}"; there are {", ".join(names)}'
        raise InputError(message)
    return worst_row(analysis.limits, layout)[1] if name is None else names.index(name)


def _pulled(analysis: Analysis, case: int, laws: Laws, splices: Splices | None) -> _Pulled:
    project, snow = analysis.project, analysis.snow.cases[case]
    reading, limits = hardest_reading(analysis, case, laws.residual, laws.mean_strength)
    usual = project.slide.friction
    grid = _grid(usual, np.asarray(laws.frictions, dtype=float))
    held, found, force, ends = unit_forces(analysis, (undrifted(snow), snow), grid, reading, splices)
    clamp, c = project.clamp, len(project.layout.clamp_s)
    parts = split_drift(found)
    mean = laws.mean_strength * clamp.nominal[0] / clamp.strength[0]
    return _Pulled(
        case=case,
        reading=reading,
        held=held[:c],
        snow=parts[..., :c],
        grid=grid,
        usual=int(np.argmin(np.abs(grid - usual))),
        capacity=mean * limits.capacity[:, 0],
        residual=mean * limits.residual[:, 0],
        ends=ends[:c],
        force=force,
        splice_held=held[c:],
        splice_snow=parts[..., c:],
        splice_ends=ends[c:],
    )


def _covers(other: _Pulled, one: _Pulled) -> bool:
    """Whether another case loads every clamp and splice as one does, at any friction and with any drift."""
    held = np.all(one.held / one.capacity <= other.held / other.capacity + SLIGHT)
    # Both parts by themselves: then any drift times them keeps the order.
    more = other.snow / other.capacity
    parts = np.all(one.snow / one.capacity <= more + SLIGHT * np.abs(more) + TINY)
    own, its = one.splice_snow, other.splice_snow
    # A splice gives way either way, and even snow hardly loads it: what is slight is so beside its largest.
    slight = SLIGHT * np.abs(its) + TINY * np.abs(its).max(initial=0.0)
    splices = (np.abs(own) <= np.abs(its) + slight) & ((own * its >= 0.0) | (np.abs(own) <= slight))
    return bool(held and parts and splices.all())


def _chosen(
    analysis: Analysis, pulled: tuple[_Pulled, ...], laws: Laws, plain: Assembly
) -> tuple[Chosen, ...]:
    """Cases with how their rows meet one another."""
    project, layout = analysis.project, analysis.project.layout
    cases = tuple(analysis.snow.cases[one.case] for one in pulled)
    lands = landing_shares(analysis, cases, tuple(one.force for one in pulled), plain.splices)
    first = np.unique(plain.piece, return_index=True)[1]  # clamp of each piece
    found = []
    still = _splice_notes(layout, laws, plain.splices)
    screwed = () if project.clamp.screws is None else (SCREWED,)
    for one, onto in zip(pulled, lands, strict=True):
        impact: float | Array = 2.0 if laws.impact is None else laws.impact
        ways: tuple[str, ...] = ()
        if laws.impact is None:
            by_row = np.maximum.reduceat(onto, np.searchsorted(plain.row[first], range(plain.rows)), axis=0)
            runs = runs_between(project.roof, layout, project.slide.friction, by_row, laws.stopping)
            # Rows meet what lies straight above: a piece runs as far as its row does.
            impact = factors_of(runs, layout)[plain.row[first]] if len(runs.upper) else LEAST
            ways = run_words(runs, layout, SYSTEMS[project.table.project.units], laws.stopping)
        roof = RoofCase(
            roof=replace(plain, lands=onto),
            held=one.held,
            snow=one.snow,
            friction=one.grid,
            usual=project.slide.friction,
            capacity=one.capacity,
            residual=one.residual,
            stretch=stretch_of(layout),
            release=laws.release,
            impact=impact,
            ends=one.ends,
            weight=weights_of(one.force, len(layout.row_name)),
            splices=None
            if plain.splices is None or laws.splices is None
            else splice_case(laws.splices, plain.splices, one.splice_held, one.splice_snow, one.splice_ends),
        )
        found.append(
            Chosen(
                one.case,
                one.reading,
                roof,
                (one.held + one.whole) / one.capacity,
                (*NOTES, *still, *screwed, *ways),
            )
        )
    return tuple(found)


def _grid(usual: float, frictions: Array) -> Array:
    """Friction coefficients that are calculated: the project's, and those between its bounds."""
    if not len(frictions):
        return np.array([usual])
    low, high = max(float(frictions.min()), 0.0), max(float(frictions.max()), 0.0)
    return np.unique(np.concatenate([np.linspace(low, high, FRICTIONS), [usual]]))


def undrifted(case: SnowCase) -> SnowCase:
    """The case without its drifts; snow that slid is no drift."""
    return replace(case, zones=tuple(zone for zone in case.zones if not _is_drift(zone)))


def _is_drift(zone: Zone) -> bool:
    """Whether wind brought a zone's snow, by the name that its standard's rules give it."""
    return any(word in zone.name.lower() for word in DRIFT_WORDS)


def split_drift(found: Array) -> Array:
    """Forces without drift and of the drift, from those of `unit_forces` without drift and of the whole."""
    return np.stack([found[:, 0], found[:, 1] - found[:, 0]], axis=1)


def weights_of(force: RowForce, rows: int) -> Array:
    """Snow that feeds each row, without drift and the drift, (2, r), from the two parts of a case. [N]."""
    still, whole = (np.bincount(force.row, one, minlength=rows) for one in force.weight[:2])
    return np.stack([still, whole - still])


def hardest_reading(
    analysis: Analysis, case: int, kept: Array | None = None, mean_strength: float = 1.0
) -> tuple[Reading, RowLimits]:
    """The reading of a case that uses a clamp most, and what clamps hold in it, to be multiplied by the mean.

    Tests of clamps say nothing of screws: these are not raised by a mean above 1.
    """
    project, clamp = analysis.project, analysis.project.clamp
    stress = rail_resistance(project.rail, DesignFormat(project.table.design.format))
    forces = analysis.clamp_force[case]
    own_mean = max(mean_strength, 1.0)
    screws = (
        None if held is None else held / own_mean for held in (_screws_hold(project, f) for f in forces)
    )
    own = clamp.residual if kept is None else np.where(np.isnan(kept), clamp.residual, kept)
    limits = [
        row_limits(force, clamp, project.rail, stress, own, held)
        for force, held in zip(forces, screws, strict=True)
    ]
    use = [
        np.max(np.abs(force[:, 0]) / one.capacity[:, 0]) for force, one in zip(forces, limits, strict=True)
    ]
    hardest = int(np.argmax(use))
    readings = analysis.basis.readings
    return readings[hardest % len(readings)], limits[hardest]


def _screws_hold(project: Project, force: Array) -> Array | None:
    """What brackets' screws hold along the seams before factors, over the clamp's own factor, (c,). [N]."""
    clamp = project.clamp
    if clamp.screws is None:
        return None
    held = screw_capacity(force, clamp, screw_strength(clamp.screws, unfactored(project_rule(project))))
    if np.isnan(held).any():
        message = "clamp.screws: a strength or a lever of the screws is missing; `check` says which"
        raise InputError(message)
    return held * clamp.strength[0] / clamp.nominal[0]


def _use_by_row(analysis: Analysis) -> Array:
    """Largest use of a clamp or its screws by case and row, (q, r); 0 where not verified. [-]."""
    layout, use = analysis.project.layout, clamp_use(analysis.limits)
    rows = range(len(layout.row_name))
    return np.stack([use[:, layout.clamp_row == row].max(axis=1, initial=0.0) for row in rows], axis=1)


def _splice_notes(layout: Layout, laws: Laws, splices: Splices | None) -> tuple[str, ...]:
    """What is not followed of the splices."""
    if not len(layout.splice_s):
        return ()
    if laws.splices is None:
        return (NEVER_PART,)
    left = loose_splices(layout, splices)
    if not left:
        return ()
    return (
        f"NOT FOLLOWED (unsafe): {len(left)} of {len(layout.splice_s)} splices never part here, as a piece "
        "of rail beside them has too few clamps to stand by itself: its loss would free the piece at once. "
        f"Verify them by hand: {shortlist(left, SHOWN)}.",
    )


def _use_by_splice(analysis: Analysis, laws: Laws, splices: Splices | None) -> Array:
    """Largest use of a part of a splice by case and splice at the usual friction, (q, s). [-]."""
    cases, usual = analysis.snow.cases, np.array([analysis.project.slide.friction])
    if splices is None or laws.splices is None:
        return np.zeros((len(cases), 0))
    capacity, c = laws.splices.capacity[splices.part], len(analysis.project.layout.clamp_s)
    found = np.zeros((len(cases), len(splices.origin)))
    for q, case in enumerate(cases):  # cases of one roof
        reading = analysis.basis.readings[0]
        _, unit, _, _ = unit_forces(analysis, (undrifted(case), case), usual, reading, splices)
        use = np.abs(unit[0, :, c:]).max(axis=0) / capacity
        np.maximum.at(found[q], splices.of, use)
    return found


def _other_cases(analysis: Analysis, case: int) -> tuple[str, ...]:
    """A warning for rows that another case uses more than the one that was named."""
    layout, by_row = analysis.project.layout, _use_by_row(analysis)
    worse = by_row.max(axis=0) > MORE * by_row[case]
    if not worse.any():
        return ()
    worst = [analysis.snow.cases[q].name for q in by_row.argmax(axis=0)]
    names = ", ".join(f"{layout.row_name[r]} ({worst[r]})" for r in np.flatnonzero(worse))
    return (
        f"ONE CASE ONLY, as the project names it (uncertainty.case): other snow cases use these rows more, "
        f"and theirs are not the chances of this one: {names}. Leave the name out to sample all that count.",
    )


def unit_forces(
    analysis: Analysis,
    parts: tuple[SnowCase, SnowCase],
    grid: Array,
    reading: Reading,
    splices: Splices | None = None,
) -> tuple[Array, Array, RowForce, Array]:
    """Clamp forces before the snow (c,), of both parts at each friction (m, 2, c), the rows' usual.

    All down the slope, every clamp holding; last the undrifted part from beyond row ends. Parts of splices
    follow the clamps where they are asked for. [N, N m]
    """
    project, support = analysis.project, analysis.support
    layout, rail = project.layout, project.rail
    held, found, usual, ends = np.zeros(0), [], None, np.zeros(0)
    for mu in grid:  # a handful
        options = replace(project.slide, friction=float(mu))
        graph, force = slide(project.roof, parts, layout, options)
        force = with_landed(project.roof, layout, graph, force, parts, options)
        loads, basis = rail_loads(project.roof, layout, rail, force, support.travel, support.held)
        unit = link_forces(layout, unwarped(rail), project.clamp, loads, splices)
        none, one = np.zeros(2), np.ones(2)
        dead = basis.weights(none, one, reading.warmth * one, top=reading.top, held=reading.held)
        snow = basis.weights(one, none, none, top=reading.top, held=reading.held)
        held = (dead @ unit)[0]
        found.append(snow @ unit)
        if usual is None or abs(mu - project.slide.friction) < TINY:
            usual, ends = force, unit[2 * basis.cases]
    assert usual is not None
    return held, np.stack(found), usual, ends


def stretch_of(layout: Layout) -> Array:
    """Growth of each clamp's stretch of rail by moves of the clamp before it, itself and the next, (3, c)."""
    s, row = layout.clamp_s, layout.clamp_row
    first = np.r_[True, row[1:] != row[:-1]]
    last = np.r_[row[1:] != row[:-1], True]
    before = np.where(first, 0.0, 0.5 * (np.roll(s, 1) + s))
    after = np.where(last, layout.row_length[row], 0.5 * (np.roll(s, -1) + s))
    length = np.maximum(after - before, 1e-6)
    own = 0.5 * (~last).astype(float) - 0.5 * (~first).astype(float)
    return np.stack([np.where(first, 0.0, -0.5), own, np.where(last, 0.0, 0.5)]) / length


def unwarped(rail: Rail) -> Rail:
    """The rail without warping stiffness, as the condensed rows count it."""
    return replace(rail, section=replace(rail.section, I_w=0.0))


def mean_pressure(case: SnowCase, planes: ArrayLike) -> float:
    """Mean load of a case without drift on some planes. [Pa]."""
    on = set(np.asarray(planes).tolist())
    zones = undrifted(case).zones or case.zones
    own = [zone for zone in zones if zone.plane in on]
    polygons = np.array([zone.polygon for zone in own], dtype=object)
    force = linear_integral(polygons, np.array([zone.pressure for zone in own])) if own else np.zeros(1)
    return float(force.sum() / max(float(shapely.area(polygons).sum()), 1e-9))
