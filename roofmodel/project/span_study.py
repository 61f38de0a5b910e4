"""From the file of a span study to its numbers, SI; ranges such as "4 to 5 kN" become variants."""

from __future__ import annotations

import copy
import hashlib
import itertools
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail
from roofmodel.project.base import Table
from roofmodel.project.hardware_tables import make_clamp, make_panel, make_rail
from roofmodel.project.moment_doubts import moment_doubts
from roofmodel.project.rocking import BOUND, stiffest
from roofmodel.project.schema import RailTable
from roofmodel.project.screw_tables import with_screws
from roofmodel.project.span_schema import LONGEST, SpanFile
from roofmodel.project.strength_doubts import clamp_doubts
from roofmodel.project.tested import check_tested, nominal_doubts
from roofmodel.project.validation import modeled, read_text, read_toml
from roofmodel.units import SYSTEMS, parse

MOST_RANGES = 5
ROCKING_OPEN = "clamp.stiffness.rocking, not given: its default to a clamp that does not tip"
ROCKING_DOUBTED = f"clamp.stiffness.rocking, which lies below {BOUND}: as given to a clamp that does not tip"
OFF_SEAM = 2e-3  # of a span from whole seam spacings: rounding of inches and millimeters [m]
_NUMBER = r"([+-]?[\d.]+(?:[eE][+-]?\d+)?)"
_RANGE = re.compile(rf"\s*{_NUMBER}\s*(\D*?)\s+to\s+{_NUMBER}\s+(\D.*)")  # "4 to 5 kN", "4 kN to 5 kN"


@dataclass(frozen=True)
class Variant:
    """One set of numbers within the ranges of a study.

    Attributes
    ----------
    rails : tuple of Rail
    clamp : Clamp
    panels : tuple of Panel
        One for every seam spacing of the study.
    tables : dict
        Panel, clamp, rail and design as text, to write projects of.
    """

    rails: tuple[Rail, ...]
    clamp: Clamp
    panels: tuple[Panel, ...]
    tables: dict[str, Any]

    @property
    def panel(self) -> Panel:
        """The first: all are alike but for the spacing of their seams."""
        return self.panels[0]


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
        All at their middle first, then every corner of the ranges; then those again, with clamps that do
        not tip, whose stiffness against it nobody gave or cannot be (`roofmodel.project.rocking.stiffest`).
    given : int
        Number of those before the stiff ends.
    inputs : tuple of Path
        The file and the drawings of profiles.
    doubts : tuple of str
        What speaks against the clamp's numbers; nothing is verified before it is settled.
    """

    path: Path
    table: SpanFile
    digest: str
    ranges: tuple[str, ...]
    variants: tuple[Variant, ...]
    given: int
    inputs: tuple[Path, ...]
    doubts: tuple[str, ...] = ()

    @property
    def rocking_open(self) -> bool:
        """Whether nobody gave the clamp's stiffness against tipping, so that both its ends are looked at."""
        return self.table.clamp.stiffness.rocking is None

    @property
    def stiffness_ends(self) -> dict[str, tuple[float, float]]:
        """Least and largest stiffness of the clamp within the ranges, along, across and in pull. [N/m]."""
        names, tables = (
            ("along", "across", "pull"),
            [one.tables["clamp"]["stiffness"] for one in self.variants],
        )
        values = {name: [parse(table[name], "stiffness") for table in tables] for name in names}
        return {name: (min(every), max(every)) for name, every in values.items()}

    @property
    def seams(self) -> tuple[float, ...]:
        """Seam spacings, as the file has them. [m]."""
        return tuple(dict.fromkeys(self.table.panel.seam_spacing))

    def spans(self, seam: float) -> NDArray[np.float64]:
        """Rising spans of the tables on this seam spacing. [m]."""
        return spans_on(self.table, seam)


def spans_on(table: SpanFile, seam: float) -> NDArray[np.float64]:
    """Rising spans of a study that are whole multiples of a seam spacing, (n,). [m]."""
    given = [s for s in table.study.spans if abs(s - max(round(s / seam), 1) * seam) <= OFF_SEAM]
    counted = [
        n * seam
        for n in table.study.seams_per_span
        if all(abs(n * seam - s) > OFF_SEAM for s in given)  # one span, written in both ways
    ]
    return np.unique([*given, *counted])


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
    _refuse_ranges(data, ranges, path.name)
    if len(ranges) > MOST_RANGES:
        message = f"{path.name}: {len(ranges)} ranges; at most {MOST_RANGES}, as every corner is calculated"
        raise InputError(message)
    digest = hashlib.sha256(text.encode())
    middle = [0.5 * (low + high) for _, low, high, _ in ranges]
    corners = list(itertools.product(*((low, high) for _, low, high, _ in ranges))) if ranges else []
    variants: list[Variant] = []
    first: SpanFile | None = None
    doubts: dict[str, str] = {}
    for values in (middle, *corners):
        own = copy.deepcopy(data)
        for (where, _, _, unit), value in zip(ranges, values, strict=True):
            _put(own, where, f"{value!r} {unit}")
        table = modeled(own, path.name, SpanFile)
        first = table if first is None else first
        try:
            variants.append(_variant(table, own, path.parent, digest if not variants else hashlib.sha256()))
            form, units = table.design.format, SYSTEMS[table.study.units]
            doubts |= clamp_doubts(table.clamp, form, variants[-1].rails, units)
            for own_rail, rail in zip(table.rail, variants[-1].rails, strict=True):
                doubts |= moment_doubts(own_rail.name, own_rail, rail, form, units)
            doubts |= nominal_doubts(form, _with_kinds(table))
        except InputError as error:
            message = f"{path.name}: {error}"
            raise InputError(message) from None
    assert first is not None
    _check(first, path.name)
    words = tuple(
        f"{'.'.join(map(str, where))} {low:g} to {high:g} {unit}" for where, low, high, unit in ranges
    )
    given = first.clamp.stiffness.rocking is not None
    stiff = [_stiffer(one, clamp) for one in variants if (clamp := stiffest(one.clamp, given=given))]
    if stiff:
        words += (ROCKING_DOUBTED if given else ROCKING_OPEN,)
    drawings = [
        path.parent / rail.profile.file
        for rail in first.rail
        if rail.profile is not None and rail.profile.file is not None
    ]
    return SpanStudy(
        path,
        first,
        digest.hexdigest(),
        words,
        (*variants, *stiff),
        len(variants),
        (path, *dict.fromkeys(drawings)),
        tuple(doubts.values()),
    )


def _with_kinds(table: SpanFile) -> dict[str, Table | None]:
    """Tables of a study whose strengths have a kind."""
    found: dict[str, Table | None] = {
        "clamp": table.clamp, "clamp.screws": table.clamp.screws, "panel": table.panel,
    }  # fmt: skip
    return found | {f"rail ({rail.name})": rail for rail in table.rail}


def _check(table: SpanFile, name: str) -> None:
    names = [rail.name for rail in table.rail]
    twice = next((one for one in names if names.count(one) > 1), None)
    if twice is not None:
        message = f'{name}: rail.name: "{twice}" is used twice; every rail needs its own name'
        raise InputError(message)
    seams, units = table.panel.seam_spacing, SYSTEMS[table.study.units]
    apart = units.text(OFF_SEAM, "size")
    again = next((s for i, s in enumerate(seams) if any(abs(s - t) <= OFF_SEAM for t in seams[:i])), None)
    if again is not None:
        what = f"{units.text(again, 'size')} is there twice, within {apart}"
        message = f"{name}: panel.seam_spacing: {what}; give each once"
        raise InputError(message)
    every = " or ".join(units.text(seam, "length") for seam in seams)
    for span in table.study.spans:
        counts = [span / seam for seam in seams]
        if all(abs(n - max(round(n), 1)) * seam > OFF_SEAM for n, seam in zip(counts, seams, strict=True)):
            near = sorted({k * s for s in seams for k in (max(int(span / s), 1), int(span / s) + 1)})
            message = (
                f"{name}: study.spans: {units.text(span, 'length')} ends between seams, as "
                f"panel.seam_spacing is {every}; clamps stand on seams: write whole multiples, here "
                f"{' or '.join(units.text(one, 'length') for one in near)}, or study.seams_per_span"
            )
            raise InputError(message)
    for seam in seams:
        own = spans_on(table, seam)
        if not len(own):
            message = (
                f"{name}: study.spans: none is a whole multiple of panel.seam_spacing "
                f"{units.text(seam, 'length')}, so it has no table; add one, or study.seams_per_span"
            )
            raise InputError(message)
        if own[-1] > LONGEST + OFF_SEAM:
            message = (
                f"{name}: study.seams_per_span: {round(own[-1] / seam)} seams of "
                f"{units.text(seam, 'length')} are over {units.text(LONGEST, 'length')}; a rail of a row has "
                f"shorter spans: at most {int(LONGEST / seam)} seams"
            )
            raise InputError(message)
    if not 0.01 < table.study.slope < 1.3:
        message = f'{name}: study.slope: must be between 1 and 74 deg, like "30 deg"'
        raise InputError(message)


def _variant(table: SpanFile, data: dict[str, Any], folder: Path, digest: Any) -> Variant:
    form, units = DesignFormat(table.design.format), SYSTEMS[table.study.units]
    panels = [table.panel.on(seam) for seam in dict.fromkeys(table.panel.seam_spacing)]
    check_tested(table.clamp, panels[0], units)
    fields = RailTable.model_fields
    rails = tuple(
        make_rail(
            RailTable.model_construct(**{name: getattr(rail, name) for name in fields}), form, folder, digest
        )
        for rail in table.rail
    )
    return Variant(
        rails=rails,
        clamp=with_screws(
            make_clamp(table.clamp, form, table.panel.seam_height, units), table.clamp, form, units
        ),
        panels=tuple(make_panel(panel, form) for panel in panels),
        tables={name: data[name] for name in ("panel", "clamp", "rail", "design")},
    )


def _stiffer(variant: Variant, clamp: Clamp) -> Variant:
    """The same with a clamp that is stiffer against tipping."""
    tables = variant.tables
    given = {**tables["clamp"]["stiffness"], "rocking": f"{float(clamp.stiffness[4, 4])!r} N*m/rad"}
    return replace(
        variant,
        clamp=clamp,
        tables={**tables, "clamp": {**tables["clamp"], "stiffness": given}},
    )


def _ranges(
    value: Any, where: tuple[str | int, ...]
) -> list[tuple[tuple[str | int, ...], float, float, str]]:
    if isinstance(value, dict):
        return [one for key, item in value.items() for one in _ranges(item, (*where, key))]
    if isinstance(value, list):
        return [one for key, item in enumerate(value) for one in _ranges(item, (*where, key))]
    found = _RANGE.fullmatch(value) if isinstance(value, str) else None
    if found is None or found[2] not in ("", found[4].strip()):
        return []
    try:
        low, high = float(found[1]), float(found[3])
    except ValueError:
        return []
    return [(where, min(low, high), max(low, high), found[4])]


def _refuse_ranges(
    data: dict[str, Any], ranges: list[tuple[tuple[str | int, ...], float, float, str]], name: str
) -> None:
    """A span, a load or a seam spacing stands for itself: a table has one line or one page for each."""
    found = [where for where, *_ in ranges if where[:2] == ("panel", "seam_spacing")]
    found += [where for where, *_ in _ranges(data.get("study"), ("study",))]
    if found:
        field = ".".join(str(step) for step in found[0] if isinstance(step, str))
        message = f"{name}: {field}: a range says nothing here; write a list, each with its unit"
        raise InputError(message)


def _put(data: Any, where: tuple[str | int, ...], value: str) -> None:
    for step in where[:-1]:
        data = data[step]
    data[where[-1]] = value
