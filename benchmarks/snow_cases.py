"""All snow cases of large roofs by each standard: time and memory.

Run: python benchmarks/snow_cases.py [--quick]

Three roofs: 50 planes on three levels, one plane with 77 long boxes whose drifts meet, and the building of
the first as a mesh of at least a million faces, read from a file. The import is timed beside the cases.
Each runs in a process of its own; memory is the peak of that process, imports included. The bars are what
we ask of ourselves: 2 s for the planes and the boxes, 30 s and 4 GB for the mesh, for the slowest standard.
They are held against the processor's time, which other work on the machine does not change much; the clock
stands beside it.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import tempfile
import time
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import trimesh
from rich.console import Console
from rich.table import Table

from roofmodel import RoofPart, build_roof, import_roof, snow_cases
from roofmodel.project.obstacle_schema import ObstructionTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite
from roofmodel.surface import RoofSurface
from roofmodel.units import SI

SITES = (
    AsceSite(ground_snow=1500.0, risk_category="II", winter_wind=0.5, slippery=True),
    Asce16Site(ground_snow=1500.0, risk_category="II", slippery=True),
    EnSite(ground_snow=1500.0, annex_b=True, exceptional_coefficient=2.0),
    NbccSite(ground_snow=1500.0, associated_rain=300.0, importance="normal", slippery=True),
)
BARS = {"planes": (2.0, 4.0), "boxes": (2.0, 4.0), "mesh": (30.0, 4.0)}  # [s], [GB]


def rectangle(x: float, y: float, width: float, depth: float) -> np.ndarray:
    """Footprint from its lower left corner. [m]."""
    return np.array([[x, y], [x + width, y], [x + width, y + depth], [x, y + depth]])


def building(wings: int) -> list[RoofPart]:
    """Hips at two heights in a row, each with a shed before it and a flat roof between two of them."""
    parts = []
    for i in range(wings):
        x = 28.0 * i
        parts.append(
            RoofPart("hip", rectangle(x, 0.0, 20.0, 14.0), np.radians([28.0] * 4), 9.0 + 2.5 * (i % 2))
        )
        parts.append(
            RoofPart("shed", rectangle(x, -7.0, 20.0, 7.0), np.radians([10.0]), 4.0, fall_azimuth=np.pi)
        )
        if i + 1 < wings:
            parts.append(RoofPart("flat", rectangle(x + 20.0, 0.0, 8.0, 14.0), eave_height=6.5))
    return parts


def with_boxes(wings: int) -> RoofSurface:
    """Plane with rows of long boxes, 77 of them for nine wings."""
    columns, rows = max(wings + 2, 2), max(wings - 2, 1)
    part = RoofPart("shed", rectangle(0.0, 0.0, 80.0, 60.0), np.radians([5.0]), 4.0, fall_azimuth=np.pi)
    roof = build_roof([part])
    boxes = [
        ObstructionTable.model_validate(
            {
                "name": f"box {i}-{j}",
                "plane": roof.planes.name[0],
                "across": f"{4 + 7 * i} m",
                "up": f"{4 + 8 * j} m",
                "width": "5 m",
                "depth": "1 m",
                "height": f"{1.5 + 0.1 * i + 0.05 * j} m",
            }
        )
        for i in range(columns)
        for j in range(rows)
    ]
    return replace(roof, obstacles=place_obstacles(roof, [], boxes, SI))


def fine_mesh(roof: RoofSurface, faces: int, folder: Path) -> Path:
    """The roof's triangles, split by four until there are at least so many, as a file."""
    mesh = trimesh.Trimesh(roof.points, roof.faces, process=False)
    while len(mesh.faces) < faces:
        mesh = mesh.subdivide()
    path = folder / "roof.ply"
    mesh.export(path)
    return path


def made_roof(kind: str, wings: int, path: Path) -> RoofSurface:
    """One of the three roofs."""
    if kind == "boxes":
        return with_boxes(wings)
    return build_roof(building(wings)) if kind == "planes" else import_roof(path, unit="m", up="z")


def measure(pipe: Connection, kind: str, wings: int, path: Path) -> None:
    """Time the import, where there is one, and all cases of each standard."""
    begun, before = time.perf_counter(), time.process_time()
    roof = made_roof(kind, wings, path)
    made, busy = time.perf_counter() - begun, time.process_time() - before
    found = []
    for site in SITES:
        start, spent = time.perf_counter(), time.process_time()
        cases = len(snow_cases(roof, site, {0}).cases)
        taken = time.perf_counter() - start, time.process_time() - spent
        found.append((site.standard, cases, *taken))
    scale = 1.0 if sys.platform == "darwin" else 1024.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale / 1e9
    pipe.send((roof.planes.count, roof.steps.count, len(roof.faces), made, busy, found, peak))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="small sizes only, to see that it runs")
    quick = parser.parse_args().quick
    wings, faces = (3, 20_000) if quick else (9, 1_000_000)
    console = Console(width=110)
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as folder:
        mesh = fine_mesh(build_roof(building(wings)), faces, Path(folder))
        for kind in BARS:
            ours, theirs = context.Pipe(duplex=False)
            child = context.Process(target=measure, args=(theirs, kind, wings, mesh))
            child.start()
            theirs.close()
            planes, steps, count, made, busy, found, peak = ours.recv()
            child.join()
            seconds, most = BARS[kind]
            how = "imported" if kind == "mesh" else "built"
            console.print(
                f"{planes} planes, {steps} steps, {count:,} faces, {how} in {made:.2f} s"
                f" ({busy:.2f} s of processor); peak {peak:.2f} GB",
                style="bold",
            )
            table = Table()
            heads = ("standard", "cases", "s", "s of processor", f"bar: {seconds:g} s, {most:g} GB")
            for n, name in enumerate(heads):
                table.add_column(name, justify="right" if 0 < n < len(heads) - 1 else "left")
            for standard, cases, taken, spent in found:
                kept = "kept" if spent <= seconds and peak <= most else "missed"
                table.add_row(standard, str(cases), f"{taken:.2f}", f"{spent:.2f}", kept)
            console.print(table)


if __name__ == "__main__":
    main()
