"""Single stops on planes, from the tables [[stops]]."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from roofmodel.errors import InputError
from roofmodel.hardware import Panel
from roofmodel.project.blanket_schema import StopsTable
from roofmodel.project.placement import place_rows
from roofmodel.project.schema import PlaneChoice, RowTable
from roofmodel.stops import Stops, no_stops
from roofmodel.surface import RoofSurface
from roofmodel.units import SI, UnitSystem


def place_stops(
    roof: RoofSurface,
    tables: Sequence[StopsTable],
    choices: Sequence[PlaneChoice],
    panel: Panel,
    lever: float,
    units: UnitSystem = SI,
) -> Stops:
    """Put stops on the seams that pass under their courses.

    Parameters
    ----------
    roof : RoofSurface
    tables : sequence of StopsTable
    choices : sequence of PlaneChoice
    panel : Panel
    lever : float
        Height of the snow's push above the grip, that of the rail's top (judgment). [m]
    units : UnitSystem
        For messages.

    Returns
    -------
    Stops

    Raises
    ------
    InputError
        A course off its plane, no seam under it, faces wider than the gaps between stops.
    """
    if not tables:
        return no_stops()
    names = [table.name for table in tables]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        message = f'stops.name: "{twice}" is used twice; every table of stops needs its own name'
        raise InputError(message)
    rows, owner = [], []
    for number, table in enumerate(tables):
        if table.width >= table.every * panel.seam_spacing:
            message = (
                f'stops "{table.name}".width: {units.text(table.width, "size")} leaves no gap between stops '
                f"every {units.text(table.every * panel.seam_spacing, 'size')}; use a row"
            )
            raise InputError(message)
        for course in range(table.courses):
            rows.append(_course(table, course))
            owner.append(number)
    try:
        layout = place_rows(roof, rows, choices, panel, units)
    except InputError as error:
        message = str(error).replace('row "', 'stops "')
        raise InputError(message) from None
    table_of = np.array(owner)[layout.clamp_row]
    width = np.array([table.width for table in tables])
    return Stops(
        name=layout.clamp_name,
        plane=layout.row_plane[layout.clamp_row],
        uv=layout.clamp_uv,
        width=width[table_of],
        course=layout.clamp_row,
        table=table_of,
        seam=layout.clamp_seam,
        lever=lever,
    )


def _course(table: StopsTable, course: int) -> RowTable:
    shift = table.stagger if course % 2 else 0
    return RowTable.model_construct(  # its lengths are SI already
        name=f"{table.name}{course + 1}" if table.courses > 1 else table.name,
        plane=table.plane,
        up=table.up + course * table.course_spacing,
        start=table.start,
        end=table.end,
        every=table.every,
        first=table.first + shift,
    )
