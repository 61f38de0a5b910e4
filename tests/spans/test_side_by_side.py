"""Rails side by side say what their own tables say."""

import re

from fea.spans.bench import LIMITS
from fea.spans.study import run_study
from roofmodel.units import SI
from tests.spans.test_cells import studied
from tests.spans.test_span_screws import FEW
from viewer.span.page import write_study_page
from viewer.span.words import _change, compared, down, loads_table


def test_rails_side_by_side_hold_the_numbers_of_their_tables(tmp_path):
    """A span that is no multiple of a seam spacing leaves its cell empty; shares are of the first rail."""
    few = FEW | {'seam_spacing = "400 mm"': 'seam_spacing = ["400 mm", "600 mm"]'}
    found = run_study(studied(tmp_path, replace=few))
    assert len(found.rails) == 4
    tables = compared(found, SI)
    assert len(tables) == len(found.choices.arrangements)
    for a, table in enumerate(tables):
        assert table.heads[1:] == tuple(rail.name for rail in found.rails)
        for r, rail in enumerate(found.rails):
            own = loads_table(found, rail, SI)
            column = {row[0]: row[r + 1] for row in table.rows}
            for i, row in enumerate(own.rows):
                text = down(float(rail.low[i, a]), "line", SI)
                assert row[a + 1].startswith(text)
                assert column[row[0]].split(" ")[0] == text
                assert column[row[0]].endswith(LIMITS[rail.governing[i, a]])
            assert sum(bool(cell) for cell in column.values()) == len(rail.spans)
        share = re.search(r"\(([−+±]\d+) %\)", table.rows[-1][3])
        both = [float(found.rails[k].low[-1, a]) for k in (0, 2)]
        assert share is not None
        told = float(share[1].replace("−", "-").replace("±", ""))
        assert told <= 100.0 * (both[1] / both[0] - 1.0) < told + 1.0
    write_study_page(found, tmp_path / "spans.html")
    page = (tmp_path / "spans.html").read_text()
    assert page.count("Rails side by side, ") >= 2 * len(tables)  # both unit systems


def test_gains_and_losses_are_never_too_good():
    assert _change(1.299, 1.0) == " (+29 %)"
    assert _change(0.999, 1.0) == " (−1 %)"
    assert _change(2.0, 2.0) == " (±0 %)"
    assert _change(float("nan"), 1.0) == _change(1.0, float("inf")) == _change(None, 1.0) == ""
