"""A roof from a project file or from a roof file, for looking at it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from roofmodel.errors import InputError
from roofmodel.files import read_file
from roofmodel.project.import_tables import LARGEST_ROOF
from roofmodel.project.load import load_roof
from roofmodel.shape.importing import import_roof
from roofmodel.surface import RoofSurface
from roofmodel.units import UnitSystem
from viewer.quantities import system


@dataclass(frozen=True)
class SeenRoof:
    """A roof and what is said about it.

    Attributes
    ----------
    roof : RoofSurface
    title, source : str
        Name of the project or file; the file it was read from, or the building in it.
    inputs : tuple of Path
        Files that were read.
    digest : str
        SHA-256 of them.
    units : UnitSystem
    given : mapping
        What a roof file was read with, as the table [roof] of a project says it; empty for projects.
    """

    roof: RoofSurface
    title: str
    source: str
    inputs: tuple[Path, ...]
    digest: str
    units: UnitSystem
    given: Mapping[str, Any] = field(default_factory=dict)


def see_roof(path: Path, units: str, options: Mapping[str, Any]) -> SeenRoof:
    """Roof of a project file or of a roof file.

    Parameters
    ----------
    path : Path
        A project file ends in .toml; its other tables may be missing.
    units : str
        "SI" or "US", for roof files; a project has its own.
    options : mapping
        unit, up, building, lod, layers, all_surfaces; for roof files only.

    Raises
    ------
    InputError
    """
    if path.suffix.lower() != ".toml":
        return _roof_file(path, units, options)
    given = next((name for name, value in options.items() if value), None)
    if given is not None:
        flag = {"layers": "layer"}.get(given, given).replace("_", "-")
        message = f"--{flag} is for roof files; {path.name} is a project and says it under [roof]"
        raise InputError(message)
    roof, table, digest = load_roof(path)
    extra = getattr(table.roof, "file", None)
    inputs = tuple(path.parent / one for one in (path.name, table.builds_on, extra) if one is not None)
    source = path.name if extra is None else f"{path.name}: {extra}"
    return SeenRoof(roof, table.project.name, source, inputs, digest, system(table.project.units))


def _roof_file(path: Path, units: str, options: Mapping[str, Any]) -> SeenRoof:
    what = "a mesh, city model, building model, drawing or project"
    data = read_file(path, path.name or str(path), what, LARGEST_ROOF)
    given = {name: value for name, value in options.items() if name != "all_surfaces"}
    try:
        roof = import_roof(path, marks=not options.get("all_surfaces"), **given)
    except InputError as error:
        hint = " (by --unit and --up)" if "please give it" in str(error) else ""
        message = system(units).reworded(str(error)).replace("please give it", f"please give it{hint}")
        raise InputError(message) from None
    roof = replace(roof, notes=tuple(system(units).reworded(note) for note in roof.notes))
    building = options.get("building")
    source = f"building {building}" if building and building != "all" else path.name
    told = {name: value for name, value in given.items() if value}
    told |= {"marks": False} if options.get("all_surfaces") else {}
    digest = hashlib.sha256(data).hexdigest()
    return SeenRoof(roof, path.name, source, (path,), digest, system(units), {"file": path.name, **told})
