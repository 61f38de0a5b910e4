"""From the table [site] to what the snow rules need."""

from __future__ import annotations

from typing import Any

from roofmodel.errors import InputError
from roofmodel.project import site_schema as tables
from roofmodel.project.base import Table
from roofmodel.project.schema import ProjectFile
from roofmodel.snow import inputs
from roofmodel.snow.cases import LoadLevel
from roofmodel.units import shown

SITES: dict[str, type[Table]] = {
    "ASCE/SEI 7-22": tables.AsceSite,
    "ASCE/SEI 7-16": tables.Asce16Site,
    "EN 1991-1-3": tables.EnSite,
    "NBCC 2020": tables.NbccSite,
    "measured": tables.MeasuredSite,
}


def make_site(table: ProjectFile, planes: tuple[str, ...]) -> inputs.Site:
    """Site of a project.

    Parameters
    ----------
    table : ProjectFile
    planes : tuple of str
        Names of the roof's planes.

    Returns
    -------
    AsceSite, Asce16Site, EnSite, NbccSite or DirectSite

    Raises
    ------
    InputError
        Where a layer lies on no plane of the roof.
    """
    return site_of(table.site, planes, table.surface.slippery, table.design.upper_roof_retained)


def site_of(
    site: tables.AnySite, planes: tuple[str, ...], slippery: bool, upper_roof_retained: bool
) -> inputs.Site:
    """Site of a table [site] and of what else the snow rules ask; see `make_site`."""
    values: dict[str, Any] = site.model_dump(exclude={"standard"})
    values["upper_roof_retained"] = upper_roof_retained
    match site:
        case tables.AsceSite():
            return inputs.AsceSite(**values, slippery=slippery)
        case tables.Asce16Site():
            return inputs.Asce16Site(**values, slippery=slippery)
        case tables.EnSite():
            return inputs.EnSite(**values)
        case tables.NbccSite():
            return inputs.NbccSite(**values, slippery=slippery)
    return _direct(site, planes)


def _direct(site: tables.MeasuredSite, planes: tuple[str, ...]) -> inputs.DirectSite:
    layers: dict[str | None, list[inputs.SnowLayer]] = {}
    for number, layer in enumerate(site.layers, 1):
        if layer.plane is not None and layer.plane not in planes:
            message = (
                f"site.layers {number}.plane: there is no plane {shown(layer.plane)}; "
                f"this roof has {', '.join(planes[:12])}"
            )
            raise InputError(message)
        band = None if layer.left is None or layer.right is None else (layer.left, layer.right)
        made = inputs.SnowLayer(layer.depth, min(layer.density), max(layer.density), band)
        layers.setdefault(layer.plane, []).append(made)
    return inputs.DirectSite(
        layers=tuple(layers.get(None, ())),
        plane_layers={name: tuple(stack) for name, stack in layers.items() if name is not None},
        square_to_roof=site.depth_direction == "square to the roof",
        level=LoadLevel(site.level),
    )
