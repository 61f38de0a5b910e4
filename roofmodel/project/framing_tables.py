"""From the tables [[framing]] to purlin lines on the recognized planes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from roofmodel.errors import InputError
from roofmodel.framing import Framing
from roofmodel.hardware import DesignFormat
from roofmodel.project.framing_schema import FramingTable
from roofmodel.project.hardware_tables import design_strength
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import UnitSystem, shown

Array = NDArray[np.float64]

SHORT = 0.05  # shorter purlin lines, as at the tip of a hip, are left out [m]
INSIDE = 1e-3  # lines are sought this far inside the plane [m]
AT_IT = 0.05  # an end this near to a hip or valley rests on its rafter [m]
CARRYING = (EdgeKind.HIP, EdgeKind.VALLEY)
MOST_LINES = 400
LAST = 0.05  # share of the spacing: a line this near to the top is the top line


def make_framing(
    roof: RoofSurface, tables: Sequence[FramingTable], form: DesignFormat, units: UnitSystem
) -> Framing | None:
    """Place purlin lines and frames; None without a table.

    Parameters
    ----------
    roof : RoofSurface
    tables : sequence of FramingTable
    form : DesignFormat
    units : UnitSystem
        For messages.

    Raises
    ------
    InputError
        A plane that is not there or is named twice, lines or frames off their plane, a wrong strength.
    """
    if not tables:
        return None
    names = roof.planes.name
    own = _by_plane(names, tables)
    count = len(names)
    overhang, strength, dead = (np.full(count, np.nan) for _ in range(3))
    frames: list[Array] = [np.zeros(0)] * count
    plane: list[int] = []
    up: list[Array] = []
    for i, table in own.items():
        bounds = roof.planes.outline[i].bounds
        name = f"framing on {names[i]}" if table.plane is None else f'framing "{names[i]}"'
        overhang[i] = table.overhang
        if table.overhang >= bounds[3] and table.plane is not None:
            message = (
                f"{name}.overhang: {units.text(table.overhang, 'length')} is not less than the slope, "
                f"{units.text(bounds[3], 'length')}; measure from the eave to the wall that carries it"
            )
            raise InputError(message)
        overhang[i] = min(table.overhang, bounds[3])
        strength[i] = _strength(table, form)
        dead[i] = np.nan if table.dead_load is None else table.dead_load
        places = _lines(table, bounds[3], name, units)
        plane += [i] * len(places)
        up.append(places)
        frames[i] = _frames(table, bounds[2], name, units)
    return _framing(roof, np.array(plane, dtype=np.int64), up, (overhang, strength, dead), tuple(frames))


def _framing(
    roof: RoofSurface,
    plane: NDArray[np.int64],
    up: list[Array],
    known: tuple[Array, Array, Array],
    frames: tuple[Array, ...],
) -> Framing:
    v = np.concatenate([*up, np.zeros(0)])
    outline = roof.planes.outline
    ends = np.array([_extent(outline[i], place) for i, place in zip(plane, v, strict=True)]).reshape(-1, 2)
    kept = ends[:, 1] - ends[:, 0] >= SHORT
    plane, v, ends = plane[kept], v[kept], ends[kept]
    order = np.lexsort((v, plane))
    plane, v, ends = plane[order], v[order], ends[order]
    held = np.zeros(ends.shape, dtype=bool)
    kinds = np.array(roof.edges.kind)
    for i in np.unique(plane):
        mine = np.any(roof.edges.plane == i, axis=1) & np.isin(kinds, CARRYING)
        lines = shapely.union_all(
            [
                LineString(roof.planes.to_plane(int(i), np.stack([roof.edges.start[e], roof.edges.end[e]])))
                for e in np.flatnonzero(mine)
            ]
        )
        if lines.is_empty:
            continue
        on = plane == i
        tips = np.stack([ends[on], np.repeat(v[on, None], 2, axis=1)], axis=-1)
        held[on] = shapely.distance(shapely.points(tips), lines) <= AT_IT
    overhang, strength, dead = known
    return Framing(overhang, plane, v, ends, held, frames, strength, dead)


def _by_plane(names: tuple[str, ...], tables: Sequence[FramingTable]) -> dict[int, FramingTable]:
    found: dict[int, FramingTable] = {}
    for table in tables:
        if table.plane is not None and table.plane not in names:
            known = ", ".join(names[:12])
            message = f"framing.plane: there is no plane {shown(table.plane)}; this roof has {known}"
            raise InputError(message)
    for several in (True, False):
        for table in tables:
            if (table.plane is None) is not several:
                continue
            planes = range(len(names)) if table.plane is None else [names.index(table.plane)]
            seen = [i for i in planes if i in found and (several or found[i].plane is not None)]
            if seen:
                which = "for all planes" if table.plane is None else f"for plane {shown(table.plane)}"
                message = f"framing: two tables {which}; keep one"
                raise InputError(message)
            found.update(dict.fromkeys(planes, table))
    return found


def _strength(table: FramingTable, form: DesignFormat) -> float:
    if table.moment_strength is None:
        return np.nan
    return float(
        design_strength(
            np.array([table.moment_strength]),
            table.moment_strength_kind,
            table.moment_strength_factor,
            form,
            "framing.moment_strength",
        )[0][0]
    )


def _lines(table: FramingTable, top: float, name: str, units: UnitSystem) -> Array:
    """Places of the purlin lines up the slope, rising; none where a table for all planes reaches none."""
    given = np.unique(np.array(table.purlins, dtype=float))
    first = table.first_purlin if table.purlin_spacing is not None else min(given, default=0.0)
    if first >= top:
        if table.plane is None:
            return np.zeros(0)
        field = "first_purlin" if table.purlin_spacing is not None else "purlins"
        message = (
            f"{name}.{field}: {units.text(first, 'length')} up the slope is beyond the plane, which is "
            f"{units.text(top, 'length')} long"
        )
        raise InputError(message)
    if table.purlin_spacing is None:
        return np.asarray(given[given <= top + INSIDE], dtype=np.float64)
    _few(top / table.purlin_spacing, f"{name}.purlin_spacing", table.purlin_spacing, units)
    steps = int(np.floor((top - first) / table.purlin_spacing + 1e-9))
    lines = first + table.purlin_spacing * np.arange(steps + 1)
    near = top - lines[-1] < LAST * table.purlin_spacing
    return np.asarray(lines if near else np.append(lines, top), dtype=np.float64)


def _few(number: float, field: str, value: float, units: UnitSystem) -> None:
    if number > MOST_LINES:
        shown_value = units.text(value, "length")
        message = f"{field}: {shown_value} gives more than {MOST_LINES} lines; check it and its unit"
        raise InputError(message)


def _frames(table: FramingTable, width: float, name: str, units: UnitSystem) -> Array:
    if table.frame_spacing is not None:
        _few(width / table.frame_spacing, f"{name}.frame_spacing", table.frame_spacing, units)
        places = np.arange(int(np.ceil(width / table.frame_spacing - 1e-9))) * table.frame_spacing
        return np.asarray(np.append(places, width), dtype=np.float64)
    places = np.unique(np.array(table.frames, dtype=float))
    on = places[places <= width + INSIDE]
    if len(places) and len(on) < 2 and table.plane is not None:
        message = (
            f"{name}.frames: {len(on)} of {len(places)} stand on the plane, which is "
            f"{units.text(width, 'length')} wide; purlins need two"
        )
        raise InputError(message)
    return np.asarray(on, dtype=np.float64)


def _extent(outline: shapely.Polygon, v: float) -> tuple[float, float]:
    """Ends of the level line through a plane; a plane with gaps counts from end to end. [m]."""
    low, bottom, high, top = outline.bounds
    place = float(np.clip(v, bottom + INSIDE, top - INSIDE))
    cut = outline.intersection(LineString([(low - 1.0, place), (high + 1.0, place)]))
    return (0.0, 0.0) if cut.is_empty else (cut.bounds[0], cut.bounds[2])
