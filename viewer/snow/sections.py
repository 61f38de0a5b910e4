"""Sections through drifts and surcharges: down the gradient of their pressure, with all snow beside them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from roofmodel.snow.corners import AROUND
from roofmodel.snow.regions import plan_polygon
from roofmodel.surface import RoofSurface
from roofmodel.usual_units import STANDARD_GRAVITY
from viewer.snow.findings import CaseFinding, Patch, SnowFindings
from viewer.snow.symmetry import dome_planes, stands_for

Array = NDArray[np.float64]

SMALL = 0.05  # zones below this area on plan get no section [m^2]
BESIDE = 0.35  # of a drift's width is drawn on either side of it, at least `LEAST_BESIDE` [-]
LEAST_BESIDE = 1.2  # [m]
TOUCH = 1e-3  # zones closer than this on a line follow each other [m]


@dataclass(frozen=True)
class Layer:
    """One zone over a piece of roof: its index in the findings and its pressure (2,) at both ends. [Pa]."""

    patch: int
    pressure: Array


@dataclass(frozen=True)
class Piece:
    """Roof between two places of a section on which nothing begins or ends.

    Attributes
    ----------
    plane : int
    s : (2,) float
        Plan distance along the section. [m]
    z : (2,) float
        Height of the roof. [m]
    layers : tuple of Layer
        From the roof up.
    """

    plane: int
    s: Array
    z: Array
    layers: tuple[Layer, ...]


@dataclass(frozen=True)
class Section:
    """A section through one zone, and through those of its name that go on along the same line, in one case.

    Attributes
    ----------
    name : str
        Letter of its two ends on the plan.
    patch : int
        The zone that the section was laid through.
    patches : tuple of int
        All zones that it shows; they carry one name and follow each other without a gap.
    case : int
    start : (2,) float
        Where s is 0, an end of the zones. [m]
    way : (2,) float
        Unit plan vector in which s grows: where the pressure of `patch` falls.
    width : float
        Of the zones along the section. [m]
    pressure : (2,) float
        Of the zones at s = 0 and at their other end. [Pa]
    peak : (2,) float
        Where it is largest, and the pressure there. [m, Pa]
    window : (2,) float
        What is drawn, in s. [m]
    pieces : tuple of Piece
    walls : (k, 4) float
        s of the foot of a wall or obstacle, heights of foot and top, and +1 where the roof before it lies
        in the way of s, else -1. [m]
    weight : float
        Snow height times this is its pressure. [N/m^3]
    """

    name: str
    patch: int
    patches: tuple[int, ...]
    case: int
    start: Array
    way: Array
    width: float
    pressure: Array
    peak: Array
    window: Array
    pieces: tuple[Piece, ...]
    walls: Array
    weight: float

    @property
    def own(self) -> tuple[Piece, ...]:
        """Pieces on which the shown zones lie, along s."""
        return tuple(piece for piece in self.pieces if self.own_layer(piece) is not None)

    def own_layer(self, piece: Piece) -> int | None:
        """Number of the layer of a piece that belongs to the shown zones."""
        return next((n for n, layer in enumerate(piece.layers) if layer.patch in self.patches), None)

    @property
    def line(self) -> Array:
        """Ends of what is drawn, on plan, (2, 2). [m]."""
        return self.start + self.window[:, None] * self.way


def snow_sections(findings: SnowFindings) -> tuple[tuple[Section, ...], dict[int, int]]:
    """A section through every drift and surcharge, each once.

    Returns
    -------
    tuple of Section
        In the order of the cases, heaviest zones first.
    dict of int to int
        Index of the section that shows each patch; zones of one name and one pressure field, such as a
        drift that lies on several planes, share the section through the largest.
    """
    roof = findings.project.roof
    plan = np.array([plan_polygon(roof, i) for i in range(roof.planes.count)])
    sections: list[Section] = []
    shown: dict[int, int] = {}
    fields: dict[tuple[str, object], int] = {}
    domes = dome_planes(roof)
    for q in stands_for(findings):
        case = findings.cases[q]
        own = [i for i in case.patches if not findings.patches[i].base]
        for i in sorted(own, key=lambda k: -findings.patches[k].force):
            patch = findings.patches[i]
            field = _field(patch, domes)
            if i in shown or patch.area < SMALL or patch.high <= 0.0:
                continue
            if field not in fields:
                others = [
                    k
                    for k in own
                    if k not in shown
                    and findings.patches[k].area >= SMALL
                    and findings.patches[k].zone.name == field[0]
                ]
                section = _section(findings, (roof, plan), q, i, others, _letters(len(sections)))
                if section is None:
                    continue  # too thin for a line through it
                for k in section.patches:
                    shown[k] = len(sections)
                    fields[_field(findings.patches[k], domes)] = len(sections)
                sections.append(section)
            shown[i] = fields[field]
    return tuple(sections), shown


def _field(patch: Patch, domes: frozenset[int]) -> tuple[str, object]:
    """What zones share that one section shows; all slices around a corner, and all on a dome, have one."""
    zone = patch.zone
    if zone.plane in domes:
        return zone.name, b""
    if zone.name.endswith(AROUND):
        own = tuple(value for value in zone.values if value.symbol != "S balanced")
        return zone.name, own
    return zone.name, np.round(zone.pressure, 6).tobytes()


def _letters(number: int) -> str:
    """A to Z without I and O, then AA and on."""
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, len(alphabet))
        text = alphabet[rest] + text
    return text


def _section(
    findings: SnowFindings,
    where: tuple[RoofSurface, NDArray[np.object_]],
    case: int,
    index: int,
    others: list[int],
    name: str,
) -> Section | None:
    """Section through a patch, longer where others go on; None where no line runs through it."""
    roof, plan = where
    patch, finding = findings.patches[index], findings.cases[case]
    way = _direction(roof, patch)
    start, width = _chord(patch, way)
    members, bounds = _followed([(k, findings.patches[k]) for k in others], index, start, way, width, plan)
    start, width = start + bounds[0] * way, float(np.ptp(bounds))
    beside = max(BESIDE * width, LEAST_BESIDE)
    window = np.array([-beside, width + beside])
    pieces = _pieces(findings, roof, plan, finding, start, way, window)
    profile = [
        (s, p)
        for piece in pieces
        for layer in piece.layers
        if layer.patch in members
        for s, p in zip(piece.s.tolist(), layer.pressure.tolist(), strict=True)
    ]
    if not profile:
        return None
    return Section(
        name,
        index,
        members,
        case,
        start,
        way,
        width,
        np.array([profile[0][1], profile[-1][1]]),
        np.array(max(profile, key=lambda at: at[1])),
        window,
        pieces,
        _walls(roof, start, way, window),
        finding.case.density * STANDARD_GRAVITY,
    )


def _followed(
    others: list[tuple[int, Patch]],
    index: int,
    start: Array,
    way: Array,
    width: float,
    plan: NDArray[np.object_],
) -> tuple[tuple[int, ...], Array]:
    """Patches that go on along a line without a gap, and where all of them begin and end on it. [m]."""
    low_x, low_y, high_x, high_y = shapely.total_bounds(plan)
    reach = float(np.hypot(high_x - low_x, high_y - low_y)) + 1.0
    line = shapely.LineString(start + np.array([[-reach], [reach]]) * way)
    found = {}
    for k, patch in others:
        ranges = _ranges(patch.zone.polygon, line, start, way)
        # A line that only touches the tip of a zone does not show it.
        if len(ranges) and np.ptp(ranges, axis=1).max() > 0.5 * _chord(patch, way)[1]:
            found[k] = ranges
    bounds, members = np.array([0.0, width]), {index}
    grown = True
    while grown:
        grown = False
        for k, ranges in found.items():
            touch = (ranges[:, 0] <= bounds[1] + TOUCH) & (ranges[:, 1] >= bounds[0] - TOUCH)
            if k not in members and touch.any():
                members.add(k)
                bounds = np.array(
                    [min(bounds[0], ranges[touch, 0].min()), max(bounds[1], ranges[touch, 1].max())]
                )
                grown = True
    return tuple(sorted(members)), bounds


def _direction(roof: RoofSurface, patch: Patch) -> Array:
    """Down the gradient; for a uniform zone along its short side, down the slope."""
    gradient = patch.zone.pressure[1:]
    size = float(np.linalg.norm(gradient))
    if size * patch.area**0.5 > 1e-6 * max(patch.high, 1.0):
        return np.asarray(-gradient / size)
    box = shapely.get_coordinates(shapely.oriented_envelope(patch.zone.polygon))
    sides = np.diff(box[:3], axis=0)
    way = sides[int(np.argmin(np.linalg.norm(sides, axis=1)))]
    way = way / max(float(np.linalg.norm(way)), 1e-12)
    azimuth = roof.planes.azimuth[patch.zone.plane]
    fall = np.array([np.sin(azimuth), np.cos(azimuth)])
    return np.asarray(way if way @ fall >= -1e-9 else -way)


def _chord(patch: Patch, way: Array) -> tuple[Array, float]:
    """Start and length of the line down the zone that carries most; the middle one of equals."""
    zone = patch.zone
    across = np.array([-way[1], way[0]])
    corners = shapely.get_coordinates(zone.polygon)
    beside = np.unique(np.round(corners @ across, 9))
    share = np.array([1e-6, 0.25, 0.5, 0.75, 1.0 - 1e-6])
    offsets = (beside[:-1, None] + share * np.diff(beside)[:, None]).ravel()
    offsets = np.append(offsets, patch.centroid @ across)
    along = corners @ way
    far = np.array([along.min() - 1.0, along.max() + 1.0])
    lines = shapely.linestrings(offsets[:, None, None] * across + far[None, :, None] * way)
    parts, of = shapely.get_parts(shapely.intersection(zone.polygon, lines), return_index=True)
    keep = shapely.length(parts) > 1e-9
    parts, of = parts[keep], of[keep]
    if not len(parts):
        return patch.centroid, 0.0
    middle = shapely.get_coordinates(shapely.line_interpolate_point(parts, 0.5, normalized=True))
    carried = shapely.length(parts) * np.maximum(zone.pressure[0] + middle @ zone.pressure[1:], 0.0)
    best = carried >= carried.max() * (1.0 - 1e-6)
    aside = np.where(best, np.abs(offsets[of] - patch.centroid @ across), np.inf)
    chosen = shapely.get_coordinates(parts[int(np.argmin(aside))])
    at = chosen @ way
    return chosen[int(np.argmin(at))], float(np.ptp(at))


def _pieces(
    findings: SnowFindings,
    roof: RoofSurface,
    plan: NDArray[np.object_],
    finding: CaseFinding,
    start: Array,
    way: Array,
    window: Array,
) -> tuple[Piece, ...]:
    line = shapely.LineString(start + window[:, None] * way)
    near = np.flatnonzero(shapely.intersects(plan, line))
    pieces: list[Piece] = []
    for plane in near:
        inside = _ranges(plan[plane], line, start, way)
        zones = [i for i in finding.patches if findings.patches[i].zone.plane == plane]
        ranges = [_ranges(findings.patches[i].zone.polygon, line, start, way) for i in zones]
        cuts = np.concatenate([inside.ravel(), *(r.ravel() for r in ranges)])
        for begin, end in inside:
            at = np.unique(np.round(np.clip(cuts, begin, end), 9))
            for pair in itertools.pairwise(at):
                s = np.array(pair)
                if s[1] - s[0] < 1e-6:
                    continue
                xy = start + s[:, None] * way
                layers = tuple(
                    Layer(i, pressure[0] + xy @ pressure[1:])
                    for i, r in zip(zones, ranges, strict=True)
                    if np.any((r[:, 0] < s.mean()) & (r[:, 1] > s.mean()))
                    for pressure in (findings.patches[i].zone.pressure,)
                )
                pieces.append(Piece(int(plane), s, _height(roof, int(plane), xy), layers))
    return tuple(sorted(pieces, key=lambda piece: (float(piece.s[0]), float(piece.z[0]))))


def _ranges(polygon: Polygon | MultiPolygon, line: shapely.LineString, start: Array, way: Array) -> Array:
    """Where a line lies in a polygon: begin and end (k, 2) in s. [m]."""
    parts = shapely.get_parts(shapely.intersection(polygon, line))
    parts = parts[shapely.length(parts) > 1e-9]
    if not len(parts):
        return np.zeros((0, 2))
    at, owner = shapely.get_coordinates(parts, return_index=True)
    s = (at - start) @ way
    low, high = np.full(len(parts), np.inf), np.full(len(parts), -np.inf)
    np.minimum.at(low, owner, s)
    np.maximum.at(high, owner, s)
    return np.stack([low, high], axis=1)


def _height(roof: RoofSurface, plane: int, xy: Array) -> Array:
    """Height of a plane above plan points (n, 2). [m]."""
    origin, normal = roof.planes.origin[plane], roof.planes.normal[plane]
    return np.asarray(origin[2] - (xy - origin[:2]) @ normal[:2] / normal[2])


def _walls(roof: RoofSurface, start: Array, way: Array, window: Array) -> Array:
    """Walls and faces of obstacles that the section crosses. [m]."""
    steps, obstacles = roof.steps, roof.obstacles
    begin, end = (
        np.concatenate([first, second])
        for first, second in ((steps.start, obstacles.start), (steps.end, obstacles.end))
    )
    if not len(begin):
        return np.zeros((0, 4))
    height = np.concatenate([steps.wall, np.repeat(obstacles.face_height[:, None], 2, axis=1)])
    foot, run = begin[:, :2], (end - begin)[:, :2]
    across = np.array([-way[1], way[0]])
    turn = run @ across
    safe = np.where(np.abs(turn) > 1e-9, turn, np.inf)
    share = (start - foot) @ across / safe
    s = (foot + share[:, None] * run - start) @ way
    met = (share >= -1e-6) & (share <= 1.0 + 1e-6) & (np.abs(turn) > 1e-9)
    met &= (s >= window[0] - 1e-9) & (s <= window[1] + 1e-9)
    z = begin[:, 2] + share * (end - begin)[:, 2]
    top = z + height[:, 0] + share * (height[:, 1] - height[:, 0])
    # The lower roof lies to the left of run.
    side = np.sign(run[:, 0] * way[1] - run[:, 1] * way[0])
    return np.stack([s, z, top, side], axis=1)[met]
