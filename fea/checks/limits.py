"""Checks: every limit as demand against resistance, for all cases and targets at once.

Demands come from combinations of the unit responses (`fea.rails.actions.Basis`) in several readings: with the
sliding force on the rail's axis and at its top, with temperature as given, reversed and left out; the worst
counts. A resistance that nobody gave is NaN: where
it is loaded the limit is not verified, and never passes.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.rail_section import open_words, rail_stress
from fea.rails.actions import Basis
from fea.rails.loads import FrameResult
from roofmodel.hardware import Clamp, DesignFormat, Interaction, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LOADED = 1e-4  # a direction is loaded above this part of the largest force along the seams [-]
TOE = 3.0  # overturning M about the grip's lower end lifts like a pull of 3 M / length (triangle)
RESTS = 1e-9  # deflection that counts as none [m]
HEEL = 1.5  # and presses like a push of 1.5 M / length


@dataclass(frozen=True)
class Limit:
    """One kind of check over all its targets.

    Attributes
    ----------
    name : str
        Plain words, such as "clamp along the seam".
    target : str
        What is checked: "clamp", "span", "panel strip" or "row"; "solar clamp" or "solar strip" of arrays.
    target_name : tuple of str, (t,)
    demand : (q, t) float
        Largest demand of each case. [unit]
    resistance : (t,) float
        NaN where not given. [unit]
    utilization : (q, t) float
        Demand over resistance; NaN where not verified, 0 where not loaded.
    quantity : str
        Kind of number for printing: "force", "stress", "ratio", "size", "moment".
    basis : str
        Clause or reasoning.
    service : bool
        Whether it is a serviceability limit.
    """

    name: str
    target: str
    target_name: tuple[str, ...]
    demand: Array
    resistance: Array
    utilization: Array
    quantity: str
    basis: str
    service: bool = False

    @property
    def unverified(self) -> NDArray[np.bool_]:
        """Targets that are loaded without a resistance in some case, (t,)."""
        return np.asarray(np.isnan(self.utilization).any(axis=0))


@dataclass(frozen=True)
class Demands:
    """Combined responses by `Basis.readings`: (q, v, c, 6) at the clamps, (q, v, t, 6) along the rails."""

    clamp: Array
    rail: Array


def combine(result: FrameResult, basis: Basis, snow: Array, dead: Array, thermal: Array) -> Demands:
    """Responses of each case's combination in every reading.

    Parameters
    ----------
    result : FrameResult
        Unit responses.
    basis : Basis
    snow, dead, thermal : (q,) float
        Factors of each case.

    Returns
    -------
    Demands
    """
    factors = snow, dead, thermal
    return Demands(*(mixed(one, basis, *factors) for one in (result.clamp_force, result.rail_force)))


def mixed(response: Array, basis: Basis, snow: Array, dead: Array, thermal: Array) -> Array:
    """Unit responses (count, ...) as each case's combination in every reading, (q, v, ...); as `combine`."""
    weights = basis.readings_weights(snow, dead, thermal).swapaxes(0, 1)
    flat = weights.reshape(-1, basis.count) @ response.reshape(basis.count, -1)
    return np.asarray(flat.reshape(*weights.shape[:2], *response.shape[1:]))


def worse(limits: Sequence[Limit]) -> Limit:
    """One limit for several states of the same structure: the worst counts, unknown stays unknown."""
    return replace(
        limits[0],
        demand=np.max([limit.demand for limit in limits], axis=0),
        utilization=np.max([limit.utilization for limit in limits], axis=0),
    )


def clamp_components(force: Array, clamp: Clamp) -> Array:
    """Demand in each direction that has a strength.

    Overturning beyond what the along-seam test held can be read in two safe ways, and the one that uses
    less of the clamp counts (`as_tested`).

    Parameters
    ----------
    force : (..., 6) float
        Force and moment at the grip, seam axes. [N, N m]
    clamp : Clamp

    Returns
    -------
    (..., 6) float
        Along, across, pull, push [N], roll and twist [N m], all as sizes.
    """
    lifted = lifted_parts(force, clamp)
    if clamp.test_height == 0.0:
        return lifted
    tested = _tested(force, clamp)
    return np.where(_less(lifted, tested, force, clamp)[..., None], tested, lifted)


def as_tested(force: Array, clamp: Clamp) -> NDArray[np.bool_]:
    """Whether the force (..., 6) is read like the test instead of as lift.

    As lift: the moment beyond F times the test height turns about the lower end of the grip and is shared
    out as a triangle, pull 3 M / L and push 1.5 M / L (equilibrium of a rigid grip; judgment). Like the
    test: the force at the test height that turns the grip as much, M / h_t, against the tested strength;
    safe as long as less force with the same moment does no more harm (judgment).
    """
    if clamp.test_height == 0.0:
        return np.zeros(force.shape[:-1], dtype=bool)
    return _less(lifted_parts(force, clamp), _tested(force, clamp), force, clamp)


def _less(lifted: Array, tested: Array, force: Array, clamp: Clamp) -> NDArray[np.bool_]:
    """Whether the second reading of forces (..., 6) uses less of the clamp than the first, (...)."""
    use = [
        interact(component_utilization(parts, clamp, np.abs(force[..., 0])), clamp.interaction)
        for parts in (lifted, tested)
    ]
    return np.asarray(np.isnan(use[0]) & ~np.isnan(use[1]) | (use[1] < use[0]))


def excess_moment(force: Array, clamp: Clamp) -> Array:
    """Overturning (...) of forces (..., 6) beyond what the along-seam test held, its own way only. [N m]."""
    held = np.where(force[..., 0] * force[..., 4] >= 0.0, np.abs(force[..., 0]) * clamp.test_height, 0.0)
    return np.asarray(np.maximum(np.abs(force[..., 4]) - held, 0.0))


def lifted_parts(force: Array, clamp: Clamp) -> Array:
    """Components as `clamp_components`, overturning beyond the test read as lift."""
    along, over = np.abs(force[..., 0]), excess_moment(force, clamp)
    return _parts(force, along, TOE * over / clamp.grip_length, HEEL * over / clamp.grip_length)


def tested_force(force: Array, clamp: Clamp) -> Array:
    """Force at the test height that is as hard on the grip (...) as forces (..., 6). [N].

    The larger of F and M / h_t where M turns the way F goes, as in the test; their sum where it turns
    against it.
    """
    along = np.abs(force[..., 0])
    turning = np.abs(force[..., 4]) / clamp.test_height
    same_way = force[..., 0] * force[..., 4] >= 0.0
    return np.where(same_way, np.maximum(along, turning), along + turning)


def _tested(force: Array, clamp: Clamp) -> Array:
    along = tested_force(force, clamp)
    return _parts(force, along, 0.0 * along, 0.0 * along)


def _parts(force: Array, along: Array, lift: Array, press: Array) -> Array:
    across, pull = np.abs(force[..., 1]), force[..., 2]
    moments = np.abs(force[..., 3]), np.abs(force[..., 5])
    return np.stack(
        [along, across, np.maximum(pull, 0.0) + lift, np.maximum(-pull, 0.0) + press, *moments], axis=-1
    )


def component_utilization(components: Array, clamp: Clamp, scale: float | Array) -> Array:
    """Utilization (..., 6) by direction: 0 where not loaded, NaN where loaded without a strength.

    `scale` is the along-seam force, one for all or one each, that says what counts as loaded. [N]
    """
    length = clamp.grip_length
    floor = LOADED * np.asarray(scale)[..., None] * np.array([1.0, 1.0, 1.0, 1.0, length, length])
    return np.where(components > floor, components / clamp.strength, 0.0)


def interact(utilization: Array, rule: Interaction) -> Array:
    """Combine (..., 6) utilizations by direction; pull and push act at different ends, the worse counts."""
    u = utilization
    normal = np.where(np.isnan(u[..., 2]) | np.isnan(u[..., 3]), np.nan, np.maximum(u[..., 2], u[..., 3]))
    parts = (u[..., 0], u[..., 1], normal, u[..., 4], u[..., 5])
    if rule is Interaction.LINEAR:
        return np.asarray(sum(parts))
    if rule is Interaction.CIRCULAR:
        return np.asarray(np.sqrt(sum(part**2 for part in parts)))
    return np.asarray(np.maximum.reduce(parts))


def rail_resistance(rail: Rail, form: DesignFormat) -> float:
    """Design yield stress. [Pa]."""
    strength = rail.material.yield_strength
    return (
        strength * rail.resistance_factor if form is DesignFormat.LRFD else strength / rail.resistance_factor
    )


def clamp_limits(force: Array, clamp: Clamp, layout: Layout, *, by_row: bool = False) -> tuple[Limit, ...]:
    """Limits of every clamp: each direction, and all together by the interaction rule.

    `force` (q, k, c, 6) holds the factored forces at the grips in k readings, of which the worst counts.
    What counts as loaded is measured by the largest force along the seams, of all clamps or `by_row`.
    """
    components = clamp_components(force, clamp)
    scale = np.asarray(components[..., 0].max(initial=0.0))
    if by_row:
        scale = row_largest(components[..., 0].max(axis=1), layout.clamp_row)[:, None]
    utilization = component_utilization(components, clamp, scale)
    together = _worst(interact(utilization, clamp.interaction))
    names = (
        ("clamp along the seam", "force", "force along, or the one at the test height that turns as much"),
        ("clamp across the seam", "force", "tested strength across the seam"),
        (
            "clamp pull-off",
            "force",
            "pull, and 3 / grip length of the overturning that the along-seam test does not cover",
        ),
        (
            "clamp push",
            "force",
            "push, and 1.5 / grip length of the overturning that the along-seam test does not cover",
        ),
        ("clamp roll moment", "moment", "moment about the seam"),
        ("clamp twist moment", "moment", "moment square to the roof"),
    )
    basis = clamp.test_basis or "test basis not given"
    limits = [
        Limit(
            name=name,
            target="clamp",
            target_name=layout.clamp_name,
            demand=components[..., i].max(axis=1),
            resistance=np.full(len(layout.clamp_name), clamp.strength[i]),
            utilization=_worst(utilization[..., i]),
            quantity=quantity,
            basis=f"{words}; {basis}",
        )
        for i, (name, quantity, words) in enumerate(names)
        if i < 4 or (utilization[..., i] != 0.0).any()
    ]
    limits.append(
        Limit(
            name="clamp combined",
            target="clamp",
            target_name=layout.clamp_name,
            demand=together,
            resistance=np.ones(len(layout.clamp_name)),
            utilization=together,
            quantity="ratio",
            basis=f"{clamp.interaction} interaction of the directions; {basis}",
        )
    )
    return tuple(limits)


def row_largest(values: Array, row: IntArray) -> Array:
    """Largest of values (q, c) in each row, at every clamp of it (q, c); `row` (c,) rises."""
    new = np.r_[True, row[1:] != row[:-1]]
    largest = np.maximum.reduceat(values, np.flatnonzero(new), axis=1)
    return np.asarray(largest[:, np.cumsum(new) - 1])


def together_use(components: Array, clamp: Clamp, row: IntArray) -> Array:
    """Use (q, c) of "clamp combined" in `clamp_limits` by row, from `clamp_components` (q, k, c, 6)."""
    scale = row_largest(components[..., 0].max(axis=1), row)[:, None]
    return _worst(interact(component_utilization(components, clamp, scale), clamp.interaction))


def _worst(utilization: Array) -> Array:
    """Largest over all readings of the force (axis 1), NaN if one is."""
    return np.asarray(utilization.max(axis=1))


def span_names(layout: Layout) -> tuple[tuple[str, ...], IntArray]:
    """Names of the rail pieces between clamps and beyond the end clamps, and the first piece of each row.

    Row r has (its clamps + 1) pieces: the left overhang, the spans, the right overhang.
    """
    names: list[str] = []
    starts = np.searchsorted(layout.clamp_row, np.arange(len(layout.row_name) + 1))
    for row, name in enumerate(layout.row_name):
        clamps = layout.clamp_name[starts[row] : starts[row + 1]]
        names.append(f"{name} left of {clamps[0]}")
        names += [f"{a} to {b}" for a, b in itertools.pairwise(clamps)]
        names.append(f"{name} right of {clamps[-1]}")
    return tuple(names), starts[:-1] + np.arange(len(layout.row_name))


def sample_piece(result: FrameResult, layout: Layout) -> IntArray:
    """Piece (see `span_names`) of every rail station, (t,)."""
    reach = float(layout.row_length.max()) + 1.0
    clamps = layout.clamp_row * reach + layout.clamp_s
    ends = result.span_s[result.sample_span].mean(axis=1)
    before = np.searchsorted(clamps, result.sample_row * reach + ends)
    return np.asarray(before + result.sample_row)


def _piece_max(values: Array, piece: IntArray, count: int) -> Array:
    """Largest of (q, t) values in each piece, (q, count); 0 for pieces of no length."""
    order = np.argsort(piece, kind="stable")
    present, first = np.unique(piece[order], return_index=True)
    out = np.zeros((len(values), count))
    out[:, present] = np.maximum.reduceat(values[:, order], first, axis=1)
    return out


def _first_yield(rail: Rail) -> str:
    """How the stress of the section was taken."""
    if rail.section.round:
        return "first yield, von Mises"
    return (
        "first yield, von Mises, as if both bendings were worst at one corner (safe where no metal is there)"
    )


def rail_stress_limit(
    force: Array, result: FrameResult, rail: Rail, layout: Layout, form: DesignFormat
) -> Limit:
    """Yield of the rail in each piece, elastic, from its section forces (q, k, t, 6 or 8)."""
    names, _ = span_names(layout)
    stress = rail_stress(force, rail).max(axis=1)
    demand = _piece_max(stress, sample_piece(result, layout), len(names))
    resistance = rail_resistance(rail, form)
    return Limit(
        name="rail stress",
        target="span",
        target_name=names,
        demand=demand,
        resistance=np.full(len(names), resistance),
        utilization=demand / resistance,
        quantity="stress",
        basis="; ".join(
            filter(None, (_first_yield(rail), rail.resistance_clause, open_words(rail))),
        ),
    )


def rail_deflection_limit(
    result: FrameResult, basis: Basis, factors: tuple[Array, Array, Array], rail: Rail, layout: Layout
) -> Limit:
    """Deflection of each piece off the line through its clamps; overhangs count twice their length."""
    piece = sample_piece(result, layout)
    length, deflection = relative_deflection(result, layout, piece)
    weights = basis.readings_weights(*factors)
    moved = (weights @ deflection.reshape(basis.count, -1)).reshape(len(weights), basis.cases, -1, 2)
    return deflection_limit(moved, piece, length, rail, layout)


def deflection_limit(moved: Array, piece: IntArray, length: Array, rail: Rail, layout: Layout) -> Limit:
    """Limit of deflections (k, q, t, 2) in k readings; piece and length as of `relative_deflection`."""
    names, _ = span_names(layout)
    demand = _piece_max(np.linalg.norm(moved, axis=3).max(axis=0), piece, len(names))
    resistance = length / rail.deflection_ratio
    utilization = demand / np.where(length > 0.0, resistance, np.inf)
    text = (
        ""
        if np.isnan(rail.deflection_ratio)
        else f"span / {rail.deflection_ratio:g}, twice the length of an overhang"
    )
    return Limit(
        name="rail deflection",
        target="span",
        target_name=names,
        demand=demand,
        resistance=resistance,
        utilization=np.where(demand > RESTS, utilization, 0.0),
        quantity="size",
        basis=f"serviceability limit of the user: {text or 'none given'}",
        service=True,
    )


def relative_deflection(result: FrameResult, layout: Layout, piece: IntArray) -> tuple[Array, Array]:
    """Length that counts for each piece (n,), and unit deflections (count, t, 2) off its chord."""
    starts = np.searchsorted(layout.clamp_row, np.arange(len(layout.row_name) + 1))
    clamps_in_row = np.diff(starts)
    row = result.sample_row
    local = piece - (starts[row] + row)
    left = starts[row] + np.clip(local - 1, 0, clamps_in_row[row] - 1)
    right = starts[row] + np.clip(local, 0, clamps_in_row[row] - 1)
    at = clamp_samples(result, layout)[0]
    y = result.deflection[:, :, 1:]
    a, b = layout.clamp_s[left], layout.clamp_s[right]
    share = np.where(b > a, (result.sample_s - a) / np.where(b > a, b - a, 1.0), 0.0)
    chord = y[:, at[left]] * (1.0 - share)[:, None] + y[:, at[right]] * share[:, None]
    return piece_lengths(layout), y - chord


def piece_lengths(layout: Layout) -> Array:
    """Length that counts for each piece (see `span_names`), (n,): overhangs twice. [m]."""
    starts = np.searchsorted(layout.clamp_row, np.arange(len(layout.row_name) + 1))
    first = starts[:-1] + np.arange(len(layout.row_name))
    last = first + np.diff(starts)
    length = np.zeros(len(layout.clamp_s) + len(layout.row_name))
    inner = np.ones(len(length), dtype=bool)
    inner[first] = inner[last] = False
    gaps = np.diff(layout.clamp_s)
    length[inner] = gaps[np.diff(layout.clamp_row) == 0]
    length[first] = 2.0 * layout.clamp_s[starts[:-1]]
    length[last] = 2.0 * (layout.row_length - layout.clamp_s[starts[1:] - 1])
    return np.where(length > 1e-6, length, 0.0)


def clamp_samples(result: FrameResult, layout: Layout) -> IntArray:
    """The first and the last rail station at each clamp, (2, c)."""
    reach = float(layout.row_length.max()) + 1.0
    key = result.sample_row * reach + result.sample_s
    order = np.argsort(key, kind="stable")
    wanted = layout.clamp_row * reach + layout.clamp_s
    first = np.searchsorted(key[order], wanted - 1e-3)
    last = np.searchsorted(key[order], wanted + 1e-3, side="right") - 1
    return np.asarray(order[np.clip(np.stack([first, last]), 0, len(key) - 1)])


def height_limit(depth: Array, rail_top: float, ratio: float, layout: Layout) -> Limit:
    """Rail top against the part of the snow depth it must reach.

    Parameters
    ----------
    depth : (q, r) float
        Largest snow depth square to the roof above each row, at the lightest density. [m]
    rail_top : float
        Height of the rail's top above the pan. [m]
    ratio : float
        Least height over depth, NaN for not given.
    layout : Layout
    """
    demand = depth * ratio
    return Limit(
        name="rail height",
        target="row",
        target_name=layout.row_name,
        demand=np.where(np.isnan(demand), depth, demand),
        resistance=np.full(len(layout.row_name), rail_top if not np.isnan(ratio) else np.nan),
        utilization=np.where(depth > 0.0, demand / rail_top, 0.0),
        quantity="size",
        basis=(
            "the rail's top over the roof, at least the snow's depth just above the row times "
            f"{'a ratio' if np.isnan(ratio) else f'{ratio:g}'} (design.rail_height_ratio), both square to it"
        ),
        service=False,
    )
