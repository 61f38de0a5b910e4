"""clamp.toml: pasted into a study or project it brings the strengths of the tests, never more."""

import json
import tomllib

import numpy as np
import pytest
from click.testing import CliRunner

from fea.strength_tests.campaign import judge
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from roofmodel.project.span_study import load_study
from roofmodel.project.tested import tested_notes as notes_of
from roofmodel.units import SYSTEMS
from tests.spans.test_span_command import MODEL
from tests.strength_tests.test_campaign import HEAD, VALUES
from tests.strength_tests.test_rig import softening
from viewer.cli import commands
from viewer.strength.chart import campaign_drawing, odd_tests, spread
from viewer.strength.clamp_file import clamp_text
from viewer.strength.export import campaign_data

MINE = (("# height = ", 'height = "60 mm"  # '), ("# grip_length = ", 'grip_length = "80 mm"  # '))
OF_DIRECTION = {"along": 0.97, "across": 0.93, "pull": 1.0, "push": 1.04}
STIFF = 'stiffness = { along = "2.6 kN/mm", across = "0.9 kN/mm", pull = "4.2 kN/mm" }\n'


def campaign(folder, direction="pull", units="SI", more="", height="", scale=1.0):
    text = HEAD.replace('name = "Made up"', f'name = "Made up"\nunits = "{units}"').replace("pull", direction)
    text = text.replace("[specimen]\n", f"[specimen]\n{height}") + more
    scale *= OF_DIRECTION[direction]
    for i, v in enumerate(VALUES, 1):
        text += f'[[test]]\nname = "T{i}"\nstrength = "{scale * v!r} kN"\n'
    path = folder / f"{direction}.toml"
    path.write_text(text)
    return path


def ran(folder, path, *more):
    out = folder / path.stem
    done = CliRunner().invoke(commands, ["tests", str(path), "--out", str(out), *more])
    assert done.exit_code == 0, done.output
    return out


def pasted(text):
    """The demo study on this clamp and its sheet."""
    for old, new in MINE:
        text = text.replace(old, new)
    if "\nstiffness" not in text:
        text = text.replace("\nstrength =", f"\n{STIFF}strength =")
    demo = MODEL.read_text()
    a, b = demo.index("[clamp]"), demo.index("[[rail]]")
    demo = demo[:a] + text + demo[b:]
    for old, new in (
        ('metal = "aluminum"', 'metal = "steel"'),
        ('seam_height = "70 mm"', 'seam_height = "32 mm"'),
        ('thickness = "0.9 mm"', 'thickness = "0.6 mm"'),
    ):
        demo = demo.replace(old, new, 1)
    return demo


@pytest.mark.parametrize("units", ["SI", "US"])
def test_pasted_into_a_study_it_brings_the_strengths_never_more(tmp_path, units):
    along = campaign(tmp_path, "along", units, height='load_height = "30 mm"\n', scale=0.71)
    other = ran(tmp_path, campaign(tmp_path, "pull", units))
    out = ran(tmp_path, along, "--join", str(other / "tests.json"))
    path = tmp_path / "spans.toml"
    path.write_text(pasted((out / "clamp.toml").read_text()))
    clamp = load_study(path).table.clamp
    for name in ("along", "pull"):
        exact = judge(load_campaign(tmp_path / f"{name}.toml")).justified.characteristic
        assert exact * (1.0 - 1e-3) < getattr(clamp.strength, name) <= exact
    assert clamp.strength.across is None
    assert clamp.strength.push is None
    assert clamp.factor == 1.25
    assert clamp.test_height == pytest.approx(0.03, rel=2e-3)
    assert clamp.tested.directions == ["along", "pull"]
    assert clamp.tested.tests == len(VALUES)
    assert clamp.tested.thickness == pytest.approx(0.6e-3, rel=2e-3)
    assert clamp.tested.screw_torque == pytest.approx(13.0, rel=1e-3)


def test_what_the_tests_leave_open_goes_where_the_strengths_go(tmp_path):
    """No measured sheet, no yield strength, D7.3 below D7.2: said of the span table and of the project."""
    out = ran(tmp_path, campaign(tmp_path, "along"))
    path = tmp_path / "spans.toml"
    path.write_text(pasted((out / "clamp.toml").read_text()))
    table = load_study(path).table
    notes = table.clamp.tested.notes
    assert all(note.startswith(("along: ", "along, format EN: ")) for note in notes)
    assert not any("C_phi" in note or "What more" in note for note in notes)
    assert any("not corrected for the sheet's yield strength" in note for note in notes)
    told = notes_of(table.clamp, table.panel, SYSTEMS["SI"], "EN")
    assert all(any(note in line for line in told) for note in notes)
    found = judge(load_campaign(tmp_path / "along.toml"))
    below = found.justified.direct < found.justified.design
    assert any("EN 1990 D7.3" in note and "clamp.toml takes the LARGER" in note for note in notes) == below
    given = table.clamp.strength.along / table.clamp.factor
    assert given == pytest.approx(max(found.justified.direct, found.justified.design), rel=2e-3)
    other = notes_of(table.clamp, table.panel, SYSTEMS["SI"], "ASD")
    assert not any("D7.3" in line or "5 % fractile" in line for line in other)
    path = tmp_path / "along.toml"
    path.write_text(path.read_text().replace("[[test]]", '[method]\nformat = "ASD"\n[[test]]', 1))
    allowable = judge(load_campaign(path))
    assert any("EN 1990 D7.3" in note for note in allowable.notes) == below
    joined = clamp_text(
        allowable,
        [campaign_data(found) | {"specimen": campaign_data(found)["specimen"] | {"direction": "pull"}}],
    )
    assert "LARGER" not in joined
    assert len(told) - len(other) == sum(", format EN: " in note for note in notes)


def test_lines_for_other_formats_say_what_they_should(tmp_path):
    found = judge(load_campaign(campaign(tmp_path)))
    text = clamp_text(found)
    for form, exact in (("ASD", found.justified.asd), ("LRFD", found.justified.lrfd)):
        after = text.split(f'design.format = "{form}"')[1]
        line = next(x for x in after.splitlines() if x.startswith("#   strength"))
        force = float(tomllib.loads(line.removeprefix("#"))["strength"]["pull"].split()[0])
        assert exact * (1.0 - 1e-3) < 1e3 * force <= exact


def test_a_conversion_gives_design_strengths_without_a_factor(tmp_path):
    found = judge(load_campaign(campaign(tmp_path, more="[method]\nconversion = 0.9\n")))
    table = tomllib.loads(clamp_text(found))["clamp"]
    assert table["strength_kind"] == "design"
    assert "factor" not in table
    assert float(table["strength"]["pull"].split()[0]) <= found.justified.design / 1e3
    np.testing.assert_allclose(found.justified.design, 0.9 * found.justified.characteristic / 1.25)


@pytest.mark.parametrize(("old", "new", "words"), [
    ('"direction": "across"', '"direction": "pull"', "is there twice"),
    ('"metal": "steel"', '"metal": "zinc"', "specimen.metal"),
    ('"thickness": 0.0006', '"thickness": 0.0007', "specimen.thickness"),
    ('"format": "eavewright tests"', '"format": "other"', "format is not that of a tests.json"),
    ('"characteristic": ', '"characteristic": -', "justified.characteristic is not"),
    ('"notes": ', '"note": ', "notes is not"),
    ("{", "", "the file is not"),
])  # fmt: skip
def test_results_that_do_not_belong_together_are_refused(tmp_path, old, new, words):
    other = ran(tmp_path, campaign(tmp_path, "across")) / "tests.json"
    text = json.dumps(json.loads(other.read_text()))
    assert old in text
    other.write_text(text.replace(old, new, 1))
    path = campaign(tmp_path, "pull")
    done = CliRunner().invoke(
        commands, ["tests", str(path), "--join", str(other), "--out", str(tmp_path / "o")]
    )
    assert isinstance(done.exception, InputError)
    assert words in str(done.exception)
    assert not (tmp_path / "o").exists()


def test_a_load_at_the_grip_has_the_height_zero(tmp_path):
    out = ran(tmp_path, campaign(tmp_path, "along", height='load_height = "0 mm"\n'))
    assert tomllib.loads((out / "clamp.toml").read_text())["clamp"]["test_height"].split()[0] == "0"


def test_a_clamp_that_softens_hands_over_both_ends(tmp_path):
    """The study has variants at or beyond both; every report of joined results stands in test_basis."""
    text = HEAD.replace("pull", "along") + "[rig]\n"
    text = text.replace("[specimen]", 'report = "R-1"\n[specimen]', 1)
    u, f = softening()
    for i in range(3):
        rows = "\n".join(f"{a * 1e3:.4f},{b / 1e3 * (1.0 + 0.02 * i):.6f}" for a, b in zip(u, f, strict=True))
        (tmp_path / f"c{i}.csv").write_text(f"displacement [mm],force [kN]\n{rows}")
        text += f'[[test]]\nname = "T{i}"\ncurve = "c{i}.csv"\n'
    (tmp_path / "along.toml").write_text(text)
    found = judge(load_campaign(tmp_path / "along.toml"))
    joined = [{**campaign_data(judge(load_campaign(campaign(tmp_path, "pull")))), "report": "R-2 " * 60}]
    whole = clamp_text(found, joined)
    line = next(x for x in whole.splitlines() if x.startswith("stiffness = "))
    low, high = found.calibration.between
    path = tmp_path / "spans.toml"
    path.write_text(
        pasted(whole.replace(line, line.replace(" }", ', across = "1 kN/mm", pull = "4 kN/mm" }')))
    )
    study = load_study(path)
    ends = [float(one.clamp.stiffness[0, 0]) for one in study.variants]
    assert low * (1.0 - 2e-3) < min(ends) <= low < high <= max(ends) < high * (1.0 + 2e-3)
    assert "R-1" in study.table.clamp.test_basis
    assert ("R-2 " * 60).strip() in study.table.clamp.test_basis
    assert any("softens" in note for note in study.table.clamp.tested.notes)


def test_three_more_tests_go_with_the_clamp(tmp_path):
    """With the scatter known, more tests change k_n alone: exp((k_n - k_n+3) s), EN 1990 Table D1."""
    known = (
        '[method]\ndistribution = "lognormal"\nknown_scatter = 0.12\nscatter_reason = "200 earlier tests"\n'
    )
    found = judge(load_campaign(campaign(tmp_path, "pull", more=known)))
    n, s = len(VALUES), np.sqrt(np.log1p(0.12**2))
    at = found.more.added.tolist().index(3)
    share = np.exp(1.6449 * (np.sqrt(1 + 1 / n) - np.sqrt(1 + 1 / (n + 3))) * s)
    assert found.more.same[at] == pytest.approx(share, rel=1e-4)
    assert found.more.middle[at] == pytest.approx(share, rel=4e-3)
    tested = tomllib.loads(clamp_text(found))["clamp"]["tested"]
    assert tested["three_more"]["en"]["pull"] == pytest.approx(found.more.middle[at], abs=1e-4)
    assert tested["three_more"]["asd_lrfd"]["pull"] == pytest.approx(found.more.factored[0, at], abs=1e-4)
    assert tested["three_more"]["en_low"]["pull"] == pytest.approx(found.more.low[at], abs=1e-4)
    assert tested["three_more"]["asd_lrfd_low"]["pull"] == pytest.approx(found.more.factored[1, at], abs=1e-4)
    assert found.more.low[at] < found.more.middle[at]
    assert tested["series"][0]["tests"] == n
    assert float(tested["series"][0]["mean"].split()[0]) == pytest.approx(
        found.justified.sample.mean / 1e3, rel=1e-3
    )


def test_k_of_more_tests_is_that_of_table_d1(tmp_path):
    """EN 1990 Table D1, scatter unknown: 2.18 for 6, 2.00 for 8, 1.92 for 10, 1.76 for 20 tests."""
    found = judge(load_campaign(campaign(tmp_path)))
    n = len(VALUES)
    table = {6: 2.18, 8: 2.00, 10: 1.92, 20: 1.76}
    shown = {n + int(a): float(k) for a, k in zip(found.more.added, found.more.k, strict=True)}
    both = set(table) & set(shown)
    assert both
    for count in both:
        assert shown[count] == pytest.approx(table[count], abs=0.015)


def test_as_many_ways_to_fail_and_tests_left_out_as_there_are_are_read_again(tmp_path):
    """What `tests` writes is what `span` reads, and the counts of all add up to the tests."""
    text = campaign(tmp_path, "along").read_text()
    for i in range(24):
        text += f'[[test]]\nname = "W{i}"\nstrength = "{5.0 + 0.01 * i} kN"\nfailure = "slid after {i} mm"\n'
    for i in range(45):
        text += f'[[test]]\nname = "X{i}"\nstrength = "6 kN"\nexcluded = "slipped off the rig, {i}"\n'
    (tmp_path / "along.toml").write_text(text)
    found = judge(load_campaign(tmp_path / "along.toml"))
    told = next(note for note in found.notes if note.startswith("The tests failed in"))
    assert "in 24 ways" in told
    assert "and 19 more ways" in told
    assert sum("not count" in note for note in found.notes) == 6
    assert any(note.startswith("40 more of the") for note in found.notes)
    path = tmp_path / "spans.toml"
    path.write_text(pasted(clamp_text(found)))
    (series,) = load_study(path).table.clamp.tested.series
    assert sum(int(one.rpartition("(")[2].rstrip(")")) for one in series.failures) == 24
    assert series.failures[-1] == "and 12 more ways (12)"
    assert series.excluded[-1] == "and 33 more tests"


@pytest.mark.parametrize(("head", "most"), [("failure", 80), ("excluded", 200), ("test", 40)])
def test_words_of_a_csv_file_are_no_longer_than_those_of_the_campaign(tmp_path, head, most):
    heads = ["test", "strength [kN]", "failure", "excluded"]
    for more in (0, 1):
        cells = dict.fromkeys(heads, "") | {"test": "A", "strength [kN]": "5"} | {head: "x" * (most + more)}
        lines = [",".join(heads), ",".join(cells.values()), "B,5.1,,", "C,5.2,,"]
        (tmp_path / "t.csv").write_text("\n".join(lines))
        (tmp_path / "c.toml").write_text('file = "t.csv"\n' + HEAD)
        if not more:
            load_campaign(tmp_path / "c.toml")
            continue
        with pytest.raises(
            InputError, match=rf"t\.csv, line 2: {head}: .* has {most + 1} letters; {most} at"
        ):
            load_campaign(tmp_path / "c.toml")


def test_what_hangs_on_a_suspect_is_not_passed_on(tmp_path):
    path = campaign(tmp_path)
    text = path.read_text()
    found = judge(load_campaign(path))
    assert "[clamp.tested.three_more]" in clamp_text(found)
    path.write_text(text + '[[test]]\nname = "odd"\nstrength = "1.2 kN"\n')
    odd = judge(load_campaign(path))
    assert odd.suspect >= 0
    assert "[clamp.tested.three_more]" not in clamp_text(odd)


def curved(folder, direction, scale, readings):
    """A campaign of three curves that bend over without a loss; `scale` of all forces."""
    text = HEAD.replace("pull", direction)
    for i, part in enumerate((0.97, 1.0, 1.04), 1):
        u = np.linspace(0.0, 6.0, readings)
        rows = [f"{a},{b}" for a, b in zip(u, scale * part * 5.0 * np.tanh(u / 1.6), strict=True)]
        rows.append("8.0,0.5")
        (folder / f"{direction}{i}.csv").write_text("\n".join(["displacement [mm],force [kN]", *rows]))
        text += f'[[test]]\nname = "T{i}"\ncurve = "{direction}{i}.csv"\n'
    path = folder / f"{direction}.toml"
    path.write_text(text)
    return path


def joined(folder, path, *others):
    """`tests` with results of other directions."""
    more = [word for one in others for word in ("--join", str(one / "tests.json"))]
    return CliRunner().invoke(commands, ["tests", str(path), *more, "--out", str(folder / "o")])


def test_one_record_serves_no_two_directions(tmp_path):
    """A copy of tests.toml whose curves were not changed, also one in other units; not in the file alone."""
    pull = curved(tmp_path, "pull", 1.0, 300)
    along = curved(tmp_path, "along", 0.9, 300)
    assert joined(tmp_path, along, ran(tmp_path, pull)).exit_code == 0
    head = (tmp_path / "along2.csv").read_text().splitlines()
    inches = [
        ",".join(
            repr(float(v) / by) for v, by in zip(line.split(","), (25.4, 4.4482216152605e-3), strict=True)
        )
        for line in head[1:]
    ]
    (tmp_path / "pull3.csv").write_text("\n".join(["displacement [in],force [lbf]", *inches]))
    pull.write_text(f'{pull.read_text()}[method]\nheads_checked = "by the load cell\'s own screen"\n')
    done = joined(tmp_path, along, ran(tmp_path, pull))
    assert isinstance(done.exception, InputError)
    text = str(done.exception)
    assert "pull3.csv of pull.toml" in text
    assert "along2.csv of along.toml" in text


def test_records_are_compared_between_joined_files_too_and_missing_ones_are_told(tmp_path):
    across, pull = curved(tmp_path, "across", 0.8, 200), curved(tmp_path, "pull", 1.0, 200)
    (tmp_path / "pull1.csv").write_text((tmp_path / "across2.csv").read_text())
    outs = [ran(tmp_path, one) for one in (across, pull)]
    along = curved(tmp_path, "along", 0.9, 200)
    done = joined(tmp_path, along, *outs)
    assert "pull1.csv" in str(done.exception)
    assert "across2.csv" in str(done.exception)
    old = json.loads((outs[0] / "tests.json").read_text())
    for key in ("near_peak_at", "record"):
        for test in old["tests"]:
            del (test if key == "record" else test["record"])[key]
        (outs[0] / "tests.json").write_text(json.dumps(old))
        assert "cannot be compared" in str(joined(tmp_path, along, outs[0]).exception)


@pytest.mark.parametrize("how", ["cut off", "scaled", "thinned out", "without curves"])
def test_a_copy_is_known_however_it_was_touched(tmp_path, how):
    """Its last row cut off, forces 0.1 % higher, each second reading, its strengths alone; another is not."""
    pull = curved(tmp_path, "pull", 1.0, 300)
    out = ran(tmp_path, pull)
    along = curved(tmp_path, "along", 0.9, 300)
    assert joined(tmp_path, along, out).exit_code == 0
    for i in range(1, 4):
        head, *rows = (tmp_path / f"pull{i}.csv").read_text().splitlines()
        if how == "cut off":
            rows = rows[:-1]
        elif how == "thinned out":
            rows = rows[::2]
        elif how == "scaled":
            cells = [row.split(",") for row in rows]
            rows = [f"{u},{1.001 * float(f):.5g}" for u, f in cells]
        (tmp_path / f"along{i}.csv").write_text("\n".join([head, *rows]) + "\n")
    if how == "without curves":
        own = [test["curve"]["peak"] for test in json.loads((out / "tests.json").read_text())["tests"]]
        bare = "".join(f'[[test]]\nname = "B{i}"\nstrength = "{f:.5g} N"\n' for i, f in enumerate(own))
        text = HEAD.replace("pull", "along")
        along.write_text(text + bare + '[[test]]\nname = "B9"\nstrength = "4.2 kN"\n')
    done = joined(tmp_path, along, out)
    assert isinstance(done.exception, InputError)
    assert "give each direction its own" in str(done.exception)


def test_three_strengths_that_agree_are_no_chance_and_two_may_be(tmp_path):
    pull = campaign(tmp_path, "pull")
    out, kept = ran(tmp_path, pull), [line for line in pull.read_text().splitlines() if "strength =" in line]
    for n, refused in ((2, False), (3, True)):
        own = [*kept[:n], *(f'strength = "{7.3137 + 0.21 * i:.4f} kN"' for i in range(4))]
        tests = "".join(f'[[test]]\nname = "A{i}"\n{line}\n' for i, line in enumerate(own))
        path = tmp_path / "along.toml"
        path.write_text(HEAD.replace("pull", "along") + tests)
        done = joined(tmp_path, path, out)
        assert isinstance(done.exception, InputError) is refused
        assert not refused or "3 strengths of along.toml" in str(done.exception).replace("pull", "along")


@pytest.mark.parametrize(("there", "words"), [(250, ""), (350, "specimen.yield_strength"), (None, "")])
def test_directions_on_sheets_of_two_strengths_are_not_joined(tmp_path, there, words):
    """A sheet of a strength that nobody gave is told by a note: its strengths are not corrected."""
    outs = []
    for direction, metal in (("across", there), ("along", 250)):
        path = campaign(tmp_path, direction)
        if metal:
            own = f'[specimen]\nyield_strength = "{metal} MPa"\n'
            path.write_text(path.read_text().replace("[specimen]\n", own))
        outs.append(path)
    done = joined(tmp_path, outs[1], ran(tmp_path, outs[0]))
    assert words in str(done.exception or "")
    assert isinstance(done.exception, InputError) is bool(words)


def test_one_list_of_strengths_serves_no_two_directions(tmp_path):
    pull = ran(tmp_path, campaign(tmp_path, "pull"))
    same = campaign(tmp_path, "along", scale=OF_DIRECTION["pull"] / OF_DIRECTION["along"])
    assert "are those of along.toml" in str(joined(tmp_path, same, pull).exception)


def test_a_clamp_that_slides_says_by_how_much_its_peaks_are_above_its_proof_loads(tmp_path):
    path = curved(tmp_path, "along", 0.9, 300)
    peak = judge(load_campaign(path))
    text = path.read_text()
    path.write_text(text.replace("[[test]]", '[method]\ntake = "proof"\n[[test]]', 1))
    proof = judge(load_campaign(path)).justified.characteristic
    path.write_text(text)
    assert proof < 0.97 * peak.justified.characteristic
    assert peak.early["proof"].characteristic == pytest.approx(proof)
    note = next(one for one in peak.notes if "moved for good" in one)
    more = 100.0 * (peak.justified.characteristic / proof - 1.0)
    assert f"{more:.0f} % above" in note
    assert SYSTEMS["SI"].text(proof, "force") in note
    assert 'take = "proof"' in note
    assert note in " ".join(clamp_text(peak).split())


@pytest.mark.parametrize("bare", [1, 2])
def test_a_test_without_a_curve_silences_no_warning_of_clamps_that_slide(tmp_path, bare):
    """Three curves tell by how much, the same tests by peaks and by proof loads; two tell that it is so."""
    path = curved(tmp_path, "along", 0.9, 300)
    whole = judge(load_campaign(path))
    more = '[[test]]\nname = "B0"\nstrength = "4.4 kN"\n'
    more += '[[test]]\nname = "B1"\nstrength = "4.5 kN"\n' if bare == 2 else ""
    text = path.read_text()
    if bare == 2:
        text = text.replace('[[test]]\nname = "T3"\ncurve = "along3.csv"\n', "")
    path.write_text(text + more)
    found = judge(load_campaign(path))
    note = next(one for one in found.notes if "moved for good" in one)
    assert "UNSAFE if it creeps" in note
    assert note in " ".join(clamp_text(found).split())
    assert note.startswith("All tests with curves: ")
    if bare == 1:
        peak, proof = whole.justified.characteristic, whole.early["proof"].characteristic
        assert f"{100.0 * (peak / proof - 1.0):.0f} % above" in note
        assert "of the 3 tests with curves" in note
    else:
        assert "% above" not in note


def test_two_ways_to_fail_promise_nothing_of_more_tests_and_say_which_number_counts(tmp_path):
    """The odd one is marked in the picture; one way alone is promised what more tests would buy."""
    path = curved(tmp_path, "along", 0.9, 300)
    text = path.read_text()
    one = text.replace('.csv"\n', '.csv"\nfailure = "slid"\n')
    path.write_text(one)
    alike = judge(load_campaign(path))
    assert "[clamp.tested.three_more]" in clamp_text(alike)
    assert odd_tests(alike) == {}
    path.write_text(one.replace('along3.csv"\nfailure = "slid"', 'along3.csv"\nfailure = "seam torn"'))
    found = judge(load_campaign(path))
    assert "[clamp.tested.three_more]" not in clamp_text(found)
    assert odd_tests(found) == {2: "seam torn"}
    note = next(note for note in found.notes if "failed in 2 ways" in note)
    assert SYSTEMS["SI"].text(found.justified.characteristic, "force") in note
    words = " ".join(text.text for text in campaign_drawing(found).texts)
    for name in ("T1", "T2", "T3", "seam torn"):
        assert name in words


def test_places_of_names_keep_apart_and_their_order():
    places = [100.0, 101.0, 99.0, 300.0]
    moved = np.array(spread(places, 25.0))
    assert np.argsort(moved).tolist() == np.argsort(places).tolist()
    assert (np.diff(np.sort(moved)) >= 25.0 - 1e-9).all()
    assert moved[3] == 300.0
    assert moved[:3].mean() == pytest.approx(100.0)


def test_a_quiet_run_says_why_there_is_no_clamp_file(tmp_path):
    path = campaign(tmp_path, "pull", scale=12.0)
    done = CliRunner().invoke(commands, ["tests", str(path), "--quiet", "--out", str(tmp_path / "o")])
    assert done.exit_code == 1
    assert done.stdout == ""
    assert "no clamp.toml is written" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_notes_of_directions_that_differ_in_numbers_are_one_with_them_in_order(tmp_path):
    outs = [ran(tmp_path, curved(tmp_path, name, part, 200)) for name, part in (("across", 0.6), ("pull", 1))]
    along = curved(tmp_path, "along", 0.9, 200)
    assert joined(tmp_path, along, *outs).exit_code == 0
    notes = tomllib.loads((tmp_path / "o" / "clamp.toml").read_text())["clamp"]["tested"]["notes"]
    (note,) = [one for one in notes if "moved for good" in one]
    assert note.startswith("along, across, pull: ")
    each = [judge(load_campaign(tmp_path / f"{name}.toml")) for name in ("along", "across", "pull")]
    forces = [f"{one.early['proof'].characteristic / 1e3:.2f}" for one in each]
    assert " / ".join(forces) + " kN" in note
