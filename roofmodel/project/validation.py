"""From the text of a TOML file to checked tables, or to one line that says what would be right."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from roofmodel.errors import InputError
from roofmodel.files import read_file
from roofmodel.project.import_schema import ImportedRoof
from roofmodel.project.schema import BuiltRoof, ProjectFile, RoofFile
from roofmodel.project.sites import SITES
from roofmodel.units import shown

Model = TypeVar("Model", bound=BaseModel)

DEEPEST = 30  # tables within each other; files of this program need six
LARGEST_FILE = 1_000_000  # a project file is a few kilobytes [bytes]


def read_text(path: Path, what: str = "the project file") -> str:
    """Text of a TOML file. Raises InputError."""
    data = read_file(path, path.name or str(path), what, LARGEST_FILE)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        message = f"{path.name}: is not text in UTF-8; {what} is TOML text"
        raise InputError(message) from None


def read_toml(text: str, name: str, empty: str = "") -> dict[str, Any]:
    """The tables of a TOML text as they stand; `empty` says how to begin a file. Raises InputError."""
    try:
        data = tomllib.loads(text)
    except RecursionError:
        message = f"{name}: is not valid TOML: nested too deep"
        raise InputError(message) from None
    except ValueError as error:
        message = f"{name}: is not valid TOML: {_toml_reason(str(error), text)}"
        raise InputError(message) from None
    if _depth(data) > DEEPEST:
        message = f"{name}: is not valid TOML: nested too deep"
        raise InputError(message)
    if not data:
        empty = empty or f"`eavewright new gable --out {name}` writes a project to start from"
        message = f"{name}: is empty; {empty}"
        raise InputError(message)
    return data


def _depth(data: Any) -> int:
    """Levels of tables and lists within each other."""
    level, depth = [data], 0
    while level:
        inner = [
            one.values() if isinstance(one, dict) else one for one in level if isinstance(one, dict | list)
        ]
        level = [one for values in inner for one in values]
        depth += bool(level)
    return depth


def validated(text: str, name: str, model: type[Model], empty: str = "") -> Model:
    """The tables of a TOML text after a model; see `read_toml`. Raises InputError."""
    return modeled(read_toml(text, name, empty), name, model)


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


def check_given(data: Mapping[str, Any], name: str) -> None:
    """Refuse single values of a project file that are wrong; tables and fields may be missing still.

    Raises InputError.
    """
    try:
        ProjectFile.model_validate(data)
    except ValidationError as error:
        wrong = [p for p in error.errors() if p["type"] != "missing" and not _whole(p.get("input"))]
        if wrong:
            more = f" (and {len(wrong) - 1} more to mend)" if len(wrong) > 1 else ""
            message = f"{name}: {_explain(wrong[0], data, ProjectFile)}{more}"
            raise InputError(message) from None


def _whole(value: Any) -> bool:
    """Whether a value is a table or a list, which may lack something."""
    return isinstance(value, dict | list)


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


MEANT = {"broken": "parted", "torn": "parted", "apart": "parted"}  # where the letters would say another word


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
        known = re.findall(r"'([^']*)'", expected)
        close = [MEANT[str(value)]] if MEANT.get(str(value)) in known else []
        close = close or difflib.get_close_matches(str(value), known, 1)
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
    hint = ""
    if kind == "less_than_equal" and isinstance(value, int | float):
        most = context["le"]
        if most <= 1.0 and 2.0 <= value <= 100.0 * most:  # taken for percent
            hint = f", a share: {value:g} % is {value / 100.0:g}"
    return f"{path}: {shown(value)} {right.format(**context)}{hint}"


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
