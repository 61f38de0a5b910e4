"""Answers to the open check values of sliding force, rails and combinations, and what is only listed."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.verification.open_checks import (
    KPA,
    LONG,
    PLF,
    Answer,
    Answers,
    flat,
    loads,
    named,
    row_forces,
    shed,
    with_rows,
)
from benchmarks.verification.rails import rail_on_rigid_clamps
from benchmarks.verification.screws import INCH, KIP, KSI, screws_of
from fea.checks.combinations import strength_factors
from fea.checks.screw_strength import ScrewRule, screw_strength
from fea.panel.restraint import free_travel
from fea.rails.loads import FrameResult
from fea.strength_tests.campaign import judge
from fea.strength_tests.fractiles import fractile_factor
from roofmodel.hardware import DesignFormat
from roofmodel.project.campaigns import load_campaign
from roofmodel.project.load import load_project
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.asce7_22 import FOOT, PSF
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone
from roofmodel.snow.inputs import DirectSite, EnSite, SnowLayer
from roofmodel.snow.regions import band, falling_pressure, uniform
from roofmodel.snow.registry import snow_cases
from viewer.starter import starter_text

Given = Mapping[str, Any]
WATER, ICE = 1000.0, 917.0  # [kg/m^3]

SEAM = """[seam]
lock = "double lock"
yield_strength = "320 MPa"
clip_stiffness = {{ across = "1 kN/mm", pull = "2 kN/mm" }}
clip_strength = "2 kN"
opening_strength = "15 N/mm"
strength_kind = "characteristic"
factor = 1.33
bearing = "deck"
temperature_change = "{change} K"

"""


CAMPAIGN = """[campaign]
name = "check"
[specimen]
clamp = "any"
direction = "along"
seam = "any"
seam_height = "32 mm"
metal = "steel"
thickness = "0.6 mm"
substrate = "any"
screw_torque = "13 N*m"
"""


def held(given: Given) -> tuple[EnSite, float]:
    """Site whose held snow, mu_1 = 0.8, weighs what a row says, and its pitch. [Pa], [degrees]."""
    return EnSite(ground_snow=given["s_kPa"] * KPA / 0.8), given["alpha_deg"]


def eave_row(given: Given) -> Answer:
    """O-30: a row at the eave of a shed."""
    site, pitch = held(given)
    roof = build_roof([shed(given["b_plan_m"], pitch)])
    case = named(snow_cases(roof, site, (0,)), "balanced")
    weight, slope = float(loads(roof, case)[0]), float(roof.planes.slope[0])
    square = weight / float(roof.planes.true_area[0]) / KPA
    return {
        "Fs_kN_per_m": row_forces(roof, case, with_rows(roof, "S1", 0.001))[0] / KPA,
        "weight_kN_per_m": weight / LONG / KPA,
        "normal_traction_kPa": square * np.cos(slope),
        "tangential_traction_kPa": square * np.sin(slope),
    }


def with_friction(given: Given) -> Answer:
    """O-31; the angle without force from forces a little above it."""
    site, pitch = held(given)

    def force(degrees: float, friction: float) -> float:
        roof = build_roof([shed(given["b_plan_m"], degrees)])
        case = named(snow_cases(roof, site, (0,)), "balanced")
        rows = with_rows(roof, "S1", 0.001)
        return float(row_forces(roof, case, rows, SlideOptions(friction=friction))[0])

    bare, rough = force(pitch, 0.0), force(pitch, given["mu"])
    low, high = 5.8, 6.0
    near, far = force(low, given["mu"]), force(high, given["mu"])
    return {
        "F_net_kN_per_m": rough / KPA,
        "friction_kN_per_m": (bare - rough) / KPA,
        "angle_of_no_force_deg": low - near * (high - low) / (far - near),
    }


def several_rows(given: Given) -> Answer:
    """O-32: two rows on one slope."""
    site, pitch = held(given)
    roof = build_roof([shed(given["ridge_m"], pitch)])
    case = named(snow_cases(roof, site, (0,)), "balanced")
    slope = float(roof.planes.slope[0])
    layout = with_rows(
        roof, "S1", *(float(one / np.cos(slope)) for one in given["row_positions_from_eave_m"])
    )
    found = row_forces(roof, case, layout) / KPA
    whole = float(loads(roof, case)[0]) * np.sin(slope) / LONG / KPA
    return {
        "F_rows_kN_per_m": found.tolist(),
        "below_lowest_row_sheds_m": (whole - found.sum()) / (given["s_kPa"] * np.sin(slope)),
        "sum_kN_per_m": found.sum(),
    }


def hip_end(given: Given) -> Answer:
    """O-33: a triangle of roof above a row."""
    site, pitch = held(given)
    wide = given["eave_B_m"]
    footprint = np.array([[0.0, 0.0], [LONG, 0.0], [LONG, wide], [0.0, wide]])
    roof = build_roof([RoofPart("hip", footprint, np.radians([pitch] * 4), 3.0)])
    end = next(
        name
        for name, one in zip(roof.planes.name, roof.planes.outline, strict=True)
        if len(one.exterior.coords) == 4
    )
    plane = roof.planes.name.index(end)
    case = named(snow_cases(roof, site, (plane,)), "balanced")
    layout = with_rows(roof, end, 0.001)
    _, force = slide(roof, (case,), layout, SlideOptions(strip_width=0.01))
    middle, line = force.span.mean(axis=1), -force.thrust[0, :, 1] / np.diff(force.span, axis=1)[:, 0]
    rising = middle < 0.49 * wide  # the force rises evenly from the corner to the middle
    law = np.polynomial.Polynomial.fit(middle[rising], line[rising], 1)
    corner, quarter, half = law(np.array([0.0, 0.25, 0.5]) * wide) / KPA
    return {
        "F_mid_kN_per_m": half,
        "F_quarter_kN_per_m": quarter,
        "F_corner_kN_per_m": corner,
        "total_kN": -force.thrust[0, :, 1].sum() / KPA,
    }


def arc(given: Given) -> Answer:
    """O-34: a vault of many facets, its springing at the slope of the row."""
    radius, rail = given["R_m"], np.radians(given["theta_rail_deg"])
    half = radius * np.sin(rail)
    footprint = np.array([[0.0, 0.0], [LONG, 0.0], [LONG, 2.0 * half], [0.0, 2.0 * half]])
    part = RoofPart("vault", footprint, rise=float(radius * (1.0 - np.cos(rail))), facets=200)
    roof = build_roof([part])
    case = named(snow_cases(roof, EnSite(ground_snow=given["s_kPa"] * KPA / 0.8)), "balanced")
    layout = with_rows(roof, roof.planes.name[0], 0.001)
    return {"F_tangential_kN_per_m": row_forces(roof, case, layout)[0] / KPA}


def drift_on_a_slope(given: Given) -> Answer:
    """O-57: snow given as zones, a triangle at the head of a shed on an even load."""
    run, width = given["run_ft"] * FOOT, given["w_ft"] * FOOT
    roof = build_roof([shed(run, given["theta_deg"])])
    head = np.array([[LONG, run], [0.0, run]])
    even = Zone("even", 0, flat_plan(run), uniform(given["ps_psf"] * PSF), "given", "p")
    peak = falling_pressure(head[0], np.array([0.0, -1.0]), given["pd_psf"] * PSF, width)
    drift = Zone("drift", 0, band(*head, 0.0, width), peak, "given", "p")
    case = SnowCase("drift", "given", LoadLevel.CHARACTERISTIC, (even, drift), 300.0)
    return {
        "weight_plf": loads(roof, case)[0] / LONG / PLF,
        "rail_force_plf": row_forces(roof, case, with_rows(roof, "S1", 0.001))[0] / PLF,
    }


def flat_plan(run: float) -> Any:
    """Plan of a shed. [m]."""
    return band(np.array([0.0, 0.0]), np.array([LONG, 0.0]), 0.0, run)


def measured_columns(given: Given) -> Answer:
    """O-23: a foot of dry snow, wet snow and ice as layers that were measured, and six inches of water."""
    roof, found, implied = build_roof([flat(6.0)]), {}, []

    def column(depth: float, mass: float) -> tuple[float, float]:
        """Weight and density of one layer. [psf], [kg/m^3]."""
        case = snow_cases(roof, DirectSite((SnowLayer(depth, mass, mass),))).cases[0]
        return loads(roof, case)[0] / float(roof.planes.plan_area[0]) / PSF, case.density

    for name, mass in (("dry_snow", 48.054), ("wet_snow", 336.38), ("ice", 913.03)):
        found[f"{name}_1ft_psf"], density = column(given["depth_ft"] * FOOT, mass)
        implied.append(density)
    # An inch of water as the ice that it would make: the program takes layers as dense as ice, not denser.
    water, _ = column(given["water_in"] / 12.0 * FOOT * WATER / ICE, ICE)
    return found | {"implied_density_kg_m3": implied, "water_load_psf": water, "published_psf": water}


def rail_in_three_spans(given: Given) -> Answer:
    """O-49: a continuous rail on clamps that only hold."""
    found = rail_on_rigid_clamps(
        given["spans"], given["L_m"], given["w_kN_m"] * KPA, given["EI_kNm2"] * KPA, given["e_mm"] / 1000.0
    )
    along = np.abs(found.clamp_force[0, :, 0]) / KPA
    inner = given["L_m"] * np.arange(1, given["spans"])
    moment = np.abs(found.rail_force[0, :, 5])
    held = [moment[np.isclose(found.sample_s, place)].max() / KPA for place in inner]
    return {
        "support_moments_kNm": held,
        "reactions_kN": along.tolist(),
        "max_deflection_mm": _largest_deflection(found, given["L_m"]) * 1000.0,
        "max_clamp_force_kN": along.max(),
        "clamp_overturning_kNm": np.abs(found.clamp_force[0, :, 4]).max() / KPA,
    }


def _largest_deflection(found: FrameResult, span: float) -> float:
    """Largest deflection of the first span under an even load, between its stations too. [m]."""
    there = found.sample_s <= span * (1.0 + 1e-9)
    quartic = np.polynomial.Polynomial.fit(found.sample_s[there], found.deflection[0, there, 1], 4)
    return float(np.abs(quartic(np.linspace(0.0, span, 2001))).max())


def screw_joint(given: Given) -> Answer:
    """O-50: one screw through two sheets."""
    sheets = given["t_sheet_top_in"] * INCH, given["t2_in"] * INCH
    strengths = given["Fu1_ksi"] * KSI, given["Fu2_ksi"] * KSI
    screws = screws_of(sheets, strengths, given["d_in"] * INCH, given["dw_in"] * INCH)
    allowed, factored = (screw_strength(screws, rule) for rule in (ScrewRule.ASD, ScrewRule.LRFD))
    shear, out, over = allowed.shear[0], allowed.out[0], allowed.over[0]
    tension = [min(one.out[0].design, one.over[0].design) for one in (allowed, factored)]
    found = {
        "Pnv_kips": shear.nominal, "Pnot_kips": out.nominal, "Pnov_kips": over.nominal,
        "Pnt_kips": min(out.nominal, over.nominal), "ASD_shear": shear.design, "ASD_tension": tension[0],
        "LRFD_shear": factored.shear[0].design, "LRFD_tension": tension[1],
    }  # fmt: skip
    return {name: value / KIP for name, value in found.items()}


def warm_panel(given: Given) -> Answer:
    """O-51: the free end of a strip that is fixed at its ridge, through a project file."""
    text = starter_text("shed", "SI")
    begin = text.index("[rail]")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "project.toml"
        path.write_text(text[:begin] + SEAM.format(change=given["dT"]) + text[begin:], encoding="utf-8")
        detail = load_project(path).seam
    assert detail is not None
    sheet = replace(detail.sheet, alpha=given["alpha_1e6"] * 1e-6)
    length, eave = np.array([float(given["L_m"])]), np.zeros(1)
    way = free_travel(length, np.zeros(1, dtype=np.int64), eave, replace(detail, sheet=sheet))
    return {"dL_mm": float(way[0]) * 1000.0}


def combinations(given: Given) -> Answer:
    """O-58: what the program knows of these sums, without wind."""
    dead, snow = given["D_"], given["S"]
    known = {
        form: strength_factors(form, LoadLevel.CHARACTERISTIC, standard="ASCE/SEI 7-16")
        for form in (DesignFormat.LRFD, DesignFormat.ASD)
    }
    sums = {form: one.dead * dead + one.snow * snow for form, one in known.items()}
    return {"LRFD3": sums[DesignFormat.LRFD], "ASD3": sums[DesignFormat.ASD]}


def fractile_factors(given: Given) -> Answer:
    """O-24: factors of Table D1."""
    unknown, known = (fractile_factor(given["n"], known=known).tolist() for known in (False, True))
    return {"kn": unknown, "kn_known": known, "table": unknown, "table_known": known}


def evaluated_tests(given: Given) -> Answer:
    """O-52: five tests, through campaign files of either distribution."""
    found, kN = {}, 1000.0
    for shape in ("normal", "lognormal"):
        tests = "".join(
            f'[[test]]\nname = "T{i}"\nstrength = "{force} kN"\n' for i, force in enumerate(given["R_kN"])
        )
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tests.toml"
            path.write_text(
                CAMPAIGN + f'[method]\nconnection = "screws"\ndistribution = "{shape}"\n{tests}',
                encoding="utf-8",
            )
            one = judge(load_campaign(path)).justified
        assert one.factor is not None
        found[f"Rk_5pc_{shape}_kN"] = one.characteristic / kN
        found |= {
            "mean_kN": one.sample.mean / kN,
            "sd_kN": one.sample.deviation / kN,
            "V": one.scatter,
            "kn": one.k,
            "CP": one.factor.correction,
            "VP_used": one.factor.professional_scatter,
            "AISI_phi": one.factor.phi,
            "AISI_Omega": one.factor.omega,
            "AISI_allow_kN": one.asd / kN,
        }
    return found


MECHANICS: Answers = {
    "O-23": measured_columns,
    "O-24": fractile_factors,
    "O-30": eave_row,
    "O-31": with_friction,
    "O-32": several_rows,
    "O-33": hip_end,
    "O-34": arc,
    "O-49": rail_in_three_spans,
    "O-50": screw_joint,
    "O-51": warm_panel,
    "O-52": evaluated_tests,
    "O-57": drift_on_a_slope,
    "O-58": combinations,
}

WIND = "the program knows dead load, snow and temperature; add wind by hand where it pushes the same way"
LISTED: dict[str, dict[str, str]] = {
    "O-19": {
        "mu1_drifted_UK": "coefficients of a national annex, up to half more than the standard's; `snow` says"
        " to add them by hand"
    },
    "O-54": {
        "*": "creep pressure of deep snow on walls across a slope, a rule for avalanche defenses, an upper"
        " bound and no rule for roofs"
    },
    "O-58": {
        "LRFD3": f"{WIND}; 0.5 W = 0.25 is missing from ours and nothing else",
        "LRFD4": f"{WIND}; 0.5 S here is less than in LRFD3",
        "ASD6": f"{WIND}; 0.75 S here is less than in ASD3",
    },
}
