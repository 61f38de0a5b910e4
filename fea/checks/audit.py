"""What the analysis proves about itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.rails.loads import FrameResult
from roofmodel.layout import Layout
from roofmodel.memory import Memory
from roofmodel.sliding.cells import Cells
from roofmodel.sliding.thrust import RowForce, SlideOptions, slide
from roofmodel.sliding.tributary import clamp_shares, row_polygon_force
from roofmodel.snow.cases import SnowCase, linear_integral
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]

EQUILIBRIUM = 1e-9  # asked of forces and moments, of the applied ones [-]
CONSERVATION = 1e-9  # asked of the sliding flux [-]
UNCHANGED = 1e-9  # of the largest force, that is rounding
REFINEMENT = 0.05  # asked of the clamps' forces when strips are twice as wide [-]
REFINED = "clamp forces with strips twice as wide"
POLYGON = 1e-6  # asked of the second road to the governing row's force [-]


@dataclass(frozen=True)
class Proof:
    """One self-check: what was compared, the relative error, the bar, and whether it was met."""

    name: str
    error: float
    bar: float

    @property
    def met(self) -> bool:
        """Whether the error is within the bar."""
        return bool(self.error <= self.bar)


def equilibrium(results: Sequence[FrameResult]) -> tuple[Proof, ...]:
    """Applied = reactions for forces and moments of every row and right-hand side, and the residual.

    The worst of several results of the same loads.
    """
    each = [_equilibrium(result) for result in results]
    return tuple(
        replace(same[0], error=float(np.max([proof.error for proof in same])))
        for same in zip(*each, strict=True)
    )


def _equilibrium(result: FrameResult) -> tuple[Proof, Proof, Proof]:
    gap = np.abs(result.applied - result.reaction)
    size = np.abs(result.applied)
    force = np.linalg.norm(gap[..., :3], axis=-1).max(axis=1, initial=0.0)
    moment = np.linalg.norm(gap[..., 3:], axis=-1).max(axis=1, initial=0.0)
    force_size = np.linalg.norm(size[..., :3], axis=-1).max(axis=1, initial=0.0)
    moment_size = np.linalg.norm(size[..., 3:], axis=-1).max(axis=1, initial=0.0)
    return (
        Proof("forces: applied = reactions", _largest(force, force_size), EQUILIBRIUM),
        Proof("moments: applied = reactions", _largest(moment, moment_size), EQUILIBRIUM),
        Proof("residual of the equations", float(result.residual.max(initial=0.0)), EQUILIBRIUM),
    )


def _largest(gap: Array, size: Array) -> float:
    return float(np.max(gap[size > 0.0] / size[size > 0.0], initial=0.0))


def conservation(
    roof: RoofSurface, cells: Cells, cases: tuple[SnowCase, ...], force: RowForce
) -> tuple[Proof, Proof]:
    """Balance of the sliding flux, and snow on the cells = snow of the zones."""
    on_cells = (force.cell_pressure * cells.plan_area).sum(axis=1)
    zone_total = np.array([_zone_total(case) for case in cases])
    error = np.abs(on_cells - zone_total) / np.maximum(zone_total, 1e-12)
    return (
        Proof(
            "sliding flux: driven = caught + friction + lost", float(force.balance.error.max()), CONSERVATION
        ),
        Proof("snow on the sliding mesh = snow of the zones", float(error.max()), POLYGON),
    )


def _zone_total(case: SnowCase) -> float:
    """Snow of a case, zone by zone over the whole of each. [N]."""
    polygons = np.array([zone.polygon for zone in case.zones], dtype=object)
    pressure = np.array([zone.pressure for zone in case.zones]).reshape(-1, 3)
    return float(linear_integral(polygons, pressure).sum())


def second_road(
    roof: RoofSurface, layout: Layout, case: SnowCase, force: RowForce, number: int, row: int, friction: float
) -> Proof:
    """The row's force from its own plane, again by polygon integrals."""
    again = row_polygon_force(roof, layout, case, row, friction)
    error = abs(again - force.own[number, row]) / max(abs(again), 1.0)
    return Proof(f"force on row {layout.row_name[row]} by polygons ({case.name})", float(error), POLYGON)


def rows_on_curves(roof: RoofSurface, layout: Layout) -> bool:
    """Whether a row stands on a facet of a vault, dome or cone."""
    curves = [one.plane for one in roof.vaults] + [one.plane for one in roof.domes]
    facets = {plane for some in curves for plane in some.tolist()}
    return not facets.isdisjoint(layout.row_plane.tolist())


def refinement(
    roof: RoofSurface,
    layout: Layout,
    case: SnowCase,
    force: RowForce,
    number: int,
    options: SlideOptions,
    memory: Memory | None = None,
) -> Proof:
    """Change of the clamps' tributary forces when strips are twice as wide, of the largest.

    Where that changes nothing on a curved roof, as with strips wider than their facets, half the width is
    taken.
    """
    fine = clamp_shares(layout, force)[number]
    error = 0.0
    for times in (2.0, 0.5) if rows_on_curves(roof, layout) else (2.0,):
        if error > UNCHANGED:
            break
        other = replace(options, strip_width=times * options.strip_width)
        change = fine - clamp_shares(layout, slide(roof, (case,), layout, other, memory, both=False)[1])[0]
        error = float(np.abs(change).max(initial=0.0)) / max(float(np.abs(fine).max(initial=0.0)), 1.0)
    return Proof(REFINED, error, REFINEMENT)
