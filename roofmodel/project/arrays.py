"""Solar arrays of the project file, placed on the recognized roof, and the seams under their clamps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.arrays import SolarArrays
from roofmodel.errors import InputError
from roofmodel.project.array_schema import SolarTable
from roofmodel.project.obstacles import check_on_plane
from roofmodel.project.placement import seam_grid
from roofmodel.project.schema import PlaneChoice
from roofmodel.surface import RoofSurface
from roofmodel.units import UnitSystem, shown

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class _Lines:
    """Lines of clamps of one array, and its seams' angle and zero."""

    seam: IntArray
    u: Array
    reach: Array
    angle: float
    zero: float


def place_arrays(
    roof: RoofSurface,
    tables: Sequence[SolarTable],
    choices: Sequence[PlaneChoice],
    spacing: float,
    units: UnitSystem,
) -> SolarArrays:
    """Lay arrays on their planes and find the seams that carry their clamps.

    Raises
    ------
    InputError
        A plane that is not there, an array that reaches off its plane or lies on something else, one without
        a seam for its clamps, a name used twice.
    """
    if not tables:
        return SolarArrays()
    names = [table.name for table in tables]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        message = f"solar.name: {shown(twice)} is used twice; every array needs its own name"
        raise InputError(message)
    plane = [_plane(roof, table) for table in tables]
    low = np.array([(t.across - 0.5 * t.width, t.up - 0.5 * t.depth) for t in tables])
    high = np.array([(t.across + 0.5 * t.width, t.up + 0.5 * t.depth) for t in tables])
    _refuse_overlaps(roof, tables, plane, low, high, units)
    lines = [
        _lines(roof, t, p, float(a[0]), b, choices, spacing, units)
        for t, p, a, b in zip(tables, plane, low, high, strict=True)
    ]
    number = [len(line.seam) for line in lines]
    return SolarArrays(
        name=tuple(names),
        plane=np.array(plane, dtype=np.int64),
        low=low,
        high=high,
        gap=np.array([t.gap for t in tables]),
        weight=np.array([t.weight for t in tables]),
        dams=np.array([t.snow != "released" for t in tables]),
        passes=np.array([t.gap_passes for t in tables]),
        counted_on=np.array([t.counted_on or 0.0 for t in tables]),
        strength=np.array([np.nan if t.clamp_strength is None else t.clamp_strength for t in tables]),
        clamps_up=np.array([t.clamps_up for t in tables], dtype=np.int64),
        shared=np.array([t.clamps_share for t in tables]),
        line_array=np.repeat(np.arange(len(tables)), number),
        line_seam=np.concatenate([line.seam for line in lines]),
        line_u=np.concatenate([line.u for line in lines]),
        line_reach=np.concatenate([line.reach for line in lines]),
        angle=np.array([line.angle for line in lines]),
        zero=np.array([line.zero for line in lines]),
    )


def _plane(roof: RoofSurface, table: SolarTable) -> int:
    names = roof.planes.name
    if table.plane not in names:
        close = get_close_matches(table.plane, names, 1)
        hint = f"did you mean {shown(close[0])}?" if close else f"there are {', '.join(names[:12])}"
        message = f'solar "{table.name}".plane: {shown(table.plane)} is not on this roof; {hint}'
        raise InputError(message)
    return names.index(table.plane)


def _refuse_overlaps(
    roof: RoofSurface,
    tables: Sequence[SolarTable],
    plane: list[int],
    low: Array,
    high: Array,
    units: UnitSystem,
) -> None:
    """Arrays lie on their plane, beside each other and beside what else stands there."""
    feet = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    known = roof.obstacles
    for k, table in enumerate(tables):
        label = f'solar "{table.name}"'
        check_on_plane(roof, plane[k], feet[k], label, units)
        standing = [
            (known.name[box], shapely.Polygon(roof.planes.to_plane(plane[k], known.start[known.face == box])))
            for box in np.flatnonzero(~known.parapet & (known.plane == plane[k]))
        ]
        standing += [(tables[i].name, feet[i]) for i in range(k) if plane[i] == plane[k]]
        hit = next((name for name, foot in standing if foot.intersection(feet[k]).area > 1e-6), None)
        if hit is not None:
            message = f"{label}: it lies on {shown(hit)}; move one of them, or make two arrays of it"
            raise InputError(message)


def _lines(
    roof: RoofSurface,
    table: SolarTable,
    plane: int,
    left: float,
    top: Array,
    choices: Sequence[PlaneChoice],
    spacing: float,
    units: UnitSystem,
) -> _Lines:
    """Seams that cross the upper edge, every n-th of them, and what each takes of it."""
    angle, first = seam_grid(choices, table.plane, spacing)
    across = np.array([np.cos(angle), -np.sin(angle)])
    zero = float((shapely.get_coordinates(roof.planes.outline[plane]) @ across).min()) + first
    right, v = float(top[0]), float(top[1])
    ends = (np.array([[left, v], [right, v]]) @ across - zero) / spacing
    number = np.arange(np.ceil(ends[0] - 1e-6), np.floor(ends[1] + 1e-6) + 1).astype(np.int64)
    chosen = number[table.clamp_first - 1 :: table.clamp_every]
    if not len(chosen):
        message = (
            f'solar "{table.name}": no clamp; {len(number)} seams pass under it (every '
            f"{units.text(spacing, 'length')}), and clamp_first = {table.clamp_first} and clamp_every = "
            f"{table.clamp_every} leave none; make it wider or move it"
        )
        raise InputError(message)
    u = np.clip((chosen * spacing + zero + v * np.sin(angle)) / np.cos(angle), left, right)
    bounds = np.concatenate([[left], 0.5 * (u[1:] + u[:-1]), [right]])
    return _Lines(chosen, u, np.stack([bounds[:-1], bounds[1:]], axis=1), angle, zero)
