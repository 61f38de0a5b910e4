"""The data sheet: one page, and nothing missing without which its loads would be dangerous."""

import numpy as np
import pypdf
import pytest
from click.testing import CliRunner

from fea.spans.study import run_study
from roofmodel.project.span_study import load_study
from roofmodel.units import SI
from tests.spans.test_more_tests import ALL, FORCE, SERIES, TESTED, of
from tests.spans.test_span_conditions import MODEL, put
from viewer.cli import commands
from viewer.span.sheet import _down, _parted, sheets
from viewer.span.words import CAUTIONS

NOTES = (
    "along, format EN: The lowest test, 6.7 kN, counts in place of the 5 % fractile, 6.9 kN (judgment); more "
    "tests cannot raise it.",
    "along: The tests failed in 2 ways (slid on the seam: 4; lip tore: 2): one distribution does not hold "
    "for all of them. Judge each way by itself, with its own tests (EN 1990 D7.1, from memory).",
    "pull: No measured sheet thickness in 6 of 6 tests, taken as nominal: UNSAFE if thicker.",
    "along: Strengths are not corrected for the sheet's yield strength, as values are missing: UNSAFE if the "
    "specimens were stronger than nominal.",
    "along: The record of every curve ends while the force still falls: it says nothing of what a clamp "
    "keeps once it slips (clamp.slip_residual).",
)


def full(folder, units="SI", notes=NOTES):
    """The whole demo on a tested clamp without a strength across, with what its tests leave open."""
    listed = "notes = [" + ", ".join(f'"{note}"' for note in notes) + "]"
    text = MODEL.read_text().replace('units = "SI"', f'units = "{units}"').replace('across = "5 kN", ', "")
    tested = TESTED.replace("{more}", listed + SERIES + of(along=1.04)).replace("{directions}", ALL)
    text = text.replace("\n[[rail]]", tested, 1)
    path = folder / "spans.toml"
    path.write_text(text)
    return path


def pages(path):
    out = path.parent / "out"
    done = CliRunner().invoke(commands, ["span", str(path), "--out", str(out)])
    assert done.exit_code in (0, 1), done.output
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(out / "spans.pdf").pages]


@pytest.mark.parametrize("units", ["SI", "US"])
def test_with_all_its_notes_it_is_one_page_and_warnings_stand_above_the_loads(tmp_path, units):
    """On the smaller of the two papers too."""
    path = full(tmp_path, units)
    found = run_study(load_study(path))
    text = pages(path)
    for number, sheet in enumerate(sheets(found)):
        loads = text[number].index("largest load of snow down the slope per length of rail")
        told = [*sheet.loud, *CAUTIONS]
        assert sum("UNSAFE" in words for words in told) == 2
        assert sum("NOT VERIFIED" in words for words in told) == 1
        for words in told:
            printed = words.replace(" `", " “").replace("` ", "” ")  # commands in the page's own marks
            assert 0 <= text[number].find(" ".join(printed.split())) < loads, words
        assert text[number].count("not verified") > 20
        assert "a span between two gets what the longer one carries" in text[number][loads:]
    assert "Data sheet" not in text[2]
    page = (tmp_path / "out" / "spans.html").read_text()
    for part in page.split("Data sheet: ")[1:]:
        loads = part.index("largest load of snow down the slope per length of rail")
        assert 0 < part.index("UNSAFE if the specimens were stronger") < loads
        assert 0 < part.index("Falling snow and ice can kill") < loads


@pytest.mark.parametrize("units", ["SI", "US"])
def test_what_is_to_be_checked_and_what_nobody_said_stand_above_the_loads(tmp_path, units):
    """With all other notes too; what then has no room goes on below the loads."""
    path = full(tmp_path, units)
    text = path.read_text()
    assert 'load_height = "60 mm"\n' in text
    path.write_text(text.replace('load_height = "60 mm"\n', ""))
    every = [page for page in pages(path) if "to be read with the notes on page" not in page]
    for sheet, page in zip(sheets(run_study(load_study(path))), every, strict=False):
        (told,) = [words for words in sheet.loud if "CHECK clamp.test_height" in words]
        loads = page.index("largest load of snow down the slope per length of rail")
        assert 0 < page.index(told[:30]) < loads
        assert "a span between two gets what the longer one carries" in page[loads:]
    bare = run_study(load_study(put(tmp_path)))
    for sheet in sheets(bare):
        assert any("nobody said" in words for words in sheet.loud)
    assert _parted(["Clamps look stronger than they are.", "Seams count as rigid."]) == (
        ("Clamps look stronger than they are.",),
        ("Seams count as rigid.",),
    )


def test_a_sheet_that_does_not_fit_says_whose_it_is_on_every_page(tmp_path):
    text = pages(full(tmp_path, notes=[f"along: {k} {'words of an invented note ' * 9}" for k in range(24)]))
    first = next(i for i, page in enumerate(text) if "Data sheet: Cove 60" in page)
    assert first > 1
    for page in text[1:first]:
        assert page.startswith("Cove rails on 70 mm seams Data sheet: Cove 48")


def test_a_long_doubt_never_parts_the_loads_from_their_notes(tmp_path):
    """What has no room goes on below the loads, on a page that says where the notes are."""
    doubt = f"along: UNSAFE, {'words of an invented doubt ' * 60}in the end."
    text = pages(full(tmp_path, "US", notes=(*NOTES, doubt)))
    assert "in the end." in text[0]
    assert text[0].index("in the end.") < text[0].index("10.49 (3.2)")  # the longest span
    assert text[1].startswith(
        "Cove rails on 70 mm seams Data sheet: Cove 48, to be read with the notes on page 1"
    )
    (cove, _) = sheets(run_study(load_study(tmp_path / "spans.toml")))
    both = [" ".join(words.split()) for words in cove.rest]
    assert any("Seams and sheet count as rigid" in words for words in both)
    for words in both:  # on one of the two pages, whole
        assert sum(words in page for page in text[:2]) == 1, words
    assert both[-1] in text[1]


def test_nothing_is_missing_that_its_loads_hang_on(tmp_path):
    inner = (
        '"single span", "end span"',
        '"single span", "end span", "inner span"',
    )
    found = run_study(load_study(put(tmp_path, inner)))
    for sheet in sheets(found):
        facts, loud = dict(sheet.facts), " ".join([*sheet.loud, *sheet.rest])
        for words in (
            "no row has inner spans alone",
            "snow from beyond the ends of partial rows",
            "Rail height against snow depth",
            "Seams and sheet count as rigid",
            "a splice may lower what they carry",
            "Ranges (clamp.strength.along 6.8 to 7.6 kN): every corner and the middle; the table is the low "
            "end",
            "How many tests are behind the clamp strengths, and on which seam and sheet, nobody said",
        ):
            assert words in loud, words
        assert "along 2.60 kN/mm" in facts["Clamp stiffness"]
        assert "S these loads of snow down the slope per length of rail" in facts["Loads"]
        assert "down the slope per length of rail" in sheet.tables[0].caption


def test_what_is_about_one_rail_stands_on_its_own_sheet_alone(tmp_path):
    """Whatever the rails are called."""
    names = ('name = "Cove 48"', 'name = "Cove 60:"'), ('name = "Cove 60"', 'name = "of Cove 60"')
    ratio = ("deflection_ratio = 100\n", "")
    found = run_study(load_study(put(tmp_path, *names, ratio)))
    first, second = sheets(found)
    own = [note for note in found.told if note.rails]
    assert len(own) == 3
    for note in own:
        assert (note.words in (*first.loud, *first.rest)) == (0 in note.rails)
        assert (note.words in (*second.loud, *second.rest)) == (1 in note.rails)
    assert sum("deflection_ratio is not given" in words for words in first.loud) == 1
    assert not any("deflection_ratio" in words for words in second.loud)


def test_a_strength_that_nobody_gave_has_no_unit():
    assert _down(np.nan, "force", SI) == "not verified"
    assert _down(FORCE["along"] * 1e3, "force", SI) == "6.80 kN (1,528 lbf)"
