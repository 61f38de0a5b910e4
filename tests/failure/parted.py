"""Loads on rows whose rails were cut in two, for re-solving the frame."""

from __future__ import annotations

import numpy as np

from fea.rails.loads import RailLoads


def loads_on_pieces(loads: RailLoads, row: int, s: float) -> RailLoads:
    """The line loads with one row cut at s; they must break there."""
    own, beyond = loads.row == row, loads.row > row
    right = own & (loads.s0 >= s - 1e-12)
    assert (right | ~own | (loads.s1 <= s + 1e-12)).all()
    move = np.where(right, s, 0.0)
    return RailLoads(
        row=loads.row + (right | beyond),
        s0=np.maximum(loads.s0 - move, 0.0),
        s1=loads.s1 - move,
        line=loads.line,
        point_row=loads.point_row,
        point_s=loads.point_s,
        point=loads.point,
        thermal=loads.thermal,
    )
