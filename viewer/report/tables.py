"""Tables of the report as text: every number with its unit, nothing about looks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.cautions import along_change
from fea.unknowns import SPLICES, unknown_fields
from roofmodel.snow.cases import Bare, Value, Zone, short_numbers
from roofmodel.units import UnitSystem
from viewer.as_tested import read_as_tested, signed_along
from viewer.combining import combination
from viewer.picture.findings import clamp_cases
from viewer.quantities import brief, column, kind_for, percent, quantity, significant
from viewer.row_summary import PEAK_NOTE, RowLine, peak_places
from viewer.summary import (
    AS_TESTED,
    EXCEEDED,
    NOT_LOADED,
    NOT_VERIFIED,
    clamp_states,
    governing_text,
    limit_lines,
    shown_name,
)

Array = NDArray[np.float64]

EDGES_SHOWN = 120
ZONES_SHOWN = 300
CLAMPS_ALL, CLAMPS_WORST = 400, 100


@dataclass(frozen=True)
class Table:
    """A table for the page.

    Attributes
    ----------
    caption : str
    heads : tuple of str
    numeric : str
        One letter a column: "n" numbers, "t" text, "w" text on one line, "s" text with symbols.
    rows : tuple of tuple of str
        The first cell names the row.
    marks : tuple of str
        Class of each row: "", "exceeded" or "open"; empty for none.
    note : str
    plain_note : bool
        Whether the note holds names of fields, which look like symbols.
    """

    caption: str
    heads: tuple[str, ...]
    numeric: str
    rows: tuple[tuple[str, ...], ...]
    marks: tuple[str, ...] = ()
    note: str = ""
    plain_note: bool = False


def _mark(status: str) -> str:
    return {EXCEEDED: "exceeded", NOT_VERIFIED: "open"}.get(status, "")


def limits_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Worst target of each limit."""
    rows, marks = [], []
    tests = analysis.project.clamp.test_basis or "test basis not given"
    for line in limit_lines(analysis):
        kind, idle = line.limit.quantity, line.status == NOT_LOADED
        ratio = line.limit.name == "clamp combined"
        demand = "not known" if math.isnan(line.demand) else brief(line.demand, kind, units)
        used = "not known" if line.status == NOT_VERIFIED else percent(line.utilization)
        rows.append(
            (
                shown_name(analysis, line.limit) + (" (service)" if line.limit.service else ""),
                "–" if idle else line.target,
                "–" if idle else demand,
                "1.00" if ratio else quantity(line.resistance, kind, units),
                used,
                line.status,
                "–" if idle else line.case,
                line.limit.basis.removesuffix(f"; {tests}"),
            )
        )
        marks.append(_mark(line.status))
    heads = ("Limit", "Worst at", "Demand", "Resistance", "Used", "Status", "Case", "Basis")
    caption, note = "Every limit, its worst target over all cases", f"Clamp strengths: {tests}."
    if read_as_tested(analysis):
        note += f" {AS_TESTED}"
    return Table(caption, heads, "twnnnttt", tuple(rows), tuple(marks), note)


def cases_table(analysis: Analysis) -> Table:
    """Governing limit and reserve of each case."""
    rows, marks = [], []
    for number, case in enumerate(analysis.snow.cases):
        worst, factors = analysis.case_governing[number], analysis.factors[number]
        reserve = float(analysis.reserve[number])
        text = "no row is loaded" if worst is None else governing_text(analysis, worst)
        rows.append(
            (
                f"{number + 1}",
                case.name,
                combination(analysis, number),
                text.removesuffix(f" ({case.name})"),
                significant(reserve),
                significant(reserve * factors.snow),
            )
        )
        marks.append("exceeded" if worst is not None and worst.utilization > 1.0 else "")
    for case in analysis.building.eave.cases:
        carried = "on the building only; no row carries it, it does not slide"
        rows.append(("–", case.name, "–", carried, "–", "–"))
        marks.append("")
    heads = ("No.", "Case", "Combination", "Worst", "Reserve × factored", "× unfactored")
    note = (
        "Reserve: factor on snow at the first strength limit (clamps, rail stress, panel anchorage), dead "
        "load and temperature held. Below 1, or on unfactored snow below the factor of S in the combination, "
        "the limit is exceeded. Limits without a resistance cannot count."
    )
    return Table("Snow cases, worst limit and reserve", heads, "tttsnn", tuple(rows), tuple(marks), note)


def rows_table(analysis: Analysis, units: UnitSystem, rows: Sequence[RowLine]) -> Table:
    """Sliding force on each row before load factors."""
    line, force = units.label("line"), units.label("force")
    places = peak_places(rows, units)
    by_en = any(math.isfinite(r.undrifted) for r in rows)
    parts = (("Undrifted (6.4)", [r.undrifted for r in rows]), ("With drift", [r.drifted for r in rows]))
    more = [(f"{head} {force}", column(v, "force", units)) for head, v in parts if by_en]
    cells = zip(
        [r.name for r in rows],
        [r.plane for r in rows],
        column([r.length for r in rows], "length", units),
        [str(r.clamps) for r in rows],
        column([r.peak for r in rows], "line", units),
        places,
        column([r.mean for r in rows], "line", units),
        column([r.total for r in rows], "force", units),
        column([r.total - r.own for r in rows], "force", units),
        column([r.beyond for r in rows], "force", units),
        *(texts for _, texts in more),
        [r.total_case for r in rows],
        [NOT_VERIFIED if r.unverified and r.utilization <= 1.0 else percent(r.utilization) for r in rows],
        strict=True,
    )
    heads = (
        "Row",
        "Plane",
        f"Length {units.label('length')}",
        "Clamps",
        f"Max {line}",
        f"Max from–to {units.label('length')}",
        f"Mean {line}",
        f"Total {force}",
        f"of it through valleys and from other planes {force}",
        f"And up to, from beyond the ends {force}",
        *(head for head, _ in more),
        "Case of the total",
        "Worst used",
    )
    marks = tuple("exceeded" if r.utilization > 1.0 else "open" if r.unverified else "" for r in rows)
    where = f"acts {PEAK_NOTE}; it " if any(" to " in place for place in places) else ""
    note = (
        f"Force down the slope, before load factors. The largest force per length {where}may come from "
        "another case than the total. What a coherent blanket may bring from beyond the ends of a "
        "partial row (worst case) comes on top of the total and is in the checks."
    )
    if by_en:
        note += (
            " EN 1991-1-3 6.4 asks for the force of undrifted snow; that of the drifted cases stands beside"
            " it, and every limit takes the worst of all (judgment). Exceptional snow is in neither."
        )
    kinds = f"ttnnnnnnnn{'n' * len(more)}tn"
    return Table("Sliding force on each row", heads, kinds, tuple(cells), marks, note)


def balance_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Where the driving force of each case ends."""
    balance = analysis.force.balance
    parts = (
        balance.driving,
        balance.caught,
        balance.over_edges,
        balance.friction,
        balance.gutters,
        balance.canceled,
        balance.obstructions,
        balance.walls,
    )
    shown = np.array(column(np.concatenate(parts), "force", units)).reshape(len(parts), -1)
    rows = tuple(
        (f"{number + 1}", case.name, *map(str, shown[:, number]))
        for number, case in enumerate(analysis.snow.cases)
    )
    heads = (
        "No.",
        "Case",
        "Driving",
        "Caught by rows",
        "Over edges",
        "Friction",
        "Level valleys",
        "Canceled in valleys",
        "Held by obstructions and arrays",
        "Held by walls",
    )
    caption = f"Where the sliding force of the whole roof ends, {units.label('force')}, before load factors"
    return Table(caption, heads, "ttnnnnnnnn", rows)


def values_text(values: Iterable[Value], units: UnitSystem) -> str:
    """Symbols and their values, such as "C_e = 1.00 (Table 7.3-1); p_f = 48.3 psf (Eq. 7.3-1)"."""
    parts = []
    for value in values:
        kind = kind_for(value.unit)
        number = (
            f"{significant(value.value)} {value.unit}"
            if kind is None
            else quantity(value.value, kind, units, 4)
        )
        formula = value.formula.text(units.name) if isinstance(value.formula, Bare) else value.formula
        how = f" = {short_numbers(formula)}" if formula else ""
        parts.append(f"{value.symbol}{how} = {number}" + (f" ({value.note})" if value.note else ""))
    return "; ".join(parts)


def pressure_text(zone: Zone, units: UnitSystem, *more: Zone) -> str:
    """Pressure of a zone and of further pieces of it, or its range over the polygons."""
    values = np.concatenate(
        [one.pressure[0] + shapely.get_coordinates(one.polygon) @ one.pressure[1:] for one in (zone, *more)]
    )
    low, high = float(values.min()), float(values.max())
    if high - low <= 1e-6 * max(abs(high), 1.0):
        return quantity(high, "pressure", units)
    bounds = column([max(low, 0.0), high], "pressure", units)
    return f"{bounds[0]} to {bounds[1]} {units.label('pressure')}"


def zones_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Every different zone once, with the cases it belongs to."""
    names = analysis.project.roof.planes.name
    found: dict[tuple[object, ...], tuple[Zone, list[int]]] = {}
    for number, case in enumerate(analysis.snow.cases):
        for zone in case.zones:
            key = (
                zone.name,
                zone.plane,
                zone.pressure.tobytes(),
                zone.polygon.wkb,
                zone.clause,
                zone.formula,
            )
            found.setdefault(key, (zone, []))[1].append(number + 1)
    common = _common([zone for zone, _ in found.values()])
    rows = []
    for zone, cases in list(found.values())[:ZONES_SHOWN]:
        rows.append(
            (
                zone.name,
                names[zone.plane],
                number_ranges(cases),
                pressure_text(zone, units),
                quantity(zone.polygon.area, "area", units),
                zone.clause,
                zone.formula,
                values_text([value for value in zone.values if value not in common], units),
            )
        )
    heads = ("Zone", "Plane", "Cases", "Pressure", "Plan area", "Clause", "Formula", "Values")
    note = "Pressure is vertical, per plan area, before load factors. Where zones overlap, pressures add."
    if len(found) > ZONES_SHOWN:
        note += f" The first {ZONES_SHOWN} of {len(found)} zones."
    if common:
        note = f"The same wherever they appear: {values_text(common, units)}. {note}"
    return Table("Snow zones, each once", heads, "tttnntss", tuple(rows), note=note)


def _common(zones: list[Zone]) -> list[Value]:
    """Values whose symbol means the same wherever it is used, in three zones or more."""
    by_symbol: dict[str, list[Value]] = {}
    for zone in zones:
        for value in zone.values:
            by_symbol.setdefault(value.symbol, []).append(value)
    return [found[0] for found in by_symbol.values() if len(found) >= 3 and len(set(found)) == 1]


def number_ranges(values: list[int]) -> str:
    """Such as "1–3, 5"."""
    parts: list[list[int]] = []
    for value in dict.fromkeys(values):
        if parts and value == parts[-1][-1] + 1:
            parts[-1].append(value)
        else:
            parts.append([value])
    return ", ".join(f"{p[0]}–{p[-1]}" if len(p) > 2 else ", ".join(map(str, p)) for p in parts)


def case_notes(analysis: Analysis) -> tuple[str, ...]:
    """Choices made in the snow cases, each once, with the cases."""
    found: dict[str, list[int]] = {}
    for number, case in enumerate(analysis.snow.cases):
        for note in case.notes:
            found.setdefault(note, []).append(number + 1)
    total = len(analysis.snow.cases)
    return tuple(
        note if len(set(cases)) == total else f"{note} (case {number_ranges(cases)})"
        for note, cases in found.items()
    )


def planes_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Planes of the roof."""
    roof, layout = analysis.project.roof, analysis.project.layout
    planes = roof.planes
    rows = zip(
        planes.name,
        column(planes.slope, "angle", units),
        [f"{12.0 * math.tan(s):.1f}:12" for s in planes.slope],
        [f"{math.degrees(a) % 360.0:.0f}" for a in planes.azimuth],
        column(planes.true_area, "area", units),
        column(planes.plan_area, "area", units),
        [
            ", ".join(n for n, p in zip(layout.row_name, layout.row_plane, strict=True) if p == i) or "–"
            for i in range(planes.count)
        ],
        strict=True,
    )
    area = units.label("area")
    heads = ("Plane", "Slope °", "Pitch", "Falls to °", f"True area {area}", f"Plan area {area}", "Rows")
    note = "Compass direction of the fall, clockwise from north."
    return Table("Planes", heads, "tnnnnnt", tuple(rows), note=note)


def edges_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Edges of the roof."""
    edges = analysis.project.roof.edges
    count = min(edges.count, EDGES_SHOWN)
    rows = zip(
        edges.name[:count],
        [str(kind) for kind in edges.kind[:count]],
        column(edges.length[:count], "length", units),
        column(edges.height[:count], "length", units),
        strict=True,
    )
    length = units.label("length")
    note = "Height of the lower end; of a step, the height of the wall."
    if count < edges.count:
        note += f" The first {count} of {edges.count} edges."
    heads = ("Edge", "Kind", f"Length {length}", f"Height {length}")
    return Table("Edges", heads, "ttnn", tuple(rows), note=note)


def audit_table(analysis: Analysis) -> Table:
    """Self-audit."""
    rows = tuple(
        (p.name, f"{p.error:.1e}", f"{p.bar:.0e}", "yes" if p.met else "NO") for p in analysis.proofs
    )
    marks = tuple("" if p.met else "exceeded" for p in analysis.proofs)
    heads = ("What was compared", "Relative error", "Bar", "Met")
    return Table("What this analysis proves about itself", heads, "tnnt", rows, marks)


def clamps_table(analysis: Analysis, units: UnitSystem) -> Table:
    """Every clamp, or the worst ones of a large roof."""
    layout, limits = analysis.project.layout, analysis.limits
    combined = next(limit for limit in limits if limit.name == "clamp combined")
    single = [
        limit
        for limit in limits
        if limit.target == "clamp" and limit is not combined and (limit.utilization != 0.0).any()
    ]
    over = np.max([np.nan_to_num(limit.utilization, nan=0.0).max(axis=0) for limit in single], axis=0)
    screws = [limit.utilization for limit in single if limit.name.startswith("screw ")]
    single = [limit for limit in single if not limit.name.startswith("screw ")]
    worst = np.fmax(over, np.nan_to_num(combined.utilization, nan=0.0).max(axis=0))
    count, tested = len(layout.clamp_name), read_as_tested(analysis)
    order = np.arange(count)
    caption, note = "All clamps", ""
    if count > CLAMPS_ALL:
        order = np.lexsort((order, -worst, ~combined.unverified))[:CLAMPS_WORST]
        caption = f"The {CLAMPS_WORST} most used of {count} clamps"
        note = "attachments.csv holds all of them."
    case = clamp_cases(analysis)[order]
    states, signed = clamp_states(analysis), signed_along(analysis)
    change = (
        None if analysis.rigid_force is None else along_change(analysis.clamp_force, analysis.rigid_force)
    )
    columns = [
        [layout.clamp_name[i] for i in order],
        [str(int(layout.clamp_seam[i]) + 1) for i in order],
        column(layout.clamp_s[order], "length", units, 4),
        column(analysis.tributary[case, order], "force", units),
        *([column(signed[case, order], "force", units)] if tested else []),
        *(column(limit.demand[case, order], limit.quantity, units) for limit in single),
        *([[_percent(change[i]) for i in order]] if change is not None else []),
        [_used(combined.utilization[q, i]) for q, i in zip(case, order, strict=True)],
        *([[_used(np.stack(screws)[:, q, i]) for q, i in zip(case, order, strict=True)]] if screws else []),
        [str(int(q) + 1) for q in case],
        [states[i] for i in order],
    ]
    demands = tuple(
        f"{_capital(shown_name(analysis, limit).removeprefix('clamp '))} {units.label(limit.quantity)}"
        for limit in single
    )
    if tested:
        demands = (f"F along the seam {units.label('force')}", *demands)
        note += (
            " F is the plain factored force, below 0 where it acts up the slope, the larger of snow at the "
            "rail's axis and at its top; the hand check has that of the height it names. "
            f"{AS_TESTED}"
        )
    heads = (
        "Clamp",
        "Seam",
        f"From row start {units.label('length')}",
        f"Tributary {units.label('force')}",
        *demands,
        *(["F, change from rigid seams, largest of all cases each"] if change is not None else []),
        "Used, combined",
        *(["Used, screws"] if screws else []),
        "Case",
        "Status",
    )
    note += (
        " All numbers of a line are of its case, the one that uses the clamp most; tributary before load "
        "factors, the others factored."
    )
    if SPLICES in unknown_fields(analysis.project):
        note += " Each is of the worse state of the splices, as nobody says whether they pass torsion."
    marks = tuple(_mark(states[i]) for i in order)
    kinds = "tnnn" + "n" * (len(demands) + (change is not None) + bool(screws)) + "nnt"
    return Table(caption, heads, kinds, tuple(zip(*columns, strict=True)), marks, note.strip())


def _percent(share: float) -> str:
    return f"{100.0 * share:+.1f} %"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _used(utilization: Array) -> str:
    return "not known" if np.isnan(utilization).any() else percent(float(utilization.max()))
