"""Screws of a bracket: what each of them carries, and its limits.

The bracket is rigid. Shear spreads evenly and turns about the group's center (elastic group, textbook).
Pull is what lifts the bracket, spread evenly, and the moments at the sheet, elastic about the group's
center. Turning about the base's edge, beyond the screws, never gives more (its lever is longer), so the
center is the safe one of the two; push does not help. Screws in one line have no lever square to it:
there the base leans on its edge, with two thirds of the way to it as lever (triangle of pressure,
judgment).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.limits import LOADED, Limit, combine, row_largest
from fea.checks.reserve import tightened
from fea.checks.screw_strength import Pair, Part, ScrewRule, ScrewStrength, least, screw_strength
from fea.rails.actions import Basis
from fea.rails.loads import FrameResult
from fea.sections.screws import shear_and_pull
from roofmodel.hardware import Clamp
from roofmodel.layout import Layout
from roofmodel.screws import Screws

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHEAR, OUT, OVER, TENSION, BOTH = SCREW_LIMITS = (
    "screw shear", "screw pull-out", "screw pull-over", "screw tension", "screw shear and pull",
)  # fmt: skip
TRIANGLE = 2.0 / 3.0  # of the way to the base's edge: center of a triangle of pressure
ALONE = 1e-9  # distances that count as none [m]
SLIGHT = 1e-3  # use of screws by the force along the seam below which a mix of forces says nothing


@dataclass(frozen=True)
class Levers:
    """How screws (n,) share moments at the group's center, 1/m; NaN where nothing holds one.

    `tip` times the moment about the across axis and `roll` times that about the along axis are pulls,
    `twist` (n, 2) times that square to the roof shears along and across. `tip_edge`, `roll_edge`: pulls of
    either way of turning, by the edge of the base.
    """

    center: Array
    tip: Array
    roll: Array
    twist: Array
    tip_edge: float
    roll_edge: float


def levers(screws: Screws) -> Levers:
    """Shares of the moments, (n,)."""
    center = screws.place.mean(axis=0)
    x, y = (screws.place - center).T
    n = len(x)
    xx, yy, xy = float(x @ x), float(y @ y), float(x @ y)
    tip, roll = np.zeros(n), np.zeros(n)
    edges = [0.0, 0.0]
    if xx > ALONE**2 and yy > ALONE**2:
        # Sum of T x = -M_tip and of T y = M_roll for T = a x + b y.
        det = xx * yy - xy**2
        tip, roll = -(yy * x - xy * y) / det, (xx * y - xy * x) / det
    else:
        tip = -x / xx if xx > ALONE**2 else tip
        roll = y / yy if yy > ALONE**2 else roll
    for axis, spread in enumerate((xx, yy)):
        if spread <= ALONE**2:
            arm = TRIANGLE * (0.5 * screws.base[axis] - abs(center[axis]))
            edges[axis] = 1.0 / (n * float(arm))
    polar = xx + yy
    twist = np.stack([-y, x], axis=1) / polar if polar > ALONE**2 else np.full((n, 2), np.nan)
    return Levers(center, tip, roll, twist, *edges)


def no_lever(screws: Screws) -> tuple[str, ...]:
    """Fields of [clamp.screws] without which some moment of the bracket finds nothing to hold it."""
    share = levers(screws)
    fields = [("clamp.screws.base_along", share.tip_edge), ("clamp.screws.base_across", share.roll_edge)]
    missing = [name for name, edge in fields if np.isnan(edge)]
    return (*missing, "a second screw against twist") if np.isnan(share.twist).any() else tuple(missing)


def base_forces(force: Array, screws: Screws, height: float) -> Array:
    """Forces and moments at the center of the screws on the sheet.

    Parameters
    ----------
    force : (..., 6) float
        At the grip over the bracket's center, seam axes. [N, N m]
    screws : Screws
    height : float
        Of the grip above the sheet. [m]

    Returns
    -------
    (..., 6) float
        [N, N m]
    """
    x, y = screws.place.mean(axis=0)
    along, across, pull = force[..., 0], force[..., 1], force[..., 2]
    return np.stack(
        [
            along,
            across,
            pull,
            force[..., 3] - height * across - y * pull,
            force[..., 4] + height * along + x * pull,
            force[..., 5] - x * across + y * along,
        ],
        axis=-1,
    )


def screw_forces(
    force: Array, screws: Screws, height: float, least_force: float | Array = 0.0
) -> tuple[Array, Array]:
    """Shear along and across (..., n, 2), and pull (..., n), of every screw. [N].

    Parameters
    ----------
    force : (..., 6) float
        At the grip, seam axes. [N, N m]
    screws : Screws
    height : float
        Of the grip above the sheet. [m]
    least_force : (...) float
        Moments of less than this at the height of the grip or the distance of a diameter, whichever is more,
        count as none where nothing holds them. [N]

    Returns
    -------
    (..., n, 2) float, (..., n) float
        NaN where a moment finds nothing to hold it.
    """
    at, share = base_forces(force, screws, height), levers(screws)
    n = len(screws.place)
    floor = np.broadcast_to(least_force * max(screws.diameter, height), at.shape[:-1])

    def held(moment: Array, lever: Array | float) -> Array:
        least = floor.reshape(floor.shape + (1,) * (moment.ndim - floor.ndim))
        known = moment * np.nan_to_num(lever, nan=0.0)
        return np.where(np.isnan(lever) & (np.abs(moment) > least), np.nan, known)

    shear = at[..., None, :2] / n + held(at[..., 5, None, None], share.twist)
    edge = held(np.abs(at[..., 4]), share.tip_edge) + held(np.abs(at[..., 3]), share.roll_edge)
    pull = np.maximum(at[..., 2], 0.0)[..., None] / n + edge[..., None]
    pull = pull + at[..., 4, None] * share.tip + at[..., 3, None] * share.roll
    return shear, np.maximum(pull, 0.0)


@dataclass(frozen=True)
class ScrewUse:
    """Sizes of shear and pull of every screw (..., n) [N], and the use of each limit, by its name."""

    shear: Array
    pull: Array
    by: dict[str, Array]


def screw_use(force: Array, clamp: Clamp, strength: ScrewStrength, scale: float | Array) -> ScrewUse:
    """Use of every screw (..., n) by forces (..., 6) at the grip; NaN where loaded without a strength.

    A strength that is known and exceeded counts also where another one is missing. `scale` is the along-seam
    force, one for all or (...), that says what counts as loaded. [N]
    """
    screws = clamp.screws
    assert screws is not None
    floor = LOADED * np.asarray(scale)
    along, pull = screw_forces(force, screws, clamp.grip_height, floor)
    shear = np.hypot(along[..., 0], along[..., 1])
    counts = floor[..., None]
    v, t = (np.where(one > counts, one, np.where(np.isnan(one), np.nan, 0.0)) for one in (shear, pull))
    pairs = [_sum(v, t, pair) for pair in strength.pairs]
    return ScrewUse(
        shear=shear,
        pull=pull,
        by={
            SHEAR: _least_known([_over(v, part) for part in strength.shear]),
            OUT: _least_known([_over(t, part) for part in strength.out]),
            OVER: _least_known([_over(t, part) for part in strength.over]),
            TENSION: _least_known([_over(t, part) for part in strength.tension]),
            BOTH: _least_known(pairs),
        },
    )


def _over(size: Array, part: Part) -> Array:
    return np.where(size == 0.0, 0.0, size / part.design)


def _sum(v: Array, t: Array, pair: Pair) -> Array:
    """Use of a pair; a strength that nothing asks for may be missing."""
    holds = np.where(v == 0.0, np.inf, pair.shear), np.where(t == 0.0, np.inf, pair.pull)
    return shear_and_pull(v, t, holds, pair.weight, pair.bound)


def _least_known(uses: list[Array]) -> Array:
    """The worst of several uses; one that is exceeded counts also where another one is not known."""
    known, worst = np.fmax.reduce(uses), np.maximum.reduce(uses)
    return np.asarray(np.where(known > 1.0, known, worst))


def screw_capacity(force: Array, clamp: Clamp, strength: ScrewStrength) -> Array:
    """Force along the seam (...) at which a bracket's screws are used up, in the mix of forces (..., 6). [N].

    Not more than what they hold against a force along the seam alone, at the grip. NaN where a strength or a
    lever is missing.
    """
    along, plain = np.abs(force[..., 0]), np.zeros_like(force)
    plain[..., 0] = 1.0
    mixed, alone = (
        np.maximum.reduce(list(screw_use(one, clamp, strength, scale).by.values())).max(axis=-1)
        for one, scale in ((force, along), (plain, np.ones_like(along)))
    )
    slight = along * alone <= SLIGHT
    return np.minimum(1.0 / alone, np.where(slight, np.inf, along / np.where(mixed > 0.0, mixed, 1.0)))


def screw_limits(
    force: Array, clamp: Clamp, layout: Layout, rule: ScrewRule, *, by_row: bool = False
) -> tuple[Limit, ...]:
    """Limits of the most used screw of every bracket; none for clamps on seams.

    What counts as loaded is measured by the largest force along the seams, of all brackets or `by_row`.

    Parameters
    ----------
    force : (q, k, c, 6) float
        Factored forces at the grips in k readings, of which the worst counts. [N, N m]
    clamp : Clamp
    layout : Layout
    rule : ScrewRule
    """
    if clamp.screws is None or not len(layout.clamp_name):
        return ()
    strength = screw_strength(clamp.screws, rule)
    along = np.abs(force[..., 0])
    scale = row_largest(along.max(axis=1), layout.clamp_row)[:, None] if by_row else along.max(initial=0.0)
    found = screw_use(force, clamp, strength, scale)
    parts = {SHEAR: strength.shear, OUT: strength.out, OVER: strength.over, TENSION: strength.tension}
    limits = []
    for name in SCREW_LIMITS:
        use = _least_known(list(np.moveaxis(found.by[name], (1, 3), (0, 1)).reshape(-1, *_ends(force))))
        if name == BOTH:
            unknown = np.isnan(use) & np.isnan(found.shear + found.pull).any(axis=(1, 3))
            demand = np.where(unknown, np.nan, np.nan_to_num(use, nan=0.0))
            holds = np.ones(len(layout.clamp_name))
            basis = "; ".join(f"{pair.name}: {pair.clause}" for pair in strength.pairs)
        else:
            size = found.shear if name == SHEAR else found.pull
            known = np.nan_to_num(size, nan=0.0).max(axis=(1, 3))
            demand = np.where(np.isnan(use) & np.isnan(size).any(axis=(1, 3)), np.nan, known)
            weakest = least(parts[name])
            given = [part.design for part in parts[name] if not np.isnan(part.design)]
            exceeded = (np.nan_to_num(use, nan=0.0) > 1.0).any(axis=0)
            holds = np.where(exceeded, min(given, default=np.nan), weakest.design)
            basis = f"{weakest.name}: {weakest.clause}"
        limits.append(
            Limit(
                name=name,
                target="clamp",
                target_name=layout.clamp_name,
                demand=demand,
                resistance=holds,
                utilization=use,
                quantity="ratio" if name == BOTH else "force",
                basis=f"most used screw of {len(clamp.screws.place)}, elastic group; {basis} (from memory)",
            )
        )
    return tuple(limits)


def screws_worst(force: Array, clamp: Clamp, rule: ScrewRule, row: IntArray | None = None) -> Array:
    """Worst use (q, c) of `screw_limits`, or of those by row; NaN where one is not known, none exceeded."""
    assert clamp.screws is not None
    along = np.abs(force[..., 0])
    every = np.asarray(along.max(initial=0.0))
    scale = every if row is None else row_largest(along.max(axis=1), row)[:, None]
    found = screw_use(force, clamp, screw_strength(clamp.screws, rule), scale)
    worst = _least_known([use for one in found.by.values() for use in np.moveaxis(one, 3, 0)])
    return _least_known(list(np.moveaxis(worst, 1, 0)))


def with_screws_use(use: Array, force: Array, clamp: Clamp, rule: ScrewRule) -> Array:
    """Use (q, c) of brackets, from that of their directions together, and of their screws if there are any.

    `force` (q, k, c, 6) as in `screw_limits`.
    """
    return use if clamp.screws is None else _least_known([use, screws_worst(force, clamp, rule)])


def _ends(force: Array) -> tuple[int, int]:
    return force.shape[0], force.shape[2]


def screw_reserve(
    reserve: Array,
    responses: tuple[FrameResult, ...],
    basis: Basis,
    factors: tuple[Array, Array, Array],
    clamp: Clamp,
    layout: Layout,
    rule: ScrewRule,
) -> Array:
    """Reserve (q,) of each case with the screws' limits too."""
    if clamp.screws is None or not len(layout.clamp_name):
        return reserve
    snow, dead, thermal = factors

    def over(share: Array) -> NDArray[np.bool_]:
        force = [combine(r, basis, snow * share, dead, thermal).clamp for r in responses]
        limits = screw_limits(np.concatenate(force, axis=1), clamp, layout, rule)
        use = np.concatenate([limit.utilization for limit in limits], axis=1)
        return np.asarray(np.nan_to_num(use, nan=0.0).max(axis=1) > 1.0)

    return tightened(reserve, over)
