"""What stands on a roof that is only looked at: its tables may be missing or not right yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from roofmodel.errors import InputError
from roofmodel.project.array_schema import SolarTable
from roofmodel.project.arrays import place_arrays
from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.project.schema import PanelTable, PlaneChoice
from roofmodel.surface import RoofSurface
from roofmodel.units import UnitSystem

Model = TypeVar("Model", bound=BaseModel)


def with_what_stands(roof: RoofSurface, data: Mapping[str, Any], units: UnitSystem) -> RoofSurface:
    """Put parapets, obstructions and solar arrays on a roof; a note says what could not be placed.

    Parameters
    ----------
    roof : RoofSurface
    data : mapping
        The project file as read.
    units : UnitSystem
    """
    notes: list[str] = []
    try:
        parapets, boxes = _many(data, "parapet", ParapetTable), _many(data, "obstruction", ObstructionTable)
        roof = replace(roof, obstacles=place_obstacles(roof, parapets, boxes, units))
    except (ValidationError, InputError, TypeError) as error:
        notes.append(f"Parapets and obstructions are not shown: {_why(error)}")
    if "solar" in data:
        try:
            arrays, choices = _many(data, "solar", SolarTable), _many(data, "plane", PlaneChoice)
            spacing = PanelTable.model_validate(data.get("panel")).seam_spacing
            roof = replace(roof, arrays=place_arrays(roof, arrays, choices, spacing, units))
        except (ValidationError, InputError, TypeError) as error:
            notes.append(f"Solar arrays are not shown: {_why(error)}")
    return replace(roof, notes=(*roof.notes, *notes)) if notes else roof


def _many(data: Mapping[str, Any], name: str, model: type[Model]) -> list[Model]:
    found = data.get(name, [])
    return [model.model_validate(table) for table in (found if isinstance(found, list) else [found])]


def _why(error: Exception) -> str:
    if isinstance(error, InputError):
        return f"{error}."
    return "their tables are not right yet; eavewright check says what is wrong."
