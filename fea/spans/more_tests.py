"""What three more tests of the clamp would make of a span table: its strengths as shares of today's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.spans.bench import CLAMP
from fea.spans.missing import DIRECTIONS
from roofmodel.project.clamp_schema import ClampTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Gains:
    """What three more tests would do to the table of one rail on one seam spacing.

    Attributes
    ----------
    load : (n, a) float
        Largest line load with all directions' strengths after their further tests; NaN where not verified.
        [N/m]
    governing : (n, a) int
        Limit that is then reached first, -1 for none.
    alone : dict
        The same loads where one direction alone is tested further. [N/m]
    low : (n, a) float or None
        Those with every direction at the end below which one campaign in ten ends; None where nobody said
        it of all. [N/m]
    """

    load: Array
    governing: IntArray
    alone: dict[str, Array]
    low: Array | None = None


def three_more(clamp: ClampTable, form: str, *, low: bool = False) -> dict[str, float]:
    """Strengths over today's by direction, for a design format; empty where nobody said.

    The median of what may come, or the `low` end, below which one campaign in ten ends.
    """
    tested = clamp.tested
    if tested is None or tested.three_more is None:
        return {}
    more = tested.three_more
    of_format = (more.en, more.en_low) if form == "EN" else (more.asd_lrfd, more.asd_lrfd_low)
    shares = of_format[low]
    given = clamp.strength.model_dump()
    return {name: value for name, value in shares if value is not None and given[name] is not None}


def _sets(shares: dict[str, float], ends: dict[str, float]) -> list[dict[str, float]]:
    """All directions, each alone, and all at their low ends where that is told of each."""
    told = ends.keys() == shares.keys()
    return [shares, *({name: value} for name, value in shares.items()), *([ends] if told else ())]


def more_factors(shares: dict[str, float], ends: dict[str, float]) -> Array:
    """Factors (f, 6) on a clamp's strengths that `gains` wants the loads of; none without shares.

    Parameters
    ----------
    shares : dict
        Strength after further tests over today's, by direction.
    ends : dict
        The same at the low end.
    """
    sets = _sets(shares, ends) if shares else []
    return np.array([[one.get(name, 1.0) for name in DIRECTIONS] for one in sets]).reshape(-1, 6)


def gains(
    clamps: Array, shares: dict[str, float], ends: dict[str, float], low: Array, by_limit: Array
) -> Gains:
    """What stronger clamps would carry.

    Parameters
    ----------
    clamps : (f, n, a) float
        Largest loads by the clamp alone with each of `more_factors`, the least of every variant of one
        rail on one seam spacing. [N/m]
    shares, ends : dict
    low : (n, a) float
        Largest loads today, NaN where not verified. [N/m]
    by_limit : (n, a, l) float
        Those of each limit today. [N/m]
    """
    found, leads = [], None
    for load in clamps:
        every = np.where(np.isnan(by_limit), np.inf, by_limit)
        every[..., CLAMP] = load
        least = every.min(axis=2)
        if leads is None:
            first = np.argmax(every <= least[..., None] * (1.0 + 1e-9), axis=2)
            leads = np.where(np.isnan(low) | ~np.isfinite(least), -1, first)
        found.append(np.where(np.isnan(low), np.nan, np.minimum.accumulate(least, axis=0)))
    assert leads is not None
    alone = dict(zip(shares, found[1 : 1 + len(shares)], strict=True))
    return Gains(found[0], leads, alone, found[-1] if ends.keys() == shares.keys() else None)


def more_words(
    clamp: ClampTable, form: str, tables: Sequence[tuple[Array, IntArray, Gains | None]]
) -> list[str]:
    """What three more tests would buy, from the largest loads, what governs and the gains of every table."""
    if clamp.tested is None:
        return []
    shares = three_more(clamp, form)
    if not shares:
        return ["clamp.tested.three_more is not given: what more tests would buy is not known."]
    held, rail, total = [], 0, 0
    ends: list[float] = []
    gained: dict[str, list[float]] = {name: [] for name in shares}
    for low, governing, more in tables:
        if more is None:
            continue
        of_clamp = (governing == CLAMP) & (low > 0.0) & np.isfinite(low)
        held += (more.load[of_clamp] / low[of_clamp] - 1.0).tolist()
        if more.low is not None:
            ends += (more.low[of_clamp] / low[of_clamp] - 1.0).tolist()
        for name, load in more.alone.items():
            gained[name] += (load[of_clamp] / low[of_clamp] - 1.0).tolist()
        total += int((governing >= 0).sum())
        rail += int(((governing >= 0) & (governing != CLAMP)).sum())
    if not held:
        return ["More tests of the clamp buy nothing here: it governs no load of these tables."]
    each = "; ".join(f"{name} {_percent(np.array(some))}" for name, some in gained.items())
    untold = [name for name in clamp.tested.directions if name not in shares]
    left = (
        f" Nothing is known of {', '.join(untold)}, where an odd test or a second way to fail comes first: "
        "the note on its tests says what its strength is if the odd test is shown not to belong; the loads "
        "that the clamp governs rise by no more than that strength."
        if untold
        else ""
    )
    rest = f" In {rail} of {total} cells something else governs: there they buy nothing." if rail else ""
    worse = (
        f" With each direction at the end below which one campaign in ten ends: {_percent(np.array(ends))}."
        if ends
        else " How much less they may bring is not known (clamp.tested.three_more)."
    )
    return [
        f"Three more tests of each direction would change the {len(held)} loads that the clamp governs by "
        f"{_percent(np.array(held))} (of one direction alone: {each}), with each direction at its own "
        "median, which half of its campaigns exceed if the specimens come from the same lot; all directions "
        f"together do so less often.{worse}{rest}{left} It may not be used before the tests are done."
    ]


def _percent(share: Array) -> str:
    low, high = (np.floor(1000.0 * x + 1e-6) / 10.0 for x in (share.min(), share.max()))
    ends = dict.fromkeys(f"{x + 0.0:+.1f}".replace("-", "−") for x in (low, high))
    return f"{' to '.join(ends)} %"
