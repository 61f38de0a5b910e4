"""Clamps measured on site: read from a CSV file and put in the place of the designed ones."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.hardware import Panel
from roofmodel.layout import Layout
from roofmodel.project.files import read_file
from roofmodel.project.placement import MOST_CLAMPS
from roofmodel.units import SI, UnitSystem, factor, parse, shown

Array = NDArray[np.float64]

LARGEST_FILE = 5_000_000  # [bytes]
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

    Columns "row" and "along"; the unit of along stands in its head ("along [m]") or behind every number.
    Separators are commas, semicolons or tabs; a decimal comma is read where the separator is none.

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
    data = read_file(path, name, "a CSV file of clamps", LARGEST_FILE)
    if digest is not None:
        digest.update(data)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        message = f"{name}: is not text in UTF-8; save the table as CSV (UTF-8)"
        raise InputError(message) from None
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(";\t,", key=first.count)  # of equals the first: a semicolon leaves commas to decimals
    try:
        table = list(csv.reader(io.StringIO(text), delimiter=separator, strict=True))
    except csv.Error as error:
        message = f"{name}: is not a CSV table ({error})"
        raise InputError(message) from None
    lines = [(n, cells) for n, cells in enumerate(table, 1) if any(cell.strip() for cell in cells)]
    if not lines:
        message = f"{name}: is empty; write a line of heads, row and along [m], and one line for each clamp"
        raise InputError(message)
    row_at, along_at, unit = _heads(name, lines[0][1])
    rows, along = [], []
    for number, cells in lines[1:]:
        if len(cells) <= max(row_at, along_at):
            message = f"{name}, line {number}: has {len(cells)} cells; row and along are wanted"
            raise InputError(message)
        if any(cell.strip() for cell in cells[len(lines[0][1]) :]):
            message = (
                f"{name}, line {number}: has more cells than heads; write decimals with a point, or separate "
                "cells by semicolons"
            )
            raise InputError(message)
        rows.append(cells[row_at].strip())
        along.append(_length(name, number, cells[along_at].strip(), unit, separator))
    if not rows:
        message = f"{name}: has heads but no clamps; write one line for each clamp"
        raise InputError(message)
    return Measured(name, tuple(rows), np.array(along), np.array([n for n, _ in lines[1:]], dtype=np.int64))


def _heads(name: str, cells: list[str]) -> tuple[int, int, float | None]:
    """Columns of row and along, and the unit in the head. [m]."""
    heads = [cell.strip().lower() for cell in cells]
    found = [re.fullmatch(r"along\s*(?:[\[(]\s*(.*?)\s*[\])])?", head) for head in heads]
    along = [i for i, match in enumerate(found) if match]
    rows = [i for i, head in enumerate(heads) if head == "row"]
    if len(rows) != 1 or len(along) != 1:
        wanted = 'give one column "row" and one "along [m]"'
        message = f"{name}, line 1: the heads are {shown(', '.join(cells))}; {wanted}"
        raise InputError(message)
    match = found[along[0]]
    unit = match[1] if match else None
    if not unit:
        return rows[0], along[0], None
    try:
        return rows[0], along[0], factor(unit, "length")
    except ValueError as error:
        message = f"{name}, line 1: along: {error}"
        raise InputError(message) from None


def _length(name: str, line: int, cell: str, unit: float | None, separator: str) -> float:
    text = cell
    if separator != "," and re.fullmatch(r"[+-]?\d+,\d+.*", text):
        text = text.replace(",", ".", 1)
    try:
        if unit is None:
            value = parse(text, "length")
        else:
            value = float(text) * unit
            if not np.isfinite(value):
                raise ValueError
    except ValueError as error:
        wanted = str(error) if unit is None and str(error) else f"{shown(cell)} is not a number"
        message = f"{name}, line {line}: along: {wanted}"
        raise InputError(message) from None
    return value


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
        f"Clamps as measured ({measured.name}): {len(row)} on {len(found)} of {len(names)} rows, where "
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
