"""From the file of a span study to its numbers, SI; ranges such as "4 to 5 kN" become variants."""

from __future__ import annotations

import copy
import hashlib
import itertools
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail
from roofmodel.project.hardware_tables import make_clamp, make_panel, make_rail
from roofmodel.project.schema import RailTable
from roofmodel.project.span_schema import SpanFile
from roofmodel.project.tested import check_tested
from roofmodel.project.validation import modeled, read_text, read_toml
from roofmodel.units import SYSTEMS

MOST_RANGES = 5
OFF_SEAM = 2e-3  # of a span from whole seam spacings: rounding of inches and millimeters [m]
_RANGE = re.compile(r"\s*([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s+to\s+([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s+(\D.*)")


@dataclass(frozen=True)
class Variant:
    """One set of numbers within the ranges of a study.

    Attributes
    ----------
    rails : tuple of Rail
    clamp : Clamp
    panel : Panel
    tables : dict
        Panel, clamp, rail and design as text, to write projects of.
    """

    rails: tuple[Rail, ...]
    clamp: Clamp
    panel: Panel
    tables: dict[str, Any]


@dataclass(frozen=True)
class SpanStudy:
    """A span study, read.

    Attributes
    ----------
    path : Path
    table : SpanFile
        Ranges at their middle.
    digest : str
    ranges : tuple of str
        Such as "clamp.strength.along 4 to 5 kN".
    variants : tuple of Variant
        All at their middle first, then every corner of the ranges.
    inputs : tuple of Path
        The file and the drawings of profiles.
    """

    path: Path
    table: SpanFile
    digest: str
    ranges: tuple[str, ...]
    variants: tuple[Variant, ...]
    inputs: tuple[Path, ...]


def load_study(path: str | Path) -> SpanStudy:
    """Read a span study.

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = read_text(path, "the file of a span study")
    data = read_toml(text, path.name, "write [study], [panel], [clamp] and a [[rail]] for each")
    ranges = [found for name in ("panel", "clamp", "rail") for found in _ranges(data.get(name), (name,))]
    if len(ranges) > MOST_RANGES:
        message = f"{path.name}: {len(ranges)} ranges; at most {MOST_RANGES}, as every corner is calculated"
        raise InputError(message)
    digest = hashlib.sha256(text.encode())
    middle = [0.5 * (low + high) for _, low, high, _ in ranges]
    corners = list(itertools.product(*((low, high) for _, low, high, _ in ranges))) if ranges else []
    variants: list[Variant] = []
    first: SpanFile | None = None
    for values in (middle, *corners):
        own = copy.deepcopy(data)
        for (where, _, _, unit), value in zip(ranges, values, strict=True):
            _put(own, where, f"{value!r} {unit}")
        table = modeled(own, path.name, SpanFile)
        first = table if first is None else first
        try:
            variants.append(_variant(table, own, path.parent, digest if not variants else hashlib.sha256()))
        except InputError as error:
            message = f"{path.name}: {error}"
            raise InputError(message) from None
    assert first is not None
    _check(first, path.name)
    words = tuple(
        f"{'.'.join(map(str, where))} {low:g} to {high:g} {unit}" for where, low, high, unit in ranges
    )
    drawings = [
        path.parent / rail.profile.file
        for rail in first.rail
        if rail.profile is not None and rail.profile.file is not None
    ]
    return SpanStudy(
        path, first, digest.hexdigest(), words, tuple(variants), (path, *dict.fromkeys(drawings))
    )


def _check(table: SpanFile, name: str) -> None:
    names = [rail.name for rail in table.rail]
    twice = next((one for one in names if names.count(one) > 1), None)
    if twice is not None:
        message = f'{name}: rail.name: "{twice}" is used twice; every rail needs its own name'
        raise InputError(message)
    short = min(table.study.spans)
    if short < table.panel.seam_spacing - 1e-9:
        units = SYSTEMS[table.study.units]
        message = (
            f"{name}: study.spans: {units.text(short, 'length')} is less than panel.seam_spacing, "
            f"{units.text(table.panel.seam_spacing, 'length')}; clamps stand on seams"
        )
        raise InputError(message)
    spacing, units = table.panel.seam_spacing, SYSTEMS[table.study.units]
    between = [s for s in table.study.spans if abs(s - round(s / spacing) * spacing) > OFF_SEAM]
    if between:
        count = int(between[0] / spacing)
        low, high = (units.text(n * spacing, "length") for n in (count, count + 1))
        message = (
            f"{name}: study.spans: {units.text(between[0], 'length')} ends between seams, as "
            f"panel.seam_spacing is {units.text(spacing, 'length')}; clamps stand on seams: write whole "
            f"multiples, here {low} or {high}"
        )
        raise InputError(message)
    if not 0.01 < table.study.slope < 1.3:
        message = f'{name}: study.slope: must be between 1 and 74 deg, like "30 deg"'
        raise InputError(message)


def _variant(table: SpanFile, data: dict[str, Any], folder: Path, digest: Any) -> Variant:
    form, units = DesignFormat(table.design.format), SYSTEMS[table.study.units]
    check_tested(table.clamp, table.panel, units)
    fields = RailTable.model_fields
    rails = tuple(
        make_rail(
            RailTable.model_construct(**{name: getattr(rail, name) for name in fields}), form, folder, digest
        )
        for rail in table.rail
    )
    return Variant(
        rails=rails,
        clamp=make_clamp(table.clamp, form, table.panel.seam_height, units),
        panel=make_panel(table.panel, form),
        tables={name: data[name] for name in ("panel", "clamp", "rail", "design")},
    )


def _ranges(
    value: Any, where: tuple[str | int, ...]
) -> list[tuple[tuple[str | int, ...], float, float, str]]:
    if isinstance(value, dict):
        return [one for key, item in value.items() for one in _ranges(item, (*where, key))]
    if isinstance(value, list):
        return [one for key, item in enumerate(value) for one in _ranges(item, (*where, key))]
    found = _RANGE.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        return []
    try:
        low, high = float(found[1]), float(found[2])
    except ValueError:
        return []
    return [(where, min(low, high), max(low, high), found[3])]


def _put(data: Any, where: tuple[str | int, ...], value: str) -> None:
    for step in where[:-1]:
        data = data[step]
    data[where[-1]] = value
