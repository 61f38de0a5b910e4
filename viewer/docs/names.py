"""Every name that a person meets, read from where it is defined, and whose word it is.

A name is a term of the trade, of an open standard, of general engineering and computing, or our own. The
verdicts are kept by hand in `names.toml`; a name without one fails the tests, so that each is thought about:
nothing here may recall one program, calculator or maker.
"""

from __future__ import annotations

import ast
import importlib
import json
import pkgutil
import re
import tomllib
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import click
from pydantic import BaseModel

import roofmodel.project
from roofmodel.surface import EdgeKind
from viewer import style
from viewer.app.words import LABELS
from viewer.handover.installer import LAYERS

VIEWER = Path(__file__).parents[1]
APP = VIEWER / "app" / "static"
WRITTEN = re.compile(r"[a-z-]+\.(json|csv|png|html|pdf|toml|xlsx|dxf|glb|inp|vtu|vtm|svg|gif)")
SHORT = re.compile(r"[A-Z][^.:;]{1,38}")  # labels; longer texts are sentences
KEYBOARD = {"Enter", "Escape", "Home", "End", "US", "X-Eavewright-Token"}
KINDS = {
    "trade": "the trade",
    "standard": "a standard",
    "general": "general",
    "own": "our own",
}
GROUPS = {
    "commands": "Commands",
    "options": "Options and arguments",
    "keys": "Fields of project, tests, spans, site, screen and evidence files",
    "values": "Words that fields take",
    "results": "Parts of written JSON files that are not fields too",
    "files": "Written files",
    "labels": "Labels of the browser app and headings of pages",
    "screens": "Screens",
    "colors": "Colors",
}


def all_names() -> dict[str, dict[str, str]]:
    """Names by group, a key of `GROUPS`, each with where it stands."""
    keys, values = _fields()
    return {
        "commands": dict(_commands()),
        "options": _joined(_options()),
        "keys": keys,
        "values": values,
        "results": {name: where for name, where in _results().items() if name not in keys},
        "files": _files(),
        "labels": _joined(_labels()),
        "screens": _screens(),
        "colors": _colors(),
    }


def verdicts() -> dict[str, dict[str, tuple[str, str]]]:
    """What `names.toml` says of each name of each group: a key of `KINDS`, and the source or reason."""
    read = tomllib.loads((Path(__file__).parent / "names.toml").read_text(encoding="utf-8"))
    return {
        group: {
            name: (kind, source)
            for kind, sources in kinds.items()
            for source, names in sources.items()
            for name in names
        }
        for group, kinds in read.items()
    }


def names_page() -> str:
    """All names with their verdicts."""
    given = verdicts()
    parts = [
        "# Names, and whose words they are",
        "Every command, field, file, label and color, read from the program by a script, with a verdict kept "
        "by hand: a term of the trade, of an open standard, of engineering and computing at large, or ours. "
        "None is meant to recall one program, calculator or maker; where the trade has no word, we made one.",
    ]
    for group, found in all_names().items():
        rows = []
        for name, where in sorted(found.items(), key=lambda item: item[0].lower()):
            kind, source = given[group][name]
            cells = (f"`{name}`", where, KINDS[kind], source)
            rows.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        table = "\n".join(
            ["| name | where | whose word | source or reason |", "| --- | --- | --- | --- |", *rows]
        )
        parts.append(f"## {GROUPS[group]}\n\n{len(rows)} names.\n\n{table}")
    return "\n\n".join(parts) + "\n"


def _joined(pairs: Iterator[tuple[str, str]]) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for name, where in pairs:
        if where not in found.setdefault(name, []):
            found[name].append(where)
    return {name: _few(places) for name, places in found.items()}


def _few(places: list[str]) -> str:
    return ", ".join(places[:4]) + (f" and {len(places) - 4} more" if len(places) > 4 else "")


def _commands() -> Iterator[tuple[str, str]]:
    from viewer.cli import commands

    for name, command in commands.commands.items():
        yield name, (command.short_help or "").rstrip(".")


def _options() -> Iterator[tuple[str, str]]:
    from viewer.cli import commands

    for command, one in commands.commands.items():
        for parameter in one.params:
            optional = isinstance(parameter, click.Option)
            for name in (*parameter.opts, *parameter.secondary_opts):
                yield name if optional else name.upper(), command


def _fields() -> tuple[dict[str, str], dict[str, str]]:
    """Fields of every file that a user writes, with their tables; and the words that fields take."""
    keys: list[tuple[str, str]] = []
    values: list[tuple[str, str]] = []
    for model in _models():
        for name, info in model.model_fields.items():
            keys.append((name, model.__name__.removesuffix("Table")))
            values += [(str(word), name) for word in _words(info.annotation)]
    return _joined(iter(keys)), _joined(iter(values))


def _models() -> Iterator[type[BaseModel]]:
    for found in sorted(pkgutil.iter_modules(roofmodel.project.__path__), key=lambda one: one.name):
        module = importlib.import_module(f"roofmodel.project.{found.name}")
        for one in vars(module).values():
            if isinstance(one, type) and issubclass(one, BaseModel) and one.__module__ == module.__name__:
                yield one


def _words(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [word for part in get_args(annotation) for word in _words(part)]


def _results() -> dict[str, str]:
    def walk(part: Any, where: str) -> Iterator[tuple[str, str]]:
        if isinstance(part, dict):
            inner = part.get("properties")
            if isinstance(inner, dict):
                yield from ((key, where) for key in inner)
            for one in part.values():
                yield from walk(one, where)
        elif isinstance(part, list):
            for one in part:
                yield from walk(one, where)

    return _joined(
        pair
        for path in sorted(VIEWER.glob("*.schema.json"))
        for pair in walk(json.loads(path.read_text(encoding="utf-8")), path.name.removesuffix(".schema.json"))
    )


def _files() -> dict[str, str]:
    return _joined(
        (node.value, str(path.relative_to(VIEWER).parent).replace(".", "check"))
        for path in sorted(VIEWER.rglob("*.py"))
        if path.parent.name not in ("docs", "picture", "report")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and WRITTEN.fullmatch(node.value)
    )


class _Texts(HTMLParser):
    """Texts of a page, and what it calls its parts."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.panes: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.found += [given[key] or "" for key in ("aria-label", "title") if key in given]
        if given.get("role") == "tab":
            self.panes.append(given.get("aria-controls") or "")

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def _labels() -> Iterator[tuple[str, str]]:
    for table, labels in LABELS.items():
        yield from ((label, f"app, {table}") for label in labels.values())
    page = _index()
    texts = [(text, "app") for text in page.found]
    for path in sorted(APP.glob("*.js")):
        if path.name != "three.js":
            found = re.findall(r'"((?:[^"\\\n]|\\.)*)"', path.read_text(encoding="utf-8"))
            texts += [(text, f"app, {path.stem}") for text in found]
    for path in sorted((VIEWER / "templates").glob("*.html.j2")):
        found = re.findall(r"<(?:h[1-4]|th|caption)\b[^>]*>([^<{]+)<", path.read_text(encoding="utf-8"))
        texts += [(text, path.name.removesuffix(".html.j2")) for text in found]
    for text, where in texts:
        words = " ".join(text.split()).rstrip(" …")
        if SHORT.fullmatch(words) and words not in KEYBOARD and not words.startswith("Arrow"):
            yield words, where


def _index() -> _Texts:
    page = _Texts()
    page.feed((APP / "index.html").read_text(encoding="utf-8"))
    return page


def _screens() -> dict[str, str]:
    pages = sorted(path.name.removesuffix(".html.j2") for path in (VIEWER / "templates").glob("*.html.j2"))
    found = {page: "page" for page in pages if page != "tables"}
    return found | dict.fromkeys(("stage", "answer", *_index().panes), "part of the browser app")


def _colors() -> dict[str, str]:
    found = {}
    for name, value in vars(style).items():
        colors = value if isinstance(value, tuple) else (value,)
        if name.isupper() and all(isinstance(color, str) and color.startswith("#") for color in colors):
            found[name] = " ".join(colors)
    found |= {f"edge {kind.value}": style.EDGE_COLOR[kind] for kind in EdgeKind if kind in style.EDGE_COLOR}
    return found | {f"layer {name}": f"plan.dxf, color {color}" for name, (color, _) in LAYERS.items()}
