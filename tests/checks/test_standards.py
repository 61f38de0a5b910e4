"""Whole chain from the project file under ASCE/SEI 7-16 and NBCC 2020, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from projects import GABLE_EN, project

from fea.analysis import analyze
from roofmodel.errors import InputError

ALPHA = np.radians(25.0)
RUN = 8.0 - 0.5 * np.cos(ALPHA)  # plan run above the row [m]
SPACING = 0.4

ASCE_16 = 'standard = "ASCE/SEI 7-16"\nrisk_category = "III"\nthermal = "kept above freezing"'
NBCC = 'standard = "NBCC 2020"\nassociated_rain = "0.3 kN/m^2"\nimportance = "high"'


def written(site, form="LRFD"):
    text = GABLE_EN.replace('standard = "EN 1991-1-3"', site).replace('format = "EN"', f'format = "{form}"')
    return text.replace('kind = "design"', 'kind = "allowable"') if form == "ASD" else text


def inner(result, name):
    """Snow force at an inner clamp and demand there along the seam, of a case."""
    (case,) = [i for i, one in enumerate(result.snow.cases) if one.name == name]
    along = next(limit for limit in result.limits if limit.name == "clamp along the seam")
    return result.tributary[case, 15], along.demand[case, 15]


@pytest.mark.parametrize(("form", "dead", "snow"), [("ASD", 1.0, 1.0), ("LRFD", 1.2, 1.6)])
def test_asce_7_16_by_hand(tmp_path, form, dead, snow):
    """p_f = 0.7 C_e C_t I_s p_g (7.3), p_f b sin(theta) at the row, 1.6 S or 1.0 S (2.3.1, 2.4.1)."""
    result = analyze(project(tmp_path, written(ASCE_16, form)))
    force = 0.7 * 1.0 * 1.1 * 1.1 * 1500.0 * RUN * np.sin(ALPHA) * SPACING
    weight = 9.80665 * 7850.0 * result.project.rail.section.area * np.sin(ALPHA) * SPACING
    tributary, demand = inner(result, "balanced")
    assert tributary == pytest.approx(force, rel=1e-9)
    assert demand == pytest.approx(snow * force + dead * weight, rel=2e-3)
    assert all("ASCE/SEI 7-16" in factor.clause for factor in result.factors)
    assert all(proof.met for proof in result.proofs)


def test_nbcc_by_hand(tmp_path):
    """S = I_s (S_s C_b C_a + S_r), C_a = 1.25 at 25 degrees (4.1.6.2, 4.1.6.9), 1.25 D + 1.5 S."""
    result = analyze(project(tmp_path, written(NBCC)))
    weight = 9.80665 * 7850.0 * result.project.rail.section.area * np.sin(ALPHA) * SPACING
    for name, factor in (("balanced", 1.0), ("unbalanced, wind toward S", 1.25)):
        force = 1.15 * (0.8 * factor * 1500.0 + 300.0) * RUN * np.sin(ALPHA) * SPACING
        tributary, demand = inner(result, name)
        assert tributary == pytest.approx(force, rel=1e-9)
        assert demand == pytest.approx(1.5 * force + 1.25 * weight, rel=2e-3)


def test_nbcc_checks_deflection_with_its_own_importance(tmp_path):
    """0.9 / I_s of the same snow: post-disaster buildings deflect as normal ones do."""
    sags = []
    for importance in ("normal", "post-disaster"):
        result = analyze(project(tmp_path, written(NBCC.replace("high", importance))))
        deflection = next(limit for limit in result.limits if limit.name == "rail deflection")
        sags.append(deflection.demand.max())
    assert sags[0] == pytest.approx(sags[1], rel=1e-9)


def test_roofs_close_to_the_ground_are_pointed_out(tmp_path):
    """4.1.6.2.(2): C_b = 1.0 below 1 + S_s / gamma; S_s = 8 kN/m^2 and 4 kN/m^3 give 3 m."""
    high = project(tmp_path, written(NBCC), sk=8)
    low = project(tmp_path, written(NBCC).replace('"3 m"', '"1 m"'), sk=8)
    told = project(tmp_path, written(NBCC + "\nbasic_factor = 1.0").replace('"3 m"', '"1 m"'), sk=8)
    says = [any("basic_factor" in one for one in analyze(p).cautions) for p in (high, low, told)]
    assert says == [False, True, False]
    assert "3.00 m" in next(one for one in analyze(low).cautions if "basic_factor" in one)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (written(NBCC, "EN"), ["design.format", '"EN"', "NBCC 2020", "use LRFD"]),
        (written(NBCC, "ASD"), ["design.format", '"ASD"', "NBCC 2020", "use LRFD"]),
        (written(ASCE_16, "EN"), ["design.format", '"EN"', "ASCE/SEI 7-16", "ASD or LRFD"]),
        (written(NBCC.replace("associated_rain", "rain")), ["site.rain"]),
        (written(NBCC.replace("high", "very high")), ["site.importance", "very high", "post-disaster"]),
        (written(NBCC + "\nwind_factor = 0.75"), ["wind_factor", "low and normal"]),
        (written(ASCE_16 + "\nwinter_wind = 0.5"), ["site.winter_wind"]),
        (written(ASCE_16.replace("above freezing", "warm")), ["site.thermal", "kept warm", "heated"]),
    ],
)
def test_bad_sites_are_told_in_one_line(tmp_path, text, words):
    with pytest.raises(InputError) as caught:
        analyze(project(tmp_path, text))
    assert "\n" not in str(caught.value)
    assert all(word in str(caught.value) for word in words)


@pytest.mark.parametrize("text", [GABLE_EN, written(ASCE_16), written(NBCC)], ids=["EN", "7-16", "NBCC"])
def test_site_carries_what_other_tables_say(tmp_path, text):
    """Held upper roofs stand in [design], slipperiness in [surface]."""
    for told in (True, False):
        word = str(told).lower()
        changed = text.replace("[design]", f"[design]\nupper_roof_retained = {word}")
        site = project(tmp_path, changed.replace("slippery = true", f"slippery = {word}")).site
        assert site.upper_roof_retained is told
        assert getattr(site, "slippery", told) is told
