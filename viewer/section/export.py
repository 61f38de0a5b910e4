"""section.json: the profile as plain data, SI."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import shapely

from viewer.export import file_head
from viewer.files import write_json
from viewer.plain import plain_data
from viewer.section.read import Seen
from viewer.section.words import counted, notes, shares


def section_data(seen: Seen) -> dict[str, Any]:
    """Everything, after viewer/section.schema.json; null stands for "not known" and "none"."""
    p, walls, share = seen.profile, seen.profile.walls, shares(seen)
    return dict(
        plain_data(
            {
                **file_head("section", seen.name, seen.digest),
                "metal": {
                    "name": seen.metal.name,
                    "E": seen.metal.E,
                    "G": seen.metal.G,
                    "yield_strength": seen.metal.yield_strength,
                },
                "section": {k: v for k, v in asdict(p.section).items() if k not in ("kind", "wall")},
                "principal": p.principal,
                "angle": p.angle,
                "alone": p.alone,
                "counted": counted(seen),
                "plastic": p.plastic,
                "origin": p.origin,
                "one_sided": p.one_sided,
                "net": None if p.net is None else asdict(p.net),
                "effective": {
                    "compression": share[0],
                    "bending_y": share[1],
                    "bending_z": share[2],
                    "basis": seen.left.basis,
                    "design_stress": seen.design,
                    "design_basis": seen.clause,
                },
                "walls": [
                    {
                        "start": walls.start[i],
                        "end": walls.end[i],
                        "thickness": walls.thickness[i],
                        "free_ends": int(walls.free[i].sum()),
                        "share": float(seen.left.plate[:, i].min()),
                    }
                    for i in range(len(walls.thickness))
                ],
                "rings": [shapely.get_coordinates(ring) for ring in shapely.get_rings(p.outline)],
                "notes": notes(seen),
            }
        )
    )


def write_section(seen: Seen, path: Path) -> None:
    """Write section.json."""
    write_json(path, section_data(seen))
