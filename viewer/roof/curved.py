"""Curved regions of a roof as a user sees them: kind, radius, rise, span, area, and their facets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from roofmodel.shape.planes import plan_polygon
from roofmodel.surface import IntArray, RoofSurface
from roofmodel.units import UnitSystem


@dataclass(frozen=True)
class CurvedRegion:
    """A vault, dome or cone.

    Attributes
    ----------
    kind : str
        "barrel vault", "dome" or "cone".
    plane : (k,) int
        Its facets.
    radius : float
        Of the circle or sphere; NaN of a cone. [m]
    rise, span : float
        Crown above the lowest point; from springing to springing, of domes and cones the diameter of the
        circle of the same plan area. [m]
    """

    kind: str
    plane: IntArray
    radius: float
    rise: float
    span: float


def curved_regions(roof: RoofSurface) -> list[CurvedRegion]:
    """Vaults, then domes and cones."""
    found = [
        CurvedRegion("barrel vault", v.plane, v.radius, v.rise_to(max(-v.ends[0], v.ends[1])), v.span)
        for v in roof.vaults
    ]
    for dome in roof.domes:
        radius = dome.radius if np.isfinite(dome.radius) else np.nan
        span = 2.0 * float(np.sqrt(roof.planes.plan_area[dome.plane].sum() / np.pi))
        found.append(CurvedRegion(dome.kind, dome.plane, radius, dome.rise, span))
    return found


def names_of(roof: RoofSurface, region: CurvedRegion) -> str:
    """Its first and last facet, and how many there are."""
    names = [roof.planes.name[i] for i in region.plane]
    return f"{names[0]} to {names[-1]} ({len(names)} facets)"


def curved_lines(roof: RoofSurface, units: UnitSystem) -> list[tuple[str, ...]]:
    """Kind, facets, radius, rise, span, area on the slope and on plan, in words."""
    return [
        (
            region.kind,
            names_of(roof, region),
            "-" if np.isnan(region.radius) else units.text(region.radius, "length"),
            units.text(region.rise, "length"),
            units.text(region.span, "length"),
            units.text(float(roof.planes.true_area[region.plane].sum()), "area"),
            units.text(float(roof.planes.plan_area[region.plane].sum()), "area"),
        )
        for region in curved_regions(roof)
    ]


def outline_of(roof: RoofSurface, region: CurvedRegion) -> shapely.Geometry:
    """Plan of a curved region. [m]."""
    return shapely.union_all([plan_polygon(roof.planes, int(i)) for i in region.plane], grid_size=1e-3)
