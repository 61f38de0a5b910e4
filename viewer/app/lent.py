"""Tables that an open project takes from its base: shown and changed here, never written there."""

from __future__ import annotations

import copy
import tomllib
from typing import Any

import tomlkit
from tomlkit import TOMLDocument

from roofmodel.project.base_file import BaseFile


def whole(text: str, base: BaseFile | None) -> dict[str, Any]:
    """Content of a project file with the tables of its base below it."""
    data = tomllib.loads(text)
    return data if base is None else base.below(data)[0]


def lend(document: TOMLDocument, base: BaseFile) -> dict[str, Any]:
    """Add the tables that a document lacks, changed in place; what was added."""
    lent = {name: value for name, value in base.tables.items() if name not in document}
    for name, value in lent.items():
        document.add(name, tomlkit.item(copy.deepcopy(value)))
    return lent


def take_back(document: TOMLDocument, lent: dict[str, Any]) -> list[str]:
    """Take out what was lent and is as it was, in place; the tables that stay, as they are different now."""
    stay = []
    for name, value in lent.items():
        if name in document and document[name].unwrap() == value:
            document.remove(name)
        elif name in document:
            stay.append(f"[{name}]")
    return stay
