"""Campaigns: nothing is dropped in silence, more tests help as they do, and the command speaks of it."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from scipy import stats

import viewer
from fea.strength_tests.campaign import judge, more_tests
from fea.strength_tests.fractiles import fractile_factor, tolerance_factor
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from viewer.cli import main
from viewer.quantities import quantity, system
from viewer.strength.chart import label_rows
from viewer.strength.export import campaign_data
from viewer.strength.words import answer, more_tables, strengths_table

HEAD = """
[campaign]
name = "Made up"
[specimen]
clamp = "C"
direction = "pull"
seam = "double lock"
seam_height = "32 mm"
metal = "steel"
thickness = "0.6 mm"
substrate = "boards"
screw_torque = "13 N*m"
"""


def campaign(tmp_path, values, method="", more=None):
    text = ('file = "t.csv"\n' if more == "csv" else "") + HEAD
    if method:
        text += f"[method]\n{method}\n"
    if more == "csv":
        lines = ["test,strength [kN]", *(f"T{i},{v}" for i, v in enumerate(values, 1))]
        (tmp_path / "t.csv").write_text("\n".join(lines))
    else:
        for i, v in enumerate(values, 1):
            text += f'[[test]]\nname = "T{i}"\nstrength = "{v} kN"\n{(more or {}).get(i, "")}\n'
    path = tmp_path / "c.toml"
    path.write_text(text)
    return load_campaign(path)


VALUES = (5.3, 5.6, 5.1, 5.7, 4.9, 5.5)


def test_characteristic_by_hand(tmp_path):
    found = judge(campaign(tmp_path, VALUES, 'distribution = "normal"\npartial_factor = 1.25')).justified
    mean, s = np.mean(VALUES), np.std(VALUES, ddof=1)
    assert found.characteristic == pytest.approx(1e3 * (mean - 2.1769 * s), rel=1e-4)
    assert found.design == pytest.approx(found.characteristic / 1.25)


def test_csv_and_tables_say_the_same(tmp_path):
    a = judge(campaign(tmp_path, VALUES)).justified
    b = judge(campaign(tmp_path, VALUES, more="csv")).justified
    assert a == b


def test_a_suspect_counts_until_it_is_excluded(tmp_path):
    values = (*VALUES, 1.9)
    found = judge(campaign(tmp_path, values))
    assert found.suspect == 6
    assert found.counted.all()
    assert found.without is not None
    assert found.without.characteristic > found.justified.characteristic
    assert any("may not belong" in note for note in found.notes)
    excluded = judge(campaign(tmp_path, values, more={7: 'excluded = "screw not tightened"'}))
    assert excluded.justified.sample.count == 6
    assert excluded.all_tests is not None
    assert excluded.all_tests.characteristic == pytest.approx(found.justified.characteristic)
    assert any("screw not tightened" in note for note in excluded.notes)
    assert len(campaign_data(excluded)["tests"]) == 7


def test_order_of_the_tests_does_not_matter(tmp_path):
    a, b = judge(campaign(tmp_path, VALUES)), judge(campaign(tmp_path, VALUES[::-1]))
    assert a.justified.characteristic == pytest.approx(b.justified.characteristic, rel=1e-12)


def test_a_known_scatter_counts(tmp_path):
    method = 'known_scatter = 0.1\nscatter_reason = "40 earlier tests"\ndistribution = "normal"'
    found = judge(campaign(tmp_path, VALUES, method))
    k = float(fractile_factor(6, known=True))
    assert found.justified.characteristic == pytest.approx(1e3 * np.mean(VALUES) * (1.0 - 0.1 * k), rel=1e-9)
    assert any("40 earlier tests" in note for note in found.notes)


def test_more_tests_agree_with_drawing_them_out(tmp_path):
    """A plain loop over draws of mean, scatter and one more test, by another route (logs, scipy's t)."""
    one = campaign(tmp_path, VALUES)
    found = more_tests(np.array(VALUES) * 1e3, one)
    rng = np.random.default_rng(99)
    logs = np.log(np.array(VALUES) * 1e3)
    n, mean, s = 6, logs.mean(), logs.std(ddof=1)
    # Predictive distribution of one more value: mean + s sqrt(1 + 1/n) t.
    later = mean + s * np.sqrt(1.0 + 1.0 / n) * rng.standard_t(n - 1, 40_000)
    all_ = np.concatenate([np.tile(logs, (len(later), 1)), later[:, None]], axis=1)
    k = float(fractile_factor(7, known=False))
    share = np.exp(all_.mean(axis=1) - k * all_.std(axis=1, ddof=1)) / judge(one).justified.characteristic
    np.testing.assert_allclose(
        [found.middle[0], found.low[0], found.high[0]], np.quantile(share, [0.5, 0.1, 0.9]), rtol=0.01
    )


def phi_by_hand(n, scatter, reliability):
    """AISI S100-16 Eqs. K2.1.1-2 and -4 written out, with C_P = (1 + 1/n) m / (m - 2), from memory."""
    (M_m, V_M), (F_m, V_F) = reliability.material, reliability.fabrication
    C_P = (1.0 + 1.0 / n) * (n - 1.0) / (n - 3.0)
    V_P = np.maximum(scatter, 0.065)
    return 1.52 * M_m * F_m * np.exp(-3.5 * np.sqrt(V_M**2 + V_F**2 + C_P * V_P**2 + 0.21**2))


@pytest.mark.parametrize(("added", "at"), [(1, 0), (3, 2)])
def test_more_tests_in_asd_and_lrfd_agree_with_drawing_them_out(tmp_path, added, at):
    """Another route: rows of mean and scatter from scipy, all samples kept, phi of each written out."""
    one = campaign(tmp_path, VALUES)
    found, now = more_tests(np.array(VALUES) * 1e3, one), judge(one).justified
    logs = np.log(np.array(VALUES) * 1e3)
    n, s = len(logs), logs.std(ddof=1)
    sigma = s * np.sqrt((n - 1) / stats.chi2.rvs(n - 1, size=(40_000, 1), random_state=5))
    mean = stats.norm.rvs(logs.mean(), sigma / np.sqrt(n), random_state=6)
    later = np.exp(stats.norm.rvs(mean, sigma, size=(40_000, added), random_state=7))
    whole = np.hstack([np.tile(np.exp(logs), (40_000, 1)), later])
    average = whole.mean(axis=1)
    r = now.factor.reliability
    lrfd = phi_by_hand(n + added, whole.std(axis=1, ddof=1) / average, r) * average
    np.testing.assert_allclose(
        found.factored[:, at], np.quantile(lrfd / now.lrfd, [0.5, 0.1, 0.9]), rtol=0.01
    )
    np.testing.assert_allclose(
        found.factored[:, at], np.quantile(lrfd / 1.6 / now.asd, [0.5, 0.1, 0.9]), rtol=0.01
    )


def test_without_scatter_more_tests_gain_what_the_correction_loses(tmp_path):
    """V_P is held at 0.065, so the gain is that of C_P = 3.75, 2.4, 1.94 ... alone (K2.1.1)."""
    values = [7.53, 7.52, 7.54, 7.53]
    one = campaign(tmp_path, values)
    found, r = more_tests(np.array(values) * 1e3, one), judge(one).justified.factor.reliability
    n = 4 + found.added
    np.testing.assert_allclose(found.factored[0], phi_by_hand(n, 0.0, r) / phi_by_hand(4, 0.0, r), rtol=2e-3)
    assert (np.diff(found.factored[0]) > 0.0).all()
    result = judge(one)
    rows = more_tables(result)[1].rows
    assert [row[:2] for row in rows[:3]] == [("1 more", "2.40"), ("2 more", "1.94"), ("3 more", "1.71")]
    assert rows[2][2] == quantity(result.justified.asd * result.more.factored[0, 2], "force", system("SI"))
    assert rows[2][3] == quantity(result.justified.lrfd * result.more.factored[0, 2], "force", system("SI"))


def test_the_lowest_test_holds_down_what_more_would_buy(tmp_path):
    """Where today's fractile is the lowest test, further tests can only lower it."""
    values = (*VALUES, *VALUES, 4.55)
    one = campaign(tmp_path, values)
    assert judge(one).justified.characteristic == pytest.approx(4550.0)
    assert (judge(one).more.high <= 1.0 + 1e-12).all()


def test_a_fractile_above_the_lowest_test_is_told_with_what_it_costs(tmp_path):
    values = (*VALUES, *VALUES, 4.55)
    found = judge(campaign(tmp_path, values, 'distribution = "normal"'))
    mean, s = np.mean(values), np.std(values, ddof=1)
    k = stats.t.ppf(0.95, len(values) - 1) * np.sqrt(1.0 + 1.0 / len(values))
    assert found.justified.fractile == pytest.approx(1e3 * (mean - k * s))
    assert found.justified.fractile > found.justified.characteristic == pytest.approx(4550.0)
    rows = {row[0]: row for row in strengths_table(found).rows}
    assert rows["5 % fractile, not held to the lowest test"][1] == "4.63 kN"
    assert "lowest test" in rows["Characteristic strength, 5 %"][2]
    assert any("more tests cannot raise it" in note and "4.63 kN" in note for note in found.notes)
    plain = strengths_table(judge(campaign(tmp_path, VALUES))).rows
    assert not any("not held" in row[0] for row in plain)


@pytest.mark.parametrize(
    ("values", "method", "scatter", "source"),
    [
        ((5.0,) * 4, "", 0.03, "taken (judgment)"),
        (VALUES, "", None, "from the tests"),
        (VALUES, 'known_scatter = 0.1\nscatter_reason = "earlier tests"', 0.1, "known"),
        ((3.0, 5.0, 7.0), 'known_scatter = 0.05\nscatter_reason = "a hope"', None, "from the tests"),
    ],
)
def test_scatter_is_of_one_size_in_every_row_and_says_where_it_is_from(
    tmp_path, values, method, scatter, source
):
    """95 % above with 75 % confidence: the exponential of mean less k times deviation, of logarithms."""
    found = judge(campaign(tmp_path, values, method))
    logs = np.log(1e3 * np.array(values))
    spread = logs.std(ddof=1) if scatter is None else np.sqrt(np.log1p(scatter**2))
    k = float(tolerance_factor(len(values)))
    assert found.justified.tolerance == pytest.approx(np.exp(logs.mean() - k * spread))
    (row,) = (row for row in strengths_table(found).rows if row[0].startswith("Scatter"))
    assert row[2].startswith(source)
    assert ("(not from them)" in answer(found)) == (scatter is not None)


def test_no_label_of_the_picture_crosses_the_line_of_another():
    draw = np.random.default_rng(4)
    for _ in range(200):
        places, widths = np.sort(draw.uniform(0.0, 1000.0, 5)), draw.uniform(80.0, 260.0, 5)
        rows = label_rows(places.tolist(), widths.tolist())
        for i, (at, width) in enumerate(zip(places, widths, strict=True)):
            under = (places > at - width) & (places < at)
            assert not (under & (np.array(rows) >= rows[i])).any()
    assert label_rows([100.0, 500.0, 900.0], [90.0, 90.0, 90.0]) == [0, 0, 0]


def test_a_curve_without_units_is_told_that_heads_may_have_them(tmp_path):
    path = campaign(tmp_path, VALUES).path
    (tmp_path / "c.csv").write_text("displacement,force\n0.0,0 kN\n1.0,2 kN\n")
    path.write_text(path.read_text().replace('strength = "5.3 kN"', 'curve = "c.csv"'))
    with pytest.raises(InputError, match=r'"0\.0" has no unit; .* in the head, like "displacement \[mm\]"'):
        load_campaign(path)


def test_what_more_would_buy_is_doubted_where_the_tests_are(tmp_path):
    plain = judge(campaign(tmp_path, VALUES))
    assert plain.more_without is None
    assert not any("RELY" in note or "hangs on" in note for note in plain.notes)
    odd = judge(campaign(tmp_path, (*VALUES, 1.9)))
    assert any("DO NOT RELY" in note for note in odd.notes)
    assert any("hangs on T7" in note for note in odd.notes)
    np.testing.assert_allclose(odd.more_without.middle, plain.more.middle)


def test_fewer_tests_have_more_to_gain(tmp_path):
    few = more_tests(np.array(VALUES[:3]) * 1e3, campaign(tmp_path, VALUES[:3]))
    many = more_tests(np.array(VALUES * 3) * 1e3, campaign(tmp_path, VALUES))
    assert few.middle[2] > many.middle[2]
    assert (np.diff(few.middle[:4]) > 0.0).all()  # later the lowest of many tests holds it down


def test_two_tests_are_refused(tmp_path):
    with pytest.raises(InputError, match="at least 3"):
        judge(campaign(tmp_path, VALUES[:2]))


def test_demo_runs_and_keeps_its_schema(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(
        "sys.argv",
        ["eavewright", "tests", "models/brackwater-clamp/tests.toml", "--out", str(tmp_path / "t"), "--json"],
    )
    main()
    said = json.loads(capsys.readouterr().out)
    schema = json.loads((Path(viewer.__file__).parent / "tests.schema.json").read_text())
    jsonschema.validate(said, schema)
    assert (tmp_path / "t" / "tests.png").stat().st_size > 10_000
    page = (tmp_path / "t" / "tests.html").read_text()
    assert "licensed engineer" in page
    assert said["valid_for"].split(",")[0] in page


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('name = "Made up"', "", "campaign.name is missing"),
        ('direction = "pull"', 'direction = "up"', "specimen.direction"),
        ('thickness = "0.6 mm"', 'thickness = "0.6"', "has no unit"),
        ('strength = "5.3 kN"', "", 'test "T1": give either strength'),
        ('strength = "5.3 kN"', 'curve = "no.csv"', "there is no such file"),
        ('name = "T2"', 'name = "T1"', "is used twice"),
        ("[campaign]", "[compaign]", "is not a field of this file"),
        ('strength = "5.3 kN"', 'strength = "-5.3 kN"', "must be greater than zero"),
    ],
)
def test_bad_campaigns_are_named(tmp_path, old, new, says):
    campaign(tmp_path, VALUES)
    path = tmp_path / "c.toml"
    path.write_text(path.read_text().replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        judge(load_campaign(path))
    assert says in str(caught.value)
    assert str(caught.value).startswith("c.toml: ")
    assert "\n" not in str(caught.value)


def test_known_scatter_that_the_tests_speak_against_is_not_used(tmp_path):
    """Strengths 7, 8.1, 9 kN scatter by 0.125; a "known" 0.02 is beyond chance and gives nothing."""
    plain = judged(tmp_path, "", (7.0, 8.1, 9.0))
    told = judged(tmp_path, 'known_scatter = 0.02\nscatter_reason = "hope"\n', (7.0, 8.1, 9.0))
    assert told.justified.characteristic == plain.justified.characteristic
    assert told.justified.asd == plain.justified.asd
    assert any("IS NOT USED" in note for note in told.notes)
    close = judged(tmp_path, 'known_scatter = 0.10\nscatter_reason = "40 tests"\n', (7.0, 8.1, 9.0))
    assert close.justified.k == pytest.approx(1.89, abs=0.01)  # EN 1990 Table D1, V known, n = 3
    assert close.justified.factor.professional_scatter >= plain.justified.sample.scatter


def test_equal_tests_get_no_certainty_and_no_fractile_stands_above_a_test(tmp_path):
    equal = judged(tmp_path, "", (8.0, 8.0, 8.0))
    assert equal.justified.characteristic < 0.92 * 8.0e3
    odd = judged(tmp_path, "", (8.0, 8.1, 7.9, 8.05, 7.95, 8.0, 8.1, 7.9, 6.0))
    assert odd.justified.characteristic <= 6.0e3


def test_clamps_on_seams_are_connections_not_listed(tmp_path):
    """V_F 0.15 (AISI S100 Table K2.1.1-1, from memory); M_m 1 where metal was not brought to nominal."""
    found = judged(tmp_path, "", (7.6, 8.0, 8.4, 7.9))
    took = found.justified.factor.reliability
    assert took.fabrication == (1.0, 0.15)
    assert took.material[0] == 1.0
    assert any("V_F 0.15" in note and "beta_0 3.5" in note for note in found.notes)


@pytest.mark.parametrize(
    ("strengths", "sheets", "says"),
    [
        ((7600, 8000, 8400), (0.6, 0.6, 0.6), r'test "T0"\.strength: 7,?600.* to 200'),
        ((7.6, 8000, 8.4), (0.6, 0.6, 0.6), r'test "T1"\.strength: 8,?000'),
        ((7.6, 8.0, 8.4), (0.6, 0.06, 0.6), r'test "T1"\.thickness: 0.06 mm .* 0.6 mm .*0.8 to 1.25'),
        ((7.6, 8.0, 8.4), (0.6, 0.6, 0.76), r'test "T2"\.thickness: 0.76 mm'),
    ],
)
def test_what_no_clamp_or_sheet_can_be_is_refused(tmp_path, strengths, sheets, says):
    with pytest.raises(InputError, match=says):
        judged(tmp_path, "", strengths, sheets)


def judged(folder, method: str, strengths, sheets=None):
    own = [0.6] * len(strengths) if sheets is None else sheets
    rows = "".join(f"T{i},{value},{own[i]}\n" for i, value in enumerate(strengths))
    (folder / "t.csv").write_text(f"test,strength [kN],thickness [mm]\n{rows}")
    (folder / "t.toml").write_text(
        'file = "t.csv"\n[campaign]\nname = "x"\n[specimen]\nclamp = "C"\ndirection = "along"\n'
        'seam = "double lock"\nseam_height = "32 mm"\nmetal = "steel"\nthickness = "0.6 mm"\n'
        f'substrate = "boards"\nscrew_torque = "10 N m"\n[method]\n{method}'
    )
    return judge(load_campaign(folder / "t.toml"))


def test_more_tests_buy_no_scatter_below_the_least(tmp_path):
    """3 % is taken today and after: where the tests have less, only the factor k gains (EN 1990 D7.2)."""
    values = [7.53, 7.52, 7.54, 7.53]
    found = more_tests(np.array(values) * 1e3, campaign(tmp_path, values))
    k = np.array([float(fractile_factor(n, known=False)) for n in (4, 5, 6, 7)])
    gain = np.exp(np.sqrt(np.log1p(0.03**2)) * (k[0] - k[1:]))
    np.testing.assert_allclose(found.middle[:3], gain, rtol=1e-3)
    assert 1.005 < found.middle[0] < 1.012
    known = campaign(tmp_path, values, 'known_scatter = 0.01\nscatter_reason = "years of tests"')
    k = np.array([float(fractile_factor(n, known=True)) for n in (4, 5, 6, 7)])
    gain = np.exp(np.sqrt(np.log1p(0.03**2)) * (k[0] - k[1:]))
    np.testing.assert_allclose(more_tests(np.array(values) * 1e3, known).middle[:3], gain, rtol=1e-3)


def test_columns_of_a_csv_file_are_those_of_the_tables(tmp_path):
    path = campaign(tmp_path, VALUES).path
    lines = [f"T{k},{value} kN,{300 if k else 280} MPa," for k, value in enumerate(VALUES)]
    lines[2] += "screws not tightened"
    text = (
        path.read_text()
        .split("[[test]]")[0]
        .replace('thickness = "', 'yield_strength = "250 MPa"\nthickness = "', 1)
    )
    read = []
    for head in ("yield_strength", "yield"):
        (tmp_path / "all.csv").write_text("\n".join([f"test,strength,{head},excluded", *lines]) + "\n")
        path.write_text('file = "all.csv"\n' + text)
        read.append(load_campaign(path).tests)
    assert [test.yield_strength for test in read[0]] == [280e6, *[300e6] * (len(VALUES) - 1)]
    assert [test.excluded for test in read[0]][2] == "screws not tightened"
    assert read[0] == read[1]
