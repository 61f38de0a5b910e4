"""How far snow may grow until the first strength limit is reached, dead load and temperature held."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

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

CANDIDATES = 48  # targets followed per case; the end result is checked on all of them
UNLIMITED = 1e6
FAR = 1e3  # factor on snow that counts as no end
HALVINGS = 40


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
    scale = float(np.abs(full.clamp[..., 0]).max(initial=0.0))
    reserve = np.array(
        [
            _case_reserve(
                Demands(fixed.clamp[q], fixed.rail[q]),
                Demands(full.clamp[q], full.rail[q]),
                StripLoads(loads.snow[q], loads.weight[q], loads.restrained[q]),
                scale,
                strengths,
            )
            for q in range(len(snow))
        ]
    )
    return reserve


def _case_reserve(
    fixed: Demands, full: Demands, loads: StripLoads, scale: float, strengths: _Strengths
) -> float:
    """Reserve of one case from fixed and full demands (v, n, 6)."""
    grow = Demands(full.clamp - fixed.clamp, full.rail - fixed.rail)
    clamps = _leading(_clamp_use(full.clamp, scale, strengths))
    stations = _leading(_rail_use(full.rail, strengths))

    @cache  # the root finder asks again at both ends
    def excess(factor: float) -> float:
        clamp = fixed.clamp[:, clamps] + factor * grow.clamp[:, clamps]
        rail = fixed.rail[:, stations] + factor * grow.rail[:, stations]
        return (
            max(
                float(_clamp_use(clamp, factor * scale, strengths).max(initial=0.0)),
                float(_rail_use(rail, strengths).max(initial=0.0)),
                _strip_use(fixed.clamp + factor * grow.clamp, loads, factor, strengths),
            )
            - 1.0
        )

    if excess(0.0) > 0.0:
        return 0.0
    high = 1.0
    while excess(high) < 0.0:
        high *= 2.0
        if high > UNLIMITED:
            return float("inf")
    for attempt in range(8):
        if attempt:
            excess.cache_clear()  # more clamps and stations count now
        found = float(brentq(excess, 0.0, high, xtol=1e-12, rtol=1e-10))
        everywhere_clamp = _clamp_use(fixed.clamp + found * grow.clamp, found * scale, strengths)
        everywhere_rail = _rail_use(fixed.rail + found * grow.rail, strengths)
        if max(everywhere_clamp.max(initial=0.0), everywhere_rail.max(initial=0.0)) <= 1.0 + 1e-8:
            return found
        clamps = np.union1d(clamps, _leading(everywhere_clamp))
        stations = np.union1d(stations, _leading(everywhere_rail))
        high = found
    return found


def _clamp_use(force: Array, scale: float, strengths: _Strengths) -> Array:
    """Worst known utilization of each clamp (n,) from (v, n, 6)."""
    components = clamp_components(force, strengths.clamp)
    known = np.nan_to_num(component_utilization(components, strengths.clamp, scale), nan=0.0)
    return np.asarray(interact(known, strengths.clamp.interaction).max(axis=0))


def _rail_use(force: Array, strengths: _Strengths) -> Array:
    return np.asarray(rail_stress(force, strengths.rail).max(axis=0) / strengths.rail_strength)


def _strip_use(force: Array, loads: StripLoads, factor: float, strengths: _Strengths) -> float:
    if np.isnan(strengths.panel.anchorage):
        return 0.0
    rest = factor * loads.snow + loads.weight
    held = strip_demand(force[..., 0], strengths.readings, strengths.strip, rest, loads.restrained)
    return float(held.max()) / strengths.panel.anchorage


def _leading(use: Array) -> NDArray[np.int64]:
    """Indices of the largest utilizations."""
    if len(use) <= CANDIDATES:
        return np.arange(len(use))
    return np.argpartition(use, -CANDIDATES)[-CANDIDATES:]


def tightened(reserve: Array, over: Callable[[Array], NDArray[np.bool_]]) -> Array:
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
