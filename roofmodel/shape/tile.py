"""All buildings of a city tile, read once; what is wrong with one building stays with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from roofmodel.errors import InputError
from roofmodel.shape import citygml, cityjson
from roofmodel.shape.importing import CITYGML, CITYJSON
from roofmodel.shape.meshes import UNITS, check_unit
from roofmodel.shape.surfaces import Building
from roofmodel.units import shown


@dataclass(frozen=True)
class TileBuilding:
    """One building of a tile.

    Attributes
    ----------
    number : int
        Its place in the file, from 1; ids may stand twice.
    name : str
        Its id in the file.
    building : Building or None
        Geometry with its own points only. [m]
    reason : str
        Why there is no geometry.
    """

    number: int
    name: str
    building: Building | None
    reason: str = ""


def read_tile(path: Path, unit: str | None = None, lod: str | None = None) -> tuple[TileBuilding, ...]:
    """Every building of a CityJSON or CityGML file.

    Parameters
    ----------
    path : Path
    unit : str, optional
        Length unit of the file; meters by default.
    lod : str, optional
        Level of detail; the finest of each part by default.

    Returns
    -------
    tuple of TileBuilding
        In the order of the file.

    Raises
    ------
    InputError
        What spoils the whole file; one line that names it.
    """
    ending = path.suffix.lower()
    if ending not in (*CITYJSON, *CITYGML):
        message = (
            f"{path.name}: the ending {path.suffix!r} is not that of a city model; it should be one of "
            f"{', '.join((*CITYJSON, *CITYGML))}"
        )
        raise InputError(message)
    module = cityjson if ending in CITYJSON else citygml
    try:
        check_unit(unit, None)
        scale = UNITS[unit] if unit else 1.0
        found = []
        for number, (name, one) in enumerate(module.tile_buildings(path, lod), 1):
            if isinstance(one, InputError):
                found.append(TileBuilding(number, name, None, str(one)))
            else:
                found.append(TileBuilding(number, name, replace(one, points=one.points * scale)))
    except InputError as error:
        message = f"{path.name}: {error}"
        raise InputError(message) from None
    if not found:
        message = f"{path.name}: the file holds no buildings"
        raise InputError(message)
    if lod is not None and not any(one.building is not None and one.building.surfaces for one in found):
        levels = ", ".join(f"{one:g}" for one in module.levels(path)) or "none"
        message = f"{path.name}: no building has level of detail {shown(lod)}; the file has {levels}"
        raise InputError(message)
    return tuple(found)
