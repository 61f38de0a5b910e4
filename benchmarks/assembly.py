"""Assembly of many shells against the floor of the memory; condensed rows of clamps.

Run: python benchmarks/assembly.py [--quick] [--elements N]

The floor: every byte that assembly cannot avoid to move, at the speed of a large copy measured in the same
run. These are coordinates and corners read once, blocks of nodes added up (read and written once an element
and block, nothing left in the cache) and the matrix of the unknowns written once.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable

import numpy as np
from rail_lines import METAL, SECTION, best, line_clamp, line_layout
from rich.console import Console
from rich.table import Table
from scipy import sparse
from shell_plate import NU, THICKNESS, E, mesh

from fea.model.assembly import build_system
from fea.model.data import Model, Shells, Ties, node_dof
from fea.model.pattern import CHUNK, build_pattern, element_groups, sum_blocks
from fea.rails.rows import build_frame
from fea.solvers.condensation import condense_matrix
from fea.solvers.updates import dense_influence, update
from roofmodel.hardware import Material, Rail

BLOCK_BYTES = 288  # 6 x 6 numbers


def timed(run: Callable[[], object]) -> tuple[float, object]:
    begun = time.perf_counter()
    result = run()
    return time.perf_counter() - begun, result


def copy_speed() -> float:
    """Bytes moved (read and written) a second by a large copy."""
    source = np.ones(32 << 20)
    target = np.zeros_like(source)
    return 2.0 * source.nbytes / best(lambda: np.copyto(target, source), 3)


def plate(n: int, uneven: float) -> Model:
    """A plate whose nodes inside are moved by a share of the element's side, no two elements alike."""
    xyz, node, edge = mesh(n)
    inside = np.setdiff1d(np.arange(len(xyz)), edge)
    xyz[inside, :2] += uneven / n * np.random.default_rng(0).uniform(-1.0, 1.0, (len(inside), 2))
    steel = Material("steel", E=E, G=E / 2.0 / (1.0 + NU), alpha=0.0, density=0.0, yield_strength=1.0)
    fixed = node_dof(edge).ravel()
    shells = (Shells("plate", node, np.full(len(node), THICKNESS), steel),)
    return Model(xyz, shells=shells, ties=Ties(fixed_dof=fixed, fixed_value=np.zeros(len(fixed))))


def assembly(console: Console, count: int) -> None:
    n = round(np.sqrt(count))
    model = plate(n, 0.2)
    whole, system = timed(lambda: build_system(model))
    peak = 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    groups = element_groups(model)
    m = len(model.shells[0].node)
    pattern_time, pattern = timed(lambda: build_pattern(model, groups))
    elements, _ = timed(lambda: [len(groups[0].matrices(slice(i, i + CHUNK))) for i in range(0, m, CHUNK)])
    adding, blocks = timed(lambda: sum_blocks(groups, pattern))
    del blocks
    alike, _ = timed(lambda: build_system(plate(n, 0.0)))
    nonzero = system.upper.nnz
    moved = model.xyz.nbytes + model.shells[0].node.nbytes + 2 * BLOCK_BYTES * 10 * m + 12 * nonzero
    speed = copy_speed()
    table = Table(f"assembly of {m} shells, {system.upper.shape[0]} unknowns", "time [s]", "over the floor")
    floor = moved / speed
    for name, value in (
        (f"floor: {moved / 1e9:.1f} GB at {speed / 1e9:.1f} GB/s", floor),
        ("whole assembly", whole),
        ("whole assembly of an even mesh, whose elements are alike", alike),
        ("of it the pattern, used again when values change", pattern_time),
        ("of it elements and their sums, all processors", adding),
        ("element matrices alone, one processor", elements),
    ):
        table.add_row(name, f"{value:.2f}", f"{value / floor:.1f}")
    console.print(table)
    dense = 8.0 * 24 * 24 * m
    console.print(f"Peak memory {peak / 1e9:.2f} GB, the matrix {12 * nonzero / 1e9:.2f} GB; all element "
                  f"matrices at once would be {dense / 1e9:.2f} GB")  # fmt: skip


def condensed_row(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness of a row of clamps condensed onto the clamps' places, and the clamps' stiffness there."""
    rail = Rail(SECTION, METAL, np.nan, 0.0, 1.1, "")
    frame = build_frame(line_layout(count), rail, line_clamp())
    kept = frame.dof[frame.clamp_node, :6]
    upper = sparse.csr_array(sparse.triu(frame.matrix, format="csr"))
    at_rail = np.swapaxes(frame.clamp_grip, 1, 2) @ frame.clamp_stiffness @ frame.clamp_grip
    return condense_matrix(upper, kept.ravel()).stiffness, at_rail


def rows(console: Console) -> None:
    rng = np.random.default_rng(0)
    K, clamp = condensed_row(100)
    influence = dense_influence(K)
    loaded = np.arange(600).reshape(100, 6)[:, [1, 2]].ravel()  # up the slope and away from the roof
    to_force = (clamp @ influence.reshape(100, 6, 600)).reshape(600, 600)[:, loaded]
    cases = rng.normal(size=(200, 1000))
    product = best(lambda: to_force @ cases, 20)
    forces = np.ascontiguousarray(to_force.reshape(100, 6, 200)[:, :3].reshape(300, 200))
    forces_only = best(lambda: forces @ cases, 20)
    K, clamp = condensed_row(200)
    influence = dense_influence(K)
    u = influence @ rng.normal(size=(1200, 1))
    place = np.arange(600, 606)[None]

    def remove() -> np.ndarray:
        new = update(influence[None, :, 600:606], place, -clamp[100:101], u)
        return np.asarray(clamp @ new.displacement[0].reshape(200, 6, 1))

    remove_one = best(remove, 50)
    changed = K.copy()
    changed[600:606, 600:606] -= clamp[100]
    again = best(lambda: np.linalg.solve(changed, K @ u), 3)
    exact = clamp @ np.linalg.solve(changed, K @ u).reshape(200, 6, 1)
    exact[100] = 0.0
    found = remove()
    found[100] = 0.0
    wrong = np.abs(found - exact).max() / np.abs(exact).max()
    console.print(f"Row of 100 clamps, condensed, 1,000 load cases: forces in {forces_only * 1e3:.1f} ms, "
                  f"forces and moments in {product * 1e3:.1f} ms")  # fmt: skip
    console.print(f"One clamp of 200 removed: reactions in {remove_one * 1e3:.3f} ms; dense solution again "
                  f"{again * 1e3:.1f} ms ({again / remove_one:.0f} x); difference {wrong:.0e}")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="20,000 elements")
    parser.add_argument("--elements", type=int, default=1_000_000, help="number of shells")
    chosen = parser.parse_args()
    console = Console()
    rows(console)
    assembly(console, 20_000 if chosen.quick else chosen.elements)


if __name__ == "__main__":
    main()
