"""Outlines from files: closed lines of DXF drawings, points of CSV tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import LineString, Polygon

from roofmodel.csv_tables import read_table
from roofmodel.errors import InputError
from roofmodel.files import read_file
from roofmodel.profiles.plates import FINE
from roofmodel.shape.drawing import INSUNITS
from roofmodel.units import factor, shown

Array = NDArray[np.float64]

LARGEST = 20_000_000  # [bytes]
SAGITTA = 2e-4  # of arcs cut to chords, share of the drawing's size
MOST_LINES = 5000  # lines of an outline
MOST_PARTS = 200_000  # of a drawing, so that blocks within blocks end
OPEN = 0.02  # of its size that one line's ends may be apart and still be closed
JOINS = 1e-4  # ends of lines nearer than this share of the size meet
DEEPEST = 8  # blocks within blocks
SAME = 1e-6  # share of its area by which an outline drawn twice may differ
INSTEAD = " instead of "  # words by which a user overrules the unit that a drawing says
_SHORT = {"in": 0.0254, "ft": 0.3048, "mm": 1e-3, "cm": 1e-2, "dm": 0.1, "m": 1.0, "yd": 0.9144}
LINES = ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")


def read_outline(path: Path, name: str, unit: str | None, layer: str | None, digest: Any = None) -> Polygon:
    """Outline of a profile from a DXF drawing, or from a CSV file with columns y and z. [m].

    Parameters
    ----------
    path : Path
    name : str
        The file as the project names it.
    unit : str, optional
        Length unit of a drawing that does not say it; "mm instead of in" where it says it wrong.
    layer : str, optional
        Layer of a drawing; all by default.
    digest : hashlib object, optional
        Takes the bytes in.

    Raises
    ------
    InputError
    """
    if path.suffix.lower() == ".csv":
        if unit is not None or layer is not None:
            which = "unit" if unit is not None else "layer"
            message = f"rail.profile.{which}: {name} is a table, whose heads say its unit; leave it out"
            raise InputError(message)
        table = read_table(path, name, (), {"y": "size", "z": "size"}, digest=digest, what="a CSV outline")
        return _polygon([np.stack([table.number["y"], table.number["z"]], axis=1)], name)
    data = read_file(path, name, "a DXF drawing or a CSV outline", LARGEST)
    if digest is not None:
        digest.update(data)
    lines, scale, layers = _lines(path, name, unit, layer)
    try:
        return _polygon([line * scale for line in lines], name)
    except InputError as error:
        if len(layers) < 2:
            raise
        message = f"{error}; it has lines on layers {', '.join(layers[:12])}: name the outline's"
        raise InputError(message) from None


def _lines(
    path: Path, name: str, unit: str | None, layer: str | None
) -> tuple[list[Array], float, list[str]]:
    """Lines, what makes meters of them, and the layers they are on."""
    import ezdxf
    from ezdxf import path as curves

    try:
        document = ezdxf.readfile(path)
        code = int(document.header.get("$INSUNITS", 0))
    except Exception as error:  # readers raise many kinds
        message = (
            f"{name}: is not a DXF drawing that can be read; it is damaged, cut short or of another kind"
        )
        raise InputError(message) from error
    if code and code not in INSUNITS:
        message = (
            f"{name}: says that it is drawn in another unit than {', '.join(_SHORT)} ($INSUNITS is {code}); "
            "set the drawing's unit to the one it is drawn in"
        )
        raise InputError(message)
    scale = _scale(INSUNITS.get(code), unit, name)
    try:
        parts = list(islice(_parts(document.modelspace()), MOST_PARTS))
    except Exception as error:  # blocks that are missing or cannot be placed
        message = f"{name}: a block of the drawing is damaged; draw the outline without blocks"
        raise InputError(message) from error
    placed = [
        (on, one)
        for on, one in parts
        if one.dxftype() in LINES and (layer is None or on.lower() == layer.lower())
    ]
    found = [one for _, one in placed]
    if not found:
        layers = ", ".join(sorted({on for on, _ in parts})[:12]) or "none"
        where = f" on layer {layer}" if layer else ""
        message = f"{name}: holds no lines for an outline{where}; its layers: {layers}"
        raise InputError(message)
    if len(found) > MOST_LINES:
        message = (
            f"{name}: {len(found):,} lines are no outline of a rail (at most {MOST_LINES:,}); name its layer"
        )
        raise InputError(message)
    try:
        made = [curves.make_path(one) for one in found]
        points = np.concatenate([np.array([(p.x, p.y) for p in one.control_vertices()]) for one in made])
        size = float(np.ptp(points, axis=0).max())
        if not 0.0 < size < np.inf:
            raise ValueError
        lines = [np.array([(v.x, v.y) for v in one.flattening(SAGITTA * size)]) for one in made]
    except Exception as error:  # entities with impossible values
        message = f"{name}: a line of the outline is damaged or has no length"
        raise InputError(message) from error
    gap = float(np.linalg.norm(lines[0][0] - lines[0][-1]))
    if len(lines) == 1 and gap > OPEN * size:
        message = (
            f"{name}: its one line is open, {1e3 * gap * scale:.2f} mm between its ends; draw the "
            "outline of the metal and close it (a center line is no outline)"
        )
        raise InputError(message)
    return lines, scale, sorted({on for on, _ in placed})


def _scale(known: float | None, unit: str | None, name: str) -> float:
    """Meters of one unit of a drawing, from what it says of itself and what the user says of it."""
    near = (short for short, size in _SHORT.items() if known and math.isclose(size, known, rel_tol=1e-5))
    said = next(near, f"{known} m")
    right, sure, wrong = (unit or "").partition(INSTEAD)
    try:
        given = known if unit is None else factor(right.strip(), "size")
        denied = factor(wrong.strip(), "size") if sure else None
    except ValueError as error:
        message = f"rail.profile.unit: {error}"
        raise InputError(message) from None
    if given is None:
        message = (
            f'rail.profile.unit is missing; {name} does not say its unit; write unit = "mm" or "in" (in '
            "`eavewright section`: --unit mm)"
        )
        raise InputError(message)
    if known is None or math.isclose(given, known, rel_tol=1e-5):
        return given
    if denied is None or not math.isclose(denied, known, rel_tol=1e-5):
        message = (
            f"rail.profile.unit: {shown(unit)} contradicts {name}, which says {said}; leave the unit out, "
            f'or, if the drawing is wrong, write unit = "{right.strip()}{INSTEAD}{said}"'
        )
        raise InputError(message)
    return given


def _parts(entities: Iterable[Any], layer: str | None = None, depth: int = 0) -> Iterator[tuple[str, Any]]:
    """Layer and entity of all that is drawn, blocks taken apart; on layer 0 of a block the block's layer."""
    for one in entities:
        on = layer if layer is not None and one.dxf.layer == "0" else one.dxf.layer
        if one.dxftype() == "INSERT" and depth < DEEPEST:
            yield from _parts(one.virtual_entities(), on, depth + 1)
        else:
            yield on, one


def _polygon(lines: list[Array], name: str) -> Polygon:
    """One polygon with cells from closed rings and from lines that meet end to end."""
    size = float(np.ptp(np.concatenate(lines), axis=0).max())
    grid = JOINS * size
    rings: list[Array] = []
    loose: list[Array] = []
    for line in _once(lines, grid):
        closed = len(line) > 2 and (len(lines) == 1 or np.linalg.norm(line[0] - line[-1]) <= grid)
        (rings if closed else loose).append(line)
    if loose:
        ends = np.concatenate([[line[0], line[-1]] for line in loose])
        low, high = cKDTree(ends).query_pairs(grid, output_type="ndarray").T
        first = np.arange(len(ends))
        np.minimum.at(first, high, low)
        joined = [
            LineString(np.concatenate([ends[first[2 * k]][None], line[1:-1], ends[first[2 * k + 1]][None]]))
            for k, line in enumerate(loose)
        ]
        faces, _, dangles, _ = shapely.polygonize_full(joined)
        if shapely.get_num_geometries(dangles):
            at = shapely.get_coordinates(dangles)[0]
            message = (
                f"{name}: its lines do not close; one ends near {at[0] * 1e3:.2f}, {at[1] * 1e3:.2f} mm. A "
                "center or dimension line looks so too: put the outline on a layer of its own and name it "
                '(layer = "...", in `eavewright section`: --layer)'
            )
            raise InputError(message)
        rings += [shapely.get_coordinates(part.exterior) for part in shapely.get_parts(faces)]
    polygons = [Polygon(ring) for ring in rings]
    wrong = next((one for one in polygons if not (one.is_valid and one.area > 0.0)), None)
    if wrong is not None or not polygons:
        message = f"{name}: its outline crosses itself or has no area"
        raise InputError(message)
    order: list[Polygon] = []
    for one in sorted(polygons, key=lambda one: -one.area):
        if not any(one.symmetric_difference(seen).area < SAME * one.area for seen in order[-1:]):
            order.append(one)
    outer, inner = order[0], order[1:]
    _check_inside(outer, inner, name)
    if not all(outer.covers(one) for one in inner):
        message = f"{name}: holds several outlines beside each other; keep one profile, or name its layer"
        raise InputError(message)
    _check_cells(outer, inner, name)
    whole = outer.difference(shapely.union_all(inner)) if inner else outer
    if not isinstance(whole, Polygon) or whole.is_empty:
        message = f"{name}: its cells cut the profile in pieces"
        raise InputError(message)
    return whole


def _check_inside(outer: Polygon, inner: list[Polygon], name: str) -> None:
    """Refuse cells that cross or touch the outside: nothing there closes them."""
    thin = FINE * math.sqrt(outer.area)
    for one in inner:
        within = one.intersection(outer).area / one.area
        if within < SAME or (within > 1.0 - SAME and outer.exterior.distance(one.exterior) > thin):
            continue
        y, z = 1e3 * shapely.get_coordinates(shapely.shortest_line(outer.exterior, one.exterior))[0]
        does = "touches" if within > 1.0 - SAME else "crosses"
        message = (
            f"{name}: its inner outline {does} the outer one near {y:.2f}, {z:.2f} mm, where no metal closes "
            "the cell; draw it inside the metal, or the profile open there"
        )
        raise InputError(message)


def _check_cells(outer: Polygon, inner: list[Polygon], name: str) -> None:
    """Refuse a closed line within a cell: metal there would hang in the air, so one of the two is a slip."""
    for k, one in enumerate(inner):  # the larger ones first
        if any(cell.intersection(one).area > SAME * one.area for cell in inner[:k]):
            y, z = 1e3 * shapely.get_coordinates(one.exterior)[0]
            wide, high = 1e3 * np.ptp(shapely.get_coordinates(outer.exterior), axis=0)
            sharp = 1e6 * outer.area > 0.999 * wide * high
            within = shapely.union_all(inner[1:])
            # A frame is far from the profile in it, whose own walls are thin.
            fuller = within.area / inner[0].area > inner[0].area / outer.area
            if sharp and fuller and inner[0].covers(within):
                message = (
                    f"{name}: its outermost closed line, {wide:.4g} x {high:.4g} mm, looks like a drawing "
                    "frame around the profile; put the outline on a layer of its own and name it "
                    '(layer = "...", in `eavewright section`: --layer). If it is the outline, the line '
                    f"near {y:.2f}, {z:.2f} mm lies in a cell, where it encloses nothing: take it out"
                )
                raise InputError(message)
            message = (
                f"{name}: a closed line near {y:.2f}, {z:.2f} mm lies in a cell or across its edge, where it "
                "encloses nothing; take out the one that is no edge of metal, or name the outline's layer"
            )
            raise InputError(message)


def _once(lines: list[Array], grid: float) -> list[Array]:
    """Without lines drawn twice, either way round."""
    kept: dict[bytes, Array] = {}
    for line in lines:
        ends = np.round(line / grid).astype(np.int64)
        kept.setdefault(min(ends.tobytes(), ends[::-1].tobytes()), line)
    return list(kept.values())
