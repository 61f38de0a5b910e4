"""A roof of a million triangles: reading, repair, planes, edges and steps; then the flow of one case.

Run: python benchmarks/big_mesh.py [--quick]

The roof is a hip with a cross gable, a lean-to and a flat wing, every triangle divided, vertices and faces
shuffled, and written as a binary mesh file: once as drawn, once with noise of 3 cm on each axis, as of a
survey. Bars of the project: 15 s and 4 GB for reading to edges, 2 s for the flow. Each kind runs in a process
of its own, after imports; memory is the most that the process has used. The reference, measured in the same
run, is what the file library needs only to read the file. The share of the bar goes by the processor: on a
machine that does other work too, the clock says little.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
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
MOST = 4.0  # [GB]
NOISE = 0.03  # of a survey, standard deviation along each axis [m]
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


def measured(kind: str, count: int) -> dict[str, float]:
    """One kind of mesh, "drawn" or "surveyed": seconds of each step, memory, and what was found."""
    true = built()
    mesh = divided(true, count)
    found = {"triangles": float(len(mesh.faces))}
    if kind == "surveyed":
        mesh.vertices = mesh.vertices + np.random.default_rng(1).normal(0.0, NOISE, mesh.vertices.shape)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "roof.ply"
        mesh.export(path)
        begun = time.perf_counter()
        trimesh.load(path, process=False)
        found["file library only"] = time.perf_counter() - begun
        del mesh
        begun, worked = time.perf_counter(), time.process_time()
        roof = import_roof(path, unit="m", up="z")
        found["read to edges"] = time.perf_counter() - begun
        found["read to edges, processor"] = time.process_time() - worked
    row = RowTable.model_validate({"name": "R1", "plane": roof.planes.name[0], "up": "1 m"})
    layout = place_rows(roof, [row], [], PANEL)
    begun, worked = time.perf_counter(), time.process_time()
    force = slide(roof, (even(roof),), layout)[1]
    found["flow of one case"] = time.perf_counter() - begun
    found["flow of one case, processor"] = time.process_time() - worked
    covered = shapely.union_all(plan_polygons(roof.planes), grid_size=1e-3).area
    wanted = shapely.union_all(plan_polygons(true.planes), grid_size=1e-3).area
    near = np.argmax(roof.planes.normal @ true.planes.normal.T, axis=1)
    found["planes"], found["true planes"] = float(roof.planes.count), float(true.planes.count)
    found["area"] = covered / wanted - 1.0
    found["slope"] = float(np.degrees(np.abs(roof.planes.slope - true.planes.slope[near]).max()))
    found["balance"] = float(force.balance.error.max())
    found["most memory"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (
        1e9 if sys.platform == "darwin" else 1e6
    )
    return found


def in_a_process(kind: str, count: int) -> dict[str, float]:
    """The same in a process of its own."""
    words = [sys.executable, __file__, "--one", kind, str(count)]
    done = subprocess.run(words, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="20,000 triangles")
    parser.add_argument("--one", nargs=2, metavar=("KIND", "COUNT"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        print(json.dumps(measured(given.one[0], int(given.one[1]))))
        return
    count = 20_000 if given.quick else 1_000_000
    console = Console()
    table = Table("mesh", "step", "clock", "processor", "bar", "processor of bar")
    words = []
    for kind in ("drawn", "surveyed"):
        found = in_a_process(kind, count)
        table.add_row(kind, "file library only", f"{found['file library only']:.2f} s", "", "", "")
        for name, bar in BARS.items():
            taken = found[f"{name}, processor"]
            row = (f"{found[name]:.2f} s", f"{taken:.2f} s", f"{bar:g} s", f"{taken / bar:.0%}")
            table.add_row(kind, name, *row)
        table.add_row(kind, "most memory", f"{found['most memory']:.2f} GB", "", f"{MOST:g} GB", "")
        words.append(
            f"{kind}: {found['triangles']:,.0f} triangles, planes {found['planes']:.0f} of "
            f"{found['true planes']:.0f}, area {found['area']:+.1e}, slopes within {found['slope']:.3f} "
            f"degrees, balance of the flow {found['balance']:.0e}"
        )
    console.print(table)
    for line in words:
        console.print(line)


if __name__ == "__main__":
    main()
