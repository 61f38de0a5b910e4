"""Planned rows against the exhaustive enumeration of all layouts by the full check, and what they hold."""

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from plan_projects import HIP, gable, with_roof

from fea.analysis import analyze, check_limits
from fea.checks.grip_edges import grips_at_edges
from fea.planning import plan as planning
from fea.planning.candidates import ladders
from fea.planning.checking import path_rows, row_use, strip_use
from fea.planning.passing import passing_by
from fea.planning.plan import plan_rows
from fea.planning.search import FAR, FEW
from fea.planning.threats import find_threats
from roofmodel.errors import InputError
from roofmodel.layout import rail_lengths
from roofmodel.memory import Memory
from roofmodel.project.load import load_project, with_rows
from roofmodel.splices import USUAL_BAR
from viewer.package.bill import bill_of, splice_caution

SMALL = """
[[protect]]
name = "east side"
planes = ["E1"]
[plan]
step = "0.6 m"
every = [1, 2]
most_rows = 3
"""


def load(folder, **changes):
    """A gable of 3 m length with slopes of 4.4 m and no rows."""
    values = {"ROWS": "", "FOOTPRINT": "0 0, 8 0, 8 3, 0 3 m", "MORE": SMALL, "RATIO": "0.02"} | changes
    path = folder / "project.toml"
    path.write_text(gable(**values))
    return load_project(path, rows_needed=False)


def layouts(ladder):
    """All paths of a ladder by its spacings, whatever they cost or use."""
    h, m = ladder.cost.shape
    for k in range(1, ladder.most_rows + 1):
        for above in itertools.combinations(range(1, h), k - 1):
            if all(ladder.allowed[a, b] for a, b in itertools.pairwise((0, *above, h))):
                for options in itertools.product(range(m), repeat=k):
                    yield tuple(zip((0, *above), options, strict=True))


def material(project, layout):
    """Cost from the layout itself. The projects here are in SI."""
    plan = project.table.plan
    rows, clamps = len(layout.row_name), len(layout.clamp_name)
    return plan.rail_cost * layout.row_length.sum() + plan.clamp_cost * clamps + plan.row_cost * rows


def enumerate_all(project, every=(1, 2), *, cut=True):
    """Cost and largest use of every layout of the only group, by the full check."""
    (ladder,) = ladders(project, find_threats(project), every)
    found, memory = {}, Memory()
    for path in layouts(ladder):
        rows, _ = path_rows(project, [ladder], every, [path])
        placed = with_rows(project, rows)
        try:
            limits = check_limits(placed, memory)
        except InputError:
            continue  # a rail on one clamp
        layout, target = placed.layout, project.table.plan.target
        if cut and ((layout.row_start[:, 0] > 0.5).any() or (layout.row_end[:, 0] < 2.5).any()):
            continue  # rails cut more than a seam short
        use = row_use(limits, layout, target)
        strips = max(strip_use(limits, layout, target).values())
        found[path] = (material(project, layout), float(use.max()), strips)
    return ladder, found


CASES = {
    "one row, wide clamps": {"DEPTH": "0.4 m"},
    "one row, close clamps": {"DEPTH": "0.8 m"},
    "two rows, wide clamps below": {"DEPTH": "2 m"},
    "two rows": {"DEPTH": "3 m"},
    "three rows": {"DEPTH": "4 m"},
    "nothing": {"DEPTH": "6 m"},
    "a rail too low": {"DEPTH": "2.4 m", "RATIO": "0.05"},
    "strips": {"DEPTH": "0.4 m", "ANCHORAGE": "3.9 kN"},
    "strips and rows": {"DEPTH": "2 m", "ANCHORAGE": "8 kN"},
    "strips forbid all": {"DEPTH": "1.6 m", "ANCHORAGE": "5 kN"},
    "weak clamps": {"DEPTH": "1.2 m", "ALONG": "4 kN"},
    "target": {"DEPTH": "1.6 m", "MORE": SMALL + "target = 0.6\n"},
    "dear rails": {"DEPTH": "2 m", "MORE": SMALL + "rail_cost = 9.0\nrow_cost = 2.0\n"},
    "spacing": {"DEPTH": "0.5 m", "MORE": SMALL + 'most_spacing = "1.6 m"\n'},
    "even": {"DEPTH": "3 m", "MORE": SMALL + 'goal = "even"\n'},
    "splices": {"DEPTH": "0.9 m", "MORE": SMALL + 'splice_every = "2.2 m"\ncantilever = "0.25 m"\n'},
}


QUICK = (
    "one row, wide clamps",
    "two rows, wide clamps below",
    "three rows",
    "strips",
    "even",
    "a rail too low",
)


@pytest.mark.parametrize(
    "case", [case if case in QUICK else pytest.param(case, marks=pytest.mark.slow) for case in CASES]
)
def test_no_cheaper_layout_is_missed(tmp_path, case):
    """Of all layouts of a small roof, each checked in full, none that passes costs less than the plan."""
    project = load(tmp_path, **CASES[case])
    ladder, known = enumerate_all(project)
    assert len(known) > 7
    check_bounds(ladder, known)
    plan = plan_rows(project)
    ((_, found),) = plan.groups
    passing = {p: values for p, values in known.items() if max(values[1:]) <= 1.0 + 1e-9}
    assert found.feasible == bool(passing)
    assert found.proven
    assert plan.checks < len(known)
    if passing:
        least = min(price for price, _, _ in passing.values())
        assert plan.cost == pytest.approx(least)
        assert plan.cost == pytest.approx(material(project, plan.analysis.project.layout))
        assert not plan.failure
        assert not plan.analysis.exceeded
        if project.table.plan.goal == "even":
            ties = [use for price, use, _ in passing.values() if price <= least * (1.0 + 1e-9)]
            assert len(ties) > 1
            assert max(found.checked.rows) == pytest.approx(min(ties), rel=1e-9)
    else:
        assert plan.failure
        assert found.checked.worst <= min(max(values[1:]) for values in known.values()) / 0.98


@pytest.mark.parametrize(("stock", "pieces"), [("1.2 m", 3), ("3 m", 1)])
def test_planned_rails_are_no_longer_than_the_bars(tmp_path, stock, pieces):
    """3 m of rail from bars of 1.2 m: three equal pieces, whose splices are in the check of the plan."""
    load(tmp_path, DEPTH="0.4 m")
    path = tmp_path / "project.toml"
    path.write_text(
        path.read_text().replace("deflection_ratio", f'stock_length = "{stock}"\ndeflection_ratio')
    )
    project = load_project(path, rows_needed=False)
    plan = plan_rows(project)
    layout = plan.analysis.project.layout
    bill = bill_of(plan.analysis.project)
    assert len(bill.piece_length) == pieces * len(layout.row_name)
    assert bill.piece_length.max() <= bill.stock + 1e-9
    assert np.ptp(bill.piece_length) < 0.05
    assert not splice_caution(plan.analysis.project)
    assert not plan.failure


def test_cases_need_different_rows(tmp_path):
    """The enumeration would prove little if one row were always the answer."""
    counts = []
    for case in ("one row, wide clamps", "two rows", "three rows"):
        project = load(tmp_path, **CASES[case])
        counts.append(len(plan_rows(project).rows))
    assert counts == [1, 2, 3]


def check_bounds(ladder, known):
    """Lower bounds of the search are below the truth of every layout; some come near it."""
    bound, tight = ladder.least, []
    for path, (_, use, strips) in known.items():
        ends = [a for a, _ in path[1:]] + [ladder.levels]
        least = max(bound[a, b, m] for (a, m), b in zip(path, ends, strict=True))
        assert least <= use * (1.0 + 1e-9)
        mask = sum({1 << m for _, m in path})
        assert ladder.strips[mask] <= strips * (1.0 + 1e-9)
        tight.append(least / use)
    assert max(tight) > 0.3  # a bound of nothing would pass too


@pytest.mark.slow
def test_planes_without_common_snow_are_planned_apart(tmp_path):
    """Joint enumeration of both sides of the ridge gives the same cost as the two searches."""
    more = (
        SMALL.replace('["E1"]', '["E1", "W1"]')
        .replace("most_rows = 3", "most_rows = 2")
        .replace('"0.6 m"', '"1.2 m"')
    )
    project = load(tmp_path, DEPTH="2.4 m", MORE=more)
    both = ladders(project, find_threats(project), (1, 2))
    least, memory = np.inf, Memory()
    for pair in itertools.product(*(list(layouts(ladder)) for ladder in both)):
        rows, _ = path_rows(project, both, (1, 2), pair)
        placed = with_rows(project, rows)
        if not any((limit.utilization > 1.0).any() for limit in check_limits(placed, memory)):
            least = min(least, material(project, placed.layout))
    plan = plan_rows(project)
    assert plan.cost == pytest.approx(least)
    assert {row.plane for row in plan.rows} == {"E1", "W1"}


def test_all_threatening_snow_is_held_above_the_lowest_row(tmp_path):
    project = load(tmp_path)
    plan = plan_rows(project)
    assert plan.passing_by == pytest.approx(0.0, abs=1e-12)
    # A row that stops a meter short of the end lets half a meter's snow by, as a seam (0.5 m) counts as held.
    row = plan.rows[0].model_copy(update={"start": 1.0})
    short = analyze(with_rows(project, [row]))
    above = 1.0 - row.up * np.cos(np.radians(25.0)) / 4.0
    assert passing_by(short, plan.threats) == pytest.approx(above * 0.5 / 3.0, rel=1e-6)


def test_rows_go_around_what_stands_on_the_roof(tmp_path):
    """A box in the line of the lowest row makes two rows of it, a hand's breadth away from the box."""
    box = """
[[obstruction]]
name = "flue"
plane = "E1"
up = "0.3 m"
across = "1.5 m"
width = "0.6 m"
depth = "0.6 m"
height = "1 m"
"""
    project = load(tmp_path, MORE=SMALL + box)
    plan = plan_rows(project)
    lowest = [row for row in plan.rows if row.up == 0.5]
    assert [row.name for row in lowest] == ["E1-1a", "E1-1b"]
    layout = plan.analysis.project.layout
    u = np.sort(np.stack([layout.row_start, layout.row_end], axis=1)[:2, :, 0], axis=1)
    roof = project.roof
    known = roof.obstacles
    feet = roof.planes.to_plane(int(known.plane[0]), known.start)[:, 0]
    assert u[0, 1] <= feet.min() - 0.09
    assert u[1, 0] >= feet.max() + 0.09
    assert not any("through" in caution for caution in plan.analysis.cautions)


VALLEY = """
[[roof.part]]
shape = "L"
footprint = "0 0, 11 0, 11 6.5, 6.5 6.5, 6.5 11, 0 11 m"
pitches = ["25 deg", "gable", "25 deg", "25 deg", "gable", "25 deg"]
eave_height = "3 m"
"""


@pytest.mark.parametrize(
    ("roof", "planes", "depth"),
    [
        (HIP, 1, "2.6 m"),
        pytest.param(HIP, 1, "1.6 m", marks=pytest.mark.slow),
        pytest.param(HIP, 1, "3.5 m", marks=pytest.mark.slow),
        pytest.param(VALLEY, 2, "0.5 m", marks=pytest.mark.slow),
        (VALLEY, 2, "0.9 m"),
        pytest.param(VALLEY, 2, "1.3 m", marks=pytest.mark.slow),
    ],
)
def test_no_cheaper_layout_is_missed_on_hips_and_valleys(tmp_path, monkeypatch, roof, planes, depth):
    """Rows shorten up a hip, and take the streams of a valley: still all layouts are enumerated."""
    monkeypatch.setattr(planning, "_steadiest", lambda _project, _task, plan: plan)  # the search alone
    path = tmp_path / "project.toml"
    names = '["E1"]' if planes == 1 else '["E1", "N1"]'
    more = SMALL.replace('["E1"]', names)
    path.write_text(with_roof(roof, DEPTH=depth, RATIO="0.02", MORE=more))
    project = load_project(path, rows_needed=False)
    ladder, known = enumerate_all(project, cut=False)
    assert len(ladder.planes) == planes
    plan = plan_rows(project)
    ((_, found),) = plan.groups
    passing = [price for price, *use in known.values() if max(use) <= 1.0 + 1e-9]
    assert found.proven
    assert found.feasible == bool(passing)
    assert bool(plan.failure) != bool(passing)
    if passing:
        assert plan.cost == pytest.approx(min(passing))
        assert plan.passing_by < 1e-9


def test_planes_of_a_valley_take_a_spacing_each(tmp_path, monkeypatch):
    """The cheapest of all layouts has other clamps on one plane than on the other."""
    monkeypatch.setattr(planning, "_steadiest", lambda _project, _task, plan: plan)  # the search alone
    path = tmp_path / "project.toml"
    more = SMALL.replace('["E1"]', '["E1", "N1"]').replace("most_rows = 3", "most_rows = 1")
    path.write_text(with_roof(VALLEY, DEPTH="0.7 m", RATIO="0.02", MORE=more))
    project = load_project(path, rows_needed=False)
    ladder, known = enumerate_all(project, cut=False)
    passing = {p: price for p, (price, *use) in known.items() if max(use) <= 1.0 + 1e-9}
    alike = [price for p, price in passing.items() if len(set(ladder.spacings[p[0][1]])) == 1]
    plan = plan_rows(project)
    assert plan.groups[0][1].proven
    assert plan.cost == pytest.approx(min(passing.values()))
    assert plan.cost < min(alike) - 1e-6
    assert len({row.every for row in plan.rows}) == 2
    assert not plan.shared


def test_finer_steps_are_tried_before_giving_up(tmp_path, monkeypatch):
    """With the wide steps failing, the rows come from finer ones, and the plan says so."""
    path = tmp_path / "project.toml"
    path.write_text(gable(ROWS=""))
    project = load_project(path, rows_needed=False)
    real, steps = planning._shorter_or_whole, []

    def first_fails(project, *rest):
        steps.append(project.table.plan.step)
        found = real(project, *rest)
        return found if len(steps) > 1 else replace(found, failure="made to fail")

    monkeypatch.setattr(planning, "_shorter_or_whole", first_fails)
    found = plan_rows(project)
    assert steps[0] is None
    assert 0.1 <= steps[1] < 0.2
    assert not found.failure
    assert any("plan.step" in note for note in found.notes)


def test_no_planned_clamp_grips_over_the_edge_of_its_sheet(tmp_path):
    """On a hip every row ends at slanting edges; with a grip this long the outermost seams have no room."""
    path = tmp_path / "project.toml"
    path.write_text(with_roof(HIP, RATIO="0.02").replace("70 mm", "700 mm"))
    plan = plan_rows(load_project(path, rows_needed=False))
    assert not plan.failure
    over, near = grips_at_edges(plan.analysis.project)
    assert not over.any()
    assert not near.any()
    bare = [row.model_copy(update={"clamp_edge_distance": 0.0}) for row in plan.rows]
    assert np.logical_or(*grips_at_edges(with_rows(plan.analysis.project, bare))).any()


def times(failure):
    """What each limit needs of what there is, as the failure says."""
    told = failure.partition("To be mended, each as if the others were: ")[2].partition(" what there is")[0]
    return {name.strip(): float(value) for name, value in re.findall(r"([a-z -]+?) ([\d.]+) times", told)}


def test_all_that_must_be_mended_is_told_at_once(tmp_path):
    """Rails too low, clamps too weak and panels held too little, each by itself; mended so, rows hold."""
    given = {"DEPTH": "2 m", "ALONG": "2 kN", "ANCHORAGE": "3 kN", "RATIO": "0.08"}
    plan = plan_rows(load(tmp_path, **given))
    needed = times(plan.failure)
    assert {"clamp along the seam", "panel anchorage", "rail height"} <= set(needed)
    assert all(value > 1.0 for value in needed.values())
    clamp = 2.0 * max(needed["clamp along the seam"], needed["clamp combined"])
    mended = {
        "ALONG": f"{1.01 * clamp} kN",
        "ANCHORAGE": f"{1.01 * 3.0 * needed['panel anchorage']} kN",
        "RATIO": str(0.08 / (1.01 * needed["rail height"])),
    }
    assert not plan_rows(load(tmp_path, **given | mended)).failure
    for name in mended:  # all of them are needed
        assert plan_rows(load(tmp_path, **given | mended | {name: given[name]})).failure


def test_what_is_far_from_holding_ends_soon(tmp_path):
    """Clamps of a tenth of the strength: the densest rows show it, and few others are looked at."""
    plan = plan_rows(load(tmp_path, DEPTH="3 m", ALONG="0.5 kN"))
    assert plan.failure
    assert plan.excess > FAR
    assert plan.checks <= FEW + 2


@pytest.mark.parametrize("kind", ["hinge", "continuous"])
def test_rails_of_no_given_length_come_in_usual_bars(tmp_path, kind):
    """A roof of 14 m: pieces that can be hauled, in the check of the plan, and said with the way out."""
    wide = {"DEPTH": "0.4 m", "FOOTPRINT": "0 0, 8 0, 8 14, 0 14 m"}
    more = SMALL if kind == "hinge" else SMALL + f'splice_kind = "{kind}"\n'
    plan = plan_rows(load(tmp_path, **wide, MORE=more))
    layout = plan.analysis.project.layout
    _, pieces = rail_lengths(layout)
    assert layout.row_length.max() > 2.0 * USUAL_BAR["SI"]
    assert pieces.max() <= USUAL_BAR["SI"] + 1e-9
    assert {one.value for one in layout.splice_kind} == {kind}
    (said,) = [note for note in plan.notes if note.startswith("Rails longer than")]
    assert f"so: {kind} (plan.splice_kind" in said
    assert "rail.stock_length" in said
    assert plan.analysis.in_pieces is None
