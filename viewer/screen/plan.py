"""What a screening is asked to do: the tile, the snow, and the choices, read and checked."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, Field

from roofmodel.errors import InputError
from roofmodel.files import read_file
from roofmodel.project.base import Table
from roofmodel.project.import_tables import LARGEST_ROOF
from roofmodel.project.schema import Surface
from roofmodel.project.site_schema import AnySite, EnSite, MeasuredSite
from roofmodel.project.sites import site_of
from roofmodel.project.validation import LARGEST_FILE, validated
from roofmodel.screening import ScreenRules
from roofmodel.shape.tile import TileBuilding, read_tile
from roofmodel.sliding.thrust import SlideOptions
from roofmodel.snow import inputs
from roofmodel.snow.inputs import (
    Site,
    validate_asce,
    validate_asce_16,
    validate_direct,
    validate_en,
    validate_nbcc,
)
from roofmodel.units import UnitSystem, parse
from viewer.quantities import system
from viewer.version import version

WHAT = "a CityJSON or CityGML file"


class ScreenFile(Table):
    """Site and covering of a project file, whatever else it holds."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True, allow_inf_nan=False)

    site: AnySite
    surface: Surface = Field(default_factory=lambda: Surface(slippery=True))


@dataclass(frozen=True)
class ScreenPlan:
    """A screening that can begin.

    Attributes
    ----------
    inputs : tuple of Path
        Files that were read.
    buildings : tuple of TileBuilding
    rules : ScreenRules
    units : UnitSystem
    said : dict
        What was asked for, as plain data; with the digests it decides whether a run can be resumed.
    digests : dict of str to str
        SHA-256 of the files, by name.
    """

    inputs: tuple[Path, ...]
    buildings: tuple[TileBuilding, ...]
    rules: ScreenRules
    units: UnitSystem
    said: Mapping[str, Any]
    digests: Mapping[str, str]

    @property
    def key(self) -> str:
        """Same for runs whose results are the same."""
        text = json.dumps([dict(self.said), dict(self.digests), version(), code_digest()], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


def code_digest() -> str:
    """SHA-256 of the source of the roof model, so that another version does not finish a run."""
    import roofmodel

    digest = hashlib.sha256()
    root = Path(str(roofmodel.__file__)).parent
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def plan_screening(
    path: Path,
    ground_snow: str | None,
    site_file: Path | None,
    units: str,
    unit: str | None = None,
    lod: str | None = None,
) -> ScreenPlan:
    """Read tile and site.

    Parameters
    ----------
    path : Path
        CityJSON or CityGML file.
    ground_snow : str, optional
        s_k of EN 1991-1-3 such as "1.5 kN/m^2", its other values at their defaults.
    site_file : Path, optional
        TOML file with a table [site], and [surface] if friction counts; exactly one of the two is needed.
    units : str
        "SI" or "US".
    unit, lod : str, optional
        See `read_tile`.

    Raises
    ------
    InputError
    """
    if (ground_snow is None) == (site_file is None):
        message = (
            'give either --ground-snow "1.5 kN/m^2" (s_k of EN 1991-1-3) or --site FILE.toml with its [site]'
        )
        raise InputError(message)
    tile = read_file(path, path.name or str(path), WHAT, LARGEST_ROOF)
    digests = {path.name: hashlib.sha256(tile).hexdigest()}
    read = [path]
    if site_file is not None:
        data = read_file(site_file, site_file.name, "a TOML file with a table [site]", LARGEST_FILE)
        digests[site_file.name] = hashlib.sha256(data).hexdigest()
        read.append(site_file)
        table = _site_table(data, site_file.name)
    else:
        table = ScreenFile(site=EnSite(standard="EN 1991-1-3", ground_snow=_ground_snow(str(ground_snow))))
    site = _checked(table, site_file.name if site_file else "--ground-snow")
    slide = SlideOptions(friction=table.surface.friction)
    return ScreenPlan(
        inputs=tuple(read),
        buildings=read_tile(path, unit, lod),
        rules=ScreenRules(site, slide),
        units=system(units),
        said={
            "file": path.name,
            "standard": table.site.standard,
            "site": table.site.model_dump(mode="json"),
            "friction": table.surface.friction,
            "friction_reason": table.surface.friction_reason,
            "unit": unit,
            "lod": lod,
        },
        digests=digests,
    )


def _ground_snow(text: str) -> Any:
    try:
        value = parse(text, "pressure")
    except ValueError as error:
        message = f"--ground-snow: {error}"
        raise InputError(message) from None
    if not 0.0 < value <= inputs.GROUND_SNOW_LIMIT:
        limit = inputs.GROUND_SNOW_LIMIT / 1e3
        message = f'--ground-snow "{text}" must be above 0 and at most {limit:g} kN/m^2'
        raise InputError(message)
    return text


def _site_table(data: bytes, name: str) -> ScreenFile:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        message = f"{name}: is not text in UTF-8; a project file is TOML text"
        raise InputError(message) from None
    return validated(text, name, ScreenFile)


def _checked(table: ScreenFile, name: str) -> Site:
    if isinstance(table.site, MeasuredSite) and any(layer.plane for layer in table.site.layers):
        message = f"{name}: site.layers: a layer names a plane; on a tile every layer lies on all planes"
        raise InputError(message)
    try:
        site = site_of(table.site, (), table.surface.slippery, False)
        match site:
            case inputs.AsceSite():
                validate_asce(site)
            case inputs.Asce16Site():
                validate_asce_16(site)
            case inputs.EnSite():
                validate_en(site)
            case inputs.NbccSite():
                validate_nbcc(site)
            case inputs.DirectSite():
                validate_direct(site, ())
    except InputError as error:
        message = f"{name}: {error}"
        raise InputError(message) from None
    return site
