"""Rails longer than can be hauled: what the caution says is what the project with these splices gives."""

import numpy as np
import pytest
from projects import GABLE_EN, project

from fea.analysis import analyze
from fea.in_pieces import in_pieces_words
from fea.off_place import OVER
from roofmodel.splices import HAUL, USUAL_BAR, Cut, hinged, missing_splices
from roofmodel.units import SYSTEMS
from viewer.caution_lines import sorted_cautions

BAR = USUAL_BAR["SI"]
CUTS = {Cut.EVEN: f'splice_every = "{BAR} m"\nsplice_even = true', Cut.LEFT: f'splice_every = "{BAR} m"'}


STRONG = 'along = "40 kN", across = "10 kN", pull = "60 kN", push = "60 kN"'


def check(folder, row="", rail="", more=STRONG):
    """A row of 12 m, less its ends, on clamps three seams apart."""
    text = GABLE_EN.replace('temperature_change = "{warm} K"', rail)
    return analyze(project(folder, text, row=f'{row}\ncantilever = "0.05 m"\nevery = 3', strength=more))


def used(analysis):
    """Largest utilization of each limit of the structure."""
    return {
        one.name: float(np.nan_to_num(one.utilization, nan=0.0).max())
        for one in analysis.limits
        if one.target in ("clamp", "span", "panel strip")
    }


def each_cut(folder):
    """What the project with these splices gives; from the right by their places."""
    length = float(check(folder).project.layout.row_length[0])
    places = [length - k * BAR for k in (3, 2, 1) if length > k * BAR]
    at = ", ".join(f'{{ at = "{place} m", kind = "hinge" }}' for place in places)
    right = {Cut.RIGHT: f"splice = [{at}]"}
    return {cut: used(check(folder, row)) for cut, row in (CUTS | right).items()}


def test_it_is_what_the_worst_of_all_cuts_gives(tmp_path):
    found = check(tmp_path).in_pieces
    each = each_cut(tmp_path)
    whole = used(check(tmp_path))
    top = {cut: max(one.values()) for cut, one in each.items()}
    assert found.then == pytest.approx(max(top.values()), rel=1e-9)
    assert top[found.cut] == pytest.approx(found.then, rel=1e-9)
    assert found.use == pytest.approx(max(whole.values()), rel=1e-9)
    assert found.then > 1.02 * found.use  # the case is one where it matters
    for name, _, use, was in found.over:
        assert use == pytest.approx(each[found.cut][name], rel=1e-9)
        assert was == pytest.approx(whole[name], rel=1e-9)


def test_bars_from_the_right_are_those_from_the_left_seen_in_a_mirror(tmp_path):
    layout = check(tmp_path).project.layout
    missing = missing_splices(layout, None)
    left, right = (hinged(layout, missing, BAR, cut) for cut in (Cut.LEFT, Cut.RIGHT))
    length = layout.row_length[left.splice_row]
    assert right.splice_s == pytest.approx((length - left.splice_s)[::-1])
    assert left.splice_s == pytest.approx(BAR * np.arange(1, 1 + len(left.splice_s)))


def test_what_only_the_pieces_exceed_is_loud(tmp_path):
    """Verdict as calculated, and the caution first."""
    analysis = check(tmp_path)
    assert not analysis.exceeded
    assert analysis.in_pieces.exceeds
    void, _, _ = sorted_cautions(analysis, SYSTEMS["SI"])
    (words,) = [one for one in void if OVER in one]
    name, at, use, was = analysis.in_pieces.over[0]
    assert f"{name} {100.0 * use:.0f} % ({at}) in place of {100.0 * was:.0f} %" in words
    assert was <= 1.0 < use


def test_a_limit_that_only_the_pieces_exceed_is_told_beside_one_that_is_exceeded_anyway(tmp_path):
    """Clamps too weak whatever the splices are: the rail's own limits are as they were, and told."""
    strong, weak = check(tmp_path), check(tmp_path, more=STRONG.replace("60", "6"))
    assert weak.exceeded
    assert weak.in_pieces.use > 1.0
    broken = {one[0] for one in strong.in_pieces.over}
    told = {one[0] for one in weak.in_pieces.over}
    whole = used(weak)
    assert told == {name for name in broken if whole[name] <= 1.0}
    assert any(OVER in one for one in weak.cautions) == bool(told)
    assert told


@pytest.mark.parametrize("row", CUTS.values())
def test_rails_in_pieces_lack_nothing(tmp_path, row):
    analysis = check(tmp_path, row)
    assert analysis.in_pieces is None
    assert in_pieces_words(analysis.project, None) == ()


def test_bars_as_long_as_the_rail_need_no_splice(tmp_path):
    layout = check(tmp_path).project.layout
    length = float(layout.row_length.max())
    assert length > HAUL
    assert check(tmp_path, rail=f'stock_length = "{length + 0.01} m"').in_pieces is None
    assert missing_splices(layout, length / 3.0 - 1e-3).per_row.max() == 3
    assert missing_splices(layout, length / 3.0).per_row.max() == 2


def test_continuous_splices_change_nothing(tmp_path):
    """What the caution offers: splices that pass on bending leave the rail as calculated."""
    whole, spliced = (used(check(tmp_path, row)) for row in ("", f'{CUTS[True]}\nsplice_kind = "continuous"'))
    for name, use in whole.items():
        if name != "rail deflection":
            assert spliced[name] == pytest.approx(use, rel=1e-6), name
    assert not any(
        OVER in one for one in check(tmp_path, f'{CUTS[True]}\nsplice_kind = "continuous"').cautions
    )
