"""A second project file that builds on another one and says the same roof by another standard."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from string import Template
from typing import Any, get_args

import tomlkit
from tomlkit.items import InlineTable

from roofmodel.errors import InputError
from roofmodel.project.load import Project, load_project
from roofmodel.project.site_schema import FORMATS, site_models
from viewer.files import write_text
from viewer.starter import LOADS, RESISTANCE, SITE, check_new

STRENGTHS = {  # of each table, those that belong to a format, and what says so
    "panel": (("anchorage",), "anchorage_kind", "anchorage_factor"),
    "clamp": (("strength",), "strength_kind", "factor"),
    "seam": (("clip_strength", "opening_strength"), "strength_kind", "factor"),
}
BESIDE = {  # what else of a table goes with strengths of a format, in words
    ("clamp", "test_basis"): "the tests behind these strengths",
    ("seam", "yield_factor"): "if not the usual one of {form}",
    ("solar", "clamp_strength"): "design strength for {form}; without it NOT VERIFIED",
}
FACTORS = ("snow_factor", "snow_factor_reason")  # of [design], which are the standard's
ASCE = ("ASCE/SEI 7-22", "ASCE/SEI 7-16")
COPIED = ("risk_category", "terrain", "exposure", "thermal", "roof_r_value")  # from one edition to another
SITE_LINE = re.compile(r"(?m)^(?:# )?((\w+) = \S+(?: [^#\n]*)?)(#.*)?$")
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
    if base.base is not None:
        message = (
            f"--builds-on {name}: it builds on {base.base.name} itself, and none builds on such a one; name "
            f"{base.base.name}"
        )
        raise InputError(message)
    form = FORMATS[standard][0]
    text = tomlkit.parse(base.path.read_text(encoding="utf-8-sig"))
    other = table.design.format not in FORMATS[standard]
    head = HEAD.format(base=name, standard=standard, path=path, open=OPEN if other else "")
    parts = [head + _site(text["site"], standard, table.project.units, name)]
    design = text.get("design") or {}
    if other:
        _refuse(base, form)
        parts += [_strengths(where, text[where], form, name) for where in STRENGTHS if text.get(where)]
        solar = text.get("solar") or []
        if any("clamp_strength" in one for one in solar):
            parts += [_table("solar", one, form, name, head="[[solar]]") for one in solar]
    else:
        form = table.design.format
    if other or any(key in design for key in FACTORS):
        stay = {key: value for key, value in design.items() if key not in ("format", *FACTORS)}
        kept = [f"{_line(key, value)}  # as in {name}" for key, value in stay.items()]
        own = [line for key in FACTORS if key in design for line in _to_put(key, design[key], standard, name)]
        parts.append("\n".join(["[design]", f'format = "{form}"', *kept, *own]) + "\n")
    return "\n".join(parts)


def _site(own: Mapping[str, Any], standard: str, units: str, base: str) -> str:
    """The table [site] of a standard; between editions of ASCE/SEI 7 with what both understand alike."""
    site = Template(SITE[standard]).substitute(LOADS[units], others="")
    asce = own["standard"] in ASCE and standard in ASCE
    fields = site_models()[standard].model_fields

    def line(found: re.Match[str]) -> str:
        key, why = found[2], (found[3] or "").removeprefix("#")
        if key == "standard":
            return found[0]
        if asce and key in COPIED:
            return "" if key in own else found[0]
        return f"# {found[1].rstrip():<29} {FILL}{':' if why else ''}{why}"

    lines = [one for one in SITE_LINE.sub(line, site).splitlines() if one.strip()]
    for key, value in own.items() if asce else ():
        if key in COPIED and _understood(fields, key, value):
            lines.append(f"{_line(key, value)}  # as in {base}")
        elif key not in ("standard", "ground_snow", "winter_wind"):
            lines += _to_put(key, value, standard, base)
    return "\n".join(one.rstrip() for one in lines) + "\n"


def _understood(fields: Mapping[str, Any], key: str, value: Any) -> bool:
    """Whether a field of [site] may have a value in the other standard."""
    choices = get_args(fields[key].annotation)
    return not all(isinstance(one, str) for one in choices) or value in choices


def _to_put(key: str, value: Any, standard: str, base: str) -> list[str]:
    """Lines of a field that goes with a standard."""
    return [f"{FILL}: for {standard}, or leave it out; this is of {base}", _open(key, value)]


def _refuse(base: Project, form: str) -> None:
    """Strengths for a format that stand where nothing can be marked to be filled in."""
    table = base.table
    given = {
        "[clamp.screws]": table.clamp.screws is not None,
        "[clamp.tested]": table.clamp.tested is not None,
        "rail.moment_slope, moment_normal": (table.rail.moment_slope or table.rail.moment_normal) is not None,
        "rail.bearing_strength": table.rail.bearing_strength is not None,
        "rail.resistance_factor": table.rail.resistance_factor is not None,
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
    return f"{key} = {_inline(value).as_string()}"


def _open(key: str, value: Any) -> str:
    """A field as a comment, to be filled in."""
    return f"# {_line(key, value)}".replace("\n", "\n# ")


def _inline(value: Any) -> Any:
    """A value that stands in one line: a table of its own becomes an inline one."""
    if isinstance(value, Mapping) and not isinstance(value, InlineTable):
        table = tomlkit.inline_table()
        for key, one in value.items():
            table.append(key, _inline(one))
        return table
    if isinstance(value, list) and any(isinstance(one, Mapping) for one in value):
        array = tomlkit.array()
        for one in value:
            array.append(_inline(one))
        return array
    return tomlkit.item(value)


def _table(
    where: str, own: Mapping[str, Any], form: str, base: str, *, head: str = "", without: Sequence[str] = ()
) -> str:
    """A table of the base, with its strengths to be filled in for another format."""
    kind, strengths = RESISTANCE[form]["kind"], STRENGTHS.get(where, ((),))[0]
    lines = [head or f"[{where}]"]
    for key, value in own.items():
        what = BESIDE.get((where, key), f"{kind}, for {form}" if key in strengths else "").format(form=form)
        if what:
            lines.append(f"{FILL}: {what}; this is of {base}, for its own format")
            lines.append(_open(key, value))
        elif key not in without:
            lines.append(_line(key, value))
    return "\n".join(lines) + "\n"


def _strengths(where: str, own: Mapping[str, Any], form: str, base: str) -> str:
    """A table of the base whose strengths have a kind and a factor."""
    _, kind, factor = STRENGTHS[where]
    values = RESISTANCE[form]
    number = f"# {factor} = {values['factor']}"
    more = f'{kind} = "{values["kind"]}"\n{number:<31} {FILL}: {values["called"]}\n'
    return _table(where, own, form, base, without=(kind, factor)) + more
