"""A second project file that builds on another one and says the same roof by another standard."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from pathlib import Path
from string import Template
from typing import Any

import tomlkit

from roofmodel.errors import InputError
from roofmodel.project.load import Project, load_project
from roofmodel.project.site_schema import FORMATS
from viewer.files import write_text
from viewer.starter import LOADS, RESISTANCE, SITE, check_new

STRENGTHS = {  # of each table, those that belong to a format, and what says so
    "panel": (("anchorage",), "anchorage_kind", "anchorage_factor"),
    "clamp": (("strength",), "strength_kind", "factor"),
    "seam": (("clip_strength", "opening_strength"), "strength_kind", "factor"),
}
OWN = ("snow_factor", "snow_factor_reason", "format")  # of [design], which are the standard's
SITE_NUMBERS = re.compile(r"(?m)^((?:ground_snow|winter_wind|associated_rain) = \S+(?: [^#\n]*)?)(#.*)?$")
FILL = "# FILL IN"
HEAD = """\
# {base} by {standard}. A table that stands here counts as a whole, nothing of the same table of
# {base} is mixed into it; all other tables, rows too, are those of {base}.
# Take the # off what says FILL IN and put your numbers in; nothing is calculated without them{open}.
builds_on = "{path}"

"""
OPEN = ", and without\n# the panel's anchorage the result is NOT VERIFIED"


def write_second(path: Path, standard: str, out: Path) -> None:
    """Write a project file that builds on another one; an existing file is never replaced.

    Raises
    ------
    InputError
    """
    check_new(out)
    base = load_project(path, rows_needed=False, rows_count=False)
    found = os.path.relpath(path.resolve(), out.parent.resolve()).replace(os.sep, "/")
    write_text(out, second_text(base, standard, found))


def second_text(base: Project, standard: str, path: str) -> str:
    """Text of a project file that builds on another one and differs in what belongs to the standard.

    Parameters
    ----------
    base : Project
    standard : str
        One of `viewer.starter.STANDARDS`.
    path : str
        Where the base is found from the new file.

    Raises
    ------
    InputError
        The base's own standard; strengths in tables that must be written by hand.
    """
    table, name = base.table, base.path.name
    if table.site.standard == standard:
        message = f"--standard {standard}: {name} is by that standard already; name another"
        raise InputError(message)
    form = FORMATS[standard][0]
    site = Template(SITE[standard]).substitute(LOADS[table.project.units], others="")
    site = SITE_NUMBERS.sub(_to_fill, site)
    other = table.design.format not in FORMATS[standard]
    head = HEAD.format(base=name, standard=standard, path=path, open=OPEN if other else "")
    parts = [head + re.sub(r"(?m) +$", "", site)]
    if other:
        _refuse(base, form)
        text = tomlkit.parse(base.path.read_text(encoding="utf-8-sig"))
        shared = {} if base.base is None else base.base.tables
        tables = {where: text.get(where, shared.get(where)) or {} for where in (*STRENGTHS, "design")}
        parts += [_strengths(where, tables[where], form, name) for where in STRENGTHS if tables[where]]
        kept = [_line(key, value) for key, value in tables["design"].items() if key not in OWN]
        of = f"  # as in {name}" if kept else ""
        parts.append("\n".join(["[design]", f'format = "{form}"', *(f"{line}{of}" for line in kept)]) + "\n")
    return "\n".join(parts)


def _to_fill(found: re.Match[str]) -> str:
    """A line of [site] whose number is nobody's."""
    why = (found[2] or "").removeprefix("#")
    return f"# {found[1].rstrip():<30}{FILL}{':' if why else ''}{why}"


def _refuse(base: Project, form: str) -> None:
    """Strengths for a format that stand where nothing can be marked to be filled in."""
    table = base.table
    given = {
        "[clamp.screws]": table.clamp.screws is not None,
        "[clamp.tested]": table.clamp.tested is not None,
        "rail.moment_slope, moment_normal": (table.rail.moment_slope or table.rail.moment_normal) is not None,
        "[[framing]] moment_strength": any(one.moment_strength is not None for one in table.framing),
    }
    where = next((name for name, there in given.items() if there), "")
    if where:
        message = (
            f"{base.path.name}: {where} goes with format {table.design.format}; write the file by hand, with "
            f"{where} for {form} (the page on planning shows one)"
        )
        raise InputError(message)


def _line(key: str, value: Any) -> str:
    return f"{key} = {tomlkit.item(value).as_string()}"


def _strengths(where: str, own: Mapping[str, Any], form: str, base: str) -> str:
    """A table of the base, with its strengths to be filled in for another format."""
    fields, kind, factor = STRENGTHS[where]
    values, lines = RESISTANCE[form], [f"[{where}]"]
    for key, value in own.items():
        if key in fields:
            lines.append(f"{FILL}: {values['kind']}, for {form}; this is of {base}, for its own format")
            lines.append(f"# {_line(key, value)}")
        elif key not in (kind, factor):
            lines.append(_line(key, value))
    lines.append(f'{kind} = "{values["kind"]}"')
    number = f"{factor} = {values['factor']}"
    lines.append(f"{number:<32}# {values['called']}")
    return "\n".join(lines) + "\n"
