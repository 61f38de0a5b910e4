"""The inputs of a project as tables: every field, its value in the user's units, defaults marked."""

from __future__ import annotations

import re
from typing import Any, get_args

from pydantic import BaseModel, BeforeValidator

from fea.analysis import Analysis
from fea.checks.limits import rail_resistance
from fea.checks.rail_section import yield_moments
from roofmodel.hardware import DesignFormat, as_tested
from roofmodel.project import field_types, schema
from roofmodel.project.clamp_schema import ClampTable
from roofmodel.units import STANDARD_GRAVITY, UnitSystem, parse
from viewer.quantities import as_given, quantity, significant
from viewer.report.tables import Table
from viewer.report.working_screws import screw_entries

# Kinds of `roofmodel.units` as they are printed; the others go by the same name.
_PRINTED = {
    "area": "section area",
    "section_modulus": "section modulus",
    "second_moment": "second moment",
    "warping_constant": "warping constant",
    "moment": "grip moment",
    "rotational_stiffness": "rotation stiffness",
    "temperature_change": "temperature",
}
_SHAPES = {get_args(field_types.Pitch)[1]: "angle", get_args(field_types.Points)[1]: "points"}
# Values in descriptions of fields, and what they are; in US units they are told in those.
_UNITS = {
    "mm": "size",
    "m": "length",
    "K": "temperature",
    "kN/mm": "stiffness",
    "N/mm^2": "line_stiffness",
    "N/mm^3": "bed_stiffness",
    "kN/m^2": "pressure",
    "kN/m^3": "unit_weight",
    "kg/m^3": "density",
}
_UNIT = "|".join(re.escape(unit) for unit in sorted(_UNITS, key=len, reverse=True))
_NUMBER = r"-?\d+(?:\.\d+)?"
_BOTH = re.compile(rf'"{_NUMBER} K" or "({_NUMBER}) delta_degF"')
_PARSED = {"temperature": "temperature_change"}
_TOLD = re.compile(rf"(?<![\w.,-])((?:{_NUMBER}(?:, | and ))*{_NUMBER}) ({_UNIT})(?![\w/^])")
_SMALL = (schema.PanelTable, schema.RailTable, ClampTable)


def input_tables(project: schema.ProjectFile, units: UnitSystem) -> tuple[Table, ...]:
    """One table for each table of the project file, in its order.

    Parameters
    ----------
    project : ProjectFile
    units : UnitSystem
        With the kinds of hardware.

    Returns
    -------
    tuple of Table
        Tables of one thing list fields; tables of many (rows, parts) list things.
    """
    found: list[Table] = []
    for name in type(project).model_fields:
        value = getattr(project, name)
        if isinstance(value, list):
            found += _many(name, value, units)
        elif isinstance(value, BaseModel):
            found += _one(name, value, units)
    return tuple(found)


def _one(name: str, model: BaseModel, units: UnitSystem) -> list[Table]:
    rows: list[tuple[str, ...]] = []
    later: list[Table] = []
    _fields(model, "", units, rows, later, name)
    missing = ", ".join(row[0] for row in rows if row[1] == "not given")
    rows = [row for row in rows if row[1] != "not given"]
    note = f"Not given: {missing}." if missing else ""
    table = Table(f"[{name}]", ("Field", "Value", "Meaning"), "tts", tuple(rows), note=note, plain_note=True)
    return [table, *later] if rows else later


def _fields(
    model: BaseModel,
    prefix: str,
    units: UnitSystem,
    rows: list[tuple[str, ...]],
    later: list[Table],
    place: str,
) -> None:
    """Append the fields of a model; lists of models become tables of their own."""
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            _fields(value, f"{prefix}{name}.", units, rows, later, place)
        elif isinstance(value, list) and value and isinstance(value[0], BaseModel):
            later += _many(f"{place}.{name}", value, units)
        else:
            rows.append((prefix + name, _marked(model, name, units), meaning(info.description or "", units)))


def meaning(description: str, units: UnitSystem) -> str:
    """Description of a field with its values in the user's units; commands stand in quotes."""
    description = re.sub(r"`([^`]+)`", r"“\1”", description)
    if units.name == "SI":
        return description

    def told(found: re.Match[str]) -> str:
        si = parse(f"1 {found[2]}", _PARSED.get(_UNITS[found[2]], _UNITS[found[2]]))
        kind = _UNITS[found[2]]
        numbers = re.sub(_NUMBER, lambda one: _number(float(one[0]) * si, kind, units), found[1])
        return f"{numbers} {units.label(kind)}"

    return _TOLD.sub(told, _BOTH.sub(r'"\1 °F"', description))


def _number(value: float, kind: str, units: UnitSystem) -> str:
    return significant(units.convert(value, kind), 3)


def _many(name: str, models: list[Any], units: UnitSystem) -> list[Table]:
    """A table with a line for each thing and a column for each field that any of them sets."""
    if not models:
        return []
    fields = list(type(models[0]).model_fields)
    used = [f for f in fields if any(f in m.model_fields_set for m in models)]
    rest = [f for f in fields if f not in used]
    rows = tuple(
        (
            str(number + 1),
            *(_marked(model, f, units) for f in used),
        )
        for number, model in enumerate(models)
    )
    values = [(f, field_text(models[0], f, units)) for f in rest]
    rest_text = "; ".join(f"{f}: {text}" for f, text in values if text not in ("not given", "none"))
    note = f"At their defaults in all: {rest_text}." if rest_text else ""
    return [Table(f"[[{name}]]", ("No.", *used), "t" * (len(used) + 1), rows, note=note, plain_note=True)]


def _marked(model: BaseModel, name: str, units: UnitSystem) -> str:
    """Value of a field, and whether nobody entered it."""
    text = field_text(model, name, units)
    return text if name in model.model_fields_set or text == "not given" else f"{text} (default)"


def field_text(model: BaseModel, name: str, units: UnitSystem) -> str:
    """Value of a field in the user's units."""
    value = getattr(model, name)
    kind = _kind(type(model), name)
    if kind == "length" and isinstance(model, _SMALL):
        kind = "size"
    return _text(value, kind, units)


def _text(value: Any, kind: str | None, units: UnitSystem) -> str:
    if value is None:
        return "not given"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if kind == "points" and not (value and isinstance(value[0], tuple)):
        return "; ".join(_text(ring, kind, units) for ring in value) or "none"
    if kind == "points":
        unit = units.label("length")
        numbers = (as_given(c, "length", units).removesuffix(f" {unit}") for pair in value for c in pair)
        return f"{', '.join(f'{x} {y}' for x, y in zip(numbers, numbers, strict=True))} {unit}"
    if isinstance(value, list):
        if value and isinstance(value[0], BaseModel):
            return "; ".join(
                ", ".join(f"{f} {field_text(item, f, units)}" for f in type(item).model_fields)
                for item in value
            )
        return ", ".join(_text(item, kind, units) for item in value) if value else "none"
    if isinstance(value, float | int):
        return f"{value:g}" if kind is None else as_given(float(value), kind, units)
    return str(value) or "not given"


def _kind(model: type[BaseModel], name: str) -> str | None:
    """Kind of a quantity field from its reader, wherever its annotation holds it."""
    info = model.model_fields[name]
    for found in (*info.metadata, *_validators(info.annotation)):
        if isinstance(found, BeforeValidator):
            kind = _SHAPES.get(found, getattr(found.func, "kind", None))
            if kind is not None:
                return _PRINTED.get(kind, kind)
    return None


def _validators(annotation: Any) -> list[Any]:
    inner = [found for part in get_args(annotation) for found in _validators(part)]
    return [*getattr(annotation, "__metadata__", ()), *inner]


def hardware_table(analysis: Analysis, units: UnitSystem) -> Table:
    """What follows from the inputs for rail, clamp and panel."""
    rail, clamp, panel = analysis.project.rail, analysis.project.clamp, analysis.project.panel
    section, metal = rail.section, rail.material
    form = DesignFormat(analysis.project.table.design.format)
    directions = ("along the seam", "across the seam", "pull-off", "push", "roll", "twist")
    kinds = ("force",) * 4 + ("grip moment",) * 2
    stiff = ("stiffness",) * 3 + ("rotation stiffness",) * 3
    entries: list[tuple[str, float, str]] = [
        ("Rail area", section.area, "section area"),
        ("Second moment, bending down the slope", section.I_z, "second moment"),
        ("Second moment, bending away from the roof", section.I_y, "second moment"),
        ("Torsion constant", section.J, "second moment"),
        ("Section modulus, bending down the slope", section.W_z, "section modulus"),
        ("Section modulus, bending away from the roof", section.W_y, "section modulus"),
        ("Torsion modulus", section.W_t, "section modulus"),
        *(
            (name, value, kind)
            for name, value, kind in (
                ("Product of inertia", section.I_yz, "second moment"),
                ("Shear center up the slope from the centroid", section.center_y, "size"),
                ("Shear center away from the roof from the centroid", section.center_z, "size"),
                ("Warping constant", section.I_w, "warping constant"),
            )
            if value != 0.0
        ),
        *(
            (f"Section modulus that counts in stress, bending {way} alone", value, "section modulus")
            for way, value in zip(
                ("away from the roof", "down the slope"), yield_moments(1.0, section).tolist(), strict=True
            )
            if section.I_yz != 0.0
        ),
        *([("Largest sectorial coordinate", section.omega_max, "section area")] if section.I_w > 0.0 else ()),
        ("Young's modulus", metal.E, "modulus"),
        ("Shear modulus", metal.G, "modulus"),
        ("Rail weight per length", section.area * metal.density * STANDARD_GRAVITY, "line"),
        (f"Design yield stress ({rail.resistance_clause})", rail_resistance(rail, form), "stress"),
        ("Rail axis above the grip", clamp.height, "size"),
        ("Grip above the pan", clamp.grip_height, "size"),
        ("Rail top above the pan", clamp.grip_height + clamp.height + section.lowest_top, "size"),
        *(
            (f"Clamp stiffness, {word}", float(clamp.stiffness[i, i]) if i else as_tested(clamp), stiff[i])
            for i, word in enumerate((*directions[:2], "square to the roof", "roll", "rocking", "twist"))
        ),
        *(
            (f"Clamp design strength, {word}", float(clamp.strength[i]), kinds[i])
            for i, word in enumerate(directions)
        ),
        *screw_entries(analysis),
        ("Design anchorage of a panel strip", panel.anchorage, "force"),
    ]
    rows = tuple((name, quantity(value, kind, units)) for name, value, kind in entries)
    return Table(f"Rail ({rail_words(analysis, units)}), clamp and panel", ("Property", "Value"), "tn", rows)


def rail_words(analysis: Analysis, units: UnitSystem) -> str:
    """Rail in words, such as "round tube, diameter 1.5 in, wall 0.125 in, aluminum"."""
    table = analysis.project.table.rail
    sizes = [
        f"{name} {field_text(table, name, units)}"
        for name in ("diameter", "width", "depth", "wall")
        if getattr(table, name) is not None
    ]
    shape: str = "section by values" if table.shape == "values" else table.shape
    if table.shape == "profile":
        shape = analysis.project.rail.section.label
    return ", ".join((shape, *sizes, table.material))
