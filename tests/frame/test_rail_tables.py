"""Published and independently computed values for continuous rails, in both load directions."""

import numpy as np
import pytest
from rails import DATA, HINGE, at, make_clamp, make_layout, make_loads, plain_rail

from fea.rails.frame import build_frame, solve_frame

CASES = {case["name"]: case for case in DATA["cases"]}
RIGID = 1e14  # stiff enough that no support moves by 1e-6 of the smallest deflection checked [N/m]
ROLL = 1e6  # holds the twist only, which no load here calls on [N m/rad]
PIECES = 2000  # uniform pieces that stand for a linearly varying load

# (load direction in row axes, clamp force, moment, deflection with the sign of the load)
TOWARD = {"pull": (2, 1.0, 2, 4), "down": (1, -1.0, 0, 5)}


def solve(clamps, EI, length, lines, points, direction, GAs=np.inf, stiffness=None, hinges=()):
    axis, sign, _, _ = TOWARD[direction]
    largest = RIGID if stiffness is None else max(stiffness)
    scale = None if stiffness is None else np.array(stiffness) / largest
    clamp = make_clamp([largest, largest, largest, 0.0, ROLL, 0.0])
    layout = make_layout([{"length": length, "clamps": clamps, "splices": [(s, HINGE) for s in hinges]}])
    line = np.zeros(4)
    line[axis] = sign
    force = np.zeros(6)
    force[axis] = sign
    loads = make_loads([(0, a, b, q * line) for a, b, q in lines], [(0, s, P * force) for s, P in points])
    return solve_frame(build_frame(layout, plain_rail(EI, GAs), clamp, clamp_scale=scale), loads)


@pytest.mark.parametrize("direction", TOWARD)
@pytest.mark.parametrize("spans", [1, 2, 3, 5])
def test_equal_spans(spans, direction):
    case = CASES[f"rail_equal_spans_N{spans}"]
    expected, rel = case["expected"], case["tolerance"]["rel"]
    L, q, EI = 0.7, 1500.0, 2800.0
    axis, sign, clamp_axis, moment = TOWARD[direction]
    clamps = np.arange(spans + 1) * L
    result = solve(clamps, EI, spans * L, [(0.0, spans * L, q)], [], direction)
    np.testing.assert_allclose(
        result.clamp_force[0, :, clamp_axis], np.array(expected["reaction_over_qL"]) * q * L, rtol=rel
    )
    supports = [at(result, s, "rail_force")[moment] for s in clamps]
    np.testing.assert_allclose(
        supports, np.array(expected["support_moment_over_qL2"]) * q * L**2, rtol=rel, atol=rel * q * L**2
    )
    for span, value in enumerate(expected["span_max_moment_over_qL2"]):
        inside = result.sample_span == span
        peak = result.rail_force[0, inside, moment].max()
        np.testing.assert_allclose(peak, value * q * L**2, rtol=rel)
    # the deepest sampled place is a fixed place or a moment peak, near but not at the deepest place
    deepest = sign * result.deflection[0, :, axis].max() if sign > 0 else -result.deflection[0, :, axis].min()
    exact = expected["w_max_EI_over_qL4"] * q * L**4 / EI
    assert 0.995 * exact < deepest < exact * (1.0 + 1e-4)


def read(case):
    inputs = case["inputs"]
    shift = inputs["x_start_mm"]
    clamps = (np.array(inputs["clamp_x_mm"]) - shift) / 1e3
    lines, points = [], []
    for load in inputs["loads"]:
        if load["type"] == "point":
            points.append(((load["x_mm"] - shift) / 1e3, load["P_N"]))
            continue
        ends = (np.array([load["x_a_mm"], load["x_b_mm"]]) - shift) / 1e3
        qa, qb = load["q_a_N_per_mm"] * 1e3, load["q_b_N_per_mm"] * 1e3
        pieces = 1 if qa == qb else PIECES
        edges = np.linspace(*ends, pieces + 1)
        middle = (np.arange(pieces) + 0.5) / pieces
        lines += list(zip(edges[:-1], edges[1:], qa + (qb - qa) * middle, strict=True))
    stiffness = inputs["clamp_k_N_per_mm"]
    if stiffness[0] != "rigid":
        stiffness = np.array(stiffness) * 1e3
    return {
        "clamps": clamps,
        "EI": inputs["EI_Nmm2"] * 1e-6,
        "length": (inputs["x_end_mm"] - shift) / 1e3,
        "lines": lines,
        "points": points,
        "GAs": inputs["GAs_N"] or np.inf,
        "stiffness": None if stiffness[0] == "rigid" else stiffness,
        "hinges": [(x - shift) / 1e3 for x in inputs["hinge_x_mm"]],
    }


TABLE = [name for name in CASES if name.startswith(("rail_unequal", "rail_12", "rail_41"))]


@pytest.mark.parametrize("direction", TOWARD)
@pytest.mark.parametrize("name", TABLE)
def test_rail_table(name, direction):
    case = CASES[name]
    expected, shift = case["expected"], case["inputs"]["x_start_mm"]
    problem = read(case)
    axis, sign, clamp_axis, moment = TOWARD[direction]
    probes = [((entry["x_mm"] - shift) / 1e3, entry["w_mm"]) for entry in expected["w_points"]]
    problem["points"] += [(s, 0.0) for s, _ in probes]
    result = solve(direction=direction, **problem)
    rel = case["tolerance"]["rel"]
    reactions = np.array(expected["reactions_N"])
    np.testing.assert_allclose(
        result.clamp_force[0, :, clamp_axis], reactions, rtol=rel, atol=rel * abs(reactions).max()
    )
    top = expected["M_max_abs_Nmm"] / 1e3
    moments = [at(result, s, "rail_force")[moment] for s in problem["clamps"]]
    np.testing.assert_allclose(moments, np.array(expected["M_at_clamps_Nmm"]) / 1e3, rtol=rel, atol=rel * top)
    np.testing.assert_allclose(np.abs(result.rail_force[0, :, moment]).max(), top, rtol=rel)
    for entry in expected["span_max_sagging"]:
        s = (entry["x_mm"] - shift) / 1e3
        near = np.abs(result.sample_s - s) < 0.02 * problem["length"]
        assert result.rail_force[0, near, moment].max() > entry["M_Nmm"] / 1e3 - rel * top
    w = np.array([w for _, w in probes]) / 1e3
    found = [sign * at(result, s, "deflection")[axis] for s, _ in probes]
    np.testing.assert_allclose(found, w, rtol=rel, atol=rel * abs(w).max())


def test_hetenyi_limit():
    """Discrete clamps close on the elastic foundation with the square of their spacing."""
    case = CASES["hetenyi_free_free_central_A"]
    inputs, expected = case["inputs"], case["expected"]
    length, EI, k = inputs["l_mm"] / 1e3, inputs["EI_Nmm2"] * 1e-6, inputs["k_foundation_N_per_mm2"] * 1e6
    errors = []
    for spans in (40, 80, 160):
        share = np.full(spans + 1, k * length / spans)
        share[[0, -1]] /= 2.0
        clamps = np.linspace(0.0, length, spans + 1)
        result = solve(clamps, EI, length, [], [(length / 2.0, inputs["P_N"])], "pull", stiffness=share)
        errors.append(
            [
                at(result, length / 2.0, "deflection")[2] / (expected["w_centre_mm"] / 1e3) - 1.0,
                at(result, length / 2.0, "rail_force")[4] / (expected["M_centre_Nmm"] / 1e3) - 1.0,
            ]
        )
    error = np.abs(errors)
    # measured order is the claim; the values themselves hold to the tolerance of the entry at the finest
    order = np.log2(error[:-1] / error[1:])
    assert (order[1] > 1.8).all(), order
    assert error[-1, 0] < case["tolerance"]["rel"]
    assert error[-1, 1] < 5e-3


def test_three_span_rail_above_seam():
    """Reactions, moment over the supports, deflection, and force times height at the grips."""
    case = DATA["three_span_rail"]
    inputs, outputs = case["inputs"], case["outputs"]
    L, q, EI, e = inputs["L_m"], inputs["w_kN_m"] * 1e3, inputs["EI_kNm2"] * 1e3, inputs["e_mm"] / 1e3
    clamps = np.arange(4) * L
    layout = make_layout([{"length": 3 * L, "clamps": clamps}])
    # the grips do not tip, so the rail stays a continuous beam on supports that do not move
    clamp = make_clamp([RIGID, RIGID, RIGID, 0.0, RIGID, 0.0], e)
    probe = np.linspace(0.0, L, 200)
    loads = make_loads([(0, 0.0, 3 * L, (0.0, -q, 0.0, 0.0))], [(0, s, np.zeros(6)) for s in probe])
    result = solve_frame(build_frame(layout, plain_rail(EI), clamp), loads)
    rel = case["rel"]
    along = result.clamp_force[0, :, 0]
    np.testing.assert_allclose(along, np.array(outputs["reactions_kN"]) * 1e3, rtol=rel)
    np.testing.assert_allclose(along.max(), outputs["max_clamp_force_kN"] * 1e3, rtol=rel)
    moments = [abs(at(result, s, "rail_force")[5]) for s in clamps[1:3]]
    np.testing.assert_allclose(moments, np.array(outputs["support_moments_kNm"]) * 1e3, rtol=rel)
    np.testing.assert_allclose(
        -result.deflection[0, :, 1].min(), outputs["max_deflection_mm"] / 1e3, rtol=rel
    )
    overturning = result.clamp_force[0, :, 4]
    np.testing.assert_allclose(overturning.max(), outputs["clamp_overturning_kNm"] * 1e3, rtol=rel)
    np.testing.assert_allclose(overturning, e * along, rtol=1e-9)
