"""What the condensed panel field saves against one model of all strips.

Run: python benchmarks/panel_field.py [--quick]

Both roads give the stiffness that the clamps of a row feel, six unknowns each, one clamp on every strip. The
reference is the whole field as one shell model: elements, assembly, supernodal Cholesky and six right-hand
sides per clamp, by the same code in the same run. Every road runs in a process of its own; memory is the peak
of that process over one that only imports. The largest difference of the two stiffnesses stands beside.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import time
from multiprocessing.connection import Connection
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from fea.model.assembly import build_system
from fea.model.data import node_dof
from fea.model.solution import solve_model
from fea.panel.field import condense_strips
from fea.panel.groups import held_contacts
from fea.panel.mesh import StripMesh, strip_mesh
from fea.panel.model import panel_field
from roofmodel.hardware import Bearing, FixedPoint, Material, Panel, SeamDetail, SeamLock

STEEL = Material("steel", E=210e9, G=81e9, alpha=12e-6, density=7850.0, yield_strength=250e6)
PANEL = Panel(0.43, 0.065, 0.0006, "steel", 0.4, np.nan, np.nan, 1.0)
DETAIL = SeamDetail(
    sheet=STEEL,
    sheet_strength=np.nan,
    sheet_clause="",
    lock=SeamLock.DOUBLE,
    fold_height=0.012,
    lock_stiffness=np.array([5e8, 2e8, 5e8]),
    opening_strength=np.nan,
    pan_ribs=1,
    pan_rib_height=0.002,
    pan_rib_width=0.03,
    clip_spacing=0.4,
    clip_first=0.15,
    clip_length=0.04,
    clip_stiffness=np.array([0.0, 5e5, 1e6]),
    clip_gap=0.0,
    clip_strength=np.nan,
    clamps_pin_clips=False,
    fixed_at=FixedPoint.RIDGE,
    fixed_stiffness=5e6,
    bearing=Bearing.DECK,
    bearing_stiffness=1e7,
    purlin_spacing=np.nan,
    through_fixings=np.zeros(0),
    thermal=0.0,
)
GRIP = (0.05, 0.045)
PLACE = np.array([-0.95])
ROADS = ("imports only", "whole model", "condensed, equal strips", "condensed, every length its own")


def the_mesh() -> StripMesh:
    return strip_mesh(PANEL, DETAIL, (-2.55, 0.0), PLACE, GRIP)


def whole_model(strips: int) -> tuple[np.ndarray, int]:
    """Stiffness at the clamps from one model of all strips, and its unknowns."""
    clamps, length = [PLACE] * strips, np.full(strips, 7.0)
    field = panel_field(the_mesh(), PANEL, DETAIL, GRIP, clamps, length, alike=False)
    system = build_system(held_contacts(field.model, {}))
    dof = node_dof(field.clamp_node).ravel()
    F = np.zeros((field.model.dof_count, len(dof)))
    F[dof, np.arange(len(dof))] = 1.0
    u = solve_model(system, F).displacement[dof]
    return np.linalg.inv(0.5 * (u + u.T)), system.ties.count


def condensed(strips: int, *, lengths_differ: bool) -> tuple[np.ndarray, int]:
    """The same by condensed strips, and how many kinds of them."""
    top = 7.0 + (0.1 * np.arange(strips) if lengths_differ else np.zeros(strips))
    ends = np.stack([np.zeros(strips), top], axis=1)
    found = condense_strips(the_mesh(), PANEL, DETAIL, GRIP, [PLACE] * strips, ends, alike=False)
    return found.stiffness, found.kinds


def run(pipe: Connection, road: str, strips: int) -> None:
    """One road in its own process."""
    begun = time.perf_counter()
    if road == ROADS[0]:
        answer: Any = (np.zeros((0, 0)), 0)
    elif road == ROADS[1]:
        answer = whole_model(strips)
    else:
        answer = condensed(strips, lengths_differ=road == ROADS[3])
    spent = time.perf_counter() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    pipe.send((*answer, spent, peak))
    pipe.close()


def measured(road: str, strips: int) -> tuple[np.ndarray, int, float, float]:
    """Stiffness, size, time [s] and peak memory [MB] of one road."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    worker = context.Process(target=run, args=(there, road, strips))
    worker.start()
    there.close()
    answer: tuple[np.ndarray, int, float, float] = here.recv()
    worker.join()
    return answer


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes only")
    quick = parser.parse_args().quick
    base = measured(ROADS[0], 0)[3]
    table = Table("strips", "unknowns", *ROADS[1:], "time saved", "memory saved", "difference")
    for strips in (3, 6) if quick else (3, 6, 12, 24, 60):
        (K, unknowns, t0, m0), (C, _, t1, m1), (_, _, t2, m2) = (measured(r, strips) for r in ROADS[1:])
        size = np.sqrt(np.diag(K))
        table.add_row(
            str(strips),
            f"{unknowns:,}",
            *(f"{t:.2f} s, {m - base:,.0f} MB" for t, m in ((t0, m0), (t1, m1), (t2, m2))),
            f"{t0 / t1:.1f} x",
            f"{(m0 - base) / max(m1 - base, 1.0):.1f} x",
            f"{np.abs((C - K) / np.outer(size, size)).max():.1e}",
        )
    Console(width=150).print(table)


if __name__ == "__main__":
    main()
