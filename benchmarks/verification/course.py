"""Run the obstacle course of the shells: all problems, both elements, all meshes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.verification import membranes, obstacles, plates
from benchmarks.verification.plots import Panel, Series
from benchmarks.verification.shell_problems import KINDS, Problem

PROBLEMS: tuple[Problem, ...] = (*obstacles.PROBLEMS, *membranes.PROBLEMS, *plates.PROBLEMS)


@dataclass(frozen=True)
class Run:
    """One problem with one element.

    `value` (k,) at `side` (k,) elements along a side.
    """

    problem: Problem
    kind: str
    side: tuple[int, ...]
    value: tuple[float, ...]

    @property
    def error(self) -> tuple[float, ...]:
        """Relative errors, with their signs."""
        return tuple(value / self.problem.reference - 1.0 for value in self.value)

    @property
    def missed(self) -> tuple[int, ...]:
        """Meshes that stay outside their bar."""
        error = dict(zip(self.side, self.error, strict=True))
        return tuple(n for n, bar in self.bars if not abs(error[n]) <= bar)

    @property
    def bars(self) -> tuple[tuple[int, float], ...]:
        """Bars of the meshes that were run."""
        return tuple(pair for pair in self.problem.bars.get(self.kind, ()) if pair[0] in self.side)


def run_problem(problem: Problem, kind: str, sides: Sequence[int]) -> Run:
    """Solve a problem on some meshes."""
    values = tuple(problem.build(n, kind).value() for n in sides)
    return Run(problem, kind, tuple(sides), values)


def run_course(*, quick: bool = False) -> list[Run]:
    """Everything, problem by problem; quick: the coarsest mesh of each."""
    return [
        run_problem(problem, kind, problem.sides[:1] if quick else problem.sides)
        for problem in PROBLEMS
        for kind in KINDS
    ]


def panels(runs: Sequence[Run]) -> list[Panel]:
    """Drawings of the problems that were run on several meshes."""
    drawn = []
    for problem in PROBLEMS:
        own = [run for run in runs if run.problem is problem and len(run.side) > 2]
        series = tuple(Series(run.kind, np.array(run.side, dtype=float), np.abs(run.error)) for run in own)
        if series:
            drawn.append(Panel(problem.name, series, problem.order))
    return drawn
