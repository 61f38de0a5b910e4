"""Rows of rail condensed to what their clamps take down the slope."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fea.failure.assembled import Assembly, assembly
from fea.failure.splices import splice_links
from fea.rails.frame import build_frame, clamp_response
from fea.rails.loads import RailLoads
from fea.solvers.links import link_form
from roofmodel.hardware import Clamp, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]


def condense(
    layout: Layout,
    rail: Rail,
    clamp: Clamp,
    *,
    lands: Array | None = None,
    unzip: ArrayLike = 0.0,
    splices: bool = False,
) -> Assembly:
    """Rows seen from their clamps.

    A clamp that gives way along its seam still holds the rail down and upright, which is favorable and must
    be told; panels count as rigid.

    Parameters
    ----------
    layout, rail, clamp
    lands, unzip
        As `fea.failure.cascade.assembly`.
    splices : bool
        Whether splices can part.

    Returns
    -------
    Assembly
        Seams are those of the layout, plane by plane.

    Raises
    ------
    InputError
        As `build_frame` and `clamp_response`.
    """
    c = len(layout.clamp_s)
    plane = layout.row_plane[layout.clamp_row]
    _, seam = np.unique(np.stack([plane, layout.clamp_seam]), axis=1, return_inverse=True)
    seam = seam.ravel()
    if splices and len(layout.splice_s):
        own_splices, whole = splice_links(layout, rail, clamp)
        if len(own_splices.of):
            Z = whole.Z[:c, :c]
            return assembly(
                Z, layout.clamp_row, whole.own[:c], whole.floor, lands=lands, seam=seam, unzip=unzip,
                splices=own_splices,
            )  # fmt: skip
    travel = np.zeros((c, c, 6))
    travel[np.arange(c), np.arange(c), 0] = 1.0
    none = np.zeros(0)
    slips = RailLoads(
        row=np.zeros(0, dtype=np.int64), s0=none, s1=none, line=np.zeros((c, 0, 4)),
        point_row=np.zeros(0, dtype=np.int64), point_s=none, point=np.zeros((c, 0, 6)),
        thermal=np.zeros(c), travel=travel,
    )  # fmt: skip
    own = np.full(c, clamp.stiffness[0, 0])
    form = link_form(-clamp_forces(layout, rail, clamp, slips).T, own)
    Z = np.where(layout.clamp_row[:, None] == layout.clamp_row, form.Z, 0.0)
    return assembly(Z, layout.clamp_row, own, form.floor, lands=lands, seam=seam, unzip=unzip)


def clamp_forces(layout: Layout, rail: Rail, clamp: Clamp, loads: RailLoads) -> Array:
    """Forces (b, c) of the clamps down the slope under b right-hand sides, every clamp holding. [N]."""
    return clamp_response(build_frame(layout, rail, clamp), loads)[:, :, 0]
