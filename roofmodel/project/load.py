"""From the project file to everything the calculation needs, in SI."""

from __future__ import annotations

import difflib
import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from roofmodel.errors import InputError
from roofmodel.framing import Framing
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail, SeamDetail
from roofmodel.layout import Layout, no_rows
from roofmodel.project.arrays import place_arrays
from roofmodel.project.as_built import as_found, read_measured
from roofmodel.project.files import read_file
from roofmodel.project.framing_tables import make_framing
from roofmodel.project.hardware_tables import make_clamp, make_panel, make_rail
from roofmodel.project.import_schema import ImportedRoof
from roofmodel.project.obstacles import place_obstacles
from roofmodel.project.part_tables import built_roof
from roofmodel.project.placement import check_grips, place_rows
from roofmodel.project.schema import BuiltRoof, ProjectFile, RoofFile, RowTable
from roofmodel.project.seam_tables import make_seam
from roofmodel.project.sites import SITES, make_site
from roofmodel.project.standing import with_what_stands
from roofmodel.project.tested import check_tested
from roofmodel.sliding.thrust import SlideOptions, ValleyThrust
from roofmodel.snow.inputs import Site
from roofmodel.surface import RoofSurface
from roofmodel.units import SYSTEMS, shown

LEAST_GRIP = 1e-3  # of seam above the grip's lower end, where the seam is modeled (judgment) [m]
Model = TypeVar("Model", bound=BaseModel)

LARGEST_FILE = 1_000_000  # a project file is a few kilobytes [bytes]


@dataclass(frozen=True)
class Project:
    """A project, read and understood.

    Attributes
    ----------
    path : Path
        The project file.
    table : ProjectFile
        What it says, SI.
    digest : str
        SHA-256 of the project file and of the imported roof, so that a result can be reproduced; empty
        once `with_rows` has moved rows.
    roof, site, rail, clamp, panel, seam, layout, slide
        Inputs of the calculation; seam is None without its table.
    framing : Framing or None
        What carries the roof, if the user says it.
    """

    path: Path
    table: ProjectFile
    digest: str
    roof: RoofSurface
    site: Site
    rail: Rail
    clamp: Clamp
    panel: Panel
    seam: SeamDetail | None
    layout: Layout
    slide: SlideOptions
    framing: Framing | None = None

    @property
    def inputs(self) -> tuple[Path, ...]:
        """The project file and every file it names; no output may take their place."""
        table = self.table
        named = [table.roof.file] if isinstance(table.roof, ImportedRoof) else []
        named += [] if table.as_built is None else [table.as_built.file]
        drawn = None if table.rail.profile is None else table.rail.profile.file
        named += [] if drawn is None else [drawn]
        return (self.path, *(self.path.parent / name for name in named))


def load_project(path: str | Path, *, rows_needed: bool = True, rows_count: bool = True) -> Project:
    """Read a project file, build or import its roof and place its rows.

    Parameters
    ----------
    path : str or Path
        TOML file.
    rows_needed : bool
        Whether a project without rows is refused; if not, its layout is empty.
    rows_count : bool
        Whether rows are placed; if not, the layout is empty and rows that do not fit are no error.

    Returns
    -------
    Project

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = read_text(path)
    table = parse_project(text, path.name)
    digest = hashlib.sha256(text.encode())
    return _assemble(table, path, digest, rows_needed=rows_needed, rows_count=rows_count)


def edited_project(known: Project, data: Mapping[str, Any]) -> Project:
    """A project with other content, for what is tried out before it is saved.

    Parameters
    ----------
    known : Project
        Its path counts, and its roof is taken over where the table `roof` is the same.
    data : mapping
        Content of a project file, as a TOML reader gives it.

    Returns
    -------
    Project
        Without a digest, as no file holds it.

    Raises
    ------
    InputError
    """
    table = modeled(data, known.path.name, ProjectFile)
    if table.as_built is not None and table.row != known.table.row:
        message = f"{known.path.name}: {_MEASURED}"
        raise InputError(message)
    roof = known.roof if table.roof == known.table.roof else None
    return replace(_assemble(table, known.path, hashlib.sha256(), roof), digest="")


_MEASURED = "as_built: its clamps were measured where the rows stand; take it out to move rows"


def _assemble(
    table: ProjectFile,
    path: Path,
    digest: Any,
    roof: RoofSurface | None = None,
    *,
    rows_needed: bool = True,
    rows_count: bool = True,
) -> Project:
    """Everything in SI; a roof that is known is not read again."""
    try:
        if rows_needed and not table.row:
            message = "row is missing; add [[row]] and its fields below it (`eavewright plan` can)"
            raise InputError(message)
        roof = _read_roof(table, path, digest) if roof is None else roof
        form = DesignFormat(table.design.format)
        panel, units = make_panel(table.panel, form), SYSTEMS[table.project.units]
        roof = replace(roof, obstacles=place_obstacles(roof, table.parapet, table.obstruction, units))
        roof = replace(roof, arrays=place_arrays(roof, table.solar, table.plane, panel.seam_spacing, units))
        check_tested(table, units)
        least = 0.0 if table.seam is None else LEAST_GRIP
        clamp = make_clamp(table.clamp, form, table.panel.seam_height, units, least)
        placed = rows_count and bool(table.row)
        layout = place_rows(roof, table.row, table.plane, panel, units) if placed else no_rows()
        if table.as_built is not None and rows_count:
            measured = read_measured(path.parent / table.as_built.file, table.as_built.file, digest)
            layout, found = as_found(layout, measured, panel, units)
            roof = replace(roof, notes=tuple(dict.fromkeys((*roof.notes, found))))
        check_grips(layout, clamp.grip_length, units)
        return Project(
            path=path,
            table=table,
            digest=digest.hexdigest(),
            roof=roof,
            site=make_site(table, roof.planes.name),
            rail=make_rail(table.rail, form, path.parent, digest),
            clamp=clamp,
            panel=panel,
            seam=None if table.seam is None else make_seam(table.seam, table.panel, form, units),
            layout=layout,
            slide=SlideOptions(
                friction=table.surface.friction,
                strip_width=table.analysis.strip_width,
                valley=ValleyThrust(table.analysis.valley_thrust),
                valley_spread=table.analysis.valley_spread,
                spread_angle=table.analysis.spread_angle,
            ),
            framing=make_framing(roof, table.framing, form, units),
        )
    except InputError as error:
        message = f"{path.name}: {SYSTEMS[table.project.units].reworded(str(error))}"
        raise InputError(message) from None


def with_rows(project: Project, rows: Sequence[RowTable]) -> Project:
    """The same project with other rows, its roof and hardware as they are.

    Parameters
    ----------
    project : Project
    rows : sequence of RowTable
        All rows, in place of those of the file.

    Returns
    -------
    Project
        Its digest is empty: no file says what it holds.

    Raises
    ------
    InputError
        One line that names the field, the value and what would be right.
    """
    names = [row.name for row in rows]
    twice = next((name for name in names if names.count(name) > 1), None)
    if not rows or twice is not None:
        message = "row: give at least one" if not rows else f'row.name: "{twice}" is used twice'
        raise InputError(message)
    if project.table.as_built is not None:
        if list(rows) == list(project.table.row):
            return project
        raise InputError(_MEASURED)
    units = SYSTEMS[project.table.project.units]
    layout = place_rows(project.roof, rows, project.table.plane, project.panel, units)
    check_grips(layout, project.clamp.grip_length, units)
    table = project.table.model_copy(update={"row": list(rows)})
    return replace(project, table=table, layout=layout, digest="")


def load_roof(path: str | Path) -> tuple[RoofSurface, RoofFile, str]:
    """Build or import the roof of a project file; its other tables may be missing or wrong.

    Returns
    -------
    roof : RoofSurface
    table : RoofFile
        Title, units and roof as the file gives them.
    digest : str
        As in `Project`.

    Raises
    ------
    InputError
    """
    path = Path(path)
    text = read_text(path)
    table = validated(text, path.name, RoofFile)
    digest = hashlib.sha256(text.encode())
    try:
        roof = _read_roof(table, path, digest)
        return (
            with_what_stands(roof, tomllib.loads(text), SYSTEMS[table.project.units]),
            table,
            digest.hexdigest(),
        )
    except InputError as error:
        message = f"{path.name}: {SYSTEMS[table.project.units].reworded(str(error))}"
        raise InputError(message) from None


def read_text(path: Path, what: str = "the project file") -> str:
    """Text of a TOML file. Raises InputError."""
    data = read_file(path, path.name or str(path), what, LARGEST_FILE)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        message = f"{path.name}: is not text in UTF-8; {what} is TOML text"
        raise InputError(message) from None


def parse_project(text: str, name: str) -> ProjectFile:
    """Validate the text of a project file; `name` is for messages. Raises InputError."""
    return validated(text, name, ProjectFile)


def validated(text: str, name: str, model: type[Model], empty: str = "") -> Model:
    """The tables of a TOML text after a model; `empty` says how to begin a file. Raises InputError."""
    try:
        data = tomllib.loads(text)
    except RecursionError:
        message = f"{name}: is not valid TOML: nested too deep"
        raise InputError(message) from None
    except ValueError as error:
        message = f"{name}: is not valid TOML: {_toml_reason(str(error), text)}"
        raise InputError(message) from None
    if not data:
        empty = empty or f"`eavewright new gable --out {name}` writes a project to start from"
        message = f"{name}: is empty; {empty}"
        raise InputError(message)
    return modeled(data, name, model)


def modeled(data: Mapping[str, Any], name: str, model: type[Model]) -> Model:
    """Tables that are read already, after a model; `name` is for messages. Raises InputError."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        problems = error.errors()
        # An unknown field explains a missing one better than the other way round.
        first = next((p for p in problems if p["type"] == "extra_forbidden"), problems[0])
        more = len(problems) - 1
        tail = f" (and {more} more to mend)" if more else ""
        root = ProjectFile if model is RoofFile else model
        message = f"{name}: {_explain(first, data, root)}{tail}"
        raise InputError(message) from None


def _toml_reason(reason: str, text: str) -> str:
    """Message of the TOML reader in plain words, with the line it is about, so that the field is named."""
    if reason.startswith("Exceeds the limit"):
        return "a whole number has thousands of digits; write numbers such as 1.33"
    reason = re.sub(r"\('([^()]*)',?\)", lambda found: f"[{found[1]}]".replace("', '", "."), reason)
    found = re.search(r"at line (\d+)", reason)
    lines = text.splitlines()
    if found is None or not 1 <= int(found[1]) <= len(lines) or not lines[int(found[1]) - 1].strip():
        return reason
    return f"{reason}; the line reads: {shown(lines[int(found[1]) - 1])[1:-1]}"


# What would be right, by pydantic's kind of error; {} is taken from its context.
_RIGHT = {
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "bool_type": "must be true or false, without quotes",
    "int_type": "must be a whole number, without quotes",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number, without quotes or unit",
    "finite_number": "must be a finite number",
    "greater_than": "must be greater than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be below {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "too_short": "needs at least {min_length}",
    "too_long": "takes at most {max_length}",
}


def _explain(problem: Mapping[str, Any], data: Mapping[str, Any], root: type[BaseModel]) -> str:
    path, model = _where(problem["loc"], data, root)
    kind, value, context = problem["type"], problem.get("input"), problem.get("ctx", {})
    field = str(problem["loc"][-1]) if problem["loc"] else ""
    if kind == "missing":
        return f"{path} is missing; {_what_to_add(field, model, root)}"
    if kind == "extra_forbidden":
        known = list(model.model_fields) if model else []
        close = difflib.get_close_matches(field, known, 1)
        hint = f"did you mean {close[0]}?" if close else f"known here: {', '.join(known)}"
        what = "the project file" if root is ProjectFile else "this file"
        return f"{path} is not a field of {what}; {hint}"
    if kind == "value_error":
        return f"{path}: {context['error']}" if path else str(context["error"])
    if kind in ("literal_error", "union_tag_invalid"):
        expected = context.get("expected", context.get("expected_tags", ""))
        actual = shown(context["tag"]) if kind == "union_tag_invalid" else shown(value)
        where = f"{path}.standard" if kind == "union_tag_invalid" else path
        close = difflib.get_close_matches(str(value), expected.replace("'", "").split(", "), 1)
        return f"{where}: {actual} is not known; use {expected}".replace("'", '"') + (
            f' (did you mean "{close[0]}"?)' if close and kind == "literal_error" else ""
        )
    if kind == "union_tag_not_found":
        if not isinstance(value, dict):
            return f"{path}: {shown(value)} must be a table; write [{path}] and its fields below it"
        *others, last = (f'"{name}"' for name in SITES)
        return f"{path}.standard is missing; use {', '.join(others)} or {last}"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"{path}: {shown(value)} must be a table; write [{path}] or {field} = {{ ... }}"
    if kind == "list_type":
        many = f"[[{path}]] for each" if path in _MANY else f"{field} = [ ... ]"
        return f"{path}: {shown(value)} must be a list; write {many}"
    right = _RIGHT.get(kind)
    if kind == "float_type" and type(value) is int:
        right = "is too large"
    if right is None:
        return f"{path}: {shown(value)} is not right: {problem['msg'][0].lower()}{problem['msg'][1:]}"
    return f"{path}: {shown(value)} {right.format(**context)}"


_MANY = (
    "row",
    "test",
    "plane",
    "parapet",
    "obstruction",
    "solar",
    "framing",
    "protect",
    "roof.part",
    "roof.dormer",
)


def _what_to_add(field: str, model: type[BaseModel] | None, root: type[BaseModel]) -> str:
    info = model.model_fields.get(field) if model else None
    if info is None:
        return "add it"
    if _models_in(info.annotation):
        many = getattr(info.annotation, "__origin__", None) is list
        if model in (root, BuiltRoof):
            name = field if model is root else f"roof.{field}"
            return f"add {f'[[{name}]]' if many else f'[{name}]'} and its fields below it"
        return f"add {field} = {'[{ ... }]' if many else '{ ... }'}"
    return f"add it ({(info.description or '').rstrip('.')})"


def _where(
    loc: Sequence[str | int], data: Mapping[str, Any], root: type[BaseModel]
) -> tuple[str, type[BaseModel] | None]:
    """Field path as a user would say it, and the model that holds the last part."""
    path: list[str] = []
    here: Any = data
    model: type[BaseModel] | None = root
    for step, part in enumerate(loc):
        if isinstance(part, int):
            here = here[part] if isinstance(here, list) and part < len(here) else None
            name = here.get("name") if isinstance(here, dict) else None
            path[-1] += f' "{name}"' if isinstance(name, str) and name else f" {part + 1}"
            continue
        if isinstance(here, dict) and part not in here and step < len(loc) - 1:
            model = _member(model, part)  # the tag of a choice, not a field
            continue
        path.append(part if re.fullmatch(r"[\w-]+", part) else shown(part))
        here = here.get(part) if isinstance(here, dict) else None
        if step < len(loc) - 1:
            model = _field_model(model, part)
    return ".".join(path), model


def _field_model(model: type[BaseModel] | None, field: str) -> type[BaseModel] | None:
    if model is None or field not in model.model_fields:
        return None
    return next(iter(_models_in(model.model_fields[field].annotation)), None)


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in getattr(annotation, "__args__", ()) for m in _models_in(part)]


def _member(model: type[BaseModel] | None, tag: str) -> type[BaseModel] | None:
    tags: dict[str, type[BaseModel]] = {
        **SITES,
        "built": BuiltRoof,
    }
    if tag == "imported":
        return ImportedRoof
    return tags.get(tag, model)


def _read_roof(table: ProjectFile | RoofFile, path: Path, digest: Any) -> RoofSurface:
    """The roof, its notes in the units of the project."""
    roof, units = _roof(table.roof, path, digest), SYSTEMS[table.project.units]
    return replace(roof, notes=tuple(units.reworded(note) for note in roof.notes))


def _roof(roof: BuiltRoof | ImportedRoof, path: Path, digest: Any) -> RoofSurface:
    if isinstance(roof, BuiltRoof):
        return built_roof(roof)
    from roofmodel.project.import_tables import read_roof

    return read_roof(roof, path.parent, digest)
