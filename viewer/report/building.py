"""What the rows do to the building below, for the report."""

from __future__ import annotations

import math

import numpy as np

from fea.analysis import Analysis
from fea.checks.building import BuildingLoads
from fea.checks.continuous import FULL
from fea.checks.purlins import PARTIAL_WORDS, LineLoads
from roofmodel.framing import Framing
from roofmodel.surface import EdgeKind
from roofmodel.units import UnitSystem
from viewer.building_words import SAME, purlin_sentence, ratio_text, rising_sentences, uplift_sentences
from viewer.quantities import brief, column, percent, quantity
from viewer.report.tables import Table

JUMP = 0.05  # an eave this far above the lowest point of its plane is another one [m]
ROUNDING = 1e-6  # difference of two loads that is rounding [-]
LINES_SHOWN = 60  # purlin lines in the tables; building.csv has all
CASES_SHOWN = 12  # cases side by side

NOTE = (
    "Snow: the largest weight on the plane over all cases, vertical, with the rows and as if there were none "
    "(the standard then lets a slippery roof shed; under EN 1991-1-3 every plane by mu_1 of its own slope, "
    "5.3.2 and 5.3.3, unless a parapet or obstruction of its own holds its snow: that snow below may hold it "
    "too is left out, which would hide what rows add). Drag: force down the slope of all rows of the plane "
    "in one case; it goes through the clamps into the panels and ends at their fixed points, so the "
    "structure there must take it. Without rows only what friction leaves would arrive there. The engineer "
    "of the building must see both; load factors and combinations are those of its own design."
)
DEMANDS_NOTE = (
    "Before load factors, the largest over all cases. Without: no row, and the snow that the standard then "
    "leaves on the plane; frozen to the sheet it can pull as hard until it lets go, which no standard "
    "counts. Of several lines the largest is named, and the one that the rows raise most where that is "
    "another; of clamps and strips the largest. Uplift is named where snow brings any, on one side of a "
    "support or on an overhang; less dead load: all dead load of [[framing]] is set against it, of which "
    "codes count only a part where it helps (0.9 in EN 1990 Table A1.2(A), from memory). Clips: the one "
    "beside a clamp takes all its pull or push, and its tipping moment over half the clip spacing "
    "(judgment), and what sheets that reach past the lowest purlin lift off the next one; "
    "`eavewright seam` follows the true path. Overhang: a row that stands on it adds its force times the "
    "height of the rail. Temperature is left out."
)
LINES_NOTE = (
    "Vertical, per length of line, before load factors; of all cases and patterns the largest. Each line "
    "takes the larger of two readings: sheets hinged at every line with levers past the outermost ones, and "
    "sheets that run through over all lines, which give the first inner line up to 1.25 times as much; what "
    "a lever lifts off the next line is no relief, but uplift of its own: the line then bends upward, its "
    "lower flange in compression, which stands in its hogging and sagging. Bending: a continuous beam of "
    "one stiffness on firm supports, load vertical in full; square to a tilted purlin it is less. The pull "
    "down the slope that rows hold goes to the panels' fixed points: where a purlin holds them, it bends "
    "across its weak axis."
)


def building_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Snow on each plane with the rows and without, and the drag that they hand to the structure."""
    project, found = analysis.project, analysis.building.planes
    names, cases = project.roof.planes.name, analysis.snow.cases
    rows = []
    for plane, name in enumerate(names):
        has_rows = found.rows[plane] > 0.0
        rows.append(
            (
                name,
                quantity(float(found.held[plane]), "force", units),
                quantity(float(found.held[plane] / found.area[plane]), "pressure", units),
                "–" if found.free is None else quantity(float(found.free[plane]), "force", units),
                _more(found, plane),
                cases[int(found.case[plane])].name,
                quantity(float(found.drag[plane]), "force", units) if has_rows else "no rows",
                quantity(float(found.drag[plane] / found.rows[plane]), "line_load", units)
                if has_rows
                else "–",
                cases[int(found.drag_case[plane])].name if has_rows else "–",
            )
        )
    heads = (
        "Plane",
        "Snow with rows",
        "mean",
        "without rows",
        "more",
        "Case",
        "Drag of the rows",
        "mean on rows",
        "Case",
    )
    return Table(
        "What the rows do to the building, before load factors", heads, "tnnnntnnt", tuple(rows), note=NOTE
    )


def _more(found: BuildingLoads, plane: int) -> str:
    if found.free is None or not found.held[plane] > 0.0:
        return "–"
    gain = float(found.held[plane] - found.free[plane])
    if abs(gain) <= ROUNDING * found.held[plane]:
        return "0 %"
    return percent(gain / float(found.free[plane])) if found.free[plane] > 0.0 else "all of it"


def building_words(analysis: Analysis, units: UnitSystem) -> tuple[str, ...]:
    """What rises, how purlins stand, and what is missing, in sentences."""
    project, found = analysis.project, analysis.building
    words = list(rising_sentences(analysis, units))
    if not words and any(not math.isnan(demand.free) for demand in found.demands):
        words.append(SAME)
    if any(math.isnan(demand.free) for demand in found.demands):
        words.append("The snow was measured, so there is nothing to compare the demands with.")
    framing = project.framing
    if framing is None:
        words.append(
            "Purlins and overhang are not computed: the project has no table [[framing]] (purlin_spacing, "
            "frame_spacing, overhang)."
        )
        return tuple(words)
    words += uplift_sentences(analysis, units)
    words += [*_on_overhang(analysis), *_higher_eaves(analysis)]
    purlin = purlin_sentence(analysis, units)
    if purlin:
        words.append(f"{purlin}: {'EXCEEDED' if found.exceeded else 'kept'}.")
    if len(framing.plane):
        words.append(PARTIAL_WORDS.get(project.site.standard, ""))
        if np.isnan(framing.strength[framing.plane]).any():
            words.append("Purlins without moment_strength: the demand is given, NOT VERIFIED here.")
        if found.held is not None and found.held.assumed.any():
            words.append(
                "Some purlin lines reach fewer than two frames; they count as resting on both their ends."
            )
    return tuple(word for word in words if word)


def _on_overhang(analysis: Analysis) -> list[str]:
    """Rows that stand on an overhang."""
    layout, framing = analysis.project.layout, analysis.project.framing
    if framing is None:
        return []
    up = 0.5 * (layout.row_start + layout.row_end)[:, 1]
    on = np.flatnonzero(up < np.nan_to_num(framing.overhang)[layout.row_plane])
    if not len(on):
        return []
    names = ", ".join(layout.row_name[row] for row in on)
    return [
        f"On the overhang: {names}. Its force tips the overhang, and ice at the eave can grip the rail; rows "
        "near the line of the wall avoid both (common practice)."
    ]


def _higher_eaves(analysis: Analysis) -> list[str]:
    """Planes whose eave jumps: only their lowest one is computed as an overhang."""
    roof, framing = analysis.project.roof, analysis.project.framing
    kinds, found = np.array(roof.edges.kind), []
    for plane, name in enumerate(roof.planes.name):
        mine = (kinds == EdgeKind.EAVE) & (roof.edges.plane[:, 0] == plane)
        up = roof.planes.to_plane(plane, roof.edges.start[mine])[:, 1]
        if framing is not None and framing.overhang[plane] > 0.0 and np.any(up > JUMP):
            found.append(name)
    if not found:
        return []
    names = ", ".join(found)
    return [f"Overhang: only the lowest eave of {names} is computed; look at the higher ones by hand."]


def demands_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Every demand with the rows, without them, and the ratio."""
    demands = analysis.building.demands
    if not demands:
        return None
    rows = tuple(
        (
            demand.plane,
            demand.what,
            demand.place,
            brief(demand.held, demand.quantity, units),
            "–" if math.isnan(demand.free) else brief(demand.free, demand.quantity, units),
            ratio_text(demand),
            demand.case,
        )
        for demand in demands
    )
    heads = ("Plane", "Demand", "At", "With rows", "Without", "Ratio", "Case with rows")
    return Table(
        "Demands on the building, with the rows and without", heads, "ttwnnnt", rows, note=DEMANDS_NOTE
    )


def purlins_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Every purlin line, worst over cases."""
    framing, held, free = analysis.project.framing, analysis.building.held, analysis.building.free
    if framing is None or held is None:
        return None
    names, rows, marks = framing.names, [], []
    checked = np.isfinite(framing.strength[framing.plane]).any()
    for line in range(min(len(names), LINES_SHOWN)):
        use = analysis.building.use[:, line]
        known = np.isfinite(use).any()
        used = percent(float(np.nanmax(use))) if known else "NOT VERIFIED"
        rows.append(
            (
                f"{analysis.project.roof.planes.name[framing.plane[line]]} {names[line]}",
                quantity(float(framing.up[line]), "length", units),
                *(_most(held, free, name, line, kind, units) for name, kind in _SHOWN),
                *([used] if checked else []),
            )
        )
        marks.append("exceeded" if known and np.nanmax(use) > 1.0 else "")
    words = ("Load", "Lifted", "On a frame", "Off a frame", "Sagging", "Hogging", "Shear")
    heads: tuple[str, ...] = (
        "Line",
        "up the slope",
        *(f"{word} {units.label(kind)}" for word, (_, kind) in zip(words, _SHOWN, strict=True)),
    )
    heads = (*heads, "Used") if checked else heads
    more = "" if len(names) <= LINES_SHOWN else f" The first {LINES_SHOWN} of {len(names)} lines."
    full = " Spans are full where no pattern is named."
    note = f"{LINES_NOTE} With rows / without them where two numbers stand.{full}{more}"
    return Table("Purlin lines", heads, "wnnnnnnnn" + "n" * int(checked), tuple(rows), tuple(marks), note)


def purlin_cases_table(analysis: Analysis) -> Table | None:
    """Snow case and pattern of every number of the purlin lines; lines that share all stand together."""
    framing, held = analysis.project.framing, analysis.building.held
    if framing is None or held is None:
        return None
    planes = analysis.project.roof.planes.name
    lines: dict[str, list[str]] = {}
    for line in range(min(len(framing.names), LINES_SHOWN)):
        lines.setdefault(_where_from(held, line), []).append(
            f"{planes[framing.plane[line]]} {framing.names[line]}"
        )
    rows = tuple((", ".join(names), words) for words, names in lines.items())
    return Table("Purlin lines: case and pattern of each number", ("Lines", "Case and pattern"), "tt", rows)


_SHOWN = (
    ("peak", "line"),
    ("lift", "line"),
    ("reaction", "force"),
    ("uplift", "force"),
    ("sagging", "moment"),
    ("hogging", "moment"),
    ("shear", "force"),
)
NOTHING = 1e-9  # of the largest of its kind: what elimination leaves of a zero [-]
_CALLED = {"peak": "load", "lift": "lifted", "reaction": "on a frame", "uplift": "off a frame"}


def _where_from(held: LineLoads, line: int) -> str:
    """Case and pattern of every number of a line; those that share both stand together, all without names."""
    from_where: dict[str, list[str]] = {}
    for name, _ in _SHOWN:
        values = getattr(held, name)[:, line]
        if not values.max() > 0.0:
            continue
        case = int(np.argmax(values >= values.max() * (1.0 - ROUNDING)))
        pattern = held.patterns[name][case, line] if name in held.patterns else ""
        words = f"{held.cases[case]}, {pattern}" if pattern not in ("", FULL) else held.cases[case]
        from_where.setdefault(words, []).append(_CALLED.get(name, name))
    if len(from_where) == 1:
        return next(iter(from_where))
    return "; ".join(f"{', '.join(names)}: {words}" for words, names in from_where.items()) or "–"


def _most(held: LineLoads, free: LineLoads | None, name: str, line: int, kind: str, units: UnitSystem) -> str:
    both = [float(getattr(loads, name)[:, line].max()) for loads in (held, free) if loads is not None]
    if math.isnan(both[0]):
        return "–"
    largest = max(float(np.nanmax(np.abs(getattr(held, name)), initial=0.0)), *both)
    if max(both) <= NOTHING * largest:
        return "0"
    return " / ".join(column(both, kind, units))


def handed_table(analysis: Analysis, units: UnitSystem) -> Table | None:
    """Mean load of every purlin line in every case, and the drag of the rows, to be handed on."""
    project, found = analysis.project, analysis.building
    framing, held = project.framing, found.held
    names, cases = project.roof.planes.name, [case.name for case in analysis.snow.cases]
    drag_planes = np.flatnonzero(found.planes.rows > 0.0)
    if framing is None or held is None:
        return None
    shown = slice(0, CASES_SHOWN)
    rows = []
    for line in range(min(len(framing.plane), LINES_SHOWN)):
        loads = column(held.mean[shown, line], "line", units)
        rows.append((f"{names[framing.plane[line]]} {framing.names[line]}, {units.label('line')}", *loads))
    width = len(held.cases[shown])
    for plane in drag_planes.tolist():
        along = column(found.drag[shown, plane] / _width(framing, analysis, plane), "line", units)
        along += ["–"] * (width - len(along))
        rows.append((f"{names[plane]} drag at the fixed points, {units.label('line')}", *along))
    numbers = [str(k + 1) for k in range(len(cases))] + list(held.cases[len(cases) :])
    more = "" if len(held.cases) <= CASES_SHOWN else f" The first {CASES_SHOWN} of {len(held.cases)} cases."
    note = (
        "Before load factors; columns are the numbers of the snow cases. Purlin lines: vertical, mean over "
        "the length, with rows, sheets hinged at the lines: a plane's lines carry its snow together. "
        "Drag: down the slope, "
        "mean over the width of the plane, at the line of the panels' fixed points; strip by strip it can be "
        f"more, see panel anchorage. building.csv has all lines and cases, with rows and without.{more}"
    )
    heads = ("Handed on to the structure", *numbers[:CASES_SHOWN])
    return Table("Loads handed on, case by case", heads, "w" + "n" * width, tuple(rows), note=note)


def _width(framing: Framing, analysis: Analysis, plane: int) -> float:
    bounds = analysis.project.roof.planes.outline[plane].bounds
    return float(bounds[2] - bounds[0])


def eave_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Loads that stand on the eaves as cases, and whether rows carry them."""
    found = analysis.building
    over, names = found.over_held, analysis.project.roof.planes.name
    rows = []
    first = len(analysis.snow.cases)
    for k, case in enumerate(found.eave.cases):
        zone = case.zones[-1]
        at = "–"
        if over is not None and not np.isnan(over.moment[first + k]).all():
            plane = int(np.nanargmax(over.moment[first + k]))
            at = (
                f"{names[plane]}: {quantity(float(over.shear[first + k, plane]), 'line', units)}, "
                f"{quantity(float(over.moment[first + k, plane]), 'moment per length', units)}"
            )
        rows.append((case.name, zone.clause, zone.formula, at, " ".join(case.notes)))
    for name, why in found.eave.skipped:
        rows.append((name, "–", "–", "–", f"Not applied: {why}."))
    heads = ("Case", "Clause", "Formula", "Overhang: shear, moment", "Does retention carry it?")
    return Table("Cases that stand on the eaves", heads, "ttsnt", tuple(rows))


def building_data(analysis: Analysis) -> list[dict[str, object]]:
    """For results.json."""
    found = analysis.building.planes
    names, cases = analysis.project.roof.planes.name, analysis.snow.cases
    free = np.full(len(names), np.nan) if found.free is None else found.free
    return [
        {
            "plane": name,
            "snow_with_rows": found.held[i],
            "snow_without_rows": free[i],
            "snow_case": cases[int(found.case[i])].name,
            "drag": found.drag[i],
            "drag_case": cases[int(found.drag_case[i])].name,
            "row_length": found.rows[i],
        }
        for i, name in enumerate(names)
    ]
