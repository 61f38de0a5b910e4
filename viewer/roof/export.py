"""Open exchange of a roof: roof.json and roof.vtu."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from roofmodel.shape.clutter import clutter_words
from roofmodel.surface import RoofSurface
from viewer.export import created, file_head
from viewer.files import write_json
from viewer.plain import plain_data
from viewer.roof.curved import curved_regions
from viewer.roof.read import SeenRoof
from viewer.roof.words import unusual_words

FORMAT_VERSION = 1


def roof_data(seen: SeenRoof) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/roof.schema.json."""
    roof = seen.roof
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("roof", seen.inputs[0].name, seen.digest, FORMAT_VERSION),
            **created(),
            "title": seen.title,
            "offset": roof.offset,
            "ground": roof.ground,
            "planes": _planes(roof),
            "curved": _curved(roof),
            "edges": _edges(roof),
            "steps": _steps(roof),
            "notes": [*roof.notes, *filter(None, [unusual_words(roof, seen.units), clutter_words(roof)])],
        }
    )
    return cleaned


def _planes(roof: RoofSurface) -> list[dict[str, Any]]:
    planes = roof.planes
    return [
        {
            "name": planes.name[i],
            "slope": planes.slope[i],
            "azimuth": planes.azimuth[i],
            "true_area": planes.true_area[i],
            "plan_area": planes.plan_area[i],
            "normal": planes.normal[i],
            "rings": [
                planes.to_world(i, shapely.get_coordinates(ring)[:-1])
                for ring in (planes.outline[i].exterior, *planes.outline[i].interiors)
            ],
        }
        for i in range(planes.count)
    ]


def _curved(roof: RoofSurface) -> list[dict[str, Any]]:
    return [
        {
            "kind": region.kind,
            "planes": [roof.planes.name[i] for i in region.plane],
            "radius": region.radius,
            "rise": region.rise,
            "span": region.span,
        }
        for region in curved_regions(roof)
    ]


def _edges(roof: RoofSurface) -> list[dict[str, Any]]:
    edges, names = roof.edges, np.array([*roof.planes.name, ""], dtype=object)
    return [
        {
            "name": edges.name[i],
            "kind": str(edges.kind[i]),
            "planes": [name for name in names[edges.plane[i]] if name],
            "start": edges.start[i],
            "end": edges.end[i],
            "length": edges.length[i],
            "height": edges.height[i],
        }
        for i in range(edges.count)
    ]


def _steps(roof: RoofSurface) -> list[dict[str, Any]]:
    steps, names = roof.steps, roof.planes.name
    return [
        {
            "lower": names[steps.lower[i]],
            "upper": names[steps.upper[i]],
            "upper_edge": roof.edges.name[steps.upper_edge[i]],
            "start": steps.start[i],
            "end": steps.end[i],
            "wall": steps.wall[i],
            "gap": steps.gap[i],
            "between": names[steps.between[i]] if steps.between[i] >= 0 else None,
        }
        for i in range(steps.count)
    ]


def write_roof_data(seen: SeenRoof, folder: Path) -> None:
    """Write roof.json, whole or not at all."""
    write_json(folder / "roof.json", roof_data(seen), indent=1)
