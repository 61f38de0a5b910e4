"""Where valley streams arrive along a row, and what a blanket brings to the ends of a partial row."""

import numpy as np
import pytest
import shapely
from roofs import force_per_row, gable, l_shape, line_force, rows, slope_length, uniform

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.end_reach import SHORT
from roofmodel.sliding.thrust import SlideOptions, slide

SNOW = 1600.0
SIN, COS = np.sin(np.radians(30.0)), np.cos(np.radians(30.0))


@pytest.mark.parametrize("spread", [0.6, 1.0])
def test_a_valley_stream_arrives_at_the_valley_end_of_each_row(spread):
    """Own snow of the strips, p sin(30) times their run, everywhere; the stream within the spread only.

    Seen from below, the valley is at the left end of E1 and at the right end of N1. The run above the row
    is 4 m - up cos(30) as far as the hip at the other end, where it falls to nothing.
    """
    roof = l_shape()
    layout = rows(roof, {"plane": "E1", "up": "0.6 m"}, {"plane": "N1", "up": "0.6 m"})
    force = slide(roof, (uniform(roof, SNOW),), layout, SlideOptions(valley_spread=spread))[1]
    run = 4.0 - 0.6 * COS
    stream = SNOW * SIN * 0.5 * run**2
    for row, valley_at_start in ((0, True), (1, False)):
        place, line = line_force(force, row)
        span = force.span[force.row == row]
        length = layout.row_length[row]
        from_valley = place if valley_at_start else length - place
        nearest = span[:, 0] if valley_at_start else length - span[:, 1]
        near = nearest < spread - 1e-9
        thrust = line * np.diff(span, axis=1)[:, 0]
        reach = (span[near].max() if valley_at_start else length - span[near].min()) - 1e-9
        own_near = SNOW * SIN * run * reach
        assert reach >= spread - 1e-6
        assert thrust[from_valley < reach].sum() == pytest.approx(own_near + stream, rel=1e-6)
        plain = (from_valley > reach) & (from_valley < length - run - 0.5)
        assert plain.sum() > 3
        np.testing.assert_allclose(line[plain], SNOW * SIN * run, rtol=1e-6)
        far = from_valley > length - run
        assert thrust[far].sum() <= SNOW * SIN * 0.5 * run**2 * (1.0 + 1e-6)


def two_pitches(lower=25.0, upper=40.0, lower_run=1.0, upper_run=1.0, length=40.0):
    """Shed that falls south with a pitch break."""
    y = np.array([0.0, lower_run, lower_run + upper_run])
    rise = np.array([lower_run * np.tan(np.radians(lower)), upper_run * np.tan(np.radians(upper))])
    z = np.array([0.0, rise[0], rise.sum()])
    points = np.array([[x, yy, zz] for yy, zz in zip(y, z, strict=True) for x in (0.0, length)])
    quads = 2 * np.arange(2)[:, None] + [0, 1, 3, 2]
    return recognize(points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))


def test_bound_below_a_pitch_break_counts_what_enters_from_above():
    """45 degrees, 3 m of slope below the break: a triangle of own snow, and what 3 m of the break let in."""
    lower, upper = np.radians([25.0, 40.0])
    height, upper_run = 3.0, 2.5
    roof = two_pitches(lower_run=height * np.cos(lower), upper_run=upper_run)
    low = roof.planes.name[int(np.argmin(roof.planes.slope))]
    layout = rows(roof, {"plane": low, "up": "0 m", "start": "18 m", "end": "22 m"})
    force = slide(roof, (uniform(roof, SNOW),), layout, SlideOptions(strip_width=0.5))[1]
    own = SNOW * np.cos(lower) * np.sin(lower) * 0.5 * height**2
    entering = SNOW * upper_run * np.sin(upper) * height
    np.testing.assert_allclose(force.end_bound[0, 0], own + entering, rtol=1e-6)


def test_a_full_row_below_takes_nothing_from_the_bound_of_a_partial_row_above():
    """The snow beside row A passes its level before the row at 1 m catches it."""
    roof = gable(length=20.0)
    alpha = np.radians(25.0)
    partial = {"plane": "S1", "up": "4 m", "start": "8 m", "end": "12 m"}
    case = (uniform(roof, SNOW),)
    alone = slide(roof, case, rows(roof, partial))[1].end_bound[0, 0]
    both = slide(roof, case, rows(roof, partial, {"plane": "S1", "up": "1 m"}))[1].end_bound[0]
    leg = 8.0 / np.cos(alpha) - 4.0
    np.testing.assert_allclose(alone, SNOW * np.cos(alpha) * np.sin(alpha) * 0.5 * leg**2, rtol=1e-9)
    np.testing.assert_allclose(both[0], alone, rtol=1e-9)
    np.testing.assert_allclose(both[1], 0.0, atol=1e-6)


@pytest.mark.parametrize("short", [1.4, 2.0, 2.6, 3.0, 4.0, 5.5])
def test_a_row_that_stops_short_of_an_open_valley_counts_its_streams(short):
    """By hand: up to 2 m square from the valley all of the near side and the far side's stream, then less.

    On the plane the valley leans by COS for each meter up, and the plane ends 4 m on plan from the eave.
    """
    roof = l_shape()
    full, table = rows(roof, {"plane": "E1", "up": "0.6 m"}), {"plane": "E1", "up": "0.6 m"}
    layout = rows(roof, table | {"start": slope_length(short)})
    short = layout.row_start[0, 0] - full.row_start[0, 0]
    force = slide(roof, (uniform(roof, SNOW),), layout)[1]
    np.testing.assert_allclose(force_per_row(layout, force), force.own[0], rtol=1e-9)  # the valley is open
    leg, lean = 4.0 / COS - 0.6, np.arctan(COS)
    part = np.clip(2.0 - short * np.cos(lean) / 2.0, 0.0, 1.0)
    bridged = max(part * short, 2.0 * SHORT - short, 0.0)
    meets = min((short - bridged) / (1.0 - COS), leg)  # where the spread of 45 degrees comes to the valley
    near = (
        bridged * leg + 0.5 * meets**2 + (short - bridged) * (leg - meets) + 0.5 * COS * (leg**2 - meets**2)
    )
    foot = max(0.6 - short * np.sin(lean) * np.cos(lean), 0.0)  # square to the end, or the valley's foot
    far = 0.5 * COS * (4.0 / COS - foot) ** 2
    expected = SNOW * COS * SIN * (near + part * far)
    assert force.end_bound[0, 0, 0] == pytest.approx(expected, rel=1e-6)


def test_a_lower_row_never_lowers_the_bound():
    """Rows below that close the valley do not hold what leans on a row above that stops short of it."""
    roof = l_shape()
    upper = {"plane": "E1", "up": "2.5 m", "edge_distance": "1.4 m"}
    case = (uniform(roof, 1600.0),)
    alone = slide(roof, case, rows(roof, upper))[1]
    both = rows(roof, upper, {"plane": "E1", "up": "0.6 m"}, {"plane": "N1", "up": "0.6 m"})
    with_lower = slide(roof, case, both)[1]
    assert alone.end_bound[0, 0].max() > 0.0
    np.testing.assert_allclose(with_lower.end_bound[0, 0], alone.end_bound[0, 0], rtol=1e-6)


def test_a_row_across_the_valley_at_its_level_closes_it():
    """The far side's row at the same height takes both streams, so they do not lean on this row."""
    roof = l_shape()
    case = (uniform(roof, 1600.0),)
    upper = {"plane": "E1", "up": "2.5 m", "edge_distance": "1.4 m"}
    alone = slide(roof, case, rows(roof, upper))[1]
    closed = slide(roof, case, rows(roof, upper, {"plane": "N1", "up": "2.5 m"}))[1]
    assert closed.end_bound[0, 0].max() < alone.end_bound[0, 0].max()


def end_force(layout, force, row, which):
    """Own force of a row and the bound at one end. [N]."""
    return force_per_row(layout, force)[row] + force.end_bound[0, row, which]


@pytest.mark.parametrize("up", [0.6, 1.3, 2.2])
@pytest.mark.parametrize("pitch", [(30.0, 30.0), (30.0, 42.0), (42.0, 30.0)])
def test_a_row_just_short_of_a_valley_takes_no_less_than_the_row_that_reaches_it(pitch, up):
    """However wide the gap, up to 2 m square from the valley; and the same as the gap vanishes."""
    points = [[0, 0], [16, 0], [16, 8], [8, 8], [8, 18], [0, 18]]
    slopes = np.radians([pitch[0], pitch[1], pitch[0], pitch[1], pitch[0], pitch[1]])
    roof = build_roof([RoofPart("L", np.array(points), slopes, 3.0)])
    case = (uniform(roof, SNOW),)
    edge = next(n for n in roof.edges.name if n.endswith("valley"))
    plane = next(n for n in edge.split()[0].split("|") if n.startswith("E"))
    other = next(n for n in edge.split()[0].split("|") if n.startswith("N"))

    def at(gap):
        layout = rows(
            roof, {"plane": plane, "up": f"{up} m", "start": slope_length(gap)}, {"plane": other, "up": "1 m"}
        )
        force = slide(roof, case, layout)[1]
        assert force.balance.error.max() < 1e-9
        return end_force(layout, force, 0, 0)

    reaching = at(0.0)
    way = roof.edges.end[roof.edges.name.index(edge)] - roof.edges.start[roof.edges.name.index(edge)]
    across = roof.planes.across[roof.planes.name.index(plane)]
    square = np.linalg.norm(np.cross(way, across)) / np.linalg.norm(way)
    for gap in (0.02, 0.14, 0.3, 0.5, 0.8, 0.99, 1.0 / square + 1e-3, 1.5 / square, 2.0 / square):
        assert at(gap) >= reaching * (1.0 - 1e-6)
    assert at(1e-4) == pytest.approx(reaching, rel=1e-3)
    for limit in (1.0, 2.0, 4.0):  # no cliff where the row no longer closes the valley, nor farther on
        assert at((limit + 1e-3) / square) >= 0.9 * at((limit - 1e-3) / square)


@pytest.mark.parametrize("options", [{"valley_spread": 0.02}, {"valley_spread": 0.3}, {"spread_angle": 0.0}])
def test_no_choice_of_the_numerics_takes_the_streams_off_an_end_near_a_valley(options):
    """Neither a short stretch over which they arrive nor a blanket that does not spread: up to 2 m square."""
    roof = l_shape()
    case = (uniform(roof, SNOW),)

    def at(gap, **options):
        layout = rows(roof, {"plane": "E1", "up": "0.6 m", "start": slope_length(gap)})
        return end_force(layout, slide(roof, case, layout, SlideOptions(**options))[1], 0, 0)

    reaching = at(0.0)
    for gap in (0.3, 1.0, 1.4, 2.0, 2.6):
        assert at(gap, **options) >= reaching * (1.0 - 1e-6)


def test_an_end_far_from_a_valley_along_its_line_takes_its_streams_too():
    """With a stretch of 10 m for the streams: no cliff where the gap grows beyond 20 m (1357 to 784 kN)."""
    points = 6.0 * np.array([[0, 0], [16, 0], [16, 8], [8, 8], [8, 18], [0, 18]])
    roof = build_roof([RoofPart("L", points, np.radians([30.0] * 6), 3.0)])
    found = []
    for gap in (19.0, 22.0):
        layout = rows(roof, {"plane": "E1", "up": "0.6 m", "start": slope_length(gap)})
        options = SlideOptions(strip_width=2.0, valley_spread=10.0)
        found.append(end_force(layout, slide(roof, (uniform(roof, SNOW),), layout, options)[1], 0, 0))
    assert found[1] == pytest.approx(found[0], rel=0.02)


@pytest.mark.parametrize("gap", [0.1, 0.4, 1.0])
def test_snow_beside_an_end_short_of_a_rake_leans_on_it_whole(gap):
    """On a plain slope: what comes down in the gap, all of it; with no gap, what the row itself catches."""
    roof = gable(length=20.0)
    alpha = np.radians(25.0)
    case = (uniform(roof, SNOW),)
    high = 8.0 / np.cos(alpha) - 1.0
    per_area = SNOW * np.cos(alpha) * np.sin(alpha)
    full = rows(roof, {"plane": "S1", "up": "1 m"})
    short = rows(roof, {"plane": "S1", "up": "1 m", "end": slope_length(20.0 - gap)})
    reaching, ending = slide(roof, case, full)[1], slide(roof, case, short)[1]
    assert ending.end_bound[0, 0, 1] == pytest.approx(per_area * high * gap, rel=1e-6)
    assert end_force(short, ending, 0, 1) == pytest.approx(end_force(full, reaching, 0, 1), rel=1e-6)


def test_a_wider_gap_is_bridged_less_and_less():
    """Between one and two meters the bound goes from gap and wedge to the wedge alone, without a jump."""
    roof = gable(length=40.0)
    alpha = np.radians(25.0)
    high = 8.0 / np.cos(alpha) - 1.0
    per_area = SNOW * np.cos(alpha) * np.sin(alpha)
    for gap in (1.0, 1.2, 1.5, 1.9, 2.0, 2.5):
        layout = rows(roof, {"plane": "S1", "up": "1 m", "end": slope_length(40.0 - gap)})
        bound = slide(roof, (uniform(roof, SNOW),), layout)[1].end_bound[0, 0, 1]
        bridged = max(min(gap, 2.0 - gap), 0.0)
        low = (
            gap - bridged
        )  # left of the plane beyond what is bridged: a triangle is missing below the spread
        assert bound == pytest.approx(per_area * (gap * high - 0.5 * low**2), rel=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_what_a_row_and_its_ends_take_does_not_hang_on_the_strips(seed):
    """Strips are cut where snow divides: at the end, where its line leaves the plane, at the valley."""
    rng = np.random.default_rng(seed)
    points = [[0, 0], [16, 0], [16, 8], [8, 8], [8, 18], [0, 18]]
    steep, other = np.radians(rng.uniform(20.0, 50.0, 2))
    roof = build_roof([RoofPart("L", np.array(points), np.array([steep, other] * 3), 3.0)])
    up, gap, across = rng.uniform([0.4, 0.0, 0.4], [2.2, 3.0, 2.2])
    tables = {"plane": "E1", "up": slope_length(float(up)), "start": slope_length(float(gap))}
    layout = rows(roof, tables, *([{"plane": "N1", "up": slope_length(float(across))}] if seed % 2 else []))
    case = (uniform(roof, SNOW),)
    found = []
    for width in (1.1, 0.5, 0.07):
        force = slide(roof, case, layout, SlideOptions(strip_width=width))[1]
        assert force.balance.error.max() < 1e-9
        found.append([*force_per_row(layout, force), *force.end_bound[0, :, 0], force.exit_thrust.sum()])
    np.testing.assert_allclose(found[1:], np.broadcast_to(found[0], (2, len(found[0]))), rtol=1e-5, atol=0.1)


@pytest.mark.parametrize("gap", [0.0, 0.5, 2.0, 3.0])
def test_strips_of_an_upper_plane_are_cut_above_a_row_that_ends_below_a_slanting_top(gap):
    """Above a bend the roof ends on a slant: a row below gets exactly what lies above it."""
    y = np.array([0.0, 2.0])
    z = np.array([0.0, 2.0 * np.tan(np.radians(20.0))])
    upper = np.tan(np.radians(35.0))
    top = [[0.0, 3.0, z[1] + upper], [10.0, 6.0, z[1] + 4.0 * upper]]
    points = np.array([[x, a, b] for a, b in zip(y, z, strict=True) for x in (0.0, 10.0)] + top)
    roof = recognize(points, np.array([[0, 1, 3], [0, 3, 2], [2, 3, 5], [2, 5, 4]]))
    low = roof.planes.name[int(np.argmin(roof.planes.slope))]
    end = 10.0 - gap
    start = 1.37
    layout = rows(roof, {"plane": low, "up": "0.5 m", "start": f"{start} m", "end": f"{end} m"})
    force = slide(roof, (uniform(roof, SNOW),), layout, SlideOptions(strip_width=1.9))[1]
    area = (end - start) + 0.15 * (end**2 - start**2)  # runs of 1 + 0.3 x on plan
    own = (end - start) * (2.0 - 0.5 * np.cos(np.radians(20.0)))
    expected = SNOW * (own * np.sin(np.radians(20.0)) + area * np.sin(np.radians(35.0)))
    assert force_per_row(layout, force)[0] == pytest.approx(expected, rel=1e-9)


def test_a_strip_that_only_partly_passes_a_row_counts_only_that_part():
    """What leans on a row that reaches its valley does not hang on how wide the strips are."""
    roof = l_shape()
    case = (uniform(roof, SNOW),)
    layout = rows(
        roof,
        {"plane": "E1", "up": "0.6 m", "start": slope_length(0.003)},
        {"plane": "N1", "up": "0.6 m"},
    )
    found = [
        slide(roof, case, layout, SlideOptions(strip_width=width))[1].end_bound[0, 0, 0]
        for width in (1.0, 0.5, 0.1)
    ]
    run = 4.0 / COS - 0.6
    assert max(found) < 1.1 * SNOW * SIN * COS * 0.003 * run


@pytest.mark.parametrize("gap", [0.1, 0.4, 0.9])
@pytest.mark.parametrize("reversed_ends", [False, True])
def test_what_would_arrive_in_the_gap_leans_on_the_overhang(gap, reversed_ends):
    """A stream arrives evenly over a meter from the valley: its part square to the end has only the tip."""
    roof = l_shape()
    plane, end = ("N1", "end") if reversed_ends else ("E1", "start")
    length = rows(roof, {"plane": plane, "up": "0.6 m"}).row_length[0]
    place = slope_length(float(length) - gap if reversed_ends else gap)
    layout = rows(roof, {"plane": plane, "up": "0.6 m", end: place})
    graph, force = slide(roof, (uniform(roof, SNOW),), layout)
    span, thrust = force.span, -force.thrust[0, :, 1]
    own = force.cell_thrust[0, graph.catch_node[graph.catch_node < graph.cells.count]]
    stream = thrust.sum() - own.sum()
    clamp = layout.row_length[0] - layout.clamp_s[-1] if reversed_ends else layout.clamp_s[0]
    off = gap * np.cos(np.arctan(COS))
    from_tip = layout.row_length[0] - span[:, 0] if reversed_ends else span[:, 1]
    run = SNOW * SIN * (4.0 - 0.6 * COS)
    on_rail = min(clamp, 1.0 - off)
    taken = thrust[from_tip < clamp + 1e-9].sum() - run * clamp
    # Strips that the end of the stream's stretch cuts carry its part evenly.
    assert taken == pytest.approx(stream * (off + on_rail), rel=1e-6 if clamp < 1.0 - off else 0.2)
    assert stream > SNOW * SIN * (4.0 - 0.6 * COS) ** 2  # both sides, as where the row reaches the valley


def test_a_stream_that_falls_away_from_an_end_does_not_lean_on_it():
    """Cross wing: its far side falls to the other valley, away from a row before the wing."""
    main, wing = ([[0, 0], [24, 0], [24, 10], [0, 10]], [[9, -6], [15, -6], [15, 5], [9, 5]])
    roof = build_roof(
        [
            RoofPart("gable", np.array(main, dtype=float), np.radians([32.0, np.nan, 32.0, np.nan]), 3.0),
            RoofPart("gable", np.array(wing, dtype=float), np.radians([np.nan, 38.0, np.nan, 38.0]), 3.0),
        ]
    )
    assert {"S1", "E1", "W1"} <= set(roof.planes.name)
    layout = rows(roof, {"plane": "S1", "up": "0.5 m", "start": "0 m", "end": "8.6 m"})
    snow = [SNOW if name != "E1" else 0.0 for name in roof.planes.name]
    with_far, without = (
        slide(roof, (uniform(roof, np.array(p)),), layout)[1].end_bound[0, 0, 1]
        for p in ([SNOW] * len(snow), snow)
    )
    assert with_far == pytest.approx(without, rel=1e-9)
    without_near = [SNOW if name != "W1" else 0.0 for name in roof.planes.name]
    near, both = (
        end_force(layout, slide(roof, (uniform(roof, np.array(p)),), layout)[1], 0, 1)
        for p in (without_near, [SNOW] * len(snow))
    )
    assert near < 0.95 * both  # the near side's stream arrives at the row


def wing(half=3.9, run=3.4):
    """A wing whose eaves hang lower than the foot of its valleys, on the south side of a long roof."""
    main, low = np.tan(np.radians([31.0, 36.0]))
    top, north = 3.0 + run * low, run * low / main
    south = [(-3, 0), (5 - run, 0), (5, north), (5 + run, 0), (20, 0), (20, 5.5), (-3, 5.5)]
    east = [(5, -5.5), (5 + half, -5.5), (5 + half, 0), (5 + run, 0), (5, north)]
    west = [(10 - x, y) for x, y in east]
    points = []
    for ring, height in (
        (south, lambda x, y: 3.0 + main * y),
        (east, lambda x, y: top - low * (x - 5)),
        (west, lambda x, y: top - low * (5 - x)),
    ):
        for one in shapely.constrained_delaunay_triangles(shapely.Polygon(ring)).geoms:
            xy = shapely.get_coordinates(shapely.orient_polygons(one))[:3]
            points += [(x, y, height(x, y)) for x, y in xy.tolist()]
    places, index = np.unique(np.round(points, 9), axis=0, return_inverse=True)
    return recognize(places, index.reshape(-1, 3))


@pytest.mark.parametrize("plane", ["E1", "W1"])
@pytest.mark.parametrize("up", [0.1, 0.4])
def test_what_runs_out_of_a_valley_above_a_row_counts_once(plane, up):
    """By hand: all of the wing's plane above the row, and what of the main roof drains into the valley.

    The valley ends above the row, at the corner of the plane: its stream has no other way than down to the
    row, or past its end where the row stops short, and whatever leans on the end is part of it.
    """
    roof, main, low = wing(), np.radians(31.0), np.radians(36.0)
    run, foot = 3.4, 3.9 - up * np.cos(low)  # on plan, from the wing's ridge
    rise = run * np.tan(low) / np.tan(main)  # of the valley, northward on plan
    own = SNOW * np.sin(low) * (5.5 * foot + 0.5 * run * rise)
    beside = SNOW * np.sin(main) * (5.5 * run - 0.5 * run * rise)
    for short in (0.0, 0.3, 0.6):
        table = {"plane": plane, "up": slope_length(up), "edge_distance": slope_length(short)}
        layout = rows(roof, table)
        force = slide(roof, (uniform(roof, SNOW),), layout)[1]
        total = force_per_row(layout, force)[0] + force.end_bound[0, 0].sum()
        assert total == pytest.approx(own + beside, rel=1e-6)
        if not short:
            np.testing.assert_allclose(force.end_bound[0, 0], 0.0, atol=1e-3)
