"""Whose snow comes down where: by hand on gables, L and stepped roofs."""

import numpy as np
import pytest
import trimesh
from plan_projects import gable, with_roof

from fea.planning.plan import plan_rows
from fea.planning.threats import find_threats
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.surface import shown_origin
from roofmodel.units import SYSTEMS
from viewer.plan.words import ends_in_words, protected_by_row

LONG = "0 0, 6 0, 6 20, 0 20 m"  # eaves of 20 m toward east and west
SLOPE = np.radians(25.0)


def reach(found, plane):
    """From where to where snow threatens on a plane."""
    return found.reach(plane, -np.inf, -np.inf, np.inf)


def threats(folder, fields, text=None):
    path = folder / "project.toml"
    more = f'[[protect]]\nname = "mark"\n{fields}\n' if fields else ""
    path.write_text((text or gable(ROWS="", FOOTPRINT=LONG)) + more)
    project = load_project(path, rows_needed=False)
    return project, find_threats(project)


def names(project, found):
    return {project.roof.planes.name[p] for p in found.planes}


def throw(run, height):
    """Plan distance of the throw from rest at the ridge, by elementary mechanics; run is on plan. [m]."""
    g = 9.80665
    v = np.sqrt(2.0 * g * run * np.tan(SLOPE))
    down = v * np.sin(SLOPE)
    return v * np.cos(SLOPE) * (np.sqrt(down**2 + 2.0 * g * height) - down) / g


def test_nothing_marked_is_everything(tmp_path):
    project, found = threats(tmp_path, "")
    assert names(project, found) == {"E1", "W1"}
    assert found.groups == tuple((p,) for p in found.planes)


@pytest.mark.parametrize("beyond", [-0.01, 0.01])
def test_a_walk_is_reached_as_far_as_snow_is_thrown(tmp_path, beyond):
    """A line along the eave, one centimeter within or beyond the throw and the margin."""
    x = 6.0 + throw(3.0, 3.0 + 0.5) + 0.5 + beyond  # from the top of 0.5 m of snow
    fields = f'line = "{x} 0, {x} 20 m"\nmargin = "0.5 m"'
    if beyond < 0:
        project, found = threats(tmp_path, fields)
        assert names(project, found) == {"E1"}
        assert found.by == (("mark", ("E1",)),)
    else:
        with pytest.raises(Exception, match="no snow slides onto mark"):
            threats(tmp_path, fields)


def test_a_door_is_reached_from_its_own_stretch(tmp_path):
    """U runs to the right looking up the slope: for a plane that falls east, from south to north... of y."""
    project, found = threats(tmp_path, 'area = "6 8, 7 8, 7 11, 6 11 m"\nmargin = "0 m"')
    (plane,) = found.planes
    assert names(project, found) == {"E1"}
    ends = project.roof.planes.to_world(plane, np.array([[u, 0.0] for u in reach(found, plane)]))[:, 1]
    width = project.slide.strip_width
    assert 8.0 - width <= min(ends) <= 8.0
    assert 11.0 <= max(ends) <= 11.0 + width


def test_a_stretch_of_eave(tmp_path):
    project, found = threats(tmp_path, 'eave = "W1 eave"\nstart = "4 m"\nend = "9 m"\nmargin = "1 m"')
    (plane,) = found.planes
    assert project.roof.planes.name[plane] == "W1"
    assert reach(found, plane) == pytest.approx((3.0, 10.0), abs=project.slide.strip_width)


def test_planes_that_must_hold_their_snow(tmp_path):
    project, found = threats(tmp_path, 'planes = ["W1"]')
    assert names(project, found) == {"W1"}


L_ROOF = """
[[roof.part]]
name = "wings"
shape = "L"
footprint = "0 0, 20 0, 20 8, 8 8, 8 20, 0 20 m"
pitches = ["25 deg", "gable", "25 deg", "25 deg", "gable", "25 deg"]
eave_height = "3 m"
"""


def test_a_valley_brings_both_planes_to_the_corner(tmp_path):
    """What lies under the inner corner is reached by the two planes of the valley, and only by them."""
    project, found = threats(
        tmp_path, 'area = "8.1 8.1, 8.6 8.1, 8.6 8.6, 8.1 8.6 m"\nmargin = "0 m"', with_roof(L_ROOF)
    )
    both = names(project, found)
    assert len(both) == 2
    assert found.groups == (found.planes,)
    valley = next(edge for edge in project.roof.edges.name if "valley" in edge)
    assert all(name in valley for name in both)


def test_rows_meet_in_the_valley_and_hold_both_streams(tmp_path):
    project, _ = threats(tmp_path, "", with_roof(L_ROOF, RATIO="0.02", DEPTH="0.8 m"))
    plan = plan_rows(project)
    assert not plan.failure
    assert plan.proven
    valley = next(set(names) for names, _ in plan.groups if len(names) == 2)
    heights = [sorted(round(row.up, 6) for row in plan.rows if row.plane == name) for name in valley]
    assert heights[0] == heights[1]
    assert plan.passing_by < 1e-9
    edge = next(i for i, name in enumerate(project.roof.edges.name) if "valley" in name)
    force = plan.analysis.force
    over = force.exit_weight[:, force.exit_edge == edge]
    assert over.max(initial=0.0) < 0.02 * plan.threats.weight


STEPPED = """
[[roof.part]]
name = "high"
shape = "shed"
footprint = "0 4, 12 4, 12 10, 0 10 m"
pitch = "25 deg"
fall = "180 deg"
eave_height = "7 m"
[[roof.part]]
name = "low"
shape = "shed"
footprint = "0 0, 12 0, 12 4, 0 4 m"
pitch = "20 deg"
fall = "180 deg"
eave_height = "3 m"
"""


def test_an_upper_roof_threatens_by_way_of_the_lower_one(tmp_path):
    """A walk that only the lower roof sheds onto is threatened by the roof above it too."""
    project, found = threats(tmp_path, 'eave = "S2 eave"', with_roof(STEPPED))
    assert found.by[0][1] == ("S2",) or found.by[0][1] == ("S1",)
    assert names(project, found) == {"S1", "S2"}


def test_an_upper_roof_of_which_only_the_top_of_the_snow_reaches_the_lower_one_threatens_too(tmp_path):
    """The lower roof begins 3 cm past where the foot of the blanket comes down."""
    gap = throw(6.0, 9.0 - 4.0 * np.tan(np.radians(20.0))) + 0.03
    moved = f"0 {-gap}, 12 {-gap}, 12 {4.0 - gap}, 0 {4.0 - gap}"
    high = STEPPED.replace("7 m", "12 m")
    text = with_roof(high.replace("0 0, 12 0, 12 4, 0 4", moved))
    project, _ = threats(tmp_path, "", text)
    low = project.roof.planes.name[int(np.argmin(project.roof.planes.origin[:, 2]))]
    project, found = threats(tmp_path, f'eave = "{low} eave"', text)
    assert names(project, found) == set(project.roof.planes.name)


def test_an_upper_roof_whose_snow_lands_elsewhere_on_the_lower_one_is_no_threat(tmp_path):
    """Two upper roofs 10 m apart above one long roof: a stretch of its eave is threatened by one of them."""
    high, low = (f"[[roof.part]]{part}" for part in STEPPED.split("[[roof.part]]")[1:])
    east = high.replace('"high"', '"far"').replace("0 4, 12 4, 12 10, 0 10", "20 4, 32 4, 32 10, 20 10")
    text = with_roof(high + east + low.replace("0 0, 12 0, 12 4, 0 4", "0 0, 32 0, 32 4, 0 4"))
    project, _ = threats(tmp_path, "", text)
    origin, name = project.roof.planes.origin, np.array(project.roof.planes.name)
    lower, west = name[origin[:, 2] < 5.0][0], name[(origin[:, 2] > 5.0) & (origin[:, 0] < 10.0)][0]
    for ends, wanted in (('start = "0 m"\nend = "8 m"', {lower, west}), ("", set(name))):
        project, found = threats(tmp_path, f'eave = "{lower} eave"\n{ends}', text)
        assert names(project, found) == wanted


def test_a_lower_roof_is_protected_from_the_upper_one(tmp_path):
    project, _ = threats(tmp_path, "", with_roof(STEPPED))
    heights = [project.roof.planes.origin[p, 2] for p in range(2)]
    lower = project.roof.planes.name[int(np.argmin(heights))]
    upper = project.roof.planes.name[int(np.argmax(heights))]
    project, found = threats(tmp_path, f'onto = ["{lower}"]', with_roof(STEPPED))
    assert names(project, found) == {upper}


def test_a_partial_row_covers_its_door_and_takes_the_end_bound(tmp_path):
    project, _ = threats(
        tmp_path,
        'eave = "W1 eave"\nstart = "8 m"\nend = "12 m"',
        gable(ROWS="", FOOTPRINT=LONG, RATIO="0.02"),
    )
    plan = plan_rows(project)
    assert not plan.failure
    assert {row.plane for row in plan.rows} == {"W1"}
    for row in plan.rows:
        assert row.start is not None
        assert row.start <= 7.0 + 1e-9
        assert row.end >= 13.0 - 1e-9
    assert protected_by_row(plan) == ["mark"] * len(plan.rows)
    words = ends_in_words(plan, SYSTEMS["SI"])
    assert "within 1.00 m of it" in words
    for row in plan.rows:
        assert f"{row.name} ({row.end - row.start:.2f} m of 20.00 m)" in words
    assert plan.analysis.force.end_bound.max() > 0.0
    assert plan.passing_by < 1e-9


@pytest.mark.parametrize(("off", "told"), [(1e-6, False), (0.2, True)])
def test_a_rake_is_no_edge_that_snow_leaves_over_but_where_it_slants(tmp_path, off, told):
    """Files round corners: a thousandth of a millimeter of snow goes over a rake so far off the fall line."""
    points = [[0, 0, 3], [10, 0, 3], [10 + off, 6, 6], [0, 6, 6]]
    trimesh.Trimesh(points, [[0, 1, 2], [0, 2, 3]], process=False).export(tmp_path / "shed.ply")
    _, found = threats(
        tmp_path, "", with_roof('[roof]\nfile = "shed.ply"\nunit = "m"\nup = "z"\nground = "0 m"\n')
    )
    assert any("not level" in note for note in found.notes) == told
    assert len(found.eaves) == 1


def slab_threats(folder, near, far):
    """A walk so far from the eave of a slab 0.2 m thick, in a file that shows no ground."""
    a = np.array([[0, 0, 3], [10, 0, 3], [10, 4, 5], [0, 4, 5], [10, 8, 3], [0, 8, 3]], dtype=float)
    top = np.array([[0, 1, 2], [0, 2, 3], [3, 2, 4], [3, 4, 5]])
    ring = np.array([0, 1, 2, 4, 5, 3])
    i, j = ring, np.roll(ring, -1)
    sides = np.vstack([np.stack([i, i + 6, j], axis=1), np.stack([j, i + 6, j + 6], axis=1)])
    mesh = trimesh.Trimesh(
        np.vstack([a, a - [0, 0, 0.2]]), np.vstack([top, top[:, ::-1] + 6, sides]), process=False
    )
    mesh.export(folder / "slab.stl")
    text = with_roof('[roof]\nfile = "slab.stl"\nunit = "m"\nup = "z"\n')
    return threats(folder, f'area = "2 {-far}, 8 {-far}, 8 {-near}, 2 {-near} m"\nmargin = "0 m"', text)


def test_a_walk_below_a_slab_is_reached_though_the_file_shows_no_ground(tmp_path):
    project, found = slab_threats(tmp_path, 0.6, 3.0)
    assert names(project, found) == {"S1"}
    assert max(found.throw.values()) > 1.0


def test_no_threat_says_that_the_ground_was_taken(tmp_path):
    with pytest.raises(InputError, match=r"lands up to [\d.]+ m out .* give roof\.ground"):
        slab_threats(tmp_path, 10.0, 12.0)


def test_only_snow_above_the_lower_roof_threatens_it(tmp_path):
    """A porch along a part of the eave: snow beyond it and its margin falls beside it, not onto it."""
    porch = """
[[roof.part]]
shape = "gable"
footprint = "0 0, 20 0, 20 8, 0 8 m"
pitches = ["25 deg", "gable", "25 deg", "gable"]
eave_height = "6 m"
[[roof.part]]
shape = "shed"
footprint = "12 -3, 16 -3, 16 0, 12 0 m"
pitch = "10 deg"
fall = "180 deg"
eave_height = "2.5 m"
"""
    project, _ = threats(tmp_path, "", with_roof(porch))
    low = project.roof.planes.name[int(np.argmin(project.roof.planes.origin[:, 2]))]
    project, found = threats(tmp_path, f'onto = ["{low}"]\nmargin = "0.5 m"', with_roof(porch))
    (plane,) = found.planes
    left, right = reach(found, plane)
    assert left == pytest.approx(11.5, abs=0.51)  # to a strip of the sliding mesh, 0.5 m wide
    assert right == pytest.approx(16.5, abs=0.51)


def test_a_place_far_off_is_refused_with_where_the_roof_is(tmp_path):
    with pytest.raises(InputError, match=r'"mark"\.area: lies 2\d\d\.\d+ m from the roof, .* roof\.png'):
        threats(tmp_path, 'area = "250 0, 252 0, 252 2, 250 2 m"')


@pytest.mark.parametrize("shift", [(300.0, -200.0), (2.6e6, 1.2e6)], ids=["near", "map"])
def test_places_are_taken_as_the_picture_of_the_roof_shows_them(tmp_path, shift):
    """Near its file's origin a roof keeps its coordinates; far from it those of the map hold too."""
    a = np.array([[0, 0, 3], [10, 0, 3], [10, 4, 5], [0, 4, 5], [10, 8, 3], [0, 8, 3]], dtype=float)
    top = np.array([[0, 1, 2], [0, 2, 3], [3, 2, 4], [3, 4, 5]])
    mesh = trimesh.Trimesh(a + np.array([*shift, 0.0]), top, process=False)
    mesh.export(tmp_path / "roof.obj")
    text = with_roof('[roof]\nfile = "roof.obj"\nunit = "m"\nup = "z"\nground = "0 m"\n')

    def planes(x, y):
        corners = [(x, y), (x + 6, y), (x + 6, y + 1), (x, y + 1)]
        area = ", ".join(f"{p:.1f} {q:.1f}" for p, q in corners)
        project, found = threats(tmp_path, f'area = "{area} m"\nmargin = "0 m"', text)
        return names(project, found), project.roof

    found, roof = planes(shift[0] + 2.0, shift[1] - 1.2)
    assert found == {"S1"}
    seen = np.array([*shift]) - roof.offset[:2] + shown_origin(roof.offset)
    assert (seen == shift).all() == (shift[0] < 1000.0)
    assert planes(seen[0] + 2.0, seen[1] - 1.2)[0] == {"S1"}
    assert planes(seen[0] + 2.0, seen[1] + 8.2)[0] == {"N1"}
