"""The main job by stage, and how time grows with clamps and with roof faces.

Run: python benchmarks/main_job.py [--quick]

Times are the best of a few runs in this process after imports. Next to each size stands the ratio to a
named reference measured in the same run: for clamps, scipy's banded Cholesky (`solveh_banded`) solving one
straight beam on as many springs with as many right-hand sides; for faces, trimesh's grouping of coplanar
faces (`Trimesh.facets`) on the same mesh.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh
from rich.console import Console
from rich.table import Table
from scipy.linalg import solveh_banded

from fea import analyze
from fea.moving import prepare, resolve
from roofmodel import load_project, recognize
from roofmodel.project.load import Project
from viewer.starter import starter_text

ROOT = Path(__file__).parents[1]


def best(run: Callable[[], object], repeats: int) -> float:
    """Shortest of several runs. [s]."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        run()
        times.append(time.perf_counter() - begun)
    return min(times)


def barn(rows: int, length: float, width: float) -> str:
    """Project text of a gable barn with rows on both sides, seams every 0.4 m."""
    text = starter_text("gable", "SI").replace(
        "0 0, 14 0, 14 9, 0 9 m", f"0 0, {length} 0, {length} {width}, 0 {width} m"
    )
    head, tail = text.replace('seam_spacing = "430 mm"', 'seam_spacing = "400 mm"').split("[[row]]")
    per_side = rows // 2
    run = 0.5 * width / np.cos(np.radians(30.0)) - 0.8
    body = "".join(
        f'[[row]]\nname = "{plane}-{k + 1}"\nplane = "{plane}"\nup = "{0.6 + k * run / per_side:.3f} m"\n\n'
        for plane in ("S1", "N1")
        for k in range(per_side)
    )
    return head + body + tail[tail.index("[design]") :]


def beam_on_springs(count: int, rhs: int) -> float:
    """Reference: a straight beam of unit spans on `count` springs by scipy's banded Cholesky. [s]."""
    dof = 2 * count
    band = np.zeros((4, dof))
    band[3, 0::2], band[3, 1::2] = 25.0, 8.0
    band[2, 1::2], band[2, 2::2] = 0.0, -6.0
    band[1, 2::2], band[1, 3::2] = -12.0, 2.0
    band[0, 3::2] = 6.0
    load = np.ones((dof, rhs))
    return best(lambda: solveh_banded(band, load), 3)


def folded_mesh(faces: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of a roof folded into four planes, 3 mm of noise."""
    n = max(int(np.sqrt(faces / 2)), 4) // 4 * 4
    x, y = np.meshgrid(np.linspace(0, 40, n + 1), np.linspace(0, 40, n + 1))
    z = 6.0 * (1.0 - np.abs((y / 10.0) % 2.0 - 1.0))
    noise = np.random.default_rng(1).normal(0.0, 0.003, z.shape)
    points = np.stack([x, y, z + noise], axis=-1).reshape(-1, 3)
    i = np.arange(n * (n + 1)).reshape(n, n + 1)[:, :-1].ravel()
    return points, np.concatenate(
        [np.stack([i, i + 1, i + n + 2], 1), np.stack([i, i + n + 2, i + n + 1], 1)]
    )


def slope(sizes: list[float], times: list[float]) -> float:
    """Exponent of growth between the two largest sizes."""
    return float(np.log(times[-1] / times[-2]) / np.log(sizes[-1] / sizes[-2]))


def stages(console: Console, repeats: int) -> None:
    """The demo with a valley, by stage."""
    path = ROOT / "models" / "cedar-hollow" / "project.toml"
    project = load_project(path)
    runs = [analyze(project).seconds for _ in range(repeats + 1)][1:]
    console.print(f"Cedar Hollow: {len(project.layout.clamp_name)} clamps, by stage", style="bold")
    table = Table()
    table.add_column("stage")
    table.add_column("ms", justify="right")
    table.add_row("read, build, place", f"{1e3 * best(lambda: load_project(path), repeats):.1f}")
    for stage in runs[0]:
        table.add_row(stage, f"{1e3 * min(run[stage] for run in runs):.1f}")
    table.add_row("computing in all", f"{1e3 * min(sum(run.values()) for run in runs):.1f}")
    table.add_row("again after a row has moved", f"{1e3 * after_a_move(project, repeats):.1f}")
    console.print(table)


def after_a_move(project: Project, repeats: int) -> float:
    """Shortest time of the whole check after a row has moved to a new place. [s]."""
    prepared, row = prepare(project), project.table.row[0]
    places = iter(row.up + 0.05 * np.arange(repeats + 1))
    resolve(prepared, {row.name: {"up": float(next(places))}}, beyond=False)
    return best(lambda: resolve(prepared, {row.name: {"up": float(next(places))}}, beyond=False), repeats)


def clamps(console: Console, sizes: list[tuple[int, float, float]], repeats: int) -> None:
    """Growth with the number of clamps."""
    console.print("Growth with clamps (all cases, after imports)", style="bold")
    table = Table()
    for name in (
        "clamps",
        "cells",
        "read s",
        "compute s",
        "solve s",
        "right-hand sides",
        "solve / solveh_banded",
    ):
        table.add_column(name, justify="right")
    counts, times = [], []
    with tempfile.TemporaryDirectory() as folder:
        for rows, length, width in sizes:
            path = Path(folder) / "barn.toml"
            path.write_text(barn(rows, length, width))
            project = load_project(path)
            read = best(lambda path=path: load_project(path), 1)
            analyses = [analyze(project) for _ in range(repeats)]
            least = min(analyses, key=lambda a: sum(a.seconds.values()))
            total = sum(least.seconds.values())
            count = len(project.layout.clamp_name)
            reference = beam_on_springs(count, least.basis.count)
            solve = least.seconds["structure"]
            table.add_row(
                f"{count:,}",
                f"{least.graph.cells.count:,}",
                f"{read:.2f}",
                f"{total:.2f}",
                f"{solve:.3f}",
                str(least.basis.count),
                f"{solve / reference:.0f}",
            )
            counts.append(float(count))
            times.append(total)
    console.print(table)
    console.print(f"Computing grows as clamps ^ {slope(counts, times):.2f} at the large end.\n")


def faces(console: Console, sizes: list[int], repeats: int) -> None:
    """Growth with the number of roof faces."""
    console.print("Growth with roof faces: recognition of planes, edges and steps", style="bold")
    table = Table()
    for name in ("faces", "planes", "recognize s", "trimesh facets s", "ratio"):
        table.add_column(name, justify="right")
    counts, times = [], []
    for size in sizes:
        points, triangles = folded_mesh(size)
        found = recognize(points, triangles)
        taken = best(lambda p=points, t=triangles: recognize(p, t), repeats)
        reference = best(lambda p=points, t=triangles: trimesh.Trimesh(p, t, process=False).facets, 1)
        table.add_row(
            f"{len(triangles):,}",
            str(found.planes.count),
            f"{taken:.3f}",
            f"{reference:.3f}",
            f"{taken / reference:.2f}",
        )
        counts.append(float(len(triangles)))
        times.append(taken)
    console.print(table)
    console.print(f"Recognition grows as faces ^ {slope(counts, times):.2f} at the large end.\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes only, to see that it runs")
    quick = parser.parse_args().quick
    console = Console()
    repeats = 1 if quick else 3
    stages(console, repeats)
    barns = [(2, 2.0, 1.9), (2, 20.0, 9.0), (4, 100.0, 20.0), (20, 200.0, 80.0)]
    clamps(console, barns[:3] if quick else barns, repeats)
    faces(console, [1_000, 10_000] if quick else [1_000, 10_000, 100_000, 1_000_000], repeats)


if __name__ == "__main__":
    main()
