"""One rail on many clamps against a banded solver of the same line and a general frame program.

Run: python benchmarks/rail_lines.py [--quick]

Times are the best of a few runs in this process after imports. References, measured in the same run:

- plane line: scipy's banded Cholesky (`solveh_banded`) of a straight beam on springs in one plane, two
  unknowns a clamp: the least that any solver of this line can take;
- same matrix: the same program on the very matrix of `fea.rails`, six unknowns a clamp;
- PyNiteFEA, a general frame program, at sizes that it can take, skipped when it is not installed. Its largest
  clamp force is compared too.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from importlib.util import find_spec

import numpy as np
from rich.console import Console
from rich.table import Table
from scipy.linalg import solveh_banded

from fea.rails.frame import solve_frame
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.rows import Frame, build_frame
from fea.solvers.direct import factorize, half_bandwidth
from roofmodel.hardware import Clamp, Interaction, Material, Rail
from roofmodel.layout import Layout
from roofmodel.sections import from_values

METAL = Material("aluminum", E=69e9, G=26e9, alpha=23e-6, density=2700.0, yield_strength=160e6)
SECTION = from_values(
    area=5e-4, I_y=9e-8, I_z=2e-7, J=2e-7, W_y=4e-6, W_z=6e-6, W_t=6e-6, depth_y=0.06, depth_z=0.04,
    shear_y=np.inf, shear_z=np.inf,
)  # fmt: skip
SPRING = np.array([2e6, 3e6, 5e6, 800.0, 900.0, 300.0])  # along the seam, across, pull, and about them
SPACING = 0.5  # of clamps [m]


def best(run: Callable[[], object], repeats: int) -> float:
    """Shortest of several runs. [s]."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        run()
        times.append(time.perf_counter() - begun)
    return min(times)


def line_layout(count: int) -> Layout:
    """One row with clamps at equal spacing and half a spacing over at its ends."""
    s = SPACING * (np.arange(count) + 0.5)
    none = np.zeros(0)
    return Layout(
        row_name=("R1",),
        row_plane=np.zeros(1, dtype=np.int64),
        row_start=np.zeros((1, 2)),
        row_end=np.array([[SPACING * count, 0.0]]),
        row_full=np.ones((1, 2), dtype=bool),
        clamp_name=tuple(f"R1-{i + 1}" for i in range(count)),
        clamp_row=np.zeros(count, dtype=np.int64),
        clamp_s=s,
        clamp_uv=np.stack([s, np.zeros(count)], axis=1),
        clamp_seam=np.arange(count),
        seam_angle=np.zeros(1),
        splice_row=none.astype(np.int64),
        splice_s=none,
        splice_kind=(),
    )


def line_clamp() -> Clamp:
    free = np.full(6, np.nan)
    return Clamp(np.diag(SPRING), free, free, 1.0, "", 0.0, 0.0, 0.06, 0.0, Interaction.LINEAR, "")


def line_loads(count: int) -> RailLoads:
    """A force down the slope on every second spacing."""
    start = SPACING * np.arange(0, count, 2.0)
    line = np.zeros((1, len(start), 4))
    line[..., 1], line[..., 2] = -1500.0, -400.0
    none = np.zeros(0)
    return RailLoads(
        np.zeros(len(start), dtype=np.int64), start, start + SPACING, line,
        none.astype(np.int64), none, np.zeros((1, 0, 6)), np.zeros(1),
    )  # fmt: skip


def plane_line(count: int, repeats: int) -> float:
    """Banded solution of the plane line. [s]."""
    EI, h = METAL.E * SECTION.I_z, SPACING
    band = np.zeros((4, 2 * count))
    band[3, 0::2], band[3, 1::2] = 24.0 * EI / h**3 + SPRING[0], 8.0 * EI / h + SPRING[5]
    band[2, 2::2] = -6.0 * EI / h**2
    band[1, 2::2], band[1, 3::2] = -12.0 * EI / h**3, 2.0 * EI / h
    band[0, 3::2] = 6.0 * EI / h**2
    load = np.ones(2 * count)
    return best(lambda: solveh_banded(band, load, check_finite=False), repeats)


def same_matrix(frame: Frame, repeats: int) -> float:
    """Banded solution of the matrix of a frame, the band made beforehand. [s]."""
    coo, width = frame.matrix.tocoo(), half_bandwidth(frame.matrix)
    lower = coo.row >= coo.col
    band = np.zeros((width + 1, frame.matrix.shape[0]), order="F")
    band[(coo.row - coo.col)[lower], coo.col[lower]] = coo.data[lower]
    load = np.ones(frame.matrix.shape[0])
    return best(lambda: solveh_banded(band, load, lower=True, check_finite=False), repeats)


def frame_program(count: int) -> tuple[float, np.ndarray]:
    """Whole time [s] and forces along the seams (n,) [N] by PyNiteFEA."""
    from Pynite import FEModel3D

    begun = time.perf_counter()
    model = FEModel3D()
    model.add_material("metal", METAL.E, METAL.G, 0.3, METAL.density)
    model.add_section("rail", SECTION.area, SECTION.I_z, SECTION.I_y, SECTION.J)
    places = [0.0, *(SPACING * (np.arange(count) + 0.5)), SPACING * count]
    for i, s in enumerate(places):  # its X along the rail, Y away from the roof, Z down the slope
        model.add_node(f"N{i}", float(s), 0.0, 0.0)
    loaded = {float(s) for s in SPACING * np.arange(0, count, 2.0)}
    for i in range(len(places) - 1):
        model.add_member(f"M{i}", f"N{i}", f"N{i + 1}", "metal", "rail")
        a, b = places[i], places[i + 1]
        edge = float(np.floor(a / SPACING + 1e-9) * SPACING)
        for start in (edge, edge + SPACING):
            low, high = max(a, start), min(b, start + SPACING)
            if start in loaded and high - low > 1e-9:
                model.add_member_dist_load(f"M{i}", "FZ", 1500.0, 1500.0, low - a, high - a)
                model.add_member_dist_load(f"M{i}", "FY", -400.0, -400.0, low - a, high - a)
    for i in range(1, len(places) - 1):
        for dof, stiffness in zip(("DZ", "DX", "DY", "RZ", "RX", "RY"), SPRING, strict=True):
            model.def_support_spring(f"N{i}", dof, float(stiffness))
    model.analyze_linear(check_stability=False)
    done = time.perf_counter()
    travel = np.array([model.nodes[f"N{i}"].DZ["Combo 1"] for i in range(1, len(places) - 1)])
    return done - begun, SPRING[0] * travel


def ours(count: int, repeats: int) -> tuple[Frame, FrameResult, dict[str, float]]:
    """Frame, result, and times of its steps. [s]."""
    layout, loads = line_layout(count), line_loads(count)
    rail, clamp = Rail(SECTION, METAL, np.nan, 0.0, 1.1, ""), line_clamp()
    frame = build_frame(layout, rail, clamp)
    right = np.ones((frame.matrix.shape[0], 1))
    factor = factorize(frame.matrix)
    times = {
        "build": best(lambda: build_frame(layout, rail, clamp), repeats),
        "factorize": best(lambda: factorize(frame.matrix), repeats),
        "solve": best(lambda: factor.backsolve(right), repeats),
        "whole": best(lambda: solve_frame(build_frame(layout, rail, clamp), loads), repeats),
    }
    return frame, solve_frame(frame, loads), times


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes only, to see that it runs")
    quick = parser.parse_args().quick
    console, repeats = Console(width=130), 2 if quick else 5
    table = Table(title="One rail on n clamps, milliseconds")
    for name in (
        "clamps", "plane line", "same matrix", "build", "factorize + solve", "over plane line",
        "over same matrix", "whole, with stations", "frame program", "times faster", "forces agree to",
    ):  # fmt: skip
        table.add_column(name, justify="right")
    compared = {100} if quick else {100, 300, 1000}
    if find_spec("Pynite") is None:
        compared = set()
        console.print("PyNiteFEA is not installed: no comparison with it.")
    for count in (100, 1000) if quick else (100, 300, 1000, 10_000):
        plane = plane_line(count, repeats)
        frame, result, times = ours(count, repeats)
        same = same_matrix(frame, repeats)
        solve = times["factorize"] + times["solve"]
        row = [plane, same, times["build"], solve]
        words = [f"{1e3 * t:.2f}" for t in row] + [f"{solve / plane:.1f}", f"{solve / same:.1f}"]
        words.append(f"{1e3 * times['whole']:.1f}")
        if count in compared:
            total, force = frame_program(count)
            off = np.abs(result.clamp_force[0, :, 0] - force).max() / np.abs(force).max()
            words += [f"{1e3 * total:.0f}", f"{total / times['whole']:.0f}", f"{off:.0e}"]
        else:
            words += ["", "", ""]
        table.add_row(f"{count:,}", *words)
    console.print(table)


if __name__ == "__main__":
    main()
