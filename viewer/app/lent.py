"""Tables that an open project takes from its base: shown and changed here, never written there."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from roofmodel.errors import InputError
from roofmodel.project.base_file import BaseFile

if TYPE_CHECKING:
    from tomlkit import TOMLDocument


def whole(text: str, base: BaseFile | None) -> dict[str, Any]:
    """Content of a project file with the tables of its base below it."""
    data = tomllib.loads(text)
    return data if base is None else base.below(data)[0]


def lend(document: TOMLDocument, base: BaseFile) -> dict[str, Any]:
    """Add the tables that a document lacks, changed in place; what was added."""
    import tomlkit

    lent = {name: value for name, value in base.tables.items() if name not in document}
    for name, value in lent.items():
        document.add(name, tomlkit.item(copy.deepcopy(value)))
    return lent


def check_removed(content: Mapping[str, Any], base: BaseFile | None, file: str) -> None:
    """Refuse a change after which a table is in neither file's place: that of the base would come back.

    Parameters
    ----------
    content : mapping
        Content after the change, with the tables of the base below it.
    base : BaseFile or None
    file : str
        Name of the project file.

    Raises
    ------
    InputError
    """
    tables = {} if base is None else base.tables
    for name in (name for name in tables if name not in content):
        message = (
            f"{file}: {name}: nothing was removed, as {file} builds on {base.name if base else ''} and would "
            f"have [{name}] from there"
        )
        if isinstance(tables[name], list):
            message += f'; to have none, write "{name} = []" above the first table of {file}'
        raise InputError(message)


def take_back(document: TOMLDocument, lent: dict[str, Any]) -> list[str]:
    """Take out what was lent and is as it was, in place; the tables that stay, as they are different now."""
    stay = []
    for name, value in lent.items():
        if name in document and document[name].unwrap() == value:
            document.remove(name)
        elif name in document:
            stay.append(f"[{name}]")
    return stay
