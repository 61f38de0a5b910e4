"""Answers to the open check values of EN 1991-1-3 and NBCC 2020, from roofs of parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from benchmarks.verification.open_checks import (
    KPA,
    LONG,
    Answer,
    Answers,
    at,
    flat,
    gable,
    loads,
    mean,
    named,
    plans,
    rectangle,
    shed,
    symbols,
    with_box,
    with_parapet,
)
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.inputs import EnSite, NbccSite
from roofmodel.snow.registry import snow_cases
from roofmodel.snow.standing import standing_loads
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Given = Mapping[str, Any]


def en_site(given: Given, **more: Any) -> EnSite:
    """Site of a row; C_e and C_t are 1.0 where it says nothing."""
    values: dict[str, Any] = {
        "ground_snow": given["sk_kPa"] * KPA,
        "exposure_factor": given.get("Ce", 1.0),
        "thermal_factor": given.get("Ct", 1.0),
    }
    return EnSite(**(values | more))


def duopitch(given: Given) -> Answer:
    """O-15: three arrangements."""
    roof = build_roof([gable(6.0, given["alpha1_deg"], given["alpha2_deg"])])
    snow = snow_cases(roof, en_site(given))
    found = {}
    for key, name in (
        ("i", "balanced"),
        ("ii", "unbalanced, wind toward N"),
        ("iii", "unbalanced, wind toward S"),
    ):
        case = named(snow, name)
        found[f"s_{key}_kPa"] = [mean(roof, case, plane) / KPA for plane in ("S1", "N1")]
    return found


def shape_factors(given: Given) -> Answer:
    """O-19: mu_1 from the balanced load of a roof with unequal pitches."""
    roof = build_roof([gable(6.0, given["alpha1"], given["alpha2"])])
    case = named(snow_cases(roof, EnSite(ground_snow=KPA)), "balanced")
    return {"mu1_undrifted": [mean(roof, case, plane) / KPA for plane in ("S1", "N1")]}


def abutting(given: Given) -> Answer:
    """O-16, O-44: drift and slide below a taller roof."""
    heights = given["h_m"] if isinstance(given["h_m"], list) else [given["h_m"]]
    found: list[dict[str, float]] = []
    for height in heights:
        upper = gable(0.5 * given["b1_m"], given["alpha_upper_deg"], eave=3.0 + height)
        roof = build_roof([upper, flat(given["b2_m"], y=-given["b2_m"])])
        case = named(snow_cases(roof, en_site(given)), "drift below S1")
        drift = symbols(case, "drift below")
        wall, end = at(roof, case, "F1", -1e-9, -drift["l_s"] - 1e-6)
        found.append(
            {
                "muw_uncapped": (drift["b_1"] + drift["b_2"]) / (2.0 * drift["h"]),
                "gamma_h_over_sk": drift["gamma"] * drift["h"] / drift["s_k"],
                "mu_s": drift["mu_s"],
                "mu_s_triangular": drift["mu_s"],
                "mu_w": drift["mu_w"],
                "mu2": wall / drift["s_k"],
                "s_kPa": wall / KPA,
                "s_wall_kPa": wall / KPA,
                "ls_m": drift["l_s"],
                "slid_load_kN_per_m": 0.5 * drift["mu_s"] * drift["s_k"] * drift["l_s"] / KPA,
                "s_undrifted_kPa": end / KPA,
                "s_end_of_drift_kPa": end / KPA,
            }
        )
    if len(found) == 1:
        return found[0]
    several: dict[str, Any] = {key: [one[key] for one in found] for key in found[0]}
    return several | {key: found[0][key] for key in ("mu_s", "s_undrifted_kPa")}


def eaves_parapet(given: Given) -> Answer:
    """O-17: exceptional drift, Annex B."""
    roof = build_roof([gable(0.5 * given["b2_m"], 10.0, eave=6.0)])
    roof = with_parapet(roof, given["h_m"], (0.0, -1.0))
    case = named(snow_cases(roof, en_site(given, annex_b=True)), "exceptional drift at")
    drift = symbols(case, "exceptional")
    (load,) = at(roof, case, "S1", 1e-9)
    return {"ls_m": drift["l_s"], "mu1": load / drift["s_k"], "s_kPa": load / KPA}


def exceptional_boxes(given: Given) -> Answer:
    """O-18: a low obstruction, and one near the edge of a long roof."""
    found = {}
    site = en_site(given, annex_b=True)
    low = {"across": 40.0, "up": 20.0, "width": 4.0, "depth": 4.0, "height": given["a"]["h_m"]}
    near = {"across": 4.0, "up": 5.0, "width": 4.0, "depth": 3.0, "height": given["b"]["h_m"]}
    for key, sizes, deep in (("a", low, 40.0), ("b", near, 10.0)):
        roof = build_roof([flat(deep, length=80.0)])
        cases = snow_cases(with_box(roof, "F1", sizes), site).cases
        zones = [
            zone
            for case in cases
            if case.name.startswith("exceptional drift at")
            for zone in case.zones
            if key == "a" or abs({v.symbol: v.value for v in zone.values}["b_1"] - given["b"]["b1_m"]) < 1e-6
        ]
        corners = np.asarray(zones[0].polygon.exterior.coords)
        load = float((zones[0].pressure[0] + corners @ zones[0].pressure[1:]).max())
        found[key] = {"mu": load / site.ground_snow, "s_kPa": load / KPA}
    return found


def cylinder(given: Given) -> Answer:
    """O-40: a barrel vault."""
    span = float(given["b_m"])
    part = RoofPart("vault", rectangle(LONG, span), rise=float(given["h_m"]), facets=96)
    roof = build_roof([part])
    snow = snow_cases(roof, en_site(given))
    case = named(snow, "drifted on vault")
    values = symbols(case, "drifted snow")
    peaks = sorted(max(one) for one in _halves(roof, case))
    (vault,) = roof.vaults
    return {
        "mu3": values["mu_3"],
        "undrifted_kPa": loads(roof, named(snow, "balanced")).sum() / (LONG * span) / KPA,
        "drift_peaks_kPa": [one / KPA for one in peaks],
        "springing_slope_deg": np.degrees(float(vault.slope_at(np.array(0.5 * span)))),
        "ls_m": values["l_s"],
        "total_drift_kN_per_m": loads(roof, case).sum() / LONG / KPA,
    }


def _halves(roof: RoofSurface, case: Any) -> list[list[float]]:
    """Pressures at the corners of the zones on both sides of a vault's crown. [Pa]."""
    middle = np.mean([one.bounds[3] for one in plans(roof)])
    sides: list[list[float]] = [[], []]
    for zone in case.zones:
        corners = np.asarray(zone.polygon.exterior.coords)
        sides[int(zone.polygon.centroid.y > middle)] += (
            zone.pressure[0] + corners @ zone.pressure[1:]
        ).tolist()
    return sides


def multi_span(given: Given) -> Answer:
    """O-41: two gables side by side."""
    first, second = given["alpha1_deg"], given["alpha2_deg"]
    roof = build_roof([gable(6.0, first), gable(6.0, second, y=12.0)])
    snow = snow_cases(roof, en_site(given))
    order = np.argsort([one.centroid.y for one in plans(roof)])
    names = [roof.planes.name[i] for i in order]
    case, rest = named(snow, "snow in the valleys"), named(snow, "balanced")
    (valley,) = at(roof, case, names[1], 12.0 - 1e-9)
    return {
        "undrifted_kPa": [mean(roof, rest, name) / KPA for name in names[1:3]],
        "valley_mu2": valley / (given["sk_kPa"] * KPA),
        "valley_kPa": valley / KPA,
        "outer_kPa": [mean(roof, case, name) / KPA for name in (names[0], names[3])],
    }


def overhang(given: Given) -> Answer:
    """O-42: snow that hangs over an eave."""
    roof = build_roof([shed(6.0, 10.0)])
    (found,) = standing_loads(roof, EnSite(ground_snow=given["s_kPa"] * KPA / 0.8))
    values = {value.symbol: value.value for value in found.values}
    depth = values["s"] / values["gamma"]
    return {
        "d_m": depth,
        "k": found.value * values["gamma"] / values["s"] ** 2,
        "Se_kN_per_m": found.value / KPA,
    }


def return_period(given: Given) -> Answer:
    """O-43: Annex D."""
    roof, site = build_roof([shed(6.0, 20.0)]), en_site(given)
    rarer = replace(site, return_period=float(given["years"]), variation=given["V"])
    full, part = (snow_cases(roof, one).cases[0] for one in (site, rarer))
    return {
        "sn_kPa": symbols(part, "")["s_k"] / KPA,
        "ratio": mean(roof, part, "S1") / mean(roof, full, "S1"),
    }


def obstruction(given: Given) -> Answer:
    """O-45: drift at a parapet."""
    roof = with_parapet(build_roof([flat(20.0)]), given["h_m"], (0.0, 1.0))
    snow = snow_cases(roof, en_site(given))
    case = named(snow, "drift at parapet")
    drift = symbols(case, "drift at")
    (load,) = at(roof, case, "F1", 20.0 - 1e-9)
    added = loads(roof, case).sum() - loads(roof, named(snow, "balanced")).sum()
    return {
        "mu2": load / drift["s_k"],
        "ls_m": drift["l_s"],
        "s_kPa": load / KPA,
        "added_triangle_kN_per_m": added / LONG / KPA,
    }


def nbcc(ground: float, rain: float = 0.0, **more: Any) -> NbccSite:
    """Site in kPa, normal importance, not slippery unless told."""
    values = {"importance": "normal", "slippery": False} | more
    return NbccSite(ground_snow=ground * KPA, associated_rain=rain * KPA, **values)


def code_factors(given: Given) -> Answer:
    """O-21: density, and C_s from the load."""
    roof = build_roof([shed(6.0, 20.0)])
    weights = [snow_cases(roof, nbcc(one)).cases[0].density * STANDARD_GRAVITY / KPA for one in given["Ss"]]
    found = []
    for slope, slippery in zip(given["slopes"], given["slippery"], strict=True):
        sloped = build_roof([shed(6.0, float(slope))])
        case = snow_cases(sloped, nbcc(2.0, slippery=slippery)).cases[0]
        found.append(mean(sloped, case, "S1") / (0.8 * 2.0 * KPA))
    return {"gamma": weights, "Cs": found}


def large_roof(given: Given) -> Answer:
    """O-46: C_b of the roof's size."""
    site = nbcc(2.0, wind_factor=given["Cw"])
    roof = build_roof([flat(float(given["l_m"]), length=float(given["w_m"]))])
    case = snow_cases(roof, site).cases[0]
    return {
        "lc_m": symbols(case, "")["l_c"],
        "Cb": mean(roof, case, "F1") / (2.0 * KPA),
    }


def bare_side(given: Given) -> Answer:
    """O-47: all snow on one side of a gable."""
    roof = build_roof([gable(6.0, float(given["slope_deg"]))])
    case = named(snow_cases(roof, nbcc(given["Ss"], given["Sr"])), "unbalanced, wind toward S")
    return {
        "Ca_loaded_side": (mean(roof, case, "S1") / KPA - given["Sr"]) / (given["Ss"] * given["Cb"]),
        "S_unbalanced_kPa": mean(roof, case, "S1") / KPA,
        "other_side_kPa": mean(roof, case, "N1") / KPA,
    }


def level_valley(given: Given) -> Answer:
    """O-48: two cases between parallel ridges."""
    half = 0.5 * given["b_m"]
    roof = build_roof([gable(half, 25.0), gable(half, 25.0, y=2.0 * half)])
    names = np.array(roof.planes.name)[np.argsort([one.centroid.y for one in plans(roof)])]
    snow = snow_cases(roof, nbcc(given["Ss"], given["Sr"]))
    found: dict[str, Any] = {}
    weights = []
    for key, word, brink in (("case2", "II", given["b_m"] / 4.0), ("case3", "III", given["b_m"] / 8.0)):
        case = named(snow, f"valley snow, case {word} of")
        near, far = at(roof, case, names[1], 2.0 * half - brink + 0.01, 2.0 * half - brink - 0.01)
        found[key] = {
            "Ca": [(one / KPA - given["Sr"]) / (0.8 * given["Ss"]) for one in (near, far)],
            "breaks_m": _breaks(case, 2.0 * half),
            "S_kPa": [near / KPA, far / KPA],
        }
        i = roof.planes.name.index(str(names[1]))
        weights.append(loads(roof, case)[i] / LONG / KPA - given["Sr"] * half)
    return found | {"snow_per_half_valley_kN_per_m": weights}


def _breaks(case: Any, valley: float) -> list[float]:
    """Far ends of the zones of valley snow south of a valley. [m]."""
    ends = {
        round(valley - zone.polygon.bounds[1], 6)
        for zone in case.zones
        if zone.polygon.bounds[3] > valley - 1e-6 > zone.polygon.bounds[1]
    }
    return sorted(ends)


REST: Answers = {
    "O-15": duopitch,
    "O-16": abutting,
    "O-17": eaves_parapet,
    "O-18": exceptional_boxes,
    "O-19": shape_factors,
    "O-21": code_factors,
    "O-40": cylinder,
    "O-41": multi_span,
    "O-42": overhang,
    "O-43": return_period,
    "O-44": abutting,
    "O-45": obstruction,
    "O-46": large_roof,
    "O-47": bare_side,
    "O-48": level_valley,
}
