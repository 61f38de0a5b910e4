"""Spans of tables are rounded down in both unit systems: a longer one has another load."""

import csv

import numpy as np
import pytest

from fea.spans.study import run_study
from roofmodel.project.span_study import load_study
from roofmodel.units import SI, US
from tests.spans.test_span_command import MODEL
from viewer.span.export import write_loads, write_table
from viewer.span.words import loads_table, span_text, spans_table


@pytest.mark.parametrize("units", [SI, US], ids=["SI", "US"])
def test_no_span_is_rounded_up(units):
    for seams in range(1, 12):
        for spacing in (0.4064, 0.43, 0.53, 0.6096, 1.59 / 3.0):
            exact = units.convert(seams * spacing, "length")
            told = float(span_text(seams * spacing, units))
            assert exact * (1.0 - 1e-3) < told <= exact * (1.0 + 1e-9)


def test_whole_numbers_stay(tmp_path):
    """Sixteen inches three times are 4 ft, not 3.999."""
    assert span_text(3 * 0.4064, US) == "4"
    assert span_text(4 * 0.4064, SI) == "1.625"
    text = MODEL.read_text().replace('seam_spacing = "400 mm"', 'seam_spacing = "16 in"')
    text = text[: text.index("spans = [")] + "seams_per_span = [1, 4]" + text[text.index("\nloads = ") :]
    path = tmp_path / "spans.toml"
    path.write_text(text.replace('"two spans", "end span", "inner span", "with overhangs", ', ""))
    found = run_study(load_study(path))
    for units in (SI, US):
        for table in (loads_table(found, found.rails[0], units), spans_table(found, found.rails[0], units)):
            cells = np.array([cell for row in table.rows for cell in row])
            assert ("1.625" in cells) is (units is SI)
            assert "1.626" not in cells
    write_table(found, tmp_path / "t.csv")
    write_loads(found, tmp_path / "l.csv")
    for name, head in (("t.csv", "span [ft]"), ("l.csv", "largest span [ft]")):
        with (tmp_path / name).open() as file:
            told = {row[head] for row in csv.DictReader(file)} - {"none"}
        assert {float(one) for one in told} <= {1.333333, 5.333333}
