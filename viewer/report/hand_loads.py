"""Numbers beside the steps of a hand check: loads along the row, and from where drifts are measured."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from fea.checks.governing import Governing
from roofmodel.snow.cases import Zone
from roofmodel.snow.corners import AROUND
from roofmodel.surface import RoofSurface, shown_origin
from roofmodel.units import UnitSystem
from viewer.quantities import column, quantity, signed
from viewer.report.catchment import SLIVER, Piece
from viewer.report.plain_beam import plain_beams, row_lines
from viewer.report.tables import Table
from viewer.report.working import Working
from viewer.report.working_parts import ClampAt
from viewer.report.working_steps import clamp_at

Array = NDArray[np.float64]

SIDE = 3  # pieces of load beside each other in a line
PIECES = 60  # of load that are told: those nearest to the clamp
NAMED = 16  # clamps of a row told one by one
ALONG = re.compile(r"\) x / (\w+)|- x / (\w+)\)")  # the length of a drift in its formula
NEAR = 0.02  # places nearer to each other are one [m]


def loads_table(
    analysis: Analysis, working: Working | None, governing: Governing | None, units: UnitSystem
) -> Table | None:
    """Load per length of the clamp's row, piece by piece, where plain beams are told to compare with."""
    if working is None or governing is None:
        return None
    layout = analysis.project.layout
    clamp = layout.clamp_name.index(working.clamp)
    at = clamp_at(analysis, clamp, governing.case, analysis.limits[governing.limit].name)
    beams = plain_beams(analysis, at)
    if beams is None:
        return None
    snow, beside = row_lines(analysis, at)
    with_beside = bool(beside[:, 2].any())
    parts = [column(snow[:, 2], "line", units, 4)]
    parts += [column(beside[:, 2], "line", units, 4)] if with_beside else []
    runs = _runs(list(zip(*parts, strict=True)))
    away = [abs(float(snow[[a, b], [0, 1]].mean()) - float(layout.clamp_s[clamp])) for a, b in runs]
    told = sorted(np.argsort(away, kind="stable")[:PIECES].tolist())
    bounds = column([snow[runs[k][end], end] for k in told for end in (0, 1)], "length", units, 4)
    cells = [
        (f"{low} to {high}", *(part[runs[k][0]] for part in parts))
        for k, low, high in zip(told, bounds[::2], bounds[1::2], strict=True)
    ]
    wide, side = len(cells[0]), min(SIDE, len(cells))
    high = -(-len(cells) // side)
    cells += [("",) * wide] * (side * high - len(cells))
    rows = tuple(sum((cells[k * high + i] for k in range(side)), ()) for i in range(high))
    heads = (
        f"Along the row {units.label('length')}",
        f"Load {units.label('line')}",
        *([f"From beside {units.label('line')}"] if with_beside else []),
    )
    caption = f"Load per length of row {layout.row_name[layout.clamp_row[clamp]]}, case “{working.case}”"
    note = "Down the slope, before load factors, from the row's left end. "
    note += _places(beams.places, beams.long, units)
    if len(told) < len(runs):
        note += f" The {len(told)} of {len(runs)} pieces nearest to {working.clamp}."
    return Table(
        caption, heads * side, ("t" + "n" * (wide - 1)) * side, rows, note=note + _ends(analysis, at, units)
    )


def _runs(shown: Sequence[object]) -> list[tuple[int, int]]:
    """First and last of each run of equal things."""
    starts = [k for k, one in enumerate(shown) if k == 0 or one != shown[k - 1]]
    return list(zip(starts, [k - 1 for k in [*starts[1:], len(shown)]], strict=True))


def _places(places: Array, long: float, units: UnitSystem) -> str:
    label = units.label("length")
    words = f"The row is {quantity(long, 'length', units, 4)} long"
    if len(places) > NAMED:
        return f"{words}; its clamps stand under Clamps."
    return f"{words}; clamps at {', '.join(column(places, 'length', units, 4))} {label}."


def _ends(analysis: Analysis, at: ClampAt, units: UnitSystem) -> str:
    """Bounds at both ends, where the load is at the rail's top and so they tip clamps too."""
    row = analysis.project.layout.clamp_row[at.clamp]
    bound = analysis.force.end_bound[at.case, row]
    if not (at.top and bound.any()):
        return ""
    left, right = (quantity(float(one), "force", units, 4) for one in bound)
    return f" From beside also on the overhangs, evenly: {left} left, {right} right."


def measured_table(
    analysis: Analysis, working: Working | None, found: Iterable[Piece], units: UnitSystem
) -> Table | None:
    """From which line and how far every drift on the areas of a hand check is measured."""
    if working is None:
        return None
    case = [one.name for one in analysis.snow.cases].index(working.case)
    roof = analysis.project.roof
    rows: dict[tuple[str, ...], None] = {}
    # Slices of a cone around a corner are measured from no line.
    straight = [zone for zone in analysis.snow.cases[case].zones if not zone.name.endswith(AROUND)]
    for piece in found:
        for zone in straight:
            if zone.plane != piece.feeder.plane or piece.feeder.region.is_empty:
                continue
            if zone.polygon.intersection(piece.feeder.region).area >= SLIVER * piece.feeder.region.area:
                line = _measured(roof, zone, units)
                if line:
                    rows[line] = None
    if not rows:
        return None
    note = (
        "x is measured on plan, square to the line and away from it; so is the length. Places are (east, "
        "north), as above."
    )
    heads = ("Drift", "Pressure", "Length", "x = 0 on the line", "Length ends at")
    return Table("From where drifts are measured", heads, "tsstt", tuple(rows), note=note)


def _measured(roof: RoofSurface, zone: Zone, units: UnitSystem) -> tuple[str, ...]:
    """A line of the table; none for snow that is even or has no length in its formula."""
    match = ALONG.search(zone.formula)
    slope = np.array(zone.pressure[1:])
    steep = float(np.linalg.norm(slope))
    symbol = "" if match is None else match[1] or match[2]
    reach = next((value.value for value in zone.values if value.symbol == symbol), None)
    if reach is None or not steep > 0.0 or not reach > 0.0:
        return ()
    corners = shapely.get_coordinates(zone.polygon)
    pressure = zone.pressure[0] + corners @ slope
    falls_to_zero = f"(1 - x / {symbol})" in zone.formula
    start = steep * reach if falls_to_zero else float(pressure.max())
    x = (start - pressure) / steep
    if x.min() < -NEAR or x.max() > reach + NEAR:
        return ()  # another reading of the formula than this one
    way = -slope / steep
    across = np.array([-way[1], way[0]])
    feet = corners - x[:, None] * way
    ends = feet[[int(one) for one in ((feet @ across).argmin(), (feet @ across).argmax())]]
    outline = _outline(roof, zone.plane).buffer(1e-3)
    edge = shapely.intersection(shapely.LineString(ends + reach * way), outline)
    place = _place(shapely.get_coordinates(edge)[0], roof, units) if edge.length > 0.0 else "beyond the plane"
    low = start - steep * reach
    top = quantity(start, "pressure", units, 4)
    words = f"{top} (1 − x / {symbol})"
    if abs(low) > 1e-3 * start:
        words = f"{top} − ({top} − {quantity(low, 'pressure', units, 4)}) x / {symbol}"
    name = _edge(roof, ends, across)
    return (
        zone.name,
        words,
        f"{symbol} = {quantity(reach, 'length', units, 4)}",
        f"{_place(ends[0], roof, units)} to {_place(ends[1], roof, units)}{f', {name}' if name else ''}",
        place,
    )


def _outline(roof: RoofSurface, plane: int) -> BaseGeometry:
    """Outline of a plane on plan."""
    return shapely.transform(roof.planes.outline[plane], lambda uv: roof.planes.to_world(plane, uv)[:, :2])


def _place(xy: Array, roof: RoofSurface, units: UnitSystem) -> str:
    shown = units.convert(1.0, "length") * (xy + shown_origin(roof.offset))
    return f"({', '.join(signed(f'{value:.3f}') for value in shown.tolist())})"


def _edge(roof: RoofSurface, ends: Array, across: Array) -> str:
    """Name of the edge that lies on a line on plan for the longest part of it."""
    way = np.array([across[1], -across[0]])
    span = np.sort(ends @ across)
    found = []
    for name, *both in zip(roof.edges.name, roof.edges.start, roof.edges.end, strict=True):
        points = np.stack(both)[:, :2]
        if np.abs((points - ends[0]) @ way).max() < NEAR:
            low, high = np.sort(points @ across)
            found.append((float(min(high, span[1]) - max(low, span[0])), name))
    most, name = max(found, default=(0.0, ""))
    return name if most > NEAR else ""
