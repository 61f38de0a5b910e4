"""Loads on the eaves alone and aids to judgment: clause values, and that they are on the page and marked."""

from __future__ import annotations

import re

import numpy as np
import pytest

from roofmodel.project.load import load_project
from roofmodel.snow.inputs import Asce16Site, AsceSite, EnSite, NbccSite
from roofmodel.snow.standing import standing_loads
from roofmodel.snow.thaw import clear_sky, coldest_thaw
from tests.cli.small_project import GOOD, changed
from tests.sliding.roofs import gable
from viewer.snow.aids import thaw_table
from viewer.snow.page import snow_html
from viewer.snow.sheet import sheet_drawing
from viewer.snow.study import snow_study

THAW = """[thaw]
latitude = "46 deg"
date = "02-10"
roof_r_value = 25.0
inside_above_freezing = "20 K"

[design]"""


def page(tmp_path, text):
    path = tmp_path / "project.toml"
    path.write_text(text)
    study = snow_study(load_project(path))
    sheet = sheet_drawing(study.findings, study.scale, study.units)
    return study, re.sub(r"<[^>]*>", " ", snow_html(study, sheet))


def test_en_overhang():
    """EN 1991-1-3 6.3: s = 2.4 kN/m^2, d = 0.8 m, k = 2.4, k s^2 / gamma = 4.608 kN/m."""
    loads = standing_loads(gable(), EnSite(ground_snow=3000.0))
    assert sorted(load.where for load in loads) == ["N1", "S1"]
    for load in loads:
        assert load.value == pytest.approx(4608.0, rel=1e-9)
        assert load.quantity == "line_load"


def test_asce_ice():
    """2 p_f, p_f = 0.7 C_e C_t p_g with C_e = 1.0 and C_t = 1.2 (7.4.5)."""
    site = AsceSite(ground_snow=1500.0, risk_category="II", winter_wind=0.5, slippery=True)
    (load,) = standing_loads(gable(), site)
    assert load.value == pytest.approx(2.0 * 0.7 * 1.0 * 1.2 * 1500.0)
    assert "dead load only" in load.when
    assert "up to 5 ft (1.52 m)" in load.when


def test_asce_7_16_loads_the_whole_overhang():
    """7.4.5 of 7-16, from memory: all overhanging portions, no 5 ft."""
    site = Asce16Site(ground_snow=1500.0, risk_category="II", slippery=True)
    (load,) = standing_loads(gable(), site)
    assert "the whole of each overhang" in load.when
    assert "5 ft" not in load.when


def test_nbcc_names_none():
    site = NbccSite(ground_snow=2000.0, associated_rain=300.0, importance="normal", slippery=False)
    assert standing_loads(gable(), site) == ()


def test_page_marks_aids_as_no_code(tmp_path):
    _, text = page(tmp_path, changed("[design]", THAW))
    assert "Aids to judgment, no code" in text
    assert "When the bond can thaw" in text
    assert "On the eaves alone" in text
    assert "EN 1991-1-3 6.3" in text
    _, without = page(tmp_path, GOOD)
    assert "When the bond can thaw" not in without
    assert "[thaw]" in without


def test_thaw_table_is_the_balance(tmp_path):
    """The cell of 0.1 m by hand: R (q + U t) at the best hour."""
    study, _ = page(tmp_path, changed("[design]", THAW))
    project = study.findings.project
    aid = project.table.thaw.aid
    assert aid.day == 41
    assert aid.roof_conductance == pytest.approx(5.678263 / 25.0)
    sun = clear_sky(aid.latitude, aid.day, project.roof.planes.slope, project.roof.planes.azimuth).max()
    density = study.findings.cases[0].case.density
    wanted = -float(coldest_thaw(aid, sun, np.array(0.1), density))
    cell = thaw_table(study).rows[0][4]
    assert float(cell.split()[0]) == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('date = "02-10"', 'date = "31-12"', "month and day"),
        ("roof_r_value = 25.0", "roof_r_value = -1.0", "greater than"),
        ("roof_r_value = 25.0", 'roof_r_value = "4.4 m^2*K/W"', "US units.*5.678 times"),
        ('latitude = "46 deg"\n', "", "latitude is missing"),
    ],
)
def test_bad_thaw_tables_are_refused(tmp_path, old, new, words):
    from roofmodel.errors import InputError

    path = tmp_path / "project.toml"
    path.write_text(changed("[design]", THAW.replace(old, new)))
    with pytest.raises(InputError, match=words):
        load_project(path)
