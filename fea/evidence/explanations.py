"""Samples of every explanation, each followed to its end.

`fea.evidence.causes` says what an explanation changes, `fea.evidence.aim` where samples are drawn more often
than by its distributions, and with which weights.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.evidence.aim import Aim, draw_snow
from fea.evidence.causes import AND, CHANGES, SPLICE_SHARE, Draw, Roof, Strengths, snow_of
from fea.evidence.counterparts import missing_as_found, stands_for
from fea.evidence.grids import BY_GRID, PLAINLY, Grid, mixture_weight
from fea.evidence.idle import idle_parts
from fea.evidence.weights import clamp_weights
from fea.failure.assembled import PARTS, SpliceLoads
from fea.failure.cascade import FailureSamples, cascade
from fea.failure.study import strength_shares
from fea.sampling.streams import batches, stream

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

Drawn = tuple[Aim, Grid | None]  # by what samples are drawn

BATCH = 500
ROUND = 100_000  # batches, more than a round has


@dataclass(frozen=True)
class Bank:
    """Samples of one explanation.

    Attributes
    ----------
    cause : str
    gave_way : (n, c) bool
        Clamps that gave way; those missing from the start count too.
    order : (n, c) int
        Place among the events, -1 for none.
    mass : (n,) float
        Snow without drift over that of the case.
    fallen : (n,) float
        Weight of the snow that came down. [N]
    signs : dict of str to (n,) float
        What a further measurement could find, by its name.
    parted : (n,) int
        Clamp nearest to the splice that had parted; -1 for none.
    weight : (n,) float
        Plain density over that with which the sample was drawn, 1 in the mean.
    depth : (n, k) float
        Snow above the clamps of `Looked.depth` over that which lies even. [-]
    loose : (n, j) float
        Loose clamps in each group of `Looked.screws`.
    never : (n, j) float
        Clamps that were never there in each group of `Looked.marks`.
    pulled : (n, j) float
        Mean strength in each group of `Looked.pulled`, over the mean of all clamps as meant. [-]
    scatter : (n, j) float
        The same of how far they scatter (root mean square). [-]
    torn : (n, c) bool
        Clamps nearest to a splice that parted as the rows went.
    absent : (n, j) float
        Clamps that were never there in each group of `Looked.there`.
    sizes : dict of str to (n,) float
        How large what the explanation changes is, and the snow above the clamps that gave way, by the names
        of `fea.evidence.sizes.SIZES`; NaN where there is none.
    wrong : (n, j) float
        Clamps of the wrong type in each group of `Looked.kinds`.
    unscrewed : (n,) bool
        Whether the splice of `parted` never had screws.
    idle : (n, p) bool
        Which parts of the explanation lie far from all that gave way (`fea.evidence.idle`).
    first, units, rounds
        What `fea.evidence.grids.mixture_weight` weights all rounds by.
    numbers : tuple of int
        Of those rounds, among all that were drawn: an explanation need not be in each of them.
    """

    cause: str
    gave_way: NDArray[np.bool_]
    order: NDArray[np.int16]
    mass: Array
    fallen: Array
    signs: dict[str, Array]
    parted: IntArray
    weight: Array
    depth: Array = field(default_factory=lambda: np.zeros((0, 0)))
    loose: Array = field(default_factory=lambda: np.zeros((0, 0)))
    never: Array = field(default_factory=lambda: np.zeros((0, 0)))
    pulled: Array = field(default_factory=lambda: np.zeros((0, 0)))
    scatter: Array = field(default_factory=lambda: np.zeros((0, 0)))
    torn: NDArray[np.bool_] = field(default_factory=lambda: np.zeros((0, 0), dtype=bool))
    absent: Array = field(default_factory=lambda: np.zeros((0, 0)))
    sizes: dict[str, Array] = field(default_factory=dict)
    wrong: Array = field(default_factory=lambda: np.zeros((0, 0)))
    unscrewed: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    idle: NDArray[np.bool_] = field(default_factory=lambda: np.zeros((0, 1), dtype=bool))
    first: Array = field(default_factory=lambda: np.zeros(0))
    units: dict[str, Array] = field(default_factory=dict)
    rounds: tuple[tuple[Grid | None, int], ...] = ()
    numbers: tuple[int, ...] = ()


@dataclass(frozen=True)
class Looked:
    """Where more was looked at than what came off: clamps (k,), and groups of clamps.

    Clamps of `pulled` were as they stood, or `tightened` before.
    `there` are clamps that were seen to be clamps; `gave_way` (c,) are those that were found so, for which
    those of the samples stand (`fea.evidence.counterparts`), of the `known` (c,) ones; None for no such.
    A sample is followed no further than `most` clamps that give way; None for to its end.
    """

    depth: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    screws: tuple[IntArray, ...] = ()
    marks: tuple[IntArray, ...] = ()
    pulled: tuple[IntArray, ...] = ()
    tightened: tuple[bool, ...] = ()
    there: tuple[IntArray, ...] = ()
    kinds: tuple[IntArray, ...] = ()
    known: NDArray[np.bool_] | None = None
    gave_way: NDArray[np.bool_] | None = None
    most: int | None = None


@dataclass(frozen=True)
class Course:
    """How one sample went.

    Attributes
    ----------
    at : (c,) float
        Share of the pull that came onto the clamps in the end, when each gave way; infinite where it held.
    bond : (c,) float
        Share of the pull that the bond holds in the end.
    order : (c,) int
        Place of each clamp among the events, -1 for none.
    splice_at, splice_order : (s,)
        The same of the splices that can part.
    splice_state : (s,) int
        As `fea.failure.cascade.FailureSamples`.
    splice_clamp : (s,) int
        Clamp nearest to each of them.
    parted : int
        The splice that had parted before, -1 for none.
    flawed : (c,) bool
        Clamps that hold less by the explanation: weak, loose or wrong ones.
    screwed : bool
        Whether the splice of `parted` ever had screws.
    """

    at: Array
    bond: Array
    order: NDArray[np.int16]
    splice_at: Array
    splice_order: NDArray[np.int16]
    splice_state: NDArray[np.int8]
    splice_clamp: IntArray
    parted: int
    flawed: NDArray[np.bool_]
    screwed: bool = True

    def bond_left(self, clamp: int) -> float:
        """Of the bond when a clamp gave way, if the snow lay still and the bond fell evenly, 0 to 1."""
        return self._left(float(self.at[clamp]), clamp)

    def bond_left_at_splice(self, splice: int) -> float:
        """The same when a splice parted."""
        return self._left(float(self.splice_at[splice]), int(self.splice_clamp[splice]))

    def _left(self, at: float, clamp: int) -> float:
        return 1.0 - float(np.clip(at, 0.0, 1.0)) * (1.0 - float(self.bond[clamp]))


def sample_bank(
    roof: Roof,
    cause: str,
    strengths: Strengths,
    count: int,
    seed: int,
    aim: Aim | None = None,
    looked: Looked | None = None,
    grid: Grid | None = None,
    number: int = 0,
) -> Bank:
    """Samples of one explanation, or of two at once; batches have random numbers of their own.

    Those of round `number` are drawn by a `grid` too.
    """
    parts = [
        _sample(roof, cause, strengths, (seed, number * ROUND + batch, size), aim, looked, grid)[0]
        for batch, size in batches(count, BATCH)
    ]
    bank = replace(_joined(parts), rounds=((grid, count),), numbers=(number,))
    return bank if grid is None else replace(bank, weight=mixture_weight(bank.units, bank.first, bank.rounds))


def add_round(bank: Bank, more: Bank) -> Bank:
    """Samples of two rounds as one mixture."""
    both = _joined((bank, more))
    rounds = (*bank.rounds, *more.rounds)
    weight = mixture_weight(both.units, both.first, rounds)
    return replace(both, rounds=rounds, numbers=(*bank.numbers, *more.numbers), weight=weight)


def _joined(parts: Sequence[Bank]) -> Bank:
    joined: dict[str, Any] = {}
    for one in fields(Bank):
        values = [getattr(part, one.name) for part in parts]
        if one.name in ("signs", "sizes", "units"):
            joined[one.name] = {name: np.concatenate([of[name] for of in values]) for name in values[0]}
        elif one.name not in ("cause", "rounds", "numbers"):
            joined[one.name] = np.concatenate(values)
    return Bank(cause=parts[0].cause, **joined)


def course_of(
    roof: Roof,
    bank: Bank,
    strengths: Strengths,
    seed: int,
    number: int,
    aim: Aim | None = None,
) -> Course:
    """How one sample of a bank went, drawn again."""
    which = 0
    while number >= bank.rounds[which][1]:  # a few rounds
        number -= bank.rounds[which][1]
        which += 1
    grid, count = bank.rounds[which]
    batch, size = list(batches(count, BATCH))[number // BATCH]
    of = (seed, bank.numbers[which] * ROUND + batch, size)
    _, found, draw = _sample(roof, bank.cause, strengths, of, aim, None, grid)
    one = number % BATCH
    return Course(
        found.at[one],
        draw.bond[one],
        found.order[one],
        found.splice_at[one],
        found.splice_order[one],
        found.splice_state[one],
        roof.splice_at,
        int(draw.splice[one]),
        draw.flawed[one],
        bool(draw.screwed[one]),
    )


def _begin(
    roof: Roof, cause: str, strengths: Strengths, rng: np.random.Generator, size: int, by: Drawn
) -> Draw:
    """What is unknown of every roof, before an explanation changes it."""
    c, (aim, grid) = roof.case.clamps, by
    draw = Draw(
        rng=rng,
        roof=roof,
        aim=aim,
        case=roof.case,
        weight=np.ones(size),
        mass=np.ones(size),
        drift=np.ones(size),
        bond=np.zeros((size, c)),
        ends=np.zeros(size),
        share=np.ones((size, c)),
        missing=np.zeros((size, c), dtype=bool),
        wrong=np.zeros(size),
        wrong_at=np.zeros((size, c), dtype=bool),
        loose=np.zeros((size, c), dtype=bool),
        flawed=np.zeros((size, c), dtype=bool),
        heaped=np.ones((size, c)),
        uneven=np.zeros(size),
        splice=np.full(size, -1),
        screwed=np.ones(size, dtype=bool),
        tight=np.ones((size, c)),
        pried=np.ones((size, c)),
        by_grid=np.zeros(size, dtype=bool) if grid is None else rng.random(size) < BY_GRID,
        plainly=np.zeros(size, dtype=bool) if grid is None else rng.random(size) < PLAINLY,
        grid=grid,
    )
    draw.mass, draw.weight, unit = draw_snow(rng, draw.given("snow"), *snow_of(cause), aim.load)
    draw.keep("snow", unit)
    draw.drift = draw.uniform("usual drift", 0.0, 1.5)
    draw.bond = np.repeat(draw.uniform("bond", 0.0, 0.3)[:, None], c, axis=1)
    draw.ends = draw.unit("usual ends")
    shared = draw.normal("strength")[:, None]
    own = rng.standard_normal((size, c))
    draw.share = strength_shares(strengths.scatter, strengths.together, shared, own)
    return draw


def _sample(
    roof: Roof,
    cause: str,
    strengths: Strengths,
    of: tuple[int, int, int],
    aim: Aim | None,
    looked: Looked | None,
    grid: Grid | None = None,
) -> tuple[Bank, FailureSamples, Draw]:
    """One batch, given by seed, number and size; how it went; what was drawn."""
    c, (seed, batch, size) = roof.case.clamps, of
    causes = cause.split(AND)
    number = [list(CHANGES).index(one) for one in causes]
    purpose = 100 + number[0] if len(number) == 1 else 1000 + len(CHANGES) * number[0] + number[1]
    rng = stream(seed, batch, purpose=purpose)
    aim = Aim(np.zeros(c, dtype=bool)) if aim is None else aim
    looked = looked or Looked()
    draw = _begin(roof, cause, strengths, rng, size, (aim, grid))
    for one in causes:
        draw.now = one
        CHANGES[one][0](draw)
    draw.now = ""
    release, relief = draw.uniform("release", 1.0, 2.0), draw.unit("relief")
    case = draw.case
    still, drift = case.usual_snow
    found = cascade(
        case.roof,
        case.held,
        _load(draw, (np.maximum(still - case.ends, 0.0), case.ends, drift), draw.heaped, draw.bond),
        draw.share * case.capacity,
        draw.share * case.residual,
        missing=draw.missing,
        release=release,
        impact=case.impact,
        relief=relief,
        bond=draw.bond[:, case.roof.first[:-1]],
        splices=_splices(draw),
        most=looked.most,
    )
    gave_way = (found.order >= 0) | draw.missing
    torn = np.zeros((size, c), dtype=bool)
    at, parted = np.nonzero((found.splice_order >= 0) & (found.splice_state == PARTS))  # not one that yields
    torn[at, roof.splice_at[parted]] = True
    loose, never, wrong = draw.loose, draw.missing, draw.wrong_at
    by_itself = draw.share / draw.pried  # pulled or tested, off its rail
    as_made = by_itself / draw.tight
    if looked.gave_way is not None and looked.known is not None:
        seen = looked.known & looked.gave_way
        to, back = stands_for(roof.layout.clamp_row, seen, looked.known & gave_way)
        loose = np.take_along_axis(loose, back, axis=1)
        wrong = np.take_along_axis(wrong, back, axis=1)
        as_made = np.take_along_axis(as_made, back, axis=1)
        never = missing_as_found(never, seen, to, back)
    held = [as_made if tight else by_itself for tight in looked.tightened]
    bank = Bank(
        cause,
        gave_way,
        np.where(draw.missing, -1, found.order).astype(np.int16),
        draw.mass,
        _fallen(draw, gave_way),
        _signs(draw, gave_way, cause),
        np.where(draw.splice < 0, -1, np.append(roof.splice_at, -1)[draw.splice]),
        draw.weight,
        depth=_depths(draw)[:, looked.depth],
        loose=_in_groups(loose, looked.screws),
        never=_in_groups(never, looked.marks),
        pulled=_by_group(held, looked.pulled, np.mean),
        scatter=_by_group(held, looked.pulled, np.std),
        torn=torn,
        absent=_in_groups(never, looked.there),
        sizes={
            name: value.astype(float) for name, value in (draw.sizes | _torn_snow(draw, gave_way)).items()
        },
        wrong=_in_groups(wrong, looked.kinds),
        unscrewed=~draw.screwed,
        idle=idle_parts(
            [draw.acts.get(one) for one in causes], gave_way & ~draw.missing, roof.layout.clamp_row
        ),
        first=draw.weight,
        units=draw.units,
    )
    return bank, found, draw


def _in_groups(value: NDArray[Any], groups: tuple[IntArray, ...]) -> Array:
    """Sums (n, j) over some groups of clamps."""
    sums = [value[:, group].sum(axis=1).astype(float) for group in groups]
    return np.stack(sums, axis=1) if sums else np.zeros((len(value), 0))


def _by_group(held: Sequence[Array], groups: tuple[IntArray, ...], of: Callable[..., Any]) -> Array:
    """Mean or root mean square about it (n, j) of some groups of clamps, each of its own strengths (n, c)."""
    found = [of(value[:, group], axis=1) for value, group in zip(held, groups, strict=True)]
    return np.stack(found, axis=1) if found else np.zeros((0, 0))


def _splices(draw: Draw) -> SpliceLoads | None:
    """Splices of all samples; snow and bond there are those of the clamps beside them."""
    own, links = draw.case.splices, draw.case.roof.splices
    if own is None or links is None:
        return None
    n, s = draw.size, len(links.origin)
    if draw.roof.splices_known:
        zero = np.zeros((n, 1))
        share = strength_shares(own.scatter, 0.0, zero, draw.rng.standard_normal((n, s)))
    else:
        low, high = np.log(SPLICE_SHARE)
        share = np.exp(draw.uniform("splice strength", low, high)[:, None] * np.ones(s))  # of one make
    left, right = links.between
    heaped = 0.5 * (draw.heaped[:, left] + draw.heaped[:, right])
    still, drift = own.snow[draw.case.usual_place]
    load = _load(draw, (still - own.ends, own.ends, drift), heaped, draw.bond[:, left])
    share = share[:, links.of]
    parted = draw.splice[:, None] == np.arange(s)
    return SpliceLoads(own.held, load, share * own.capacity, share * own.residual, own.takes, parted)


def _depths(draw: Draw) -> Array:
    """Snow above each clamp over that which lies even, (n, c)."""
    deeper = draw.roof.deeper[int(draw.case is draw.roof.drifted and draw.case is not draw.roof.case)]
    return np.asarray(draw.heaped * (1.0 + draw.drift[:, None] * np.maximum(deeper, 0.0)))


def _torn_snow(draw: Draw, gave_way: NDArray[np.bool_]) -> dict[str, Array]:
    """Snow above the clamps that came off, mean and most of them (n,), over the case's without drift."""
    snow = draw.mass[:, None] * _depths(draw)
    off = gave_way & ~draw.missing
    count = off.sum(axis=1)
    mean = np.where(count > 0, (snow * off).sum(axis=1) / np.maximum(count, 1), np.nan)
    return {"snow torn": mean, "snow torn most": np.where(count > 0, (snow * off).max(axis=1), np.nan)}


def _load(draw: Draw, snow: tuple[Array, Array, Array], heaped: Array, bond: Array) -> Array:
    """Force (n, c or k) of snow by itself, of that from row ends, and of drift. [N, N m]."""
    still, ends, drift = snow
    load = still + draw.ends[:, None] * ends + draw.drift[:, None] * drift
    return np.asarray((1.0 - bond) * draw.mass[:, None] * heaped * load)


def load_by_heap(roof: Roof, gave_way: NDArray[np.bool_], fallen: tuple[float, float]) -> tuple[float, float]:
    """Snow without drift over that of the case, and its deviation, by the weight that fell; NaN for none.

    Every clamp that gave way (c,) let the snow above it go.
    """
    weight = float(clamp_weights(roof.case, roof.layout.clamp_row)[:, gave_way].sum())
    return (fallen[0] / weight, fallen[1] / weight) if weight > 0.0 else (np.nan, np.nan)


def _fallen(draw: Draw, gave_way: NDArray[np.bool_]) -> Array:
    """Weight of the snow that came down from above the clamps that gave way, (n,). [N]."""
    lost = gave_way * draw.heaped
    still, drift = clamp_weights(draw.case, draw.roof.layout.clamp_row)
    return np.asarray(draw.mass * (lost @ still + draw.drift * (lost @ drift)))


def _signs(draw: Draw, gave_way: NDArray[np.bool_], cause: str) -> dict[str, Array]:
    """What a further look at the roof could find."""
    stands, came_off = ~gave_way, gave_way & ~draw.missing
    count = np.maximum(stands.sum(axis=1), 1)
    some = stands.any(axis=1)
    return {
        "snow": draw.mass,
        "drift": draw.drift if "drift" in cause.split(AND) else np.minimum(draw.drift, 1.5),
        "uneven": draw.uneven,
        "standing": np.where(some, (stands * draw.share / draw.pried).sum(axis=1) / count, 1.0),
        "torn": np.where(
            came_off.any(axis=1),
            (came_off * draw.share / (draw.tight * draw.pried)).sum(axis=1)
            / np.maximum(came_off.sum(axis=1), 1),
            1.0,
        ),
        "loose": (stands & draw.loose).sum(axis=1) / count,
        "loose gone": (came_off & draw.loose).sum(axis=1) / np.maximum(came_off.sum(axis=1), 1),
        "never there": draw.missing.sum(axis=1).astype(float),
        "wrong": draw.wrong,
        "splice": ((draw.splice >= 0) & draw.screwed).astype(float),
        "splice screws": (~draw.screwed).astype(float),
        "held elsewhere": draw.bond.max(axis=1),
        "ends": draw.ends,
    }
