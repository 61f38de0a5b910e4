"""Snow given directly: layers of measured or ruled depth and density."""

from __future__ import annotations

import numpy as np
from scipy.constants import g

from roofmodel.errors import InputError
from roofmodel.snow.cases import SnowCase, SnowSet, Value, Zone
from roofmodel.snow.inputs import DirectSite, SnowLayer, validate_direct
from roofmodel.snow.regions import plan_polygon, uniform
from roofmodel.surface import RoofSurface


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
        depth = sum(layer.depth for layer in stack)
        if depth == 0.0:
            continue
        mass = sum(layer.depth * (layer.heavy if heavy else layer.light) for layer in stack)
        zones.append(_zone(roof, site, plane, stack, mass))
        density.append(mass / depth)
    if not zones:
        message = "site.layers put no snow on any plane: give at least one layer a depth above 0."
        raise InputError(message)
    notes = ["The load is the measured depth and density; no code formula enters."]
    if max(density) > min(density):
        notes.append("Planes differ in density: depth uses the lightest, which overstates it elsewhere.")
    return SnowCase(name, site.standard, site.level, tuple(zones), min(density), tuple(notes))


def _zone(roof: RoofSurface, site: DirectSite, plane: int, stack: tuple[SnowLayer, ...], mass: float) -> Zone:
    """One plane's load; depth square to the roof becomes vertical depth by the cosine of the slope."""
    cosine = float(np.cos(roof.planes.slope[plane])) if site.square_to_roof else 1.0
    return Zone(
        f"measured snow on {roof.planes.name[plane]}",
        plane,
        plan_polygon(roof, plane),
        uniform(mass * g / cosine),
        "measured",
        "p = g sum(rho d) / cos(theta)" if site.square_to_roof else "p = g sum(rho d)",
        (
            Value("d", sum(layer.depth for layer in stack), "m", "depth of all layers, as measured"),
            Value("sum(rho d)", mass, "kg/m**2", "all layers"),
            Value("theta", float(roof.planes.slope[plane]), "rad"),
        ),
    )
