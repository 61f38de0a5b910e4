"""How well roofs are recognized: precision and recall on city data, area and slopes right under survey noise.

Run: python benchmarks/recognition.py [--quick]

City data: every building is read once by the file's own marks (RoofSurface), which are the truth, and once
with all marks set aside, so that the roof must be found among walls, floors and soffits. Points are thrown on
both; one is right where the other has a surface within 5 cm of height there. Precision is the share of what
was found that the file marks as roof, recall the share of its marks, flatter than 75 degrees, that was found.

Noise: roofs with exact answers are measured at random points with 3 cm standard deviation along each axis.
Right is where the plane that was found has the true normal within 2 degrees. Bars of the project: 95 % of the
area, slopes of planes above 10 m2 within 0.5 degrees at 8 points per m2. Nearly flat roofs are shown too:
where planes part by less than the noise over most of their area, they cannot be told apart.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from rich.console import Console
from rich.table import Table
from scipy.spatial import Delaunay

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.importing import ReadOptions, import_roof, read_raw
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.surface import RoofSurface

ROOT = Path(__file__).parents[1]
CITY = {
    "Zurich, 25 buildings": ROOT / "models" / "sentier-house" / "zurich_lod2_25_buildings.city.json",
    "The Hague, 4 buildings": ROOT / "tests" / "data" / "roofs" / "denhaag_4_buildings_lod2.city.json",
    "house and garage": ROOT / "tests" / "data" / "roofs" / "building_and_garage_lod2_citygml2.gml",
    "hips and valleys": ROOT
    / "tests"
    / "data"
    / "roofs_sharealike"
    / "ingolstadt_4018149a_hip_valley_lod3.gml",
    "dormers": ROOT / "tests" / "data" / "roofs_sharealike" / "ingolstadt_4018258_dormers_lod3.gml",
}
STEEPEST = np.radians(75.0)
NEAR = 0.05  # [m]
NOISE = 0.03  # standard deviation along each axis [m]
Array = np.ndarray


def names(path: Path) -> list[str | None]:
    """Buildings of a file."""
    if path.suffix != ".json":
        return [None]
    objects = json.loads(path.read_text())["CityObjects"]
    return [name for name, one in objects.items() if one["type"] == "Building"]


def thrown(points: Array, faces: Array, count: int) -> Array:
    """Random points (count, 3) on triangles, evenly by area."""
    rng = np.random.default_rng(0)
    a, b, c = points[faces].transpose(1, 0, 2)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    face = rng.choice(len(faces), count, p=area / area.sum())
    u, v = rng.random((2, count, 1))
    flip = u + v > 1.0
    u, v = np.where(flip, 1.0 - u, u), np.where(flip, 1.0 - v, v)
    return np.asarray(a[face] + u * (b - a)[face] + v * (c - a)[face])


def met(spot: Array, points: Array, faces: Array) -> Array:
    """Whether triangles lie within `NEAR` of height at points (n, 3)."""
    corner = points[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    shapes = np.asarray(shapely.polygons(corner[:, :, :2]))
    at, on = shapely.STRtree(shapes).query(shapely.points(spot[:, :2]), "dwithin", distance=0.01)
    upright = np.abs(normal[on, 2]) < 1e-9
    drop = np.einsum("kx,kx->k", spot[at] - corner[on, 0], normal[on]) / np.where(upright, 1.0, normal[on, 2])
    found = np.zeros(len(spot), dtype=bool)
    found[at[(np.abs(drop) < NEAR) & ~upright]] = True
    return found


def compared(path: Path, name: str | None, count: int) -> tuple[float, float, float, float]:
    """Area found and right, area marked and met. [m2]."""
    truth = read_raw(path, ReadOptions(building=name))
    corner = truth.points[truth.faces]
    vector = 0.5 * np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(vector, axis=1)
    flat = (np.abs(vector[:, 2]) > np.cos(STEEPEST) * size) & (size > 1e-6)
    roof = import_roof(path, building=name, marks=False)
    own = roof.points + roof.offset
    right = met(thrown(own, roof.faces, count), truth.points, truth.faces[size > 1e-6])
    met_marks = met(thrown(truth.points, truth.faces[flat], count), own, roof.faces)
    found, marked = float(roof.planes.true_area.sum()), float(size[flat].sum())
    return found, found * float(right.mean()), marked, marked * float(met_marks.mean())


def city_table(quick: bool) -> Table:
    """Precision and recall by area."""
    table = Table("city data", "buildings", "found", "precision", "marked", "recall")
    sums = np.zeros(4)
    for title, path in CITY.items():
        if quick and title.startswith("Zurich"):
            continue
        rows, refused = [], 0
        for name in names(path):
            try:
                rows.append(compared(path, name, 500 if quick else 4000))
            except InputError:
                refused += 1
        total = np.array(rows).reshape(-1, 4).sum(axis=0)
        sums += total
        table.add_row(title, f"{len(rows)}{f' ({refused} refused)' if refused else ''}", *shares(total))
    table.add_row("all", "", *shares(sums))
    return table


def shares(total: Array) -> list[str]:
    """Words for found, precision, marked and recall."""
    found, right, marked, reached = total
    return [f"{found:.0f} m2", f"{right / found:.1%}", f"{marked:.0f} m2", f"{reached / marked:.1%}"]


def box(length: float, width: float) -> Array:
    """Corners of a rectangle. [m]."""
    return np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])


def hip(pitch: float) -> RoofPart:
    """A hip of 14 by 10 m."""
    return RoofPart("hip", box(14.0, 10.0), np.radians([pitch] * 4), 3.0)


ELL = np.array([[0, 0], [12, 0], [12, 6], [6, 6], [6, 14], [0, 14]], dtype=float)
ROOFS = {
    "gable 30": RoofPart("gable", box(12.0, 8.0), np.radians([30, np.nan, 30, np.nan]), 3.0),
    "hip 30": hip(30.0),
    "L 30": RoofPart("L", ELL, np.radians([30.0] * 6), 3.0),
    "saltbox 22, 40": RoofPart("gable", box(20.0, 12.0), np.radians([22, np.nan, 40, np.nan]), 3.0),
    "hip 8": hip(8.0),
    "hip 5 (nearly flat)": hip(5.0),
    "hip 3 (nearly flat)": hip(3.0),
}


def measured(roof: RoofSurface, density: float, seed: int) -> tuple[Array, Array]:
    """Noisy points over a roof, so many per m2 of plan, and along its outline; triangulated on plan.

    The slivers that join corners of the outline are left out, as by anyone who cuts a roof out of a survey.
    """
    rng = np.random.default_rng(seed)
    plan = plan_polygons(roof.planes)
    whole = shapely.union_all(plan, grid_size=1e-6)
    low, high = np.array(whole.bounds).reshape(2, 2)
    xy = rng.uniform(low, high, (int(density * np.prod(high - low)), 2))
    rim = shapely.line_interpolate_point(whole.exterior, np.arange(0.0, whole.length, 0.35))
    xy = np.vstack([xy[shapely.contains_xy(whole, *xy.T)], shapely.get_coordinates(rim)])
    z = np.full(len(xy), np.nan)
    for index, polygon in enumerate(plan):
        on = shapely.contains_xy(polygon.buffer(1e-6), *xy.T) & np.isnan(z)
        z[on] = height_at(roof.planes, index, xy[on])
    points = np.column_stack([xy, z])[~np.isnan(z)]
    points = points + rng.normal(0.0, NOISE, points.shape)
    faces = Delaunay(points[:, :2]).simplices.astype(np.int64)
    corner = points[faces][:, :, :2]
    side = corner - np.roll(corner, 1, axis=1)
    thin = np.abs(side[:, 1, 0] * side[:, 2, 1] - side[:, 1, 1] * side[:, 2, 0])
    thin /= np.linalg.norm(side, axis=2).max(axis=1)
    middle = corner.mean(axis=1)
    at_rim = shapely.distance(shapely.points(middle), whole.exterior) < 0.2
    return points, faces[shapely.contains_xy(whole, *middle.T) & ((thin > 0.06) | ~at_rim)]


def right_and_slopes(found: RoofSurface, true: RoofSurface) -> tuple[float, float]:
    """Share of the plan with the right normal, and largest error of slope of planes above 10 m2. [-, rad]."""
    plan = plan_polygons(true.planes)
    whole = shapely.union_all(plan, grid_size=1e-6)
    low, high = np.array(whole.bounds).reshape(2, 2)
    spot = np.random.default_rng(0).uniform(low, high, (8000, 2))
    spot = spot[shapely.contains_xy(whole, *spot.T)]
    normal = np.zeros((2, len(spot), 3))
    for which, roof in enumerate((found, true)):
        for index, polygon in enumerate(plan_polygons(roof.planes)):
            normal[which, shapely.contains_xy(polygon, *(spot - roof.offset[:2]).T)] = roof.planes.normal[
                index
            ]
    right = np.sum(normal[0] * normal[1], axis=1) > np.cos(np.radians(2.0))
    large = np.flatnonzero(found.planes.true_area > 10.0)
    near = np.argmax(found.planes.normal[large] @ true.planes.normal.T, axis=1)
    off = np.abs(found.planes.slope[large] - true.planes.slope[near])
    return float(right.mean()), float(off.max(initial=0.0))


def noise_table(quick: bool) -> Table:
    """Area right and slopes under noise, the worst of several surveys."""
    table = Table("3 cm of noise", "points per m2", "planes", "found", "area right", "slope off")
    for title, part in ROOFS.items():
        true = build_roof([part])
        for density in (8,) if quick else (8, 20):
            runs = [recognize(*measured(true, density, seed)) for seed in range(1 if quick else 6)]
            found = np.array([right_and_slopes(roof, true) for roof in runs])
            counts = [roof.planes.count for roof in runs]
            number = f"{min(counts)}" if min(counts) == max(counts) else f"{min(counts)} to {max(counts)}"
            off = np.degrees(found[:, 1].max())
            table.add_row(
                title,
                f"{density}",
                f"{true.planes.count}",
                number,
                f"{found[:, 0].min():.1%}",
                f"{off:.2f} deg",
            )
    return table


DORMERS = [
    Dormer("S1", 3.0, 1.5, 2.0, 1.2, np.radians(35)),
    Dormer("S1", 7.0, 1.5, 2.4, 1.3, np.radians(12), "shed"),
    Dormer("S1", 11.0, 1.5, 2.4, 1.2, np.radians(30)),
]


def dormers_found(density: float, seed: int, dormers: Sequence[Dormer]) -> tuple[int, int, int]:
    """Planes of dormers, how many of them a survey shows, and planes found that are none.

    One is shown where a plane within 8 degrees of its normal shares more than half of what the two cover.
    """
    true = build_roof(
        [RoofPart("gable", box(14.0, 10.0), np.radians([40, np.nan, 40, np.nan]), 3.0)], dormers
    )
    found = recognize(*measured(true, density, seed))
    plan = [shapely.transform(one, lambda xy: xy + found.offset[:2]) for one in plan_polygons(found.planes)]
    alike = found.planes.normal @ true.planes.normal.T > np.cos(np.radians(8.0))
    same = np.array(
        [[a.intersection(b).area > 0.5 * a.union(b).area for b in plan_polygons(true.planes)] for a in plan]
    )
    same &= alike
    small = true.planes.plan_area < 20.0
    return int(small.sum()), int(same.any(axis=0)[small].sum()), int((~same.any(axis=1)).sum())


def dormer_table(quick: bool) -> Table:
    """Recall and precision of small planes: 1.8 to 5 m2 on plan, lost mostly where below some 25 points."""
    table = Table("dormers under 3 cm of noise", "points per m2", "planes", "recall", "precision")
    for density in (8,) if quick else (8, 12, 20):
        runs = [dormers_found(density, seed, DORMERS) for seed in range(1 if quick else 32)]
        there, right, wrong = np.sum(runs, axis=0).tolist()
        table.add_row(
            "two gables, a shed",
            f"{density}",
            f"{there}",
            f"{right / there:.0%}",
            f"{right / (right + wrong):.0%}",
        )
    return table


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="few buildings, points and surveys")
    quick = parser.parse_args().quick
    console = Console(width=110)
    console.print(city_table(quick))
    console.print(noise_table(quick))
    console.print(dormer_table(quick))


if __name__ == "__main__":
    main()
