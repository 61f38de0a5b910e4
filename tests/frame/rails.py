"""Small layouts, rails, clamps and loads for the frame tests, in SI."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from fea.rails.loads import RailLoads
from roofmodel.hardware import Clamp, Interaction, Material, Rail
from roofmodel.layout import Layout, SpliceKind
from roofmodel.profiles.data import Section
from roofmodel.sections import from_values, rectangular_tube

DATA = json.loads((Path(__file__).parents[1] / "data" / "fea_checks.json").read_text())
ALUMINUM = Material("aluminum", E=69e9, G=26e9, alpha=23e-6, density=2700.0, yield_strength=160e6)


def make_rail(section: Section | None = None, material: Material = ALUMINUM) -> Rail:
    return Rail(section or rectangular_tube(0.06, 0.04, 0.003), material, np.nan, 0.0, 1.1, "")


def plain_rail(EI: float, GAs: float = np.inf, EA: float = 1e7, GJ: float = 1e4) -> Rail:
    """A rail by its stiffness, the same in both planes."""
    unit = Material("unit", E=1.0, G=1.0, alpha=23e-6, density=0.0, yield_strength=1.0)
    section = from_values(
        area=EA, I_y=EI, I_z=EI, J=GJ, W_y=1.0, W_z=1.0, W_t=1.0, depth_y=1.0, depth_z=1.0,
        shear_y=GAs, shear_z=GAs,
    )  # fmt: skip
    return make_rail(section, unit)


def make_clamp(stiffness, height: float = 0.0) -> Clamp:
    stiffness = np.asarray(stiffness, dtype=float)
    if stiffness.ndim == 1:
        stiffness = np.diag(stiffness)
    free = np.full(6, np.nan)
    return Clamp(
        stiffness=stiffness,
        strength=free,
        nominal=free,
        factor=1.0,
        strength_kind="",
        height=height,
        grip_height=0.0,
        grip_length=0.06,
        test_height=0.0,
        interaction=Interaction.LINEAR,
        test_basis="",
    )


SOFT = make_clamp([2e6, 3e6, 5e6, 800.0, 900.0, 300.0], 0.06)
HINGE, CONTINUOUS, SLIDING = SpliceKind.HINGE, SpliceKind.CONTINUOUS, SpliceKind.SLIDING


def make_layout(rows: list[dict]) -> Layout:
    """Rows as dicts of length, clamps (s), splices ((s, kind), ...), and optional seam, tilt and start.

    `seam` is the seam angle and `tilt` the angle of the row from u. [rad]
    """
    start = np.array([row.get("start", (0.0, 0.0)) for row in rows], dtype=float)
    tilt = np.array([row.get("tilt", 0.0) for row in rows])
    run = np.stack([np.cos(tilt), np.sin(tilt)], axis=1)
    end = start + run * np.array([row["length"] for row in rows])[:, None]
    counts = [len(row["clamps"]) for row in rows]
    clamp_row = np.repeat(np.arange(len(rows)), counts)
    clamp_s = np.concatenate([np.asarray(row["clamps"], dtype=float) for row in rows])
    splices = [(i, s, kind) for i, row in enumerate(rows) for s, kind in row.get("splices", ())]
    return Layout(
        row_name=tuple(f"R{i + 1}" for i in range(len(rows))),
        row_plane=np.zeros(len(rows), dtype=np.int64),
        row_start=start,
        row_end=end,
        row_full=np.ones((len(rows), 2), dtype=bool),
        clamp_name=tuple(f"R{i + 1}-{j + 1:02d}" for i, n in enumerate(counts) for j in range(n)),
        clamp_row=clamp_row,
        clamp_s=clamp_s,
        clamp_uv=start[clamp_row] + clamp_s[:, None] * run[clamp_row],
        clamp_seam=np.arange(len(clamp_s)),
        seam_angle=np.array([row.get("seam", 0.0) for row in rows]),
        splice_row=np.array([s[0] for s in splices], dtype=np.int64),
        splice_s=np.array([s[1] for s in splices], dtype=float),
        splice_kind=tuple(s[2] for s in splices),
    )


def make_loads(lines=(), points=(), thermal=(0.0,)) -> RailLoads:
    """Loads from (row, s0, s1, (x, y, z, torsion)) and (row, s, (6 values)), the same in every case."""
    q = len(thermal)
    line = np.array([entry[3] for entry in lines], dtype=float).reshape(1, -1, 4)
    point = np.array([entry[2] for entry in points], dtype=float).reshape(1, -1, 6)
    return RailLoads(
        row=np.array([entry[0] for entry in lines], dtype=np.int64),
        s0=np.array([entry[1] for entry in lines], dtype=float),
        s1=np.array([entry[2] for entry in lines], dtype=float),
        line=np.repeat(line, q, axis=0),
        point_row=np.array([entry[0] for entry in points], dtype=np.int64),
        point_s=np.array([entry[1] for entry in points], dtype=float),
        point=np.repeat(point, q, axis=0),
        thermal=np.array(thermal, dtype=float),
    )


def at(result, s: float, what: str, row: int = 0, side: int = 0) -> np.ndarray:
    """Value of the first right-hand side at a sampled place; side 0 or -1 where there are several."""
    field = getattr(result, what)
    hit = np.flatnonzero((np.abs(result.sample_s - s) < 1e-9) & (result.sample_row == row))
    return field[0, hit[side]]
