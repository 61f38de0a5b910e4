"""A roof of a million triangles: reading, repair, planes, edges and steps; then the flow of one case.

Run: python benchmarks/big_mesh.py [--quick]

The roof is a hip with a cross gable, a lean-to and a flat wing, every triangle divided, vertices and faces
shuffled, and written as a binary mesh file. Bars of the project: 15 s and 4 GB for reading to edges, 2 s for
the flow. Times are of one run in this process after imports, memory is the most that the process has used.
The reference, measured in the same run, is what the file library needs only to read the file.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import shapely
import trimesh
from rich.console import Console
from rich.table import Table

from roofmodel.hardware import Panel
from roofmodel.project.placement import place_rows
from roofmodel.project.schema import RowTable
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.sliding.thrust import slide
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone
from roofmodel.surface import RoofSurface

BARS = {"read to edges": 15.0, "flow of one case": 2.0}  # [s]
PANEL = Panel(0.4, 0.05, 0.0006, "steel", 0.5, np.nan, np.nan, 1.0)


def box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    """Corners of a rectangle. [m]."""
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def built() -> RoofSurface:
    """The roof before its triangles are divided."""
    return build_roof(
        [
            RoofPart("hip", box(0, 0, 60, 20), np.radians([30.0] * 4), 9.0),
            RoofPart("gable", box(20, -20, 40, 0), np.radians([np.nan, 30, np.nan, 30]), 9.0),
            RoofPart("shed", box(0, 20, 60, 28), np.radians([12.0]), 4.0, fall_azimuth=0.0),
            RoofPart("flat", box(60, 0, 80, 20), np.zeros(0), 5.0),
        ]
    )


def divided(roof: RoofSurface, count: int) -> trimesh.Trimesh:
    """So many triangles, in random order: all divided in four again and again, the last time only some."""
    mesh = trimesh.Trimesh(roof.points, roof.faces, process=False)
    while 4 * len(mesh.faces) <= count:
        mesh = mesh.subdivide()
    left = (count - len(mesh.faces)) // 3
    mesh = mesh.subdivide(face_index=np.argsort(mesh.triangles_center[:, 0])[:left])
    rng = np.random.default_rng(0)
    order = rng.permutation(len(mesh.vertices))
    faces = np.argsort(order)[mesh.faces][rng.permutation(len(mesh.faces))]
    return trimesh.Trimesh(mesh.vertices[order], faces, process=False)


def even(roof: RoofSurface) -> SnowCase:
    """One even load on all planes."""
    zones = tuple(
        Zone("even", i, polygon, np.array([1500.0, 0.0, 0.0]), "none", "p")
        for i, polygon in enumerate(plan_polygons(roof.planes))
    )
    return SnowCase("even", "benchmark", LoadLevel.MEASURED, zones, 300.0)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="20,000 triangles")
    count = 20_000 if parser.parse_args().quick else 1_000_000
    true = built()
    mesh = divided(true, count)
    seconds = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "roof.ply"
        mesh.export(path)
        begun = time.perf_counter()
        trimesh.load(path, process=False)
        seconds["file library only"] = time.perf_counter() - begun
        begun, worked = time.perf_counter(), time.process_time()
        roof = import_roof(path, unit="m", up="z")
        seconds["read to edges"] = time.perf_counter() - begun
        seconds["the same, of one processor"] = time.process_time() - worked
    row = RowTable.model_validate({"name": "R1", "plane": roof.planes.name[0], "up": "1 m"})
    layout = place_rows(roof, [row], [], PANEL)
    begun = time.perf_counter()
    force = slide(roof, (even(roof),), layout)[1]
    seconds["flow of one case"] = time.perf_counter() - begun
    covered = shapely.union_all(plan_polygons(roof.planes), grid_size=1e-3).area
    wanted = shapely.union_all(plan_polygons(true.planes), grid_size=1e-3).area
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e9 if sys.platform == "darwin" else 1e6)
    console = Console()
    table = Table("step", "time", "bar")
    for name, value in seconds.items():
        table.add_row(name, f"{value:.2f} s", f"{BARS[name]:g} s" if name in BARS else "")
    table.add_row("most memory", f"{used:.2f} GB", "4 GB")
    console.print(f"{len(mesh.faces)} triangles")
    console.print(table)
    console.print(
        f"planes {roof.planes.count} of {true.planes.count}, steps {roof.steps.count} of {true.steps.count}, "
        f"area {covered / wanted - 1.0:+.1e}, balance of the flow {force.balance.error.max():.0e}"
    )


if __name__ == "__main__":
    main()
