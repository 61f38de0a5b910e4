"""Response of the rails on their clamps to all right-hand sides at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beam_data import BeamStiffness
from fea.elements.beam_loads import line_load_vectors, point_load_vectors
from fea.elements.beams import rail_stiffness, start_forces, strains
from fea.rails.loads import FrameResult, RailLoads
from fea.rails.recovery import (
    SpanLoads,
    Stations,
    base_stations,
    deflection_matrix,
    evaluate,
    force_matrix,
    join_stations,
    peak_stations,
    stack,
)
from fea.rails.rows import Frame, build_frame, grip_map
from fea.rails.warping import warping_matrix
from fea.solvers.direct import SingularError, Solver, factorize
from roofmodel.counting import within
from roofmodel.errors import InputError

__all__ = ["Frame", "build_frame", "clamp_response", "solve_frame"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LOAD_TOLERANCE = 1e-6  # a load this far off the rail end or a node is on it [m]
LOST = 1e-6  # share of the load that elimination may lose before the result is refused


def _check_loads(frame: Frame, loads: RailLoads) -> None:
    rows = len(frame.row_name)
    q, k, j = len(loads.thermal), len(loads.row), len(loads.point_row)
    for name, array, shape in (("line", loads.line, (q, k, 4)), ("point", loads.point, (q, j, 6))):
        if array.shape != shape:
            message = f"loads: {name} has shape {array.shape}, it must be {shape}."
            raise InputError(message)
        if not np.isfinite(array).all():
            message = f"loads: {name} holds a value that is not a number."
            raise InputError(message)
    if loads.travel is not None and loads.travel.shape != (q, len(frame.clamp_s), 6):
        message = f"loads: travel has shape {loads.travel.shape}, it must be {(q, len(frame.clamp_s), 6)}."
        raise InputError(message)
    if not np.isfinite(loads.thermal).all():
        message = "loads: thermal holds a value that is not a number."
        raise InputError(message)
    for name, row, start, end in (
        ("line load", loads.row, loads.s0, loads.s1),
        ("point load", loads.point_row, loads.point_s, loads.point_s),
    ):
        bad = np.flatnonzero((row < 0) | (row >= rows))
        if len(bad):
            message = f"loads: {name} {bad[0]} is on row {row[bad[0]]}; rows run from 0 to {rows - 1}."
            raise InputError(message)
        length = frame.row_length[row]
        inside = (start >= -LOAD_TOLERANCE) & (start <= end) & (end <= length + LOAD_TOLERANCE)
        bad = np.flatnonzero(~inside)
        if len(bad):
            i = int(bad[0])
            message = (
                f"row {frame.row_name[row[i]]}: {name} {i} from s = {start[i]:g} to {end[i]:g} m must lie on "
                f"the rail, from 0 to {length[i]:g} m, start first."
            )
            raise InputError(message)


def _search_key(frame: Frame, row: IntArray, s: Array) -> Array:
    """One increasing number for row and position, to search all rows at once."""
    return row * (2.0 * float(frame.row_length.max()) + 1.0) + s


def _cut_lines(frame: Frame, loads: RailLoads) -> tuple[IntArray, IntArray, Array, Array]:
    """Span, segment and both ends within the span of every part of a line load, sorted by span."""
    begin = _search_key(frame, frame.span_row, frame.span_s[:, 0])
    end = _search_key(frame, frame.span_row, frame.span_s[:, 1])
    low = np.searchsorted(end, _search_key(frame, loads.row, loads.s0), side="right")
    high = np.searchsorted(begin, _search_key(frame, loads.row, loads.s1), side="left")
    many = np.maximum(high - low, 0)
    segment = np.repeat(np.arange(len(loads.row)), many)
    span = within(many) + low[segment]
    same = frame.span_row[span] == loads.row[segment]
    segment, span = segment[same], span[same]
    start, length = frame.span_s[span, 0], frame.span_length[span]
    a = np.maximum(loads.s0[segment] - start, 0.0)
    b = np.minimum(loads.s1[segment] - start, length)
    use = np.flatnonzero(b > a)
    order = use[np.lexsort((a[use], span[use]))]
    return span[order], segment[order], a[order], b[order]


def _cut_points(frame: Frame, loads: RailLoads) -> tuple[IntArray, IntArray, IntArray, IntArray, Array]:
    """Point loads on nodes (load, node) and inside spans (load, span, x)."""
    key = _search_key(frame, frame.node_row, frame.node_s)
    wanted = _search_key(frame, loads.point_row, loads.point_s)
    right = np.searchsorted(key, wanted, side="left").clip(0, len(key) - 1)
    left = np.maximum(right - 1, 0)
    near = np.where(np.abs(key[left] - wanted) < np.abs(key[right] - wanted), left, right)
    near = np.searchsorted(key, key[near], side="left")  # the left one of the two nodes of a hinge
    on_node = np.abs(frame.node_s[near] - loads.point_s) <= LOAD_TOLERANCE
    inside = np.flatnonzero(~on_node)
    begin = _search_key(frame, frame.span_row, frame.span_s[:, 0])
    span = np.searchsorted(begin, wanted[inside], side="right") - 1
    x = loads.point_s[inside] - frame.span_s[span, 0]
    return np.flatnonzero(on_node), near[on_node], inside, span, x


def _span_loads(frame: Frame, loads: RailLoads) -> tuple[SpanLoads, IntArray, IntArray]:
    span, segment, a, b = _cut_lines(frame, loads)
    on_node, node, inside, point_span, x = _cut_points(frame, loads)
    order = np.argsort(point_span, kind="stable")
    cut = SpanLoads(
        part_span=span,
        segment=segment,
        part_a=a,
        part_b=b,
        line=np.ascontiguousarray(np.moveaxis(loads.line, 0, 2).swapaxes(0, 1)),
        point_span=point_span[order],
        point=inside[order],
        point_x=x[order],
        force=np.ascontiguousarray(np.moveaxis(loads.point, 0, 2).swapaxes(0, 1)),
    )
    return cut, on_node, node


def _nodal_loads(frame: Frame, cut: SpanLoads, stiff: BeamStiffness, thermal: Array) -> Array:
    """Nodal loads that the loads of each span are worth, (e, 12 or 14, q)."""
    L = frame.span_length
    width = stiff.width
    total = np.zeros((width * len(L), len(thermal)))
    line = line_load_vectors(cut.part_a, cut.part_b, L[cut.part_span], stiff)
    point = point_load_vectors(cut.point_x, L[cut.point_span], stiff)
    for vectors, span, column, value in (
        (line, cut.part_span, cut.segment, cut.line),
        (point, cut.point_span, cut.point, cut.force),
    ):
        row = (width * span[:, None] + np.arange(width)).ravel()
        col = np.repeat(column, width)
        for component, values in enumerate(value):
            if not values.any():
                continue
            weight = vectors[:, :, component].ravel()
            use = weight != 0.0
            shape = (len(total), len(values))
            total += sparse.coo_array((weight[use], (row[use], col[use])), shape=shape).tocsr() @ values
    vectors = total.reshape(len(L), width, -1)
    vectors[:, 0] -= stiff.axial * stiff.alpha * thermal
    vectors[:, 6] += stiff.axial * stiff.alpha * thermal
    return vectors


def _right_hand_side(frame: Frame, vectors: Array, node: IntArray, on_node: IntArray, force: Array) -> Array:
    shape = (frame.matrix.shape[0], vectors.shape[0] * vectors.shape[1])
    index = (frame.span_dof.ravel(), np.arange(shape[1]))
    scatter = sparse.coo_array((np.ones(shape[1]), index), shape=shape).tocsr()
    F = np.asarray(scatter @ vectors.reshape(shape[1], -1))
    np.add.at(F, frame.dof[node, :6], np.moveaxis(force[:, on_node], 0, 1))
    return F


def _about_start(s: Array, force: Array) -> Array:
    """Add to (m, 6, q) forces on the rail axis their moment about the row's start."""
    moved = force.copy()
    moved[:, 4] -= s[:, None] * force[:, 2]
    moved[:, 5] += s[:, None] * force[:, 1]
    return moved


def _sum_rows(row: IntArray, values: Array, rows: int) -> Array:
    """Sum (m, 6, q) over rows to (q, r, 6)."""
    index = (row, np.arange(len(row)))
    collect = sparse.coo_array((np.ones(len(row)), index), shape=(rows, len(row))).tocsr()
    total = collect @ values.reshape(len(row), 6 * values.shape[2])
    return np.moveaxis(np.asarray(total).reshape(rows, 6, values.shape[2]), 2, 0)


def _applied(frame: Frame, loads: RailLoads) -> Array:
    rows = len(frame.row_name)
    line = np.zeros((len(loads.row), 6, loads.count))
    line[:, :4] = np.moveaxis(loads.line, 0, 2) * (loads.s1 - loads.s0)[:, None, None]
    point = np.moveaxis(loads.point, 0, 2)
    total = _sum_rows(loads.row, _about_start((loads.s0 + loads.s1) / 2.0, line), rows)
    return total + _sum_rows(loads.point_row, _about_start(loads.point_s, point), rows)


def _sample(
    frame: Frame, cut: SpanLoads, stiff: BeamStiffness, U: Array, vectors: Array, thermal: Array
) -> tuple[Stations, Array, Array]:
    """Stations, section forces (q, t, 6 or 8) and deflections (q, t, 3)."""
    length, spans = frame.span_length, len(frame.span_row)
    moved = U[frame.span_dof]
    start = start_forces(length, stiff, moved) - vectors[:, :6]
    twist = strains(length, moved)[:, [3, 6, 7]] if stiff.warping > 0.0 else moved[:, :0]
    columns = stack(start, moved[:, :6], cut, thermal, twist)
    base = base_stations(length, cut)
    first = force_matrix(base, cut, spans, stiff) @ columns
    peaks = peak_stations(base, first, length, joint=frame.rail.section.round)
    stations = join_stations(base, peaks)
    force = evaluate(force_matrix(stations, cut, spans, stiff), columns, 6)
    deflection = evaluate(deflection_matrix(stations, cut, spans, stiff), columns, 3)
    if stiff.warping > 0.0:
        warping = evaluate(warping_matrix(stations, cut, length, stiff), columns, 3)
        deflection[:, :, 1:] += warping[:, :, :1] * np.array([stiff.center[1], -stiff.center[0]])
        force = np.concatenate([force, warping[:, :, 2:], stiff.torsion * warping[:, :, 1:2]], axis=2)
    return stations, force, deflection


def _support(frame: Frame, moved: Array) -> Array:
    """Forces (6 c, q) of the rail on the seams for motions (6 c, q) of the grips against the seams' own."""
    if frame.support is not None:
        return np.asarray(frame.support @ moved)
    return (frame.clamp_stiffness @ moved.reshape(len(frame.clamp_s), 6, -1)).reshape(moved.shape)


def clamp_response(frame: Frame, loads: RailLoads, *, solver: Solver = Solver.AUTO) -> Array:
    """Forces of all clamps alone, (count, c, 6), as in `solve_frame`: nothing is sampled along the rails.

    Raises
    ------
    InputError
        As `solve_frame`.
    """
    return np.ascontiguousarray(np.moveaxis(_moved(frame, loads, solver).grip, 2, 0))


@dataclass(frozen=True)
class _Moved:
    """Displacements U (d, q), loads of spans (e, 12 or 14, q), grip forces (c, 6, q), (q,) residual."""

    stiff: BeamStiffness
    cut: SpanLoads
    vectors: Array
    U: Array
    grip: Array
    residual: Array


def _moved(frame: Frame, loads: RailLoads, solver: Solver) -> _Moved:
    _check_loads(frame, loads)
    stiff = rail_stiffness(frame.rail)
    cut, on_node, node = _span_loads(frame, loads)
    vectors = _nodal_loads(frame, cut, stiff, loads.thermal)
    F = _right_hand_side(frame, vectors, node, on_node, cut.force)
    grips = grip_map(frame.clamp_grip, frame.dof[frame.clamp_node, :6], frame.matrix.shape[0])
    travel = None if loads.travel is None else loads.travel.reshape(loads.count, -1).T
    if travel is not None:
        F += grips.T @ _support(frame, travel)
    try:
        factor = factorize(frame.matrix, solver)
        U = factor(F)
    except SingularError as error:
        message = f"rails and clamps: stiffnesses differ too much to be solved ({error}); check their units."
        raise InputError(message) from error
    residual = factor.residual(U, F)
    if (residual > LOST).any():
        message = (
            f"rails and clamps: stiffnesses differ too much to be solved (residual {residual.max():.1e}); "
            f"check their units."
        )
        raise InputError(message)
    moved = grips @ U
    if travel is not None:
        moved -= travel
    grip = _support(frame, moved).reshape(len(frame.clamp_s), 6, -1)
    return _Moved(stiff, cut, vectors, U, grip, residual)


def solve_frame(frame: Frame, loads: RailLoads, *, solver: Solver = Solver.AUTO) -> FrameResult:
    """Solve for all right-hand sides with one factorization.

    Parameters
    ----------
    frame : Frame
    loads : RailLoads
        Own weight is not added. Segments that overlap add up. A point load within a micrometer of a hinge
        acts on the left piece.
    solver : Solver

    Returns
    -------
    FrameResult
        Stations: both ends, quarter points, ends of load segments, both sides of point loads, and the
        moment peaks (see `recovery.peak_stations`).

    Raises
    ------
    InputError
        Loads off the rail or not finite, or a structure too uneven in stiffness to be solved.
    """
    one = _moved(frame, loads, solver)
    stations, rail_force, deflection = _sample(frame, one.cut, one.stiff, one.U, one.vectors, loads.thermal)
    at_rail = np.swapaxes(frame.clamp_grip, 1, 2) @ one.grip
    reaction = _sum_rows(frame.clamp_row, _about_start(frame.clamp_s, at_rail), len(frame.row_name))
    return FrameResult(
        clamp_force=np.ascontiguousarray(np.moveaxis(one.grip, 2, 0)),
        sample_row=frame.span_row[stations.span],
        sample_s=frame.span_s[stations.span, 0] + stations.x,
        sample_span=stations.span,
        rail_force=rail_force,
        deflection=deflection,
        span_row=frame.span_row,
        span_s=frame.span_s,
        span_support=frame.span_support,
        applied=_applied(frame, loads),
        reaction=reaction,
        residual=one.residual,
    )
