"""Changes of a project's content, on the commented document and on plain data alike."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, MutableMapping, MutableSequence
from typing import Any

import numpy as np
import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, Array, Comment, Table, Whitespace

from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.units import factor, parse, shown, split
from viewer.app import messages
from viewer.app.exports import inside

Document = MutableMapping[str, Any]

SPLIT_GAP = 0.05  # between the two rails of a row that is cut [m]
LEAST_PIECE = 0.1  # of rail on each side of a cut [m]


def apply_edit(document: Document, edit: messages.Edit, project: Project) -> str:
    """Change the document; what was done, in words for undo.

    Parameters
    ----------
    document : mutable mapping
        A tomlkit document, which keeps its comments, or plain data. Changed in place.
    edit : messages.Edit
    project : Project
        What the document says now.

    Returns
    -------
    str

    Raises
    ------
    InputError
        There is no such row, table or clamp. Values are checked when the document is read.
    """
    match edit:
        case messages.SetField():
            return _set_field(document, edit)
        case messages.SetRow():
            return _set_row(document, edit)
        case messages.AddRow():
            return _add_row(document, edit, project)
        case messages.RemoveRow():
            return _remove(document, edit)
        case messages.SplitRow():
            return _split(document, edit, project)
        case messages.SetSplices():
            return _set_splices(document, edit)
        case messages.AddThing():
            return _add_thing(document, edit)
        case messages.SetThing():
            return _set_thing(document, edit)
        case messages.RemoveThing():
            return _take_thing(document, edit)
        case messages.SetMeasured():
            return _set_measured(document, edit, project)
    message = f"{type(edit).__name__} changes nothing"
    raise InputError(message)


def _add_row(document: Document, edit: messages.AddRow, project: Project) -> str:
    """A row at the end; where its line crosses the plane in pieces, such as beside a wing, one on each."""
    rows = document["row"]
    first = {"name": edit.row, "plane": edit.plane, "up": edit.up}
    pieces = _line_pieces(edit, project)
    if len(pieces) < 2:
        rows.append(_table(rows, first))
        return f"add row {edit.row}"
    left, right = pieces[0][0], pieces[-1][1]
    usable = [piece for piece in pieces if piece[1] - piece[0] > project.panel.seam_spacing] or pieces
    for number, (a, b) in enumerate(usable):
        row = first | ({"name": _free_name(edit.row, [r["name"] for r in rows])} if number else {})
        row |= _piece_end("start", a, left, edit, project) if a > left else {}
        row |= _piece_end("end", b, left, edit, project) if b < right else {}
        rows.append(_table(rows, row))
    return f"add row {edit.row}" + (f" in {len(usable)} pieces" if len(usable) > 1 else "")


def _piece_end(name: str, at: float, left: float, edit: messages.AddRow, project: Project) -> dict[str, str]:
    """One end of a row at an end of its piece: the edge there, where it has a name, or the distance."""
    from roofmodel.project.row_edges import edge_name

    plane, up = project.roof.planes.name.index(edit.plane), parse(edit.up, "length")
    edge = edge_name(project.roof, plane, np.array([at, up]))
    return {f"{name}_at": edge} if edge else {name: _text(at - left, split(edit.up, "length")[1])}


def _line_pieces(edit: messages.AddRow, project: Project) -> list[tuple[float, float]]:
    """Pieces of a row's line on its plane; none where it cannot be, which is said when it is read. [m]."""
    from roofmodel.project.placement import line_pieces

    names = project.roof.planes.name
    try:
        up = parse(edit.up, "length")
    except ValueError:
        return []
    return line_pieces(project.roof, names.index(edit.plane), up) if edit.plane in names else []


def _table(tables: Any, values: dict[str, Any]) -> Any:
    """A new table of the kind of those beside it, followed by an empty line."""
    if not isinstance(tables, AoT):
        return dict(values)
    table = tomlkit.table()
    for name, value in values.items():
        table[name] = value
    table.add(tomlkit.nl())
    return table


def _put(table: MutableMapping[str, Any], name: str, value: messages.Value) -> str:
    """Set or remove a field; the change in words."""
    before = table.get(name)
    if value is None:
        table.pop(name, None)
    else:
        with _above_tail(table, before is None):
            table[name] = float(value) if type(before) is float and type(value) is int else value
    old = "none" if before is None else _plain(before)
    return f"{name} {old} → {'none' if value is None else _plain(value)}"


@contextlib.contextmanager
def _above_tail(table: Any, new: bool) -> Iterator[None]:
    """A new field goes above comments and empty lines at the end, which belong to what follows."""
    body = table.value.body if new and isinstance(table, Table) else []
    at = len(body)
    while at and isinstance(body[at - 1][1], Comment | Whitespace):
        at -= 1
    tail = [item for _, item in body[at:]]
    del body[at:]
    yield
    for item in tail:
        table.add(item)


def _plain(value: Any) -> str:
    return shown(value.unwrap() if hasattr(value, "unwrap") else value).strip('"')


def _set_field(document: Document, edit: messages.SetField) -> str:
    here: Any = document.get(edit.table)
    if here is None and edit.table in ("analysis",):
        document[edit.table] = {}
        here = document[edit.table]
    if not isinstance(here, MutableMapping):
        message = f"{edit.table}: the project has no such table; add it to the file"
        raise InputError(message)
    if edit.field[-1] == "file":
        message = (
            f"{edit.table}.{'.'.join(edit.field)}: files are named in the project file only; edit it there"
        )
        raise InputError(message)
    for part in edit.field[:-1]:
        inner = here.get(part)
        if inner is None:
            here[part] = {}
            inner = here[part]
        if not isinstance(inner, MutableMapping):
            message = f"{edit.table}.{part}: is not a table"
            raise InputError(message)
        here = inner
    words = _put(here, edit.field[-1], edit.value)
    return ".".join([edit.table, *edit.field[:-1]]) + f": {words}"


def _find(document: Document, name: str, table: str = "row") -> tuple[MutableSequence[Any], int]:
    rows: MutableSequence[Any] = document.get(table, [])
    for index, row in enumerate(rows):
        if row.get("name") == name:
            return rows, index
    message = f"{table}: there is no {table} {shown(name)} any more"
    raise InputError(message)


def _set_splices(document: Document, edit: messages.SetSplices) -> str:
    rows, index = _find(document, edit.row)
    row, wanted = rows[index], [one.model_dump(exclude_none=True) for one in edit.splices]
    given = row.get("splice", [])
    if wanted and len(given) == len(wanted):
        for table, values in zip(given, wanted, strict=True):  # their comments stay
            for name in ("at", "kind"):
                if table.get(name) != values.get(name):
                    _put(table, name, values.get(name))
    else:
        row.pop("splice", None)
        if wanted:
            with _above_tail(row, new=True):
                row["splice"] = _inline(row, wanted)
    where = ", ".join(one["at"] for one in wanted)
    return f"{edit.row}: " + (f"splices at {where}" if wanted else "no splices one by one")


def _inline(like: Any, tables: list[dict[str, Any]]) -> Any:
    """Tables in one line of the document's own kind."""
    if not isinstance(like, Table):
        return tables
    found = tomlkit.array()
    for values in tables:
        table = tomlkit.inline_table()
        table.update(values)
        found.append(table)
    return found


def _add_thing(document: Document, edit: messages.AddThing) -> str:
    values = {name: value for name, value in edit.fields.items() if value is not None}
    name = str(values.get("name", ""))
    if any(thing.get("name") == name for thing in document.get(edit.table, [])):
        message = f"{edit.table}.name: {shown(name)} is there already; give another name"
        raise InputError(message)
    if edit.table not in document:
        if isinstance(document, TOMLDocument):
            document.add(tomlkit.nl())
            document.add(edit.table, tomlkit.aot())
        else:
            document[edit.table] = []
    things = document[edit.table]
    things.append(_table(things, values))
    return f"add {edit.table} {name}"


def _set_thing(document: Document, edit: messages.SetThing) -> str:
    things, index = _find(document, edit.name, edit.table)
    return f"{edit.name}: " + ", ".join(_put(things[index], k, v) for k, v in edit.fields.items())


def _take_thing(document: Document, edit: messages.RemoveThing) -> str:
    things, index = _find(document, edit.name, edit.table)
    del things[index]
    if not len(things) and not isinstance(things, Array):  # [] may stand there to have none of the base
        document.pop(edit.table)
    return f"remove {edit.table} {edit.name}"


def stays_empty(text: str, edit: messages.Edit) -> tuple[str, ...]:
    """The list that a change takes something out of, if in brackets: the file keeps it when it is empty."""
    if not isinstance(edit, messages.RemoveThing):
        return ()
    return (edit.table,) if isinstance(tomlkit.parse(text).get(edit.table), Array) else ()


def _set_measured(document: Document, edit: messages.SetMeasured, project: Project) -> str:
    if edit.file is None:
        if document.pop("as_built", None) is None:
            message = "as_built: no clamps are measured in this project"
            raise InputError(message)
        return "clamps as planned"
    inside(project.path.parent, edit.file, "as_built.file", "clamps.csv")
    if "as_built" not in document and isinstance(document, TOMLDocument):
        document.add(tomlkit.nl())
        document.add("as_built", tomlkit.table())
    _put(document.setdefault("as_built", {}), "file", edit.file)
    return f"clamps as measured in {_plain(edit.file)}"


def _set_row(document: Document, edit: messages.SetRow) -> str:
    rows, index = _find(document, edit.row)
    fields: dict[str, messages.Value] = dict(edit.fields)
    for end in ("start", "end"):  # a new end takes the place of the edge that the old one stayed at
        if fields.get(end) is not None and f"{end}_at" in rows[index]:
            fields.setdefault(f"{end}_at", None)
    return f"{edit.row}: " + ", ".join(_put(rows[index], k, v) for k, v in fields.items())


def _remove(document: Document, edit: messages.RemoveRow) -> str:
    rows, index = _find(document, edit.row)
    if len(rows) == 1:
        message = f"row: {shown(edit.row)} is the only row; a project needs one"
        raise InputError(message)
    del rows[index]
    return f"remove row {edit.row}"


def _split(document: Document, edit: messages.SplitRow, project: Project) -> str:
    rows, index = _find(document, edit.row)
    layout = project.layout
    if edit.row not in layout.row_name:
        message = f"row: there is no row {shown(edit.row)} any more"
        raise InputError(message)
    row = layout.row_name.index(edit.row)
    on = np.flatnonzero(layout.clamp_row == row)
    names = [layout.clamp_name[i] for i in on]
    if edit.after not in names[:-1]:
        message = f'row "{edit.row}": can be split behind one of its clamps, but not behind the last one'
        raise InputError(message)
    here = names.index(edit.after)
    middle = float(layout.clamp_s[on[here : here + 2]].mean())
    low, high = middle - 0.5 * SPLIT_GAP, middle + 0.5 * SPLIT_GAP
    length = float(layout.row_length[row])
    if low < LEAST_PIECE or length - high < LEAST_PIECE:
        message = f'row "{edit.row}": a split there leaves no rail on one side'
        raise InputError(message)
    given = project.table.row[row]
    unit = split(rows[index]["up"], "length")[1]
    offset = _rail_start(project, row)
    left, right = (_text(offset + s, unit) for s in (low, high))
    first = _first_seam(layout, on, here, given.first, given.every, high)
    second = {k: (v.unwrap() if hasattr(v, "unwrap") else v) for k, v in rows[index].items()}
    name = _free_name(edit.row, [r["name"] for r in rows])
    second.update(name=name, start=right)
    second.pop("start_at", None)
    second.pop("first", None)
    if first != 1:
        second["first"] = first
    _share_splices(rows[index], second, given.splice, (low, high), unit)
    rows[index].pop("end_at", None)
    rows[index]["end"] = left
    rows.insert(index + 1, _table(rows, second))
    return f"split row {edit.row} behind {edit.after}"


def _rail_start(project: Project, row: int) -> float:
    """Left end of the rail as the project file counts it, from the left end of the plane there. [m]."""
    from roofmodel.project.placement import from_left_end

    return from_left_end(project.roof, project.table.row[row], project.layout.row_start[row])


def _text(value: float, unit: str) -> str:
    return f"{round(value / factor(unit, 'length'), 4):g} {unit}"


def _first_seam(layout: Layout, on: Any, here: int, first: int, every: int, start: float) -> int:
    """Which seam under the second rail gets its first clamp, so that all clamps stay where they are."""
    s = layout.clamp_s[on]
    if every == 1:
        return 1
    pitch = float(s[here + 1] - s[here]) / every
    free = int(np.floor((float(s[here + 1]) - start) / pitch + 1e-6))
    return 1 + min(free, every - 1)


def _share_splices(one: Any, two: dict[str, Any], splices: Any, cut: tuple[float, float], unit: str) -> None:
    """Give each rail the splices that it has."""
    if not splices:
        return
    both = (
        [(s.at, s.kind) for s in splices if s.at < cut[0]],
        [(s.at - cut[1], s.kind) for s in splices if s.at > cut[1]],
    )
    for table, found in zip((one, two), both, strict=True):
        table.pop("splice", None)
        if found:
            table["splice"] = [{"at": _text(at, unit), "kind": str(kind)} for at, kind in found]


def _free_name(name: str, taken: list[str]) -> str:
    return next(f"{name}-{n}" for n in range(2, 10_000) if f"{name}-{n}" not in taken)
