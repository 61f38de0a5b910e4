"""No wall is lost without a word: tapered, stepped, mixed, turned, mirrored, rounded; truth by construction.

Effective shares by EN 1999-1-1 6.1.5 (table 6.3, from memory): 1 up to beta_3, then C1 / beta - C2 / beta^2.
"""

import json

import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from fea.sections.effective import effective
from fea.sections.lost_walls import account_words, lost_words
from roofmodel.hardware import DesignFormat, Material
from roofmodel.profiles.plates import plates_of
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.unaccounted import bare, lost_in
from roofmodel.profiles.walls import walls_of
from roofmodel.units import SYSTEMS
from tests.sections.built_sections import bent_line, cell, matched, moved, rounded
from viewer.cli import commands

METAL = Material("aluminum", 70e9, 27e9, 23e-6, 2700.0, 250e6)  # epsilon is 1, class B
FRAME = np.array([[0.0, 0.0], [80.0, 0.0], [80.0, 60.0], [0.0, 60.0]])
TURNS = (-90, -60, 60, 90)
DRAWN = (Phase.explicit, Phase.generate)  # smaller examples of a failure cost minutes
TAPERS = (0.0, 0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2)


def share_by_hand(width, thick, outstand=False):
    """EN 1999-1-1 6.1.5, class B, not welded."""
    beta = width / thick
    limit, c1, c2 = (5.0, 9.0, 20.0) if outstand else (18.0, 29.0, 198.0)
    return 1.0 if beta <= limit else c1 / beta - c2 / beta**2


def chamfered(start, end, other=4.0):
    """80 x 60 mm box with a chamfer of 34 mm, `start` to `end` thick, other walls alike. [mm]."""
    cut = 34.0 / np.sqrt(2.0)
    corner = np.array([[0, 0], [80, 0], [80, 60 - cut], [80 - cut, 60], [0, 60]])
    ends = np.full((5, 2), other)
    ends[2] = start, end
    return cell(corner, ends)


def squeezed(outline):
    """Share in compression of an outline in mm."""
    profile = profile_of(moved(outline, size=1e-3), 0.33)
    return profile, effective(profile, METAL, DesignFormat.EN).share[0]


@pytest.mark.parametrize(("start", "end"), [(0.6, 0.65), (0.4, 0.45), (1.0, 1.2), (0.6, 2.0), (2.0, 2.5)])
def test_a_thin_chamfer_that_tapers_counts_by_its_least_thickness(start, end):
    """A wall whose faces are not quite parallel was on no wall, and the rest looked stout."""
    outline, truth = chamfered(start, end)
    profile, share = squeezed(outline)
    assert len(profile.walls.thickness) == 5
    own = min(share_by_hand(b, t) for b, t in truth)
    assert own == share_by_hand(*truth[2]) or own == 1.0
    assert share == pytest.approx(own, rel=1e-3)


@pytest.mark.parametrize("thin", [0.3, 1.0, 2.0])
@pytest.mark.parametrize("taper", [0.0, 0.005, 0.05, 0.2])
@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_boxes_of_mixed_thickness(thin, taper, turn):
    """4 / 4 / 4 / 1 mm and others, down to 13 times: four walls, the thin one governs."""
    ends = np.full((4, 2), 4.0)
    ends[2] = thin, thin + 72.0 * taper
    outline, truth = cell(FRAME, ends)
    walls = walls_of(moved(outline, turn, mirror=turn > 0.0))
    assert walls.known
    assert not walls.free.any()
    at = matched(walls, truth)
    np.testing.assert_allclose(walls.width[at], truth[:, 0], rtol=0.02)
    assert (walls.thickness[at] <= truth[:, 1] * 1.01).all()
    np.testing.assert_allclose(walls.thickness[at], truth[:, 1], rtol=0.02)


walls_drawn = st.tuples(st.floats(-0.9, 1.6), st.sampled_from(TAPERS), st.booleans())


def drawn_ends(drawn, length):
    """Thickness (n, 2) at both ends of walls: of their mean, exp, and a taper that leaves half of it."""
    mean = np.exp([d[0] for d in drawn])
    grow = np.minimum(np.array([d[1] for d in drawn]) * length, 0.9 * mean)
    grow = np.where([d[2] for d in drawn], grow, -grow)
    return np.stack([mean - 0.5 * grow, mean + 0.5 * grow], axis=1)


def check_found(outline, truth, inner, folds):
    """All walls are found, none wider, thicker or more compact than by hand, but for what fillets cover."""
    walls = walls_of(outline)
    assert walls.known, walls.lost
    assert len(walls.thickness) == len(truth)
    at = matched(walls, truth)
    by_hand = truth[:, 0] / truth[:, 1]
    cover = inner * np.tan(0.5 * folds)  # a fillet's tangent length, where the wall is thicker
    thicker = truth[:, 1] + 0.25 * cover.sum(axis=1)
    least = (truth[:, 0] - 1.1 * cover.sum(axis=1)) / thicker
    assert ((walls.width / walls.thickness)[at] >= 0.97 * np.minimum(least, by_hand)).all()
    assert ((walls.width / walls.thickness)[at] <= 1.12 * by_hand).all()  # safe by no more
    np.testing.assert_allclose(walls.account.sum(axis=1), 1.0)
    assert (walls.account > -1e-9).all()
    return walls


@settings(max_examples=25, deadline=None)
@given(
    st.lists(walls_drawn, min_size=3, max_size=6),
    st.floats(0.0, 360.0),
    st.sampled_from([1e-3, 1.0, 1e3]),
    st.booleans(),
    st.sampled_from([0.0, 0.5, 1.0]),
    st.lists(st.floats(0.8, 1.2), min_size=6, max_size=6),
)
def test_cells_of_any_walls(drawn, turn, size, mirror, inner, shift):
    n = len(drawn)
    turned = np.cumsum(np.array(shift[:n]) / np.sum(shift[:n])) * 2.0 * np.pi
    corner = np.stack([45.0 * np.cos(turned), 45.0 * np.sin(turned)], axis=1)
    way = np.roll(corner, -1, axis=0) - corner
    length = np.linalg.norm(way, axis=1)
    outline, truth = cell(corner, drawn_ends(drawn, length))
    heading = np.arctan2(way[:, 1], way[:, 0])
    fold = (heading - np.roll(heading, 1)) % (2.0 * np.pi)
    assume(fold.min() > np.radians(40.0) and (truth[:, 0] > 3.0 * truth[:, 1] + 2.0 * inner).all())
    shape = moved(rounded(outline, inner), turn, size, mirror)
    walls = check_found(shape, truth * size, inner * size, np.stack([fold, np.roll(fold, -1)], axis=1))
    ratio = truth[:, 1].max() / truth[:, 1].min()
    assert not walls.free.any() or ratio > 3.0


@settings(max_examples=12, deadline=None, phases=DRAWN)
@given(
    st.lists(st.tuples(walls_drawn, st.floats(20.0, 60.0), st.sampled_from(TURNS)), min_size=2, max_size=4),
    st.floats(0.0, 360.0),
    st.booleans(),
    st.sampled_from([0.0, 0.5, 1.0]),
)  # fmt: skip
def test_open_sections_of_any_walls(drawn, turn, mirror, inner):
    heading = np.radians(np.cumsum([d[2] for d in drawn]))
    length = np.array([d[1] for d in drawn])
    step = length[:, None] * np.stack([np.cos(heading), np.sin(heading)], axis=1)
    point = np.concatenate([np.zeros((1, 2)), np.cumsum(step, axis=0)])
    outline, truth = bent_line(point, drawn_ends([d[0] for d in drawn], length))
    near = shapely.LineString(point)
    assume(outline.is_valid and near.is_simple and (truth[:, 0] > 3.0 * truth[:, 1] + 2.0 * inner).all())
    shape = rounded(outline, inner)
    assume(isinstance(shape, Polygon) and not shape.interiors)
    fold = np.abs(np.radians([0.0, *[d[2] for d in drawn[1:]], 0.0]))
    folds = np.stack([fold[:-1], fold[1:]], axis=1)
    placed = moved(shape, turn, 1.0, mirror)
    refused = walls_of(placed)
    if not refused.known:  # told with its place: safe
        assert len(refused.lost)
        return
    walls = check_found(placed, truth, inner, folds)
    assert walls.free.sum() >= 2  # an end too many is safe
    alone = walls.thickness[walls.free.all(axis=1)]  # a wall that thin ones do not hold
    assert (alone > 3.0 * walls.thickness.min()).all()


@settings(max_examples=20, deadline=None)
@given(
    st.floats(0.4, 3.0), st.sampled_from(TAPERS), st.floats(15.0, 60.0), st.integers(0, 3), st.floats(0, 90)
)
def test_whatever_is_on_no_wall_is_told(thin, taper, height, which, turn):
    """With one wall struck from those found, a stretch as thick and long as it is lost, at its place."""
    ends = np.full((4, 2), 4.0)
    ends[which] = thin, thin * (1.0 + min(taper * 70.0 / thin, 0.8))
    outline, truth = cell(np.array([[0, 0], [80, 0], [80, height], [0, height]]), ends)
    outline = moved(outline, turn)
    plates = plates_of(outline)
    at = np.argmin(
        np.abs(np.log(plates.length / truth[which, 0])) + np.abs(np.log(plates.thick.min(axis=1) / thin))
    )
    keep = np.arange(len(plates.split)) != at
    flat, thickness = plates.length[at], plates.thick[at].max()
    assume(flat > 9.0 * thickness)
    lost = lost_in(outline, bare(outline, plates.where(keep).corner))
    assert len(lost) >= 1
    place = shapely.LineString([plates.start[at], plates.end[at]])
    assert (shapely.distance(shapely.points(lost[:, :2]), place) <= 4.0).all()  # or a corner
    assert lost[:, 2].min() >= 0.75 * plates.thick[at].min()
    assert lost[:, 2].max() <= 1.3 * plates.thick[at].max()
    assert lost[:, 3].sum() == pytest.approx(flat, rel=0.25, abs=10.0)


@pytest.mark.parametrize("ramp", [0.0, 0.5, 3.0])
@pytest.mark.parametrize("thin", [0.8, 1.0, 1.5])
def test_a_wall_with_a_step_is_one_of_its_least_thickness(thin, ramp):
    """Half of a box's top is thinner, by a step or a ramp: the safe reading of its whole width."""
    top = Polygon([(2, 58), (2, 50), (78, 50), (78, 60 - thin), (40 + ramp, 60 - thin), (40, 58)])
    outline = box(0, 0, 80, 60) - box(2, 2, 78, 55) - top
    profile, share = squeezed(outline)
    assert len(profile.walls.thickness) == 4
    assert share == pytest.approx(share_by_hand(76.0, thin), rel=1e-3)


def test_a_pocket_makes_the_thick_parts_beside_it_outstands():
    """What is more than three times thicker holds a thin wall, and is held by nothing of it."""
    outline = box(0, 0, 80, 60) - box(4, 4, 76, 56) - box(26, 50, 54, 59.2)
    profile, share = squeezed(outline)
    assert share == pytest.approx(min(share_by_hand(28.0, 0.8), share_by_hand(22.0, 4.0, True)), rel=1e-6)
    assert sorted(profile.walls.free.sum(axis=1)) == [0, 0, 0, 0, 1, 1]


def test_a_groove_is_no_fold_and_its_depth_counts():
    groove = box(0, 0, 80, 60) - box(2, 2, 78, 58) - box(39, 59.2, 40, 61)
    walls = walls_of(groove)
    assert walls.known
    top = np.argmin(walls.thickness)
    assert (walls.width[top], walls.thickness[top]) == pytest.approx((76.0, 1.2))


def topped(across, below, above=0.0):
    """80 x 60 mm box, 4 mm but for a top (n,) `below` thick at shares `across`, raised by `above`."""
    x, top = 4.0 + 72.0 * np.asarray(across), 60.0 + above * np.ones(len(across))
    outer = np.concatenate([[[0, 0], [80, 0], [80, 60]], np.column_stack([x, top])[::-1], [[0, 60]]])
    return Polygon(outer, [np.concatenate([[[4, 4], [76, 4]], np.column_stack([x, top - below])[::-1]])])


@pytest.mark.parametrize(("slope", "thin"), [(2.0, 0.4), (5.7, 0.3), (5.7, 0.4), (5.9, 0.4)])
def test_a_slight_bend_does_not_part_a_wall(slope, thin):
    """The gap between both plates of the top is a tiny wedge, rounded inside."""
    rise = 36.0 * np.tan(np.radians(slope))
    profile, share = squeezed(rounded(topped([0.0, 0.5, 1.0], thin, np.array([0.0, rise, 0.0])), 0.3))
    assert len(profile.walls.thickness) == 4
    assert share <= share_by_hand(70.0, thin)
    assert share >= 0.9 * share_by_hand(72.0, thin * np.cos(np.radians(slope)))


@pytest.mark.parametrize("count", [1, 4])
def test_steep_grooves_do_not_part_a_wall(count):
    """More than half as deep as the wall, with flanks of 60 degrees that face nothing."""
    middle, wide = np.arange(1, count + 1) / (count + 1.0), 0.15 / 72.0
    across = np.sort(np.concatenate([[0.0, 1.0], *(middle + k * wide for k in (-2.0, -1.0, 1.0, 2.0))]))
    below = np.where(np.abs(across[:, None] - middle).min(axis=1) < 1.5 * wide, 0.22, 0.5)
    profile, share = squeezed(topped(across, below))
    assert share == pytest.approx(share_by_hand(72.0, 0.22), rel=1e-2)
    assert len(profile.walls.thickness) == 4


@pytest.mark.parametrize("teeth", [20, 50, 60, 90])
def test_a_zigzag_face_is_one_wall_of_its_least_thickness_or_not_recognized(teeth):
    """Short plates between rounded teeth, each stout, held each other, and the rail passed as 100 %."""
    outline = topped(np.linspace(0.0, 1.0, teeth), 0.37 * (1.0 + 0.4 * (np.arange(teeth) % 2)))
    profile, share = squeezed(rounded(outline, 0.3))
    assert not profile.walls.known or share <= share_by_hand(70.0, 0.37)
    assert np.isnan(share) != profile.walls.known


def test_a_bulb_holds_no_edge_until_it_is_stout():
    """Edge of a 40 mm flange with a round bulb: 3 t leave it an outstand, 10 t hold it."""
    for thick, radius, loose in ((2.0, 3.0, 1), (1.0, 5.0, 0)):
        middle = 0.5 * thick
        tips = [Point(40, middle).buffer(radius), Point(40, 60 - middle).buffer(radius)]
        flats = [box(0, 0, thick, 60), box(0, 0, 40, thick), box(0, 60 - thick, 40, 60)]
        walls = walls_of(shapely.union_all(flats + tips))
        assert walls.known
        assert walls.free.sum() == 2 * loose


def test_a_rib_too_small_to_hold_a_wall_does_not_part_it():
    plain = box(0, 0, 80, 60) - box(2, 2, 78, 59)
    for depth, widest in ((2.0, 76.0), (20.0, 37.5)):
        walls = walls_of(plain.union(box(39.5, 59 - depth, 40.5, 59)))
        assert walls.width[walls.thickness < 1.5].max() == pytest.approx(widest)


def test_a_serrated_wall_is_told_with_its_place():
    """Teeth leave no straight faces: 40 mm of a leg about 2 mm thick, around the middle of the leg."""
    teeth = [(40.0 - 0.5 * i, 1.8 + 0.4 * (i % 2)) for i in range(81)]
    leg = shapely.union_all([Polygon([(0, 0), (40, 0), *teeth]), box(0, 0, 2, 40)])
    walls = walls_of(leg)
    assert not walls.known
    assert walls.lost[0, :2] == pytest.approx([20.0, 1.0], abs=2.0)
    assert walls.lost[0, 2] == pytest.approx(2.0, rel=0.15)
    assert walls.lost[0, 3] == pytest.approx(39.0, rel=0.3)
    profile = profile_of(moved(leg, size=1e-3), 0.33)
    (words,) = lost_words(profile, SYSTEMS["SI"])
    assert "up the slope" in words
    assert " mm thick" in words
    assert "not recognized" in account_words(profile)[0]


@pytest.mark.parametrize("known", [True, False])
def test_section_says_which_walls_it_saw(tmp_path, known):
    """Exit 0 with the share of the thin chamfer; exit 1, with a place, where its inner side is a saw."""
    outline, truth = chamfered(0.6, 0.65)
    inner = np.array(outline.interiors[0].coords)[:-1]
    if not known:
        a, b = inner[2], inner[3]
        s = np.linspace(0.0, 1.0, 41)[1:-1, None]
        across = np.array([1.0, 1.0]) / np.sqrt(2.0) * 0.2
        saw = a + s * (b - a) - across * (np.arange(39) % 2)[:, None]
        inner = np.concatenate([inner[:3], saw, inner[3:]])
    import ezdxf

    drawing = ezdxf.new()
    drawing.units = ezdxf.units.MM
    for ring in (np.array(outline.exterior.coords)[:-1], inner):
        drawing.modelspace().add_lwpolyline(ring.tolist(), close=True)
    drawing.saveas(tmp_path / "plover.dxf")
    words = [str(tmp_path / "plover.dxf"), "--yield-strength", "250 MPa", "--out", str(tmp_path / "o")]
    done = CliRunner().invoke(commands, ["section", *words])
    data = json.loads((tmp_path / "o" / "section.json").read_text())
    assert done.exit_code == int(not known)
    if known:
        assert data["effective"]["compression"] == pytest.approx(share_by_hand(*truth[2]), rel=1e-3)
    else:
        assert data["effective"]["compression"] is None
        assert "Not recognized as walls" in " ".join(data["notes"])
        assert "long around" in " ".join(done.output.split())
