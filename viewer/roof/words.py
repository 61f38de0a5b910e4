"""What is said about a roof, for terminal and picture alike."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roofmodel.shape.meshes import GLTF
from roofmodel.shape.planes import compass_name
from roofmodel.surface import FLAT_SLOPE, EdgeKind, RoofSurface
from roofmodel.units import UnitSystem

if TYPE_CHECKING:
    from viewer.roof.read import SeenRoof

LONGEST_EAVE = 150.0  # buildings have shorter ones, but for few (judgment) [m]
STEEPEST_ROOF = np.radians(55.0)  # most of a roof is flatter (judgment) [rad]
TALLEST = 3.0  # height of a roof over its size on plan (judgment) [-]

GAPS_NAMED = 3  # in the summary
ABUTTING = 0.05  # roofs that stand farther apart have a gap, no step between them [m]


@dataclass(frozen=True)
class PlaneLine:
    """One plane in words."""

    name: str
    slope: str
    falls: str
    true_area: str
    plan_area: str


@dataclass(frozen=True)
class EdgeLine:
    """One edge in words; the height is the eave's above ground or the wall's above the foot."""

    name: str
    kind: str
    length: str
    rises: str
    height: str


def unusual_words(roof: RoofSurface, units: UnitSystem) -> str:
    """What suggests a wrong unit or up axis, in one sentence; empty if nothing does."""
    planes, edges = roof.planes, roof.edges
    size = np.ptp(roof.points[roof.faces].reshape(-1, 3), axis=0)
    across, found = float(size[:2].max()), []
    eaves = edges.length[np.array([kind is EdgeKind.EAVE for kind in edges.kind], dtype=bool)]
    longest = float(eaves.max(initial=0.0))
    if longest > LONGEST_EAVE:
        found.append(f"an eave of {units.text(longest, 'length')}")
    steep = float(planes.true_area[planes.slope > STEEPEST_ROOF].sum() / planes.true_area.sum())
    if steep > 0.5:
        limit = units.text(STEEPEST_ROOF, "angle")
        found.append(f"{100.0 * steep:.0f} % of the area steeper than {limit}")
    if size[2] > TALLEST * across:
        found.append(f"{units.text(float(size[2]), 'length')} high on {units.text(across, 'length')} of plan")
    return f"Unusual for a building: {', '.join(found)}; check up and unit." if found else ""


def plane_lines(roof: RoofSurface, units: UnitSystem) -> list[PlaneLine]:
    """All planes, the largest first as the roof has them."""
    planes = roof.planes
    return [
        PlaneLine(
            planes.name[i],
            slope_words(float(planes.slope[i]), units),
            fall_words(float(planes.slope[i]), float(planes.azimuth[i])),
            units.text(float(planes.true_area[i]), "area"),
            units.text(float(planes.plan_area[i]), "area"),
        )
        for i in range(planes.count)
    ]


def edge_lines(roof: RoofSurface, units: UnitSystem) -> list[EdgeLine]:
    """All edges by kind, then by falling length."""
    edges = roof.edges
    rank = {kind: place for place, kind in enumerate(EdgeKind)}
    length = edges.length
    order = sorted(range(edges.count), key=lambda i: (rank[edges.kind[i]], -length[i]))
    rise = np.abs(edges.end[:, 2] - edges.start[:, 2]) / np.maximum(length, 1e-300)
    slope = np.arcsin(np.clip(rise, 0.0, 1.0))
    return [
        EdgeLine(
            edges.name[i],
            edges.kind[i].value,
            units.text(float(length[i]), "length"),
            "level" if slope[i] < np.radians(0.05) else f"{np.degrees(slope[i]):.1f}°",
            f"{units.text(float(edges.height[i]), 'length')} {_height_word(edges.kind[i])}",
        )
        for i in order
    ]


def _height_word(kind: EdgeKind) -> str:
    return "wall" if kind is EdgeKind.STEP else "up"


def slope_words(slope: float, units: UnitSystem) -> str:
    """Slope in degrees and, in the trade's words, as rise on 12."""
    if slope < FLAT_SLOPE:
        return "flat"
    degrees = f"{np.degrees(slope):.1f}°"
    return f"{degrees} ({12.0 * np.tan(slope):.3g}:12)" if units.name == "US" else degrees


def fall_words(slope: float, azimuth: float) -> str:
    """Where a plane falls to, such as "S 180°"."""
    if slope < FLAT_SLOPE:
        return "nowhere"
    return f"{compass_name(azimuth)} {round(float(np.degrees(azimuth))) % 360}°"


def summary_words(roof: RoofSurface, units: UnitSystem) -> str:
    """The roof in one line."""
    planes = roof.planes
    steep = np.degrees(planes.slope)
    slopes = f"{steep.min():.1f}° to {steep.max():.1f}°" if np.ptp(steep) > 0.1 else f"{steep.max():.1f}°"
    count = f"{planes.count} plane{'' if planes.count == 1 else 's'}"
    area = units.text(float(planes.plan_area.sum()), "area")
    true = units.text(float(planes.true_area.sum()), "area")
    apart = int(np.count_nonzero(roof.steps.gap > ABUTTING))
    steps = roof.steps.count - apart
    more = f", {steps} step{'' if steps == 1 else 's'} to a higher roof" if steps else ""
    if apart:
        more += (
            f", higher edges across a gap in {apart} place{'' if apart == 1 else 's'} ({_gaps(roof, units)})"
        )
    return f"{count}, slopes {slopes}, {area} on plan, {true} on the slope{more}"


def _gaps(roof: RoofSurface, units: UnitSystem) -> str:
    """Where roofs stand across gaps: which edge over which plane, and how far away, the nearest first."""
    steps = roof.steps
    which = np.flatnonzero(steps.gap > ABUTTING)
    which = which[np.argsort(steps.gap[which], kind="stable")]
    words = [
        f"{roof.edges.name[steps.upper_edge[i]]} over {roof.planes.name[steps.lower[i]]}, "
        f"{units.text(float(steps.gap[i]), 'length')} away"
        for i in which[:GAPS_NAMED].tolist()
    ]
    return "; ".join([*words, *(["..."] if len(which) > GAPS_NAMED else [])])


def kind_lengths(roof: RoofSurface) -> list[tuple[EdgeKind, int, float]]:
    """Kinds of edges that are there, with count and total length. [m]."""
    length = roof.edges.length
    found = []
    for kind in EdgeKind:
        mine = np.array([one is kind for one in roof.edges.kind], dtype=bool)
        if mine.any():
            found.append((kind, int(mine.sum()), float(length[mine].sum())))
    return found


def roof_table(seen: SeenRoof) -> str:
    """The table [roof] of a project for a roof file, as it was read; empty for projects."""
    if not seen.given:
        return ""
    lines = ["[roof]"]
    for key, value in seen.given.items():
        given = list(value) if isinstance(value, tuple) else value
        lines.append(f"{key} = {json.dumps(given, ensure_ascii=False)}")
    planes = seen.roof.planes
    flat = [name for name, slope in zip(planes.name, planes.slope, strict=True) if slope <= FLAT_SLOPE]
    if flat:
        left_out = f"# leave_out = {json.dumps(flat, ensure_ascii=False)}"
        lines.append(f"{left_out:<32}# level: take out what is no roof, such as a floor slab")
    return "\n".join(lines)


def axes_words(seen: SeenRoof) -> str:
    """How the axes of a roof file become east, north and up on plan; empty for projects."""
    up = "y" if seen.inputs[0].suffix.lower() in GLTF else seen.given.get("up")
    if not seen.given or up is None:
        return ""
    north = "minus its z" if up == "y" else "its y"
    unit = seen.given.get("unit", "m")
    scale = "" if unit == "m" else f", {unit} made m"
    return (
        f"On plan (roof.png, [[protect]]) east is the file's x, north {north}{scale}; heights are its {up}. "
        "Where the file's north is another, give roof.north."
    )
