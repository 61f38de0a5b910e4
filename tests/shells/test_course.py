"""The obstacle course: bars, no locking, no overshoot that grows, the order of convergence."""

import numpy as np
import pytest

from benchmarks.verification.course import PROBLEMS, run_problem
from benchmarks.verification.plates import THIN, plate
from benchmarks.verification.shell_problems import KINDS, QUADS

BY_NAME = {p.name: p for p in PROBLEMS}
FINEST = 32


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("problem", PROBLEMS, ids=lambda p: p.name)
def test_every_problem_keeps_its_bars(problem, kind):
    run = run_problem(problem, kind, FINEST)
    assert run.kept, f"{run.problem}, {kind}: {dict(zip(run.side, run.error, strict=True))}, bars {run.bar}"


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("problem", PROBLEMS, ids=lambda p: p.name)
def test_every_problem_comes_within_its_finest_bar(problem, kind):
    run = run_problem(problem, kind)
    assert run.bar
    assert run.kept
    error = np.abs(run.error)
    # A reference known to three digits is met or left by less than its own doubt, never ever faster.
    assert error[-1] <= max(error[-2], 0.03)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("edge", ["supported", "clamped"])
def test_thin_plates_do_not_lock(kind, edge):
    """The same mesh is as good at span over thickness 10,000 as at 1,000."""
    exact = THIN[edge, "pressed", 1.0]
    found = [plate(8, kind, edge, "pressed", 1.0, slender).value() / exact for slender in (1e3, 1e4)]
    assert found[1] == pytest.approx(found[0], rel=1e-3)
    assert found[1] == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "name",
    ["Thin plate 1 x 1, clamped, pressed", "Thin plate 1 x 2, clamped, pressed", "Razzaque's skew plate"],
)
def test_plates_converge_with_the_square(name, kind):
    run = run_problem(BY_NAME[name], kind, FINEST)
    order = -np.diff(np.log(np.abs(run.error))) / np.log(2.0)
    assert order[-2:].min() > 1.8


@pytest.mark.parametrize("kind", KINDS)
def test_energy_converges_with_the_square(kind):
    """Energy of a clamped plate: the load's work against its limit by Richardson."""
    side = (8, 16, 32, 64)
    work = []
    for n in side:
        setup = plate(n, kind, "clamped", "pressed", 1.0, 1e3)
        u = np.zeros(setup.model.dof_count)

        def keep(found: np.ndarray, u: np.ndarray = u) -> float:
            u[:] = found
            return 0.0

        type(setup)(setup.model, setup.load, keep).value()
        work.append(setup.load @ u)
    limit = work[-1] + (work[-1] - work[-2]) / 3.0
    error = np.abs(np.array(work[:-1]) / limit - 1.0)
    order = -np.diff(np.log(error)) / np.log(2.0)
    assert order.min() > 1.8


def test_warped_quads_are_needed_and_enough():
    """Twisted beam, two elements wide: plain flat quads would be off many times over."""
    run = run_problem(BY_NAME["Twisted beam, thin, along its width"], QUADS, 12)
    assert abs(run.error[0]) < 0.005
