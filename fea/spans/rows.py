"""All rows of a study as one frame, solved for one newton per meter, and its limits at any load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.anchorage import StripLoads, anchorage_limit, strip_demand
from fea.checks.combinations import LoadFactors, service_factors, strength_factors
from fea.checks.limits import (
    RESTS,
    Demands,
    Limit,
    clamp_components,
    clamp_limits,
    deflection_limit,
    rail_resistance,
    rail_stress_limit,
    relative_deflection,
    sample_piece,
    together_use,
)
from fea.checks.member import member_limits
from fea.checks.rail_section import rail_stress
from fea.checks.screw_strength import ScrewRule, screw_rule
from fea.checks.screws import screw_limits, screws_worst
from fea.rails.actions import Basis, rail_loads
from fea.rails.frame import solve_frame
from fea.rails.loads import FrameResult
from fea.rails.rows import build_frame
from fea.spans.lines import Line
from roofmodel.counting import within
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail
from roofmodel.layout import Layout, SpliceKind
from roofmodel.sliding.thrust import Balance, RowForce
from roofmodel.snow.cases import LoadLevel
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Hardware:
    """What a span table is about.

    Attributes
    ----------
    rail : Rail
    clamp : Clamp
    panel : Panel
    form : DesignFormat
    level : LoadLevel
        What the line loads mean; the format's factors go on top.
    snow_factor : float or None
        Factor on snow in place of the format's own.
    thermal_factor : float
    panel_length : float
        Of the sheets up the slope, whose own weight hangs on the fixed points. [m]
    """

    rail: Rail
    clamp: Clamp
    panel: Panel
    form: DesignFormat
    level: LoadLevel
    snow_factor: float | None
    thermal_factor: float
    panel_length: float

    @property
    def strength(self) -> LoadFactors:
        """Factors of the strength checks."""
        return strength_factors(self.form, self.level, self.snow_factor, self.thermal_factor, "measured")

    @property
    def service(self) -> LoadFactors:
        """Factors of the deflection check."""
        return service_factors(self.form, self.level)


@dataclass(frozen=True)
class Parts:
    """Effects that stay and effects of one newton per meter, reading by reading, factored.

    Clamp (v, c, 6), rail (v, t, 6 or 8) and deflection off the chord (v, t, 2).
    """

    clamp: Array
    rail: Array
    moved: Array


@dataclass(frozen=True)
class Rows:
    """Solved rows.

    Attributes
    ----------
    layout : Layout
    result : FrameResult
    basis : Basis
        Of one snow case.
    still, grows : Parts
    piece : (t,) int
        Piece of rail of every station.
    sample_row : (t,) int
    piece_length : (n,) float
        That counts for deflection. [m]
    strip_weight : (c,) float
        Own weight of each panel strip on its fixed point, factored. [N]
    """

    layout: Layout
    result: FrameResult
    basis: Basis
    still: Parts
    grows: Parts
    piece: IntArray
    sample_row: IntArray
    piece_length: Array
    strip_weight: Array


def rows_layout(lines: list[Line], span: Array, splice: SpliceKind | None) -> Layout:
    """Every line as a row of its own; all at one place, as rows do not touch each other."""
    counts = np.array([len(line.clamps) for line in lines])
    row = np.repeat(np.arange(len(lines)), counts)
    s = np.concatenate([line.clamps * L for line, L in zip(lines, span, strict=True)])
    length = np.array([line.edges[-1] for line in lines]) * span
    number = within(counts) + 1
    at = np.array([line.splice for line in lines]) * span
    spliced = np.flatnonzero(~np.isnan(at))
    zero = np.zeros(len(lines))
    return Layout(
        row_name=tuple(f"R{i}" for i in range(len(lines))),
        row_plane=np.zeros(len(lines), dtype=np.int64),
        row_start=np.stack([zero, zero], axis=1),
        row_end=np.stack([length, zero], axis=1),
        row_full=np.ones((len(lines), 2), dtype=bool),
        clamp_name=tuple(f"R{r}-{n:02d}" for r, n in zip(row.tolist(), number.tolist(), strict=True)),
        clamp_row=row,
        clamp_s=s,
        clamp_uv=np.stack([s, 0.0 * s], axis=1),
        clamp_seam=np.arange(len(s)),
        seam_angle=zero,
        splice_row=spliced,
        splice_s=at[spliced],
        splice_kind=(splice or SpliceKind.CONTINUOUS,) * len(spliced),
    )


def unit_force(lines: list[Line], span: Array) -> RowForce:
    """One newton per meter down the slope on the loaded pieces, as one snow case."""
    counts = [len(line.share) for line in lines]
    row = np.repeat(np.arange(len(lines)), counts)
    ends = np.concatenate(
        [np.stack([line.edges[:-1], line.edges[1:]], axis=1) * L for line, L in zip(lines, span, strict=True)]
    )
    thrust = np.zeros((1, len(row), 2))
    thrust[0, :, 1] = -np.concatenate([line.share for line in lines]) * (ends[:, 1] - ends[:, 0])
    none, rows = np.zeros((1, 0)), np.zeros((1, len(lines)))
    nobody = np.zeros(0, dtype=np.int64)
    return RowForce(
        row=row, span=ends, thrust=thrust, weight=np.zeros((1, len(row))), own=rows,
        end_bound=np.zeros((1, len(lines), 2)), exit_edge=nobody, exit_thrust=none, exit_weight=none,
        node_weight=none, cell_pressure=none, cell_thrust=none, valley_cross=np.zeros(1),
        balance=Balance(*np.zeros((8, 1))), obstacle=nobody, obstacle_thrust=none, obstacle_held=none,
        array_held=none, cell_arriving=none, wall_edge=nobody, wall_thrust=none, wall_line=none,
        aside=0.0 * thrust,
    )  # fmt: skip


def solve_rows(
    roof: RoofSurface, lines: list[Line], span: Array, hardware: Hardware, splice: SpliceKind | None = None
) -> Rows:
    """Solve rows by the same frame, loads and combinations as the main job.

    Parameters
    ----------
    roof : RoofSurface
        Of one plane, for its slope.
    lines : list of Line, (r,)
        The same object for rows that differ only in their span.
    span : (r,) float
        [m]
    hardware : Hardware
    splice : SpliceKind, optional
        Kind of the lines' splices.

    Raises
    ------
    InputError
        A row that can move freely.
    """
    layout = rows_layout(lines, span, splice)
    loads, basis = rail_loads(roof, layout, hardware.rail, unit_force(lines, span))
    shape = np.unique([id(line) for line in lines], return_index=True)[1]
    result = solve_frame(build_frame(layout, hardware.rail, hardware.clamp, doubtful=shape), loads)
    piece = sample_piece(result, layout)
    length, chord = relative_deflection(result, layout, piece)
    strength, service = hardware.strength, hardware.service

    def parts(snow: float, others: float) -> Parts:
        mix, moved = (
            basis.readings_weights(
                np.array([snow * f.snow]), np.array([others * f.dead]), np.array([others * f.thermal])
            )[:, 0]
            for f in (strength, service)
        )
        return Parts(
            np.tensordot(mix, result.clamp_force, 1),
            np.tensordot(mix, result.rail_force, 1),
            np.tensordot(moved, chord, 1),
        )

    panel = hardware.panel
    weight = panel.weight * panel.seam_spacing * hardware.panel_length * np.sin(roof.planes.slope[0])
    return Rows(
        layout=layout,
        result=result,
        basis=basis,
        still=parts(0.0, 1.0),
        grows=parts(1.0, 0.0),
        piece=piece,
        sample_row=result.sample_row,
        piece_length=length,
        strip_weight=np.full(len(layout.clamp_s), weight * strength.dead),
    )


def clamps_used(rows: Rows, load: Array, hardware: Hardware, some: IntArray) -> tuple[Array, Array]:
    """Use of `some` clamps, rising, at line loads (m, r), and what says what counts as loaded, (m, k). [N].

    That is measured by the most loaded clamp of the row among `some`.
    """
    components = clamp_components(clamp_forces(rows, load, some), hardware.clamp)
    used = together_use(components, hardware.clamp, rows.layout.clamp_row[some])
    return used, components[..., 0].max(axis=1)


def screws_used(rows: Rows, load: Array, hardware: Hardware, some: IntArray) -> tuple[Array, Array]:
    """As `clamps_used`, of the brackets' screws."""
    force = clamp_forces(rows, load, some)
    used = screws_worst(force, hardware.clamp, _rule(hardware), rows.layout.clamp_row[some])
    return used, np.abs(force[..., 0]).max(axis=1)


def strips_used(rows: Rows, load: Array, hardware: Hardware, some: IntArray) -> Array:
    """Use (m, k) of the panel strips below `some` clamps at line loads (m, r); every clamp has its own."""
    demand = strip_demand(
        clamp_forces(rows, load, some, 0),
        rows.basis.readings,
        np.arange(len(some)),
        rows.strip_weight[some],
        np.zeros(len(some)),
    )
    return np.where(demand <= 0.0, 0.0, demand / hardware.panel.anchorage)


def stress_used(rows: Rows, load: Array, hardware: Hardware, some: IntArray) -> Array:
    """Use (m, k) of the rail's yield stress at `some` stations at line loads (m, r). [N/m]."""
    stress = rail_stress(rail_forces(rows, load, some), hardware.rail).max(axis=1)
    return np.asarray(stress / rail_resistance(hardware.rail, hardware.form))


def deflection_used(rows: Rows, load: Array, hardware: Hardware, some: IntArray) -> Array:
    """Use (m, k) of the rail's deflection at `some` stations at line loads (m, r). [N/m]."""
    at = load[:, None, rows.sample_row[some], None]
    moved = _some(rows.still.moved, some) + at * _some(rows.grows.moved, some)
    demand, length = np.linalg.norm(moved, axis=3).max(axis=1), rows.piece_length[rows.piece[some]]
    holds = np.where(length > 0.0, length / hardware.rail.deflection_ratio, np.inf)
    return np.where(demand > RESTS, demand / holds, 0.0)


def _rule(hardware: Hardware) -> ScrewRule:
    """Measured snow makes the cells: no code of Canada gives its own phi."""
    return screw_rule(hardware.form, "measured")


def _some(values: Array, some: IntArray) -> Array:
    """Values (v, c, ...) of some clamps or stations, rising."""
    return values if len(some) == values.shape[1] else values[:, some]


def clamp_forces(rows: Rows, load: Array, some: IntArray, part: int | slice = slice(None)) -> Array:
    """Factored forces (m, v, k, 6), or a part of them, at the grips of some clamps at line loads (m, r)."""
    at = load[:, None, rows.layout.clamp_row[some]]
    at = at if isinstance(part, int) else at[..., None]
    still, grows = _some(rows.still.clamp[..., part], some), _some(rows.grows.clamp[..., part], some)
    return np.asarray(still + at * grows)


def rail_forces(rows: Rows, load: Array, some: IntArray) -> Array:
    """Factored section forces (m, v, t, 6 or 8) at some stations at line loads (m, r)."""
    at = load[:, None, rows.sample_row[some], None]
    return np.asarray(_some(rows.still.rail, some) + at * _some(rows.grows.rail, some))


def row_limits(rows: Rows, load: Array, hardware: Hardware) -> tuple[Limit, ...]:
    """Every limit of rows at line loads (m, r), as `check` has it: clamps, screws, strips, rail. [N/m]."""
    layout, rail, form = rows.layout, hardware.rail, hardware.form
    clamps, stations = np.arange(len(layout.clamp_row)), np.arange(len(rows.piece))
    force, inside = clamp_forces(rows, load, clamps), rail_forces(rows, load, stations)
    own = np.broadcast_to(rows.strip_weight, (len(load), len(clamps)))
    strips = StripLoads(0.0 * own, own, 0.0 * own)
    moved = rows.still.moved[:, None] + load[None, :, rows.sample_row, None] * rows.grows.moved[:, None]
    return (
        clamp_limits(force, hardware.clamp, layout, by_row=True)[-1],
        *screw_limits(force, hardware.clamp, layout, _rule(hardware), by_row=True),
        anchorage_limit(force, rows.basis.readings, hardware.panel, layout, strips),
        rail_stress_limit(inside, rows.result, rail, layout, form),
        deflection_limit(moved, rows.piece, rows.piece_length, rail, layout),
        *member_limits((Demands(force, inside),), (rows.result,), rail, layout, form),
    )
