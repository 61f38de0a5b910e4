"""The whole check again after rows have moved, with everything kept that does not change.

What a plane brings (its cells, the snow on them, its panel field) is found again by the rows and clamps on
it, so only planes whose rows move are worked out anew; the flow graph, the frame and the checks always are.
The answer is that of `fea.analysis.analyze`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fea.analysis import Analysis, analyze
from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.project.load import Project, with_rows
from roofmodel.project.schema import RowTable
from roofmodel.units import shown

_MOVABLE = ("up", "start", "end", "every", "first", "edge_distance", "cantilever")


@dataclass(frozen=True)
class Prepared:
    """A project whose rows are about to move: roof, site and hardware stay.

    Attributes
    ----------
    project : Project
    memory : Memory
        What is known already; grows with use, within bounds. May be shared between threads.
    """

    project: Project
    memory: Memory

    @property
    def rows(self) -> tuple[RowTable, ...]:
        """Rows as the project file gives them."""
        return tuple(self.project.table.row)


def on_rigid_seams(project: Project) -> Project:
    """The project with panels that do not give way, for what is asked many times over."""
    options = project.table.analysis.model_copy(update={"panel_flexibility": False})
    return replace(project, table=project.table.model_copy(update={"analysis": options}))


def prepare(project: Project) -> Prepared:
    """Make a project ready to be asked again and again.

    Parameters
    ----------
    project : Project
    """
    return Prepared(project, Memory())


def moved_rows(rows: Sequence[RowTable], changes: Mapping[str, Mapping[str, Any]]) -> tuple[RowTable, ...]:
    """Rows with some of their numbers changed.

    Parameters
    ----------
    rows : sequence of RowTable
    changes : mapping of row name to changes
        SI: up, start, end, edge_distance, cantilever [m]; every, first, whole numbers. None takes start, end
        or cantilever away.

    Returns
    -------
    tuple of RowTable

    Raises
    ------
    InputError
        Unknown row or field; a number that cannot be.
    """
    names = [row.name for row in rows]
    for name, fields in changes.items():
        if name not in names:
            message = f"row: there is no row {shown(name)}; this project has {', '.join(names[:12])}"
            raise InputError(message)
        for field, value in fields.items():
            _refuse(f'row "{name}".{field}', field, value)
    return tuple(row.model_copy(update=_with_ends(changes.get(row.name, {}))) for row in rows)


def _with_ends(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Changes of a row, where a new end takes the place of the edge that the old one stayed at."""
    return {f"{end}_at": None for end in ("start", "end") if end in fields} | dict(fields)


def _refuse(where: str, field: str, value: object) -> None:
    """Raise InputError unless a row's field may take the value."""
    if field not in _MOVABLE:
        message = f"{where}: cannot be changed here; known are {', '.join(_MOVABLE)}"
        raise InputError(message)
    number = isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= 5e3
    if field in ("every", "first"):
        if not (isinstance(value, int) and number and 1 <= value <= 50):
            message = f"{where}: {shown(value)} must be a whole number from 1 to 50"
            raise InputError(message)
    elif value is None and field in ("start", "end", "cantilever"):
        return
    elif not number or (field not in ("start", "end") and float(str(value)) < 0.0):
        message = f"{where}: {shown(value)} must be a length in m" + (
            "" if field in ("start", "end") else ", not negative"
        )
        raise InputError(message)


def resolve(
    prepared: Prepared,
    change: Mapping[str, Mapping[str, Any]] | Sequence[RowTable],
    *,
    beyond: bool = True,
) -> Analysis:
    """The whole check with rows changed.

    Parameters
    ----------
    prepared : Prepared
        Stays as it is: changes always count from its project.
    change : mapping or sequence of RowTable
        Changes by row name as for `moved_rows`, or all rows anew.
    beyond : bool
        False leaves out what follows the first failure, the slowest part where the project asks for it.

    Returns
    -------
    Analysis
        Equal to that of `analyze` for the changed project.

    Raises
    ------
    InputError
        Rows that cannot stand there.
    """
    rows = moved_rows(prepared.rows, change) if isinstance(change, Mapping) else tuple(change)
    return analyze(with_rows(prepared.project, rows), memory=prepared.memory, beyond=beyond)
