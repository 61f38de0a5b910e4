"""Tables of the package are shorter than those of the report and lose nothing."""

import re

import pypdf
import pytest

from tests.demos import demo
from viewer.package.pdf import _entered, _in_short
from viewer.package.typeset import abreast, preamble, table, typeset
from viewer.quantities import system
from viewer.report.inputs import hardware_table, input_tables
from viewer.report.tables import Table, cases_table, edges_table


def test_every_page_of_a_table_says_what_it_is(tmp_path):
    rows = tuple((f"row {i} of it", "12") for i in range(150))
    one = Table("What stands here, page by page", ("Row", "No."), "tn", rows)
    typeset(preamble("t", "f", "a4") + table(one), {}, tmp_path / "t.pdf")
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(tmp_path / "t.pdf").pages]
    assert len(pages) > 1
    assert all(one.caption in words for words in pages)
    assert sum(len(re.findall(r"row \d+ of it", words)) for words in pages) == 150


@pytest.mark.parametrize("sets", [2, 3])
def test_rows_beside_each_other_are_all_there_in_order_down_the_columns(sets):
    analysis = demo("sentier-house")
    units = system(analysis.project.table.project.units)
    for one in (edges_table(analysis, units), hardware_table(analysis, units)):
        wide = len(one.heads)
        beside = abreast(one, sets)
        cells = [row[k * wide : (k + 1) * wide] for k in range(sets) for row in beside.rows]
        assert tuple(cell for cell in cells if any(cell)) == one.rows
        assert len(beside.rows) <= len(one.rows) / sets + 1


@pytest.mark.parametrize("name", ["sentier-house", "ridge-school"])
def test_values_that_nobody_entered_stand_in_a_note(name):
    project = demo(name).project.table
    for one in input_tables(project, system(project.project.units)):
        if one.heads != ("Field", "Value", "Meaning"):
            continue
        said = re.sub(r'#box\[#"([^"]*)"\]|#"([^"]*)"', r"\1\2", _entered(one)).replace("\u200b", "")
        for field, value, _ in one.rows:
            if value.endswith(" (default)"):
                assert f"{field}: {value.removesuffix(' (default)')}" in said
            else:
                assert f"[{field}]" in said
                assert value in said


def test_a_combination_that_all_cases_have_is_said_once():
    whole = cases_table(demo("sentier-house"))
    short = _in_short(whole)
    at = whole.heads.index("Combination")
    told = {row[at] for row in whole.rows if row[at] != "–"}
    if len(told) == 1:
        assert "Combination" not in short.heads
        assert f"Combination of all: {told.pop()}." in short.note
    else:
        assert short is whole
    assert [row[:at] + row[at + 1 :] for row in whole.rows] == [
        row if len(row) < len(whole.heads) else row[:at] + row[at + 1 :] for row in short.rows
    ]
