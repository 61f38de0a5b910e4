"""The explanations: what each of them changes in the samples of a roof.

All explanations share what is not known anyway: snow, bond, strengths, how snow over a lost clamp behaves and
how hard a loss shakes its neighbors. Each then has one thing of its own. The distributions are judgment, and
are printed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fea.evidence.aim import LEAST_UNIT, PLAIN, Aim, draw_high, draw_stretch
from fea.evidence.grids import Grid
from fea.failure.study import RoofCase
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SNOW = (0.6, 0.42)  # middle and spread of the snow without drift over that of the case, lognormal
MORE = (1.2, 0.55)  # the same of more snow than usual
DRIFTS = 0.02  # least share of drift in a row's force that counts as one
UNEVEN = (0.3, 3.0)  # snow at the top of a heap beyond that beside it, over that beside it
LONGEST_GAP = 6  # clamps missing side by side
AND = " + "  # between two explanations at once
AS_DESIGNED = "as designed"
OPEN_SPLICE = ("splice parted", "splice never screwed")  # one splice that passed on nothing
OF_SNOW = ("more snow", "drift", "uneven snow", "row ends", "bond of one plane")  # no flaw of the rows
PAIRS = 0.1  # weight of all pairs before anything is found, over that of all single explanations (judgment)
DRIFTLESS = (
    "no snow case of the project has a drift at a row; enter what stands on the roof as [[obstruction]] "
    "(eavewright fields --table obstruction)"
)
LEAST = 0.1  # of a clamp's snow that drift, a heap or a row's end adds where it counts as one (judgment)
PRY = (0.4, 1.0)  # strength left beside a splice without screws, by prying (judgment)
SPLICE_SHARE = (0.5, 8.0)  # of an unknown splice over a clamp's strength, log-uniform


@dataclass(frozen=True)
class Roof:
    """What all samples are drawn on.

    Attributes
    ----------
    case : RoofCase
        Snow of the case.
    drifted : RoofCase
        Snow of the case with the most drift on the rows; `case` where none drifts.
    deeper : (2, c) float
        What the drift of `case` and of `drifted` adds to the depth at each clamp, over that without it. [-]
    splice_at : (s,) int
        Clamp nearest to each splice that can part.
    may_part : (s,) bool
        Splices that can have parted before anything else.
    splices_known : bool
        Whether the project says what they hold; else they hold `SPLICE_SHARE` times what `case` has for them.
    layout : Layout
    plane : (c,) int
        Plane of each clamp.
    partial : bool
        Whether snow from beside a row leans on its end; `RoofCase.ends` also has what boxes send aside.
    """

    case: RoofCase
    drifted: RoofCase
    deeper: Array
    splice_at: IntArray
    may_part: NDArray[np.bool_]
    splices_known: bool
    layout: Layout
    plane: IntArray
    partial: bool


@dataclass(frozen=True)
class Strengths:
    """Mean over nominal is in the case already; how clamps scatter."""

    scatter: float
    together: float


@dataclass
class Draw:
    """Samples of one batch while an explanation changes them."""

    rng: np.random.Generator
    roof: Roof
    aim: Aim
    case: RoofCase
    weight: Array
    mass: Array
    drift: Array
    bond: Array  # (n, c)
    ends: Array
    share: Array
    missing: NDArray[np.bool_]
    wrong: Array
    wrong_at: NDArray[np.bool_]
    loose: NDArray[np.bool_]
    flawed: NDArray[np.bool_]  # (n, c), clamps that hold less than their strength by the explanation
    heaped: Array  # (n, c), factor on the snow
    uneven: Array
    splice: IntArray  # of `Roof.splice_at` that parted before or was never screwed, -1 for none
    screwed: NDArray[np.bool_]  # (n,), whether that one was
    tight: Array  # (n, c), share of its strength that a clamp has for want of tightening
    pried: Array  # (n, c), the same for a rail that pries it: by itself it is as strong as ever
    by_grid: NDArray[np.bool_]  # (n,), samples drawn by `grid`
    plainly: NDArray[np.bool_]  # (n,), those of them that are drawn as if nothing was found
    grid: Grid | None = None
    units: dict[str, Array] = field(default_factory=dict)  # numbers between 0 and 1 of which all is made
    now: str = ""  # explanation that draws
    acts: dict[str, NDArray[np.bool_]] = field(default_factory=dict)  # where each changes something, (n, c)
    sizes: dict[str, NDArray[Any]] = field(default_factory=dict)  # as `fea.evidence.sizes.SIZES`, (n,)

    @property
    def size(self) -> int:
        """Number of samples."""
        return len(self.by_grid)

    def given(self, name: str) -> Array:
        """Numbers (n,) from 0 to 1 of the samples drawn by the grid, NaN of the others."""
        if self.grid is None:
            return np.full(self.size, np.nan)
        even = self.rng.random(self.size)
        by_grid = np.where(self.plainly, even, self.grid.inverse(self._key(name), even))
        return np.where(self.by_grid, by_grid, np.nan)

    def unit(self, name: str) -> Array:
        """Numbers (n,) from 0 to 1, even but where the grid draws them."""
        value, given = self.rng.random(self.size), self.given(name)
        return self.keep(name, np.where(np.isnan(given), value, given))

    def uniform(self, name: str, low: float, high: float) -> Array:
        """Numbers (n,) from low to high, even but where the grid draws them."""
        return low + (high - low) * self.unit(name)

    def normal(self, name: str) -> Array:
        """Standard normal numbers (n,) but where the grid draws them."""
        return np.asarray(ndtri(np.clip(self.unit(name), LEAST_UNIT, 1.0 - LEAST_UNIT)))

    def choice(self, name: str, count: int) -> IntArray:
        """One of some things (n,), each as likely but where the grid draws them."""
        return np.minimum((self.unit(name) * count).astype(np.int64), count - 1)

    def keep(self, name: str, value: Array) -> Array:
        """Note the numbers (n,) that samples were drawn by."""
        self.units[self._key(name)] = value
        return value

    def unused(self, names: Sequence[str], where: NDArray[np.bool_]) -> None:
        """Numbers that nothing of some samples (n,) is made of: NaN, in no density (`Grid.over_plain`)."""
        for name in names:  # two
            self.keep(name, np.where(where, np.nan, self.units[self._key(name)]))

    def _key(self, name: str) -> str:
        return f"{self.now}/{name}"


Change = Callable[[Draw], None]


def _more_snow(draw: Draw) -> None:
    """Nothing but its snow, `MORE`."""


def _as_designed(draw: Draw) -> None:
    """Nothing: the roof as it was drawn, under what is usual."""


def _drift(draw: Draw) -> None:
    draw.case = draw.roof.drifted
    draw.drift = 1.8 * np.exp(0.4 * draw.normal("drift"))
    still, drift = draw.case.usual_snow
    draw.acts["drift"] = draw.drift[:, None] * np.abs(drift) >= LEAST * np.abs(still)
    draw.sizes["drift"] = draw.drift


def _weak(draw: Draw) -> None:
    weak, boxed = _some(draw, 0.1, 1.0)
    draw.acts["weak batch"] = weak
    draw.flawed = draw.flawed | weak
    hold = draw.uniform("hold", 0.25, 0.8)[:, None]
    draw.share = np.where(weak, hold, 1.0) * draw.share
    draw.sizes |= {"weak clamps": weak.sum(axis=1), "weak hold": hold[:, 0], "weak together": boxed}


def _loose(draw: Draw) -> None:
    draw.loose, boxed = _some(draw, 0.05, 0.5)
    draw.acts["loose clamps"] = draw.loose
    draw.flawed = draw.flawed | draw.loose
    hold = draw.uniform("hold", 0.1, 0.6)[:, None]
    draw.tight = np.where(draw.loose, hold, 1.0)
    draw.share = draw.tight * draw.share
    draw.sizes |= {"loose clamps": draw.loose.sum(axis=1), "loose hold": hold[:, 0], "loose together": boxed}


def _some(draw: Draw, least: float, most: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Clamps scattered by a share of `least` to `most`, or side by side (n, c), half of each, (n,)."""
    part = draw.uniform("part", least, most)[:, None]
    scattered = draw.rng.random(draw.share.shape) < part
    boxed, weight = _side_by_side(draw, 2, max(draw.share.shape[1] // 3, 2))
    side = draw.unit("side") < 0.5
    draw.weight *= np.where(side, weight, 1.0)
    draw.unused(("place", "long"), ~side)
    return np.where(side[:, None], boxed, scattered), side


def _side_by_side(draw: Draw, least: int, most: int) -> tuple[NDArray[np.bool_], Array]:
    """One stretch of clamps of one row in each sample, anywhere, (n, c), and the weights of it."""
    c, row = draw.share.shape[1], draw.roof.layout.clamp_row
    (at, long), weight, units = draw_stretch(
        draw.rng, draw.aim, least, most, (draw.given("place"), draw.given("long"))
    )
    draw.keep("place", units[0])
    draw.keep("long", units[1])
    middle, long = at[:, None], long[:, None]
    place = np.arange(c)
    near = (place >= middle - (long - 1) // 2) & (place <= middle + long // 2)
    return near & (row == row[middle]), weight


def _missing(draw: Draw) -> None:
    draw.missing, weight = _side_by_side(draw, 1, LONGEST_GAP)
    draw.weight *= weight
    draw.sizes["missing clamps"] = draw.missing.sum(axis=1)


def _uneven(draw: Draw) -> None:
    layout, plane = draw.roof.layout, draw.roof.plane
    even = draw.rng.random(draw.size)
    (middle, _), weight, units = draw_stretch(draw.rng, draw.aim, 1, 1, (draw.given("place"), even))
    draw.keep("place", units[0])
    draw.weight *= weight
    draw.uneven, weight, top = draw_high(
        draw.rng, *UNEVEN, draw.given("top"), aimed=bool(draw.aim.near.any())
    )
    draw.keep("top", top)
    draw.weight *= weight
    at, along = layout.clamp_xy, layout.row_way[layout.clamp_row[middle]]
    apart = along @ at.T - np.sum(along * at[middle], axis=1, keepdims=True)
    long = draw.uniform("along", 1.5, 8.0)[:, None]
    row = layout.clamp_row
    one_row = draw.unit("one row")[:, None] < 0.5
    under = np.where(one_row, row == row[middle][:, None], plane == plane[middle][:, None])
    heap = np.where(under, np.exp(-0.5 * (apart / long) ** 2), 0.0)
    draw.heaped = 1.0 + draw.uneven[:, None] * heap
    draw.acts["uneven snow"] = draw.heaped - 1.0 >= LEAST
    draw.sizes |= {"heap top": 1.0 + draw.uneven, "heap along": long[:, 0], "heap one row": one_row[:, 0]}


def _wrong(draw: Draw) -> None:
    row = draw.roof.layout.clamp_row
    which = draw.choice("which", int(row.max()) + 1)[:, None]
    everywhere = draw.unit("everywhere")[:, None] < 0.3
    on = everywhere | (row == which)
    draw.wrong, draw.wrong_at = on.mean(axis=1), on
    draw.acts["wrong clamp"] = on
    draw.flawed = draw.flawed | on
    hold = draw.uniform("hold", 0.15, 0.6)[:, None]
    draw.share = np.where(on, hold, 1.0) * draw.share
    draw.sizes |= {"wrong clamps": on.sum(axis=1), "wrong hold": hold[:, 0]}


def _ends(draw: Draw) -> None:
    draw.ends = draw.uniform("ends", 1.0, 2.5)
    draw.sizes["ends"] = draw.ends
    still, ends = draw.case.usual_snow[0], draw.case.ends
    draw.acts["row ends"] = draw.ends[:, None] * np.abs(ends) >= LEAST * np.abs(still)


def _one_plane(draw: Draw) -> None:
    planes = np.unique(draw.roof.plane)
    which = planes[draw.choice("which", len(planes))][:, None]
    held = draw.uniform("held", 0.5, 1.0)[:, None]
    draw.bond = np.where(draw.roof.plane == which, 0.0, held)
    draw.sizes["held elsewhere"] = held[:, 0]


def _parted(draw: Draw) -> None:
    may = draw.roof.may_part
    share, near = may / may.sum(), may & draw.aim.near[draw.roof.splice_at]
    drawn = (
        share if (near == may).all() or not near.any() else PLAIN * share + (1.0 - PLAIN) * near / near.sum()
    )
    given, below = draw.given("splice"), np.concatenate([[0.0], np.cumsum(share)])
    by_aim = draw.rng.choice(len(share), draw.size, p=drawn)
    by_grid = np.clip(np.searchsorted(below, np.nan_to_num(given), side="right") - 1, 0, len(share) - 1)
    within = below[by_aim] + draw.rng.random(draw.size) * share[by_aim]
    draw.splice = np.where(np.isnan(given), by_aim, by_grid)
    draw.keep("splice", np.where(np.isnan(given), within, given))
    draw.weight *= np.divide(share, drawn, out=np.ones_like(drawn), where=may)[draw.splice]
    draw.acts[draw.now] = beside_splice(draw)


def _unscrewed(draw: Draw) -> None:
    _parted(draw)
    draw.screwed = np.zeros(draw.size, dtype=bool)
    hold = draw.uniform("pry", *PRY)
    pries = draw.acts[draw.now]
    draw.flawed = draw.flawed | pries
    draw.pried = np.where(pries, hold[:, None], 1.0)
    draw.share = draw.pried * draw.share
    draw.sizes["pry hold"] = hold


def beside_splice(draw: Draw) -> NDArray[np.bool_]:
    """The two clamps beside the splice of each sample, (n, c)."""
    left, right = splice_sides(draw.roof)
    found, sample = np.zeros(draw.share.shape, dtype=bool), np.arange(draw.size)
    found[sample, left[draw.splice]] = found[sample, right[draw.splice]] = True
    return found


def splice_sides(roof: Roof) -> tuple[IntArray, IntArray]:
    """Last clamp left and first clamp right of each splice, both (s,)."""
    links = roof.case.roof.splices
    place = np.zeros(0, dtype=np.int64) if links is None else links.place
    return place - 1, place


CHANGES: dict[str, tuple[Change, str]] = {
    "more snow": (_more_snow, "snow about twice (1 to 4 times) what is usual for the roof"),
    "drift": (_drift, "drift about 1.8 times (0.8 to 4 times) that of the standard"),
    "weak batch": (
        _weak,
        "some clamps, scattered or side by side (as 1 / length), hold 25 to 80 % of their strength",
    ),
    "loose clamps": (
        _loose,
        "5 to 50 % of the clamps, or some side by side (as 1 / length), were never tightened and hold 10 to "
        "60 %",
    ),
    "uneven snow": (
        _uneven,
        "snow heaped above one row or all rows of a plane where no standard has a drift: 1.3 to 4 times as "
        "much at its top, over a deviation of 1.5 to 8 m",
    ),
    "missing clamps": (
        _missing,
        f"1 to {LONGEST_GAP} clamps side by side were never there, k of them by 1 / k",
    ),
    "wrong clamp": (_wrong, "one row, or every row, has clamps that hold 15 to 60 % on this seam"),
    "row ends": (_ends, "snow from beside a partial row leans on its ends, 1 to 2.5 times the bound"),
    "bond of one plane": (_one_plane, "one plane let go, on the others half or more of the pull was held"),
    "splice parted": (_parted, "one splice had parted before"),
    "splice never screwed": (
        _unscrewed,
        "one splice had no screws: it passes on nothing, and the end clamps of the two rails beside it, "
        "which the snow then twists and pries, hold 40 to 100 % of their strength",
    ),
    AS_DESIGNED: (
        _as_designed,
        "nothing was wrong: the rows as drawn under usual snow and drift, too weak for it; see check",
    ),
}
USUAL = (
    "Usual for all: snow without drift lognormal about 0.6 of the case (0.25 to 1.4); drift 0 to 1.5 times "
    "the standard's; bond holds 0 to 30 %; snow over a lost clamp leaves by 0 to 100 %; a loss shakes its "
    "neighbors by 1 to 2; snow from beyond row ends 0 to 1 times the bound."
)
SPLICES_USUAL = (
    "What the splices hold is not given (uncertainty.splice): in every explanation they part at 0.5 to 8 "
    "times a clamp's mean strength, across or along the rail, or, if continuous, at 0.125 to 2 times the "
    "moment at which the rail yields (log-uniform, all splices alike; judgment)."
)


def snow_of(cause: str) -> tuple[float, float]:
    """Middle and spread of the snow of an explanation, lognormal."""
    return MORE if "more snow" in cause.split(AND) else SNOW


def pairs_of(causes: Sequence[str], priors: Sequence[float]) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Two explanations at once, and their weights: by both, `PAIRS` of those of all single ones in sum.

    Not both ways to have a splice open: a sample has one such splice, so that it would be one of them again.
    Nothing wrong and something wrong are no pair.
    """
    flaws = [i for i, one in enumerate(causes) if one != AS_DESIGNED]
    two = [(i, j) for i, j in combinations(flaws, 2) if {causes[i], causes[j]} != set(OPEN_SPLICE)]
    names = tuple(f"{causes[i]}{AND}{causes[j]}" for i, j in two)
    both = np.array([priors[i] * priors[j] for i, j in two])
    return names, tuple((PAIRS * sum(priors) * both / both.sum()).tolist()) if two else ()


def drift_share(snow: Array) -> float:
    """Largest drift on a clamp over the largest force without it, of both (2, c)."""
    return float(snow[1].max() / max(float(np.abs(snow[0]).max()), 1e-9))


def possible(roof: Roof) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Explanations that this roof can have, and those it cannot, with why."""
    cannot = []
    if drift_share(roof.drifted.usual_snow) <= DRIFTS:
        cannot.append(("drift", DRIFTLESS))
    if not roof.partial:
        cannot.append(("row ends", "every row runs to the edges of its plane"))
    if len(np.unique(roof.plane)) < 2:
        cannot.append(("bond of one plane", "all rows stand on one plane"))
    if not roof.may_part.any():
        no_splice = not len(roof.layout.splice_s)
        why = "the rails have no splice" if no_splice else "no splice has two clamps on both sides"
        cannot += [(one, why) for one in OPEN_SPLICE]
    out = {cause for cause, _ in cannot}
    return tuple(cause for cause in CHANGES if cause not in out), tuple(cannot)
