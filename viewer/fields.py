"""The list of all fields of the project file, from its schema."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from roofmodel.errors import InputError
from roofmodel.project.field_types import Pitch, Points
from roofmodel.project.schema import ProjectFile
from roofmodel.units import EXAMPLES, SI, kind_words, shown

if TYPE_CHECKING:
    from rich.console import Console

_NAME = 23  # width of the column of names
_WIDEST = 100  # longer lines are hard to read
_PLAIN = {
    bool: "true or false",
    float: "number",
    int: "whole number",
    str: "text",
    date: "day, like 2026-02-03",
}
_TEXT_WITH_RULES = {Pitch: 'pitch, like "25 deg" or "6:12"', Points: 'points, like "0 0, 12 0, 12 8, 0 8 m"'}


def model_of(file: str) -> type[BaseModel]:
    """Tables of the file that a command reads: "project", "tests", "span" or "investigate"."""
    if file == "tests":
        from roofmodel.project.campaign_schema import CampaignFile

        return CampaignFile
    if file == "span":
        from roofmodel.project.span_schema import SpanFile

        return SpanFile
    if file == "investigate":
        from roofmodel.project.evidence_schema import EvidenceFile

        return EvidenceFile
    return ProjectFile


def print_fields(
    console: Console, file: str = "project", table: str | None = None, standard: str | None = None
) -> None:
    """Print every field of a file, table by table: kind, whether it is needed, and meaning.

    Parameters
    ----------
    console : rich Console
    file : str
        As `model_of`.
    table : str or None
        Only this table and those within it.
    standard : str or None
        Of the tables of a site only those of this standard.

    Raises
    ------
    InputError
        The file has no such table.
    """
    from rich.text import Text

    chosen = [one for one in tables(model_of(file)) if table is None or _within(one[0], table)]
    if standard is not None:
        chosen = [one for one in chosen if not _within(one[0], "site") or _is_of(*one, standard)]
    if not chosen:
        known = ", ".join(dict.fromkeys(_bare(title).split(".")[0] for title, _ in tables(model_of(file))))
        message = f"--table {shown(table or '')} is no table of this file; it has {known}"
        raise InputError(message)
    width = min(console.width, _WIDEST)
    at_top = {k: v for k, v in model_of(file).model_fields.items() if not models_in(v.annotation)}
    at_top = at_top if table is None else {}
    if at_top:
        console.print(Text("\nAbove all tables", style="bold"))
    for name, info in at_top.items():
        _print_field(console, name, info, width)
    for title, model in chosen:
        console.print()
        meaning = (model.__doc__ or "").strip()
        lines = textwrap.wrap(f"{title}  {meaning}", width, subsequent_indent="    ")
        console.print(Text("\n".join(lines), style="bold"))
        for name, info in model.model_fields.items():
            if models_in(info.annotation):
                continue
            _print_field(console, name, info, width)


def _bare(title: str) -> str:
    """Name of a table without the marks around it."""
    return title.split(" = ")[0].strip("[]")


def _within(title: str, table: str) -> bool:
    return _bare(title) == table or _bare(title).startswith(f"{table}.")


def _is_of(_: str, model: type[BaseModel], standard: str) -> bool:
    """Whether a table of a site is that of a standard; those within it are of measured snow."""
    known = model.model_fields.get("standard")
    return standard == "measured" if known is None else standard in get_args(known.annotation)


def _print_field(console: Console, name: str, info: FieldInfo, width: int) -> None:
    from rich.text import Text

    room = width - _NAME - 3
    head = textwrap.wrap(f"{_kind(info)}; {_need(info)}", room)
    body = textwrap.wrap(info.description or "", room)
    text = Text(f"  {name:<{_NAME}} ", style="bold")
    indent = " " * (_NAME + 3)
    text.append(f"\n{indent}".join(head), style="not bold cyan")
    for line in body:
        text.append(f"\n{indent}{line}", style="not bold default")
    console.print(text)


def tables(model: type[BaseModel], path: str = "") -> Iterator[tuple[str, type[BaseModel]]]:
    """Headings as one writes them in the project file, and what stands below them."""
    for name, info in model.model_fields.items():
        here = f"{path}.{name}" if path else name
        many = get_origin(info.annotation) is list
        inline = path not in ("", "roof")
        for inner in models_in(info.annotation):
            fields = any(not models_in(field.annotation) for field in inner.model_fields.values())
            if fields:
                title = (
                    f"{here} = [{{ ... }}]" if inline and many else f"{here} = {{ ... }}" if inline else ""
                )
                yield title or (f"[[{here}]]" if many else f"[{here}]"), inner
            yield from tables(inner, here)


def models_in(annotation: Any) -> list[type[BaseModel]]:
    """Tables that a field holds."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in models_in(part)]


def field_words(info: FieldInfo) -> str:
    """What to write for a field, such as 'length, like "24 in" or "0.61 m"'."""
    return _kind(info)


def field_need(info: FieldInfo) -> str:
    """Whether a field is needed, else its default in words."""
    return _need(info)


def field_quantity(info: FieldInfo) -> str | None:
    """Kind of quantity of a field, a key of `roofmodel.units.EXAMPLES`; None for other fields."""
    return _quantity(info.annotation, info.metadata)


def _need(info: FieldInfo) -> str:
    if info.is_required():
        return "needed"
    value = info.get_default(call_default_factory=True)
    if value is None or value in ("", []):
        return "may be left out"
    if isinstance(value, bool):
        return f"default {str(value).lower()}"
    if isinstance(value, str):
        return f'default "{value}"'
    kind = _quantity(info.annotation, info.metadata)
    if isinstance(value, list):
        return f"default {value}"
    if kind is None:
        return f"default {value:g}"
    return (
        f'default "{SI.text(value, kind)}"' if kind in SI.units else f"default {value:g} {EXAMPLES[kind][0]}"
    )


def _kind(info: FieldInfo) -> str:
    low, high = _bounds(info.metadata)
    words = _words(info.annotation, info.metadata)
    if low and high:
        return f"{words} {low} to {high}"
    if low and not low.startswith("above"):
        return f"{words}, {low} or more"
    if high and not high.startswith("below"):
        return f"{words}, {high} or less"
    return f"{words} {low}{high}".rstrip()


def _bounds(metadata: list[Any]) -> tuple[str, str]:
    """Limits of a plain number in words; empty where there are none."""
    low = high = ""
    for rule in metadata:
        if getattr(rule, "ge", None) is not None:
            low = f"{rule.ge:g}"
        elif getattr(rule, "gt", None) is not None:
            low = f"above {rule.gt:g}"
        elif getattr(rule, "le", None) is not None:
            high = f"{rule.le:g}"
        elif getattr(rule, "lt", None) is not None:
            high = f"below {rule.lt:g}"
    return low, high


def _words(annotation: Any, metadata: Any = ()) -> str:
    """What to write for a field."""
    quantity = _quantity(annotation, metadata)
    if quantity is not None:
        return f"{kind_words(quantity)}, like {EXAMPLES[quantity][1]}"
    known = next(
        (words for kind, words in _TEXT_WITH_RULES.items() if _same(kind, annotation, metadata)), None
    )
    if known is not None:
        return known
    origin = get_origin(annotation)
    if origin is Literal:
        *first, last = (f'"{choice}"' for choice in get_args(annotation))
        return f"{', '.join(first)} or {last}" if first else last
    if origin is list:
        return f"list of: {_words(get_args(annotation)[0])}"
    if hasattr(annotation, "__metadata__"):
        return _words(annotation.__origin__, annotation.__metadata__)
    parts = [part for part in get_args(annotation) if part is not type(None)]
    return " or ".join(_words(part) for part in parts) if parts else _PLAIN.get(annotation, "text")


def _same(kind: Any, annotation: Any, metadata: Any) -> bool:
    reader = kind.__metadata__[0]
    return reader in (*metadata, *getattr(annotation, "__metadata__", ()))


def _quantity(annotation: Any, metadata: Any) -> str | None:
    """Kind of quantity of an annotation, through optional ones."""
    readers = [*metadata, *getattr(annotation, "__metadata__", ())]
    kind = next((m.func.kind for m in readers if hasattr(getattr(m, "func", None), "kind")), None)
    if kind is not None or get_origin(annotation) in (list, Literal):
        return kind
    found = (_quantity(part, ()) for part in get_args(annotation) if part is not type(None))
    return next((one for one in found if one is not None), None)
