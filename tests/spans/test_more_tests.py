"""What three more tests of the clamp would buy: the same as putting the stronger strengths into the file."""

import csv
import json

import numpy as np
import pytest
from click.testing import CliRunner

from fea.spans.bench import CLAMP
from fea.spans.more_tests import three_more
from fea.spans.study import run_study
from roofmodel.errors import InputError
from roofmodel.project.span_study import load_study
from tests.spans.test_span_conditions import MODEL, put
from viewer.cli import commands

TESTED = """
[clamp.tested]
metal = "aluminum"
seam_height = "70 mm"
thickness = "0.9 mm"
directions = {directions}
tests = 6
load_height = "60 mm"
{more}
[[rail]]"""
ALL = '["along", "across", "pull", "push"]'
FORCE = {"along": 6.8, "across": 3.4, "pull": 5.2, "push": 9.0}


def line(**shares):
    text = ", ".join(f'{name} = "{FORCE[name] * shares.get(name, 1.0)!r} kN"' for name in FORCE)
    return f"strength = {{ {text} }}"


def study(folder, more="", strength=None, *changes, directions=ALL):
    folder.mkdir(exist_ok=True)
    tested = TESTED.replace("{more}", more).replace("{directions}", directions)
    old = next(one for one in MODEL.read_text().splitlines() if one.startswith("strength = "))
    return put(folder, (old, strength or line()), ("\n[[rail]]", tested), *changes)


def of(**shares):
    text = ", ".join(f"{name} = {value}" for name, value in shares.items())
    return f"\n[clamp.tested.three_more]\nen = {{ {text} }}\n"


SHARES = {"along": 1.12, "pull": 1.05, "push": 1.31}


def test_gains_are_those_of_the_stronger_strengths_in_the_file(tmp_path):
    found = run_study(load_study(study(tmp_path / "a", of(**SHARES))))
    plain = run_study(load_study(study(tmp_path / "b")))
    stronger = run_study(load_study(study(tmp_path / "c", "", line(**SHARES))))
    along = run_study(load_study(study(tmp_path / "d", "", line(along=SHARES["along"]))))
    gained = 0
    for one, was, more, alone in zip(found.rails, plain.rails, stronger.rails, along.rails, strict=True):
        np.testing.assert_allclose(one.low, was.low, rtol=1e-9)
        np.testing.assert_allclose(one.more.load, more.low, rtol=1e-7)
        np.testing.assert_allclose(one.more.alone["along"], alone.low, rtol=1e-7)
        np.testing.assert_array_equal(one.more.governing, more.governing)
        assert was.more is None
        gained += int((more.low > 1.02 * was.low).sum())
    assert gained
    note = next(n for n in found.notes if n.startswith("Three more tests of each direction"))
    assert "may not be used before" in note
    assert "How much less they may bring is not known" in note
    assert all(one.more.low is None for one in found.rails)
    assert any("three_more is not given" in n for n in plain.notes)


def test_where_the_rail_governs_more_tests_buy_nothing(tmp_path):
    weak = ('yield_strength = "200 MPa"', 'yield_strength = "30 MPa"')
    found = run_study(load_study(study(tmp_path, of(along=1.3, pull=1.3, push=1.3), None, weak)))
    rail = found.rails[0]
    other = (rail.governing >= 0) & (rail.governing != CLAMP)
    assert other.any()
    np.testing.assert_array_equal(rail.more.load[other], rail.low[other])
    note = next(n for n in found.notes if "ore tests" in n)
    assert "buy nothing" in note


@pytest.mark.parametrize(("form", "ends"), [("EN", (1.1, 0.9)), ("ASD", (1.4, 0.8)), ("LRFD", (1.4, 0.8))])
def test_a_format_takes_its_own_gains(tmp_path, form, ends):
    every = "en_low = { along = 0.9 }\nasd_lrfd = { along = 1.4 }\nasd_lrfd_low = { along = 0.8 }\n"
    clamp = load_study(study(tmp_path, of(along=1.1) + every)).table.clamp
    assert three_more(clamp, form) == {"along": ends[0]}
    assert three_more(clamp, form, low=True) == {"along": ends[1]}


def test_the_low_end_is_that_of_the_weaker_strengths_in_the_file(tmp_path):
    """One campaign in ten may end below today's loads, and the note says by how much."""
    lows = {"along": 0.91, "pull": 0.95, "push": 0.97}
    text = ", ".join(f"{name} = {value}" for name, value in lows.items())
    found = run_study(load_study(study(tmp_path / "a", of(**SHARES) + f"en_low = {{ {text} }}\n")))
    weaker = run_study(load_study(study(tmp_path / "b", "", line(**lows))))
    for one, less in zip(found.rails, weaker.rails, strict=True):
        np.testing.assert_allclose(one.more.low, less.low, rtol=1e-7)
    note = next(n for n in found.notes if n.startswith("Three more tests of each direction"))
    lost = np.concatenate([(one.more.low / one.low - 1.0)[one.governing == CLAMP] for one in found.rails])
    assert lost.max() < 0.0
    least = np.floor(1000.0 * lost.min() + 1e-6) / 10.0
    assert f"one campaign in ten ends: −{-least:.1f} " in note
    assert "all directions together do so less often" in note


def test_gains_of_what_was_not_tested_are_refused(tmp_path):
    with pytest.raises(
        InputError, match=r'three_more\.en\.across.*directions does not name "across"'
    ) as told:
        load_study(study(tmp_path, of(across=1.2), directions='["along", "pull", "push"]'))
    assert "\n" not in str(told.value)


SERIES = """
[[clamp.tested.series]]
direction = "along"
tests = 8
mean = "8.8 kN"
scatter = 0.07
failures = ["slid on the seam (8)"]
excluded = ["T9: lip tore"]
"""


def test_the_first_page_is_the_data_sheet_in_both_systems(tmp_path):
    import pypdf

    path = study(tmp_path, SERIES + of(**SHARES))
    out = tmp_path / "out"
    done = CliRunner().invoke(commands, ["span", str(path), "--out", str(out)])
    assert done.exit_code == 0, done.output
    pages = [" ".join(p.extract_text().split()) for p in pypdf.PdfReader(out / "spans.pdf").pages]
    data = json.loads((out / "spans.json").read_text())
    kilo, pound = (
        data["rails"][0]["largest_load"][0][0] / 1e3,
        data["rails"][0]["largest_load"][0][0] / 14.5939029,
    )
    for words in (
        "Data sheet: Cove 48",
        f"{np.floor(kilo * 10) / 10:.1f} ({np.floor(pound):.0f})",
        "8.80 kN (1,978 lbf)",
        "slid on the seam (8). Not counted: T9: lip tore",
        "A licensed engineer must review this table",
        "Falling snow and ice can kill",
    ):
        assert words in pages[0], words
    assert "Data sheet: Cove 60" in pages[1]
    assert "Data sheet: Cove 60" not in pages[0]
    page = (out / "spans.html").read_text()
    assert page.count("Data sheet: ") == 2
    assert "What three more tests of the clamp would buy" in page
    assert "What three more tests of the clamp would buy" in " ".join(pages)


def test_conditions_stand_once(tmp_path):
    out = tmp_path / "out"
    CliRunner().invoke(commands, ["span", str(study(tmp_path)), "--out", str(out)])
    text = (out / "conditions.csv").read_text().splitlines()
    assert len(set(text)) == len(text)
    assert "licensed engineer" not in (out / "spans.csv").read_text()
    assert sum("licensed engineer" in one for one in text) == 1
    assert len((out / "spans.csv").read_bytes()) < 20_000


@pytest.mark.parametrize("name", ["spans.csv", "loads.csv"])
def test_numbers_point_at_the_conditions_of_their_own_line(tmp_path, name):
    """On two seam spacings with two rails: each line at its own seam and rail, at nothing of the others."""
    seams = ('seam_spacing = "400 mm"', 'seam_spacing = ["400 mm", "200 mm"]')
    out = tmp_path / "out"
    CliRunner().invoke(commands, ["span", str(study(tmp_path / "a", "", None, seams)), "--out", str(out)])
    with (out / "conditions.csv").open() as file:
        hold = {one["number"]: one for one in csv.DictReader(file)}
    assert len(hold) > 20
    with (out / name).open() as file:
        lines = list(csv.DictReader(file))
    assert len({one["numbers in conditions.csv"] for one in lines}) == 4
    tubes = {"Cove 48": "round tube, diameter 48 mm", "Cove 60": "rectangular tube, width 60 mm"}
    for one in lines:
        of_line = [hold[k] for k in one["numbers in conditions.csv"].split()]
        words = [f"{o['what']}: {o['words']}" for o in of_line]
        (seam,) = [w for w in words if w.startswith("Seams:")]
        assert f"every {float(one['seam spacing [mm]']):.1f} mm" in seam
        (rail,) = [w for w in words if w.startswith("Rail ") and "tube" in w]
        assert tubes[one["rail"]] in rail
        assert of_line[0]["what"] == "spans.toml"
        assert sum("licensed engineer" in w for w in words) == 1
