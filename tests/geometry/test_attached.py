"""Solar sheets and gutters that a model shows: no planes of snow over planes of snow, eaves stay eaves."""

from __future__ import annotations

import numpy as np
import pytest
from shapes import turned
from test_parapets import PITCH, profile, read

from roofmodel.snow import AsceSite, EnSite, snow_cases
from roofmodel.surface import EdgeKind

SECTION = [(0, 0), (0, 4), (8, 4 + 8 * PITCH), (8, 0)]  # a shed of 15 by 8 m at 30 degrees, eave 4 m
COS = np.cos(np.radians(30.0))


def together(*meshes):
    base = np.cumsum([0, *(len(points) for points, _ in meshes[:-1])])
    faces = [its + at for (_, its), at in zip(meshes, base, strict=True)]
    return np.vstack([points for points, _ in meshes]), np.concatenate(faces)


def sheet(x0, x1, y0, y1, above):
    """A rectangle parallel to the slope, without thickness."""
    place = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    points = np.array([(x, y, 4.0 + y * PITCH + above / COS) for x, y in place])
    return points, np.array([[0, 1, 2], [0, 2, 3]])


def solid(x0, x1, y0, y1, above, thick=0.04):
    """The same with an underside and sides."""
    (top, faces), (below, _) = (sheet(x0, x1, y0, y1, above + t) for t in (thick, 0.0))
    sides = [[k, k + 4, (k + 1) % 4] for k in range(4)] + [
        [(k + 1) % 4, k + 4, (k + 1) % 4 + 4] for k in range(4)
    ]
    return np.vstack([top, below]), np.vstack([faces, faces[:, ::-1] + 4, sides])


@pytest.mark.parametrize("angle", [0.0, 0.6])
@pytest.mark.parametrize("above", [0.06, 0.15])
@pytest.mark.parametrize("make", [sheet, solid])
def test_a_solar_sheet_is_no_second_roof(tmp_path, make, above, angle):
    points, faces = together(profile(SECTION), make(3.0, 11.0, 2.0, 4.0, above))
    roof = read(tmp_path, turned(points, angle), faces)
    assert roof.planes.count == 1
    assert roof.planes.plan_area == pytest.approx([120.0])
    assert len(roof.planes.outline[0].interiors) == 0
    assert roof.steps.count == 0
    (note,) = (note for note in roof.notes if "[[solar]]" in note)
    depth, up = 2.0 / COS, 3.0 / COS
    assert f'up = "{up:.2f} m", width = "8.00 m", depth = "{depth:.2f} m"' in note
    assert roof.found.count == 0
    assert not any("Upright faces" in note for note in roof.notes)


def test_modules_side_by_side_are_one_array(tmp_path):
    """Twelve of 1.0 by 1.7 m, 2 cm apart: each alone is as small as a skylight, all of them are none."""
    deep = 1.7 * COS
    modules = [
        solid(2.0 + 1.02 * i, 3.0 + 1.02 * i, 2.0 + k * (deep + 0.02), 2.0 + k * (deep + 0.02) + deep, 0.12)
        for i in range(6)
        for k in range(2)
    ]
    roof = read(tmp_path, *together(profile(SECTION), *modules))
    assert roof.planes.count == 1
    assert roof.obstacles.count == 0
    assert sum('width = "6.10 m"' in note for note in roof.notes) == 1


def test_a_skylight_and_a_roof_of_its_own_are_no_sheets(tmp_path):
    """A box of 1 m2 stays an obstruction; the same slope 0.3 m higher over one end of the house, a roof."""
    roof = read(tmp_path, *together(profile(SECTION), solid(6.0, 7.0, 3.0, 4.0, 0.12)))
    assert roof.found.count == 1
    higher = profile([(y, z + 0.3) for y, z in SECTION], 5.0)
    beside = read(tmp_path, *together(profile(SECTION), (higher[0] + [15.0, 0.0, 0.0], higher[1])))
    assert beside.planes.count == 2
    assert not any("[[solar]]" in note for note in beside.notes)


def channel(low=3.85, high=3.95, wide=0.15):
    """A gutter of thin sheet below the eave."""
    t = 0.004
    corners = [(-wide, high), (-wide, low), (0, low), (0, low + t), (t - wide, low + t), (t - wide, high)]
    return profile(corners)


@pytest.mark.parametrize("angle", [0.0, 0.6])
@pytest.mark.parametrize("gutter", [channel(), channel(3.88, 4.04), channel(3.7, 3.9, 0.3)])
def test_a_gutter_is_no_lower_roof(tmp_path, gutter, angle):
    points, faces = together(profile(SECTION), gutter)
    roof = read(tmp_path, turned(points, angle), faces)
    assert roof.planes.count == 1
    assert roof.steps.count == 0
    assert roof.found.count == 0
    (eave,) = (k for k, kind in enumerate(roof.edges.kind) if kind is EdgeKind.EAVE)
    assert roof.edges.height[eave] == pytest.approx(4.0, abs=0.01)
    assert sum("was taken as a gutter" in note for note in roof.notes) == 1


def facing(apart, lift=0.0):
    """Two sheds whose eaves face each other, the second one higher or lower."""
    return profile(SECTION), profile([(-apart - y, z + lift) for y, z in SECTION])


@pytest.mark.parametrize("angle", [0.0, 0.6])
@pytest.mark.parametrize(
    "gutter", [[channel(3.8, 3.804, 0.3)], [channel(3.7, 3.9, 0.3)], []], ids=["strip", "box", "open"]
)
def test_a_gutter_or_slot_between_two_slopes_is_a_valley(tmp_path, gutter, angle):
    """Eaves that face each other 0.3 m apart: both slopes go on for 0.15 m on plan."""
    points, faces = together(*facing(0.3), *gutter)
    roof = read(tmp_path, turned(points, angle), faces)
    assert roof.planes.plan_area == pytest.approx([15.0 * 8.15] * 2, rel=1e-6)
    assert roof.steps.count == 0
    (valley,) = (k for k, kind in enumerate(roof.edges.kind) if kind is EdgeKind.VALLEY)
    assert np.linalg.norm(roof.edges.end[valley] - roof.edges.start[valley]) == pytest.approx(15.0)
    assert roof.edges.height[valley] == pytest.approx(4.0 - 0.15 * PITCH)
    assert sum("by up to 0.15 m on plan" in note for note in roof.notes) == 1
    for site in (
        EnSite(ground_snow=1400.0),
        AsceSite(ground_snow=1400.0, risk_category="II", winter_wind=0.5, slippery=True),
    ):
        assert any("valleys" in case.name for case in snow_cases(roof, site).cases)


@pytest.mark.parametrize("lift", [-0.1, 0.1])
def test_a_valley_between_eaves_of_two_heights_lies_nearer_the_lower(tmp_path, lift):
    """The slopes meet 0.15 m + 0.05 / tan(30) from the higher eave, still within the slot."""
    roof = read(tmp_path, *together(*facing(0.3, lift)))
    far = 0.15 + 0.05 / PITCH
    assert np.sort(roof.planes.plan_area) == pytest.approx([15.0 * (8.3 - far), 15.0 * (8.0 + far)], rel=1e-6)


@pytest.mark.parametrize(("apart", "lift", "told"), [(0.3, 0.25, 1), (0.4, 0.0, 1), (0.6, 0.0, 0)])
def test_slots_that_are_no_valleys_are_told(tmp_path, apart, lift, told):
    """Eaves too different in height to meet, or too far apart to hold snow; farther they are two roofs."""
    roof = read(tmp_path, *together(*facing(apart, lift)))
    assert roof.planes.plan_area == pytest.approx([120.0, 120.0])
    assert sum("m apart along 15.00 m at about one height" in note for note in roof.notes) == told


@pytest.mark.parametrize(("wide", "told"), [(0.8, 1), (1.8, 0)])
def test_a_wide_channel_between_two_slopes_is_told(tmp_path, wide, told):
    """It stays a plane of its own; 1.8 m of level roof between two eaves is no gutter."""
    roof = read(tmp_path, *together(*facing(wide), channel(3.8, 3.804, wide)))
    assert roof.planes.count == 3
    assert sum("but no snow as in a valley" in note for note in roof.notes) == told


def test_roofs_that_meet_have_no_slot(tmp_path):
    roof = read(tmp_path, *together(*facing(0.0)))
    assert not any("apart along" in note or "across a channel" in note for note in roof.notes)


def around(x0, x1, y0, y1):
    """The slope without a rectangle."""
    parts = [(0, 15, 0, y0), (0, 15, y1, 8), (0, x0, y0, y1), (x1, 15, y0, y1)]
    return together(*(sheet(*part, 0.0) for part in parts))


@pytest.mark.parametrize("joint", [-0.1, 0.0, 0.02, 0.1])
def test_a_roof_open_below_a_sheet_carries_snow_there_too(tmp_path, joint):
    """Whatever the joint around the sheet: the slope is closed below it, or it stays a roof of its own."""
    low, high = 4.0 + joint, 8.0 - joint
    lid = sheet(low, high, 2.0 + joint, 5.0 - joint, 0.2)
    roof = read(tmp_path, *together(around(4.0, 8.0, 2.0, 5.0), lid))
    if joint < 0.03:
        assert roof.planes.plan_area == pytest.approx([120.0])
        assert len(roof.planes.outline[0].interiors) == 0
    else:
        assert np.sort(roof.planes.plan_area) == pytest.approx([(4.0 - 2 * joint) * (3.0 - 2 * joint), 108.0])
        assert not roof.attached
