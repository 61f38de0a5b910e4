"""Corrections of a recognized roof by its user."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from shapes import gable, hip, rectangle, subdivided

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.clutter import clutter_words, plane_parts
from roofmodel.shape.corrections import Corrections, correct
from roofmodel.shape.recognition import recognize
from roofmodel.surface import EdgeKind


def folded(bend_degrees):
    """Two strips of 10 m x 4 m that fall to the south, the upper steeper by a few degrees."""
    rise = np.tan(np.radians([20.0, 20.0 + bend_degrees]))
    z = [3.0, 3.0 + 4 * rise[0], 3.0 + 4 * rise.sum()]
    points = [(x, y, h) for y, h in zip((0, 4, 8), z, strict=True) for x in (0, 10)]
    faces = [[0, 1, 3], [0, 3, 2], [2, 3, 5], [2, 5, 4]]
    return np.array(points), np.array(faces)


def test_two_planes_become_one_with_the_least_squares_slope():
    points, faces = folded(6.0)
    found = recognize(*subdivided(points, faces, 4))
    assert found.planes.name == ("S1", "S2")
    one = correct(found, Corrections(merge=(("S1", "S2"),)), 0.03)
    assert one.planes.name == ("S1",)
    assert np.degrees(one.planes.slope[0]) == pytest.approx(23.1, abs=0.1)
    assert one.planes.plan_area[0] == pytest.approx(80.0, rel=0.02)
    assert sorted(kind.value for kind in one.edges.kind) == ["eave", "head", "rake", "rake"]
    assert any("merged into S1, as given; they lie within" in note for note in one.notes)


def test_merging_refuses_what_is_no_plane():
    roof = build_roof([hip()])
    with pytest.raises(InputError, match=r"merge: S1, N1 lie up to .* are not one plane"):
        correct(roof, Corrections(merge=(("S1", "N1"),)))
    two = build_roof([RoofPart("flat", rectangle(x, 0, x + 5, 5), eave_height=3.0) for x in (0, 9)])
    with pytest.raises(InputError, match="do not all touch"):
        correct(two, Corrections(merge=(("F1", "F2"),)))
    with pytest.raises(InputError, match="is one plane; give two"):
        correct(roof, Corrections(merge=(("S1", "S1"),)))
    with pytest.raises(InputError, match=r'no plane "S7" .did you mean "S1"'):
        correct(roof, Corrections(merge=(("S1", "S7"),)))


@pytest.mark.parametrize("parts", [1, 5])
def test_a_split_keeps_area_and_makes_an_edge(parts):
    built = build_roof([gable()])
    roof = recognize(*subdivided(built.points, built.faces, parts)) if parts > 1 else built
    area = roof.planes.true_area[roof.planes.name.index("S1")]
    line = np.array([[5.0, -1.0], [5.0, 1.0]])
    cut = correct(roof, Corrections(split=(("S1", line - roof_origin(roof, built)),)))
    assert sorted(cut.planes.name) == ["N1", "S1a", "S1b"]
    a, b = (cut.planes.true_area[cut.planes.name.index(name)] for name in ("S1a", "S1b"))
    assert a + b == pytest.approx(area)
    assert a == pytest.approx(area * 5 / 12)  # left of a line that runs north lies west
    shared = [name for name in cut.edges.name if "S1a" in name and "S1b" in name]
    assert len(shared) == 1
    assert cut.planes.true_area.sum() == pytest.approx(roof.planes.true_area.sum())
    assert cut.edges.count == roof.edges.count + 3  # the seam, and eave and ridge in two pieces each


def roof_origin(roof, built):
    return (built.points.min(axis=0) - roof.points.min(axis=0))[:2]


def test_a_split_of_a_hollow_plane_may_give_three_pieces():
    """A U whose arms point north, cut across both arms: two pieces on one side, one on the other."""
    ring = [(0, 0), (12, 0), (12, 9), (8, 9), (8, 4), (4, 4), (4, 9), (0, 9)]
    roof = build_roof([RoofPart("flat", np.array(ring, dtype=float), eave_height=3.0)])
    cut = correct(roof, Corrections(split=(("F1", np.array([[0.0, 6.0], [12.0, 6.0]])),)))
    assert sorted(cut.planes.name) == ["F1a", "F1b", "F1c"]
    assert cut.planes.plan_area == pytest.approx(sorted([12.0, 12.0, 64.0], reverse=True))
    assert cut.planes.true_area.sum() == pytest.approx(roof.planes.true_area.sum())


def test_a_line_that_misses_its_plane_is_refused():
    roof = build_roof([gable()])
    with pytest.raises(InputError, match='split: the line for plane "S1" does not cross it'):
        correct(roof, Corrections(split=(("S1", np.array([[0.0, 100.0], [1.0, 100.0]])),)))
    with pytest.raises(InputError, match="has no length"):
        correct(roof, Corrections(split=(("S1", np.zeros((2, 2))),)))


def test_names_go_on_to_edges_steps_and_further_corrections():
    low = RoofPart("flat", rectangle(0, -4, 12, 0), eave_height=2.0)
    roof = build_roof([gable(), low])
    wanted = Corrections(
        split=(("F1", np.array([[6.0, -9.0], [6.0, 0.0]])),),
        rename=(("F1a", "porch"), ("S1", "street")),
        retype=(("street eave", EdgeKind.HEAD),),
    )
    found = correct(roof, wanted)
    assert "street head" in found.edges.name
    assert {"porch", "street", "F1b", "N1"} == set(found.planes.name)
    assert not any("S1" in name for name in found.edges.name)
    assert found.steps.count >= 2
    assert {found.planes.name[index] for index in found.steps.lower} == {"porch", "F1b"}
    assert not any("F1," in note or "F1:" in note for note in found.notes)
    assert any(note.startswith(("porch, F1b: flatter", "F1b, porch: flatter")) for note in found.notes)


def test_taken_and_unknown_names_are_refused():
    roof = build_roof([gable()])
    with pytest.raises(InputError, match='the name "N1" is taken'):
        correct(roof, Corrections(rename=(("S1", "N1"),)))
    with pytest.raises(InputError, match="this roof has"):
        correct(roof, Corrections(rename=(("garage", "shop"),)))


def test_an_edge_gets_a_kind_it_can_be():
    roof = build_roof([gable()])
    changed = correct(roof, Corrections(retype=(("S1|N1 ridge", EdgeKind.BREAK),)))
    assert "S1|N1 pitch break" in changed.edges.name
    assert "S1|N1 ridge" not in changed.edges.name
    assert changed.planes is roof.planes
    with pytest.raises(InputError, match='cannot be "valley"; it can be eave, rake or head'):
        correct(roof, Corrections(retype=(("S1 eave", EdgeKind.VALLEY),)))
    low = RoofPart("flat", rectangle(0, -4, 12, 0), eave_height=2.0)
    stepped = build_roof([gable(), low])
    with pytest.raises(InputError, match="foot of a wall, which the planes decide"):
        correct(stepped, Corrections(retype=(("F1 step", EdgeKind.EAVE),)))


def test_nothing_to_correct_changes_nothing():
    roof = build_roof([hip()])
    assert correct(roof, Corrections()) is roof


def test_heights_keep_their_ground():
    roof = build_roof([gable()])
    cut = correct(roof, Corrections(split=(("S1", np.array([[5.0, -1.0], [5.0, 1.0]])),)))
    eaves = np.array([kind == EdgeKind.EAVE for kind in cut.edges.kind])
    before = np.array([kind == EdgeKind.EAVE for kind in roof.edges.kind])
    assert cut.edges.height[eaves] == pytest.approx(roof.edges.height[before][0])


def with_tree(apart, slab=()):
    """A house of 12 m and, `apart` to the east of it, a four-sided crown of 2 m x 2 m."""
    plan = rectangle(12 + apart, 0, 14 + apart, 2)
    return build_roof([gable(), RoofPart("hip", plan, np.radians([40.0] * 4), 2.0), *slab])


def test_a_tree_beside_the_house_is_told_and_left_out():
    roof, house = with_tree(3.0), build_roof([gable()])
    words = clutter_words(roof)
    assert words.startswith("4 of 6 planes, in 1 small part,")
    (name,) = re.findall(r'"(.*?)"', words)
    found = correct(roof, Corrections(leave_out=(name,)))
    assert found.planes.plan_area.sum() == pytest.approx(house.planes.plan_area.sum())
    assert sorted(found.edges.kind) == sorted(house.edges.kind)
    assert any("4 planes, 4.00 m2 on plan) were left out, as given" in note for note in found.notes)
    assert clutter_words(found) == ""
    with pytest.raises(InputError, match=r'leave_out: "S1" hangs together with N1, the largest part'):
        correct(roof, Corrections(leave_out=("S1",)))
    with pytest.raises(InputError, match="leave_out: there is no plane"):
        correct(roof, Corrections(leave_out=("S9",)))


@pytest.mark.parametrize("wider", [1.0, 8.0])  # smaller and larger than the roof
def test_a_floor_slab_under_the_house_is_named_and_left_out(wider):
    slab = RoofPart("flat", rectangle(-wider, -wider, 12 + wider, 10 + wider), eave_height=0.3)
    roof, house = with_tree(3.0, [slab]), build_roof([gable()])
    words = clutter_words(roof)
    names = re.findall(r'"(.*?)"', words)
    assert "Flat and close to the ground, as a floor slab is: F1." in words
    assert names[0] == "F1"
    found = correct(roof, Corrections(leave_out=tuple(names)))
    names += re.findall(r'"(.*?)"', clutter_words(found))  # a tree on a wide slab stands apart without it
    assert len(names) == 2
    found = correct(roof, Corrections(leave_out=tuple(names)))
    assert found.planes.plan_area.sum() == pytest.approx(house.planes.plan_area.sum())


def test_planes_whose_faces_do_not_meet_at_the_ridge_are_one_part():
    """Pieces cut along hidden faces keep corners of their own; the edge that both have joins them."""
    house = build_roof([gable()])
    corners = house.points[house.faces].reshape(-1, 3)
    loose = replace(house, points=corners, faces=np.arange(len(corners)).reshape(-1, 3))
    assert not plane_parts(loose).any()


def test_what_stands_at_the_house_may_belong_to_it():
    assert clutter_words(with_tree(0.4)) == ""
