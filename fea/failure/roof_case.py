"""From a checked project to one roof and snow case whose clamps can be sampled."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from fea.analysis import Analysis
from fea.checks.beyond import row_limits, worst_row
from fea.checks.limits import rail_resistance
from fea.failure.condense import clamp_forces, condense
from fea.failure.study import RoofCase
from fea.rails.actions import Reading, rail_loads
from fea.rails.row_events import RowLimits
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.layout import Layout, rows_alone
from roofmodel.sliding.thrust import RowForce, slide
from roofmodel.sliding.tributary import clamp_shares
from roofmodel.snow.cases import SnowCase, Zone, linear_integral

Array = NDArray[np.float64]

DRIFT_WORDS = ("drift", "leeward", "surcharge behind", "blown")
OVER_EDGE = 0.5  # share of a row's force that meets other rows, below which it goes over an edge [-]
LOWER = 0.5  # least height of a row over another on a lower roof [m]
MORE = 1.05  # use of a row by another case over that by the one sampled [-]
MOST_CLAMPS = 800  # links between all of them are dense
FRICTIONS = 9  # coefficients that are calculated where friction scatters
TINY = 1e-9  # share of a row's force that is rounding

NOTES = (
    "A clamp's directions keep the mix they have in the check, and one that gives way along its seam still "
    "holds the rail down and upright (favorable).",
    "Rails do not bend beyond yield and splices do not part; panels count as rigid.",
    "Warping stiffness of an open rail is left out.",
    "A clamp out of place changes its stretch of rail, not the rail's stiffness.",
)


@dataclass(frozen=True)
class Chosen:
    """The case that is sampled.

    Attributes
    ----------
    case : int
    reading : Reading
        That uses the clamps most.
    roof : RoofCase
    use : (c,) float
        Snow of the case over the mean strength, clamp by clamp. [-]
    notes : tuple of str
    """

    case: int
    reading: Reading
    roof: RoofCase
    use: Array
    notes: tuple[str, ...]


def choose_case(
    analysis: Analysis,
    *,
    name: str | None = None,
    mean_strength: float = 1.0,
    frictions: ArrayLike = (),
    release: float = 2.0,
    impact: float = 2.0,
    unzip: float = 0.0,
) -> Chosen:
    """The roof of a project under one snow case, before load factors.

    Parameters
    ----------
    analysis : Analysis
    name : str, optional
        Of the case; the one that uses the clamps most by default.
    mean_strength : float
        Mean strength of a clamp along its seam over the nominal one. [-]
    frictions : (2,) float, optional
        Least and largest friction coefficient where it scatters.
    release, impact, unzip : float
        As `fea.failure.cascade`.

    Returns
    -------
    Chosen

    Raises
    ------
    InputError
        No such case, no load, too many clamps.
    """
    project, layout, snow = analysis.project, analysis.project.layout, analysis.snow
    c = len(layout.clamp_s)
    if c > MOST_CLAMPS:
        message = f"{c} clamps; up to {MOST_CLAMPS} can be followed past their first failure"
        raise InputError(message)
    names = [case.name for case in snow.cases]
    if name is not None and name not in names:
        message = f'uncertainty.case: there is no case "{name}"; there are {", ".join(names)}'
        raise InputError(message)
    q = worst_row(analysis.limits, layout)[1] if name is None else names.index(name)
    reading, limits = hardest_reading(analysis, q)
    usual = project.slide.friction
    grid = _grid(usual, np.asarray(frictions, dtype=float))
    parts = undrifted(snow.cases[q])
    held, found, force, ends = unit_forces(analysis, (parts, snow.cases[q]), grid, reading)
    snow_parts = split_drift(found)
    whole = found[int(np.argmin(np.abs(grid - usual))), 1]
    if not np.abs(whole).max(initial=0.0) > 0.0:
        message = f'case "{names[q]}" brings no force to any clamp; nothing can fail'
        raise InputError(message)
    rail, clamp = project.rail, project.clamp
    mean = mean_strength * clamp.nominal[0] / clamp.strength[0]
    capacity, left = mean * limits.capacity[:, 0], mean * limits.residual[:, 0]
    lands = _lands(analysis, snow.cases[q], force)
    assembly = condense(layout, unwarped(rail), clamp, lands=lands, unzip=unzip)
    roof = RoofCase(
        roof=assembly,
        held=held,
        snow=snow_parts,
        friction=grid,
        usual=usual,
        capacity=capacity,
        residual=left,
        stretch=stretch_of(layout),
        release=release,
        impact=impact,
        ends=ends,
        weight=weights_of(force, len(layout.row_name)),
    )
    notes = (*NOTES, *_lower_roofs(analysis, lands), *_other_cases(analysis, q))
    return Chosen(q, reading, roof, (held + whole) / capacity, notes)


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


def hardest_reading(analysis: Analysis, case: int) -> tuple[Reading, RowLimits]:
    """The reading of a case that uses a clamp most, and what clamps hold in it."""
    project, clamp = analysis.project, analysis.project.clamp
    stress = rail_resistance(project.rail, DesignFormat(project.table.design.format))
    forces = analysis.clamp_force[case]
    limits = [row_limits(force, clamp, project.rail, stress, clamp.residual) for force in forces]
    use = [
        np.max(np.abs(force[:, 0]) / one.capacity[:, 0]) for force, one in zip(forces, limits, strict=True)
    ]
    hardest = int(np.argmax(use))
    readings = analysis.basis.readings
    return readings[hardest % len(readings)], limits[hardest]


def _lower_roofs(analysis: Analysis, lands: Array) -> tuple[str, ...]:
    """A warning where snow of a row goes over an edge while rows stand on lower planes."""
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    if len(layout.row_name) < 2:
        return ()
    middle = planes.to_world(layout.row_plane, 0.5 * (layout.row_start + layout.row_end))[:, 2]
    off = lands.sum(axis=1) < OVER_EDGE
    lower = (middle[:, None] > middle + LOWER) & (layout.row_plane[:, None] != layout.row_plane)
    names = [
        n for n, gone, below in zip(layout.row_name, off, lower.any(axis=1), strict=True) if gone and below
    ]
    if not names:
        return ()
    return (
        f"UNSAFE FOR LOWER ROWS: snow of {', '.join(names)} that goes over an eave comes onto no row here, "
        "also where it would land on a lower roof with rows.",
    )


def _other_cases(analysis: Analysis, case: int) -> tuple[str, ...]:
    """A warning for rows that another case uses more."""
    layout = analysis.project.layout
    use = np.nan_to_num(next(one for one in analysis.limits if one.name == "clamp combined").utilization)
    rows = range(len(layout.row_name))
    by_row = np.stack([use[:, layout.clamp_row == row].max(axis=1) for row in rows], axis=1)
    worse = by_row.max(axis=0) > MORE * by_row[case]
    if not worse.any():
        return ()
    worst = [analysis.snow.cases[q].name for q in by_row.argmax(axis=0)]
    names = ", ".join(f"{layout.row_name[r]} ({worst[r]})" for r in np.flatnonzero(worse))
    return (
        f"ONE CASE ONLY: other snow cases use these rows more, and theirs are not the chances of this one: "
        f"{names}. Name the case (uncertainty.case) to sample it.",
    )


def unit_forces(
    analysis: Analysis,
    parts: tuple[SnowCase, SnowCase],
    grid: Array,
    reading: Reading,
    layout: Layout | None = None,
) -> tuple[Array, Array, RowForce, Array]:
    """Clamp forces before the snow (c,), of both parts at each friction (m, 2, c), the rows' usual.

    All down the slope, every clamp holding; last the undrifted part from beyond row ends. [N]
    """
    project, support = analysis.project, analysis.support
    layout, rail = layout or project.layout, project.rail
    held, found, usual, ends = np.zeros(0), [], None, np.zeros(0)
    for mu in grid:  # a handful
        options = replace(project.slide, friction=float(mu))
        _, force = slide(project.roof, parts, layout, options)
        loads, basis = rail_loads(project.roof, layout, rail, force, support.travel, support.held)
        unit = clamp_forces(layout, unwarped(rail), project.clamp, loads)
        none, one = np.zeros(2), np.ones(2)
        dead = basis.weights(none, one, reading.warmth * one, top=reading.top, held=reading.held)
        snow = basis.weights(one, none, none, top=reading.top, held=reading.held)
        held = (dead @ unit)[0]
        found.append(snow @ unit)
        if usual is None or abs(mu - project.slide.friction) < TINY:
            usual, ends = force, unit[2 * basis.cases]
    assert usual is not None
    return held, np.stack(found), usual, ends


def _lands(analysis: Analysis, case: SnowCase, force: RowForce) -> Array:
    """Share of what each row held that comes onto each clamp when the row is gone, (r, c).

    The slide of the case without the row against the slide with it.
    """
    project = analysis.project
    layout = project.layout
    rows = len(layout.row_name)
    with_all = clamp_shares(layout, force)[-1]
    shares = np.zeros((rows, len(layout.clamp_s)))
    for row in range(rows) if rows > 1 else ():  # one slide for each row
        rest = rows_alone(layout, np.arange(rows) != row)
        _, fewer = slide(project.roof, (case,), rest, project.slide)
        own = layout.clamp_row == row
        more = np.zeros(len(layout.clamp_s))
        more[~own] = np.maximum(clamp_shares(rest, fewer)[0] - with_all[~own], 0.0)
        was = float(with_all[own].sum())
        if was > 0.0:
            share = more / was
            share[share < TINY] = 0.0
            shares[row] = share / max(float(share.sum()), 1.0)
    return shares


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
