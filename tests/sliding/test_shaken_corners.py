"""Corners that are rounded or shaken by less than roofs are built to: rows hold the same but for a hair."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from roofs import force_per_row, l_shape, rectangle, rows, uniform

from roofmodel.project.placement import line_pieces
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.landing import landing
from roofmodel.sliding.short_stations import REACH, SHORT, evened
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.sliding.together import OVER, most_together
from roofmodel.sliding.tributary import clamp_shares

P, PITCH = 1500.0, 35.0
OPTIONS = SlideOptions(strip_width=0.125)
HEIGHTS = (0.6, 1.37, 2.45, 2.4500004, 3.3)
TURN = 0.3  # off the axes, so that rounding moves every edge [rad]


def crossed():
    """Gable with a lower wing across it: two valleys, rakes, eaves of different height."""
    low = [[6.0, 5.0], [13.0, 5.0], [13.0, -6.0], [6.0, -6.0]][::-1]
    parts = [
        RoofPart("gable", rectangle(20.0, 11.0), np.radians([PITCH, np.nan, PITCH, np.nan]), 3.0),
        RoofPart("gable", np.array(low), np.radians([np.nan, PITCH + 4.0, np.nan, PITCH + 4.0]), 2.8),
    ]
    return build_roof(parts)


def dormered():
    gable = RoofPart("gable", rectangle(20.0, 12.0), np.radians([40.0, np.nan, 40.0, np.nan]), 3.0)
    return build_roof([gable], [Dormer("S1", 10.0, 2.5, 3.0, 1.2, np.radians(30.0), "gable")])


def mesh(roof, turn):
    """Corners (n, 3) and triangles of all planes, turned on plan; corners of the same place are one."""
    points = np.concatenate(
        [
            roof.planes.to_world(plane, np.asarray(one.exterior.coords)[:3])
            for plane, outline in enumerate(roof.planes.outline)
            for one in shapely.constrained_delaunay_triangles(outline).geoms
        ]
    )
    _, first, faces = np.unique(points.round(5), axis=0, return_index=True, return_inverse=True)
    c, s = np.cos(turn), np.sin(turn)
    return points[first] @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]), faces.reshape(-1, 3)


def shaken(points, seed):
    """By up to 0.1 mm each way."""
    return points + np.random.default_rng(seed).uniform(-1e-4, 1e-4, points.shape)


def placed(roof, up):
    """Rows at a height of every plane, from edge to edge."""
    tables = []
    for name in sorted(roof.planes.name):  # whose order may change
        plane = roof.planes.name.index(name)
        pieces = line_pieces(roof, plane, up)
        for k, (low, high) in enumerate(pieces):
            if high - low > 0.5:
                left = {"start": f"{low - pieces[0][0] + 0.03} m"} if k else {}
                right = {"end": f"{high - pieces[0][0] - 0.03} m"} if k + 1 < len(pieces) else {}
                tables.append({"plane": name, "up": f"{up} m", **left, **right})
    return rows(roof, *tables)


def on_rails(layout, force):
    """Stations cover the rows one beside the other, each with some length."""
    length = np.diff(force.span)[:, 0]
    assert (force.span[:, 0] >= 0.0).all()
    assert (length > 0.0).all()
    assert (force.span[:, 1] <= layout.row_length[force.row]).all()
    same = force.row[1:] == force.row[:-1]
    assert np.abs(force.span[1:, 0] - force.span[:-1, 1])[same].max() < 1e-6
    covered = np.bincount(force.row, length)
    assert covered == pytest.approx(layout.row_length, abs=1e-5)


def held(roof, up):
    """What rows get by row, by clamp, and at most over a meter; the most that a meter of edge lets go."""
    layout = placed(roof, up)
    graph, force = slide(roof, (uniform(roof, P),), layout, OPTIONS)
    assert force.balance.error.max() < 1e-9
    on_rails(layout, force)
    line = -force.thrust[0, :, 1] / np.diff(force.span)[:, 0]
    fallen = landing(roof, graph, force, (uniform(roof, P),), OPTIONS, lower=False)
    return layout, force_per_row(layout, force), clamp_shares(layout, force)[0], line.max(), fallen.line.max()


@pytest.mark.parametrize("shape", [crossed, dormered, l_shape])
def test_corners_a_hair_off_change_a_hair(shape):
    points, faces = mesh(shape(), TURN)
    exact = recognize(points, faces)
    roofs = [recognize(corners, faces) for corners in (points.round(5), shaken(points, 0), shaken(points, 1))]
    for up in HEIGHTS:
        layout, by_row, by_clamp, line, fallen = held(exact, up)
        for roof in roofs:
            other, by_row_too, by_clamp_too, line_too, fallen_too = held(roof, up)
            assert other.clamp_s == pytest.approx(layout.clamp_s, abs=1e-3)
            assert by_row_too == pytest.approx(by_row, rel=1e-3)
            assert by_clamp_too == pytest.approx(by_clamp, abs=2e-3 * by_clamp.max())
            assert line_too == pytest.approx(line, rel=2e-3)
            assert fallen_too == pytest.approx(fallen, rel=1e-3)


@pytest.mark.parametrize("hair", [-6e-7, -1.8e-7, 0.0, 1.8e-7, 6e-7, 1e-4])
def test_stations_lie_on_the_rail_where_its_end_and_corners_almost_meet(hair):
    """Strip bounds beside a row's end, each a hair from the next, are one that may lie beyond the rail."""
    corners = np.array([[0.0, 0.0, 3.0], [9.0, 0.0, 3.0], [9.0 + hair, 6.0, 7.4], [hair, 6.0, 7.4]])
    roof = recognize(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    up = np.array([0.3, 3.75, 4.5, 5.5, 6.5, 7.2])
    layout = rows(roof, *({"plane": roof.planes.name[0], "up": f"{v} m"} for v in up))
    force = slide(roof, (uniform(roof, P),), layout, OPTIONS)[1]
    on_rails(layout, force)
    slope, top = np.arctan2(4.4, 6.0), np.hypot(6.0, 4.4)
    line = P * np.cos(slope) * np.sin(slope) * np.diff(np.append(up, top))
    assert -force.thrust[0, :, 1] / np.diff(force.span)[:, 0] == pytest.approx(line[force.row], rel=1e-3)
    assert force_per_row(layout, force) == pytest.approx(9.0 * line, rel=1e-4)


def test_short_stations_share_with_a_little_of_their_neighbor():
    """Sums of each row stay; forces stay within `REACH` of where they were; loads are told over that much."""
    rng = np.random.default_rng(3)
    for _ in range(300):
        count = rng.integers(1, 6, 3)
        row = np.repeat(np.arange(3), count)
        length = np.where(
            rng.random(len(row)) < 0.5, rng.uniform(1e-8, SHORT, len(row)), rng.uniform(0.02, 2.0)
        )
        end = np.cumsum(length)
        start = end - length
        span = np.stack([start, end], axis=1) - start[np.searchsorted(row, row)][:, None]
        force, other = rng.uniform(0.0, 9.0, (len(row), 2, 1)), rng.uniform(0.0, 9.0, len(row))
        ends, (found, too) = evened(row, span, (force, other))
        width = np.diff(ends)[:, 0]
        assert (width > 0.0).all()
        for k in range(3):
            on = row == k
            assert found[on].sum(axis=0) == pytest.approx(force[on].sum(axis=0))
            assert too[on].sum() == pytest.approx(other[on].sum())
            assert ends[on][[0, -1], [0, 1]] == pytest.approx(span[on][[0, -1], [0, 1]])
            assert ends[on][1:, 0] == pytest.approx(ends[on][:-1, 1])
            moment = other[on] @ span[on].mean(axis=1), too[on] @ ends[on].mean(axis=1)
            assert abs(moment[0] - moment[1]) <= other[on].sum() * REACH
    wide = np.array([[0.0, SHORT], [SHORT, 1.0]])
    same, (value,) = evened(np.zeros(2, dtype=int), wide, (wide,))
    assert same is wide
    assert value is wide


@pytest.mark.parametrize("at_start", [True, False])
def test_a_stream_on_a_hair_at_a_rails_tip_stays_at_the_tip(at_start):
    """20 kN on 4 mm beside 2 m with 1 kN: 104 mm hold them, the other 1.9 m what even snow brings there."""
    span = np.array([[0.0, 0.004], [0.004, 2.004], [2.004, 4.0]])
    value, tip, beside = np.array([20.0, 1.0, 1.0]), 0, 1
    if not at_start:
        span, value, tip = 4.0 - span[::-1, ::-1], value[::-1], 2
    ends, (found,) = evened(np.zeros(3, dtype=int), span, (value,))
    assert found[tip] == pytest.approx(20.0 + REACH / 2.0)
    assert found[beside] == pytest.approx(1.0 - REACH / 2.0)
    assert np.diff(ends[tip])[0] == pytest.approx(REACH + 0.004)


@pytest.mark.parametrize("width", [1e-7, 1e-3, 0.125, 0.5])
def test_a_stream_over_one_strip_is_told_over_a_meter(width):
    """However narrow the strip is that 900 N leave by beside even snow of 200 N/m."""
    x = np.array([0.0, 2.0, 2.0 + width, 6.0])
    ends = np.zeros((3, 2, 3))
    ends[:, 0, 0], ends[:, 1, 0] = x[:-1], x[1:]
    even = 200.0 * np.diff(x)[:, None]
    force = np.where(np.arange(3)[:, None] == 1, 900.0, even)
    whole = most_together(2, np.array([1, 1, 1]), ends, force)
    assert whole[1, 0] == pytest.approx((900.0 + 200.0 * (OVER - width)) / OVER, rel=1e-6)
    assert whole[0, 0] == 0.0
    level = most_together(1, np.zeros(3, dtype=int), ends, even)
    assert level[0, 0] == pytest.approx(200.0, rel=1e-2)  # the narrowest overlaps its neighbors a little
    short = most_together(1, np.zeros(1, dtype=int), ends[:1] * 0.2, np.array([[120.0]]))  # 0.4 m of edge
    assert short[0, 0] == pytest.approx(300.0)


@pytest.mark.parametrize("width", [0.0, 1e-7, 1e-3, 0.01, 0.02])
@pytest.mark.parametrize("start", [0.0, 1.3, 2.99])
def test_all_of_a_force_on_a_narrow_strip_is_told_wherever_it_lies(width, start):
    """5 kN on a strip of no width, at an end of the edge too: over a meter they are 5 kN/m."""
    ends = np.zeros((2, 2, 3))
    ends[0, :, 0], ends[1, 1, 0] = (start, min(start + width, 3.0)), 3.0
    told = most_together(2, np.array([0, 0]), ends, np.array([[5000.0, 0.0], [0.0, np.inf]]))
    assert told[0, 0] == pytest.approx(5000.0, rel=1e-9)
    assert np.isinf(told[0, 1])
    assert (told[1] == 0.0).all()
