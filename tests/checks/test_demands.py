"""Demands on the building with the rows and without: purlins, overhang, clips, anchorage, eave cases."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea import analyze
from fea.checks.demands import _worst_lines
from fea.checks.partial_rails import rail_partial
from fea.checks.purlins import line_loads
from roofmodel import load_project, snow_cases
from roofmodel.errors import InputError
from roofmodel.snow.cases import case_forces
from roofmodel.snow.regions import plan_polygon
from roofmodel.units import SYSTEMS
from tests.cli.small_project import GOOD, US, changed, command, refused, site
from viewer.report.building import building_words

SIN, COS = np.sin(np.radians(20.0)), np.cos(np.radians(20.0))


def framing(*lines: str, text: str = GOOD) -> str:
    return changed("[design]", "[[framing]]\n" + "\n".join(lines) + "\n\n[design]", text)


PURLINS = ('purlin_spacing = "1 m"', 'first_purlin = "0.4 m"', 'frame_spacing = "3 m"')
STEEP = changed('"20 deg"', '"45 deg"')
CLIPS = changed('thickness = "0.63 mm"', 'thickness = "0.63 mm"\nclip_spacing = "500 mm"')


def made(tmp_path, text):
    path = tmp_path / "project.toml"
    path.write_text(text)
    return analyze(load_project(path))


def demand(analysis, what):
    return next(d for d in analysis.building.demands if d.what == what)


HIP = """[[roof.part]]
shape = "hip"
footprint = "0 0, 14 0, 14 8, 0 8 m"
pitch = "30 deg"
eave_height = "3 m"
"""


@pytest.mark.parametrize(
    "standard",
    [
        None,
        US,
        'standard = "NBCC 2020"\nground_snow = "2 kPa"\nassociated_rain = "0.4 kPa"\nimportance = "normal"',
    ],
)
def test_lines_carry_the_snow_of_every_plane(tmp_path, standard):
    """Conservation on a hip roof in all cases, ice and all, to 1e-9 of the plane's snow."""
    text = GOOD if standard is None else site(standard, "LRFD" if "NBCC" in standard else "ASD")
    if standard is not None:
        kind = "nominal"
        text = text.replace('anchorage_kind = "characteristic"', f'anchorage_kind = "{kind}"')
        text = text.replace('strength_kind = "characteristic"', f'strength_kind = "{kind}"')
        text = text.replace("factor = 1.33", "factor = 0.7" if "NBCC" in standard else "factor = 2.0")
    start, end = text.index("[[roof.part]]"), text.index("[surface]")
    text = framing(*PURLINS, 'overhang = "0.5 m"', text=text[:start] + HIP + text[end:])
    analysis = made(tmp_path, text)
    roof, found = analysis.project.roof, analysis.building
    polygons = np.array([plan_polygon(roof, i) for i in range(roof.planes.count)], dtype=object)
    cases = (*analysis.snow.cases, *found.eave.cases)
    weight = case_forces(cases, polygons, np.arange(roof.planes.count))
    onto = analysis.project.framing.plane[:, None] == np.arange(roof.planes.count)
    carried = found.held.total @ onto
    assert weight.max(axis=0).min() > 0.0
    snow = len(analysis.snow.cases)
    assert carried[:snow] == pytest.approx(weight[:snow], rel=1e-9)
    # The load on the very edge stands on a strip of 10 mm, which the grid of overlays rounds.
    assert carried[snow:] == pytest.approx(weight[snow:], rel=1e-8)
    assert np.all(found.held.reaction >= 0.0)


def test_line_loads_of_a_plain_shed(tmp_path):
    """0.8 s_k on plan; two lines and levers: R_1 = p (s / 2 + a + (a^2 - c^2) / 2 s) by moments, by hand."""
    text = framing('purlins = ["0.5 m", "3.5 m"]', 'frames = ["0.5 m", "3 m", "5.6 m"]')
    found = made(tmp_path, text).building.held
    length = 4.0 / COS
    p, a, s = 0.8 * 1800.0 * COS, 0.5, 3.0
    c = length - 3.5
    q = [case == "balanced" for case in found.cases].index(True)
    lower = p * (s / 2 + a + (a**2 - c**2) / (2 * s))
    assert found.mean[q] == pytest.approx([lower, p * length - lower], rel=1e-9)
    # Cantilevers of 0.5 and 0.4 m, spans of 2.5 and 2.6 m: three moments with M_A = -w 0.125, M_C = -w 0.08.
    w = found.peak[q, 0]
    middle = -(w * (2.5**3 + 2.6**3) / 4.0 - w * (0.125 * 2.5 + 0.08 * 2.6)) / (2.0 * 5.1)
    assert found.hogging[q, 0] == pytest.approx(-middle, rel=1e-9)
    assert found.spans.tolist() == [4, 4]


def test_sheets_that_run_through_load_the_inner_line_more(tmp_path):
    """Three lines: 1.25 p s by the beam on three supports (AISC Manual Table 3-22c), 0.5 p s at the ends."""
    length = 4.0 / COS
    text = framing(f'purlins = ["0 m", "{length / 2} m", "{length} m"]')
    found = made(tmp_path, text).building.held
    p, s = 0.8 * 1800.0 * COS, length / 2
    assert found.peak[0] == pytest.approx([0.5 * p * s, 1.25 * p * s, 0.5 * p * s], rel=2e-3)
    assert found.mean[0] == pytest.approx([0.5 * p * s, p * s, 0.5 * p * s], rel=1e-9)


def test_purlins_without_rows_carry_what_the_standard_leaves(tmp_path):
    """EN 1991-1-3 5.3.2: mu_1 is 0.4 at 45 degrees without rows, 0.8 with: every demand doubles."""
    analysis = made(tmp_path, framing(*PURLINS, text=STEEP))
    held, free = analysis.building.held, analysis.building.free
    assert held.total[0] == pytest.approx(2.0 * free.total[0], rel=1e-9)
    assert held.sagging[0] == pytest.approx(2.0 * free.sagging[0], rel=1e-9)
    assert any(d.what == "sagging moment of a purlin" and d.rises for d in analysis.building.rising)


def test_low_roof_raises_no_purlin(tmp_path):
    analysis = made(tmp_path, framing(*PURLINS))
    assert not [d for d in analysis.building.rising if "purlin" in d.what]


@pytest.mark.parametrize(
    ("standard", "reaction"),
    [(US, 0.5 * 0.375 + 0.5 * 0.4375), (None, 0.375)],
)
def test_partial_loading_counts_where_the_standard_asks(tmp_path, standard, reaction):
    """Two spans of 3 m, end reaction R = r w L, span moment R^2 / 2 w: one span half loaded in ASCE."""
    text = GOOD
    if standard is not None:
        text = site(standard, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    found = made(tmp_path, framing(*PURLINS, text=text)).building.held
    q = [case.startswith("balanced") for case in found.cases].index(True)
    assert found.sagging[q] / (found.peak[q] * 3.0**2) == pytest.approx(reaction**2 / 2.0, rel=1e-9)
    assert found.pattern(q, 0) == "full on all spans"  # over the middle frame that is the worst


def test_ice_is_a_case_of_the_overhang(tmp_path):
    """ASCE/SEI 7-22 7.4.5: 2 p_f on an overhang of 0.6 m, alone: V = 2 p_f a, M = V a / 2 on plan."""
    text = site(US, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    analysis = made(tmp_path, framing('overhang = "0.6 m"', text=text))
    found = analysis.building
    assert [case.name for case in found.eave.cases] == ["ice at the eaves"]
    flat = 0.7 * 1.2 * 30.0 * 47.88025898
    a = 0.6 * COS
    q = found.over_held.cases.index("ice at the eaves")
    assert found.over_held.shear[q, 0] == pytest.approx(2.0 * flat * a, rel=1e-6)
    assert found.over_held.moment[q, 0] == pytest.approx(flat * a**2, rel=1e-6)
    assert demand(analysis, "moment of the overhang").case == "ice at the eaves"
    assert "No row carries it" in found.eave.cases[0].notes[-1]
    assert "unheated too (safe)" in " ".join(found.eave.cases[0].notes)
    # It reaches no row: the cases of the rows do not hold it.
    assert "ice at the eaves" not in [case.name for case in analysis.snow.cases]


def test_no_overhang_no_ice_and_it_is_said(tmp_path):
    text = site(US, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    found = made(tmp_path, text).building
    assert not found.eave.cases
    assert found.eave.skipped[0][0] == "ice at the eaves"
    assert "overhang" in found.eave.skipped[0][1]


def test_long_overhangs_take_ice_within_five_feet(tmp_path):
    """7-22 7.4.5: 5 ft from the eave; the moment then has the arm from the middle of the strip."""
    text = site(US, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    found = made(tmp_path, framing('overhang = "2 m"', text=text)).building
    q = found.over_held.cases.index("ice at the eaves")
    flat, reach = 0.7 * 1.2 * 30.0 * 47.88025898, 1.524
    assert found.over_held.shear[q, 0] == pytest.approx(2.0 * flat * reach, rel=1e-6)
    assert found.over_held.moment[q, 0] == pytest.approx(
        2.0 * flat * reach * (2.0 * COS - reach / 2.0), rel=1e-6
    )


def test_before_7_22_ice_lies_on_the_whole_overhang(tmp_path):
    """ASCE/SEI 7-16: 2 p_f on all of it, 0.7 C_e C_t I_s p_g; the case says so."""
    text = site(
        'standard = "ASCE/SEI 7-16"\nground_snow = "1.5 kPa"\nrisk_category = "II"\nthermal = "heated"', "ASD"
    )
    text = text.replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    found = made(tmp_path, framing('overhang = "2 m"', text=text)).building
    q = found.over_held.cases.index("ice at the eaves")
    assert found.over_held.shear[q, 0] == pytest.approx(2.0 * 0.7 * 1500.0 * 2.0 * COS, rel=1e-6)
    assert "whole overhang" in " ".join(found.eave.cases[0].notes)


def test_snow_that_hangs_over_acts_at_the_edge(tmp_path):
    """EN 1991-1-3 6.3: S_e = k s^2 / gamma beside the snow on the overhang, on a strip of 10 mm."""
    found = made(tmp_path, framing('overhang = "0.5 m"')).building
    q = found.over_held.cases.index("snow that hangs over the eave")
    s, a = 1.44, 0.5 * COS
    depth = s / 3.0
    edge = min(3.0 / depth, 3.0 * depth) * s**2 / 3.0 * 1e3
    assert found.over_held.shear[q, 0] == pytest.approx(1440.0 * a + edge, rel=1e-6)
    assert found.over_held.moment[q, 0] == pytest.approx(1440.0 * a**2 / 2.0 + edge * (a - 0.005), rel=1e-6)


def test_row_on_the_overhang_tips_it(tmp_path):
    """The rail stands 60 mm above the pan (35 mm and half a seam of 50 mm): its force times that is added."""
    over, short = (made(tmp_path, framing(f'overhang = "{a} m"')).building.over_held for a in ("0.7", "0.5"))
    plane_load = 1440.0 * (0.7 * COS) ** 2 / 2.0
    force = 1440.0 * (4.0 - 0.6 * COS) * SIN
    assert over.moment[0, 0] == pytest.approx(plane_load + force * 0.06, rel=1e-3)
    assert short.moment[0, 0] == pytest.approx(1440.0 * (0.5 * COS) ** 2 / 2.0, rel=1e-9)


def test_clips_and_anchorage_rise_by_statics(tmp_path):
    """Without rows no clip is lifted, and only the sheet's own weight pulls at the fixed point."""
    analysis = made(tmp_path, CLIPS)
    uplift = demand(analysis, "uplift of a clip")
    assert uplift.free == 0.0
    assert uplift.rises
    # The rail stands 35 mm above the grip; its mean force tips over half of 500 mm, unfactored.
    worst = np.abs(analysis.force.thrust[..., 1]).sum() / len(analysis.project.layout.clamp_name)
    assert uplift.held > worst * 0.035 / 0.25
    drag = demand(analysis, "drag on the fixed point of a panel strip")
    weight = analysis.project.panel.weight * 0.5 * 4.0 / COS * SIN
    assert drag.free == pytest.approx(weight, rel=1e-9)
    assert drag.held > 1440.0 * (4.0 - 0.6 * COS) * SIN * 0.5


def test_strength_of_a_purlin_is_checked_with_dead_load(tmp_path):
    """EN 1990 6.10: 1.35 G + 1.5 S on two spans of 3 m, hogging 0.125 q L^2; a weak purlin fails."""
    more = ('moment_strength_kind = "design"', 'dead_load = "0.3 kPa"')
    text = framing(*PURLINS, 'moment_strength = "20 kN*m"', *more)
    analysis = made(tmp_path, text)
    found = analysis.building.held
    snow, dead = found.peak[0], 0.3e3 * found.peak[0] / (1440.0 * COS)
    assert found.moment[0] == pytest.approx(0.125 * 9.0 * (1.5 * snow + 1.35 * dead), rel=1e-9)
    assert not analysis.purlins_exceeded
    weak = made(tmp_path, text.replace('"20 kN*m"', '"1 kN*m"'))
    assert weak.purlins_exceeded
    assert weak.exceeded
    assert weak.building.use.max() == pytest.approx(found.moment.max() / 1e3, rel=1e-9)


def test_without_strength_nothing_is_verified(tmp_path):
    analysis = made(tmp_path, framing(*PURLINS))
    assert np.isnan(analysis.building.use).all()
    assert not analysis.purlins_exceeded


def test_loads_grow_with_the_ground_snow_and_not_with_the_order_of_tables(tmp_path):
    """Linear in s_k where the standard is: balanced snow of EN."""
    analysis = made(tmp_path, framing(*PURLINS))
    project = analysis.project
    twice = replace(project.site, ground_snow=2.0 * project.site.ground_snow)
    ones = np.ones(1), np.ones(1)
    first, second = (
        line_loads(
            project.roof,
            project.framing,
            snow_cases(project.roof, one, [0]).cases[:1],
            "EN 1991-1-3",
            ones,
            np.full(1, np.nan),
        )
        for one in (project.site, twice)
    )
    assert second.sagging == pytest.approx(2.0 * first.sagging, rel=1e-9)


def test_turned_roof_changes_nothing(tmp_path):
    """37 degrees about the vertical."""
    turn = np.radians(37.0)
    corners = np.array([[0, 0], [6, 0], [6, 4], [0, 4]]) @ np.array(
        [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]
    )
    points = ", ".join(f"{x!r} {y!r}" for x, y in corners.tolist())
    text = framing(*PURLINS, 'overhang = "0.5 m"')
    turned = text.replace("0 0, 6 0, 6 4, 0 4 m", f"{points} m").replace('"180 deg"', '"143 deg"')
    turned = turned.replace('plane = "S1"', 'plane = "SE1"')
    one, other = (made(tmp_path, each).building for each in (text, turned))
    assert other.held.sagging == pytest.approx(one.held.sagging, rel=1e-7)
    assert other.over_held.moment == pytest.approx(one.over_held.moment, rel=1e-7)


def test_check_hands_the_loads_on(tmp_path):
    """Exit code 1 by the purlin alone, said in words; table, picture, data and CSV."""
    more = ('moment_strength = "1 kN*m"', 'moment_strength_kind = "design"', 'dead_load = "0.3 kPa"')
    text = framing(*PURLINS, 'overhang = "0.7 m"', *more)
    text = text.replace('yield_strength = "200 MPa"', 'yield_strength = "200 MPa"\ndeflection_ratio = 50')
    text = text.replace('format = "EN"', 'format = "EN"\nrail_height_ratio = 0.05')
    text = text.replace(
        'along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN"',
        'along = "70 kN", across = "30 kN", pull = "40 kN", push = "60 kN"',
    )
    (tmp_path / "project.toml").write_text(text)
    done = command("check", "project.toml", "--out", "out", "--no-picture", folder=tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    said = " ".join(done.stdout.split())
    assert "of its bending strength" in said
    assert "EXCEEDED" in said
    assert "Building: the rows raise" in said
    page = (tmp_path / "out" / "report.html").read_text()
    for words in ("The building below", "Purlin lines", "Loads handed on", "No row carries it", "data-load="):
        assert words in page
    data = json.loads((tmp_path / "out" / "results.json").read_text())
    assert data["verdict"] == "exceeded"
    assert data["framing"]["purlins_exceeded"] is True
    sheet = (tmp_path / "out" / "building.csv").read_text(encoding="utf-8-sig").splitlines()
    lines, cases = len(data["framing"]["purlins"]), len(data["framing"]["purlins"][0]["with_rows"])
    assert len(sheet) == 1 + 2 * lines * cases + len(data["cases"])


HALL = Path(__file__).parents[2] / "models" / "tannery-hall" / "project.toml"


@pytest.mark.parametrize("standard", ["EN 1991-1-3", "ASCE/SEI 7-22", "NBCC 2020"])
def test_rows_above_relieve_nothing_unless_the_user_says_so(tmp_path, standard):
    """The hall carries rows: its snow still slides onto the roof below, and the report says which it was."""
    text = HALL.read_text()
    if standard != "EN 1991-1-3":
        own = 'winter_wind = 0.5\nrisk_category = "II"' if standard.startswith("ASCE") else NBCC_MORE
        text = changed('standard = "EN 1991-1-3"', f'standard = "{standard}"\n{own}', text)
        text = changed('topography = "normal"\n', "", text)
        text = changed('format = "EN"', 'format = "LRFD"', text)
        text = text.replace('"characteristic"', '"nominal"').replace("factor = 1.33", "factor = 0.7")
        text = text.replace("factor = 1.25", "factor = 0.8")
    relieved = changed("[design]", "[design]\nupper_roof_retained = true", text)
    kept, left = (made(tmp_path, each) for each in (text, relieved))
    lower = kept.project.roof.planes.name.index("S2")
    if standard.startswith("ASCE"):  # a case of its own, which a drift may outdo
        assert "sliding from S1" in [case.name for case in kept.snow.cases]
        assert ("sliding from S1", "left out because rows hold it, as the user declared") in left.snow.skipped
    else:
        assert kept.building.planes.held[lower] > 1.02 * left.building.planes.held[lower]
    assert "rows up there hold" in " ".join(left.cautions)
    assert "rows up there hold" not in " ".join(kept.cautions)
    notes = " ".join(note for case in kept.snow.cases for note in case.notes)
    assert "S1 carries snow retention" in notes
    assert any(words in notes for words in ("let slide", "counted all the same"))


NBCC_MORE = 'associated_rain = "0.3 kPa"\nimportance = "normal"'
WRONG = {
    "no lines": (['frame_spacing = "3 m"'], ["purlin_spacing is missing"]),
    "nothing": (['plane = "S1"'], ["purlin_spacing", "overhang"]),
    "two kinds of lines": (['purlin_spacing = "1 m"', 'purlins = ["1 m"]'], ["either purlin_spacing or"]),
    "no such plane": (['plane = "S7"', 'purlin_spacing = "1 m"'], ["framing.plane", '"S7"', "S1"]),
    "beyond the plane": (['plane = "S1"', 'purlins = ["7 m"]'], ["purlins", "7.00 m", "4.26 m"]),
    "one frame": (['plane = "S1"', 'purlins = ["1 m"]', 'frames = ["1 m", "9 m"]'], ["1 of 2", "6.00 m"]),
    "overhang of all": (['plane = "S1"', 'overhang = "5 m"'], ["overhang", "5.00 m", "4.26 m"]),
    "purlins like a comb": (['purlin_spacing = "20 mm"', 'frame_spacing = "10 mm"'], ["frame_spacing"]),
    "no dead load": ([*PURLINS, 'moment_strength = "9 kN*m"'], ["dead_load is missing"]),
    "no factor": (
        [*PURLINS, 'moment_strength = "9 kN*m"', 'dead_load = "0.3 kPa"'],
        ["framing.moment_strength_factor is missing"],
    ),
    "no unit": (["overhang = 0.5"], ["overhang", "unit"]),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_framing_is_told_in_one_line(name, tmp_path, monkeypatch, capfd):
    lines, words = WRONG[name]
    refused(framing(*lines), words, tmp_path, monkeypatch, capfd)


def test_own_table_goes_before_the_one_for_all(tmp_path):
    text = framing('overhang = "0.3 m"', "[[framing]]", 'plane = "S1"', 'overhang = "0.6 m"')
    assert made(tmp_path, text).project.framing.overhang == pytest.approx([0.6])
    twice = framing('overhang = "0.3 m"', "[[framing]]", 'overhang = "0.6 m"')
    with pytest.raises(InputError, match="two tables"):
        made(tmp_path, twice)


def test_partial_loading_of_a_rail_is_told(tmp_path):
    """Twelve clamps 0.5 m apart, rail ends 0.25 m beyond; no such clause in EN."""
    text = site(US, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    layout = made(tmp_path, text).project.layout
    found = rail_partial(layout, "ASCE/SEI 7-22")
    # Two adjacent spans of an endless beam: M_0 + (4 + r) M_1 = -1/4, 4 M_0 + 2 M_1 = -1/2.
    r = np.sqrt(3.0) - 2.0
    m0, m1 = np.linalg.solve([[1.0, 4.0 + r], [4.0, 2.0]], [-0.25, -0.5])
    assert found.clamp[6] == pytest.approx(0.5 + 0.5 * (1.0 + 2.0 * (m1 - m0)), abs=1e-3)
    assert found.moment[0] == pytest.approx(1.0)  # the free ends govern, w (L / 2)^2 / 2, full in any pattern
    assert rail_partial(layout, "EN 1991-1-3") is None


def test_clamp_that_half_loaded_spans_would_break_is_told(tmp_path):
    """Strength just above the demand under full snow."""
    text = site(US, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    analysis = made(tmp_path, text)
    use = next(limit for limit in analysis.limits if limit.name == "clamp combined").utilization.max()
    strong = {"along": 7.0, "across": 3.0, "pull": 4.0, "push": 6.0}
    for share, told in ((0.995, True), (0.7, False)):
        sized = ", ".join(f'{way} = "{kn * use / share} kN"' for way, kn in strong.items())
        changed_text = changed('along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN"', sized, text)
        analysis = made(tmp_path, changed_text)
        cautions = " ".join(analysis.cautions)
        assert ("1 of 1 rows" in cautions and f"{analysis.project.layout.row_name[0]} 1" in cautions) is told
        assert ("would use more than their strength" in cautions) is told


def _asce(*lines: str) -> str:
    own = site(US, "ASD").replace('"characteristic"', '"nominal"').replace("1.33", "2.0")
    return framing(*lines, text=own)


def test_a_cantilever_lifts_the_purlin_off_its_far_frame(tmp_path):
    """Cantilever 15 to span 20: R = w (L / 4 - a^2 / 2 L), full beside half, by moments (7.5.1 case 1)."""
    a, span = 6.0 * 15.0 / 35.0, 6.0 * 20.0 / 35.0
    frames = f'frames = ["{a!r} m", "6 m"]'
    analysis = made(tmp_path, _asce('purlins = ["0.5 m", "3.5 m"]', frames, 'dead_load = "0.05 kPa"'))
    found = analysis.building
    held = found.held
    q = [case.startswith("balanced") for case in held.cases].index(True)
    w = held.peak[q]
    assert held.uplift[q] == pytest.approx(w * (a**2 / (2.0 * span) - span / 4.0), rel=1e-9)
    assert held.patterns["uplift"][q, 0] == "7.5.1 case 1, full on the first span, half elsewhere"
    c = 4.0 / COS - 3.5  # past the upper line; shares of the lines by moments, no lever relieves the other
    dead = 50.0 * np.array([3.0 / 2.0 + 0.5 + 0.5**2 / 6.0, 3.0 / 2.0 + c + c**2 / 6.0])
    net = held.uplift[q] - dead * (span / 2.0 - a**2 / (2.0 * span))
    assert held.uplift_dead[q] == pytest.approx(net, rel=1e-9)
    told = [d for d in found.demands if d.what.startswith("uplift of a purlin at a frame")]
    assert [d.what for d in told] == [
        "uplift of a purlin at a frame",
        "uplift of a purlin at a frame less dead load",
    ]
    assert told[0].held == pytest.approx(held.uplift.max())
    assert told[0].free > 0.0  # without the rows as well
    said = " ".join(building_words(analysis, SYSTEMS["SI"]))
    assert "snow lifts: uplift of a purlin at a frame " in said
    assert "less dead load" in said


def test_even_spans_lift_nothing_and_name_no_uplift(tmp_path):
    analysis = made(tmp_path, _asce('purlins = ["0.5 m", "3.5 m"]', 'frame_spacing = "3 m"'))
    assert not np.any(analysis.building.held.uplift)
    assert not np.any(analysis.building.held.lift)
    assert not [d for d in analysis.building.demands if d.what.startswith("uplift of a purlin")]


def test_ice_on_a_long_overhang_lifts_the_second_purlin(tmp_path):
    """2 p_f on 1.2 m past the first line, 1 m to the second: lift W a / 2 s; two spans of 3 m."""
    own = _asce('purlins = ["1.2 m", "2.2 m"]', 'frame_spacing = "3 m"', 'overhang = "1.2 m"')
    own = changed('thickness = "0.63 mm"', 'thickness = "0.63 mm"\nclip_spacing = "500 mm"', own)
    analysis = made(tmp_path, own)
    found = analysis.building
    q = found.held.cases.index("ice at the eaves")
    lift = 2.0 * 0.7 * 1.2 * 30.0 * 47.88025898 * COS * 1.2 * 0.6 / 1.0
    assert found.held.lift[q] == pytest.approx([0.0, lift], rel=1e-6)
    assert np.isnan(found.held.lift_dead).all()
    assert found.held.uplift[q, 1] == pytest.approx(1.25 * lift * 3.0, rel=1e-6)
    # The line bends the other way: 0.125 w L^2 stretches its underside over the middle frame.
    assert found.held.sagging[q, 1] == pytest.approx(0.125 * lift * 9.0, rel=1e-6)
    line = demand(analysis, "uplift of a purlin line")
    assert line.held == line.free == pytest.approx(lift, rel=1e-6)
    # The clip there is lifted by the sheet's lever without any row, and the eave case counts.
    clip = demand(analysis, "uplift of a clip")
    assert clip.free == pytest.approx(lift * analysis.project.panel.seam_spacing, rel=1e-6)
    assert clip.held >= clip.free


def test_every_number_of_a_purlin_has_its_own_pattern(tmp_path):
    """Two equal spans: the end of one, the middle frame and the span want different spans loaded."""
    held = made(tmp_path, _asce(*PURLINS)).building.held
    q = [case.startswith("balanced") for case in held.cases].index(True)
    told = {name: words[q, 0] for name, words in held.patterns.items()}
    assert told["reaction"] == told["hogging"] == told["shear"] == "full on all spans"
    assert "half" in told["sagging"]


def test_equal_patterns_are_told_as_full(tmp_path):
    """A cantilever's moment is the same however the span beyond is loaded: full is named."""
    held = made(tmp_path, _asce('purlins = ["0.5 m", "3.5 m"]', 'frames = ["3.7 m", "6 m"]')).building.held
    q = [case.startswith("balanced") for case in held.cases].index(True)
    assert held.hogging[q, 0] == pytest.approx(held.peak[q, 0] * 3.7**2 / 2.0, rel=1e-9)
    assert held.patterns["hogging"][q, 0] == "full on all spans"


def test_the_largest_line_is_named_beside_the_one_that_rises_most():
    """Line b rises by 3, line c is larger; each with its own numbers and case."""
    held = np.array([[1.0, 4.0, 9.0], [1.0, 5.0, 8.0]])
    free = np.array([[1.0, 2.0, 8.0]])
    found = list(_worst_lines(("S1", "load", "line"), ("a", "b", "c"), held, free, ("one", "two")))
    assert [(d.place, d.held, d.free, d.case) for d in found] == [
        ("b, rises most", 5.0, 2.0, "two"),
        ("c, the largest", 9.0, 8.0, "one"),
    ]
    same = list(_worst_lines(("S1", "load", "line"), ("a", "b", "c"), held, held, ("one", "two")))
    assert [(d.place, d.held) for d in same] == [("c", 9.0)]
