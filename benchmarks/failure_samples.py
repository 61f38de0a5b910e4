"""100,000 progressive failures of a roof with 100 clamps, against solving each event from scratch.

Four rows of 25 clamps on a real rail (3D frame, eccentric clamps), brittle clamps of scattered strength, the
load set so that some 20 clamps fail in a sample on average. From scratch means that after each event the
system is solved anew: by the condensed equations of all clamps (numpy), and by the frame itself. Run it with
one thread for linear algebra, which helps neither side on systems of this size:

    OMP_NUM_THREADS=1 python benchmarks/failure_samples.py [--quick]
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from scipy import sparse

from fea.failure.cascade import cascade
from fea.failure.condense import clamp_forces, condense
from fea.rails.frame import build_frame, solve_frame
from tests.frame.rails import make_clamp, make_layout, make_loads, plain_rail

ROWS, EACH, SCATTER, BATCH = 4, 25, 0.25, 1000


def roof():
    clamps = list(0.3 + 0.4 * np.arange(EACH))
    rows = [{"length": 10.2, "clamps": clamps, "start": (0.0, 3.0 * r)} for r in range(ROWS)]
    layout, rail = make_layout(rows), plain_rail(4e3)
    clamp = make_clamp([2e6, 3e6, 5e6, 800.0, 900.0, 300.0], 0.06)
    loads = make_loads([(r, 0.0, 10.2, (0.0, -2500.0, 0.0, 0.0)) for r in range(ROWS)])
    return layout, rail, clamp, loads


def strengths(batch: int) -> np.ndarray:
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence([1, batch])))
    return 1000.0 * rng.lognormal(-0.5 * SCATTER**2, SCATTER, (BATCH, ROWS * EACH))


def plain(solve, strength: np.ndarray, target: float) -> tuple[int, float]:
    """One sample, each event from scratch: failures and the last factor; brittle, monotone."""
    alive = np.ones(len(strength), dtype=bool)
    factor = 0.0
    while alive.any():
        unit = solve(alive)
        with np.errstate(divide="ignore"):
            at = np.where(alive & (unit > 0.0), strength / np.maximum(unit, 1e-300), np.inf)
        k = int(at.argmin())
        if at[k] > max(factor, target):
            break
        factor = max(factor, float(at[k]))
        alive[k] = False
    return int((~alive).sum()), factor


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="2,000 samples, fewer from scratch")
    quick = parser.parse_args().quick
    count = 2_000 if quick else 100_000
    layout, rail, clamp, loads = roof()
    assembly = condense(layout, rail, clamp)
    force = clamp_forces(layout, rail, clamp, loads)
    zero, q = np.zeros(ROWS * EACH), force[0]

    def run(batch: int, target: float):
        strength = strengths(batch)
        return cascade(assembly, zero, q, strength, 0.0, target=target)

    run(0, 0.1)  # compiles
    low, high = 0.2, 1.2
    for _ in range(12):
        target = 0.5 * (low + high)
        low, high = (target, high) if run(0, target).events.mean() < 20.0 else (low, target)
    begin, cpu = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda b: run(b, target), range(count // BATCH)))
    wall, cpu = time.perf_counter() - begin, time.process_time() - cpu
    events = np.mean([f.events.mean() for f in found])
    unknown = sum(int((f.outcome == 2).sum()) for f in found)
    print(f"{count} samples, {events:.1f} clamps fail on average, load {target:.3f}, {unknown} unanswered")
    print(f"batched: {wall:.1f} s on two threads, {cpu:.1f} s of CPU, {1e6 * cpu / count:.0f} us a sample")

    def condensed(alive):
        out = np.flatnonzero(~alive)
        Z = assembly.Z
        flows = np.linalg.lstsq(Z[np.ix_(out, out)], q[out], rcond=1e-12)[0] if len(out) else np.zeros(0)
        return np.where(alive, q - Z[:, out] @ flows, 0.0)

    def frame(alive):
        springs = np.repeat(clamp.stiffness[None], len(alive), axis=0)
        springs[~alive, 0, :] = 0.0
        springs[~alive, :, 0] = 0.0
        made = build_frame(layout, rail, clamp)
        at_rail = np.swapaxes(made.clamp_grip, 1, 2) @ (springs - made.clamp_stiffness) @ made.clamp_grip
        dof = made.dof[made.clamp_node]
        i, j = np.repeat(dof, 6, axis=1).ravel(), np.tile(dof, (1, 6)).ravel()
        more = sparse.coo_array((at_rail.ravel(), (i, j)), shape=made.matrix.shape).tocsr()
        changed = replace(made, matrix=sparse.csr_array(made.matrix + more), clamp_stiffness=springs)
        return solve_frame(changed, loads).clamp_force[0, :, 0]

    for name, solve, samples in (
        ("condensed, numpy", condensed, 20 if quick else 100),
        ("frame", frame, 2 if quick else 5),
    ):
        stand = np.flatnonzero(~found[0].failed & (found[0].events > 0))[:samples]  # frames cannot float
        begin = time.process_time()
        plainly = [plain(solve, one, target)[0] for one in strengths(0)[stand]]
        each = (time.process_time() - begin) / sum(plainly)
        same = sum(n == m for n, m in zip(plainly, found[0].events[stand], strict=True))
        print(
            f"from scratch ({name}): {1e3 * each:.3f} ms for each clamp that fails, "
            f"{each / (cpu / count / events):.0f} times as long; "
            f"same number of failures in {same} of {len(stand)} samples"
        )


if __name__ == "__main__":
    main()
