"""Brackets on screws in span tables: cells against `check`, the screw group against statics."""

import csv
from dataclasses import replace

import numpy as np
import pytest

from fea.checks.screws import SCREW_LIMITS
from fea.spans.bench import CLAMP, LIMITS, SCREWS, bench_of, limit_use
from fea.spans.capacity import Choices, span_table
from fea.spans.cells import worst_cell
from fea.spans.lines import Arrangement, lines_of
from fea.spans.study import run_study, study_choices, study_hardware, study_roof
from tests.spans.test_cells import checked, studied
from viewer.span.export import write_conditions, write_table

SCREWED = """[clamp.screws]
along = ["-35 mm", "35 mm", "-35 mm", "35 mm"]
across = ["-20 mm", "-20 mm", "20 mm", "20 mm"]
diameter = "5.5 mm"
head_diameter = "14 mm"
base_thickness = "3 mm"
base_ultimate = "360 MPa"
base_metal = "steel"
support_thickness = "1.5 mm"
support_ultimate = "390 MPa"
support_metal = "steel"
screw_shear = "9 kN"
screw_tension = "12 kN"

[[rail]]
name = "Cove 48\""""
FEW = {
    'along = "6.8 to 7.6 kN"': 'along = "6.8 kN"',
    '"0.4 m", "0.8 m", "1.2 m", "1.6 m", "2.0 m", "2.4 m", "2.8 m", "3.2 m"': '"0.4 m", "1.2 m"',
    '"single span", "two spans", "end span", "inner span", "with overhangs", "one clamp missing"': (
        '"single span", "two spans"'
    ),
}
FIRST = '[[rail]]\nname = "Cove 48"'
ON_SCREWS = {FIRST: SCREWED, 'grip_length = "80 mm"': 'grip_length = "80 mm"\ngrip_height = "35 mm"'}
TWIST = {
    'rocking = "10 kN*m/rad" }': 'rocking = "10 kN*m/rad", twist = "2 kN*m/rad" }',
    'push = "7.5 kN" }': 'push = "7.5 kN", twist = "0.3 kN*m" }',
}


@pytest.mark.parametrize("form", ["EN", "ASD", "LRFD"])
@pytest.mark.parametrize("case", range(2))
def test_any_cell_on_screws_is_what_check_finds(tmp_path, form, case):
    """A clamp that holds twist as well: shear turns about the group's center."""
    steps = {"EN": "1.33", "ASD": "1.6", "LRFD": "0.75"}[form]
    change = {
        **ON_SCREWS, **TWIST, 'format = "EN"': f'format = "{form}"',
        "\nfactor = 1.33": f"\nfactor = {steps}", "anchorage_factor = 1.33": f"anchorage_factor = {steps}",
        'kind = "characteristic"': f'kind = "{"characteristic" if form == "EN" else "nominal"}"',
    }  # fmt: skip
    study = studied(tmp_path, replace=change)
    choices = study_choices(study)
    draw = np.random.default_rng((case, len(form)))
    hardware = study_hardware(study, study.variants[0], case)
    arrangement = choices.arrangements[int(draw.integers(6))]
    span, load = draw.uniform(0.4, 1.2), draw.uniform(300.0, 2000.0)
    cell = worst_cell(study_roof(study), hardware, choices, arrangement, span, load)
    analysis = checked(study, cell, choices, tmp_path, case)
    assert cell.limit in SCREW_LIMITS
    for limit in (one for one in analysis.limits if one.name == cell.limit):
        assert limit.utilization[0, cell.target] == pytest.approx(cell.utilization, rel=1e-6)
    assert analysis.governing.utilization >= cell.utilization * (1.0 - 1e-6)
    by_screws = [one.utilization[0] for one in analysis.limits if one.name in SCREW_LIMITS]
    counted = np.max(by_screws, axis=0)[cell.line.counts_clamp]
    assert counted.max() == pytest.approx(cell.utilization, rel=1e-6)


def test_the_table_takes_screws_to_their_limit_and_no_leader_is_lost(tmp_path):
    study = studied(tmp_path, replace=ON_SCREWS)
    roof, hardware = study_roof(study), study_hardware(study, study.variants[0], 0)
    choices = Choices(np.array([0.4, 0.8, 1.2]), np.array([500.0]), (Arrangement.END, Arrangement.OVERHANG))
    found = span_table(roof, hardware, choices)
    assert (found.governing == SCREWS).all()
    for i, a in ((0, 0), (2, 1)):
        at = choices.spans[i], float(found.largest[i, a])
        cell = worst_cell(roof, hardware, choices, choices.arrangements[a], *at)
        assert cell.limit in SCREW_LIMITS
        assert cell.utilization == pytest.approx(1.0, abs=1e-8)
    lines = lines_of(Arrangement.OVERHANG, many=5, overhang=0.25, unloaded=0.0, splice=None)
    bench = bench_of(roof, lines, choices.spans, hardware, None)
    load = np.broadcast_to(np.geomspace(50.0, 5e4, 12)[:, None], (len(LIMITS), 12, 3))
    assert len(bench.chosen[SCREWS].at) < len(bench.counts_clamp)
    np.testing.assert_allclose(limit_use(bench, load), limit_use(bench.whole(), load), rtol=1e-9)
    # One screw more in each corner's place holds what two did: pull and shear of each halve (statics).
    screws = hardware.clamp.screws
    doubled = replace(screws, place=np.repeat(screws.place, 2, axis=0))
    twice = replace(hardware, clamp=replace(hardware.clamp, screws=doubled))
    more = limit_use(bench_of(roof, lines, choices.spans, twice, None).whole(), load)
    np.testing.assert_allclose(more[SCREWS], 0.5 * limit_use(bench, load)[SCREWS], rtol=1e-3)
    np.testing.assert_allclose(more[CLAMP], limit_use(bench, load)[CLAMP], rtol=1e-9)


def test_a_screw_without_a_strength_gives_no_load(tmp_path):
    study = studied(
        tmp_path, replace=FEW | ON_SCREWS | {FIRST: SCREWED.replace('screw_shear = "9 kN"\n', "")}
    )
    found = run_study(study)
    assert not found.verified
    assert np.isnan(found.rails[0].low).all()
    hardware = study_hardware(study, study.variants[0], 0)
    cell = worst_cell(study_roof(study), hardware, found.choices, Arrangement.SINGLE, 0.8, 500.0)
    assert cell.limit in SCREW_LIMITS
    assert np.isnan(cell.utilization)


def test_what_the_tables_say_of_screws(tmp_path):
    study = studied(tmp_path, replace=FEW | ON_SCREWS)
    found = run_study(study)
    write_table(found, tmp_path / "spans.csv")
    write_conditions(found, tmp_path / "conditions.csv")
    with (tmp_path / "spans.csv").open() as file:
        lines = list(csv.DictReader(file))
    assert {line["governs"] for line in lines} == {"screws"}
    first = lines[0]
    assert first["largest load [kN/m]"] == first["screws [kN/m]"]
    # EN 1993-1-3 table 8.2 by hand: 0.45 d t f_u / 1.25.
    told = (tmp_path / "conditions.csv").read_text()
    assert f"pull-out of the support {0.45 * 5.5 * 1.5 * 0.390 / 1.25:.3g} kN" in told
    assert "tests of the bracket on this panel beat calculation" in told
