"""Answers to the open check values of ASCE/SEI 7, from roofs of parts under both editions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from shapely import Point

from benchmarks.verification.open_checks import (
    KPA,
    LONG,
    PLF,
    Answer,
    Answers,
    asce_16,
    asce_22,
    at,
    eave_force,
    flat,
    gable,
    loads,
    mean,
    named,
    plans,
    rectangle,
    shed,
    symbols,
    walled,
    with_parapet,
    with_rows,
)
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.thrust import slide
from roofmodel.sliding.tributary import row_depths
from roofmodel.snow.asce7_22 import FOOT, PCF, PSF
from roofmodel.snow.inputs import Asce16Site, AsceSite
from roofmodel.snow.registry import snow_cases
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Given = Mapping[str, Any]


def slope_factor(roof: RoofSurface, site: AsceSite | Asce16Site) -> float:
    """C_s of the balanced load on the south plane."""
    case = named(snow_cases(roof, site), "balanced")
    return mean(roof, case, "S1") / symbols(case, "balanced snow on S1")["p_f"]


def pitched(given: Given) -> RoofSurface:
    """Gable of a row with rise_per_12 and W_ft."""
    degrees = float(np.degrees(np.arctan(given["rise_per_12"] / 12.0)))
    return build_roof([gable(given["W_ft"] * FOOT, degrees)])


def flat_load(given: Given) -> Answer:
    """O-01; C_e from the terrain and exposure of the row."""
    site = asce_16(given, terrain=given["roughness"], exposure=given["roof"], exposure_factor=None)
    roof = build_roof([shed(6.0, 10.0)])
    return {"pf_psf": mean(roof, named(snow_cases(roof, site), "balanced"), "S1") / PSF}


def warm_slope(given: Given) -> Answer:
    """O-02."""
    roof = build_roof([gable(6.0, float(np.degrees(np.arctan(given["rise_per_12"] / 12.0))))])
    found = slope_factor(roof, asce_16(given))
    return {"Cs": found, "Cs_published": found}


def density(given: Given) -> Answer:
    """O-03; both editions must agree."""
    roof, found = build_roof([gable(6.0, 25.0)]), []
    for ground in given["pg_psf"]:
        both = [
            snow_cases(roof, site).cases[0].density * STANDARD_GRAVITY / PCF
            for site in (asce_16({"pg_psf": ground}), asce_22({"pg_psf": ground}))
        ]
        found.append(both[0] if both[0] == both[1] else float("nan"))
    return {"gamma_pcf": found}


def leeward(given: Given) -> Answer:
    """O-05, O-09, O-11: drift below a step."""
    site = asce_22(given) if "W2" in given else asce_16(given)
    wall, run = given["step_ft"] * FOOT, given.get("lower_roof_ft", 60.0) * FOOT
    roof = build_roof(walled(given["lu_ft"] * FOOT, wall, run))
    case = named(snow_cases(roof, site), "leeward drift")
    lower = roof.planes.name[roof.steps.lower[0]]
    drift, rest = symbols(case, "leeward drift"), symbols(case, f"balanced snow on {lower}")
    (top,) = at(roof, case, lower, -1e-9)
    return {
        "Ct": rest["C_t"],
        "pf_psf": rest["p_f"] / PSF,
        "gamma_pcf": drift["gamma"] / PCF,
        "hd_ft": drift["h_d"] / FOOT,
        "hb_ft": drift["h_b"] / FOOT,
        "hc_ft": drift["h_c"] / FOOT,
        "w_ft": drift["w"] / FOOT,
        "pd_psf": drift["p_d"] / PSF,
        "p_max_psf": top / PSF,
        "published_p_max_psf": top / PSF,
    }


def unbalanced(given: Given) -> Answer:
    """O-06, O-07, O-36: what the wind takes across a ridge."""
    site, roof = asce_22(given) if "W2" in given else asce_16(given), pitched(given)
    snow = snow_cases(roof, site)
    case, balanced = named(snow, "unbalanced, wind toward S"), named(snow, "balanced")
    lee = symbols(case, "leeward surcharge")
    south, north = loads(roof, case) / LONG
    run = given["W_ft"] * FOOT
    rest = mean(roof, balanced, "S1") * run
    return {
        "gamma_pcf": lee["gamma"] / PCF,
        "ps_psf": rest / run / PSF,
        "hd_ft": lee["h_d"] / FOOT,
        "published_hd_ft": lee["h_d"] / FOOT,
        "surcharge_psf": lee["surcharge"] / PSF,
        "published_surcharge_psf": lee["surcharge"] / PSF,
        "extent_from_ridge_ft": lee["extent"] / FOOT,
        "published_extent_ft": lee["extent"] / FOOT,
        "extent_ft": lee["extent"] / FOOT,
        "windward_psf": north / run / PSF,
        "leeward_weight_plf": south / PLF,
        "rail_force_leeward_plf": eave_force(roof, case, "S1") / PLF,
        "rail_force_windward_plf": eave_force(roof, case, "N1") / PLF,
        "rail_force_balanced_plf": eave_force(roof, balanced, "S1") / PLF,
        "surcharge_volume_check_psf_ft": (south - rest) / PLF,
        "hd2_gamma_8_3": 8.0 / 3.0 * lee["h_d"] ** 2 * lee["gamma"] / PLF,
    }


def thermal(given: Given) -> Answer:
    """O-08: C_t of heated roofs from their load."""
    roof, found = build_roof([gable(6.0, 25.0)]), []
    for ground, r_value in given["pg_Rroof"]:
        case = named(snow_cases(roof, asce_22({"pg_psf": ground, "Rroof": r_value})), "balanced")
        found.append(mean(roof, case, "S1") / (0.7 * ground * PSF))
    return {"Ct": found}


def parapet(given: Given) -> Answer:
    """O-10: short fetch, height cut by the parapet."""
    depth = given["lu_ft"] * FOOT
    roof = with_parapet(build_roof([flat(depth)]), given["parapet_ft"] * FOOT, (0.0, 1.0))
    case = named(snow_cases(roof, asce_16(given)), "drift at parapet")
    drift, rest = symbols(case, "drift at"), symbols(case, "balanced")
    (top,) = at(roof, case, "F1", depth - 1e-9)
    return {
        "pf_psf": rest["p_f"] / PSF,
        "gamma_pcf": drift["gamma"] / PCF,
        "hd_ft": drift["h_d"] / FOOT,
        "h_drift_ft": 0.75 * drift["h_d"] / FOOT,
        "hc_ft": drift["h_c"] / FOOT,
        "h_used_ft": drift["height"] / FOOT,
        "w_ft": drift["w"] / FOOT,
        "pd_psf": drift["p_d"] / PSF,
        "p_max_psf": top / PSF,
    }


def no_drift(given: Given) -> Answer:
    """O-12: a parapet that the balanced snow nearly covers."""
    roof = with_parapet(build_roof([flat(given["lu_ft"] * FOOT)]), given["parapet_ft"] * FOOT, (0.0, 1.0))
    snow = snow_cases(roof, asce_22(given))
    case = named(snow, "balanced")
    load = mean(roof, case, "F1")
    depth = load / (case.density * STANDARD_GRAVITY) / FOOT
    clear = given["parapet_ft"] - depth
    there = [one for one in snow.cases if one.name.startswith("drift at")]
    return {
        "pf_psf": load / PSF,
        "hb_ft": depth,
        "hc_ft": clear,
        "ratio": clear / depth,
        "drift": float(len(there)),
    }


def r_value_gate(given: Given) -> Answer:
    """O-13: heat insulation that lets slippery warm roofs shed."""
    roof = build_roof([gable(6.0, given["theta_deg"])])
    values = [30.0 if met else None for met in given["R_gate_met"]]
    return {"Cs": [slope_factor(roof, asce_16(given, roof_r_value=value)) for value in values]}


def cold_slippery(given: Given) -> Answer:
    """O-14: steeper than unbalanced loads are asked for."""
    roof = pitched(given)
    snow = snow_cases(roof, asce_22(given))
    case = named(snow, "balanced")
    load = mean(roof, case, "S1")
    return {
        "theta_deg": float(np.degrees(roof.planes.slope[0])),
        "Cs": symbols(case, "balanced snow on S1")["C_s"],
        "pf_psf": symbols(case, "balanced snow on S1")["p_f"] / PSF,
        "ps_psf": load / PSF,
        "hb_ft": load / (case.density * STANDARD_GRAVITY) / FOOT,
        "unbalanced_required": any(one.name.startswith("unbalanced") for one in snow.cases),
    }


def cold_slope(given: Given) -> Answer:
    """O-25."""
    found = slope_factor(build_roof([gable(6.0, given["theta_deg"])]), asce_16(given))
    return {"Cs": found, "published": found}


def held_or_free(given: Given) -> Answer:
    """O-35: a row at the eave under the load of held and of free snow."""
    roof, site = pitched(given), asce_16(given)
    free, held = (named(snow_cases(roof, site, planes), "balanced") for planes in ((), (0, 1)))
    force = eave_force(roof, held, "S1")
    return {
        "theta_deg": float(np.degrees(roof.planes.slope[0])),
        "pf_psf": symbols(free, "balanced")["p_f"] / PSF,
        "Cs_unobstructed": slope_factor(roof, site),
        "rail_force_plf_with_obstructed_surface_Cs": force / PLF,
        "rail_force_plf_Cs1": force / PLF / symbols(held, "balanced")["C_s"],
        "rail_force_kN_per_m_Cs1": force / KPA / symbols(held, "balanced")["C_s"],
        "rail_force_plf_if_slippery_Cs_wrongly_used": eave_force(roof, free, "S1") / PLF,
    }


def sliding(given: Given) -> Answer:
    """O-37: on a short and on a long lower roof."""
    site = asce_16({"pg_psf": given["pf_psf"] / 0.7})
    wall, caught = given["step_ft"] * FOOT, []
    for lower in (given["lower_width_ft"] * FOOT, 30.0 * FOOT):
        upper = gable(given["W_ft"] * FOOT, 20.0, eave=3.0 + wall)
        roof = build_roof([upper, flat(lower, y=-lower)])
        snow = snow_cases(roof, site)
        slid, rest = named(snow, "sliding from S1"), named(snow, "balanced")
        i = int(roof.steps.lower[0])
        caught.append((loads(roof, slid)[i] - loads(roof, rest)[i]) / LONG / PLF)
        (zone,) = [one for one in slid.zones if one.name.startswith("snow that slid")]
        if len(caught) == 1:
            width = zone.polygon.area / LONG / FOOT
            pressure = zone.pressure[0] / PSF
    return {
        "SL_plf": caught[1],
        "on_lower_plf": caught[0],
        "width_ft": width,
        "pressure_psf": pressure,
    }


def curved(given: Given) -> Answer:
    """O-38: a barrel vault of many facets."""
    span, rise = given["span_ft"] * FOOT, given["rise_ft"] * FOOT
    roof = build_roof([RoofPart("vault", rectangle(LONG, span), eave_height=4.0, rise=rise, facets=200)])
    (vault,) = roof.vaults
    snow = snow_cases(roof, asce_16(given))
    case = next(one for one in snow.cases if one.name.startswith("unbalanced on vault"))
    lee = symbols(case, "unbalanced snow")
    half, middle = 0.5 * span, lee["x_30"]
    zones = [one for one in case.zones if one.name.startswith("unbalanced snow")]
    sign = np.sign(np.mean([one.polygon.centroid.y for one in zones]) - half)

    def load(x: float) -> float:
        spot = np.array([1.0, 0.5 * LONG, half + sign * x])
        here = [one.pressure @ spot for one in zones if one.polygon.buffer(1e-9).covers(Point(*spot[1:]))]
        return float(max(here)) / PSF

    balanced = named(snow, "balanced")
    outer = [mean(roof, balanced, roof.planes.name[i]) / PSF for i in (vault.plane[0], vault.plane[-1])]
    eave = float(vault.slope_at(np.array(half)))
    return {
        "R_ft": vault.radius / FOOT,
        "eave_slope_deg": np.degrees(eave),
        "chord_angle_deg": np.degrees(np.arctan2(vault.rise_to(half), half)),
        "pf_psf": lee["p_f"] / PSF,
        "Cs_eave": lee["C_s,eave"],
        "balanced_eave_psf": min(outer),
        "unb_crown_psf": load(1e-6),
        "case": 1 + (eave > np.radians(30.0)) + (eave > np.radians(70.0)),
        "x30_from_crown_ft": middle / FOOT,
        "unb_30deg_psf": load(middle),
        "unb_eave_psf": load(half - 1e-6),
    }


def folded(given: Given) -> Answer:
    """O-39: two gables side by side."""
    run = given["ridge_to_valley_ft"] * FOOT
    degrees = float(np.degrees(np.arctan(given["rise_ft"] / given["ridge_to_valley_ft"])))
    roof = build_roof([gable(run, degrees), gable(run, degrees, y=2.0 * run)])
    case = named(snow_cases(roof, asce_16(given)), "unbalanced, snow in level valleys")
    i = int(np.argmin([abs(one.centroid.y - 1.5 * run) for one in plans(roof)]))
    name = roof.planes.name[i]
    ridge, valley = (one / PSF for one in at(roof, case, name, run + 1e-9, 2.0 * run - 1e-9))
    weight = case.density * STANDARD_GRAVITY / PCF
    return {
        "ridge_psf": ridge,
        "valley_psf": valley,
        "depth_valley_ft": valley / weight,
        "depth_ridge_ft": ridge / weight,
        "valley_psf_limited": valley,
        "mean_psf": mean(roof, case, name) / PSF,
        "limited": abs(valley - 2.0 * given["pf_psf"] / given["Ce"]) > 1e-6 * valley,
    }


def depth_at_row(given: Given) -> Answer:
    """O-53: a load of 35 psf on a ground that gives 0.7 x 50 psf."""
    roof = build_roof([gable(6.0, given["theta_deg"])])
    case = named(snow_cases(roof, asce_16(given), (0,)), "balanced")
    layout = with_rows(roof, "S1", 0.5)
    _, force = slide(roof, (case,), layout)
    (deep,) = row_depths(roof, layout, force, case) / FOOT
    vertical = mean(roof, case, "S1") / (case.density * STANDARD_GRAVITY) / FOOT
    return {
        "gamma_pcf": case.density * STANDARD_GRAVITY / PCF,
        "depth_vertical_ft": vertical,
        "depth_normal_ft": deep,
        "rail_fraction": given["rail_height_in"] / 12.0 / deep,
    }


def cut_drift(given: Given) -> Answer:
    """O-55: a drift wider than the roof below."""
    ground = given["pg_psf"]
    balanced = 0.7 * ground / (0.13 * ground + 14.0)
    wall, lower = (given["hc_ft"] + balanced) * FOOT, given["lower_ft"] * FOOT
    roof = build_roof(walled(given["lu_ft"] * FOOT, wall, lower))
    snow = snow_cases(roof, asce_16(given))
    case, rest = named(snow, "leeward drift"), named(snow, "balanced")
    drift = symbols(case, "leeward drift")
    i = int(roof.steps.lower[0])
    name = roof.planes.name[i]
    far = at(roof, case, name, 1e-9 - lower)[0] - at(roof, rest, name, 1e-9 - lower)[0]
    return {
        "hd_ft": drift["h_d"] / FOOT,
        "h_ft": drift["height"] / FOOT,
        "w_ft": drift["w"] / FOOT,
        "pd_wall_psf": drift["p_d"] / PSF,
        "surcharge_at_far_edge_psf": far / PSF,
        "drift_weight_on_roof_plf": (loads(roof, case)[i] - loads(roof, rest)[i]) / LONG / PLF,
    }


def apart(given: Given) -> Answer:
    """O-56: the lower roof stands away from the wall."""
    gap = given["s_ft"] * FOOT
    roof = build_roof(walled(given["lu_ft"] * FOOT, given["h_ft"] * FOOT, 60.0 * FOOT, gap))
    snow = snow_cases(roof, asce_16(given))
    there = any(one.name.startswith("leeward drift") for one in snow.cases)
    drift = symbols(named(snow, "leeward drift"), "leeward drift")
    return {
        "applies": there,
        "hd_ft": drift["height"] / FOOT,
        "w_ft": drift["w"] / FOOT,
        "pd_psf": drift["p_d"] / PSF,
    }


ASCE: Answers = {
    "O-01": flat_load,
    "O-02": warm_slope,
    "O-03": density,
    "O-05": leeward,
    "O-06": unbalanced,
    "O-07": unbalanced,
    "O-08": thermal,
    "O-09": leeward,
    "O-10": parapet,
    "O-11": leeward,
    "O-12": no_drift,
    "O-13": r_value_gate,
    "O-14": cold_slippery,
    "O-25": cold_slope,
    "O-35": held_or_free,
    "O-36": unbalanced,
    "O-37": sliding,
    "O-38": curved,
    "O-39": folded,
    "O-53": depth_at_row,
    "O-55": cut_drift,
    "O-56": apart,
}
