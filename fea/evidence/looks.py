"""What a closer look at splices, screws and seams tells: chances of what was found, never loosened."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from fea.evidence.explanations import Bank
from roofmodel.layout import Layout

Array = NDArray[np.float64]
Rail = tuple[int, str, float, bool | None]
Look = tuple[int, bool, float]  # clamp, whether it is so, doubt

LEAST_DOUBT = 0.01  # of one clamp or seam that was looked at; nobody is surer (judgment)
BESIDE = 2  # clamps from a splice that tear or bend it
# Chance to find a splice so, if it had parted, if clamps beside it gave way, and else (judgment).
SEEN = {"parted": (0.8, 0.15, 0.01), "bent": (0.2, 0.55, 0.04), "whole": (0.0, 0.30, 0.95)}
# Chance that a parted splice is told fresh, if it had parted before and if it tore with the row (judgment).
FRESH = (0.2, 0.9)
UNSCREWED = {"parted": 0.5, "bent": 0.3, "whole": 0.2}  # the same if it never had screws (judgment)
# Chance of a bend in the rail away from splices where a stretch of lost clamps ends, within it, and where all
# clamps beside it stand (judgment).
SPAN_BENT = (0.5, 0.3, 0.02)
TRACE = 1e-300  # of a chance


def count_chances(looked: int, told: int, doubt: float) -> Array:
    """Chance (looked + 1,) that so many are told so, where 0 to all of those looked at are so.

    Each is told wrong by itself with the same chance: the sum of two binomials.
    """
    wrong = max(doubt, LEAST_DOUBT)
    so, right = np.arange(looked + 1)[:, None], np.arange(told + 1)
    both = binom.pmf(right, so, 1.0 - wrong) * binom.pmf(told - right, looked - so, wrong)
    return np.sum(both, axis=1)


def count_square(made: Array, looked: int, told: int, doubt: float) -> Array:
    """Squared distances (n,) of counts: -2 ln of their chance over the largest there can be."""
    chance = count_chances(looked, told, doubt)
    square = -2.0 * np.log(np.maximum(chance / chance.max(), TRACE))
    return np.asarray(square[np.round(made).astype(int)])


def beside(layout: Layout, clamp: int) -> NDArray[np.bool_]:
    """Clamps (c,) within `BESIDE` of one on its row."""
    near = np.abs(np.arange(len(layout.clamp_row)) - clamp) <= BESIDE
    return np.asarray(near & (layout.clamp_row == layout.clamp_row[clamp]))


def splices_seen(layout: Layout, rails: tuple[Rail, ...], bank: Bank) -> Array:
    """Chance (n,) of all splices that were looked at."""
    return np.prod([np.ones(len(bank.mass)), *(splice_seen(layout, bank, rail) for rail in rails)], axis=0)


def splice_states(
    layout: Layout, rails: tuple[Rail, ...], bank: Bank
) -> list[tuple[str, dict[str, Array], Array]]:
    """Each splice that was looked at: how it was found, the chances of each state, those of the others."""
    found = []
    for i, (clamp, state, doubt, fresh) in enumerate(rails):
        states = {s: splice_seen(layout, bank, (clamp, s, doubt, None)) for s in SEEN}
        if fresh is not None:  # old and fresh are states of their own
            del states["parted"]
            for one in (True, False):
                states[_parted(one)] = splice_seen(layout, bank, (clamp, "parted", doubt, one))
            state = _parted(fresh)
        found.append((state, states, splices_seen(layout, (*rails[:i], *rails[i + 1 :]), bank)))
    return found


def rail_states(
    layout: Layout, screws: Sequence[Look], spans: Sequence[Look], bank: Bank
) -> dict[str, list[tuple[str, dict[str, Array], Array]]]:
    """Screws of splices, and rails away from splices, as `splice_states`."""
    found: dict[str, list[tuple[str, dict[str, Array], Array]]] = {}
    looks = (("screws", screws, screws_seen, spans_seen(layout, spans, bank)),
             ("span", spans, spans_seen, screws_seen(layout, screws, bank)))  # fmt: skip
    for what, told, seen, beside_it in looks:
        found[what] = []
        for i, (clamp, so, doubt) in enumerate(told):
            states = {str(one): seen(layout, [(clamp, one, doubt)], bank) for one in (True, False)}
            others = seen(layout, [*told[:i], *told[i + 1 :]], bank)
            found[what].append((str(so), states, others * beside_it))
    return found


def _parted(fresh: bool) -> str:
    return "parted, fresh" if fresh else "parted, old"


def splice_seen(layout: Layout, bank: Bank, rail: Rail) -> Array:
    """Chance (n,) to find a splice so: parted at any time, beside what gave way, or neither."""
    clamp, state, doubt, fresh = rail
    near = beside(layout, clamp)
    close = bank.gave_way[:, near].any(axis=1)
    own = old = near[bank.parted] & (bank.parted >= 0)
    if bank.torn.size:
        own = old | bank.torn[:, near].any(axis=1)
    before, torn, still = SEEN[state]
    chance = np.where(own, before, np.where(close, torn, still))
    if bank.unscrewed.size:
        chance = np.where(old & bank.unscrewed, UNSCREWED[state], chance)
    told_wrong = 1.0 / len(SEEN)
    if fresh is not None:
        share = np.where(old, FRESH[0], np.where(own | close, FRESH[1], 0.5))
        chance = chance * (share if fresh else 1.0 - share)
        told_wrong *= 0.5
    return np.asarray((1.0 - doubt) * chance + doubt * told_wrong)


def screws_seen(layout: Layout, told: Sequence[Look], bank: Bank) -> Array:
    """Chance (n,) of splices at which screws were looked for: at a clamp, whether set, the doubt."""
    chance = np.ones(len(bank.mass))
    bare = bank.unscrewed if bank.unscrewed.size else np.zeros(len(bank.mass), dtype=bool)
    for clamp, there, doubt in told:  # a few
        wrong = max(doubt, LEAST_DOUBT)
        none = bare & (bank.parted >= 0) & beside(layout, clamp)[bank.parted]
        chance *= np.where(none == there, wrong, 1.0 - wrong)
    return chance


def most_screws(told: Sequence[Look], cause: str) -> float:
    """Largest chance of those that an explanation can have: with one splice without screws, or none."""
    right = [1.0 - max(doubt, LEAST_DOUBT) for _, _, doubt in told]
    bare = [i for i, (_, there, _) in enumerate(told) if not there]
    chance = np.array([1.0 - one if i in bare else one for i, one in enumerate(right)])
    if "splice never screwed" in cause and bare:
        most = max(bare, key=lambda i: right[i])
        chance[most] = right[most]
    return float(np.prod(chance))


def spans_seen(layout: Layout, told: Sequence[Look], bank: Bank) -> Array:
    """Chance (n,) of rails looked at away from splices: at a clamp, whether bent, the doubt."""
    chance = np.ones(len(bank.mass))
    ends, within, still = SPAN_BENT
    for clamp, bent, doubt in told:  # a few
        off = bank.gave_way[:, beside(layout, clamp)]
        share = np.where(off.all(axis=1), within, np.where(off.any(axis=1), ends, still))
        right = share if bent else 1.0 - share
        chance *= (1.0 - doubt) * right + doubt * 0.5
    return chance
