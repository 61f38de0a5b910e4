"""Collected check values of mechanics, through roofs, snow and rows: tests/data/snow_checks.json."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.rails.frame import solve_frame
from fea.rails.rows import build_frame
from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from tests.frame.rails import make_clamp, make_layout, make_loads, plain_rail
from tests.sliding.roofs import force_per_row, line_force, rectangle, rows, uniform

CHECKS = {
    case["id"]: case
    for case in json.loads((Path(__file__).parents[1] / "data" / "snow_checks.json").read_text())["cases"]
}


def check(name):
    return CHECKS[name]["inputs"], CHECKS[name]["outputs"], CHECKS[name]["tol_rel"]


def shed(length, run, pitch):
    return build_roof([RoofPart("shed", rectangle(length, run), np.radians([pitch]), 3.0, np.pi)])


def test_friction():
    """O-31: s b (sin - mu cos), and no force below arctan(mu)."""
    known, out, tol = check("O-31")
    length, run = 10.0, known["b_plan_m"]
    roof = shed(length, run, known["alpha_deg"])
    layout = rows(roof, {"plane": "S1", "up": "0.001 m"})
    case = uniform(roof, 1000.0 * known["s_kPa"])
    bare, rough = (
        force_per_row(layout, slide(roof, (case,), layout, SlideOptions(friction=mu))[1])[0] / length
        for mu in (0.0, known["mu"])
    )
    assert rough == pytest.approx(1000.0 * out["F_net_kN_per_m"], rel=tol)
    assert bare - rough == pytest.approx(1000.0 * out["friction_kN_per_m"], rel=tol)
    for degrees, holds in (
        (out["angle_of_no_force_deg"] - 0.05, True),
        (out["angle_of_no_force_deg"] + 0.05, False),
    ):
        flat = shed(length, run, degrees)
        there = rows(flat, {"plane": "S1", "up": "0.001 m"})
        force = slide(flat, (uniform(flat, 1600.0),), there, SlideOptions(friction=known["mu"]))[1]
        assert (force_per_row(there, force)[0] == 0.0) == holds


def test_hip_end():
    """O-33: a triangle of snow on the row, the most in its middle, nothing at the corners."""
    known, out, tol = check("O-33")
    wide, deep = known["eave_B_m"], known["plan_depth_m"]
    roof = build_roof([RoofPart("hip", rectangle(30.0, wide), np.radians([known["alpha_deg"]] * 4), 3.0)])
    plane = next(
        n for n, o in zip(roof.planes.name, roof.planes.outline, strict=True) if len(o.exterior.coords) == 4
    )
    assert deep == pytest.approx(0.5 * wide)
    layout = rows(roof, {"plane": plane, "up": "0.001 m"})
    _, force = slide(roof, (uniform(roof, 1000.0 * known["s_kPa"]),), layout, SlideOptions(strip_width=0.05))
    assert force_per_row(layout, force)[0] == pytest.approx(1000.0 * out["total_kN"], rel=2.0 * tol)
    s, line = line_force(force, 0)
    at = np.interp([0.5 * wide, 0.25 * wide], s, line)
    assert at == pytest.approx([1000.0 * out["F_mid_kN_per_m"], 1000.0 * out["F_quarter_kN_per_m"]], rel=0.01)
    assert line[0] < 0.02 * at[0]


def test_return_period():
    """O-43: s_n for 5 years and V = 0.3 is 0.684 s_k, EN 1991-1-3 Annex D."""
    known, out, tol = check("O-43")
    site = EnSite(ground_snow=1000.0 * known["sk_kPa"])
    roof = shed(10.0, 8.0, 20.0)
    less = replace(site, return_period=float(known["years"]), variation=known["V"])
    full, part = (snow_cases(roof, s).cases[0].zones[0] for s in (site, less))
    assert part.pressure[0] / full.pressure[0] == pytest.approx(out["ratio"], rel=tol)
    ground = {v.symbol: v.value for v in part.values}["s_k"]
    assert ground == pytest.approx(1000.0 * out["sn_kPa"], rel=tol)
    with pytest.raises(InputError, match="go together"):
        snow_cases(roof, replace(site, return_period=20.0))


def test_continuous_rail():
    """O-49: three spans by the three-moment equation on clamps that only hold; force times height below."""
    known, out, _ = check("O-49")
    span, line, height = known["L_m"], 1000.0 * known["w_kN_m"], known["e_mm"] / 1000.0
    places = [i * span for i in range(known["spans"] + 1)]
    layout = make_layout([{"length": places[-1], "clamps": places}])
    clamp = replace(make_clamp([1e11, 1e11, 1e11, 1e3, 1e11, 0.0]), height=height)
    rail = plain_rail(1000.0 * known["EI_kNm2"])
    found = solve_frame(
        build_frame(layout, rail, clamp), make_loads([(0, 0.0, places[-1], (0.0, -line, 0.0, 0.0))])
    )
    along = np.abs(found.clamp_force[0, :, 0])
    assert along == pytest.approx([1000.0 * r for r in out["reactions_kN"]], rel=2e-3)
    assert along.max() == pytest.approx(1000.0 * out["max_clamp_force_kN"], rel=2e-3)
    assert np.abs(found.clamp_force[0, :, 4]).max() == pytest.approx(
        1000.0 * out["clamp_overturning_kNm"], rel=2e-3
    )
    assert np.abs(found.deflection[0, :, 1]).max() == pytest.approx(
        out["max_deflection_mm"] / 1000.0, rel=5e-3
    )
