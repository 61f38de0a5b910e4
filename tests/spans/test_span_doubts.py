"""What speaks against a clamp's numbers keeps every line of its span table from being verified."""

import csv

import numpy as np
import pytest

from fea.spans.study import run_study
from roofmodel.errors import InputError
from roofmodel.project.span_study import _with_kinds, load_study
from roofmodel.project.tested import nominal_doubts
from tests.checks.test_low_axis import FEWEST
from tests.spans.test_span_conditions import put, run

TESTED = """
[clamp.tested]
metal = "aluminum"
seam_height = "70 mm"
thickness = "0.9 mm"
directions = {directions}
tests = 6

[[clamp.tested.series]]
direction = "along"
tests = 6
mean = "8 kN"
scatter = 0.05

[clamp.tested.three_more]
en = {{ along = 1.02 }}

[[rail]]"""
ALL = '["along", "across", "pull", "push"]'


def study(folder, *changes, directions=ALL):
    return put(folder, *FEWEST[1:], ("\n[[rail]]", TESTED.format(directions=directions)), *changes)


def test_a_range_that_reaches_above_what_its_tests_give_is_not_verified(tmp_path):
    """Mean 8 kN, scatter 0.05: 7.31 kN at most, so that the upper end of 6.8 to 7.6 kN is too high."""
    done, out = run(study(tmp_path))
    assert done.exit_code == 1
    with (out / "spans.csv").open() as file:
        assert {line["verified"][:12] for line in csv.DictReader(file)} == {"NOT VERIFIED"}
    assert "TOO HIGH for its own tests" in " ".join(done.output.split())
    fine = study(tmp_path, ("6.8 to 7.6 kN", "6.8 to 7.2 kN"))
    done, out = run(fine)
    assert done.exit_code == 0, done.output
    with pytest.raises(InputError, match="more than the mean of its own tests"):
        load_study(study(tmp_path, ("6.8 to 7.6 kN", "6.8 to 8.6 kN")))


def test_a_direction_without_tests_is_not_verified_where_load_hangs_on_it(tmp_path):
    """A test at the height of the rail's axis covers its tipping; one near the grip leaves it to push."""
    lower, low = ("6.8 to 7.6 kN", "6.8 kN"), ('test_height = "60 mm"', 'test_height = "10 mm"')
    three = '["along", "across", "pull"]'
    counted = []
    for push in ("", ', push = "6 kN"', ', push = "50 kN"', ', push = "0.3 kN"'):
        some = run_study(load_study(study(tmp_path, lower, (', push = "7.5 kN"', push), directions=three)))
        assert some.verified
        assert any("push of the clamp NOT TESTED" in note for note in some.notes)
        counted.append(np.concatenate([one.low.ravel() for one in some.rails]))
    np.testing.assert_array_equal(counted[0], counted[1])  # no number, a guess, a bold one
    np.testing.assert_array_equal(counted[0], counted[2])
    assert (counted[3] <= counted[0]).all()  # a cautious one
    tested = np.concatenate([one.low.ravel() for one in run_study(load_study(study(tmp_path, lower))).rails])
    assert (counted[0] <= tested).all()
    found = run_study(load_study(study(tmp_path, lower, low)))
    assert found.verified
    high = ('\nheight = "60 mm"', '\nheight = "150 mm"'), ('test_height = "10 mm"', 'test_height = "0 mm"')
    bare = run_study(load_study(study(tmp_path, lower, low, *high, directions='["along", "across", "push"]')))
    assert (bare.rails[0].low < found.rails[0].low).any()
    assert [one.split()[0] for one in bare.untested] == ["clamp.strength.pull"]
    assert not bare.verified


def test_more_tests_are_not_judged_where_nothing_is_verified(tmp_path):
    some = run_study(load_study(study(tmp_path)))
    assert any("more tests" in note.lower() for note in some.notes)
    none = run_study(load_study(study(tmp_path, (', push = "7.5 kN"', ""))))
    assert np.isnan(np.concatenate([one.low.ravel() for one in none.rails])).all()
    assert not any("buy nothing" in note for note in none.notes)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (('anchorage_kind = "characteristic"', 'anchorage_kind = "nominal"'), "panel.anchorage_kind"),
        (('anchorage_kind = "characteristic"\n', ""), "panel.anchorage_kind"),
        (('strength_kind = "characteristic"', 'strength_kind = "nominal"'), "clamp.strength_kind"),
    ],
)
def test_nominal_strengths_in_format_en_are_not_verified(tmp_path, change, field):
    """Also where the kind is left out: "nominal" is its default."""
    path = put(tmp_path, *FEWEST[1:], ("6.8 to 7.6 kN", "6.8 kN"), change)
    done, out = run(path)
    assert done.exit_code == 1
    assert f'NOT VERIFIED: {field} is "nominal"' in " ".join(done.output.split())
    with (out / "spans.csv").open() as file:
        assert {line["verified"][:12] for line in csv.DictReader(file)} == {"NOT VERIFIED"}


def test_nominal_moments_of_a_rail_in_format_en_are_not_verified(tmp_path):
    study = load_study(put(tmp_path, *FEWEST[1:]))
    tested = study.table.rail[0].model_copy(
        update={"name": "T", "moment_kind": "nominal", "moment_factor": 1.1}
    )
    asked = _with_kinds(study.table.model_copy(update={"rail": [*study.table.rail, tested]}))
    assert list(nominal_doubts("EN", asked)) == ["rail (T).moment_kind"]
    assert not nominal_doubts("LRFD", asked)
    assert not study.doubts
