"""How far snow may grow until the first strength limit is reached, dead load and temperature held."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.anchorage import StripLoads, strip_demand
from fea.checks.limits import (
    Demands,
    clamp_components,
    combine,
    component_utilization,
    interact,
)
from fea.checks.rail_section import rail_stress
from fea.checks.strips import panel_strips
from fea.rails.actions import Basis, Reading
from fea.rails.loads import FrameResult
from roofmodel.hardware import Clamp, Panel, Rail
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Excess = Callable[[Array], Array]

CANDIDATES = 48  # targets followed per case; the end result is checked on all of them
UNLIMITED = 1e6
FAR = 1e3  # factor on snow that counts as no end
HALVINGS = 40
STEPS = 200  # of false position: far more than any needs
HIT = 1e-12  # distance from the limit that counts as none [-]


@dataclass(frozen=True)
class _Strengths:
    clamp: Clamp
    rail: Rail
    rail_strength: float
    panel: Panel
    strip: IntArray
    readings: tuple[Reading, ...]


def snow_reserve(
    result: FrameResult,
    basis: Basis,
    factors: tuple[Array, Array, Array],
    hardware: tuple[Clamp, Rail, float, Panel],
    layout: Layout,
    loads: StripLoads,
    full: Demands,
) -> Array:
    """Factor on the factored snow at which each case reaches its first strength limit.

    Clamps (combined), rail stress and panel anchorage count; directions without a strength cannot.

    Parameters
    ----------
    result : FrameResult
    basis : Basis
    factors : tuple of (q,) float
        Snow, dead and thermal factors.
    hardware : Clamp, Rail, design yield stress [Pa], Panel
    layout : Layout
    loads : StripLoads
        Only `snow` grows with snow.
    full : Demands
        Under all of the snow: `combine` of the same factors.

    Returns
    -------
    (q,) float
        1 means just at the limit, below 1 means exceeded; 0 if dead load and temperature alone exceed,
        infinite if snow never does.
    """
    strengths = _Strengths(*hardware, panel_strips(layout)[0], basis.readings)
    snow, dead, thermal = factors
    fixed = combine(result, basis, 0.0 * snow, dead, thermal)
    every = (fixed, Demands(full.clamp - fixed.clamp, full.rail - fixed.rail))
    scale = float(np.abs(full.clamp[..., 0]).max(initial=0.0))

    def uses(part: tuple[Demands, Demands], factor: Array) -> tuple[Array, Array]:
        """Utilization of clamps (q, c) and stations (q, t) under that much snow."""
        still, more = part
        times = factor[:, None, None, None]
        clamp, rail = still.clamp + times * more.clamp, still.rail + times * more.rail
        return _clamp_use(clamp, factor * scale, strengths), _rail_use(rail, strengths)

    def excess(factor: Array) -> Array:
        along = fixed.clamp[..., 0] + factor[:, None, None] * every[1].clamp[..., 0]
        strip = _strip_use(along, loads, factor, strengths)
        return np.asarray(np.max([*map(_most, uses(followed, factor)), strip], axis=0) - 1.0)

    one = np.ones(len(snow))
    ends = zip(uses(every, one), uses(every, FAR * one), strict=True)
    which = [np.concatenate([_leading(now), _leading(far)], axis=1) for now, far in ends]
    followed = _chosen(every, which)
    before = excess(0.0 * one) > 0.0
    high, never = _bracket(excess, before)
    for _ in range(8):
        reserve = _crossing(excess, high, before | never)
        everywhere = uses(every, reserve)
        missed = np.maximum(*map(_most, everywhere)) > 1.0 + 1e-8
        missed &= ~before & ~never
        if not missed.any():
            break
        which = [
            np.concatenate([some, _leading(use)], axis=1) for some, use in zip(which, everywhere, strict=True)
        ]
        followed = _chosen(every, which)
        high = np.where(missed, reserve, high)
    return np.where(before, 0.0, np.where(never, np.inf, reserve))


def _bracket(excess: Excess, known: BoolArray) -> tuple[Array, BoolArray]:
    """Factors (q,) that exceed, by doubling, but for cases known not to matter; and cases that never do."""
    high, never = np.ones(len(known)), np.zeros(len(known), dtype=bool)
    while True:
        low = (excess(high) < 0.0) & ~known & ~never
        if not low.any():
            return high, never
        high[low] *= 2.0
        never |= high > UNLIMITED


def _crossing(excess: Excess, high: Array, known: BoolArray) -> Array:
    """Factors (q,) at which the excess becomes positive, between none and `high`, for cases not yet known.

    By false position after the Illinois rule (Dowell and Jarratt, 1971), halved where that is slow. Of what
    is left between, the lower, safe end counts.
    """
    low, high = np.zeros_like(high), high.copy()
    under, over = excess(low), excess(high)
    settled, found = known | (over <= 0.0), high.copy()
    last = np.zeros(len(high))
    for step in range(STEPS):
        if settled.all():
            break
        slope = np.where(settled | (over <= under), 1.0, over - under)
        at = np.clip(high - over * (high - low) / slope, low, high)
        at = np.where(settled, found, 0.5 * (low + high) if step % 4 == 3 else at)
        value = excess(at)
        side = np.where(value > 0.0, 1.0, -1.0)
        again = side == last
        under = np.where(side < 0.0, value, np.where(again, 0.5 * under, under))
        over = np.where(side > 0.0, value, np.where(again, 0.5 * over, over))
        low, high, last = np.where(side < 0.0, at, low), np.where(side > 0.0, at, high), side
        hit, close = np.abs(value) <= HIT, high - low <= 1e-12 + 1e-10 * high
        found = np.where(settled, found, np.where(hit, at, low))
        settled = settled | hit | close
    return found


def _chosen(every: tuple[Demands, Demands], which: Sequence[IntArray]) -> tuple[Demands, Demands]:
    """Demands on some clamps and stations of each case, (q, k) of both."""
    if [some.shape[1] for some in which] == [every[0].clamp.shape[2], every[0].rail.shape[2]]:
        return every
    clamp, rail = (some[:, None, :, None] for some in which)
    still, more = (
        Demands(np.take_along_axis(part.clamp, clamp, axis=2), np.take_along_axis(part.rail, rail, axis=2))
        for part in every
    )
    return still, more


def _most(use: Array) -> Array:
    """Largest of each case, (q,)."""
    return np.asarray(use.max(axis=1, initial=0.0))


def _clamp_use(force: Array, scale: Array, strengths: _Strengths) -> Array:
    """Worst known utilization of each clamp (q, n) from (q, v, n, 6)."""
    components = clamp_components(force, strengths.clamp)
    use = component_utilization(components, strengths.clamp, scale[:, None, None])
    known = np.where(np.isnan(use), 0.0, use)
    return np.asarray(interact(known, strengths.clamp.interaction).max(axis=1))


def _rail_use(force: Array, strengths: _Strengths) -> Array:
    return np.asarray(rail_stress(force, strengths.rail).max(axis=1) / strengths.rail_strength)


def _strip_use(along: Array, loads: StripLoads, factor: Array, strengths: _Strengths) -> Array:
    """Largest utilization of a panel's anchorage (q,) from forces along the seams (q, v, c)."""
    if np.isnan(strengths.panel.anchorage):
        return np.zeros(len(factor))
    rest = factor[:, None] * loads.snow + loads.weight
    held = strip_demand(along, strengths.readings, strengths.strip, rest, loads.restrained)
    return np.asarray(held.max(axis=1) / strengths.panel.anchorage)


def _leading(use: Array) -> IntArray:
    """Places (q, k) of the largest utilizations (q, n) of each case."""
    if use.shape[1] <= CANDIDATES:
        return np.tile(np.arange(use.shape[1]), (len(use), 1))
    return np.argpartition(use, -CANDIDATES, axis=1)[:, -CANDIDATES:]


def tightened(reserve: Array, over: Callable[[Array], BoolArray]) -> Array:
    """Reserve (q,) with more limits, by bisection on all cases at once.

    Parameters
    ----------
    reserve : (q,) float
        With what is known so far.
    over : callable
        Whether each case exceeds the other limits at factors (q,) on its snow.
    """
    high = np.minimum(reserve, FAR)
    wrong = over(high)
    if not wrong.any():
        return reserve
    low, high = np.zeros_like(high), high.copy()
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        bad = over(middle)
        low, high = np.where(bad, low, middle), np.where(bad, middle, high)
    return np.where(wrong, low, reserve)
