"""Rows of rail condensed to what their clamps take down the slope."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fea.failure.cascade import Assembly, assembly
from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import RailLoads
from fea.solvers.links import link_form
from roofmodel.hardware import Clamp, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]


def condense(
    layout: Layout,
    rail: Rail,
    clamp: Clamp,
    loads: RailLoads,
    *,
    lands: Array | None = None,
    unzip: ArrayLike = 0.0,
) -> tuple[Assembly, Array]:
    """Rows seen from their clamps, and the clamps' forces under unit loads.

    A clamp that gives way along its seam still holds the rail down and upright, which is favorable and must
    be told; panels count as rigid.

    Parameters
    ----------
    layout, rail, clamp
    loads : RailLoads
        Of b right-hand sides.
    lands, unzip
        As `fea.failure.cascade.assembly`.

    Returns
    -------
    Assembly
        Seams are those of the layout, plane by plane.
    force : (b, c) float
        Down the slope, every clamp holding. [N]

    Raises
    ------
    InputError
        As `build_frame` and `solve_frame`.
    """
    frame = build_frame(layout, rail, clamp)
    c = len(layout.clamp_s)
    travel = np.zeros((c, c, 6))
    travel[np.arange(c), np.arange(c), 0] = 1.0
    none = np.zeros(0)
    slips = RailLoads(
        row=np.zeros(0, dtype=np.int64), s0=none, s1=none, line=np.zeros((c, 0, 4)),
        point_row=np.zeros(0, dtype=np.int64), point_s=none, point=np.zeros((c, 0, 6)),
        thermal=np.zeros(c), travel=travel,
    )  # fmt: skip
    own = np.full(c, clamp.stiffness[0, 0])
    form = link_form(-solve_frame(frame, slips).clamp_force[:, :, 0].T, own)
    plane = layout.row_plane[layout.clamp_row]
    _, seam = np.unique(np.stack([plane, layout.clamp_seam]), axis=1, return_inverse=True)
    Z = np.where(layout.clamp_row[:, None] == layout.clamp_row, form.Z, 0.0)
    roof = assembly(Z, layout.clamp_row, own, form.floor, lands=lands, seam=seam.ravel(), unzip=unzip)
    return roof, solve_frame(frame, loads).clamp_force[:, :, 0]
