"""Span tables: closed forms, monotone tables, nothing lost by leaving out, bands."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.spans import capacity
from fea.spans.bench import LIMITS, STRESS, bench_of, limit_use
from fea.spans.capacity import Capacity, Choices, largest_spans, span_table
from fea.spans.cells import worst_cell
from fea.spans.lines import Arrangement, lines_of, patterns
from fea.spans.rows import solve_rows, unit_force
from fea.spans.study import run_study, study_choices, study_hardware, study_roof
from roofmodel.errors import InputError
from roofmodel.layout import SpliceKind
from roofmodel.project.span_study import load_study

MODEL = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"
SOME = [0, 1, 2, *(pytest.param(case, marks=pytest.mark.slow) for case in (3, 4, 5))]
A = Arrangement
HINGE = SpliceKind.HINGE


def base():
    study = load_study(MODEL)
    return study_roof(study), study_hardware(study, study.variants[0], 0)


def firm(hardware):
    """Clamps that do not give way along, no eccentricity, no weight, no shear deformation."""
    clamp = replace(hardware.clamp, height=0.0, stiffness=np.diag([1e12, 1e12, 1e12, 0.0, 0.0, 0.0]))
    clamp = replace(clamp, stiffness=np.diag([1e11, 1e11, 1e11, 1e-3, 1e6, 1e-3]))
    section = replace(hardware.rail.section, shear_y=np.inf, shear_z=np.inf)
    material = replace(hardware.rail.material, density=0.0)
    return replace(hardware, clamp=clamp, rail=replace(hardware.rail, section=section, material=material))


def rows_of(arrangement, splice=None, unloaded=0.0, span=1.3, many=5):
    roof, hardware = base()
    lines = lines_of(arrangement, many=many, overhang=0.25, unloaded=unloaded, splice=splice)
    return lines, solve_rows(roof, lines, np.full(len(lines), span), firm(hardware), splice)


# Beams of equal spans under even load on all or the worst spans; coefficients of q L (reaction) and q L^2
# (moments over a support and in a span). Handbook tables of continuous beams, from memory.
HANDBOOK = [
    (A.SINGLE, 1.0, 0.5, 0.0, 0.125, 1),
    (A.TWO, 1.0, 1.25, 0.125, 0.0703125, 2),
    (A.TWO, 0.0, 1.25, 0.125, 0.0957031, 2),
    (A.END, 1.0, 43.0 / 38.0, 2.0 / 19.0, 0.0778, 5),
    (A.END, 0.0, 1.218, 0.1196, 0.1001, 5),
]


@pytest.mark.parametrize(("arrangement", "unloaded", "reaction", "support", "inside", "spans"), HANDBOOK)
def test_rows_on_firm_clamps_are_handbook_beams(arrangement, unloaded, reaction, support, inside, spans):
    L = 1.3
    _, rows = rows_of(arrangement, unloaded=unloaded, span=L)
    force = rows.result.clamp_force[0, :, 0]
    moment = np.abs(rows.result.rail_force[0, :, 5])
    at_clamp = np.zeros(len(moment), dtype=bool)
    ends = rows.result.span_s[rows.result.sample_span]
    at_clamp = np.isclose(rows.result.sample_s, ends[:, 0]) | np.isclose(rows.result.sample_s, ends[:, 1])
    assert force.max() / L == pytest.approx(reaction, rel=2e-3)
    if support:
        assert moment[at_clamp].max() / L**2 == pytest.approx(support, rel=2e-3)
    sagging = rows.result.rail_force[0, :, 5] * np.sign(
        rows.result.rail_force[0, np.argmax(np.where(at_clamp, 0.0, moment)), 5]
    )
    assert sagging[~at_clamp].max() / L**2 == pytest.approx(inside, rel=4e-3)


def test_worst_splice_is_found_where_statics_puts_it():
    """A hinge over the middle clamp of two spans makes two single spans."""
    lines, rows = rows_of(A.TWO, SpliceKind.HINGE, unloaded=1.0)
    moment = np.abs(rows.result.rail_force[0, :, 5])
    worst = np.zeros(len(lines))
    np.maximum.at(worst, rows.sample_row, moment)
    at = np.array([line.splice for line in lines])
    # hinge at x L of the first span: M over the clamp q L^2 (1 - x)/2 + statics of the part beyond
    x = at[at < 1.0]
    expected = np.maximum(0.5 * x * (1 - x) + 0.5 * (1 - x) ** 2, x**2 / 8)
    assert worst[at < 1.0] / 1.3**2 == pytest.approx(expected, rel=2e-3)


def test_every_row_carries_what_it_is_given():
    for arrangement in A:
        lines = lines_of(arrangement, many=6, overhang=0.3, unloaded=0.2, splice=None)
        force = unit_force(lines, np.full(len(lines), 0.7))
        roof, hardware = base()
        rows = solve_rows(roof, lines, np.full(len(lines), 0.7), hardware)
        held = np.bincount(rows.layout.clamp_row, rows.result.clamp_force[0, :, 0])
        given = np.bincount(force.row, -force.thrust[0, :, 1])
        assert held == pytest.approx(given, rel=1e-9)


def test_patterns_hold_the_worst_of_all_loadings():
    """Against all 2^5 loadings of five spans: every clamp force and moment of rows on firm clamps."""
    lines, rows = rows_of(A.END)
    known = (rows.result.clamp_force[0, :, 0].max(), np.abs(rows.result.rail_force[0, :, 5]).max())
    shares = np.array(np.meshgrid(*[[0.0, 1.0]] * 5)).reshape(5, -1).T[1:]
    every = [replace(lines[0], share=share) for share in shares]
    roof, hardware = base()
    free = solve_rows(roof, every, np.full(len(every), 1.3), firm(hardware))
    assert known[0] == pytest.approx(free.result.clamp_force[0, :, 0].max(), rel=1e-9)
    assert known[1] == pytest.approx(np.abs(free.result.rail_force[0, :, 5]).max(), rel=1e-9)


def test_mirrored_patterns_are_left_out():
    found = [tuple(share) for share, _ in patterns(5, 0.0)]
    assert len({min(one, one[::-1]) for one in found}) == len(found)
    assert [tuple(share) for share, _ in patterns(4, 1.0)] == [(1.0, 1.0, 1.0, 1.0)]


@pytest.mark.parametrize("case", SOME)
def test_longer_spans_never_carry_more(case):
    """Of any rail and clamp, before the table is made monotone, but for what a shorter span cannot know."""
    draw = np.random.default_rng(case)
    roof, hardware = base()
    section = hardware.rail.section
    grown = float(draw.uniform(0.3, 4.0))
    section = replace(section, I_y=section.I_y * grown, I_z=section.I_z * grown, W_y=section.W_y * grown)
    stiffness = hardware.clamp.stiffness * draw.uniform(0.1, 10.0)
    hardware = replace(
        hardware,
        rail=replace(hardware.rail, section=section),
        clamp=replace(hardware.clamp, stiffness=stiffness, test_height=float(draw.choice([0.0, 0.06]))),
    )
    choices = Choices(
        np.linspace(0.4, 3.0, 14), np.array([1000.0]), tuple(A), overhang=draw.uniform(0.1, 0.5)
    )
    found = span_table(roof, hardware, choices)
    assert (np.diff(found.largest, axis=0) <= 0.0).all()
    raw = found.load.min(axis=2)
    assert (np.diff(raw, axis=0) <= 1e-6 * raw[:-1]).all()
    larger = span_table(
        roof,
        replace(hardware, clamp=replace(hardware.clamp, strength=1.1 * hardware.clamp.strength)),
        choices,
    )
    assert (larger.load >= found.load * (1.0 - 1e-9)).all()


def test_patterns_and_missing_clamps_never_help():
    roof, hardware = base()
    choices = Choices(np.linspace(0.4, 2.0, 3), np.array([1000.0]), (A.TWO, A.END, A.INNER, A.MISSING))
    worst = span_table(roof, hardware, choices).largest
    even = span_table(roof, hardware, replace(choices, unloaded=1.0)).largest
    assert (worst <= even * (1 + 1e-9)).all()
    assert (worst[:, 3] < worst[:, 1]).all()
    spliced = span_table(roof, hardware, replace(choices, splice=SpliceKind.HINGE)).largest
    assert (spliced <= worst * (1 + 1e-9)).all()
    assert (spliced < 0.999 * worst).any()


THIN = """shape = "rectangular tube"
width = "60 mm"
depth = "60 mm"
wall = "1.2 mm"
bearing_length = "60 mm"
"""
BAR = 'shape = "flat bar"\nwidth = "50 mm"\ndepth = "8 mm"\n'
HAT = """shape = "profile"
profile = { shape = "hat", width = "60 mm", depth = "45 mm", lip = "20 mm", wall = "2 mm", hole = [
  { diameter = "9 mm", axis = "normal", at = "12 mm" } ] }
bearing_length = "60 mm"
weld_strength = "120 MPa"
ultimate_strength = "245 MPa"
"""
ROUND = 'shape = "round tube"\ndiameter = "48 mm"\nwall = "3 mm"\n'


def study_of(tmp_path, rail, more=""):
    """The demo with another first rail."""
    text = MODEL.read_text()
    assert ROUND in text
    path = tmp_path / "spans.toml"
    path.write_text(text.replace(ROUND, rail + more))
    return load_study(path)


@pytest.mark.parametrize("rail", [ROUND, THIN, BAR, HAT], ids=["round", "thin", "bar", "hat"])
@pytest.mark.parametrize("warm", ["", 'temperature_change = "-30 K"\n'], ids=["still", "warm"])
def test_nothing_is_lost_by_leaving_out(tmp_path, rail, warm):
    study = study_of(tmp_path, rail, warm)
    roof, hardware = study_roof(study), study_hardware(study, study.variants[0], 0)
    spans = np.linspace(0.4, 2.5, 5)
    for arrangement in (A.END, A.OVERHANG):
        shapes = lines_of(arrangement, many=5, overhang=0.25, unloaded=0.0, splice=None)
        bench = bench_of(roof, shapes, spans, hardware, None)
        load = np.broadcast_to(np.geomspace(50.0, 5e4, 40)[:, None], (len(LIMITS), 40, 5))
        assert len(bench.chosen[STRESS].at) < 0.4 * len(bench.counts_station)
        np.testing.assert_allclose(limit_use(bench, load), limit_use(bench.whole(), load), rtol=1e-9)


@pytest.mark.parametrize(
    ("rail", "first"), [(THIN, "rail local buckling"), (BAR, "rail lateral buckling"), (HAT, "rail at welds")]
)
def test_member_limits_stand_in_the_table_and_govern(tmp_path, rail, first):
    """The limit that governs is named, and a table without it carries more."""
    study = study_of(tmp_path, rail)
    found = run_study(study).rails[0]
    k = LIMITS.index(first)
    assert np.isfinite(found.by_limit[..., k]).all()
    assert (found.by_limit[..., k] < found.by_limit[..., STRESS]).any()
    strong = replace(study_hardware(study, study.variants[0], 0).clamp, strength=np.full(6, 1e9))
    hardware = replace(study_hardware(study, study.variants[0], 0), clamp=strong)
    hardware = replace(hardware, rail=replace(hardware.rail, deflection_ratio=np.nan))
    hardware = replace(hardware, panel=replace(hardware.panel, anchorage=np.nan))
    table = span_table(study_roof(study), hardware, study_choices(study))
    assert (table.governing == k).any()
    without = np.delete(table.load, [k, LIMITS.index("rail lateral buckling")], axis=2).min(axis=2)
    assert (without[table.governing == k] > table.largest[table.governing == k]).all()


@pytest.mark.parametrize("case", SOME)
def test_longer_spans_of_any_thin_rail_never_carry_more(tmp_path, case):
    draw = np.random.default_rng(case)
    wall = f'wall = "{draw.uniform(0.8, 2.5):.2f} mm"'
    rail = re.sub('wall = "[^"]*"', wall, (THIN, BAR, HAT)[case % 3])
    study = study_of(tmp_path, rail, 'temperature_change = "35 K"\n' if case > 2 else "")
    hardware = study_hardware(study, study.variants[0], 0)
    choices = Choices(
        np.linspace(0.4, 3.0, 9), np.array([500.0, 2000.0]), tuple(A), overhang=draw.uniform(0.1, 0.5)
    )
    found = span_table(study_roof(study), hardware, choices)
    assert (np.diff(found.largest, axis=0) <= 0.0).all()
    assert np.isfinite(found.largest).all()
    carried = largest_spans(choices.spans, found.largest, choices.loads)
    assert (np.nan_to_num(carried[1]) <= np.nan_to_num(carried[0])).all()
    weaker = replace(
        hardware, rail=replace(hardware.rail, resistance_factor=1.3 * hardware.rail.resistance_factor)
    )
    less = span_table(study_roof(study), weaker, choices)
    assert (less.largest <= found.largest * (1 + 1e-9)).all()


# Uses at a load x, what each limit's largest load is, and what it is where only leaders are looked at.
UNTOLD = [
    (lambda x: x / 2000.0, 2000.0),
    (lambda x: np.where(x > 2500.0, np.nan, x / 2000.0), 2000.0),  # not known beyond: the load is proved
    (lambda x: np.where(x > 1500.0, np.nan, x / 2000.0), np.nan),
    (lambda x: np.where(x > 1e4, np.nan, 1e-3 + 0.0 * x), np.nan),
    (lambda x: np.where(x < 1500.0, np.nan, x / 2000.0), np.nan),
    (lambda x: 0.5 + 0.0 * x, np.inf),
    (lambda x: np.where(x > 1700.0, 3.0, 0.5), 1700.0),  # sets in at once
    (lambda x: 1.5 + 0.0 * x, 0.0),
]


@pytest.mark.parametrize("hidden", [False, True], ids=["seen", "hidden"])
def test_no_largest_load_is_told_where_a_use_is_not_known(monkeypatch, hidden):
    """Whether the search meets what is not known itself, or only the proof with nothing left out."""
    idle = len(LIMITS) - len(UNTOLD)  # the last are not asked for
    uses = [use for use, _ in UNTOLD] + idle * [lambda x: np.nan * x]

    def found(bench, load, asked=()):
        out = np.stack([use(one) for use, one in zip(uses, load, strict=True)])
        return np.where(np.isnan(out), 1e-4 * load, out) if hidden and not bench.complete else out

    whole = SimpleNamespace(spans=1, there=lambda limit: limit < len(UNTOLD), complete=True)
    few = SimpleNamespace(**{**vars(whole), "complete": False, "whole": lambda: whole})
    monkeypatch.setattr(capacity, "limit_use", found)
    expected = [load for _, load in UNTOLD] + idle * [np.inf]
    np.testing.assert_allclose(capacity._largest(few)[:, 0], expected, rtol=1e-6)


def test_of_equal_limits_the_first_is_named():
    load = np.full((1, 1, len(LIMITS)), np.inf)
    load[0, 0, 4], load[0, 0, 5] = 700.0 * (1 + 1e-12), 700.0
    assert Capacity(load, load[:, :, None]).governing[0, 0] == 4
    load[0, 0, 5] = 699.0
    assert Capacity(load, load[:, :, None]).governing[0, 0] == 5
    load[0, 0, 1] = np.nan
    assert Capacity(load, load[:, :, None]).governing[0, 0] == -1


def test_thin_square_tubes_lose_nothing_sideways_while_hardly_squeezed(tmp_path):
    """The little compression that eccentric clamps bring is none of the reasons to buckle sideways."""
    found = run_study(study_of(tmp_path, THIN)).rails[0]
    local, sideways = (found.by_limit[..., LIMITS.index(f"rail {k} buckling")] for k in ("local", "lateral"))
    assert np.isinf(sideways[:2, :5]).all()
    assert (sideways >= 0.97 * local).all()


def test_round_tubes_are_named_by_their_stress():
    """Where nothing buckles sideways, the stress of the rail is what is reached, in table and cell."""
    roof, hardware = base()
    choices = Choices(np.array([1.2]), np.array([1000.0]), (A.SINGLE,))
    found = span_table(roof, hardware, choices)
    assert LIMITS[found.governing[0, 0]] == "rail stress"
    cell = worst_cell(roof, hardware, choices, A.SINGLE, 1.2, float(found.largest[0, 0]))
    assert cell.limit == "rail stress"
    assert cell.utilization == pytest.approx(1.0, abs=1e-9)


def test_rows_that_are_not_alike_from_both_ends_take_mirrored_patterns():
    """Clamp 2 of 6 missing: the piece over its gap is loaded with and without neighbors on either side."""
    lines = lines_of(A.MISSING, many=5, overhang=0.25, unloaded=0.0, splice=None)
    shares = {tuple(line.share.tolist()) for line in lines if "clamp 2 missing" in line.words}
    for share in ((0.0, 1.0, 0.0, 1.0), (1.0, 0.0, 1.0, 0.0), (1.0, 1.0, 0.0, 1.0), (1.0, 0.0, 1.0, 1.0)):
        assert share in shares
    with_splice = {line.splice for line in lines_of(A.TWO, many=5, overhang=0.0, unloaded=0.0, splice=HINGE)}
    assert 1.0 in with_splice


def test_splices_and_missing_clamps_meet_their_worst_clamp_force():
    """Against all loadings, missing clamps and splices tried on both halves of five spans on firm clamps."""
    lines, rows = rows_of(A.INNER, HINGE)
    counts = np.concatenate([line.counts_clamp for line in lines])
    known = np.where(counts, rows.result.clamp_force[0, :, 0], 0.0).max()
    shares = np.array(np.meshgrid(*[[0.0, 1.0]] * 5)).reshape(5, -1).T[1:]
    places = [one for one in lines if one.words.startswith("all pieces")]
    every = [replace(line, share=share) for line in places[::3] for share in shares]
    roof, hardware = base()
    free = solve_rows(roof, every, np.full(len(every), 1.3), firm(hardware), HINGE)
    counts = np.concatenate([line.counts_clamp for line in every])
    worst = np.where(counts, free.result.clamp_force[0, :, 0], 0.0).max()
    assert known >= worst * (1.0 - 1e-9)


def test_walls_that_nobody_knows_give_no_load(tmp_path):
    """A wavy outline: local buckling is not known, so that nothing is promised."""
    t = np.linspace(0, np.pi, 30)
    arc = np.concatenate([np.c_[30 * np.cos(t), 30 * np.sin(t)], np.c_[27 * np.cos(t), 27 * np.sin(t)][::-1]])
    points = ", ".join(f"{y:.4f} {z:.4f}" for y, z in arc)
    found = run_study(study_of(tmp_path, f'shape = "profile"\nprofile = {{ points = "{points} mm" }}\n'))
    assert not found.verified
    assert np.isnan(found.rails[0].low).all()
    assert any("NOT VERIFIED" in note for note in found.notes)


def test_ranges_become_bands(tmp_path):
    found = run_study(load_study(MODEL))
    low = tmp_path / "low.toml"
    low.write_text(MODEL.read_text().replace("6.8 to 7.6 kN", "6.8 kN"))
    sharp = run_study(load_study(low))
    assert any("NOT COUNTED in any limit of Cove 48: crushing on clamps" in note for note in found.notes)
    for band, line in zip(found.rails, sharp.rails, strict=True):
        assert band.low == pytest.approx(line.low, rel=1e-9)
        assert (line.low == line.high).all()
        assert (band.high >= band.low).all()
        assert (band.high > 1.01 * band.low).any()


def test_a_missing_strength_gives_no_load(tmp_path):
    path = tmp_path / "spans.toml"
    path.write_text(MODEL.read_text().replace(', push = "7.5 kN" }', " }"))
    found = run_study(load_study(path))
    assert not found.verified
    assert np.isnan(found.rails[0].low).any()
    assert any("NOT VERIFIED" in note for note in found.notes)
    assert "Loaded there, and not given: clamp.strength.push." in found.notes


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('spans = ["0.4 m", ', 'spans = ["0.2 m", ', "seam_spacing"),
        ('name = "Cove 60"', 'name = "Cove 48"', "twice"),
        ('slope = "30 deg"', 'slope = "0 deg"', "study.slope"),
        ('along = "6.8 to 7.6 kN"', 'along = "6.8 to 7.6 kg"', "clamp.strength.along"),
        ('"single span", ', '"no span", ', "single span"),
        ('shape = "round tube"', 'shape = "profile"', "rail.profile is missing"),
    ],
)
def test_bad_studies_are_refused_in_one_line(tmp_path, old, new, words):
    path = tmp_path / "spans.toml"
    assert old in MODEL.read_text()
    path.write_text(MODEL.read_text().replace(old, new))
    with pytest.raises(InputError, match=words) as caught:
        load_study(path)
    assert "\n" not in str(caught.value)


def test_choices_are_those_of_the_file():
    choices = study_choices(load_study(MODEL))
    assert len(choices.arrangements) == 6
    assert (np.diff(choices.spans) > 0).all()
