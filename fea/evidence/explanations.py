"""What could have happened: each explanation as a distribution of roofs, sampled to failure.

All explanations share what is not known anyway: snow, bond, strengths, how snow over a lost clamp behaves and
how hard a loss shakes its neighbors. Each then has one thing of its own. The distributions are judgment, and
are printed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.failure.cascade import cascade
from fea.failure.study import RoofCase, strength_shares
from fea.sampling.streams import batches, stream
from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

BATCH = 500  # samples that share release and relief
RELIEF = (0.0, 0.3, 0.6, 0.9, 1.0)  # share of a lost clamp's snow that leaves with it
RELEASE = (1.0, 1.5, 2.0)
DRIFTS = 0.02  # least share of drift in a row's force that counts as one
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
    parted : tuple of RoofCase
        The case with one splice parted each; empty without splices.
    parted_at : tuple of str
        Clamp nearest to each of these splices.
    layout : Layout
    plane : (c,) int
        Plane of each clamp.
    """

    case: RoofCase
    drifted: RoofCase
    parted: tuple[RoofCase, ...]
    parted_at: tuple[str, ...]
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
    """

    cause: str
    gave_way: NDArray[np.bool_]
    order: NDArray[np.int16]
    mass: Array
    fallen: Array
    signs: dict[str, Array]
    parted: IntArray


@dataclass
class _Draw:
    """Samples of one batch while an explanation changes them."""

    rng: np.random.Generator
    roof: Roof
    case: RoofCase
    mass: Array
    drift: Array
    bond: Array  # (n, c)
    ends: Array
    share: Array
    missing: NDArray[np.bool_]
    wrong: Array
    split: Array

    @property
    def size(self) -> int:
        return len(self.mass)


Change = Callable[[_Draw], None]


def _more_snow(draw: _Draw) -> None:
    draw.mass *= draw.rng.lognormal(np.log(2.0), 0.35, draw.size)


def _drift(draw: _Draw) -> None:
    draw.case = draw.roof.drifted
    draw.drift = draw.rng.lognormal(np.log(1.8), 0.4, draw.size)


def _weak(draw: _Draw) -> None:
    part = draw.rng.uniform(0.1, 1.0, (draw.size, 1))
    scattered = draw.rng.random(draw.share.shape) < part
    boxed = _side_by_side(draw, 2, max(draw.share.shape[1] // 3, 2))
    weak = np.where(draw.rng.random((draw.size, 1)) < 0.5, scattered, boxed)
    draw.share = np.where(weak, draw.rng.uniform(0.25, 0.8, (draw.size, 1)), 1.0) * draw.share


def _side_by_side(draw: _Draw, least: int, most: int) -> NDArray[np.bool_]:
    """One stretch of clamps of one row in each sample, anywhere, (n, c)."""
    c, row = draw.share.shape[1], draw.roof.layout.clamp_row
    middle = draw.rng.integers(0, c, (draw.size, 1))
    long = draw.rng.integers(least, most + 1, (draw.size, 1))
    place = np.arange(c)
    near = (place >= middle - (long - 1) // 2) & (place <= middle + long // 2)
    return near & (row == row[middle])


def _missing(draw: _Draw) -> None:
    draw.missing = _side_by_side(draw, 1, LONGEST_GAP)


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
    draw.split = np.full(draw.size, 1.0)


CHANGES: dict[str, tuple[Change, str]] = {
    "more snow": (_more_snow, "snow about twice (1 to 4 times) what is usual for the roof"),
    "drift": (_drift, "drift about 1.8 times (0.8 to 4 times) that of the standard"),
    "weak batch": (_weak, "some clamps, scattered or side by side, hold 25 to 80 % of their strength"),
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


def sample_bank(roof: Roof, cause: str, strengths: Strengths, count: int, seed: int) -> Bank:
    """Samples of one explanation; batches have random numbers of their own."""
    number = list(CHANGES).index(cause)
    parts = [
        _sample(roof, cause, strengths, stream(seed, batch, purpose=100 + number), batch, size)
        for batch, size in batches(count, BATCH)
    ]
    names = parts[0].signs
    return Bank(
        cause,
        np.concatenate([p.gave_way for p in parts]),
        np.concatenate([p.order for p in parts]),
        np.concatenate([p.mass for p in parts]),
        np.concatenate([p.fallen for p in parts]),
        {name: np.concatenate([p.signs[name] for p in parts]) for name in names},
        np.concatenate([p.parted for p in parts]),
    )


def _sample(
    roof: Roof, cause: str, strengths: Strengths, rng: np.random.Generator, batch: int, size: int
) -> Bank:
    c = roof.case.clamps
    shared, own = rng.standard_normal((size, 1)), rng.standard_normal((size, c))
    draw = _Draw(
        rng=rng,
        roof=roof,
        case=roof.case,
        mass=rng.lognormal(np.log(0.6), 0.42, size),
        drift=rng.uniform(0.5, 1.5, size),
        bond=np.repeat(rng.uniform(0.0, 0.3, (size, 1)), c, axis=1),
        ends=rng.uniform(0.0, 1.0, size),
        share=strength_shares(strengths.scatter, strengths.together, shared, own),
        missing=np.zeros((size, c), dtype=bool),
        wrong=np.zeros(size),
        split=np.zeros(size),
    )
    CHANGES[cause][0](draw)
    case, splice = draw.case, -1
    if draw.split.any():
        splice = batch % len(roof.parted)
        case = roof.parted[splice]
    still, drift = case.usual_snow
    still = np.maximum(still - case.ends, 0.0)
    load = still + draw.ends[:, None] * case.ends + draw.drift[:, None] * drift
    load = (1.0 - draw.bond) * draw.mass[:, None] * load
    found = cascade(
        case.roof,
        case.held,
        load,
        draw.share * case.capacity,
        draw.share * case.residual,
        missing=draw.missing,
        release=RELEASE[batch % len(RELEASE)],
        impact=case.impact,
        relief=RELIEF[batch % len(RELIEF)],
    )
    gave_way = (found.order >= 0) | draw.missing
    row = roof.layout.clamp_row
    rows = len(roof.layout.row_name)
    of = draw.case.weight
    lost = np.stack([gave_way[:, row == r].mean(axis=1) for r in range(rows)], axis=1)  # few rows
    standing = np.where(gave_way, np.nan, draw.share)
    some = (~gave_way).any(axis=1)
    left = np.full(size, 1.0)
    left[some] = np.nanmean(standing[some], axis=1)
    return Bank(
        cause,
        gave_way,
        np.where(draw.missing, -1, found.order).astype(np.int16),
        draw.mass,
        draw.mass * ((lost * (of[0] + draw.drift[:, None] * of[1])).sum(axis=1)),
        {
            "snow": draw.mass,
            "drift": draw.drift if cause == "drift" else np.minimum(draw.drift, 1.5),
            "standing": left,
            "never there": draw.missing.sum(axis=1).astype(float),
            "wrong": draw.wrong,
            "splice": draw.split,
            "held elsewhere": draw.bond.max(axis=1),
            "ends": draw.ends,
        },
        np.full(size, -1 if splice < 0 else roof.layout.clamp_name.index(roof.parted_at[splice])),
    )
