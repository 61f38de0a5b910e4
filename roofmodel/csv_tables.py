"""Tables from CSV files: columns by their heads, numbers with a unit in the head or behind each."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.files import read_file
from roofmodel.units import EXAMPLES, factor, parse, shown

Array = NDArray[np.float64]

LARGEST_FILE = 5_000_000  # [bytes]


@dataclass(frozen=True)
class CsvTable:
    """Columns of a file.

    Attributes
    ----------
    name : str
        The file, for messages.
    text : dict of str to tuple of str
        Columns of words, (n,) each.
    number : dict of str to (n,) float
        Columns of numbers, SI; NaN where an optional cell is empty.
    line : (n,) int
        Line of the file, 1 for the first.
    unit : dict of str to float
        SI value of the unit in the head of each column of numbers; none where each number has its own.
    """

    name: str
    text: dict[str, tuple[str, ...]]
    number: dict[str, Array]
    line: NDArray[np.int64]
    unit: dict[str, float] = field(default_factory=dict)


def read_table(
    path: Path,
    name: str,
    words: tuple[str, ...],
    numbers: Mapping[str, str],
    optional: frozenset[str] = frozenset(),
    *,
    digest: Any = None,
    what: str = "a CSV table",
    also: Mapping[str, str] | None = None,
) -> CsvTable:
    """Read a CSV file.

    Separators are commas, semicolons or tabs; a decimal comma is read where the separator is none. Units may
    also stand in a line of their own below the heads.

    Parameters
    ----------
    path : Path
    name : str
        The file as the project names it.
    words : tuple of str
        Heads of columns of words.
    numbers : mapping of str to str
        Heads of columns of numbers, without unit, and their kind of `roofmodel.units.EXAMPLES`.
    optional : frozenset of str
        Heads that may be missing, and whose cells may be empty.
    digest : hashlib object, optional
        Takes the bytes in.
    what : str
        What the file should be, for messages.
    also : mapping of str to str, optional
        Other heads that stand for the wanted ones.

    Raises
    ------
    InputError
        Names file, line, value, and what would be right.
    """
    data = read_file(path, name, what, LARGEST_FILE)
    if digest is not None:
        digest.update(data)
    separator, lines = _lines(name, data)
    wanted = _wanted(words, numbers, optional)
    if not lines:
        message = f"{name}: is empty; write a line of heads, {wanted}, and one line for each"
        raise InputError(message)
    heads = lines[0][1]
    place = _places(name, heads, words, numbers, optional, wanted, also or {})
    lines, place = _without_units(name, lines, place, numbers)
    if len(lines) == 1:
        message = f"{name}: has heads but nothing below them; write one line for each"
        raise InputError(message)
    text: dict[str, list[str]] = {head: [] for head in words if head in place}
    number: dict[str, list[float]] = {head: [] for head in numbers if head in place}
    for line, cells in lines[1:]:
        if any(cell.strip() for cell in cells[len(heads) :]):
            message = (
                f"{name}, line {line}: has more cells than heads; write decimals with a point, or separate "
                "cells by semicolons"
            )
            raise InputError(message)
        full = [*cells, *[""] * (len(heads) - len(cells))]
        for head, (at, unit) in place.items():
            cell = full[at].strip()
            if not cell and head not in optional:
                message = f"{name}, line {line}: {head}: is empty"
                raise InputError(message)
            if head in text:
                text[head].append(cell)
            else:
                number[head].append(_number(name, line, head, cell, unit, numbers[head], separator))
    return CsvTable(
        name=name,
        text={head: tuple(cells) for head, cells in text.items()},
        number={head: np.array(cells) for head, cells in number.items()},
        line=np.array([line for line, _ in lines[1:]], dtype=np.int64),
        unit={head: unit for head, (_, unit) in place.items() if unit is not None},
    )


def _lines(name: str, data: bytes) -> tuple[str, list[tuple[int, list[str]]]]:
    """Separator, and cells by line number."""
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))  # as spreadsheets save "Unicode text"
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        message = f"{name}: is not text in UTF-8; save the table as CSV (UTF-8)"
        raise InputError(message) from None
    first = next((line for line in text.splitlines() if line.strip()), "")
    if hint := re.fullmatch(
        r'"?sep=([;,\t])"?', first.strip(" \r\n")
    ):  # spreadsheets say it in a line of its own
        text = text.replace(first, "", 1)
        separator = hint[1]
    else:
        # Of equals the first: a semicolon leaves commas to decimals.
        separator = max(";\t,", key=first.count)
    try:
        rows = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True, strict=True)
        return separator, [(rows.line_num, cells) for cells in rows if any(cell.strip() for cell in cells)]
    except csv.Error as error:
        message = f"{name}: is not a CSV table ({error})"
        raise InputError(message) from None


def _wanted(words: tuple[str, ...], numbers: Mapping[str, str], optional: frozenset[str]) -> str:
    heads = [*words, *(f"{head} [{_unit(kind)}]" for head, kind in numbers.items())]
    kept = [head for head in heads if head.split(" [")[0] not in optional]
    return ", ".join(f'"{head}"' for head in kept)


def _unit(kind: str) -> str:
    """A unit of this kind for a head."""
    units = {"length": "m", "size": "mm", "force": "kN", "stress": "MPa"}
    return units.get(kind, EXAMPLES[kind][0])


Place = tuple[int, float | None]


def _places(
    name: str,
    heads: list[str],
    words: tuple[str, ...],
    numbers: Mapping[str, str],
    optional: frozenset[str],
    wanted: str,
    also: Mapping[str, str],
) -> dict[str, Place]:
    """Column of every head, with the SI value of the unit that stands in it."""
    found = [re.fullmatch(r"(.*?)\s*(?:[\[(]\s*(.*?)\s*[\])])?", head.strip()) for head in heads]
    plain = [(match[1] if match else head).strip().lower() for match, head in zip(found, heads, strict=True)]
    plain = [also.get(text, text) for text in plain]
    place: dict[str, Place] = {}
    for head in (*words, *numbers):
        at = [i for i, text in enumerate(plain) if text == head]
        if not at and head in optional:
            continue
        if len(at) != 1:
            many = "there twice" if at else "missing"
            message = f"{name}, line 1: the column {head} is {many}; the heads must be {wanted}"
            raise InputError(message)
        match = found[at[0]]
        unit = match[2] if match else None
        if not unit or head in words:
            place[head] = (at[0], None)
            continue
        try:
            place[head] = (at[0], factor(unit, numbers[head]))
        except ValueError as error:
            message = f"{name}, line 1: {head}: {error}"
            raise InputError(message) from None
    return place


def _without_units(
    name: str, lines: list[tuple[int, list[str]]], place: dict[str, Place], numbers: Mapping[str, str]
) -> tuple[list[tuple[int, list[str]]], dict[str, Place]]:
    """Lines without the one that names the units below the heads, if there is such a line.

    It has a unit, and no number, under every column of numbers that has any text there, and nothing or a dash
    under words.
    """
    if len(lines) < 2:
        return lines, place
    line, cells = lines[1]
    found = {
        head: cells[at].strip().strip("[]()").strip() for head, (at, _) in place.items() if at < len(cells)
    }
    given = {head: text for head, text in found.items() if text.strip("-–—")}
    if not given or any(
        head not in numbers or re.search(r"\d", text.split("^")[0]) for head, text in given.items()
    ):
        return lines, place
    units: dict[str, Place] = {}
    for head, text in given.items():
        at, known = place[head]
        try:
            unit = factor(text, numbers[head])
        except ValueError as error:
            message = f"{name}, line {line}: {head}: {error}"
            raise InputError(message) from None
        if known is not None and abs(unit / known - 1.0) > 1e-9:
            message = f"{name}, line {line}: {head}: the unit {shown(text)} is not the one of line 1"
            raise InputError(message)
        units[head] = (at, unit)
    return [lines[0], *lines[2:]], {**place, **units}


def _number(
    name: str, line: int, head: str, cell: str, unit: float | None, kind: str, separator: str
) -> float:
    if not cell:
        return np.nan
    text = cell
    if separator != "," and re.fullmatch(r"[+-]?\d+,\d+.*", text):
        text = text.replace(",", ".", 1)
    try:
        if unit is None:
            return parse(text, kind)
        value = float(text) * unit
        if not np.isfinite(value):
            raise ValueError
    except ValueError as error:
        wanted = str(error) if unit is None else f"{shown(cell)} is not a number"
        if unit is None and re.fullmatch(r"[+-]?[\d.]+(e[+-]?\d+)?", text, re.IGNORECASE):
            wanted += f', or name the unit in the head, like "{head} [{_unit(kind)}]"'
        message = f"{name}, line {line}: {head}: {wanted}"
        raise InputError(message) from None
    return value
