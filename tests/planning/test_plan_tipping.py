"""Planned rows hold for clamps that do not tip too, where nobody gave how stiff they are."""

from plan_projects import gable

from fea.analysis import analyze, check_limits
from fea.planning.plan import plan_rows
from roofmodel.project.load import load_project, with_rows

GIVEN = ', rocking = "7200 N*m/rad"'
MORE = """
[[protect]]
name = "east side"
planes = ["E1"]
[plan]
step = "0.6 m"
every = [1, 2]
most_rows = 3
"""


def load(folder, along, *, given, few=("", "")):
    text = gable(ROWS="", FOOTPRINT="0 0, 8 0, 8 3, 0 3 m", MORE=MORE, RATIO="0.02", ALONG=along)
    text = text.replace(*few)
    assert GIVEN in text
    path = folder / "project.toml"
    path.write_text(text if given else text.replace(GIVEN, ""), encoding="utf-8")
    return load_project(path, rows_needed=False)


def test_a_plan_without_the_stiffness_holds_at_both_its_ends(tmp_path):
    soft = plan_rows(load(tmp_path, "5 kN", given=True))
    bare = load(tmp_path, "5 kN", given=False)
    assert soft.passed
    left_open = analyze(with_rows(bare, soft.rows))
    assert left_open.unsettled is not None
    both = plan_rows(bare)
    assert both.passed
    assert both.analysis.tipping.stiff <= 1.0
    assert both.cost > soft.cost


def test_where_no_rows_hold_clamps_that_do_not_tip_the_plan_names_the_field(tmp_path):
    """The only layout that is offered is the one that passes with the default as a given stiffness."""
    few = ("every = [1, 2]\nmost_rows = 3", "every = [2]\nmost_rows = 1")
    assert plan_rows(load(tmp_path, "5 kN", given=True, few=few)).passed
    plan = plan_rows(load(tmp_path, "5 kN", given=False, few=few))
    assert not plan.passed
    assert "would use 120 %" in plan.failure
    assert "give clamp.stiffness.rocking, measured" in plan.failure


def test_limits_of_clamps_that_do_not_tip_come_where_the_stiffness_is_not_given(tmp_path):
    given, bare = (load(tmp_path, "5 kN", given=one) for one in (True, False))
    rows = plan_rows(given).rows
    count = len(check_limits(with_rows(given, rows)))
    assert len(check_limits(with_rows(given, rows), stiff=True)) == count
    more = check_limits(with_rows(bare, rows), stiff=True)[count:]
    assert [one.name for one in more] == ["clamp combined"]
