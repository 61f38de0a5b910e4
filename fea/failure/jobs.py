"""Sampling of a roof cut into jobs of fixed size, and what they give together.

Jobs return plain numbers, so that any process can do them, in any order, and a journal can keep them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fea.failure.assembled import PARTS
from fea.failure.cascade import UNKNOWN, FailureSamples, cascade
from fea.failure.study import (
    TOP,
    RoofCase,
    Scatter,
    dimensions,
    drawn,
    explained,
    followed,
    margin,
    reserve,
)
from fea.sampling.chance import Chance, counted, latin_chance, subset_chance, subset_run
from fea.sampling.sensitivity import Share, correlation_ratios
from fea.sampling.streams import BATCH, batches, latin_batch, normal_batch, stream
from fea.sampling.variables import make_inputs

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

REPEATS = 16  # independent runs of subset sampling
SHAPED = 4  # batches that show how the reserve scatters, and with the snow of the case alone


class Job(NamedTuple):
    """One piece of work: "chance", "subset", "reserve" or "fragility"."""

    kind: str
    number: int
    size: int


@dataclass(frozen=True)
class Sampling:
    """What is sampled, and how.

    Attributes
    ----------
    case : RoofCase
        That uses the clamps most.
    scatter : Scatter
    method : str
        "monte carlo", "latin hypercube" or "subset".
    samples : int
        All of them, or those of one level of "subset".
    seed : int
    others : tuple of RoofCase
        Further snow cases of the same roof. Each sample is followed under every case; it fails where it fails
        under any of them.
    """

    case: RoofCase
    scatter: Scatter
    method: str
    samples: int
    seed: int
    others: tuple[RoofCase, ...] = ()

    @property
    def cases(self) -> tuple[RoofCase, ...]:
        """All of them."""
        return (self.case, *self.others)


@dataclass(frozen=True)
class Risk:
    """How often a row lets go, and what that hangs on.

    Attributes
    ----------
    chance : Chance
        That any row lets go, under any of the cases.
    row_chance : tuple of Chance
        Of each row, under any of the cases; empty for subset sampling.
    case_chance : tuple of Chance
        That any row lets go under each case by itself; empty for subset sampling.
    case_row : tuple of tuple of Chance
        Of each row under each case, (cases, rows); empty for subset sampling.
    unanswered : int
        Samples without an answer, counted as failed.
    gave_way : (c,) float
        Share of the failed samples in which each clamp gave way; NaN without any.
    first : (c,) float
        Share of the samples, grown until a row lets go, in which each clamp was first.
    first_row : (r,) float
        The same for rows.
    splice_first, splice_parted : (s,) float
        The same for splices that can part; and the share of the failed samples in which each parted.
    reserve : (n,) float
        Times its own load at which each sample's first row lets go under the case that is worst for it,
        ascending, `TOP` at most.
    fragility : (n,) float
        The same times the snow of the case that uses the clamps most, for clamps that scatter under snow that
        does not.
    shares : tuple of Share
        What the scatter of the reserve's logarithm comes from.
    """

    chance: Chance
    row_chance: tuple[Chance, ...]
    case_chance: tuple[Chance, ...]
    case_row: tuple[tuple[Chance, ...], ...]
    unanswered: int
    gave_way: Array
    first: Array
    first_row: Array
    splice_first: Array
    splice_parted: Array
    reserve: Array
    fragility: Array
    shares: tuple[Share, ...]


def jobs_of(sampling: Sampling) -> list[Job]:
    """All jobs, in a fixed order."""
    shaped = [
        Job(kind, number, size)
        for kind in ("fragility", "reserve")
        for number, size in batches(SHAPED * BATCH)
    ]
    if sampling.method == "subset":
        return [*shaped, *(Job("subset", run, sampling.samples) for run in range(REPEATS))]
    if sampling.method == "latin hypercube":
        count = max(-(-sampling.samples // BATCH), 10) * BATCH
        return [*shaped, *(Job("chance", number, size) for number, size in batches(count))]
    return [*shaped, *(Job("chance", number, size) for number, size in batches(sampling.samples))]


def do_job(job: Job, sampling: Sampling) -> dict[str, Any]:
    """One job's numbers, plain."""
    case, scatter, seed = sampling.case, sampling.scatter, sampling.seed
    size = dimensions(case, scatter)
    if job.kind == "subset":
        value, calls = subset_run(partial(_least_margin, sampling), size, job.size, seed, job.number)
        return {"value": value, "calls": calls}
    if job.kind == "chance":
        stratified = sampling.method == "latin hypercube"
        normal = (
            latin_batch(seed, job.number, job.size, size)
            if stratified
            else normal_batch(seed, job.number, job.size, size)
        )
        return _counts([followed(one, drawn(one, scatter, normal)) for one in sampling.cases])
    still = job.kind == "fragility"
    normal = stream(seed, job.number, 3 if still else 4).standard_normal((job.size, size))
    if still:
        samples = drawn(case, _snow_still(scatter), normal[:, scatter.load.count :])
        return {"reserve": reserve(followed(case, samples, TOP)).tolist()}
    return _shapes(sampling, normal)


def _least_margin(sampling: Sampling, normal: Array) -> Array:
    """Margin (n,) of the case that is worst for each sample."""
    return np.min([margin(one, sampling.scatter, normal) for one in sampling.cases], axis=0)


def _counts(found: list[FailureSamples]) -> dict[str, Any]:
    """What failed in one batch, under any of the cases and under each."""
    failed = np.stack([one.failed for one in found])  # (cases, n)
    gone = np.stack([np.isfinite(one.let_go) for one in found])  # (cases, n, r)
    gave_way = np.stack([one.order >= 0 for one in found]) & failed[:, :, None]
    unknown = np.stack([one.outcome == UNKNOWN for one in found])
    torn = [(one.splice_order >= 0) & (one.splice_state == PARTS) for one in found]
    parted = np.stack(torn) & failed[:, :, None]
    return {
        "parted": parted.any(axis=0).sum(axis=0).tolist(),
        "failed": int(failed.any(axis=0).sum()),
        "unanswered": int(unknown.any(axis=0).sum()),
        "rows": gone.any(axis=0).sum(axis=0).tolist(),
        "gave_way": gave_way.any(axis=0).sum(axis=0).tolist(),
        "case_failed": failed.sum(axis=1).tolist(),
        "case_rows": gone.sum(axis=1).tolist(),
    }


def _shapes(sampling: Sampling, normal: Array) -> dict[str, Any]:
    """How far the load of each sample can grow, and what goes first, under the case that is worst for it."""
    samples = [drawn(one, sampling.scatter, normal) for one in sampling.cases]
    found = [followed(one, each, TOP) for one, each in zip(sampling.cases, samples, strict=True)]
    held = np.stack([reserve(one) for one in found])
    worst = held.argmin(axis=0)
    at = np.arange(len(normal))
    first = np.stack([(one.order == 0) & (one.events > 0)[:, None] for one in found])[worst, at]
    splice = np.stack([(one.splice_order == 0) & (one.events > 0)[:, None] for one in found])[worst, at]
    rows = found[0].let_go.shape[1]
    row = np.stack([_first_row(one, sampling.case.roof.first) for one in found])[worst, at]
    return {
        "reserve": held[worst, at].tolist(),
        "inputs": samples[0].inputs.tolist(),
        "first": first.astype(int).sum(axis=0).tolist(),
        "splice_first": splice.astype(int).sum(axis=0).tolist(),
        "first_row": np.bincount(row[row >= 0], minlength=rows).tolist(),
    }


def risk_of(sampling: Sampling, jobs: Sequence[Job], results: Sequence[dict[str, Any]]) -> Risk:
    """Everything from the jobs' numbers, in the order of the jobs."""

    def of(*kinds: str) -> list[tuple[Job, dict[str, Any]]]:
        return [(job, one) for job, one in zip(jobs, results, strict=True) if job.kind in kinds]

    shaped = [one for _, one in of("reserve")]
    held = np.concatenate([one["reserve"] for one in shaped])
    inputs = np.concatenate([np.array(one["inputs"], dtype=float) for one in shaped])
    plain = of("chance")
    if plain:
        count, failed = sum(job.size for job, _ in plain), sum(one["failed"] for _, one in plain)
        if sampling.method == "latin hypercube":
            chance = latin_chance(np.array([one["failed"] / job.size for job, one in plain]))
        else:
            chance = counted(failed, count)
        rows = np.sum([one["rows"] for _, one in plain], axis=0)
        row_chance = tuple(counted(int(n), count) for n in rows)
        alone = np.sum([one["case_failed"] for _, one in plain], axis=0)
        case_chance = tuple(counted(int(n), count) for n in alone)
        by_row = np.sum([one["case_rows"] for _, one in plain], axis=0)
        case_row = tuple(tuple(counted(int(n), count) for n in one) for one in by_row)
        gave_way = np.sum([one["gave_way"] for _, one in plain], axis=0) / (failed or np.nan)
        parted = np.sum([one["parted"] for _, one in plain], axis=0) / (failed or np.nan)
    else:
        runs = [(one["value"], one["calls"]) for _, one in of("subset")]
        chance, row_chance, case_chance, case_row = subset_chance(runs), (), (), ()
        gave_way = np.full(sampling.case.clamps, np.nan)
        parted = np.full(len(shaped[0]["splice_first"]), np.nan)
    logs = np.log(np.maximum(held, 1e-3))
    return Risk(
        chance=chance,
        row_chance=row_chance,
        case_chance=case_chance,
        case_row=case_row,
        unanswered=sum(one["unanswered"] for _, one in plain),
        gave_way=gave_way,
        first=np.sum([one["first"] for one in shaped], axis=0) / len(held),
        first_row=np.sum([one["first_row"] for one in shaped], axis=0) / len(held),
        splice_first=np.sum([one["splice_first"] for one in shaped], axis=0) / len(held),
        splice_parted=parted,
        reserve=np.sort(held),
        fragility=np.sort(np.concatenate([one["reserve"] for _, one in of("fragility")])),
        shares=correlation_ratios(explained(sampling.scatter, sampling.case), inputs, logs)
        if inputs.size
        else (),
    )


def _snow_still(scatter: Scatter) -> Scatter:
    """Clamps scatter, the snow is that of the case."""
    return replace(scatter, load=make_inputs([]))


def _first_row(found: FailureSamples, first: IntArray) -> IntArray:
    """Row that let go first in each sample, -1 for none; of several at one load that which ended earlier."""
    ended = np.maximum.reduceat(found.order.astype(np.int64), first[:-1], axis=1)
    at_once = found.let_go == found.first_row[:, None]
    row = np.where(at_once, ended, np.iinfo(np.int64).max).argmin(axis=1)
    return np.where(np.isfinite(found.first_row), row, -1)


def mean_course(case: RoofCase) -> FailureSamples:
    """One sample: every clamp at its mean strength, the snow of the case growing to `TOP` times itself."""
    return cascade(
        case.roof, case.held, case.usual_snow.sum(axis=0), case.capacity, case.residual,
        target=TOP, release=case.release, impact=case.impact, splices=case.mean_splices(),
    )  # fmt: skip
