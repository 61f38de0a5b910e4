"""Corners of planes that hardly threaten and have no room for a rail."""

from __future__ import annotations

from dataclasses import replace

from fea.planning.places import room_for_lowest
from fea.planning.threats import Threats
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS

MOST = 0.01  # of the threatening snow may lie on all corners without rows (judgment) [-]


def without_slivers(project: Project, threats: Threats) -> Threats:
    """Threats without planes that have no room for a lowest row, where next to nothing comes from them.

    Only planes that hand no snow to others are left out, and all of them only while they have less than
    `MOST` of the snow that threatens together. What is left out is said in the notes.

    Parameters
    ----------
    project : Project
    threats : Threats

    Returns
    -------
    Threats
    """
    rooms = {
        plane: [room_for_lowest(project, threats, e) for e in threats.eaves if e.plane == plane]
        for (plane, *others) in threats.groups
        if not others
    }
    slivers = [p for p, found in rooms.items() if found and all(room < need for room, need in found)]
    if not slivers or sum(threats.share[p] for p in slivers) >= MOST or len(slivers) == len(threats.groups):
        return threats
    units, names = SYSTEMS[project.table.project.units], project.roof.planes.name
    notes = tuple(
        f"Caution: no row stands on {names[p]}: the corner whose snow threatens has "
        f"{units.text(max(room for room, _ in rooms[p]), 'length')} for a rail. "
        f"{max(100.0 * threats.share[p], 0.01):.2f} % of the snow that threatens comes from there and falls."
        for p in slivers
    )
    return replace(
        threats,
        planes=tuple(p for p in threats.planes if p not in slivers),
        eaves=tuple(e for e in threats.eaves if e.plane not in slivers),
        groups=tuple(group for group in threats.groups if group[0] not in slivers),
        notes=(*threats.notes, *notes),
    )
