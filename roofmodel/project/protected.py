"""What the user wants to protect, on the roof as it is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from roofmodel.errors import InputError
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.surface import EdgeKind, RoofSurface, local_places, shown_origin
from roofmodel.units import UnitSystem, shown

AWAY = 100.0  # farther from the roof nothing can be meant (judgment) [m]


def check_protected(roof: RoofSurface, marks: Sequence[ProtectTable], units: UnitSystem) -> None:
    """Refuse what names no plane or eave of the roof, or cannot belong to it.

    Raises
    ------
    InputError
        One line that names the field, the value and what would be right.
    """
    eaves = [n for n, k in zip(roof.edges.name, roof.edges.kind, strict=True) if k is EdgeKind.EAVE]
    for mark in marks:
        where = f'protect "{mark.name}"'
        for field, names in (("planes", mark.planes), ("onto", mark.onto)):
            wrong = next((n for n in names or [] if n not in roof.planes.name), None)
            if wrong is not None:
                known = ", ".join(roof.planes.name[:12])
                message = f"{where}.{field}: there is no plane {shown(wrong)}; this roof has {known}"
                raise InputError(message)
        if mark.eave is not None and mark.eave not in eaves:
            known = ", ".join(f'"{name}"' for name in eaves[:12]) or "none"
            message = f"{where}.eave: there is no eave {shown(mark.eave)}; this roof has {known}"
            raise InputError(message)
        if mark.area is not None or mark.line is not None:
            _check_place(roof, mark, units)


def _check_place(roof: RoofSurface, mark: ProtectTable, units: UnitSystem) -> None:
    shape = marked_place(mark, roof)
    field = "area" if mark.area is not None else "line"
    if not shape.is_valid:
        message = f'protect "{mark.name}".{field}: its outline crosses itself; give its corners in order'
        raise InputError(message)
    low, high = roof.points[:, :2].min(axis=0), roof.points[:, :2].max(axis=0)
    far = shape.distance(shapely.box(*low, *high))
    if far > AWAY:
        low, high = low + shown_origin(roof.offset), high + shown_origin(roof.offset)
        spans = [f"{units.text(low[k], 'length')} to {units.text(high[k], 'length')}" for k in (0, 1)]
        message = (
            f'protect "{mark.name}".{field}: lies {units.text(far, "length")} from the roof, which reaches '
            f"from {spans[0]} east and from {spans[1]} north; give it in the coordinates of roof.png"
        )
        raise InputError(message)


def marked_place(mark: ProtectTable, roof: RoofSurface) -> BaseGeometry:
    """Area or line on plan of something protected, local coordinates. [m]."""
    if mark.area is not None:
        return shapely.Polygon(local_places(np.asarray(mark.area), roof.offset))
    return shapely.LineString(local_places(np.asarray(mark.line), roof.offset))
