"""A clamped square plate under pressure, whole process, against CalculiX on the same mesh.

Run: python benchmarks/shell_plate.py [--quick] [--elements N] [--cases Q]

Every run is a process of its own, so that times hold starting, reading and writing too, and the peak memory
is that of one run. CalculiX (ccx) solves the same nodes and elements with its S4, as it starts by itself and
told to use all processors; it is skipped when it is not installed. Closed form: w = 0.00126532 p a^4 / D at
the middle of a thin plate (Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, table 35; digits
from memory). Both programs count shear, which adds 0.05 %: accuracy is the distance from the limit of
refinement, extrapolated from our meshes of a quarter and half as many elements a side (error as h^2).
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

SIDE, THICKNESS, PRESSURE = 1.0, 0.005, 1000.0  # [m, m, Pa]
E, NU = 210e9, 0.3
CLOSED = 0.00126532 * PRESSURE * SIDE**4 / (E * THICKNESS**3 / 12.0 / (1.0 - NU**2))


def mesh(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nodes, elements and the nodes of the edge of n x n quads."""
    x, y = np.meshgrid(np.linspace(0.0, SIDE, n + 1), np.linspace(0.0, SIDE, n + 1), indexing="ij")
    xyz = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    i, j = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    a = (i * (n + 1) + j).ravel()
    node = np.stack([a, a + n + 1, a + n + 2, a + 1], axis=1)
    edge = np.flatnonzero(((xyz[:, :2] == 0.0) | (xyz[:, :2] == SIDE)).any(axis=1))
    return xyz, node, edge


def solve_here(n: int, cases: int) -> dict[str, float]:
    """One run in this process: times by part [s], peak memory [bytes], deflection of the middle [m]."""
    import resource

    from fea.model.assembly import build_system
    from fea.model.data import Model, Shells, Ties, node_dof
    from fea.model.loads import pressure
    from fea.model.solution import factorize_system, solve_model
    from roofmodel.hardware import Material

    clock = [time.perf_counter()]

    def lap() -> float:
        clock.append(time.perf_counter())
        return clock[-1] - clock[-2]

    steel = Material("steel", E=E, G=E / 2.0 / (1.0 + NU), alpha=0.0, density=0.0, yield_strength=1.0)
    xyz, node, edge = mesh(n)
    fixed = node_dof(edge).ravel()
    model = Model(
        xyz,
        shells=(Shells("plate", node, np.full(len(node), THICKNESS), steel),),
        ties=Ties(fixed_dof=fixed, fixed_value=np.zeros(len(fixed))),
    )
    part = {"mesh": lap()}
    system = build_system(model)
    part["elements and assembly"] = lap()
    F = pressure(model, 0, np.full((len(node), 1), PRESSURE))
    part["load"] = lap()
    factor = factorize_system(system)
    part["factorization"] = lap()
    solution = solve_model(system, F, factor=factor)
    part["solution, condition, residual, reactions"] = lap()
    part["peak"] = 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    part["deflection"] = float(solution.displacement[2::6, 0].max())
    part["unknowns"] = float(system.upper.shape[0])
    lap()
    factor.backsolve(system.gather(F))
    part["one backsolve"] = lap()
    if cases:
        rng, done = np.random.default_rng(0), 0.0
        for first in range(0, cases, 64):
            right = system.gather(F * rng.normal(size=(1, min(64, cases - first))))
            lap()
            factor(right)
            done += lap()
        part["per case"] = done / cases
    return part


def run_here(n: int, cases: int) -> dict[str, float]:
    command = [sys.executable, __file__, "--child", "--elements", str(n), "--cases", str(cases)]
    root = str(Path(__file__).resolve().parent.parent)
    done = subprocess.run(
        command, capture_output=True, text=True, check=True, cwd=root, env=os.environ | {"PYTHONPATH": root}
    )
    return dict(json.loads(done.stdout))


def deck(n: int) -> str:
    xyz, node, edge = mesh(n)
    middle = int(np.argmin(np.abs(xyz[:, :2] - SIDE / 2.0).sum(axis=1)))
    lines = ["*NODE, NSET=ALL"]
    lines += [f"{i + 1},{x:.12g},{y:.12g},0" for i, (x, y, _) in enumerate(xyz)]
    lines.append("*ELEMENT, TYPE=S4, ELSET=PLATE")
    lines += [f"{i + 1},{a},{b},{c},{d}" for i, (a, b, c, d) in enumerate(node + 1)]
    lines += ["*NSET, NSET=EDGE", *(f"{i + 1}," for i in edge), "*NSET, NSET=MIDDLE", f"{middle + 1},"]
    lines += ["*BOUNDARY", "EDGE,1,6", "*MATERIAL, NAME=M", "*ELASTIC", f"{E},{NU}"]
    lines += ["*SHELL SECTION, ELSET=PLATE, MATERIAL=M", f"{THICKNESS}", "*STEP", "*STATIC"]
    lines += ["*DLOAD", f"PLATE,P,{PRESSURE}", "*NODE PRINT, NSET=MIDDLE", "U", "*END STEP", ""]
    return "\n".join(lines)


def run_calculix(n: int, threads: int | None = None) -> tuple[float, float, float]:
    """Time [s], peak memory [bytes] and deflection [m] of CalculiX, writing of the deck not counted.

    Without a number of threads it runs as it does by itself: on one.
    """
    environment = {k: v for k, v in os.environ.items() if k not in ("OMP_NUM_THREADS", "CCX_NPROC_STIFFNESS")}
    if threads is not None:
        environment["OMP_NUM_THREADS"] = str(threads)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "plate.inp").write_text(deck(n))
        begun = time.perf_counter()
        with (Path(folder) / "log").open("w") as log:
            process = subprocess.Popen(["ccx", "plate"], cwd=folder, env=environment, stdout=log, stderr=log)
            _, status, usage = os.wait4(process.pid, 0)
        took = time.perf_counter() - begun
        if status:
            message = f"CalculiX ended with {status}"
            raise RuntimeError(message)
        words = (Path(folder) / "plate.dat").read_text().split()
        return took, 1024.0 * usage.ru_maxrss, abs(float(words[-1]))


def report(n: int, cases: int) -> None:
    console = Console()
    begun = time.perf_counter()
    part = run_here(n, 0)
    whole = time.perf_counter() - begun
    console.print(
        f"Clamped plate, {n} x {n} shells, {part['unknowns']:.0f} unknowns, {os.cpu_count()} processors"
    )
    table = Table("part", "time [s]", "share")
    steps = [k for k in part if k not in ("peak", "deflection", "unknowns", "one backsolve", "per case")]
    for name in steps:
        table.add_row(name, f"{part[name]:.2f}", f"{part[name] / whole:.0%}")
    rest = whole - sum(part[k] for k in steps)
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", "import numpy"], check=True)
    table.add_row("start, imports, one more backsolve, end", f"{rest:.2f}", f"{rest / whole:.0%}")
    table.add_row("(bare start of Python with numpy)", f"{time.perf_counter() - begun:.2f}", "")
    table.add_row("whole process", f"{whole:.2f}", "")
    console.print(table)
    bare = part["factorization"] + part["one backsolve"]
    console.print(
        f"Over bare factorization and solution of the same matrix ({bare:.2f} s): {whole - bare:.2f} s"
    )
    console.print(f"Peak memory {part['peak'] / 1e9:.2f} GB; deflection over closed form "
                  f"{part['deflection'] / CLOSED:.5f}")  # fmt: skip
    if shutil.which("ccx") is None:
        console.print("CalculiX (ccx) is not installed: no comparison")
    else:
        sides = np.array([2 * (n // 8), 2 * (n // 4)])
        coarse, fine = (run_here(side, 0)["deflection"] / CLOSED for side in sides.tolist())
        limit = fine + (fine - coarse) / ((sides[1] / sides[0]) ** 2 - 1.0)
        console.print(
            f"Limit of refinement {limit:.6f}; off it: ours {part['deflection'] / CLOSED - limit:+.1e}"
        )
        for threads in (None, os.cpu_count()):
            took, peak, deflection = run_calculix(n, threads)
            how = "as it starts" if threads is None else f"told to use {threads} threads"
            console.print(
                f"CalculiX S4, {how}: {took:.2f} s, {peak / 1e9:.2f} GB, off the limit "
                f"{deflection / CLOSED - limit:+.1e}; over ours: time {took / whole:.1f}, memory "
                f"{peak / part['peak']:.1f}"
            )
    if cases:
        more = run_here(n, cases)
        share = more["per case"] / more["factorization"]
        console.print(f"{cases} load cases on one factorization ({more['factorization']:.2f} s): "
                      f"{more['per case'] * 1e3:.1f} ms each, {share:.2%} of it")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="60 elements a side, 64 load cases")
    parser.add_argument("--elements", type=int, default=350, help="elements a side")
    parser.add_argument("--cases", type=int, default=1000, help="load cases on one factorization")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.child:
        print(json.dumps(solve_here(chosen.elements, chosen.cases)))
    elif chosen.quick:
        report(60, 64)
    else:
        report(chosen.elements, chosen.cases)


if __name__ == "__main__":
    main()
