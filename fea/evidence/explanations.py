"""What could have happened: each explanation as a distribution of roofs, sampled to failure.

All explanations share what is not known anyway: snow, bond, strengths, how snow over a lost clamp behaves and
how hard a loss shakes its neighbors. Each then has one thing of its own. The distributions are judgment, and
are printed. `fea.evidence.aim` says where samples are drawn more often than by them, and with which weights.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from fea.evidence.aim import PLAIN, Aim, draw_high, draw_place, draw_snow
from fea.failure.cascade import cascade
from fea.failure.study import RoofCase, strength_shares
from fea.sampling.streams import batches, stream
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

BATCH = 500
SNOW = (0.6, 0.42)  # middle and spread of the snow without drift over that of the case, lognormal
MORE = (1.2, 0.55)  # the same of more snow than usual
DRIFTS = 0.02  # least share of drift in a row's force that counts as one
HIGHEST = 20.0  # times the snow of the case that are looked at for the roof as meant
UNEVEN = (0.3, 3.0)  # snow at the top of a heap beyond that beside it, over that beside it
LONGEST_GAP = 6  # clamps missing side by side


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
    parted : tuple of RoofCase
        The case with one splice parted each; empty without splices.
    parted_at : tuple of str
        Clamp nearest to each of these splices.
    parted_share : (s,) float
        Share of all splices that each of these stands for.
    layout : Layout
    plane : (c,) int
        Plane of each clamp.
    """

    case: RoofCase
    drifted: RoofCase
    deeper: Array
    parted: tuple[RoofCase, ...]
    parted_at: tuple[str, ...]
    parted_share: Array
    layout: Layout
    plane: IntArray


@dataclass(frozen=True)
class Strengths:
    """Mean over nominal is in the case already; how clamps scatter."""

    scatter: float
    together: float


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


@dataclass(frozen=True)
class Looked:
    """Where more was looked at than what came off: clamps (k,), and groups of clamps."""

    depth: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    screws: tuple[IntArray, ...] = ()


@dataclass(frozen=True)
class Course:
    """How one sample went.

    Attributes
    ----------
    at : (c,) float
        Share of the pull that came onto the clamps in the end, when each gave way; infinite where it held.
    bond : (c,) float
        Share of the pull that the bond holds in the end.
    """

    at: Array
    bond: Array

    def bond_left(self, clamp: int) -> float:
        """Of the bond when a clamp gave way, if the snow lay still and the bond fell evenly, 0 to 1."""
        return 1.0 - float(np.clip(self.at[clamp], 0.0, 1.0)) * (1.0 - float(self.bond[clamp]))


@dataclass
class _Draw:
    """Samples of one batch while an explanation changes them."""

    rng: np.random.Generator
    roof: Roof
    near: NDArray[np.bool_]  # (c,)
    case: RoofCase
    weight: Array
    mass: Array
    drift: Array
    bond: Array  # (n, c)
    ends: Array
    share: Array
    missing: NDArray[np.bool_]
    wrong: Array
    loose: NDArray[np.bool_]
    heaped: Array  # (n, c), factor on the snow
    uneven: Array
    splice: IntArray  # of `Roof.parted`, -1 for none

    @property
    def size(self) -> int:
        return len(self.mass)


Change = Callable[[_Draw], None]


def _more_snow(draw: _Draw) -> None:
    """Nothing but its snow, `MORE`."""


def _drift(draw: _Draw) -> None:
    draw.case = draw.roof.drifted
    draw.drift = draw.rng.lognormal(np.log(1.8), 0.4, draw.size)


def _weak(draw: _Draw) -> None:
    weak = _some(draw, 0.1, 1.0)
    draw.share = np.where(weak, draw.rng.uniform(0.25, 0.8, (draw.size, 1)), 1.0) * draw.share


def _loose(draw: _Draw) -> None:
    draw.loose = _some(draw, 0.05, 0.5)
    hold = draw.rng.uniform(0.1, 0.6, (draw.size, 1))
    draw.share = np.where(draw.loose, hold, 1.0) * draw.share


def _some(draw: _Draw, least: float, most: float) -> NDArray[np.bool_]:
    """Clamps scattered by a share of `least` to `most`, or a stretch side by side, half of each, (n, c)."""
    part = draw.rng.uniform(least, most, (draw.size, 1))
    scattered = draw.rng.random(draw.share.shape) < part
    boxed, weight = _side_by_side(draw, 2, max(draw.share.shape[1] // 3, 2))
    spread = draw.rng.random(draw.size) < 0.5
    draw.weight *= np.where(spread, 1.0, weight)
    return np.where(spread[:, None], scattered, boxed)


def _side_by_side(draw: _Draw, least: int, most: int) -> tuple[NDArray[np.bool_], Array]:
    """One stretch of clamps of one row in each sample, anywhere, (n, c), and the weights of its place."""
    c, row = draw.share.shape[1], draw.roof.layout.clamp_row
    at, weight = draw_place(draw.rng, draw.near, draw.size)
    middle = at[:, None]
    long = draw.rng.integers(least, most + 1, (draw.size, 1))
    place = np.arange(c)
    near = (place >= middle - (long - 1) // 2) & (place <= middle + long // 2)
    return near & (row == row[middle]), weight


def _missing(draw: _Draw) -> None:
    draw.missing, weight = _side_by_side(draw, 1, LONGEST_GAP)
    draw.weight *= weight


def _uneven(draw: _Draw) -> None:
    layout, plane = draw.roof.layout, draw.roof.plane
    middle, weight = draw_place(draw.rng, draw.near, draw.size)
    draw.weight *= weight
    draw.uneven, weight = draw_high(draw.rng, *UNEVEN, draw.size, aimed=bool(draw.near.any()))
    draw.weight *= weight
    at, along = layout.clamp_xy, layout.row_way[layout.clamp_row[middle]]
    apart = along @ at.T - np.sum(along * at[middle], axis=1, keepdims=True)
    long = draw.rng.uniform(1.5, 8.0, (draw.size, 1))
    row = layout.clamp_row
    one_row = draw.rng.random((draw.size, 1)) < 0.5
    under = np.where(one_row, row == row[middle][:, None], plane == plane[middle][:, None])
    heap = np.where(under, np.exp(-0.5 * (apart / long) ** 2), 0.0)
    draw.heaped = 1.0 + draw.uneven[:, None] * heap


def _wrong(draw: _Draw) -> None:
    row = draw.roof.layout.clamp_row
    which = draw.rng.integers(0, row.max() + 1, (draw.size, 1))
    everywhere = draw.rng.random((draw.size, 1)) < 0.3
    on = everywhere | (row == which)
    draw.wrong = on.mean(axis=1)
    draw.share = np.where(on, draw.rng.uniform(0.15, 0.6, (draw.size, 1)), 1.0) * draw.share


def _ends(draw: _Draw) -> None:
    draw.ends = draw.rng.uniform(1.0, 2.5, draw.size)


def _one_plane(draw: _Draw) -> None:
    planes = np.unique(draw.roof.plane)
    which = planes[draw.rng.integers(0, len(planes), (draw.size, 1))]
    held = draw.rng.uniform(0.5, 1.0, (draw.size, 1))
    draw.bond = np.where(draw.roof.plane == which, 0.0, held)


def _parted(draw: _Draw) -> None:
    share = draw.roof.parted_share
    clamps = [draw.roof.layout.clamp_name.index(name) for name in draw.roof.parted_at]
    near = draw.near[clamps]
    aimed = share if near.all() or not near.any() else share * near / share[near].sum()
    drawn = PLAIN * share + (1.0 - PLAIN) * aimed
    draw.splice = draw.rng.choice(len(share), draw.size, p=drawn / drawn.sum())
    draw.weight *= (share / drawn)[draw.splice]


CHANGES: dict[str, tuple[Change, str]] = {
    "more snow": (_more_snow, "snow about twice (1 to 4 times) what is usual for the roof"),
    "drift": (_drift, "drift about 1.8 times (0.8 to 4 times) that of the standard"),
    "weak batch": (_weak, "some clamps, scattered or side by side, hold 25 to 80 % of their strength"),
    "loose clamps": (
        _loose,
        "5 to 50 % of the clamps, or some side by side, were never tightened and hold 10 to 60 %",
    ),
    "uneven snow": (
        _uneven,
        "snow heaped above one row or all rows of a plane where no standard has a drift: 1.3 to 4 times as "
        "much at its top, over a deviation of 1.5 to 8 m",
    ),
    "missing clamps": (_missing, f"1 to {LONGEST_GAP} clamps side by side were never there"),
    "wrong clamp": (_wrong, "one row, or every row, has clamps that hold 15 to 60 % on this seam"),
    "row ends": (_ends, "snow from beside a partial row leans on its ends, 1 to 2.5 times the bound"),
    "bond of one plane": (_one_plane, "one plane let go, on the others half or more of the pull was held"),
    "splice parted": (_parted, "one splice had parted before"),
}
USUAL = (
    "Usual for all: snow without drift lognormal about 0.6 of the case (0.25 to 1.4); drift 0.5 to 1.5 times "
    "the standard's; bond holds 0 to 30 %; snow over a lost clamp leaves by 0 to 100 %; a loss shakes its "
    "neighbors by 1 to 2; snow from beyond row ends 0 to 1 times the bound."
)


def drift_share(snow: Array) -> float:
    """Largest drift on a clamp over the largest force without it, of both (2, c)."""
    return float(snow[1].max() / max(float(np.abs(snow[0]).max()), 1e-9))


def possible(roof: Roof) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Explanations that this roof can have, and those it cannot, with why."""
    cannot = []
    if drift_share(roof.drifted.usual_snow) <= DRIFTS:
        cannot.append(("drift", "no snow case of the project has a drift at a row"))
    if not np.any(roof.case.ends > 0.0):
        cannot.append(("row ends", "every row runs to the edges of its plane"))
    if len(np.unique(roof.plane)) < 2:
        cannot.append(("bond of one plane", "all rows stand on one plane"))
    if not roof.parted:
        cannot.append(("splice parted", "the rails have no splice"))
    out = {cause for cause, _ in cannot}
    return tuple(cause for cause in CHANGES if cause not in out), tuple(cannot)


def as_meant(roof: Roof, drift: float = 1.0) -> float:
    """Snow without drift, over that of the case, at which the first clamp gives way on the roof as meant.

    Every clamp is there at its mean strength, no bond holds, and row ends collect all they can; infinite
    where nothing gives way up to `HIGHEST` times the snow of the case.
    """
    case = roof.case
    still, drifted = case.usual_snow
    load = still + drift * drifted
    found = cascade(case.roof, case.held, load, case.capacity, case.residual, target=HIGHEST)
    return float(found.first[0])


def sample_bank(
    roof: Roof,
    cause: str,
    strengths: Strengths,
    count: int,
    seed: int,
    aim: Aim | None = None,
    looked: Looked | None = None,
) -> Bank:
    """Samples of one explanation; batches have random numbers of their own."""
    parts = [
        _sample(roof, cause, strengths, (seed, batch, size), aim, looked)[0]
        for batch, size in batches(count, BATCH)
    ]
    joined = {
        one.name: np.concatenate([getattr(part, one.name) for part in parts])
        for one in fields(Bank)
        if one.name not in ("cause", "signs")
    }
    signs = {name: np.concatenate([part.signs[name] for part in parts]) for name in parts[0].signs}
    return Bank(cause=cause, signs=signs, **joined)


def course_of(
    roof: Roof, cause: str, strengths: Strengths, count: int, seed: int, number: int, aim: Aim | None = None
) -> Course:
    """How one sample of `sample_bank` went, drawn again."""
    batch, size = list(batches(count, BATCH))[number // BATCH]
    _, at, bond = _sample(roof, cause, strengths, (seed, batch, size), aim, None)
    return Course(at[number % BATCH], bond[number % BATCH])


def _sample(
    roof: Roof,
    cause: str,
    strengths: Strengths,
    of: tuple[int, int, int],
    aim: Aim | None,
    looked: Looked | None,
) -> tuple[Bank, Array, Array]:
    """One batch, given by seed, number and size; factors (n, c) at which clamps gave way; the bond (n, c)."""
    c, (seed, batch, size) = roof.case.clamps, of
    rng = stream(seed, batch, purpose=100 + list(CHANGES).index(cause))
    aim = Aim(np.zeros(c, dtype=bool)) if aim is None else aim
    looked = looked or Looked()
    shared, own = rng.standard_normal((size, 1)), rng.standard_normal((size, c))
    mass, weight = draw_snow(rng, size, *(MORE if cause == "more snow" else SNOW), aim.load)
    draw = _Draw(
        rng=rng,
        roof=roof,
        near=aim.near,
        case=roof.case,
        weight=weight,
        mass=mass,
        drift=rng.uniform(0.5, 1.5, size),
        bond=np.repeat(rng.uniform(0.0, 0.3, (size, 1)), c, axis=1),
        ends=rng.uniform(0.0, 1.0, size),
        share=strength_shares(strengths.scatter, strengths.together, shared, own),
        missing=np.zeros((size, c), dtype=bool),
        wrong=np.zeros(size),
        loose=np.zeros((size, c), dtype=bool),
        heaped=np.ones((size, c)),
        uneven=np.zeros(size),
        splice=np.full(size, -1),
    )
    CHANGES[cause][0](draw)
    order, at_factor = np.full((size, c), -1, dtype=np.int16), np.full((size, c), np.inf)
    release, relief = rng.uniform(1.0, 2.0, size), rng.uniform(0.0, 1.0, size)
    for splice in np.unique(draw.splice):  # a handful
        case = draw.case if splice < 0 else roof.parted[splice]
        at = np.flatnonzero(draw.splice == splice)
        found = cascade(
            case.roof,
            case.held,
            _load(draw, case)[at],
            draw.share[at] * case.capacity,
            draw.share[at] * case.residual,
            missing=draw.missing[at],
            release=release[at],
            impact=case.impact,
            relief=relief[at],
            bond=draw.bond[at][:, case.roof.first[:-1]],
        )
        order[at], at_factor[at] = found.order, found.at
    gave_way = (order >= 0) | draw.missing
    bank = Bank(
        cause,
        gave_way,
        np.where(draw.missing, -1, order).astype(np.int16),
        draw.mass,
        _fallen(draw, gave_way),
        _signs(draw, gave_way, cause),
        _clamp_of_splice(draw),
        draw.weight,
        _depths(draw)[:, looked.depth],
        np.stack([draw.loose[:, group].sum(axis=1) for group in looked.screws], axis=1).astype(float)
        if looked.screws
        else np.zeros((size, 0)),
    )
    return bank, at_factor, draw.bond


def _depths(draw: _Draw) -> Array:
    """Snow above each clamp over that which lies even, (n, c)."""
    deeper = draw.roof.deeper[int(draw.case is draw.roof.drifted and draw.case is not draw.roof.case)]
    return np.asarray(draw.heaped * (1.0 + draw.drift[:, None] * np.maximum(deeper, 0.0)))


def _load(draw: _Draw, case: RoofCase) -> Array:
    """Force of the snow on every clamp, (n, c). [N]."""
    still, drift = case.usual_snow
    still = np.maximum(still - case.ends, 0.0)
    load = still + draw.ends[:, None] * case.ends + draw.drift[:, None] * drift
    return np.asarray((1.0 - draw.bond) * draw.mass[:, None] * draw.heaped * load)


def _fallen(draw: _Draw, gave_way: NDArray[np.bool_]) -> Array:
    """Weight of the snow that came down, (n,): each row's by the share of its clamps that gave way. [N]."""
    row = draw.roof.layout.clamp_row
    member = row[:, None] == np.arange(len(draw.roof.layout.row_name))
    lost = (gave_way * draw.heaped) @ (member / np.maximum(member.sum(axis=0), 1))
    still, drift = draw.case.weight
    return np.asarray(draw.mass * (lost * (still + draw.drift[:, None] * drift)).sum(axis=1))


def _clamp_of_splice(draw: _Draw) -> IntArray:
    names = draw.roof.layout.clamp_name
    at = np.array([names.index(name) for name in draw.roof.parted_at] or [-1])
    return np.where(draw.splice < 0, -1, at[draw.splice])


def _signs(draw: _Draw, gave_way: NDArray[np.bool_], cause: str) -> dict[str, Array]:
    """What a further look at the roof could find."""
    stands, came_off = ~gave_way, gave_way & ~draw.missing
    count = np.maximum(stands.sum(axis=1), 1)
    some = stands.any(axis=1)
    return {
        "snow": draw.mass,
        "drift": draw.drift if cause == "drift" else np.minimum(draw.drift, 1.5),
        "uneven": draw.uneven,
        "standing": np.where(some, (stands * draw.share).sum(axis=1) / count, 1.0),
        "loose": (stands & draw.loose).sum(axis=1) / count,
        "loose gone": (came_off & draw.loose).sum(axis=1) / np.maximum(came_off.sum(axis=1), 1),
        "never there": draw.missing.sum(axis=1).astype(float),
        "wrong": draw.wrong,
        "splice": (draw.splice >= 0).astype(float),
        "held elsewhere": draw.bond.max(axis=1),
        "ends": draw.ends,
    }
