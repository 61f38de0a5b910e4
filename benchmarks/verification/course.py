"""The obstacle course: every shell problem at every mesh, for both elements, and how it kept its bar."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.verification import grips, membranes, obstacles, plates
from benchmarks.verification.plots import Panel, Series
from benchmarks.verification.shell_problems import KINDS, Problem
from fea.solvers.direct import SingularError

PROBLEMS: tuple[Problem, ...] = (
    *obstacles.PROBLEMS,
    *membranes.PROBLEMS,
    *plates.PROBLEMS,
    *grips.PROBLEMS,
)
QUICK = 16  # finest mesh of a quick run


@dataclass(frozen=True)
class Run:
    """One problem with one element.

    Attributes
    ----------
    problem, kind, mesh, source, unit : str
    reference : float
    side : tuple of int
        Elements along a side.
    value : tuple of float
        Found at each `side`.
    bar : tuple of (int, float)
        Meshes that must come as near as this.
    """

    problem: str
    kind: str
    mesh: str
    source: str
    unit: str
    reference: float
    side: tuple[int, ...]
    value: tuple[float, ...]
    bar: tuple[tuple[int, float], ...]

    @property
    def error(self) -> tuple[float, ...]:
        """Relative, with its sign, at each `side`."""
        return tuple(value / self.reference - 1.0 for value in self.value)

    @property
    def missed(self) -> tuple[tuple[int, float], ...]:
        """Bars that were run and not kept."""
        error = dict(zip(self.side, self.error, strict=True))
        return tuple((n, bar) for n, bar in self.bar if n in error and not abs(error[n]) <= bar)

    @property
    def kept(self) -> bool:
        """Whether all meshes stay within their bars."""
        return not self.missed

    @property
    def verdict(self) -> str:
        """The bars in words, those that were missed marked."""
        words = [
            f"{'**miss** ' if (n, bar) in self.missed else ''}{100.0 * bar:g}% at {n}" for n, bar in self.bar
        ]
        return ", ".join(words) or "none"


@dataclass(frozen=True)
class Course:
    """All runs."""

    runs: tuple[Run, ...]

    @property
    def sides(self) -> tuple[int, ...]:
        """All numbers of elements a side that were run."""
        return tuple(sorted({n for run in self.runs for n in run.side}))

    @property
    def panels(self) -> tuple[Panel, ...]:
        """Drawings of convergence, one a problem."""
        found: dict[str, list[Series]] = {}
        for run in self.runs:
            line = Series(run.kind, np.array(run.side, dtype=float), np.abs(np.array(run.error)))
            found.setdefault(run.problem, []).append(line)
        order = {p.name: p.order for p in PROBLEMS}
        return tuple(Panel(name, tuple(series), order[name]) for name, series in found.items())


def _value(problem: Problem, kind: str, n: int) -> float:
    """What is found on one mesh, NaN when the solver refuses to answer."""
    try:
        return problem.build(n, kind).value()
    except SingularError as error:
        print(f"{problem.name}, {kind}, {n}: {error}")
        return float("nan")


def run_problem(problem: Problem, kind: str, finest: float = np.inf) -> Run:
    """Run a problem with one element on all its meshes up to the finest."""
    side = tuple(n for n in problem.sides if n <= finest)
    return Run(
        problem.name,
        kind,
        problem.mesh,
        problem.source,
        problem.unit,
        problem.reference,
        side,
        tuple(_value(problem, kind, n) for n in side),
        problem.bars.get(kind, ()),
    )


def run_course(quick: bool = False) -> Course:
    """Run all problems, coarse meshes only when quick."""
    finest = QUICK if quick else np.inf
    return Course(tuple(run_problem(p, kind, finest) for p in PROBLEMS for kind in KINDS))
