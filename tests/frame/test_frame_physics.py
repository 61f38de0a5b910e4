"""What must hold for any rows on any clamps, whoever draws them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rails import CONTINUOUS, HINGE, SLIDING, SOFT, at, make_clamp, make_layout, make_loads, make_rail

from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import RailLoads
from fea.rails.rows import seam_axes
from fea.solvers.direct import Solver, available
from roofmodel.sections import round_tube

RAIL = make_rail()


def random_clamp(rng):
    """A clamp with full positive definite stiffness and some height."""
    mix = np.eye(6) + 0.2 * rng.normal(size=(6, 6))
    size = np.sqrt([2e6, 3e6, 5e6, 800.0, 900.0, 300.0])
    return make_clamp((mix @ mix.T) * np.outer(size, size), rng.uniform(0.0, 0.12))


def random_rows(rng, count):
    rows = []
    for _ in range(count):
        clamps = np.cumsum(rng.uniform(0.15, 0.8, size=rng.integers(2, 9))) - 0.1
        length = clamps[-1] + rng.uniform(0.02, 0.4)
        splices = []
        if len(clamps) > 3:
            s = clamps[2] + rng.choice([0.0, 0.07])
            splices = [(s, rng.choice([HINGE, CONTINUOUS, SLIDING]))]
        rows.append(
            {
                "length": length,
                "clamps": clamps,
                "splices": splices,
                "seam": rng.uniform(-1.0, 1.0),
                "tilt": rng.uniform(-0.7, 0.7),
                "start": rng.uniform(-5.0, 5.0, size=2),
            }
        )
    return rows


def random_loads(rng, layout, q):
    rows, edges = [], []
    for row, length in enumerate(layout.row_length):
        cut = np.sort(rng.uniform(0.0, length, size=5))
        rows += [row] * 3
        edges += [(cut[0], cut[1]), (cut[1], cut[2]), (cut[3], cut[4])]
    s0, s1 = np.array(edges).T
    point_row = rng.integers(0, len(layout.row_length), size=4)
    point_s = rng.uniform(0.0, 1.0, size=4) * layout.row_length[point_row]
    return RailLoads(
        row=np.array(rows),
        s0=s0,
        s1=s1,
        line=rng.normal(size=(q, len(rows), 4)) * [300.0, 2000.0, 900.0, 40.0],
        point_row=point_row,
        point_s=point_s,
        point=rng.normal(size=(q, 4, 6)) * [300.0, 900.0, 500.0, 30.0, 30.0, 30.0],
        thermal=rng.uniform(-40.0, 40.0, size=q),
    )


def same_forces(one, other, rtol=1e-8):
    np.testing.assert_allclose(one, other, rtol=0, atol=rtol * max(np.abs(one).max(), 1e-30))


seeds = st.integers(0, 2**32 - 1)


@given(seeds, st.integers(1, 3))
@settings(max_examples=40, deadline=None)
def test_applied_is_taken_by_the_clamps(seed, rows):
    rng = np.random.default_rng(seed)
    layout = make_layout(random_rows(rng, rows))
    loads = random_loads(rng, layout, 3)
    loads = replace(loads, thermal=np.array([0.0, 0.0, 30.0]))
    result = solve_frame(build_frame(layout, RAIL, random_clamp(rng)), loads)
    # heat loads the rail against itself with forces far above the others, so rounding follows them
    scale = max(np.abs(result.applied[:2]).max(), 1.0)
    np.testing.assert_allclose(result.reaction[:2], result.applied[:2], rtol=0, atol=1e-9 * scale)
    scale = max(scale, np.abs(result.clamp_force[2]).max())
    np.testing.assert_allclose(result.reaction[2], result.applied[2], rtol=0, atol=1e-9 * scale)
    assert (result.residual < 1e-9).all()


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_pieces_fit_together(seed):
    """Neighboring elements meet, forces balance at clamps, and the free ends carry nothing."""
    rng = np.random.default_rng(seed)
    layout = make_layout(random_rows(rng, 2))
    frame = build_frame(layout, RAIL, random_clamp(rng))
    loads = replace(random_loads(rng, layout, 1), point=np.zeros((1, 4, 6)))
    result = solve_frame(frame, loads)
    first = np.searchsorted(result.sample_span, np.arange(len(result.span_row)), side="left")
    last = np.searchsorted(result.sample_span, np.arange(len(result.span_row)), side="right") - 1
    joined = np.flatnonzero(result.span_row[1:] == result.span_row[:-1])
    gap = result.deflection[0, first[joined + 1]] - result.deflection[0, last[joined]]
    sliding = {s for s, kind in zip(layout.splice_s, layout.splice_kind, strict=True) if kind is SLIDING}
    slides = np.array([any(abs(s - end) < 2e-3 for s in sliding) for end in result.span_s[joined, 1]], bool)
    atol = 1e-9 * np.abs(result.deflection).max()
    np.testing.assert_allclose(gap[:, 1:], 0.0, atol=atol)
    np.testing.assert_allclose(gap[~slides, 0], 0.0, atol=atol)
    # the jump of the section force over a node is what the clamp there takes, carried up its arm
    jump = result.rail_force[0, first[joined + 1]] - result.rail_force[0, last[joined]]
    clamp = result.span_support[joined, 1]
    taken = np.zeros((len(joined), 6))
    held = clamp >= 0
    grip = np.swapaxes(frame.clamp_grip, 1, 2) @ result.clamp_force[0][:, :, None]
    taken[held] = grip[clamp[held], :, 0]
    scale = np.abs(result.rail_force).max()
    np.testing.assert_allclose(jump, taken, atol=1e-9 * scale)
    ends = np.concatenate([first[:1], last[-1:]])
    outer = result.rail_force[0, ends]
    ends_held = np.array([result.span_support[0, 0] >= 0, result.span_support[-1, 1] >= 0])
    np.testing.assert_allclose(outer[~ends_held], 0.0, atol=1e-9 * scale)


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_superposition(seed):
    rng = np.random.default_rng(seed)
    layout = make_layout(random_rows(rng, 2))
    frame = build_frame(layout, RAIL, random_clamp(rng))
    loads = random_loads(rng, layout, 3)
    mixed = RailLoads(
        loads.row, loads.s0, loads.s1,
        np.concatenate([loads.line, (2.0 * loads.line[:1] - 0.5 * loads.line[1:2])]),
        loads.point_row, loads.point_s,
        np.concatenate([loads.point, (2.0 * loads.point[:1] - 0.5 * loads.point[1:2])]),
        np.append(loads.thermal, 2.0 * loads.thermal[0] - 0.5 * loads.thermal[1]),
    )  # fmt: skip
    result = solve_frame(frame, mixed)
    for name in ("clamp_force", "rail_force", "deflection"):
        field = getattr(result, name)
        scale = 1e-8 * np.abs(field).max()
        np.testing.assert_allclose(field[3], 2.0 * field[0] - 0.5 * field[1], atol=scale)


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_rows_may_be_renumbered_and_moved(seed):
    rng = np.random.default_rng(seed)
    rows = random_rows(rng, 3)
    layout = make_layout(rows)
    loads = random_loads(rng, layout, 2)
    clamp = random_clamp(rng)
    one = solve_frame(build_frame(layout, RAIL, clamp), loads)
    order = rng.permutation(3)
    turn = rng.uniform(-0.5, 0.5)
    # the whole plane turned: rows by +turn, the seam, measured from v toward +u, by -turn
    moved = [
        {**rows[i], "start": (1.0, 2.0), "tilt": rows[i]["tilt"] + turn, "seam": rows[i]["seam"] - turn}
        for i in order
    ]
    new = np.argsort(order)
    shuffle = rng.permutation(len(loads.row))
    again = replace(
        loads, row=new[loads.row][shuffle], s0=loads.s0[shuffle], s1=loads.s1[shuffle],
        line=loads.line[:, shuffle], point_row=new[loads.point_row],
    )  # fmt: skip
    other_layout = make_layout(moved)
    other = solve_frame(build_frame(other_layout, RAIL, clamp), again)
    for i, row in enumerate(order):
        same_forces(
            one.clamp_force[:, layout.clamp_row == row], other.clamp_force[:, other_layout.clamp_row == i]
        )
        same_forces(one.rail_force[:, one.sample_row == row], other.rail_force[:, other.sample_row == i])


@given(seeds, st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
@settings(max_examples=15, deadline=None)
def test_units_do_not_matter(seed, meter, newton):
    """The same row told in other units of length and force."""
    rng = np.random.default_rng(seed)
    rows = [{"length": 4.0, "clamps": [0.3, 1.1, 2.0, 3.6], "splices": [(2.6, HINGE)], "seam": 0.3}]
    layout = make_layout(rows)
    clamp = random_clamp(rng)
    loads = random_loads(rng, layout, 1)
    one = solve_frame(build_frame(layout, RAIL, clamp), loads)
    # stay above the tolerance for places, which is a length
    meter = max(meter, 0.1)
    big = make_layout([{"length": 4.0 * meter, "clamps": np.array(rows[0]["clamps"]) * meter,
                        "splices": [(2.6 * meter, HINGE)], "seam": 0.3}])  # fmt: skip
    force = np.array([1.0, 1.0, 1.0, meter, meter, meter]) * newton
    size = np.array([meter] * 3 + [1.0] * 3)
    scaled = replace(
        clamp,
        stiffness=clamp.stiffness * newton * meter / np.outer(size, size),
        height=clamp.height * meter,
    )
    section = RAIL.section
    section = replace(
        section, area=section.area * meter**2, I_y=section.I_y * meter**4, I_z=section.I_z * meter**4,
        J=section.J * meter**4, shear_y=section.shear_y * meter**2, shear_z=section.shear_z * meter**2,
    )  # fmt: skip
    pressure = newton / meter**2
    metal = replace(RAIL.material, E=RAIL.material.E * pressure, G=RAIL.material.G * pressure)
    told = replace(
        loads, s0=loads.s0 * meter, s1=loads.s1 * meter, point_s=loads.point_s * meter,
        line=loads.line * newton * np.array([1 / meter, 1 / meter, 1 / meter, 1.0]),
        point=loads.point * force,
    )  # fmt: skip
    other = solve_frame(build_frame(big, make_rail(section, metal), scaled), told)
    same_forces(one.clamp_force, other.clamp_force / force, 1e-7)
    same_forces(one.rail_force, other.rail_force / force, 1e-7)
    same_forces(one.deflection, other.deflection / meter, 1e-7)


def test_row_read_from_the_other_end():
    """A row turned end for end about the axis square to the roof keeps its forces on the seams."""
    length, clamps = 3.1, np.array([0.2, 0.9, 1.4, 2.8])
    clamp = random_clamp(np.random.default_rng(5))
    there = make_layout([{"length": length, "clamps": clamps, "splices": [(1.4, CONTINUOUS)], "seam": 0.2}])
    turned = {"tilt": np.pi, "start": (length, 0.0), "seam": 0.2, "splices": [(length - 1.4, CONTINUOUS)]}
    back = make_layout([{"length": length, "clamps": length - clamps[::-1], **turned}])
    line, point = np.array([50.0, -900.0, 300.0, 20.0]), np.array([10.0, 200.0, -90.0, 5.0, 8.0, -7.0])
    turn = np.array([-1.0, -1.0, 1.0])  # row axes turned by pi about z
    one = solve_frame(
        build_frame(there, RAIL, clamp), make_loads([(0, 0.4, 2.2, line)], [(0, 2.5, point)], (15.0,))
    )
    other = solve_frame(
        build_frame(back, RAIL, clamp),
        make_loads(
            [(0, length - 2.2, length - 0.4, line * [-1.0, -1.0, 1.0, -1.0])],
            [(0, length - 2.5, point * np.tile(turn, 2))],
            (15.0,),
        ),
    )
    same_forces(one.clamp_force, other.clamp_force[:, ::-1], 1e-9)
    for s in (0.2, 0.4, 1.4, 2.2, 2.5):
        same_forces(at(one, s, "deflection"), turn * at(other, length - s, "deflection"), 1e-9)


def test_symmetric_row_answers_symmetrically():
    clamps = np.array([0.2, 0.8, 1.5, 2.2, 2.8])
    layout = make_layout([{"length": 3.0, "clamps": clamps}])
    result = solve_frame(
        build_frame(layout, RAIL, SOFT), make_loads([(0, 0.0, 3.0, (0.0, -1500.0, 200.0, 0.0))])
    )
    same_forces(result.clamp_force[0, :, [0, 2]], result.clamp_force[0, ::-1, [0, 2]], 1e-10)
    np.testing.assert_allclose(result.clamp_force[0, 2, 1], 0.0, atol=1e-8)


@pytest.mark.parametrize("name", ["rail_force", "deflection"])
def test_samples_agree_with_a_finer_frame(name):
    """Continuous splices cut the rail into more elements and may change nothing."""
    rng = np.random.default_rng(3)
    row = {"length": 3.3, "clamps": [0.2, 0.9, 1.9, 3.0], "seam": 0.2}
    loads = random_loads(rng, make_layout([row]), 1)
    coarse = solve_frame(build_frame(make_layout([row]), RAIL, SOFT), loads)
    places = np.unique(np.round(coarse.sample_s, 9))
    places = [s for s in places if 0.0 < s < 3.3 and np.abs(np.array(row["clamps"]) - s).min() > 2e-3]
    apart = [s for i, s in enumerate(places) if i == 0 or s - places[i - 1] > 2e-3]
    fine_row = {**row, "splices": [(s, CONTINUOUS) for s in apart]}
    fine = solve_frame(build_frame(make_layout([fine_row]), RAIL, SOFT), loads)
    scale = np.abs(getattr(coarse, name)).max()
    for s in apart:
        if np.abs(loads.point_s - s).min() < 1e-6:
            continue
        a, b = at(coarse, np.round(s, 9), name), at(fine, s, name)
        np.testing.assert_allclose(a, b, atol=1e-8 * scale)


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_no_moment_hides_between_stations(seed):
    """On a fine grid of extra stations no governing moment exceeds what the plain result shows."""
    rng = np.random.default_rng(seed)
    layout = make_layout(random_rows(rng, 1))
    frame = build_frame(layout, make_rail(round_tube(0.05, 0.003)), random_clamp(rng))
    loads = random_loads(rng, layout, 4)
    plain = solve_frame(frame, loads)
    extra = np.linspace(0.0, layout.row_length[0], 400)
    dense = solve_frame(
        frame,
        replace(
            loads,
            point_row=np.concatenate([loads.point_row, np.zeros(400, dtype=np.int64)]),
            point_s=np.concatenate([loads.point_s, extra]),
            point=np.concatenate([loads.point, np.zeros((4, 400, 6))], axis=1),
        ),
    )
    for moments in ([4], [5], [4, 5]):
        top = np.linalg.norm(plain.rail_force[:, :, moments], axis=2)
        fine = np.linalg.norm(dense.rail_force[:, :, moments], axis=2)
        for span in range(len(plain.span_row)):
            shown, there = top[:, plain.sample_span == span], fine[:, dense.sample_span == span]
            assert there.max() <= shown.max() * (1.0 + 1e-9) + 1e-9
            L = frame.span_length[span]
            # of the vector sum only the governing case is sure; the others fall between peaks of its parts
            missed = np.abs(loads.line[:, :, 1:3]).max() * (L / 32) ** 2 / 2 if len(moments) == 1 else np.inf
            assert (there.max(axis=1) <= shown.max(axis=1) + missed + 1e-9).all()


def test_eccentric_grip():
    """A clamp that tips takes force times height, and the rail above moves by it."""
    h, F = 0.08, 700.0
    K = np.array([2e6, 3e6, 5e6, 800.0, 900.0, 300.0])
    layout = make_layout([{"length": 0.4, "clamps": [0.2]}])
    loads = make_loads(points=[(0, 0.2, (0.0, -F, 0.0, 0.0, 0.0, 0.0))])
    result = solve_frame(build_frame(layout, RAIL, make_clamp(K, h)), loads)
    np.testing.assert_allclose(result.clamp_force[0, 0], [F, 0.0, 0.0, 0.0, F * h, 0.0], atol=1e-9 * F)
    down = -at(result, 0.2, "deflection")[1]
    np.testing.assert_allclose(down, F / K[0] + F * h * h / K[4], rtol=1e-9)
    across = make_loads(points=[(0, 0.2, (F, 0.0, 0.0, 0.0, 0.0, 0.0))])
    result = solve_frame(build_frame(layout, RAIL, make_clamp(K, h)), across)
    np.testing.assert_allclose(result.clamp_force[0, 0], [0.0, F, 0.0, -F * h, 0.0, 0.0], atol=1e-9 * F)


def test_oblique_seam_splits_the_force():
    """Seam leaning by a toward +u: a force down the fall line has cos a along and sin a against across."""
    a, F = 0.4, 900.0
    layout = make_layout([{"length": 0.4, "clamps": [0.2], "seam": a}])
    loads = make_loads(points=[(0, 0.2, (0.0, -F, 0.0, 0.0, 0.0, 0.0))])
    result = solve_frame(build_frame(layout, RAIL, make_clamp(np.full(6, 1e6))), loads)
    np.testing.assert_allclose(
        result.clamp_force[0, 0, :3], [F * np.cos(a), F * np.sin(a), 0.0], atol=1e-9 * F
    )


@given(seeds)
@settings(max_examples=10, deadline=None)
def test_every_solver_gives_the_same(seed):
    rng = np.random.default_rng(seed)
    layout = make_layout(random_rows(rng, 2))
    frame = build_frame(layout, RAIL, random_clamp(rng))
    loads = random_loads(rng, layout, 2)
    one = solve_frame(frame, loads, solver=Solver.BANDED)
    for solver in filter(available, (Solver.CHOLMOD, Solver.SUPERLU, Solver.PARDISO)):
        other = solve_frame(frame, loads, solver=solver)
        same_forces(one.clamp_force, other.clamp_force, 1e-9)
        same_forces(one.deflection, other.deflection, 1e-9)


def test_short_stubs_lose_nothing():
    """Splice and rail end a few millimeters from a clamp: stiff stubs on soft clamps still balance."""
    clamps = [0.003, 0.6, 1.3, 1.996]
    layout = make_layout(
        [{"length": 2.0, "clamps": clamps, "splices": [(0.602, HINGE), (1.297, CONTINUOUS)]}]
    )
    loads = make_loads([(0, 0.0, 2.0, (30.0, -2500.0, 400.0, 25.0))], thermal=(0.0,))
    result = solve_frame(build_frame(layout, RAIL, SOFT), loads)
    scale = np.abs(result.applied).max()
    np.testing.assert_allclose(result.reaction, result.applied, rtol=0, atol=1e-9 * scale)
    # one millimeter of stub is all that parts it from a splice at the clamp itself
    near = make_layout([{"length": 2.0, "clamps": clamps, "splices": [(0.6, HINGE)]}])
    other = solve_frame(build_frame(near, RAIL, SOFT), loads)
    same_forces(result.clamp_force[0, :, :3], other.clamp_force[0, :, :3], 0.02)


def test_splice_within_a_millimeter_of_a_clamp_is_at_it():
    loads = make_loads([(0, 0.0, 2.0, (0.0, -2500.0, 400.0, 0.0))])
    results = [
        solve_frame(
            build_frame(
                make_layout([{"length": 2.0, "clamps": [0.3, 1.0, 1.7], "splices": [(s, HINGE)]}]), RAIL, SOFT
            ),
            loads,
        )
        for s in (1.0, 1.0 + 9e-4, 1.0 - 9e-4)
    ]
    for other in results[1:]:
        np.testing.assert_allclose(other.clamp_force, results[0].clamp_force, rtol=1e-12)
        np.testing.assert_array_equal(other.span_support, results[0].span_support)


def test_seam_axes_are_right_handed():
    layout = make_layout([{"length": 1.0, "clamps": [0.5], "seam": 0.4, "tilt": -0.2}])
    along, across, pull = seam_axes(layout)[0]
    np.testing.assert_allclose(np.cross(along, across), pull, atol=1e-15)
    # the row runs right and 0.2 rad down; the seam leans 0.4 rad to the right going up
    np.testing.assert_allclose(along, [-np.sin(0.2), -np.cos(0.2), 0.0], atol=1e-15)
