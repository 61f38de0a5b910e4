"""Clamps measured on site: read from a CSV file and put in the place of the designed ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.csv_tables import read_table
from roofmodel.errors import InputError
from roofmodel.hardware import Panel
from roofmodel.layout import Layout
from roofmodel.project.placement import MOST_CLAMPS
from roofmodel.units import SI, UnitSystem, shown

Array = NDArray[np.float64]

AS_MEASURED = "Clamps as measured"  # how the sentence begins that says what was found
OFF_SEAM = 0.15  # a clamp off the seams as planned by more of their spacing is told (judgment) [-]
ON_RAIL = 5e-3  # a tape reads past the end of a rail by so much [m]


@dataclass(frozen=True)
class Measured:
    """Clamps found on site, line by line.

    Attributes
    ----------
    name : str
        The file, for messages.
    row : tuple of str, (n,)
    along : (n,) float
        From the left end of the rail. [m]
    line : (n,) int
        Line of the file, 1 for the first.
    """

    name: str
    row: tuple[str, ...]
    along: Array
    line: NDArray[np.int64]


def read_measured(path: Path, name: str, digest: Any = None) -> Measured:
    """Read a CSV file of clamps.

    Columns "row" and "along" (or "along row", as attachments.csv says it); the unit of along stands in its
    head ("along [m]"), in a line below, or behind every number.

    Parameters
    ----------
    path : Path
    name : str
        The file as the project names it.
    digest : hashlib object, optional
        Takes the bytes in.

    Raises
    ------
    InputError
        Names file, line, value, and what would be right.
    """
    found = read_table(
        path,
        name,
        ("row",),
        {"along": "length"},
        digest=digest,
        what="a CSV file of clamps",
        also={"along row": "along"},  # attachments.csv itself can be filled in on site
    )
    return Measured(name, found.text["row"], found.number["along"], found.line)


def as_found(layout: Layout, measured: Measured, panel: Panel, units: UnitSystem = SI) -> tuple[Layout, str]:
    """The layout with measured clamps in their rows, and what was found, in a sentence.

    Rows that the file does not name keep their planned clamps. A clamp goes to the nearest planned seam.

    Raises
    ------
    InputError
        Unknown row, a place off its rail, two clamps on one seam of a row, too many.
    """
    names = layout.row_name
    known = {name: r for r, name in enumerate(names)}
    for text, number in zip(measured.row, measured.line, strict=True):
        if text not in known:
            have = ", ".join(names[:12])
            message = (
                f"{measured.name}, line {number}: there is no row {shown(text)}; this project has {have}"
            )
            raise InputError(message)
    row = np.array([known[name] for name in measured.row])
    length = layout.row_length
    off = np.flatnonzero((measured.along < -ON_RAIL) | (measured.along > length[row] + ON_RAIL))
    if len(off):
        i = int(off[0])
        message = (
            f"{measured.name}, line {measured.line[i]}: along: {units.text(measured.along[i], 'length')} is "
            f"off the rail of row {names[row[i]]}, which is {units.text(length[row[i]], 'length')} long"
        )
        raise InputError(message)
    s = np.clip(measured.along, 0.0, length[row])
    planned_row, planned_seam, planned_s = layout.clamp_row, layout.clamp_seam, layout.clamp_s
    # Planned clamps give place and direction of the seam count along each rail.
    first = np.searchsorted(planned_row, np.arange(len(names)))
    last = np.searchsorted(planned_row, np.arange(len(names)), side="right") - 1
    way = (layout.row_end - layout.row_start) / length[:, None]
    across = np.stack([np.cos(layout.seam_angle), -np.sin(layout.seam_angle)], axis=1)
    rate = np.sum(way * across, axis=1) / panel.seam_spacing  # seams per length of rail
    place = planned_seam[first[row]] + (s - planned_s[first[row]]) * rate[row]
    seam = np.rint(place).astype(np.int64)
    order = np.lexsort((s, row))
    row, s, seam, place, line = row[order], s[order], seam[order], place[order], measured.line[order]
    twice = np.flatnonzero((np.diff(row) == 0) & (np.diff(seam) == 0))
    if len(twice):
        i = int(twice[0])
        message = (
            f"{measured.name}, line {line[i + 1]}: the clamp at {units.text(s[i + 1], 'length')} of row "
            f"{names[row[i]]} is on the seam of the one at {units.text(s[i], 'length')} (line {line[i]}); "
            f"seams are {units.text(panel.seam_spacing, 'length')} apart"
        )
        raise InputError(message)
    found = np.unique(row)
    kept = ~np.isin(planned_row, found)
    rows = np.concatenate([planned_row[kept], row])
    along = np.concatenate([planned_s[kept], s])
    seams = np.concatenate([planned_seam[kept], seam])
    if len(rows) > MOST_CLAMPS:
        message = f"{measured.name}: {len(rows):,} clamps in all, more than {MOST_CLAMPS:,}"
        raise InputError(message)
    order = np.lexsort((along, rows))
    rows, along, seams = rows[order], along[order], seams[order]
    count = np.bincount(rows, minlength=len(names))
    planned = (last - first + 1)[found].sum()
    drift = np.abs(place - seam) * panel.seam_spacing
    sentence = (
        f"{AS_MEASURED} ({measured.name}): {len(row)} on {len(found)} of {len(names)} rows, where "
        f"{planned} are planned; at most {units.text(float(drift.max()), 'size')} off the seams as planned."
    )
    if (drift > OFF_SEAM * panel.seam_spacing).any():
        worst = int(np.argmax(drift))
        sentence += (
            f" Line {line[worst]}, row {names[row[worst]]}, is far from any: check panel.seam_spacing, "
            "first_seam and from where the tape was held."
        )
    return replace(
        layout,
        clamp_name=tuple(
            f"{name}-{n:02d}" for name, k in zip(names, count, strict=True) for n in range(1, k + 1)
        ),
        clamp_row=rows,
        clamp_s=along,
        clamp_uv=layout.row_start[rows] + along[:, None] * way[rows],
        clamp_seam=seams,
    ), sentence
