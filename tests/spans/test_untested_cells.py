"""A load that hangs on a direction without tests is doubted by itself, as in a study of that cell alone."""

import csv
import json
import re

import numpy as np
import pypdf
import pytest

from fea.spans.study import run_study
from fea.typed_stiffness import typed_stiffness
from roofmodel.project.span_study import load_study
from roofmodel.units import SYSTEMS
from tests.spans.test_span_conditions import put, run
from tests.spans.test_span_doubts import TESTED
from viewer.span.sheet import sheets
from viewer.span.words import loads_table

ARRANGEMENTS, SPANS = ("single span", "two spans", "one clamp missing"), (0.4, 0.8, 2.0)


def mixed(folder, arrangements=ARRANGEMENTS, spans=SPANS, tested=""):
    """A clamp weak across, push not tested: little hangs on push in short rows."""
    listed = ", ".join(f'"{one}"' for one in arrangements)
    table = TESTED.format(directions='["along", "across", "pull"]')
    return put(
        folder,
        ("6.8 to 7.6 kN", "6.8 kN"),
        ("\n[[rail]]", table.replace("scatter = 0.05\n", f"scatter = 0.05\n{tested}")),
        ('across = "5 kN"', 'across = "0.3 kN"'),
        ('test_height = "60 mm"', 'test_height = "40 mm"'),
        ('"single span", "end span"', listed),
        ('"0.4 m", "0.8 m", "2.0 m"', ", ".join(f'"{one} m"' for one in spans)),
    )


def test_a_cell_is_doubted_as_it_is_alone(tmp_path):
    found = run_study(load_study(mixed(tmp_path)))
    assert 0 < sum(int(one.guess.sum()) for one in found.rails) < sum(one.guess.size for one in found.rails)
    for a, arrangement in enumerate(ARRANGEMENTS):
        for i, span in enumerate(SPANS):
            alone = run_study(load_study(mixed(tmp_path, (arrangement,), (span,))))
            for one, whole in zip(alone.rails, found.rails, strict=True):
                assert one.guess[0, 0] == whole.guess[i, a]
                assert alone.verified_cells(one)[0, 0] == found.verified_cells(whole)[i, a]


def test_all_outputs_agree_on_which(tmp_path):
    path = mixed(tmp_path)
    done, out = run(path)
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert (
        "It is so of Cove 48: two spans at 2 m, one clamp missing at 2 m; Cove 60: two spans at 2 m" in said
    )
    assert "no other load hangs on it" in said
    found = run_study(load_study(path))
    doubted = {
        (one.name, ARRANGEMENTS[a], SPANS[i])
        for one in found.rails
        for i, a in np.argwhere(one.guess).tolist()
    }
    with (out / "spans.csv").open() as file:
        lines = list(csv.DictReader(file))
    of = {(line["rail"], line["arrangement"], float(line["span [m]"])): line["verified"] for line in lines}
    assert {cell for cell, words in of.items() if words != "yes"} == doubted
    rails = json.loads((out / "spans.json").read_text())["rails"]
    for data, one in zip(rails, found.rails, strict=True):
        np.testing.assert_array_equal(data["verified"], ~one.guess)
    assert (out / "spans.svg").read_text().count(">?</text>") in (len(doubted) + 1, 2 * len(doubted) + 1)
    page = (out / "spans.html").read_text()
    assert page.count("?: NOT VERIFIED") >= 4
    printed = " ".join(one.extract_text() for one in pypdf.PdfReader(out / "spans.pdf").pages)
    for text in (page, printed):  # each in the table of its rail and on the rail's data sheet
        assert len(re.findall(r"[\d)]\s+\?(?!:)", text)) >= 2 * len(doubted)
    for one, sheet in zip(found.rails, sheets(found), strict=True):
        for rows in (loads_table(found, one, SYSTEMS["SI"]).rows, sheet.tables[0].rows):
            marks = [[" ?" in cell for cell in row[-one.guess.shape[1] :]] for row in rows]
            np.testing.assert_array_equal(marks, one.guess)
    with (out / "loads.csv").open() as file:  # a load that a span carries is doubted with the span's own
        for line in csv.DictReader(file):
            span = line["largest span [m]"]
            sure = span == "none" or (line["rail"], line["arrangement"], float(span)) not in doubted
            assert (line["verified"] == "yes") == sure


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ("", ""),  # nobody said what stiffness the tests gave
        ('stiffness = ["2.6 kN/mm"]\n', "clamp.stiffness.across, 0.90 kN/mm, has no test behind it"),
        (
            'stiffness = ["3 kN/mm", "4 kN/mm"]\n',
            "along, 2.60 kN/mm, is not what its tests gave, 3.00",
        ),
    ],
)
def test_a_stiffness_typed_by_hand_is_told(tmp_path, given, says):
    notes = " ".join(run_study(load_study(mixed(tmp_path, tested=given))).notes)
    assert ("Typed by hand" in notes) is bool(says)
    assert says in notes
    assert "along, 2.60 kN/mm, has no" not in notes


@pytest.mark.parametrize(
    ("own", "says"),
    [
        ("4 to 8.5 kN/mm", ""),
        ("3 to 9 kN/mm", ""),  # beyond it on both sides
        ("3 to 8 kN/mm", "along, 3.00 kN/mm to 8.00 kN/mm, is not what its tests gave, 4.00 kN/mm to 8.50"),
        ("6.25 kN/mm", "along, 6.25 kN/mm, is a part of what its tests gave"),
        ("5 to 7 kN/mm", "along, 5.00 kN/mm to 7.00 kN/mm, is a part of what its tests gave"),
        ("12 kN/mm", "along, 12.00 kN/mm, is not what its tests gave"),
    ],
)
def test_both_ends_of_a_range_are_held_against_the_tested_range(tmp_path, own, says):
    path = mixed(tmp_path, tested='stiffness = ["4 kN/mm", "8.5 kN/mm"]\n')
    text = path.read_text()
    assert 'along = "2.6 kN/mm"' in text
    path.write_text(text.replace('along = "2.6 kN/mm"', f'along = "{own}"'))
    found = load_study(path)
    typed = " ".join(typed_stiffness(found.table.clamp, SYSTEMS["SI"], found.stiffness_ends))
    assert says in typed
    assert ("clamp.stiffness.along" in typed) is bool(says)


def test_the_sheet_says_what_was_read_from_the_tests(tmp_path):
    told = (
        'take = "proof load at 0.5 mm"\nas_measured = "9.4 kN"\nto_nominal = [0.851, 0.851]\n'
        'largest = ["8.8 kN", "11 kN"]\n'
    )
    _, out = run(mixed(tmp_path, tested=told))
    page = " ".join((out / "spans.html").read_text().split())
    assert "along was loaded 40.0 mm (1.57 in) above the grip" in page
    assert (
        "proof load at 0.5 mm times 0.851 to nominal sheet; mean as measured along 9.40 kN (2,113 lbf)"
        in page
    )
    assert "largest force of all records 11.00 kN (2,473 lbf)" in page
