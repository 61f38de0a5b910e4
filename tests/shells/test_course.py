"""The obstacle course: bars, no locking, no overshoot that grows, the order of convergence."""

import numpy as np
import pytest

from benchmarks.verification.course import PROBLEMS, run_problem
from benchmarks.verification.findings import check_cases
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


def test_references_are_the_check_values():
    """What the course is held against is what stands in the table of check values, with its sources."""
    case = {name: c["expected"] for name, c in check_cases().items()}
    same = {
        "Scordelis-Lo roof": case["obstacle_scordelis_lo"]["value"],
        "Pinched cylinder on diaphragms": case["obstacle_pinched_cylinder"]["value"],
        "Pinched hemisphere with a hole": case["obstacle_hemisphere_18deg"]["value"],
        "Twisted beam, thick, along its width": case["obstacle_twisted_beam_thick_inplane"]["value"],
        "Twisted beam, thick, across its width": case["obstacle_twisted_beam_thick_outplane"]["value"],
        "Twisted beam, thin, along its width": case["obstacle_twisted_beam_thin_inplane"]["value"],
        "Twisted beam, thin, across its width": case["obstacle_twisted_beam_thin_outplane"]["value"],
        "Razzaque's skew plate": case["obstacle_razzaque_skew"]["value"],
        "NAFEMS LE3, hemisphere under point loads": case["nafems_LE3_hemisphere"]["value"],
        "NAFEMS LE1, elliptic membrane": 1e6 * case["nafems_LE1_elliptic_membrane"]["sigma_yy_at_x2_y0_MPa"],
        "NAFEMS LE5, folded Z section": 1e6
        * case["nafems_LE5_z_section"]["sigma_xx_mid_at_flange_tip_x2p5_abs_MPa"],
    }
    for edge, key in (("supported", "ss"), ("clamped", "clamped")):
        for load, word in (("pressed", "uniform"), ("point-loaded", "point")):
            for ratio in (1, 2):
                same[f"Thin plate 1 x {ratio}, {edge}, {load}"] = case[f"plate_ba{ratio}_thin"][
                    f"{key}_{word}_w"
                ]
    for slender in (5, 10):
        exact = case[f"plate_square_mindlin_a_over_t_{slender}"]["w_centre_D_over_qa4"]
        same[f"Supported plate, span/thickness {slender}"] = exact
    for name, value in same.items():
        assert BY_NAME[name].reference == pytest.approx(value, rel=1e-9), name
