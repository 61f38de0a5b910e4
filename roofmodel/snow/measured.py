"""Snow given directly: layers of measured or ruled depth and density."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from roofmodel.errors import InputError
from roofmodel.snow.cases import SnowCase, SnowSet, Value, Zone
from roofmodel.snow.inputs import DirectSite, validate_direct
from roofmodel.snow.regions import plan_polygon, uniform
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

LEFT_OVER = 1e-3  # a layer may end past its plane by so much [m]


def direct_cases(roof: RoofSurface, site: DirectSite, retained: frozenset[int]) -> SnowSet:
    """Cases of snow that is known, one at each end of its density range.

    Parameters
    ----------
    roof : RoofSurface
    site : DirectSite
    retained : frozenset of int
        Not used: what lies there lies there.

    Returns
    -------
    SnowSet
        The heavy end loads; the light end is added where it differs. Each case's density gives back the
        measured depth, on planes that differ the largest depth.

    Raises
    ------
    InputError
        For bad layers or an unknown plane.
    """
    validate_direct(site, roof.planes.name)
    heavy = _case(roof, site, "measured snow, heavy end", heavy=True)
    light = _case(roof, site, "measured snow, light end", heavy=False)
    same = all(
        layer.light == layer.heavy for stack in (site.layers, *site.plane_layers.values()) for layer in stack
    )
    return SnowSet((heavy,) if same else (heavy, light))


def _case(roof: RoofSurface, site: DirectSite, name: str, *, heavy: bool) -> SnowCase:
    zones: list[Zone] = []
    density: list[float] = []
    for plane in range(roof.planes.count):
        stack = site.plane_layers.get(roof.planes.name[plane], site.layers)
        whole = tuple(layer for layer in stack if layer.band is None)
        for part in (whole, *((layer,) for layer in stack if layer.band is not None)):
            depth = sum(layer.depth for layer in part)
            if depth == 0.0:
                continue
            layers = [(layer.depth, layer.heavy if heavy else layer.light) for layer in part]
            zones.append(_zone(roof, site, plane, part[0].band, layers))
            density.append(sum(deep * dense for deep, dense in layers) / depth)
    if not zones:
        message = "site.layers put no snow on any plane: give at least one layer a depth above 0."
        raise InputError(message)
    notes = ["The load is the measured depth and density; no code formula enters."]
    if max(density) > min(density):
        notes.append("Planes differ in density: depth uses the lightest, which overstates it elsewhere.")
    return SnowCase(name, site.standard, site.level, tuple(zones), min(density), tuple(notes))


def _zone(
    roof: RoofSurface,
    site: DirectSite,
    plane: int,
    band: tuple[float, float] | None,
    layers: list[tuple[float, float]],
) -> Zone:
    """One plane's load of depths [m] and densities [kg/m^3]; square to the roof they are taken vertically."""
    name = roof.planes.name[plane]
    outline: Polygon | MultiPolygon = plan_polygon(roof, plane)
    where = ""
    if band is not None:
        outline = _banded(roof, plane, band)
        where = f", {band[0]:g} to {band[1]:g} m from its left end"
    cosine = float(np.cos(roof.planes.slope[plane])) if site.square_to_roof else 1.0
    total = " + ".join(f"gamma_{k + 1} d_{k + 1}" for k in range(len(layers)))
    values = [
        value
        for k, (depth, density) in enumerate(layers)
        for value in (
            Value(f"d_{k + 1}", depth, "m", "depth of a layer, as measured"),
            Value(f"gamma_{k + 1}", density * STANDARD_GRAVITY, "N/m**3", "its density times g"),
        )
    ]
    return Zone(
        f"measured snow on {name}{where}",
        plane,
        outline,
        uniform(sum(depth * density for depth, density in layers) * STANDARD_GRAVITY / cosine),
        "measured",
        f"p = ({total}) / cos(theta)" if site.square_to_roof else f"p = {total}",
        (*values, Value("theta", float(roof.planes.slope[plane]), "rad", "slope")),
    )


def _banded(roof: RoofSurface, plane: int, band: tuple[float, float]) -> Polygon | MultiPolygon:
    """Plan outline of the part of a plane between two distances from its left end."""
    low, bottom, high, top = roof.planes.outline[plane].bounds
    if not low + band[1] <= high + LEFT_OVER:
        message = (
            f"site.layers: a layer ends {band[1]:g} m from the left end of plane {roof.planes.name[plane]}, "
            f"which is {high - low:g} m wide."
        )
        raise InputError(message)
    inside = shapely.box(low + band[0], bottom - 1.0, low + band[1], top + 1.0)
    part = shapely.intersection(roof.planes.outline[plane], inside)
    plan = shapely.transform(part, lambda uv: roof.planes.to_world(plane, uv)[:, :2])
    assert isinstance(plan, Polygon | MultiPolygon)
    return plan
