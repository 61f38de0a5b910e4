"""What still comes down on something protected, against the weight of snow on the roof by hand."""

import itertools
import re

import numpy as np
import pytest
import shapely
from plan_projects import TWO_ROWS, gable

from fea.analysis import analyze
from fea.planning.cut_strips import reaching
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.sliding.flow import Exit
from roofmodel.units import STANDARD_GRAVITY, SYSTEMS
from viewer.export import results
from viewer.summary import EXCEEDED, NOT_PROTECTED, verdict

PRESSURE = 0.5 * 300.0 * STANDARD_GRAVITY  # half a meter of 300 kg/m^3 [Pa]
SLOPE = 1.5 * 6.0 * PRESSURE  # on the east side, 1.5 m on plan by 6 m [N]
ALONG = np.cos(np.radians(25.0))
EAST = TWO_ROWS[: TWO_ROWS.index("[[row]]", 5)]
WEST = TWO_ROWS[len(EAST) :]
SIDE = '[[protect]]\nname = "walk"\nplanes = ["E1"]\n'
HALF = '[[protect]]\nname = "walk"\narea = "3 0, 9 0, 9 2.9, 3 2.9 m"\nmargin = "0 m"\n'


def told(folder, rows, mark):
    """The sentence on the walk, and the weight in it. [N]."""
    path = folder / "project.toml"
    path.write_text(gable(ROWS=rows, MORE=mark))
    analysis = analyze(load_project(path))
    found = [words for words in analysis.cautions if words.startswith("walk is to be protected")]
    assert len(found) == 1
    return found[0], 1e3 * float(re.search(r"([\d.]+) kN", found[0])[1]), analysis


@pytest.mark.parametrize(
    ("rows", "mark", "weight", "held"),
    [
        (WEST, SIDE, SLOPE, False),  # no row on the side that threatens
        (WEST, HALF, SLOPE * 2.9 / 6.0, False),
        (EAST, SIDE, 0.4 * ALONG * 6.0 * PRESSURE, True),  # 0.4 m of slope below the row
        (EAST.replace('"0.4 m"', '"1.2 m"'), SIDE, 1.2 * ALONG * 6.0 * PRESSURE, False),
        (EAST + 'end = "3 m"\n', SIDE, SLOPE / 2.0, False),  # the other half has no row
    ],
)
def test_what_falls_on_the_walk_is_the_snow_that_no_row_holds(tmp_path, rows, mark, weight, held):
    words, told_weight, analysis = told(tmp_path, rows, mark)
    strip = 0.4 * ALONG * 3.0 * PRESSURE if "end" in rows else 0.0  # below the row falls too
    assert told_weight == pytest.approx(weight + strip, abs=6.0)
    assert ("from below the lowest rows on E1" in words) == held
    assert ("which no row holds" in words) != held
    answer = verdict(analysis, SYSTEMS["SI"])
    assert (NOT_PROTECTED in answer.words) != held
    assert words in answer.cautions
    if not held:
        assert not analysis.passed
        assert not answer.passed
        assert "walk" in answer.sentence or EXCEEDED in answer.words
        found = results(analysis)
        assert found["verdict"] in ("not protected", "exceeded")
        assert found["protected"][0]["kept"] is False
        assert found["protected"][0]["weight"] == pytest.approx(told_weight, abs=6.0)
    if mark == SIDE:  # all that leaves over the eave, by the flow itself
        east = analysis.project.roof.edges.name.index("E1 eave")
        over = analysis.force.exit_weight[0, analysis.force.exit_edge == east].sum()
        assert over >= told_weight - 6.0


def test_shares_that_reach_all_exits_are_whole(tmp_path):
    """Every cell's snow leaves over an edge or is caught by a row: parts add up to one."""
    _, _, analysis = told(tmp_path, EAST, SIDE)
    graph = analysis.graph
    part = reaching(graph, graph.exit_kind == Exit.EDGE)
    caught = np.zeros(graph.node_count)
    caught[graph.catch_node] = 1.0
    assert set(np.round(part + caught, 12)[: graph.cells.count]) <= {0.0, 1.0}
    weight = analysis.force.cell_pressure[0] * graph.cells.plan_area
    assert weight @ part[: graph.cells.count] == pytest.approx(analysis.force.exit_weight[0].sum())


@pytest.mark.parametrize("field", ["onto", "planes"])
def test_unknown_planes_are_refused_whatever_the_command(tmp_path, field):
    path = tmp_path / "project.toml"
    path.write_text(gable(MORE=f'[[protect]]\nname = "walk"\n{field} = ["S9"]\n'))
    with pytest.raises(InputError, match=rf'protect "walk".{field}: there is no plane "S9"'):
        load_project(path)


def test_a_kept_walk_takes_nothing_from_the_verdict(tmp_path):
    """The strip below the lowest row still falls: a caution, no limit."""
    _, _, analysis = told(tmp_path, EAST, SIDE)
    path = tmp_path / "bare.toml"
    path.write_text(gable(ROWS=EAST))
    assert verdict(analysis, SYSTEMS["SI"]).words == verdict(analyze(load_project(path)), SYSTEMS["SI"]).words


@pytest.mark.parametrize(("away", "told_so"), [(30.0, True), (1.0, False)])
def test_a_place_that_no_snow_can_fly_to_is_named(tmp_path, away, told_so):
    """Sliding down a and falling b carries 2 sqrt(a b) at most, which is no more than a + b."""
    path = tmp_path / "project.toml"
    low = -away
    area = f"0 {low - 1}, 3 {low - 1}, 3 {low}, 0 {low} m"
    path.write_text(gable(MORE=f'[[protect]]\nname = "walk"\narea = "{area}"\nmargin = "0 m"\n'))
    analysis = analyze(load_project(path))
    assert analysis.project.roof.points[:, 1].min() == pytest.approx(0.0)
    words = [w for w in analysis.cautions if w.startswith("walk is to be protected, but lies 30.00 m")]
    assert bool(words) == told_so


@pytest.mark.parametrize(("gap", "kept"), [(0.1, True), (0.2, False)])
def test_a_large_plane_lets_no_more_pass_than_a_small_one(tmp_path, gap, kept):
    """Beside the row 6 m on plan less the strip below it; a hundred kilograms is too much on any roof."""
    path = tmp_path / "project.toml"
    row = EAST + f'end = "{30.0 - gap} m"\n'
    path.write_text(gable(ROWS=row, MORE=SIDE).replace("0 0, 3 0, 3 6, 0 6 m", "0 0, 12 0, 12 30, 0 30 m"))
    analysis = analyze(load_project(path))
    (walk,) = analysis.protected
    past = gap * (6.0 - 0.4 * ALONG) * PRESSURE
    assert past < 0.01 * 6.0 * 30.0 * PRESSURE  # less than a hundredth of the plane's
    assert 0.8 * past < walk.unheld <= past * (1.0 + 1e-9)  # cells across the row's line count as below it
    assert walk.kept == kept
    (words,) = [w for w in analysis.cautions if w.startswith("walk is to be protected")]
    assert "from below the lowest rows" not in words
    assert ("of them past the rows" in words) == kept


HIPPED = (
    ('shape = "gable"', 'shape = "hip"'),
    (
        'pitches = ["gable", "25 deg", "gable", "25 deg"]',
        'pitch = "25 deg"',
    ),
)


@pytest.mark.parametrize("hipped", [False, True])
@pytest.mark.parametrize("seed", range(5))
def test_what_passes_a_row_is_the_polygon_beside_it_however_wide_the_strips(tmp_path, hipped, seed):
    """A row that ends anywhere: what it holds, what passes and the strip below it are all of its plane."""
    rng = np.random.default_rng(seed)
    up, start, end = rng.uniform([0.3, 0.1, 2.8], [1.0, 1.4, 4.0])
    row = f'[[row]]\nname = "E"\nplane = "E1"\nup = "{up} m"\nstart = "{start} m"\nend = "{end} m"\n'
    told = []
    for width in (1.7, 0.5, 0.13):
        text = gable(ROWS=row, MORE=SIDE, ALONG="80 kN")
        for old, new in HIPPED if hipped else ():
            text = text.replace(old, new)
        text = text.replace("[analysis]", f'[analysis]\nstrip_width = "{width} m"')
        path = tmp_path / "project.toml"
        path.write_text(text)
        analysis = analyze(load_project(path))
        roof, layout, force = analysis.project.roof, analysis.project.layout, analysis.force
        plane = roof.planes.name.index("E1")
        outline, ends = roof.planes.outline[plane], (layout.row_start[0], layout.row_end[0])
        low, high, v = ends[0][0], ends[1][0], ends[0][1]
        seam = analysis.project.panel.seam_spacing
        reach = 1.5 * analysis.project.table.plan.eave_distance
        caught = shapely.intersection(outline, shapely.box(low, v, high, 99.0)).area * ALONG * PRESSURE
        strip = shapely.intersection(outline, shapely.box(low - seam, v - reach, high + seam, v)).area
        strip *= ALONG * PRESSURE
        whole = outline.area * ALONG * PRESSURE
        falling = analysis.protected[0]
        assert force.weight[0].sum() == pytest.approx(caught, rel=1e-9)
        assert force.weight[0].sum() + falling.weight == pytest.approx(whole, rel=1e-9)
        assert falling.unheld == pytest.approx(whole - caught - strip, rel=1e-6)
        told.append(falling.unheld)
    assert np.ptp(told) < 1e-6 * max(told)


DOOR = '[[protect]]\nname = "walk"\narea = "3 {0}, 9 {0}, 9 {1}, 3 {1} m"\nmargin = "{2} m"\n'
UNDER = '[[protect]]\nname = "walk"\neave = "E1 eave"\nstart = "{0} m"\nend = "{1} m"\nmargin = "{2} m"\n'


def falling_on(folder, mark, rows, width, *, hipped=False):
    """The one thing protected, and the analysis, with strips of a width. [m]."""
    text = gable(ROWS=rows, MORE=mark).replace("[analysis]", f'[analysis]\nstrip_width = "{width} m"')
    for old, new in HIPPED if hipped else ():
        text = text.replace(old, new)
    path = folder / "project.toml"
    path.write_text(text)
    analysis = analyze(load_project(path))
    return analysis.protected, analysis


@pytest.mark.parametrize("form", [DOOR, UNDER])
@pytest.mark.parametrize("hipped", [False, True])
def test_what_falls_on_a_door_is_the_snow_straight_above_it(tmp_path, form, hipped):
    """Polygon of the plane above door and margin, whatever the strips and the clamps of the row beside it."""
    low, high, margin = 0.83, 1.71, 0.4
    for width, rows in ((1.7, WEST), (0.3, WEST), (1.7, EAST), (0.3, EAST)):
        (door,), analysis = falling_on(tmp_path, form.format(low, high, margin), rows, width, hipped=hipped)
        roof = analysis.project.roof
        outline = roof.planes.outline[roof.planes.name.index("E1")]
        top = 0.4 if rows is EAST else 99.0  # below the row only
        above = shapely.intersection(outline, shapely.box(low - margin, 0.0, high + margin, top)).area
        assert door.weight == pytest.approx(above * ALONG * PRESSURE, rel=1e-9)
        assert door.unheld == pytest.approx(0.0 if rows is EAST else door.weight, abs=1e-6)


@pytest.mark.parametrize("rows", [WEST, EAST + 'end = "2.1 m"\n'])
@pytest.mark.parametrize("hipped", [False, True])
def test_places_side_by_side_share_all_that_leaves_over_the_eave(tmp_path, rows, hipped):
    bounds = (-3.0, 0.77, 2.3, 2.45, 5.2, 9.0)
    marks = "".join(DOOR.format(*pair, 0.0) for pair in itertools.pairwise(bounds))
    for k in range(len(bounds) - 1):
        marks = marks.replace('name = "walk"', f'name = "part {k}"', 1)
    parts, analysis = falling_on(tmp_path, marks, rows, 0.9, hipped=hipped)
    east = analysis.project.roof.edges.name.index("E1 eave")
    over = analysis.force.exit_weight[0, analysis.force.exit_edge == east].sum()
    assert sum(one.weight for one in parts) == pytest.approx(over, rel=1e-9)


WING = """
[[roof.part]]
shape = "gable"
footprint = "4.5 3, 14 3, 14 10, 4.5 10 m"
pitches = ["25 deg", "gable", "25 deg", "gable"]
eave_height = "2.3 m"
"""


@pytest.mark.parametrize("high", [9.02, 9.3])
def test_a_valley_that_runs_out_on_a_lower_plane_hits_a_door_with_all_of_it(tmp_path, high):
    """Both triangles that drain into the valley, on plan, whatever the strips and however narrow the door."""
    mark = f'[[protect]]\nname = "door"\narea = "9 1.5, {high} 1.5, {high} 2.9, 9 2.9 m"\nmargin = "0 m"\n'
    half, foot = 3.5, 0.7 / np.tan(np.radians(25.0))  # of the wing; from its eave up to where the valley ends
    rise = half - foot  # the valley on plan, along and across
    stream = rise * 4.5 * PRESSURE  # main roof up to its ridge, less what the wing covers, and as much of it
    told = []
    for width in (0.1, 0.5):
        path = tmp_path / "project.toml"
        text = gable(ROWS=WEST, MORE=WING + mark, FOOTPRINT="0 0, 9 0, 9 16, 0 16 m", ALONG="80 kN")
        path.write_text(text.replace("[analysis]", f'[analysis]\nstrip_width = "{width} m"'))
        (door,) = analyze(load_project(path)).protected
        told.append(door.weight)
        assert not door.kept
    assert min(told) >= stream
    assert np.ptp(told) < 1e-6 * max(told)


def test_what_parts_at_a_box_hits_the_door_beside_it(tmp_path):
    """A box sends what comes down onto it to both sides: a door there gets more than is straight above."""
    mark = DOOR.format(3.35, 3.45, 0.0)
    box = """
[[obstruction]]
name = "flue"
plane = "E1"
up = "0.3 m"
across = "3 m"
width = "0.6 m"
depth = "0.6 m"
height = "1 m"
"""
    weight = {}
    for more in ("", box):
        for width in (0.1, 0.7):
            (door,), _ = falling_on(tmp_path, mark + more, WEST, width)
            weight[more, width] = door.weight
    assert weight["", 0.1] == pytest.approx(0.1 * 1.5 * PRESSURE, rel=1e-9)
    assert weight["", 0.7] == pytest.approx(weight["", 0.1], rel=1e-9)
    assert min(weight[box, 0.1], weight[box, 0.7]) > 1.5 * weight["", 0.1]
