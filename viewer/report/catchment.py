"""Where the snow of a hand check lies: its areas, with their corners in a table."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from roofmodel.snow.cases import Value, Zone, linear_integral
from roofmodel.surface import shown_origin
from roofmodel.units import UnitSystem
from viewer.quantities import quantity, signed
from viewer.report.tables import Table, pressure_text, values_text
from viewer.report.working import Working, alike
from viewer.report.working_parts import Feeder, Step

Array = NDArray[np.float64]

CORNERS = 16  # an area with more is told by its extent
NEAR = 0.01  # corners nearer to each other are one on paper [m]
TWICE = (
    "Part of this snow is in a step above too: it comes by the flow or leans here; as nobody knows which, "
    "both count in full (upper bound)."
)
SLIVER = 1e-3  # part of an area below which a zone is not told [-]
MEANS = 2e-3  # so much the means over strips may differ from the zones and nobody need be told [-]


@dataclass(frozen=True)
class Piece:
    """One area: its name, the step's symbol, whose snow, rings of corners and their numbers.

    `corners` are (k, 2) each, on plan [m], none for an area too intricate; `numbers` count the corners of all
    areas, those at one place once.
    """

    name: str
    symbol: str
    feeder: Feeder
    corners: tuple[Array, ...]
    numbers: tuple[tuple[int, ...], ...]


def pieces(working: Working | None) -> tuple[Piece, ...]:
    """The clamp's own strip, A0, and areas of all steps that add up what planes send, in their order."""
    if working is None:
        return ()
    found, known = dict[str, Piece](), list[Array]()
    fed = zip(_step_names(working), (step for step in working.steps if step.feeders), strict=True)
    areas = [("A0", "T_0", working.own)]
    areas += [(n, step.symbol, f) for names, step in fed for n, f in zip(names, step.feeders, strict=True)]
    for name, symbol, feeder in areas:
        if name in found:
            one = found[name]
            found[name] = replace(one, symbol=f"{one.symbol}, {symbol}")
        elif feeder.area > 0.0:
            numbers = tuple(tuple(_number(known, corner) for corner in ring) for ring in _rings(feeder))
            told = tuple(np.array([known[k - 1] for k in ring]) for ring in numbers)
            found[name] = Piece(name, symbol, feeder, told, numbers)
    return tuple(found.values())


def _step_names(working: Working) -> list[list[str]]:
    """Names of the areas of every step that has some; an area of an earlier step keeps its name."""
    named, names, count = list[tuple[str, Feeder]](), list[list[str]](), 0
    for step in working.steps:
        own = []
        for feeder in step.feeders:
            count += 1
            before = next((name for name, other in named if _one_area(feeder, other)), "")
            own.append((before or f"A{count}", feeder))
        named += own
        if own:
            names.append([name for name, _ in own])
    return names


def _one_area(one: Feeder, other: Feeder) -> bool:
    """Whether two steps count the same snow."""
    if one.plane != other.plane or abs(one.area - other.area) > SLIVER * one.area or one.area <= 0.0:
        return False
    apart = shapely.symmetric_difference(one.region, other.region)
    return bool(apart.area <= SLIVER * one.region.area)


def _shared(one: Feeder, other: Feeder) -> bool:
    """Whether some snow is in both."""
    if one.plane != other.plane or min(one.area, other.area) <= 0.0:
        return False
    return bool(shapely.intersection(one.region, other.region).area > 0.01 * one.region.area)


def _rings(feeder: Feeder) -> tuple[Array, ...]:
    """Corners of the parts of an area; none where there are too many, or holes in it."""
    parts = [part for part in shapely.get_parts(feeder.region) if part.geom_type == "Polygon"]
    parts = [part for part in parts if part.area > SLIVER * feeder.region.area]
    rings = [shapely.get_coordinates(shapely.simplify(part.exterior, NEAR))[:-1] for part in parts]
    if any(len(part.interiors) for part in parts) or any(len(ring) > CORNERS for ring in rings):
        return ()
    return tuple(rings)


def _number(known: list[Array], corner: Array) -> int:
    """Number of a corner; a new one is added to those known."""
    near = [k for k, other in enumerate(known) if np.abs(other - corner).max() < NEAR]
    if near:
        return near[0] + 1
    known.append(corner)
    return len(known)


def with_area_names(working: Working | None) -> Working | None:
    """The working with its areas named as in table and drawing, where steps use them."""
    if working is None:
        return None
    steps, all_names, before = list[Step](), iter(_step_names(working)), list[Feeder]()
    for step in working.steps:
        if not step.feeders:
            steps.append(step)
            continue
        sizes = [(n, feeder.area) for n, feeder in zip(next(all_names), step.feeders, strict=True)]
        names = [name for name, area in sizes if area > 0.0]  # those of `pieces`
        twice = TWICE if any(_shared(one, other) for one in step.feeders for other in before) else ""
        before += step.feeders
        if names:
            told = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
            none = [name for name, area in sizes if not area > 0.0]
            lost = f" ({', '.join(none)} without size)" if none else ""
            words = f"{told} of the drawing and its table above, in this order{lost}."
            steps.append(replace(step, note=f"{words} {twice} {step.note}".replace("  ", " ").strip()))
        else:
            steps.append(step)
    return replace(working, steps=tuple(steps))


def strip_table(working: Working | None, units: UnitSystem) -> Table | None:
    """Zones above the governing clamp."""
    if working is None:
        return None
    told: dict[str, Value] = {}
    rows = []
    for zone in working.zones:
        new = [value for value in zone.zone.values if told.get(value.symbol) != value]
        told |= {value.symbol: value for value in new}
        name, count = zone.zone.name, len(zone.pieces)
        rows.append(
            (
                f"{name}, {count} pieces" if count > 1 else name,
                quantity(zone.pressure, "pressure", units, 4),
                quantity(zone.run, "length", units, 4),
                pressure_text(zone.zone, units, *zone.pieces[1:]),
                zone.zone.clause,
                zone.zone.formula,
                values_text(new, units),
            )
        )
    heads = ("Zone", "p, mean", "b, mean", "Pressure of the zone", "Clause", "Formula", "Values")
    caption = f"Snow straight above {working.clamp}, case “{working.case}”"
    note = "A value stands where it first holds, and holds in the zones below until it is told anew."
    return Table(caption, heads, "tnnntss", tuple(rows), note=note if len(rows) > 1 else "")


def catchment_table(
    analysis: Analysis, working: Working | None, found: tuple[Piece, ...], units: UnitSystem
) -> Table | None:
    """Corners, areas and pressures of `pieces`: the clamp's own strip and what comes from beside it."""
    if working is None or not found:
        return None
    planes, origin = analysis.project.roof.planes, shown_origin(analysis.project.roof.offset)
    case = [one.name for one in analysis.snow.cases].index(working.case)
    friction = analysis.project.slide.friction
    rows = []
    for piece in found:
        one = piece.feeder
        rows.append(
            (
                piece.name,
                piece.symbol,
                planes.name[one.plane],
                quantity(one.area, "area", units, 4),
                quantity(one.pressure, "pressure", units, 4),
                quantity(one.slope, "angle", units, 4),
                quantity(one.force(friction), "force", units, 4),
                f"{_corner_words(piece, origin, units)}. {_snow_words(analysis, case, one, units)}",
            )
        )
    heads = (
        "Area",
        "In step",
        "Plane",
        "A on plan",
        "p, mean",
        "θ",
        "p A (sin θ − μ cos θ)" if friction > 0.0 else "p A sin θ",
        "Where",
    )
    axes = units.label("length")
    note = (
        f"Corners are (east, north) in {axes} on plan, as on the axes of the drawing and in the project "
        "file. An area is half the size of the sum of x y' − x' y over its sides, or that of its triangles. "
        "A zone's pressure is linear: its mean over an area is its pressure at the area's center of gravity."
    )
    caption = f"Where the snow lies that comes to {working.clamp}"
    return Table(caption, heads, "tstnnnnt", tuple(rows), note=note, plain_note=True)


def _corner_words(piece: Piece, origin: Array, units: UnitSystem) -> str:
    one = piece.feeder
    if piece.corners:
        per = units.convert(1.0, "length")
        words = "corners " + ", and ".join(
            " ".join(
                f"{number} ({signed(f'{x:.3f}')}, {signed(f'{y:.3f}')})"
                for number, (x, y) in zip(numbers, (per * (ring + origin)).tolist(), strict=True)
            )
            for numbers, ring in zip(piece.numbers, piece.corners, strict=True)
        )
    elif not one.region.is_empty:
        x0, y0, x1, y1 = (units.convert(v, "length") for v in one.region.bounds + np.tile(origin, 2))
        words = f"inside {x0:.2f} to {x1:.2f} by {y0:.2f} to {y1:.2f}, as drawn"
    else:
        words = "too thin to draw"
    full = float(one.region.area)
    if full > 0.0 and abs(full - one.area) > 5e-3 * one.area:
        size = quantity(full, "area", units, 4)
        words += f"; these hold {size}, of which {100.0 * one.area / full:.1f} % comes here by the flow"
    if one.part < 1.0 - 1e-6:
        words += f"; {one.part:.4f} of its thrust arrives"
    return words


def _snow_words(analysis: Analysis, case: int, one: Feeder, units: UnitSystem) -> str:
    """Zones of the case on an area: mean pressure on what part of it, so that p follows."""
    found: dict[object, list[tuple[Zone, BaseGeometry, float, float]]] = {}
    for zone in analysis.snow.cases[case].zones:
        if zone.plane != one.plane or one.region.is_empty:
            continue
        shape: BaseGeometry = shapely.intersection(zone.polygon, one.region)
        area = float(shape.area)
        if area >= SLIVER * one.region.area:
            weight = float(linear_integral(np.array([shape], dtype=object), zone.pressure)[0])
            found.setdefault(alike(zone), []).append((zone, shape, area, weight))
    parts, total = [], 0.0
    for pieces_of in found.values():
        zone, shape, _, _ = pieces_of[0]
        area, weight = sum(a for *_, a, _ in pieces_of), sum(w for *_, w in pieces_of)
        total += weight
        words = f"{zone.name} {quantity(weight / area, 'pressure', units, 4)}"
        if len(pieces_of) > 1:
            words += f" (mean over {len(pieces_of)} pieces of the drift, each linear)"
        elif np.ptp(zone.pressure @ _homogeneous(shape)) > 1e-6 * weight / area:
            center = np.array([shape.centroid.x, shape.centroid.y]) + shown_origin(
                analysis.project.roof.offset
            )
            x, y = (units.convert(v, "length") for v in center.tolist())
            words += f" (at its center {signed(f'{x:.2f}')}, {signed(f'{y:.2f}')})"
        if area < (1.0 - SLIVER) * one.region.area:
            words += f" on {quantity(area, 'area', units, 4)}"
        parts.append(words)
    if not parts:
        return ""
    mean = total / float(one.region.area)
    words = "Snow: " + " + ".join(parts)
    if abs(mean - one.pressure) > MEANS * one.pressure:
        words += (
            f"; together {quantity(mean, 'pressure', units, 4)} over these corners, where the flow, with one "
            "mean for each cell of its mesh, has p"
        )
    return words


def _homogeneous(shape: BaseGeometry) -> Array:
    xy = shapely.get_coordinates(shape)
    return np.stack([np.ones(len(xy)), xy[:, 0], xy[:, 1]])
