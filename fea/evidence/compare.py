"""Samples against what was found: readings, and weights by how near each sample comes.

Samples that come near to what was found are weighted by how near: how many clamps of each row gave way, where
their middle lies, how far they are spread, in how many groups they stand (approximate Bayesian computation
with a normal kernel cut off at `NEAR` widths; Beaumont 2019, Annu. Rev. Stat. Appl. 6, from memory).
The kernel is as wide as what was found is in doubt, so that no explanation is thrown out for a clamp more
or less, and wider where too few samples come near by their clamps alone: what is measured besides never
makes the comparison looser, so that more evidence does not blunt it. Snow measured where it lay or fell,
depth along the rows, pull tests, and splices, their screws, rails away from them, screws, types and seams
that were looked at have likelihoods of their own and are never compared more loosely. Samples carry the
weights of `fea.evidence.aim` and `fea.evidence.grids`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.evidence.explanations import Bank
from fea.evidence.looks import TRACE, Rail, count_square, most_screws, screws_seen, spans_seen, splices_seen
from fea.evidence.unexplained import Reading
from roofmodel.layout import Layout

Array = NDArray[np.float64]

COUNT_DOUBT = 0.08  # of the number of clamps that gave way in a row, beside half a clamp
PLACE_DOUBT = 0.04  # of a row's length, for the middle of what gave way and its spread
NEAR = 3.0  # widths of the kernel
ENOUGH = 60.0  # effective samples of all explanations whose clamps are near those that were found
LOOSER = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0)  # times as wide as the doubt


@dataclass(frozen=True)
class Found:
    """What was found, as it is compared.

    Attributes
    ----------
    known, gave_way : (c,) bool
    doubt : (c,) float
    load : (float, float)
        Snow without drift over that of the case, and its deviation; NaN for not measured.
    fallen : (float, float)
        [N]
    rails : tuple of (int, str, float, bool or None)
        Clamp nearest to a splice that was looked at, how it was found, the doubt, and whether a parted one
        looked fresh; None for not told.
    along : tuple of (float, float)
        Snow at the clamps of `Looked.depth` over that which lies even, and its deviation. [-]
    screws : tuple of (int, int, float)
        Clamps that were looked at in each group of `Looked.screws`, how many were loose, the doubt of each.
    marks : tuple of (int, int, float)
        The same of `Looked.marks`: how many left no mark.
    there : tuple of (int, int, float)
        The same of `Looked.there`: clamps that were seen, and how many were never there: none.
    pulled : tuple of (float, float)
        Mean strength of each group of `Looked.pulled` over that of all as meant, and its deviation. [-]
    scatter : tuple of float
        How far the strengths of each of these scatter, over the same, as well known as the mean; NaN for not
        told. [-]
    kinds : tuple of (int, int, float)
        As `screws`, of `Looked.kinds`: how many were of the wrong type.
    splice_screws : tuple of (int, bool, float)
        Clamp nearest to a splice, whether its screws had been set, and the doubt.
    spans : tuple of (int, bool, float)
        Clamp nearest to a place of a rail away from splices, whether it is bent, and the doubt.
    """

    known: NDArray[np.bool_]
    gave_way: NDArray[np.bool_]
    doubt: Array
    load: tuple[float, float]
    fallen: tuple[float, float]
    rails: tuple[Rail, ...] = ()
    along: tuple[tuple[float, float], ...] = ()
    screws: tuple[tuple[int, int, float], ...] = ()
    marks: tuple[tuple[int, int, float], ...] = ()
    pulled: tuple[tuple[float, float], ...] = ()
    scatter: tuple[float, ...] = ()
    there: tuple[tuple[int, int, float], ...] = ()
    kinds: tuple[tuple[int, int, float], ...] = ()
    splice_screws: tuple[tuple[int, bool, float], ...] = ()
    spans: tuple[tuple[int, bool, float], ...] = ()


def summaries(layout: Layout, known: NDArray[np.bool_], gave_way: NDArray[np.bool_]) -> Array:
    """Number, middle, spread and groups (n, r, 4) of the known clamps of each row that gave way, (n, c).

    Middle and spread are shares of the row's length.
    """
    row, rows = layout.clamp_row, len(layout.row_name)
    member = np.zeros((len(row), rows))
    member[np.arange(len(row)), row] = known
    place = (layout.clamp_s / layout.row_length[row])[:, None]
    lost = np.atleast_2d(gave_way).astype(float)
    count = lost @ member
    safe = np.maximum(count, 1.0)
    middle = lost @ (member * place) / safe
    square = lost @ (member * place**2) / safe
    spread = np.sqrt(np.maximum(square - middle**2, 0.0))
    lost = lost * known
    begins = lost * np.concatenate(
        [np.ones((len(lost), 1)), (lost[:, :-1] == 0.0) | (row[1:] != row[:-1])], axis=1
    )
    return np.stack([count, middle, spread, begins @ member], axis=2)


def of_clamps(layout: Layout, found: Found, bank: Bank) -> tuple[tuple[Reading, ...], NDArray[np.bool_]]:
    """What gave way, row by row, as readings; and whether any known clamp did, (n,)."""
    seen = summaries(layout, found.known, found.gave_way)[0]
    made = summaries(layout, found.known, bank.gave_way)
    count = seen[:, 0]
    number = _count_doubt(layout, found, count)
    # The middle and spread of few are told less well than those of many.
    place = PLACE_DOUBT + 0.1 / np.maximum(count, 1.0)
    wide = np.stack([number, place, place, 0.5 + 0.25 * seen[:, 3]], axis=1)
    readings = []
    for r, name in enumerate(layout.row_name):
        both = (made[:, r, 0] > 0.0) & (count[r] > 0.0)
        for k, what in enumerate(("count", "middle", "spread", "groups")):
            value = np.where(both, made[:, r, k], np.nan) if k in (1, 2) else made[:, r, k]
            readings.append(Reading(what, name, value, float(seen[r, k]), float(wide[r, k]), True))
    return tuple(readings), np.asarray(made[:, :, 0].any(axis=1))


def _count_doubt(layout: Layout, found: Found, count: Array) -> Array:
    """Deviation (r,) of the number of clamps of each row that gave way."""
    told = np.where(found.known, found.doubt * (1.0 - found.doubt), 0.0)  # variance of a misread clamp
    misread = np.bincount(layout.clamp_row, told, minlength=len(count))
    return np.asarray(np.sqrt(0.25 + (COUNT_DOUBT * count) ** 2 + misread))


def most_near(layout: Layout, found: Found) -> int:
    """Clamps that can have given way in a sample that comes near, compared as loosely as can be."""
    count = summaries(layout, found.known, found.gave_way)[0, :, 0]
    wide = float(np.linalg.norm(_count_doubt(layout, found, count)))
    return int(np.ceil(count.sum() + NEAR * LOOSER[-1] * wide)) + int((~found.known).sum())


def of_measures(found: Found, bank: Bank) -> tuple[Reading, ...]:
    """What was measured or looked at besides, as readings that are never compared more loosely."""
    readings = [
        Reading("depth", str(k), bank.depth[:, k], over, wide, False)
        for k, (over, wide) in enumerate(found.along)
    ]
    if np.isfinite(found.load[0]):
        readings.append(Reading("load", "", bank.mass, *found.load, False))
    if np.isfinite(found.fallen[0]):
        readings.append(Reading("fallen", "", bank.fallen, *found.fallen, False))
    counts = (
        ("loose", bank.loose, found.screws),
        ("never", bank.never, found.marks),
        ("absent", bank.absent, found.there),
        ("wrong", bank.wrong, found.kinds),
    )
    for what, made, looks in counts:
        for k, (looked, count, doubt) in enumerate(looks):
            told = made[:, k] * (1.0 - doubt) + (looked - made[:, k]) * doubt
            wide = float(np.sqrt(0.25 + looked * doubt * (1.0 - doubt)))
            far = count_square(made[:, k], looked, count, doubt)
            readings.append(Reading(what, str(k), told, float(count), wide, False, far))
    for k, (share, wide) in enumerate(found.pulled):
        readings.append(Reading("pulled", str(k), bank.pulled[:, k], share, wide, False))
    for k, scatter in enumerate(found.scatter):
        if np.isfinite(scatter):
            readings.append(
                Reading("scatter", str(k), bank.scatter[:, k], scatter, found.pulled[k][1], False)
            )
    return tuple(readings)


@dataclass(frozen=True)
class Told:
    """Samples of one explanation against what was found.

    Attributes
    ----------
    clamps, measures : tuple of Reading
    some : (n,) bool
        Whether any known clamp gave way, and the explanation had a part in it (`Bank.idle`); other samples
        are known not to be so.
    square : (n,) float
        Squared distance of the clamps, in deviations; infinite where not `some`.
    far : (n, k) float
        The same of each measure.
    splices, rails : (n,) float
        Chances of the states of splices; of their screws and of rails away from them.
    most_rails : float
        Largest that the latter can be in any sample of the explanation, drawn or not.
    """

    clamps: tuple[Reading, ...]
    measures: tuple[Reading, ...]
    some: NDArray[np.bool_]
    square: Array
    far: Array
    splices: Array
    rails: Array
    most_rails: float = 1.0

    @property
    def log_chance(self) -> Array:
        """Logarithm of the chance of all that was found (n,), up to a constant."""
        chance = np.maximum(self.splices * self.rails, TRACE)
        return np.asarray(-0.5 * (self.square + self.far.sum(axis=1)) + np.log(chance))


def told_of(layout: Layout, found: Found, bank: Bank) -> Told:
    """Samples of one explanation against what was found."""
    clamps, some = of_clamps(layout, found, bank)
    some = some & ~bank.idle.any(axis=1) if len(bank.idle) else some
    measures = of_measures(found, bank)
    return Told(
        clamps,
        measures,
        some,
        np.where(some, sum(one.square for one in clamps), np.inf),
        np.stack([one.square for one in measures], axis=1) if measures else np.zeros((len(bank.mass), 0)),
        splices_seen(layout, found.rails, bank),
        screws_seen(layout, found.splice_screws, bank) * spans_seen(layout, found.spans, bank),
        most_screws(found.splice_screws, bank.cause),
    )


@dataclass(frozen=True)
class Weighed:
    """Weights of all samples by what was found.

    Attributes
    ----------
    weights, bare, by_clamps : list of (n,) float
        By all, by all but the states of splices, and by the clamps alone.
    loose : float
        Times as wide as the doubt that clamps are compared.
    strict : float
        Effective samples without that.
    """

    weights: list[Array]
    bare: list[Array]
    by_clamps: list[Array]
    loose: float
    strict: float


def _of_all(prior: Array, weights: Sequence[Array]) -> float:
    """Effective samples of all explanations together; banks differ in size, their means count."""
    return effective(np.concatenate([p * w / len(w) for p, w in zip(prior, weights, strict=True)]))


def weigh(told: Sequence[Told], banks: Sequence[Bank], prior: Array) -> Weighed:
    """Weights of the samples of all explanations, as loosely compared as takes `ENOUGH` of them."""
    found, strict = Weighed([], [], [], LOOSER[-1], 0.0), 0.0
    for loose in LOOSER:  # a few
        by_clamps = [
            bank.weight
            * np.where(one.square < (NEAR * loose) ** 2, np.exp(-0.5 * one.square / loose**2), 0.0)
            for bank, one in zip(banks, told, strict=True)
        ]
        bare = [
            w * np.exp(-0.5 * one.far.sum(axis=1)) * one.rails for w, one in zip(by_clamps, told, strict=True)
        ]
        weights = [w * one.splices for w, one in zip(bare, told, strict=True)]
        # Rounds are drawn where all that was found is near: either tells that clamps are near too.
        enough = max(_of_all(prior, by_clamps), _of_all(prior, weights))
        strict = enough if loose == LOOSER[0] else strict
        found = Weighed(weights, bare, by_clamps, loose, strict)
        if enough >= ENOUGH:
            break
    return found


def effective(weight: Array) -> float:
    """Effective number of samples (Kish 1965)."""
    square = float((weight**2).sum())
    return float(weight.sum()) ** 2 / square if square > 0.0 else 0.0
