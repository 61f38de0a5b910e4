"""Metals that touch, and how far rails move with temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout, SpliceKind, rail_lengths
from roofmodel.project.metal_schema import MetalsTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Anodic index: potential below gold [V]. MIL-STD-889 and the tables after it, from memory; the coating of
# aluminum and zinc between its two metals (judgment).
ANODIC_INDEX = {
    "copper": 0.35,
    "brass": 0.40,
    "bronze": 0.45,
    "stainless steel": 0.50,
    "stainless steel, chromium only": 0.60,
    "tin": 0.65,
    "lead": 0.70,
    "bare steel": 0.85,
    "aluminum": 0.90,
    "cast aluminum": 0.95,
    "aluminum-zinc coated steel": 1.05,
    "zinc-coated steel": 1.20,
    "zinc": 1.25,
}
# Largest difference that does no harm, by place [V]; MIL-STD-889 and the tables after it, from memory.
BOUND = {"coast": 0.15, "outdoors": 0.15, "dry": 0.25}
_COPPERY = ("copper", "brass", "bronze")
_BELOW = ("aluminum", "cast aluminum", "zinc", "zinc-coated steel", "aluminum-zinc coated steel")
_LARGER = ("sheet", "rail", "clamp", "screw")  # of two parts that touch, the one with more area comes first
_TOUCH = (("sheet", "clamp"), ("sheet", "screw"), ("clamp", "screw"), ("rail", "clamp"))


@dataclass(frozen=True)
class Couple:
    """Two metals in contact.

    `difference` is that of their anodic indices [V], `bound` the largest that does no harm there;
    `judgment` is "fits", "watch" or "avoid", and `why` says it in a sentence.
    """

    parts: tuple[str, str]
    metals: tuple[str, str]
    difference: float
    bound: float
    judgment: str
    why: str


def couples(metals: MetalsTable) -> tuple[Couple, ...]:
    """Every pair that touches, judged by the difference of anodic indices and by which one is larger.

    Within the bound of the place: fits. Beyond it the less noble metal corrodes: slowly where it is the
    larger part (watch), fast where it is the smaller (avoid). Water that runs off copper eats aluminum and
    zinc below whether they touch or not.
    """
    found = [_couple(metals, pair) for pair in _TOUCH]
    upstream = [part for part in ("rail", "clamp", "screw") if getattr(metals, part) in _COPPERY]
    if upstream and metals.sheet in _BELOW:
        part = upstream[0]
        pair = (getattr(metals, part), metals.sheet)
        found.append(
            Couple(
                (part, "sheet below"),
                pair,
                abs(ANODIC_INDEX[pair[0]] - ANODIC_INDEX[pair[1]]),
                BOUND[metals.place],
                "avoid",
                f"water that runs off {pair[0]} carries copper and eats {pair[1]} below",
            )
        )
    return tuple(found)


def _couple(metals: MetalsTable, pair: tuple[str, str]) -> Couple:
    own = (getattr(metals, pair[0]), getattr(metals, pair[1]))
    index = (ANODIC_INDEX[own[0]], ANODIC_INDEX[own[1]])
    difference, bound = abs(index[0] - index[1]), BOUND[metals.place]
    if difference <= bound + 1e-9:
        return Couple(pair, own, difference, bound, "fits", "their potentials are near each other")
    weak = 0 if index[0] > index[1] else 1
    larger = _LARGER.index(pair[weak]) < _LARGER.index(pair[1 - weak])
    if larger:
        why = f"the {pair[weak]} ({own[weak]}) gives way around the smaller {pair[1 - weak]}, slowly"
        return Couple(pair, own, difference, bound, "watch", why)
    why = f"the small {pair[weak]} ({own[weak]}) gives way to the larger {pair[1 - weak]}, fast"
    return Couple(pair, own, difference, bound, "avoid", why)


@dataclass(frozen=True)
class RailMovement:
    """How lengths of rail that hang together move with temperature.

    Attributes
    ----------
    row : (n,) int
    length : (n,) float
        Between sliding splices and ends. [m]
    movement : (n,) float
        Free change of length. [m]
    gap : (k,) float
        What each sliding splice must give way, half of both neighbors. [m]
    gap_row : (k,) int
    longest : float
        Length whose half movements use up `allowed` at a splice between two alike; infinite without warmth,
        NaN where no gap is given. [m]
    """

    row: IntArray
    length: Array
    movement: Array
    gap: Array
    gap_row: IntArray
    longest: float


def rail_movement(layout: Layout, alpha: float, warmth: float, allowed: float) -> RailMovement:
    """Free movement of rails.

    Parameters
    ----------
    layout : Layout
    alpha : float
        [1/K]
    warmth : float
        Change of temperature from installation, either way. [K]
    allowed : float
        What a sliding splice lets pass, NaN for not given. [m]
    """
    sliding = np.array([kind is SpliceKind.SLIDING for kind in layout.splice_kind], dtype=bool)
    of, length = rail_lengths(layout, sliding)
    movement = alpha * abs(warmth) * length
    next_to = np.flatnonzero(np.diff(of) == 0)
    rate = alpha * abs(warmth)
    return RailMovement(
        row=of,
        length=length,
        movement=movement,
        gap=0.5 * (movement[next_to] + movement[next_to + 1]),
        gap_row=of[next_to],
        longest=allowed / rate if rate > 0.0 else (np.nan if np.isnan(allowed) else np.inf),
    )
