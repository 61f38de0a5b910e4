"""Solar arrays: EN 1991-1-3 6.4 for what leans on them, frictionless glass, conservation, symmetry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from roofs import PANEL, gable, rows, uniform

from roofmodel.errors import InputError
from roofmodel.project.array_schema import SolarTable
from roofmodel.project.arrays import place_arrays
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.sliding.tributary import clamp_shares, row_polygon_force
from roofmodel.units import SYSTEMS

P = 2000.0
SLOPE = np.radians(25.0)
LENGTH = 8.0 / np.cos(SLOPE)  # of the slope, eave to ridge
WIDTH, DEPTH, UP = 4.0, 2.0, 4.0
TOP = UP + 0.5 * DEPTH


def solar(name="glass", **changed):
    table = {
        "name": name,
        "plane": "S1",
        "across": "6 m",
        "up": f"{UP} m",
        "width": f"{WIDTH} m",
        "depth": f"{DEPTH} m",
        "gap": "120 mm",
        "weight": "0.15 kPa",
    }
    return SolarTable.model_validate({**table, **changed})


def sent(*tables, angle=0.0, plane="S1", friction=0.0, width=0.5):
    roof = gable(angle=angle)
    tables = [t.model_copy(update={"plane": plane}) for t in tables]
    roof = replace(roof, arrays=place_arrays(roof, tables, [], PANEL.seam_spacing, SYSTEMS["SI"]))
    layout = rows(roof, {"plane": plane, "up": "0.5 m"})
    options = SlideOptions(friction=friction, strip_width=width)
    graph, force = slide(roof, (uniform(roof, P),), layout, options)
    return roof, layout, graph, force


def line(run, friction=0.0):
    """Force for each meter of width of a length of slope: p b (sin - mu cos), b on plan (from memory)."""
    return P * run * np.cos(SLOPE) * (np.sin(SLOPE) - friction * np.cos(SLOPE))


def leaning(graph, force):
    """Thrust at the upper edge of the only array. [N]."""
    return force.cell_arriving[0, graph.cells.lower_face == 0].sum()


def below(force, low, high):
    """Row force per meter between two places along the row (the row starts at u = 0). [N/m]."""
    on = (force.span[:, 0] > low) & (force.span[:, 1] < high)
    return -force.thrust[0, on, 1] / np.diff(force.span[on], axis=1)[:, 0]


def test_released_snow_reaches_the_row_whole():
    """Without friction the glass changes nothing for the row below; nothing is lost."""
    plain, glazed = sent(), sent(solar())
    np.testing.assert_allclose(
        clamp_shares(glazed[1], glazed[3]), clamp_shares(plain[1], plain[3]), rtol=1e-9
    )
    assert glazed[3].balance.error.max() < 1e-12


def test_row_below_glass_with_friction_by_hand():
    """Friction counts on LENGTH - 0.5 m of metal beside the array, and not on its 2 m of glass."""
    mu = 0.2
    _, layout, _, force = sent(solar(), friction=mu)
    start = layout.row_start[0, 0]
    np.testing.assert_allclose(below(force, 0.3, 3.9 - start), line(LENGTH - 0.5, mu), rtol=1e-9)
    under = line(LENGTH - 0.5 - DEPTH, mu) + line(DEPTH)
    np.testing.assert_allclose(below(force, 4.01 - start, 7.99 - start), under, rtol=1e-9)
    assert force.balance.error.max() < 1e-12


def test_polygons_know_the_glass_too():
    roof, layout, _, force = sent(solar(), friction=0.2)
    again = row_polygon_force(roof, layout, uniform(roof, P), 0, 0.2)
    assert again == pytest.approx(force.own[0, 0], rel=1e-6)
    assert again > 1.01 * sent(friction=0.2)[3].own[0, 0]


@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_what_leans_on_the_upper_edge_by_hand(friction):
    _, _, graph, force = sent(solar(), friction=friction)
    assert leaning(graph, force) == pytest.approx(WIDTH * line(LENGTH - TOP, friction), rel=1e-9)
    glass = graph.cells.array == 0
    assert graph.cells.true_area[glass].sum() == pytest.approx(WIDTH * DEPTH, rel=1e-9)


def test_what_parts_at_the_ends():
    """Within the run above, 45 degrees: LENGTH - TOP is more than half the width: half each side."""
    _, _, graph, force = sent(solar())
    assert -force.aside[0, :, 1].sum() == pytest.approx(leaning(graph, force), rel=1e-9)
    short = sent(solar(up=f"{LENGTH - 1.5} m"))
    run = 0.5  # above the upper edge
    assert -short[3].aside[0, :, 1].sum() == pytest.approx(2.0 * run * line(run), rel=1e-6)
    assert not sent(solar(snow="released"))[3].aside.any()


@pytest.mark.parametrize(("counted", "newton"), [("3 kN", 3e3), ("900 kN", 9e5)])
def test_relief_only_as_far_as_counted_on(counted, newton):
    plain = sent()[3]
    _, _, graph, force = sent(solar(snow="dammed", counted_on=counted))
    held = min(newton, WIDTH * line(LENGTH - TOP))
    assert force.array_held[0] == pytest.approx([held], rel=1e-9)
    assert force.balance.caught == pytest.approx(plain.balance.caught - held, rel=1e-12)
    assert force.balance.error.max() < 1e-12
    assert leaning(graph, force) == pytest.approx(WIDTH * line(LENGTH - TOP), rel=1e-9)


def test_dammed_alone_relieves_nothing():
    plain, force = sent()[3], sent(solar(snow="dammed"))[3]
    assert force.balance.caught == pytest.approx(plain.balance.caught, rel=1e-12)


def test_two_arrays_in_line():
    """The lower one gets everything above it, the snow on the upper one's glass included."""
    low, high = solar("low", up="2 m", depth="1 m"), solar("high", up="5 m")
    _, _, graph, force = sent(low, high)
    at = [force.cell_arriving[0, graph.cells.lower_face == k].sum() for k in (0, 1)]
    assert at == pytest.approx([WIDTH * line(LENGTH - 2.5), WIDTH * line(LENGTH - 6.0)], rel=1e-9)


def test_mirrored_and_turned():
    left, right = sent(solar(across="4 m")), sent(solar(across="8 m"))
    assert leaning(*left[2:]) == pytest.approx(leaning(*right[2:]), rel=1e-9)
    turned = sent(solar(across="4 m"), angle=np.radians(90.0), plane="E1")
    assert leaning(*turned[2:]) == pytest.approx(leaning(*left[2:]), rel=1e-9)
    assert turned[3].balance.caught == pytest.approx(left[3].balance.caught, rel=1e-9)
    np.testing.assert_allclose(turned[3].aside[0, :, 1].sum(), left[3].aside[0, :, 1].sum(), rtol=1e-9)


def test_strips_do_not_matter():
    coarse, fine = sent(solar(), width=0.9, friction=0.1), sent(solar(), width=0.13, friction=0.1)
    assert leaning(*coarse[2:]) == pytest.approx(leaning(*fine[2:]), rel=1e-9)
    assert coarse[3].balance.caught == pytest.approx(fine[3].balance.caught, rel=1e-9)


def test_lines_share_the_whole_width():
    """Seams every 0.4 m from 0.2 m: 4 to 8 m holds ten, at 4.2 ... 7.8; every third is four."""
    arrays = sent(solar())[0].arrays
    np.testing.assert_allclose(arrays.line_u, 4.2 + 0.4 * np.arange(10), atol=1e-9)
    thin = sent(solar(clamp_every=3))[0].arrays
    np.testing.assert_allclose(thin.line_u, 4.2 + 1.2 * np.arange(4), atol=1e-9)
    assert thin.line_share.sum() == pytest.approx(1.0)
    np.testing.assert_allclose(thin.line_reach[1:, 0], thin.line_reach[:-1, 1])


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"across": "1 m"}, "reaches off the plane S1"),
        ({"plane": "S7"}, '"S7" is not on this roof'),
        ({"width": "0.1 m"}, "no clamp; 0 seams"),
        ({"clamp_first": 12}, "leave none"),
    ],
)
def test_bad_arrays_are_told(table, words):
    roof = gable()
    with pytest.raises(InputError, match='solar "glass"') as error:
        place_arrays(roof, [solar(**table)], [], PANEL.seam_spacing, SYSTEMS["SI"])
    assert words in str(error.value)


def test_arrays_do_not_overlap():
    roof = gable()
    with pytest.raises(InputError, match="it lies on"):
        place_arrays(roof, [solar("a"), solar("b", across="7 m")], [], PANEL.seam_spacing, SYSTEMS["SI"])


def test_snow_let_past_cannot_be_counted_on():
    with pytest.raises(ValueError, match="counted_on"):
        solar(counted_on="2 kN")
