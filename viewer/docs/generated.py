"""Pages made from what the program says of itself: fields, commands, files, verification, and the styles."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from roofmodel.project.schema import ProjectFile
from viewer import style
from viewer.fields import field_need, field_words, models_in, tables

ROOT = Path(__file__).parents[2]
PLAIN = {"README.md": "verification.md", "SNOW.md": "verification-snow.md"}


def fields_page() -> str:
    """Every field of the project file, from its pydantic schema."""
    parts = [
        "# Fields of the project file",
        "The same list as `eavewright fields`. Every quantity is text with a unit, such as "
        '`"30 psf"`, `"1.4 kN/m^2"`, `"24 in"`, `"25 deg"` or `"6:12"`. '
        "A field that is not listed here is refused.",
    ]
    for title, model in tables(ProjectFile):
        parts.append(f"## `{title}`\n\n{_cell((model.__doc__ or '').strip())}")
        rows = [
            f"| `{name}` | {_cell(field_words(info))} | {_cell(field_need(info))} | "
            f"{_cell(info.description or '')} |"
            for name, info in model.model_fields.items()
            if not models_in(info.annotation)
        ]
        parts.append("\n".join(["| field | write | needed? | meaning |", "| --- | --- | --- | --- |", *rows]))
    return "\n\n".join(parts) + "\n"


def commands_page() -> str:
    """Every command with its arguments and options, from click."""
    from viewer.cli import CODES, commands

    parts = ["# Commands", _cell(commands.help or ""), CODES]
    context = click.Context(commands, info_name="eavewright")
    for name in sorted(commands.commands):
        command = commands.commands[name]
        inner = click.Context(command, info_name=name, parent=context)
        usage = " ".join(["eavewright", name, *command.collect_usage_pieces(inner)])
        help_text = _cell(" ".join((command.help or "").split("\n\n")[0].split()))
        more = [" ".join(part.split()) for part in (command.help or "").split("\n\n")[1:]]
        parts.append(f"## {name}\n\n{help_text}\n\n```text\n{usage}\n```")
        parts += [_cell(part) for part in more]
        records = [record for param in command.params if (record := param.get_help_record(inner))]
        rows = [f"| <code>{_code(option)}</code> | {_cell(words)} |" for option, words in records if words]
        parts.append("\n".join(["| option | meaning |", "| --- | --- |", *rows]))
        if command.epilog:
            parts.append(_cell(command.epilog).replace("Example: ", "Example: `") + "`")
    return "\n\n".join(parts) + "\n"


def files_page() -> str:
    """Exit codes, and the JSON schemas of what is written."""
    from viewer.cli import SCHEMAS

    codes = (
        ("0", "done, and every limit in the table is kept"),
        (
            "1",
            "a limit is exceeded, not verified or not settled, something is not protected, or a self-check "
            "failed; read the report",
        ),
        ("2", "bad input: one line says what is wrong and what would be right; nothing is written"),
        ("3", "a defect of the program"),
        ("130", "stopped by the user"),
    )
    parts = [
        "# Exit codes and files",
        "\n".join(["| exit code | meaning |", "| ---: | --- |", *(f"| {a} | {b} |" for a, b in codes)]),
        "A script that lets a design pass must ask for exit code 0, not for the absence of 2. Code 0 says "
        "nothing of what `check` does not check: see [the start page](index.md#what-it-does-not-check).",
        "## JSON schemas",
        "JSON files hold SI units and follow a JSON Schema each; `eavewright schema NAME` prints it.",
    ]
    for name in SCHEMAS:
        schema = json.loads((ROOT / "viewer" / f"{name}.schema.json").read_text(encoding="utf-8"))
        fields = schema.get("properties", {})
        rows = [f"| `{key}` | {_cell(_meaning(value, schema))} |" for key, value in fields.items()]
        parts.append(
            f"### {name}.json\n\n{_cell(schema.get('description', schema.get('title', '')))}\n\n"
            + "\n".join(["| part | meaning |", "| --- | --- |", *rows])
        )
    return "\n\n".join(parts) + "\n"


def _meaning(value: dict[str, object], schema: dict[str, object]) -> str:
    """What a schema says of one part, through a reference and items."""
    if "description" in value:
        return str(value["description"])
    for inner in (value, value.get("items", {})):
        reference = inner.get("$ref") if isinstance(inner, dict) else None
        if reference:
            found: object = schema
            for key in str(reference).lstrip("#/").split("/"):
                found = found[key] if isinstance(found, dict) else {}
            if isinstance(found, dict) and "description" in found:
                return str(found["description"])
    return str(value.get("const", value.get("type", "")))


def verification_page(path: Path) -> str:
    """A page of the verification with its links turned to this site."""
    text = path.read_text(encoding="utf-8")
    return re.sub(r"\[([^\]]*)\]\(([^)#]+)(#[^)]*)?\)", _turned, text)


def _turned(found: re.Match[str]) -> str:
    """A link to a page or picture of the site; the words alone for a file that is not part of it."""
    words, target, anchor = found[1], found[2], found[3] or ""
    if target.startswith("http") or target.endswith((".svg", ".png")):
        return found[0]
    name = Path(target).name
    return f"[{words}]({PLAIN[name]}{anchor})" if name in PLAIN else words


def styles() -> str:
    """The one style sheet: palette and type of the design system, then the layout of the pages."""
    return style.css_variables() + (Path(__file__).parent / "theme" / "layout.css").read_text(
        encoding="utf-8"
    )


def _code(text: str) -> str:
    """Text for a code element within a table."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("|", "&#124;")


def _cell(text: str) -> str:
    """Text that stands in a table cell or paragraph as it is."""
    text = " ".join(text.split())
    return text.replace("|", "\\|").replace("<", "&lt;").replace("[[", "\\[\\[").replace("*", "\\*")
