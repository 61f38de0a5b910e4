"""Metal couples by their published indices, and movement of rails by closed form."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from projects import GABLE_EN, project

from fea.analysis import analyze
from fea.checks.durability import ANODIC_INDEX, couples, rail_movement
from roofmodel.errors import InputError
from roofmodel.project.metal_schema import MetalsTable
from viewer.report.page import report_html

SPLICED = 'splice_every = "4 m"\nsplice_kind = "sliding"'


def metals(
    sheet="zinc-coated steel", clamp="aluminum", screw="stainless steel", rail="aluminum", place="outdoors"
):
    return MetalsTable(sheet=sheet, clamp=clamp, screw=screw, rail=rail, place=place)


def found(parts, table):
    return next(one for one in couples(table) if one.parts == parts)


def test_like_metals_fit_everywhere():
    for metal in ANODIC_INDEX:
        table = metals(metal, metal, metal, metal, "coast")
        assert {one.judgment for one in couples(table)} == {"fits"}


@pytest.mark.parametrize(
    ("sheet", "clamp", "difference"),
    # MIL-STD-889 and the tables after it, from memory: copper 0.35, stainless 0.50, aluminum 0.90, zinc 1.25.
    [("copper", "aluminum", 0.55), ("zinc", "stainless steel", 0.75), ("aluminum", "stainless steel", 0.40)],
)
def test_difference_of_anodic_indices(sheet, clamp, difference):
    assert found(("sheet", "clamp"), metals(sheet, clamp)).difference == pytest.approx(difference)


def test_a_small_part_gives_way_fast_and_a_large_one_slowly():
    assert found(("sheet", "screw"), metals("copper", "copper", "aluminum")).judgment == "avoid"
    assert found(("sheet", "screw"), metals("aluminum", "aluminum", "copper")).judgment == "watch"


def test_run_off_of_copper_is_refused_without_contact():
    assert found(("rail", "sheet below"), metals("zinc", "copper", "copper", "copper")).judgment == "avoid"


@given(st.sampled_from(sorted(ANODIC_INDEX)), st.sampled_from(sorted(ANODIC_INDEX)))
def test_salt_never_makes_a_couple_better(sheet, clamp):
    order = ["fits", "watch", "avoid"]
    rank = [
        order.index(found(("sheet", "clamp"), metals(sheet, clamp, place=place)).judgment)
        for place in ("dry", "outdoors", "coast")
    ]
    assert rank == sorted(rank)


def test_movement_by_hand(tmp_path):
    """16 m of steel at 12e-6 and 50 K in lengths of 4 m: 2.4 mm each, and as much at every sliding splice."""
    layout = project(tmp_path, warm=50, row=SPLICED).layout
    moved = rail_movement(layout, 12e-6, -50.0, 3e-3)
    np.testing.assert_allclose(moved.length, 4.0)
    np.testing.assert_allclose(moved.movement, 2.4e-3)
    np.testing.assert_allclose(moved.gap, 2.4e-3)
    assert moved.longest == pytest.approx(5.0)
    assert moved.movement.sum() == pytest.approx(12e-6 * 50.0 * layout.row_length.sum())


def test_hinges_pass_the_movement_on(tmp_path):
    layout = project(tmp_path, row='splice_every = "4 m"').layout
    moved = rail_movement(layout, 12e-6, 50.0, np.nan)
    np.testing.assert_allclose(moved.length, layout.row_length)
    assert not len(moved.gap)


def test_tight_splices_and_bad_metals_are_told(tmp_path):
    text = GABLE_EN.replace("deflection_ratio = 100", 'deflection_ratio = 100\nsplice_gap = "1 mm"')
    text += '[metals]\nsheet = "zinc"\nclamp = "copper"\nscrew = "copper"\nrail = "copper"\n'
    analysis = analyze(project(tmp_path, text, warm=50, row=SPLICED))
    assert any("splice_gap" in line for line in analysis.cautions)
    assert any("carries copper" in line for line in analysis.cautions)
    page = report_html(analysis)
    assert "MIL-STD-889" in page
    assert "Rails and temperature" in page


def test_glue_alone_is_refused_without_years_of_tests(tmp_path):
    glued = GABLE_EN.replace(
        'interaction = "{interaction}"', 'interaction = "{interaction}"\nfastening = "adhesive"'
    )
    with pytest.raises(InputError, match="refused"):
        project(tmp_path, glued)
    shown = glued.replace(
        'fastening = "adhesive"', 'fastening = "adhesive"\nlong_term_test = "report 7, ten years"'
    )
    assert any("adhesive alone" in line for line in analyze(project(tmp_path, shown)).cautions)
