"""Barrel vaults: found among planes, loaded by each standard, against collected check values."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import shapely

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.thrust import slide
from roofmodel.snow.asce7_22 import FOOT, PSF
from roofmodel.snow.inputs import Asce16Site, EnSite, NbccSite
from roofmodel.snow.registry import snow_cases
from tests.sliding.roofs import force_per_row, rows
from tests.snow.snow_roofs import plane_force

CHECKS = {
    case["id"]: case
    for case in json.loads((Path(__file__).parents[1] / "data" / "snow_checks.json").read_text())["cases"]
}
SITES = [
    EnSite(ground_snow=1500.0),
    Asce16Site(ground_snow=40.0 * PSF, risk_category="II", slippery=False),
    NbccSite(ground_snow=2000.0, associated_rain=300.0, importance="normal", slippery=False),
]


def vault(span, rise, length=40.0, facets=24, turn=0.0, shift=(0.0, 0.0), eave=4.0):
    corners = np.array([[0.0, 0.0], [length, 0.0], [length, span], [0.0, span]])
    cos, sin = np.cos(turn), np.sin(turn)
    corners = corners @ np.array([[cos, sin], [-sin, cos]]) + shift
    return build_roof([RoofPart("vault", corners, eave_height=eave, rise=rise, facets=facets)])


def unbalanced(roof, site, retained=()):
    cases = snow_cases(roof, site, retained).cases
    return [case for case in cases if case.name.startswith(("drifted on vault", "unbalanced on vault"))]


def across(case, roof, place, lee):
    """Pressure at distances from the crown, positive on the side away from the wind. [Pa]."""
    (found,) = roof.vaults
    along = np.array([-found.across[1], found.across[0]])
    corners = np.concatenate([np.asarray(p.exterior.coords)[:, :2] for p in _plans(roof)])
    middle = 0.5 * ((corners @ along).min() + (corners @ along).max())
    out = []
    for x in place:
        at = (found.crown + lee * x) * found.across + middle * along
        point = shapely.Point(at)
        zones = [z for z in case.zones if z.polygon.buffer(1e-7).covers(point)]
        out.append(np.mean([z.pressure @ [1.0, *at] for z in zones]) if zones else 0.0)
    return np.array(out)


def _plans(roof):
    return [
        shapely.transform(outline, lambda uv, i=i: roof.planes.to_world(i, uv)[:, :2])
        for i, outline in enumerate(roof.planes.outline)
    ]


def lee_sign(case, roof):
    """On which side of the crown most of the load lies."""
    (found,) = roof.vaults
    weight = np.zeros(2)
    for zone in case.zones:
        center = shapely.centroid(zone.polygon)
        side = int((np.array([center.x, center.y]) @ found.across - found.crown) > 0.0)
        weight[side] += zone.polygon.area * (zone.pressure @ [1.0, center.x, center.y])
    return 1.0 if weight[1] > weight[0] else -1.0


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.5])
def test_a_vault_is_found_with_its_circle(turn):
    roof = vault(24.0, 3.0, turn=turn, shift=(30.0, -11.0))
    (found,) = roof.vaults
    assert len(found.plane) == roof.planes.count == 24
    assert found.span == pytest.approx(24.0)
    assert found.radius == pytest.approx((12.0**2 + 3.0**2) / 6.0)
    assert found.rise_to(12.0) == pytest.approx(3.0)
    assert found.top == pytest.approx(7.0)


def test_a_mansard_and_a_gable_are_no_vaults():
    gable = RoofPart(
        "gable", np.array([[0, 0], [20, 0], [20, 10], [0, 10]], float), np.radians([30, np.nan, 30, np.nan])
    )
    assert build_roof([gable]).vaults == ()
    ell = np.array([[0, 0], [20, 0], [20, 8], [8, 8], [8, 20], [0, 20]], float)
    assert build_roof([RoofPart("L", ell, np.radians([25.0] * 6), 3.0)]).vaults == ()


def test_en_cylinder():
    """Collected check O-40: h = 3, b = 24, s_k = 1.5: mu_3 = 1.45, peaks 1.0875 and 2.175, 19.575 kN/m."""
    known, out = CHECKS["O-40"]["inputs"], CHECKS["O-40"]["outputs"]
    roof = vault(known["b_m"], known["h_m"])
    site = EnSite(ground_snow=1000.0 * known["sk_kPa"])
    cases = unbalanced(roof, site)
    assert len(cases) == 2
    for case in cases:
        lee = lee_sign(case, roof)
        low, high = across(case, roof, [-6.0 + 1e-9, 6.0 - 1e-9], lee)
        assert [low, high] == pytest.approx([1000.0 * p for p in out["drift_peaks_kPa"]], rel=2e-3)
        assert across(case, roof, [-11.999, 0.0, 11.999], lee) == pytest.approx([0.0] * 3, abs=1.0)
        total = plane_force(roof, case).sum() / 40.0
        assert total == pytest.approx(1000.0 * out["total_drift_kN_per_m"], rel=2e-3)
    balanced = snow_cases(roof, site).cases[0]
    assert plane_force(roof, balanced).sum() == pytest.approx(1000.0 * out["undrifted_kPa"] * 24.0 * 40.0)


def test_no_snow_on_the_steep_foot_of_a_half_circle():
    """EN 5.3.5: nothing where the tangent is steeper than 60 degrees."""
    roof = vault(20.0, 10.0, facets=36)
    balanced = snow_cases(roof, EnSite(ground_snow=1000.0)).cases[0]
    width = plane_force(roof, balanced).sum() / (800.0 * 40.0)
    assert width == pytest.approx(2.0 * 10.0 * np.sin(np.radians(60.0)), rel=0.02)


def test_asce_curved_roof():
    """Collected check O-38: crown 8.66, at 30 degrees 38.5, at the eave 27.8 psf (ASCE 7-16 7.6.2)."""
    known, out = CHECKS["O-38"]["inputs"], CHECKS["O-38"]["outputs"]
    roof = vault(known["span_ft"] * FOOT, known["rise_ft"] * FOOT)
    site = Asce16Site(
        ground_snow=known["pg_psf"] * PSF,
        risk_category="III",
        slippery=False,
        exposure_factor=known["Ce"],
        thermal_factor=known["Ct"],
    )
    cases = unbalanced(roof, site)
    assert len(cases) == 2
    for case in cases:
        lee = lee_sign(case, roof)
        half, middle = 0.5 * known["span_ft"] * FOOT, out["x30_from_crown_ft"] * FOOT
        loads = across(case, roof, [1e-6, middle, half - 1e-6], lee) / PSF
        wanted = [out["unb_crown_psf"], out["unb_30deg_psf"], out["unb_eave_psf"]]
        assert loads == pytest.approx(wanted, rel=CHECKS["O-38"]["tol_rel"])
        assert not across(case, roof, [-1.0, -middle, 1e-3 - half], lee).any()


def test_flat_vaults_have_no_asce_unbalanced_case():
    """A line from eave to crown flatter than 10 degrees (7.6.2)."""
    snow = snow_cases(vault(24.0, 1.5), SITES[1])
    assert not [c for c in snow.cases if c.name.startswith("unbalanced")]
    assert any("outside 10 to 60" in why for _, why in snow.skipped)


def test_nbcc_arch():
    """C_a = x h / (0.03 C_b b^2) to h / b = 0.12; nothing on the other side (4.1.6.10.(3))."""
    roof = vault(30.0, 3.0)
    site = NbccSite(ground_snow=2000.0, associated_rain=0.0, importance="normal", slippery=False)
    cases = unbalanced(roof, site)
    assert len(cases) == 2
    (found,) = roof.vaults
    assert np.degrees(found.slope_at(np.array(15.0))) < 30.0
    values = {v.symbol: v.value for z in cases[0].zones if "drifted" in z.name for v in z.values}
    factor = 15.0 * 3.0 / (0.03 * values["C_b"] * 30.0**2)
    assert values["C_a,2"] == pytest.approx(factor)
    lee = lee_sign(cases[0], roof)
    expected = 2000.0 * values["I_s"] * values["C_b"] * factor
    assert across(cases[0], roof, [7.5, 15.0 - 1e-6], lee) == pytest.approx(
        [0.5 * expected, expected], rel=1e-3
    )
    assert not across(cases[0], roof, [-7.5], lee).any()


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_both_winds_mirror_each_other_and_facets_do_not_matter(site):
    coarse, fine = (unbalanced(vault(24.0, 4.0, facets=n), site) for n in (12, 48))
    assert len(coarse) == len(fine) == 2
    totals = [
        plane_force(vault(24.0, 4.0, facets=n), case).sum()
        for n, cases in ((12, coarse), (48, fine))
        for case in cases
    ]
    assert totals == pytest.approx([totals[0]] * 4, rel=1e-6)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_turned_vaults_carry_the_same(site):
    here, there = vault(24.0, 4.0), vault(24.0, 4.0, turn=1.1, shift=(-70.0, 15.0))
    loads = [sorted(plane_force(r, c).sum() for c in snow_cases(r, site).cases) for r in (here, there)]
    assert loads[0] == pytest.approx(loads[1], rel=1e-6)


def test_vaults_that_are_none_are_refused():
    with pytest.raises(InputError, match="half of the span"):
        vault(10.0, 6.0)
    with pytest.raises(InputError, match="rectangle"):
        build_roof([RoofPart("vault", np.array([[0, 0], [20, 0], [10, 9]], float), rise=2.0)])


def test_a_blanket_slides_down_the_curve():
    """Collected check O-34: uniform 0.8 kN/m^2 on plan, R = 12 m, crown to 28 degrees: 1.0579 kN/m."""
    known, out = CHECKS["O-34"]["inputs"], CHECKS["O-34"]["outputs"]
    radius, rail = known["R_m"], np.radians(known["theta_rail_deg"])
    half = radius * np.sin(rail)
    roof = vault(2.0 * half, radius * (1.0 - np.cos(rail)), length=30.0, facets=60)
    snow = snow_cases(roof, EnSite(ground_snow=1000.0 * known["s_kPa"] / 0.8))
    layout = rows(roof, {"plane": roof.planes.name[0], "up": "0.01 m"})
    _, force = slide(roof, snow.cases[:1], layout)
    per_meter = force_per_row(layout, force)[0] / 30.0
    assert per_meter == pytest.approx(1000.0 * out["F_tangential_kN_per_m"], rel=0.005)


def test_asce_says_what_is_from_memory():
    snow = snow_cases(vault(20.0, 5.0), SITES[1])
    notes = [n for c in snow.cases if c.name.startswith("unbalanced") for n in c.notes if "7.6.2" in n]
    assert notes
    assert all("from memory" in note for note in notes)
