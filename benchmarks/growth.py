"""Time and memory of every stage, from small to very large, on one page.

python benchmarks/growth.py            writes GROWTH.md beside this file
python benchmarks/growth.py --quick    the two smallest sizes, writes nothing

Every size runs in a process of its own, whose processor time and memory are taken stage by stage. Memory is
the most that the process held during a stage, less what it held after imports.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))
LEAST = 0.02  # shorter stages say nothing about growth [s]


@dataclass
class Meter:
    """Processor time and memory of named stages in this process."""

    seconds: dict[str, float] = field(default_factory=dict)
    memory: dict[str, float] = field(default_factory=dict)
    size: float = 0.0
    track: list[tuple[float, float]] = field(default_factory=list)
    base: float = 0.0

    def watch(self) -> None:
        """Note the memory of this process every few milliseconds from now on."""
        self.base = resident()

        def follow() -> None:
            while True:
                self.track.append((time.perf_counter(), resident()))
                time.sleep(0.005)

        threading.Thread(target=follow, daemon=True).start()

    def peak(self, begun: float, ended: float) -> float:
        """Most memory between two readings of the clock. [MB]."""
        inside = [used for at, used in self.track if begun <= at <= ended]
        return max([*inside, resident() if not inside else 0.0]) - self.base

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Measure what is done inside."""
        begun, worked = time.perf_counter(), time.process_time()
        yield
        self.seconds[name] = time.process_time() - worked
        self.memory[name] = self.peak(begun, time.perf_counter())


def resident() -> float:
    """Memory of this process now. [MB]."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def clamps(meter: Meter, size: float) -> None:
    """The whole check of a barn with so many clamps, all cases."""
    from benchmarks.main_job import barn
    from fea import analyze
    from roofmodel import load_project

    rows = max(2, 2 * round(np.sqrt(size) / 20))
    length = 0.4 * size / rows + 0.5
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "barn.toml"
        path.write_text(barn(rows, round(length, 1), round(min(0.95 * length, 3.0 * rows), 1)))
        meter.watch()
        with meter.stage("read, build, place"):
            project = load_project(path)
    begun, worked = time.perf_counter(), time.process_time()
    found = analyze(project)
    share = (time.process_time() - worked) / sum(found.seconds.values())
    for name, taken in found.seconds.items():
        meter.seconds[name] = share * taken
        meter.memory[name] = meter.peak(begun, begun + taken)
        begun += taken
    meter.size = len(project.layout.clamp_name)


def faces(meter: Meter, size: float) -> None:
    """A roof file of so many triangles, read to its edges, and the flow of one case."""
    from benchmarks.big_mesh import PANEL, built, divided, even
    from roofmodel.project.placement import place_rows
    from roofmodel.project.schema import RowTable
    from roofmodel.shape.importing import import_roof
    from roofmodel.sliding.thrust import slide

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "roof.ply"
        mesh = divided(built(), int(size))
        mesh.export(path)
        meter.size = len(mesh.faces)
        del mesh
        meter.watch()
        with meter.stage("read, repair, recognize"):
            roof = import_roof(path, unit="m", up="z")
    row = RowTable.model_validate({"name": "R1", "plane": roof.planes.name[0], "up": "1 m"})
    with meter.stage("flow of one case"):
        slide(roof, (even(roof),), place_rows(roof, [row], [], PANEL))


def survey(meter: Meter, size: float) -> None:
    """The same of a surveyed roof: 3 mm of noise on every point."""
    from benchmarks.main_job import folded_mesh
    from roofmodel import recognize

    points, triangles = folded_mesh(int(size))
    meter.size = len(triangles)
    meter.watch()
    with meter.stage("planes, edges and steps"):
        recognize(points, triangles)


def layer(meter: Meter, size: float) -> None:
    """The blanket on a plane of 40 x 15 m, both states."""
    from benchmarks.blanket import PROJECT
    from fea.blanket.study import study_blanket
    from roofmodel.project.load import load_project

    step = float(np.sqrt(40.0 * 15.0 / size))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "project.toml"
        path.write_text(PROJECT.replace("MESH", f"{step:.3f} m"))
        project = load_project(path)
        meter.size = 40.0 * 15.0 / step**2
        meter.watch()
        with meter.stage("blanket"):
            study_blanket(project)


def samples(meter: Meter, size: float) -> None:
    """So many cascades of 100 clamps with about 20 failures each, one thread."""
    from benchmarks.failure_samples import BATCH, roof, strengths
    from fea.failure.cascade import cascade
    from fea.failure.condense import clamp_forces, condense

    layout, rail, clamp, loads = roof()
    made, force = condense(layout, rail, clamp), clamp_forces(layout, rail, clamp, loads)[0]
    cascade(made, 0.0 * force, force, strengths(0)[:2], 0.0, target=0.8)  # compiles
    meter.size = size
    meter.watch()
    with meter.stage("cascades"):
        for batch in range(int(size) // BATCH):
            cascade(made, 0.0 * force, force, strengths(batch), 0.0, target=0.8)


def cells(meter: Meter, size: float) -> None:
    """So many cells of span tables in four arrangements."""
    from fea.spans.capacity import Choices, span_tables
    from fea.spans.lines import Arrangement
    from fea.spans.study import study_hardware, study_roof
    from roofmodel.project.span_study import load_study

    study = load_study(HERE.parent / "models" / "cove-rails" / "spans.toml")
    hardware = study_hardware(study, study.variants[0], 0)
    shapes = (Arrangement.SINGLE, Arrangement.TWO, Arrangement.END, Arrangement.OVERHANG)
    choices = Choices(np.linspace(0.4, 3.0, 50), np.linspace(100.0, 10e3, int(size / 50)), shapes)
    meter.size = size
    meter.watch()
    with meter.stage("span tables"):
        span_tables(study_roof(study), (hardware,), choices)


@dataclass(frozen=True)
class Axis:
    """What grows: its words, sizes and run."""

    words: str
    run: Callable[[Meter, float], None]
    sizes: tuple[float, ...]


AXES = {
    "clamps": Axis("Clamps of a check", clamps, (10, 100, 1_000, 10_000, 19_000)),
    "faces": Axis("Triangles of a drawn roof", faces, (1e3, 1e4, 1e5, 1e6)),
    "survey": Axis("Triangles of a measured roof", survey, (1e3, 1e4, 1e5, 1e6)),
    "layer": Axis("Cells of the blanket", layer, (1e3, 1e4, 6e4)),
    "samples": Axis("Samples of progressive failure", samples, (1e3, 1e4, 1e5)),
    "cells": Axis("Cells of span tables, four arrangements each", cells, (1e3, 1e4, 1e5)),
}


def measured(axis: str, size: float) -> dict[str, dict[str, float] | float]:
    """One size in a process of its own."""
    words = [sys.executable, __file__, "--one", axis, str(size)]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(words, check=True, capture_output=True, text=True, env=env)
    return json.loads(done.stdout.splitlines()[-1])


def growth(sizes: list[float], values: list[float]) -> str:
    """Exponent of growth between the two largest sizes."""
    if len(values) < 2 or min(values[-2:]) < LEAST:
        return "–"
    return f"{np.log(values[-1] / values[-2]) / np.log(sizes[-1] / sizes[-2]):.2f}"


def table(words: str, found: list[dict]) -> str:
    """One axis: a line for each stage."""
    sizes = [one["size"] for one in found]
    head = "| stage | " + " | ".join(f"{size:,.0f}" for size in sizes) + " | grows as size to the |"
    lines = [head, "| --- |" + " ---: |" * (len(sizes) + 1)]
    for stage in found[-1]["seconds"]:
        took = [one["seconds"].get(stage, np.nan) for one in found]
        held = [one["memory"].get(stage, np.nan) for one in found]
        parts = [f"{t:.3g} s, {max(m, 0.0):.0f} MB" for t, m in zip(took, held, strict=True)]
        lines.append(f"| {stage} | " + " | ".join(parts) + f" | {growth(sizes, took)} |")
    return f"## {words}\n\n" + "\n".join(lines) + "\n"


HEAD = """# Growth

Written by `python benchmarks/growth.py`; do not edit. Processor time of one core and the most memory held
during each stage beyond what imports take, each size in a process of its own, {machine}. The last column is
the slope between the two largest sizes: 1 is in step with the size, 2 its square. Stages below {least:g} s
have no slope.
"""


def main() -> None:
    """Measure all sizes, write the page unless quick."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="small sizes only, write nothing")
    parser.add_argument("--only", choices=AXES, help="one axis, write nothing")
    parser.add_argument("--one", nargs=2, metavar=("AXIS", "SIZE"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        meter = Meter()
        AXES[given.one[0]].run(meter, float(given.one[1]))
        print(json.dumps({"size": meter.size, "seconds": meter.seconds, "memory": meter.memory}))
        return
    parts = [HEAD.format(machine=f"{os.cpu_count()} cores, {platform.machine()}", least=LEAST)]
    for name, axis in AXES.items():
        if given.only in (None, name):
            sizes = axis.sizes[:2] if given.quick else axis.sizes
            parts.append(table(axis.words, [measured(name, size) for size in sizes]))
            print(parts[-1], flush=True)
    if not given.quick and not given.only:
        from viewer.files import write_text

        write_text(HERE / "GROWTH.md", "\n".join(parts))


if __name__ == "__main__":
    main()
