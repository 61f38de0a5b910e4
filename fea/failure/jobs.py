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
    scatter : Scatter
    method : str
        "monte carlo", "latin hypercube" or "subset".
    samples : int
        All of them, or those of one level of "subset".
    seed : int
    """

    case: RoofCase
    scatter: Scatter
    method: str
    samples: int
    seed: int


@dataclass(frozen=True)
class Risk:
    """How often a row lets go, and what that hangs on.

    Attributes
    ----------
    chance : Chance
        That any row lets go.
    row_chance : tuple of Chance
        Of each row; empty for subset sampling.
    unanswered : int
        Samples without an answer, counted as failed.
    gave_way : (c,) float
        Share of the failed samples in which each clamp gave way; NaN without any.
    first : (c,) float
        Share of the samples, grown until a row lets go, in which each clamp was first.
    first_row : (r,) float
        The same for rows.
    reserve : (n,) float
        Times its own load at which each sample's first row lets go, ascending, `TOP` at most.
    fragility : (n,) float
        The same times the snow of the case, for clamps that scatter under snow that does not.
    shares : tuple of Share
        What the scatter of the reserve's logarithm comes from.
    """

    chance: Chance
    row_chance: tuple[Chance, ...]
    unanswered: int
    gave_way: Array
    first: Array
    first_row: Array
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
        value, calls = subset_run(partial(margin, case, scatter), size, job.size, seed, job.number)
        return {"value": value, "calls": calls}
    if job.kind == "chance":
        stratified = sampling.method == "latin hypercube"
        normal = (
            latin_batch(seed, job.number, job.size, size)
            if stratified
            else normal_batch(seed, job.number, job.size, size)
        )
        found = followed(case, drawn(case, scatter, normal))
        failed = found.failed
        return {
            "failed": int(failed.sum()),
            "unanswered": int((found.outcome == UNKNOWN).sum()),
            "rows": np.isfinite(found.let_go).sum(axis=0).tolist(),
            "gave_way": ((found.order >= 0) & failed[:, None]).sum(axis=0).tolist(),
        }
    still = job.kind == "fragility"
    normal = stream(seed, job.number, 3 if still else 4).standard_normal((job.size, size))
    if still:
        samples = drawn(case, _snow_still(scatter), normal[:, scatter.load.count :])
    else:
        samples = drawn(case, scatter, normal)
    found = followed(case, samples, TOP)
    kept = {"reserve": reserve(found).tolist()}
    if still:
        return kept
    known = found.events > 0
    first = np.where(known[:, None] & (found.order == 0), 1, 0)
    row = _first_row(found, sampling.case.roof.first)
    return {
        **kept,
        "inputs": samples.inputs.tolist(),
        "first": first.sum(axis=0).tolist(),
        "first_row": np.bincount(row[row >= 0], minlength=found.let_go.shape[1]).tolist(),
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
        gave_way = np.sum([one["gave_way"] for _, one in plain], axis=0) / (failed or np.nan)
    else:
        runs = [(one["value"], one["calls"]) for _, one in of("subset")]
        chance, row_chance = subset_chance(runs), ()
        gave_way = np.full(sampling.case.clamps, np.nan)
    logs = np.log(np.maximum(held, 1e-3))
    return Risk(
        chance=chance,
        row_chance=row_chance,
        unanswered=sum(one["unanswered"] for _, one in plain),
        gave_way=gave_way,
        first=np.sum([one["first"] for one in shaped], axis=0) / len(held),
        first_row=np.sum([one["first_row"] for one in shaped], axis=0) / len(held),
        reserve=np.sort(held),
        fragility=np.sort(np.concatenate([one["reserve"] for _, one in of("fragility")])),
        shares=correlation_ratios(explained(sampling.scatter), inputs, logs) if inputs.size else (),
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
        target=TOP, release=case.release, impact=case.impact,
    )  # fmt: skip
