"""Quantities of a project that are still those that `new` wrote as examples."""

from __future__ import annotations

import tomllib
from typing import Any

from roofmodel.units import UnitSystem
from viewer.starter import EXAMPLES, STANDARDS, starter_text

TABLES = ("site", "panel", "rail", "clamp")
NAMED = 6  # fields told one by one


def examples_line(text: str, units: UnitSystem) -> str:
    """Fields of a project file whose quantities stand as in a new project; empty for none.

    A file tells by the line that `new` writes above its numbers: whoever deletes it says that all are theirs.

    Parameters
    ----------
    text : str
        The project file, read before without error.
    units : UnitSystem
    """
    if EXAMPLES not in text:
        return ""
    table = tomllib.loads(text)
    standard = table.get("site", {}).get("standard")
    new = tomllib.loads(starter_text("gable", units.name, standard if standard in STANDARDS else None))
    same = [
        f"{name}.{field}"
        for name in TABLES
        for field, value in table.get(name, {}).items()
        if _measured(value) and new[name].get(field) == value
    ]
    if not same:
        return ""
    more = f" and {len(same) - NAMED} more" if len(same) > NAMED else ""
    return (
        f"Still the EXAMPLES of a new project: {', '.join(same[:NAMED])}{more}. Where they are yours all the "
        f"same, delete the line “{EXAMPLES}” from the project file."
    )


def _measured(value: Any) -> bool:
    """Whether a value is a quantity or a table of such, not a choice, a name or a factor."""
    return isinstance(value, dict) or (isinstance(value, str) and value[:1].isdigit() and " " in value)
