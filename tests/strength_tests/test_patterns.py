"""One table for many curves: it reads as a table of each, in the order that people count."""

from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from fea.spans.study import run_study
from fea.strength_tests.campaign import judge
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from roofmodel.project.span_study import load_study
from tests.strength_tests.test_campaign import HEAD
from viewer.span.terminal import print_study
from viewer.starter import to_do, write_starter
from viewer.strength import words

NAMES = ("P1", "P2", "P10")
PEAKS = (5.1, 5.6, 4.8)


def campaign(folder, tables):
    (folder / "pull").mkdir(exist_ok=True)
    u = np.linspace(0.0, 4.0, 60)
    for i, (name, peak) in enumerate(zip(NAMES, PEAKS, strict=True)):
        f = np.where(u < 3.5, peak * np.tanh((1.0 + 0.1 * i) * u), 0.1 * peak)
        rows = "\n".join(f"{a:.5f},{b:.5f}" for a, b in zip(u, f, strict=True))
        (folder / "pull" / f"{name}.csv").write_text(f"displacement [mm],force [kN]\n{rows}")
    (folder / "c.toml").write_text(HEAD + tables)
    return load_campaign(folder / "c.toml")


PATTERN = '[[test]]\ncurves = "pull/*.csv"\nfailure = "slid"\nthickness = "0.62 mm"\n'


def test_a_pattern_is_a_table_of_each_file(tmp_path):
    each = "".join(
        f'[[test]]\nname = "{one}"\ncurve = "pull/{one}.csv"\nfailure = "slid"\nthickness = "0.62 mm"\n'
        for one in NAMES
    )
    one, other = campaign(tmp_path, PATTERN), campaign(tmp_path, each)
    assert [test.name for test in one.tests] == list(NAMES)  # P10 after P2
    assert one.tests == other.tests
    assert judge(one).justified == judge(other).justified


@pytest.mark.parametrize("names", ['name = "P2"', 'name = "P2"\ncurve = "pull/P2.csv"'])
def test_a_table_of_its_own_says_what_differs(tmp_path, names):
    found = campaign(tmp_path, f'{PATTERN}[[test]]\n{names}\nfailure = "tore"\n')
    assert [(test.name, test.curve, test.failure) for test in found.tests] == [
        ("P1", "pull/P1.csv", "slid"), ("P2", "pull/P2.csv", "tore"), ("P10", "pull/P10.csv", "slid"),
    ]  # fmt: skip
    assert found.tests[1].thickness == pytest.approx(0.62e-3)


def test_its_strength_counts_in_place_of_the_curve_and_its_own_name_too(tmp_path):
    by_strength = campaign(tmp_path, f'{PATTERN}[[test]]\nname = "P2"\nstrength = "4 kN"\n')
    assert judge(by_strength).measured[1] == pytest.approx(4e3)
    renamed = campaign(tmp_path, f'{PATTERN}[[test]]\nname = "second"\ncurve = "./pull/P2.csv"\n')
    assert [test.name for test in renamed.tests] == ["P1", "second", "P10"]
    more = campaign(tmp_path, f'{PATTERN}[[test]]\nname = "old"\nstrength = "4 kN"\n')
    assert [test.name for test in more.tests] == [*NAMES, "old"]


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ('[[test]]\ncurves = "pull/*.txt"\n', 'no file is "pull/*.txt"'),
        (f'{PATTERN}[[test]]\ncurves = "pull/P*.csv"\n', 'is in "pull/*.csv" and in "pull/P*.csv"'),
        ('[[test]]\ncurves = "*/*.csv"\n', "has a * in its folder"),
        (f'{PATTERN}[[test]]\nname = "P3"\n', "no file of that name is in test.curves"),
        ('[[test]]\nname = "P3"\n', "give either strength"),
        (f'{PATTERN}[[test]]\nname = "P1"\ncurve = "pull/P2.csv"\n', "needs its own name"),
        ('[[test]]\ncurves = "pull/*.csv"\nname = "P"\n', "give it no name"),
        ("[[test]]\nfailure = \"slid\"\n", "give name"),
        ('[[test]]\ncurves = "a\\u0000b"\n', "no file is"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_one_line(tmp_path, tables, says):
    with pytest.raises(InputError) as told:
        campaign(tmp_path, tables)
    assert says in str(told.value)
    assert "\n" not in str(told.value)
    assert "c.toml: " in str(told.value)


def test_no_file_of_the_folder_is_missed_in_silence(tmp_path):
    """Capitals are no reason to skip a test; what is in no test is told; a folder may have brackets."""
    campaign(tmp_path, PATTERN)
    text = (tmp_path / "pull" / "P2.csv").read_text()
    (tmp_path / "pull" / "P20.CSV").write_text(text.replace(",5.", ",5.2"))  # a record of its own
    found = load_campaign(tmp_path / "c.toml")
    assert [test.name for test in found.tests] == ["P1", "P2", "P10", "P20"]
    assert not any("CHECK THE FOLDER" in note for note in judge(found).notes)
    (tmp_path / "pull" / "late").mkdir()
    (tmp_path / "pull" / "P20.CSV").rename(tmp_path / "pull" / "late" / "P20.CSV")
    (tmp_path / "pull" / "x.csv").write_text("")
    (tmp_path / "pull").rename(tmp_path / "al [mm]")
    (tmp_path / "c.toml").write_text(HEAD + PATTERN.replace("pull/*", "al [mm]/P*"))
    found = load_campaign(tmp_path / "c.toml")
    assert [test.curve for test in found.tests] == [f"al [mm]/{name}.csv" for name in NAMES]
    note = next(note for note in judge(found).notes if note.startswith("CHECK THE FOLDER"))
    assert "2 CSV files belong to no test: al [mm]/late/P20.CSV, al [mm]/x.csv." in note


@pytest.mark.parametrize("name", ["p2", " P2 ", "P2 "])
def test_a_name_that_is_a_file_but_for_capitals_is_refused(tmp_path, name):
    with pytest.raises(InputError, match=r'P2\.csv of test\.curves has that name .* write name = "P2"'):
        campaign(tmp_path, f'{PATTERN}[[test]]\nname = "{name}"\nstrength = "4 kN"\n')


@pytest.mark.parametrize("units", ["SI", "US"])
@pytest.mark.parametrize("direction", ["along", "across", "pull", "push"])
def test_a_starting_campaign_wants_nothing_but_its_curves(tmp_path, units, direction):
    campaign(tmp_path, PATTERN)
    (tmp_path / "pull").rename(tmp_path / "curves")
    (tmp_path / "curves").rename(tmp_path / direction)
    path = tmp_path / f"{direction}.toml"
    write_starter("tests", units, path)
    found = judge(load_campaign(path))
    assert [test.name for test in found.campaign.tests] == list(NAMES)
    assert found.campaign.table.specimen.direction == direction
    assert found.campaign.table.specimen.load_height is None  # nobody's height counts as the user's
    assert ("# load_height = " in path.read_text()) is (direction == "along")
    assert found.notes[0].startswith(
        "DO NOT RELY ON THESE NUMBERS: the campaign is still called “Example clamp"
    )
    assert words.answer(found).startswith("DO NOT RELY ON THESE NUMBERS")
    text = path.read_text().replace("Example clamp,", "Clamp 7,")
    if units == "US":  # these curves are in mm and kN
        text = text.replace("[method]\n", '[method]\nheads_checked = "against the laboratory\'s sheets"\n')
    path.write_text(text)
    own = judge(load_campaign(path))
    assert "DO NOT RELY" not in " ".join((*own.notes, words.answer(own)))
    assert found.calibration.fits
    with pytest.raises(InputError, match="exists already"):
        write_starter("tests", units, path)
    with pytest.raises(InputError, match="leave it out"):
        write_starter("tests", units, tmp_path / "other.toml", "NBCC 2020")


@pytest.mark.parametrize("units", ["SI", "US"])
def test_a_starting_span_study_is_verified_as_it_stands(tmp_path, units):
    write_starter("spans", units, tmp_path / "s.toml")
    found = run_study(load_study(tmp_path / "s.toml"))
    assert found.verified
    assert found.notes[0].startswith(
        "DO NOT RELY ON THESE NUMBERS: the study is still called “Example rails”"
    )
    console = Console(file=StringIO(), width=200)
    print_study(found, console)
    assert "are examples" in console.file.getvalue().splitlines()[1]


@pytest.mark.parametrize(
    ("name", "direction"),
    [("Across", "across"), ("across-2", "across"), ("pull_b", "pull"), ("PUSH 3", "push"), ("t", "along")],
)
def test_the_first_word_of_a_name_is_the_direction_and_another_is_told(tmp_path, name, direction):
    path = tmp_path / f"{name}.toml"
    write_starter("tests", "SI", path)
    assert f'direction = "{direction}"' in path.read_text()
    assert ('Direction "along" was written' in to_do("tests", path)) is (name == "t")


def test_what_a_missing_height_of_the_load_costs_is_said(tmp_path):
    """A starting study falls to 22 % of its loads (measured)."""
    write_starter("spans", "SI", tmp_path / "s.toml")
    text = (tmp_path / "s.toml").read_text()
    line = next(line for line in text.splitlines() if line.startswith("test_height"))
    (tmp_path / "n.toml").write_text(text.replace(line, ""))
    whole, bare = (run_study(load_study(tmp_path / f"{name}.toml")) for name in "sn")
    shares = [low.low / high.low for low, high in zip(bare.rails, whole.rails, strict=True)]
    assert 0.15 < min(float(np.nanmin(share)) for share in shares) < 0.25
    assert any("may cost four fifths or more" in note for note in bare.notes)
