"""Bill of quantities: what must be bought and cut for the rows as they stand."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.hardware import SpliceTorsion
from roofmodel.layout import SpliceKind, rail_lengths
from roofmodel.project.load import Project
from roofmodel.splices import ALIKE, MissingSplices, missing_splices
from roofmodel.units import SYSTEMS
from viewer.files import atomic, safe

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Bill:
    """Pieces of rail and counts of parts.

    Attributes
    ----------
    piece_row : (n,) int
        Row of each piece of rail, row by row from its left end.
    piece_length : (n,) float
        [m]
    bar : (n,) int
        Stock bar that each piece is cut from, -1 without a stock length or where the piece is longer.
    stock : float
        Stock length, NaN for not given. [m]
    bars : int
        Stock bars to buy, 0 without a stock length.
    clamps, splices, ends : (r,) int
        Per row; `ends` are free rail ends.
    rail_mass : float
        Of the rails as cut. [kg]
    """

    piece_row: IntArray
    piece_length: Array
    bar: IntArray
    stock: float
    bars: int
    clamps: IntArray
    splices: IntArray
    ends: IntArray
    rail_mass: float

    @property
    def length(self) -> float:
        """Of all rails as cut. [m]."""
        return float(self.piece_length.sum())

    @property
    def too_long(self) -> IntArray:
        """Pieces that no stock bar gives, (k,)."""
        if np.isnan(self.stock):
            return np.zeros(0, dtype=np.int64)
        return np.flatnonzero(self.piece_length > self.stock + ALIKE)


def bill_of(project: Project) -> Bill:
    """Quantities of a project's rows."""
    layout, rail = project.layout, project.rail
    rows = len(layout.row_name)
    row, length = rail_lengths(layout)
    stock = project.table.rail.stock_length
    stock = np.nan if stock is None else float(stock)
    bar, bars = cut_bars(length, stock)
    return Bill(
        piece_row=row,
        piece_length=length,
        bar=bar,
        stock=stock,
        bars=bars,
        clamps=np.bincount(layout.clamp_row, minlength=rows),
        splices=np.bincount(layout.splice_row, minlength=rows),
        ends=np.full(rows, 2),
        rail_mass=float(length.sum() * rail.section.area * rail.material.density),
    )


def cut_bars(length: Array, stock: float) -> tuple[IntArray, int]:
    """Stock bar (n,) of each piece, and the number of bars.

    The longest first, each into the first bar with room: never more than 11/9 of the least number plus one
    (Johnson 1973, from memory). Saw cuts take no length. A piece longer than the stock gets -1.
    """
    bar = np.full(len(length), -1, dtype=np.int64)
    if np.isnan(stock):
        return bar, 0
    room: list[float] = []
    for piece in np.argsort(-length, kind="stable"):
        need = float(length[piece])
        if need > stock + ALIKE:
            continue
        place = next((b for b, left in enumerate(room) if left >= need - ALIKE), len(room))
        if place == len(room):
            room.append(stock)
        room[place] -= need
        bar[piece] = place
    return bar, len(room)


Line = tuple[str, str, float | int, str, str]  # item, size, quantity, unit, note


def bill_lines(project: Project, bill: Bill) -> list[Line]:
    """Lines of the bill: item, size, quantity, unit and note, in the project's units."""
    units = SYSTEMS[project.table.project.units]
    names = project.layout.row_name
    length = units.label("length")
    mass = (bill.rail_mass, "kg") if units.name == "SI" else (bill.rail_mass / 0.45359237, "lb")
    found: list[Line] = [
        ("rail, total", rail_words(project), round(units.convert(bill.length, "length"), 3), length, ""),
        ("rail, mass as cut", rail_words(project), round(mass[0], 1), mass[1], ""),
    ]
    if not np.isnan(bill.stock):
        waste = 1.0 - float(bill.piece_length[bill.bar >= 0].sum()) / max(bill.bars * bill.stock, 1e-9)
        note = f"offcuts {100.0 * waste:.0f} %; saw cuts not counted" if bill.bars else "no piece fits"
        if len(bill.too_long):
            note += f"; WITHOUT {len(bill.too_long)} of {len(bill.piece_length)} pieces, longer than a bar"
        found.append(("rail, stock bars", units.text(bill.stock, "length"), bill.bars, "pieces", note))
    grouped = np.round(bill.piece_length / ALIKE).astype(np.int64)
    for value in np.unique(grouped)[::-1]:
        same = np.flatnonzero(grouped == value)
        rows = ", ".join(
            f"{names[r]} {n}×" if n > 1 else names[r]
            for r, n in zip(*np.unique(bill.piece_row[same], return_counts=True), strict=True)
        )
        cut = float(bill.piece_length[same].mean())
        note = f"rows {rows}" + ("; longer than the stock" if same[0] in bill.too_long else "")
        found.append(("rail piece", units.text(cut, "length"), len(same), "pieces", note))
    for item, count in (("clamp", bill.clamps), ("splice", bill.splices), ("rail end", bill.ends)):
        if count.sum():
            per_row = ", ".join(f"{name} {n}" for name, n in zip(names, count, strict=True) if n)
            note = f"rows {per_row}"
            if item == "splice" and splice_note(project):
                note = f"{splice_note(project)}; {note}"
            found.append((item, "", int(count.sum()), "pieces", note))
    return found + _haul_lines(project)


def splice_note(project: Project) -> str:
    """What the calculation asks of splices that are not continuous; "" where it asks nothing."""
    hinged = any(kind is not SpliceKind.CONTINUOUS for kind in project.layout.splice_kind)
    if not hinged or project.rail.splice_torsion is not SpliceTorsion.PASSED:
        return ""
    return "screwed or keyed to both pieces, so that they pass torsion on"


def missing_of(project: Project) -> MissingSplices:
    """Splices that the rails of a project need and it does not have."""
    return missing_splices(project.layout, project.table.rail.stock_length)


def splice_caution(project: Project) -> str:
    """What is said wherever rails are ordered, drawn or calculated; "" where no splice is missing."""
    found = missing_of(project)
    if not found.count:
        return ""
    many = "splices are" if found.count > 1 else "splice is"
    return f"At least {found.count} more {many} needed: {_splice_words(project, found)}"


def splice_line(project: Project) -> str:
    """Missing splices in a line, for beside the verdict; "" where none is missing."""
    found = missing_of(project)
    if not found.count:
        return ""
    most = SYSTEMS[project.table.project.units].text(found.longest, "length")
    which = "rail.stock_length" if found.given else "hard to haul"
    return (
        f"At least {found.count} more splice{'s' * (found.count > 1)} needed and NOT in this calculation: "
        f"rails longer than {most} ({which}). Give row.splice_every and check again."
    )


def _splice_words(project: Project, found: MissingSplices) -> str:
    most = SYSTEMS[project.table.project.units].text(found.longest, "length")
    names = project.layout.row_name
    rows = ", ".join(f"{name} {n}" for name, n in zip(names, found.per_row, strict=True) if n)
    many = "pieces of rail are" if len(found.pieces) > 1 else "piece of rail is"
    why = (
        f"longer than rail.stock_length ({most})"
        if found.given
        else f"longer than {most} and hard to haul (rail.stock_length is not given)"
    )
    return (
        f"{len(found.pieces)} {many} {why}. Splices to add: {rows}. They are in no count and not in the "
        "calculation; put them into the project (row.splice_every) and check again."
    )


def _haul_lines(project: Project) -> list[Line]:
    found = missing_of(project)
    if not found.count:
        return []
    most = SYSTEMS[project.table.project.units].text(found.longest, "length")
    note = _splice_words(project, found)
    return [("splice, missing", f"pieces up to {most}", found.count, "pieces", note)]


def rail_words(project: Project) -> str:
    """The rail as it is ordered, in the project's units, such as "round tube 1.66 in x 0.14 in, aluminum"."""
    table, units = project.table.rail, SYSTEMS[project.table.project.units]
    sizes = [s for s in (table.diameter, table.width, table.depth, table.wall) if s is not None]
    words = "profile" if table.shape == "values" else table.shape
    label = units.label("size")
    shown = " x ".join(f"{units.convert(s, 'size'):.4g}" for s in sizes)
    return f"{words} {shown} {label}, {project.rail.material.name}" if sizes else words


NOT_READY = "NOT FOR INSTALLATION"


def warning(analysis: Analysis) -> str:
    """What every file must say at its head where the check does not pass; empty where it does."""
    if analysis.passed:
        return ""
    return (
        f"{NOT_READY}: the check of this project says {analysis.verdict}. Do not order or install from this."
    )


def write_bill(project: Project, bill: Bill, path: Path, warn: str = "") -> None:
    """Write quantities.csv; a warning comes first."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\r\n")
    out.writerow(["item", "size", "quantity", "unit", "note"])
    if warn:
        out.writerow([warn, "", "", "", ""])
    out.writerows([tuple(safe(cell) for cell in line) for line in bill_lines(project, bill)])
    with atomic(path) as temporary:
        temporary.write_bytes(text.getvalue().encode("utf-8-sig"))
