"""A project file that builds on another one: tables that it lacks are the other's."""

from __future__ import annotations

import copy
import os
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from roofmodel.errors import InputError
from roofmodel.project.validation import read_text, read_toml
from roofmodel.units import shown

# Fields of a project that name files, relative to the file they stand in.
FILE_FIELDS = (
    ("roof", "file"),
    ("as_built", "file"),
    ("rail", "profile", "file"),
    ("uncertainty", "strength", "tests"),
)


def named_files(data: Mapping[str, Any]) -> Iterator[tuple[Any, str]]:
    """Tables of a project's content that name a file, and the field in which they do."""
    for *tables, field in FILE_FIELDS:
        here: Any = data
        for table in tables:
            here = here.get(table) if isinstance(here, Mapping) else None
        if isinstance(here, Mapping) and isinstance(here.get(field), str):
            yield here, field


def move_files(data: Mapping[str, Any], moved: Callable[[str], str]) -> None:
    """Change in place, by `moved`, the names of all files that a project's content names."""
    for table, field in named_files(data):
        table[field] = moved(str(table[field]))


@dataclass(frozen=True)
class BaseFile:
    """The project file that another one builds on.

    Attributes
    ----------
    name : str
        As the project gives it.
    path : Path
    text : str
    tables : mapping
        Its content; files that it names are found from the project's folder.
    lent : tuple of str
        Tables that the project takes from it, having none of its own.
    """

    name: str
    path: Path
    text: str
    tables: Mapping[str, Any]
    lent: tuple[str, ...] = ()

    def below(self, data: Mapping[str, Any]) -> tuple[dict[str, Any], BaseFile]:
        """A project's content with the tables that it lacks, and which these are."""
        lent = tuple(name for name in self.tables if name not in data)
        return {**copy.deepcopy(dict(self.tables)), **data}, replace(self, lent=lent)

    def told(self, message: str) -> str:
        """A message on a project, "file: table.field ...", that says where a table is from."""
        found = re.search(r": (\w+)", message)
        if found is None or found[1] not in self.lent:
            return message
        return f"{message} ([{found[1]}] is taken from {self.name})"


def read_base(data: Mapping[str, Any], path: Path) -> BaseFile | None:
    """The file that a project builds on; None where it names none.

    Parameters
    ----------
    data : mapping
        Content of the project file.
    path : Path
        Of the project file.

    Raises
    ------
    InputError
        The file cannot be read, is the project itself, or builds on another one.
    """
    name = data.get("builds_on")
    if name is None:
        return None
    if not isinstance(name, str) or not name.strip():
        message = (
            f'{path.name}: builds_on: {shown(name)} must be the name of a project file, such as "en.toml"'
        )
        raise InputError(message)
    label = f"{path.name}: builds_on: {shown(name)}"
    file = path.parent / name
    try:
        text = read_text(file, "a project file; its path is relative to this one")
        tables = read_toml(text, file.name)
    except InputError as error:
        message = f"{label}: {str(error).removeprefix(f'{file.name}: ')}"
        raise InputError(message) from None
    if os.path.exists(path) and os.path.samefile(file, path):
        message = f"{label} is this file itself; name another project file"
        raise InputError(message)
    if "builds_on" in tables:
        message = f"{label} builds on another file itself; name one that is whole"
        raise InputError(message)
    move_files(tables, lambda given: os.path.join(os.path.dirname(name), given).replace(os.sep, "/"))
    return BaseFile(name, file, text, tables)
