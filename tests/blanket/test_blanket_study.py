"""The layer on projects: rows, clamps and stops against the tributary values, and the sum of all forces."""

import numpy as np
import pytest

from fea.blanket.study import study_blanket
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.sliding.thrust import slide
from roofmodel.snow.registry import snow_cases
from tests.blanket.blanket_projects import DOOR, HIGH, LOW, STOPS, shed


def answer(study, name):
    return next(a for a in study.answers if a.view.name == name)


def test_one_full_row_carries_all_snow_above_and_what_hangs_below(tmp_path):
    study = study_blanket(shed(tmp_path))
    above = study.tributary_clamp.sum()
    run = 5.0 / np.cos(np.radians(25.0))
    for a in study.answers:
        assert a.balance.error < 1e-9
        assert a.balance.sideways < 1e-9
        assert a.clamp.sum() == pytest.approx(a.row.sum(), rel=1e-6)
        assert a.row.sum() + a.balance.leaves == pytest.approx(a.balance.driving, rel=1e-9)
    coherent, cracked = answer(study, "coherent"), answer(study, "cracked")
    assert coherent.row.sum() == pytest.approx(above * run / (run - 0.5), rel=1e-3)  # all of it hangs
    assert cracked.row.sum() == pytest.approx(above, rel=0.04)
    assert study.proven


def test_tributary_lines_and_streams_lose_nothing_on_their_way_to_the_stations(tmp_path):
    from fea.blanket.setting import spread

    study = study_blanket(shed(tmp_path, HIGH + LOW + DOOR.replace("low", "door").replace("0.5 m", "1.5 m")))
    width = np.diff(study.setting.stations.span, axis=1)[:, 0]
    force, q = study.setting.force, study.setting.q
    for row in range(3):
        exact = -force.thrust[q, force.row == row, 1].sum()
        on = study.setting.stations.row == row
        assert (study.tributary_line * width)[on].sum() == pytest.approx(exact, rel=1e-9)
    ends = np.zeros_like(force.thrust[q])
    ends[
        np.flatnonzero(np.diff(force.row, append=99)), 1
    ] = -100.0  # what valleys do: at the end of every row
    assert spread(study.setting.stations, force, ends)[:, 1].sum() == pytest.approx(-300.0)


def test_weight_on_the_layer_is_that_of_the_sliding_analysis(tmp_path):
    project = shed(tmp_path)
    study = study_blanket(project)
    cases = snow_cases(project.roof, project.site, project.layout.row_plane).cases
    force = slide(project.roof, cases, project.layout, project.slide)[1]
    driving = force.balance.driving[study.setting.q]
    for a in study.answers:
        assert a.balance.driving == pytest.approx(driving, rel=1e-9)


def test_ends_of_a_partial_row_take_more_and_less_than_the_bound(tmp_path):
    study = study_blanket(shed(tmp_path, DOOR))
    bound = study.tributary_clamp.sum() + study.end_bound.sum()
    for a in study.answers:
        assert a.row[0] > 1.1 * study.tributary_clamp.sum()
        assert a.row[0] < 1.3 * bound
        more = a.clamp / study.tributary_clamp
        assert min(more[0], more[-1]) > more[len(more) // 2]
        assert a.line == pytest.approx(a.line[::-1], rel=0.02)  # the roof is symmetric about the door
        assert a.balance.leaves > 0.0


def test_two_rows_share_and_tension_loads_the_upper_one(tmp_path):
    study = study_blanket(shed(tmp_path, LOW + HIGH))
    coherent, cracked = answer(study, "coherent"), answer(study, "cracked")
    assert coherent.row[1] > 1.05 * cracked.row[1]
    assert coherent.row[0] / coherent.row[1] < cracked.row[0] / cracked.row[1]
    assert coherent.row.sum() == pytest.approx(coherent.balance.driving, rel=1e-3)


def test_friction_takes_its_part(tmp_path):
    study = study_blanket(shed(tmp_path, friction=0.2))
    for a in study.answers:
        b = a.balance
        assert 0.3 < b.friction / b.driving <= 0.2 / np.tan(np.radians(25.0)) + 1e-9
        assert b.rows + b.friction + b.leaves == pytest.approx(b.driving, rel=1e-9)


def test_bond_of_ice_holds_all_and_a_thaw_front_hands_it_to_the_row(tmp_path):
    bond = 'thaw_from = "eave"\nthaw_steps = 3\n[[blanket.bonded]]\nplane = "S1"\nstrength = "100 kPa"\n'
    study = study_blanket(shed(tmp_path, blanket=bond))
    row = [a.row.sum() for a in study.answers[2:]]
    assert len(row) == 3
    assert row[0] < 0.1 * row[1] < row[2]
    assert row[2] < study.answers[0].row.sum()
    for a in study.answers[2:]:
        b = a.balance
        assert b.rows + b.bond + b.leaves == pytest.approx(b.driving, rel=1e-9)


def test_weak_bond_is_lost(tmp_path):
    bond = '[[blanket.bonded]]\nplane = "S1"\nstrength = "50 Pa"\n'
    study = study_blanket(shed(tmp_path, blanket=bond))
    bonded = answer(study, "bonded")
    assert bonded.view.lost.all()
    assert bonded.row.sum() == pytest.approx(answer(study, "coherent").row.sum(), rel=0.02)


def test_turned_roof_gives_the_same_clamp_forces(tmp_path):
    one = study_blanket(shed(tmp_path, DOOR))
    text_fall = "0 deg"
    other = study_blanket(shed(tmp_path, DOOR, fall=text_fall))
    for a, b in zip(one.answers, other.answers, strict=True):
        assert a.clamp == pytest.approx(b.clamp, rel=1e-3)


def test_stops_hold_and_a_row_of_them_shares_evenly(tmp_path):
    study = study_blanket(shed(tmp_path, STOPS))
    a = answer(study, "coherent")
    assert a.stop.sum() == pytest.approx(a.balance.stops, rel=1e-9)
    assert a.stop.sum() + a.balance.leaves == pytest.approx(a.balance.driving, rel=1e-9)
    inner = a.stop[4:-4]
    assert np.ptp(inner) < 0.1 * inner.mean()
    assert (a.stop_use > 0.0).all()


def test_staggered_courses_sit_on_every_other_seam(tmp_path):
    project = shed(tmp_path, STOPS + 'courses = 2\ncourse_spacing = "1 m"\nevery = 2\nstagger = 1\n')
    low, high = (project.stops.seam[project.stops.course == k] for k in (0, 1))
    assert set(low.tolist()).isdisjoint(high.tolist())
    assert np.ptp(project.stops.uv[:, 1]) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("held", "blanket", "words"),
    [
        (LOW, 'case = "none such"', "blanket.case"),
        (LOW, '[[blanket.bonded]]\nplane = "X9"\nstrength = "1 kPa"', "blanket.bonded.plane"),
        (LOW, 'thaw_from = "eave"', "thaw_from"),
        ("", "", "row is missing"),
        (STOPS.replace("120 mm", "500 mm"), "", "stops"),
        (STOPS.replace("0.5 m", "50 m"), "", 'stops "A".up'),
        (STOPS + STOPS, "", "used twice"),
    ],
)
def test_bad_input_names_the_field(tmp_path, held, blanket, words):
    with pytest.raises(InputError, match=words) as told:
        study_blanket(shed(tmp_path, held, blanket))
    assert str(told.value).startswith("project.toml: ")


L_ROOF = """name = "hall"
shape = "hip"
footprint = "0 0, 10 0, 10 8, 5 8, 5 5, 0 5 m"
pitch = "25 deg"
eave_height = "3 m"
[surface]"""


def test_snow_of_a_valley_counts_once_and_leans_on_the_other_side(tmp_path):
    shed(tmp_path, "")
    text = (tmp_path / "project.toml").read_text()
    start, end = text.index('name = "shed"'), text.index("[surface]")
    text = text[:start] + L_ROOF + text[end + len("[surface]") :]
    rows = "".join(f'[[row]]\nname = "{p}"\nplane = "{p}"\nup = "0.4 m"\n' for p in ("N1", "W1"))
    (tmp_path / "project.toml").write_text(text.replace("[blanket]", rows + "[blanket]"))
    project = load_project(tmp_path / "project.toml")
    names = [project.roof.planes.name[p] for p in project.layout.row_plane]
    assert any("valley" in name for name in project.roof.edges.name)
    study = study_blanket(project)
    on = np.isin(study.setting.graph.cells.plane, project.layout.row_plane)
    cells, force = study.setting.graph.cells, study.setting.force
    slope = project.roof.planes.slope[cells.plane[on]]
    own = (force.cell_pressure[study.setting.q] * cells.plan_area)[on] @ np.sin(slope)
    for a in study.answers:
        assert a.balance.driving == pytest.approx(own, rel=1e-6), names
        assert a.balance.valleys >= 0.0
        assert a.balance.error < 1e-9


def test_clamps_beside_a_missing_one_take_its_share(tmp_path):
    whole = study_blanket(shed(tmp_path))
    (tmp_path / "clamps.csv").write_text(
        "row,along [m]\n" + "".join(f"low,{s}\n" for s in np.delete(whole.project.layout.clamp_s, 8))
    )
    project = shed(tmp_path)
    text = (tmp_path / "project.toml").read_text()
    (tmp_path / "project.toml").write_text(
        text.replace("[design]", '[as_built]\nfile = "clamps.csv"\n[design]')
    )
    project = load_project(tmp_path / "project.toml")
    gap = study_blanket(project)
    a, b = answer(whole, "coherent"), answer(gap, "coherent")
    assert b.clamp.sum() == pytest.approx(a.clamp.sum(), rel=1e-3)
    beside = b.clamp[[7, 8]] / a.clamp[[7, 9]]
    assert (beside > 1.1).all()
    assert b.clamp[0] == pytest.approx(a.clamp[0], rel=0.05)
    # The rail gives way in the gap, so the layer's load leaves it for the stiffer rail beside.
    middle = whole.project.layout.clamp_s[8]
    station = np.argmin(np.abs(gap.setting.stations.span.mean(axis=1) - middle))
    assert b.line[station] < a.line[station]


@pytest.mark.parametrize("held", [DOOR, LOW + HIGH])
def test_what_happened_on_the_coarse_mesh_reaches_the_fine_one(tmp_path, monkeypatch, held):
    project = shed(tmp_path, held, 'tensile_strength = "1 kPa"')
    one = study_blanket(project)
    monkeypatch.setattr("fea.blanket.setting.SMALL", 0)
    two = study_blanket(project)
    for a, b in zip(one.answers, two.answers, strict=True):
        assert len(a.view.layer.corner) == len(b.view.layer.corner)
        assert b.balance.error < 1e-9
        assert b.row.sum() == pytest.approx(a.row.sum(), rel=0.1)
    assert (answer(two, "coherent").view.cracked.any()) == (answer(one, "coherent").view.cracked.any())


def test_density_at_the_row_grows_and_keeps_within_ice(tmp_path):
    study = study_blanket(shed(tmp_path, blanket='creep_hours = 200\nbelow_freezing = "2 K"'))
    view = answer(study, "cracked").view
    near = view.layer.center[:, 1] < 1.0
    above = view.layer.center[:, 1] > 0.5
    packed = view.snow.density
    assert packed.max() <= 800.0
    assert packed[near & above].mean() > packed[view.layer.center[:, 1] > 4.5].mean() > 299.9
