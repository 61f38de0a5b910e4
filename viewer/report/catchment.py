"""Where the snow of a hand check lies: its areas, with their corners in a table."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from roofmodel.snow.cases import linear_integral
from roofmodel.surface import shown_origin
from roofmodel.units import UnitSystem
from viewer.quantities import quantity, signed
from viewer.report.tables import Table
from viewer.report.working import Working
from viewer.report.working_parts import Feeder

Array = NDArray[np.float64]

CORNERS = 16  # an area with more is told by its extent
NEAR = 0.01  # corners nearer to each other are one on paper [m]
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
    found, known = list[Piece](), list[Array]()
    fed = [(step.symbol, feeder) for step in working.steps for feeder in step.feeders]
    for k, (symbol, feeder) in enumerate([("T_0", working.own), *fed]):
        rings = _rings(feeder)
        numbers = tuple(tuple(_number(known, corner) for corner in ring) for ring in rings)
        told = tuple(np.array([known[k - 1] for k in ring]) for ring in numbers)
        if feeder.area > 0.0:
            found.append(Piece(f"A{k}", symbol, feeder, told, numbers))
    return tuple(found)


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
    steps, count = [], 0
    for step in working.steps:
        sizes = {f"A{count + k}": feeder.area for k, feeder in enumerate(step.feeders, 1)}
        count += len(sizes)
        names = [name for name, area in sizes.items() if area > 0.0]  # those of `pieces`
        if names:
            told = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
            none = [name for name, area in sizes.items() if not area > 0.0]
            lost = f" ({', '.join(none)} without size)" if none else ""
            words = f"{told} of the drawing and its table above, in this order{lost}."
            steps.append(replace(step, note=f"{words} {step.note}".strip()))
        else:
            steps.append(step)
    return replace(working, steps=tuple(steps))


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
    parts, total = [], 0.0
    for zone in analysis.snow.cases[case].zones:
        if zone.plane != one.plane or one.region.is_empty:
            continue
        shape: BaseGeometry = shapely.intersection(zone.polygon, one.region)
        area = float(shape.area)
        if area < SLIVER * one.region.area:
            continue
        mean = float(linear_integral(np.array([shape], dtype=object), zone.pressure)[0]) / area
        total += mean * area
        words = f"{zone.name} {quantity(mean, 'pressure', units, 4)}"
        center = shape.centroid
        if np.ptp(zone.pressure @ _homogeneous(shape)) > 1e-6 * abs(mean):
            x, y = (
                units.convert(v, "length")
                for v in (
                    np.array([center.x, center.y]) + shown_origin(analysis.project.roof.offset)
                ).tolist()
            )
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
