"""Loads on the rails from the sliding force, self-weight and temperature.

Unit right-hand sides, in this order: for each case the sliding force on the rail's axis, for each case
the torsion from lifting it and the end bound to the rail's top, for each case the end bound of partial
rows, then self-weight, then temperature of rails and of sheets that move freely, and once more with sheets
that their second fixed points hold, where there are any. Every combination is a sum of these, so one solve
serves all.
The end bound is spread over the rail's overhang, from its tip to the end clamp: snow from beyond the row
leans on the tip, and a tip that gives way hands it on to the clamp (judgment).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.rails.loads import RailLoads
from roofmodel.hardware import Rail
from roofmodel.layout import Layout
from roofmodel.sliding.thrust import RowForce
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]

SHORTEST = 0.01  # an end clamp at the very tip still takes the end bound over this much rail [m]


@dataclass(frozen=True)
class Reading:
    """One way to read a combination: snow's force on the rail's axis or at its top, and which temperature.

    `warmth` times the given change of temperature counts: 1 as given, 0 none, -1 reversed. `held` says that
    the sheets move as their second fixed points let them, not freely.
    """

    top: bool
    warmth: float
    held: bool = False

    @property
    def words(self) -> str:
        """Such as "force at the top, temperature reversed"."""
        warmth = {1.0: "", 0.0: ", no temperature", -1.0: ", temperature reversed"}[self.warmth]
        held = ", second fixed points hold" if self.held else ""
        return f"force {'at the top' if self.top else 'on the axis'}{warmth}{held}"


GIVEN = (Reading(False, 1.0), Reading(True, 1.0))
EITHER_WAY = tuple(Reading(top, warmth) for warmth in (1.0, -1.0, 0.0) for top in (False, True))
HELD = tuple(Reading(top, warmth, held=True) for warmth in (1.0, -1.0) for top in (False, True))


@dataclass(frozen=True)
class Basis:
    """Where each kind of action stands among the right-hand sides of `cases` snow cases.

    `readings` are those that every check takes the worst of: a temperature that the user gave one way counts
    the other way and not at all too (judgment), since it relieves one part where it loads another.
    """

    cases: int
    readings: tuple[Reading, ...] = GIVEN

    @property
    def count(self) -> int:
        """Number of right-hand sides."""
        return 3 * self.cases + 2 + any(r.held for r in self.readings)

    @property
    def temperatures(self) -> slice:
        """Right-hand sides of temperature: sheets that move freely, and held ones where they differ."""
        return slice(3 * self.cases + 1, self.count)

    def readings_weights(self, snow: Array, dead: Array, thermal: Array) -> Array:
        """Weights (v, cases, count) of each case's combination, reading by reading."""
        return np.stack(
            [self.weights(snow, dead, thermal * r.warmth, top=r.top, held=r.held) for r in self.readings]
        )

    def weights(self, snow: Array, dead: Array, thermal: Array, *, top: bool, held: bool = False) -> Array:
        """Weights (cases, count) of the right-hand sides in each case's combination."""
        q = self.cases
        weights = np.zeros((q, self.count))
        case = np.arange(q)
        weights[case, case] = snow
        weights[case, q + case] = snow if top else 0.0
        weights[case, 2 * q + case] = snow
        weights[:, 3 * q] = dead
        weights[:, 3 * q + 1 + held] = thermal
        return weights


def rail_loads(
    roof: RoofSurface,
    layout: Layout,
    rail: Rail,
    force: RowForce,
    travel: Array | None = None,
    held: Array | None = None,
) -> tuple[RailLoads, Basis]:
    """Right-hand sides for `fea.rails.frame.solve_frame`.

    Parameters
    ----------
    roof, layout, rail
    force : RowForce
        Sliding force per station and case, of q cases.
    travel : (c, 6) float, optional
        Free motion of the seams at the clamps by the change of their temperature, seam axes. [m, rad]
    held : (c, 6) float, optional
        The same where second fixed points hold.

    Returns
    -------
    RailLoads
        3 q + 2 unit right-hand sides, and one more where `held` differs from `travel`.
    Basis
        Their order.
    """
    q = len(force.thrust)
    warm = rail.thermal != 0.0 or (travel is not None and bool(travel.any()))
    apart = warm and held is not None and bool(np.any(held != travel))
    basis = Basis(q, (EITHER_WAY if warm else GIVEN) + (HELD if apart else ()))
    rows = len(layout.row_name)
    k = len(force.row)
    axes = row_axes(layout)
    length = force.span[:, 1] - force.span[:, 0]
    per_meter = np.einsum("kij,qkj->qki", axes[force.row], force.thrust) / length[:, None]
    line = np.zeros((basis.count, k + 3 * rows, 4))
    line[:q, :k, :2] = per_meter
    lever = rail.section.highest_top
    parted = np.einsum("kij,qkj->qki", axes[force.row], force.aside) / length[:, None]
    line[2 * q : 3 * q, :k, :2] = parted
    line[q : 2 * q, :k, 3] = -(per_meter + parted)[..., 1] * lever
    line[3 * q, k : k + rows, :3] = _self_weight(roof, layout, rail)
    overhang = _overhangs(layout)
    down = axes @ np.array([0.0, -1.0])
    ends = force.end_bound[..., None] * down[:, None, :] / np.diff(overhang, axis=2)
    line[2 * q : 3 * q, k + rows :, :2] = ends.reshape(q, 2 * rows, 2)
    line[q : 2 * q, k + rows :, 3] = -ends[..., 1].reshape(q, 2 * rows) * lever
    thermal = np.zeros(basis.count)
    thermal[basis.temperatures] = rail.thermal
    moved = None
    if travel is not None and travel.any():
        moved = np.zeros((basis.count, *travel.shape))
        moved[3 * q + 1] = travel
        if apart:
            moved[3 * q + 2] = held
    loads = RailLoads(
        row=np.concatenate([force.row, np.arange(rows), np.repeat(np.arange(rows), 2)]),
        s0=np.concatenate([force.span[:, 0], np.zeros(rows), overhang[..., 0].ravel()]),
        s1=np.concatenate([force.span[:, 1], layout.row_length, overhang[..., 1].ravel()]),
        line=line,
        point_row=np.zeros(0, dtype=np.int64),
        point_s=np.zeros(0),
        point=np.zeros((basis.count, 0, 6)),
        thermal=thermal,
        travel=moved,
    )
    return loads, basis


def _overhangs(layout: Layout) -> Array:
    """Stretch of rail beyond each end clamp, (r, 2, 2), at least `SHORTEST` long. [m]."""
    rows = np.arange(len(layout.row_name))
    first = layout.clamp_s[np.searchsorted(layout.clamp_row, rows)]
    last = layout.clamp_s[np.searchsorted(layout.clamp_row, rows, side="right") - 1]
    length = layout.row_length
    left = np.stack([np.zeros(len(rows)), np.maximum(first, SHORTEST)], axis=1)
    right = np.stack([np.minimum(last, length - SHORTEST), length], axis=1)
    return np.stack([left, right], axis=1)


def row_axes(layout: Layout) -> Array:
    """Rotations (r, 2, 2) from a plane's (u, v) to row axes (x along the rail, y square to it)."""
    x = (layout.row_end - layout.row_start) / layout.row_length[:, None]
    return np.stack([x, np.stack([-x[:, 1], x[:, 0]], axis=1)], axis=1)


def _self_weight(roof: RoofSurface, layout: Layout, rail: Rail) -> Array:
    """Weight of the rail per meter in row axes, (r, 3). [N/m]."""
    weight = rail.section.area * rail.material.density * STANDARD_GRAVITY
    slope = roof.planes.slope[layout.row_plane]
    in_plane = np.einsum("rij,rj->ri", row_axes(layout), np.stack([0.0 * slope, -np.sin(slope)], axis=1))
    return weight * np.column_stack([in_plane, -np.cos(slope)])
