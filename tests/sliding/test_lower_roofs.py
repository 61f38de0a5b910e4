"""Snow that lands on lower roofs: free flight by hand, conservation, symmetry, rotation."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import rectangle, rows, turned, uniform

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, slide

G = 9.80665
SLOPE = np.radians(25.0)
RISE = 8.0 * np.tan(SLOPE)  # of the high roof's half


def house(deep=3.0, drop=3.0, angle=0.0, low_pitch=None, mirrored=False, wide=12.0):
    """Gable of 12 x 16 m with its eave at 6 m, and a lower roof along its south eave."""
    shift = 0.5 * (12.0 - wide)
    foot = rectangle(wide, deep) + np.array([shift, 16.0 if mirrored else -deep])
    pitches = np.radians([25.0, np.nan, 25.0, np.nan])
    parts = [RoofPart("gable", turned(rectangle(12.0, 16.0), angle), pitches, 6.0)]
    if low_pitch is None:
        parts.append(RoofPart("flat", turned(foot, angle), np.zeros(0), 6.0 - drop))
    else:
        low = np.radians([low_pitch])
        parts.append(RoofPart("shed", turned(foot, angle), low, 6.0 - drop, fall_azimuth=np.pi + angle))
    return build_roof(parts)


def landed(roof, friction=0.0, row=None):
    case = uniform(roof, 2000.0)
    options = SlideOptions(friction=friction)
    plane = next(n for n in roof.planes.name if not n.startswith("F"))
    layout = rows(roof, row or {"plane": plane, "up": "8 m"})
    graph, force = slide(roof, (case,), layout, options)
    found = landing(roof, graph, force, (case,), options)
    return force, found, layout


def eave(roof, force):
    """Index of the high south eave."""
    ends = np.stack([roof.edges.start, roof.edges.end], axis=1)[force.exit_edge]
    return int(np.flatnonzero(np.all(np.abs(ends[..., 1:] - [0.0, 6.0]) < 1e-6, axis=(1, 2)))[0])


SOUTH = {"plane": "N1", "up": "0.5 m"}


def test_share_that_stays_on_a_flat_roof_by_hand():
    """Of x = v cos t and 3 = v sin t + g t^2 / 2: the speed that flies 3 m, and the part below it."""
    roof = house(deep=3.0)
    force, found, _ = landed(roof, row=SOUTH)
    time = np.sqrt((3.0 - 3.0 * np.tan(SLOPE)) * 2.0 / G)
    speed = 3.0 / np.cos(SLOPE) / time
    share = speed**2 / (2.0 * G) / RISE
    assert 0.3 < share < 0.9
    k = eave(roof, force)
    on = found.lower.edge == k
    assert on.sum() == 1
    assert roof.planes.name[found.lower.plane[on][0]].startswith("F")
    assert found.lower.weight[0, on][0] / force.exit_weight[0, k] == pytest.approx(share, abs=0.5 / 40)
    assert found.lower.line[0, on][0] == pytest.approx(16e3 * share, rel=0.05)
    assert found.lower.reach[on][0] <= 3.0 + 1e-9


def test_nothing_is_lost():
    for friction in (0.0, 0.2):
        force, found, _ = landed(house(low_pitch=10.0), friction)
        total = found.lower.beyond + 0.0
        np.add.at(total.T, found.lower.edge, found.lower.weight.T)
        np.testing.assert_allclose(total, force.exit_weight, rtol=1e-12)
        assert found.lower.volume == pytest.approx(found.lower.weight / (300.0 * G))


def test_a_deep_roof_catches_all_and_a_thin_ledge_little():
    roof = house(deep=30.0)
    force, found, _ = landed(roof, row=SOUTH)
    k = eave(roof, force)
    assert found.lower.beyond[0, k] == pytest.approx(0.0, abs=1e-6)
    patch = found.lower.patch[int(np.flatnonzero(found.lower.edge == k)[0])]
    assert patch.bounds[0] == pytest.approx(0.0, abs=1e-6)
    assert patch.bounds[2] == pytest.approx(12.0, abs=1e-6)
    reach = found.lower.reach[found.lower.edge == k][0]
    speed = np.sqrt(2.0 * G * RISE)
    down = speed * np.sin(SLOPE)
    top = 3.0 + 2000.0 / (300.0 * G)  # of the snow at the eave above the roof below
    flight = (np.sqrt(down**2 + 2.0 * G * top) - down) / G
    assert reach == pytest.approx(speed * np.cos(SLOPE) * flight, rel=1e-9)
    ledge = house(deep=0.3)
    force, found, _ = landed(ledge, row=SOUTH)
    assert found.lower.weight.sum() < 0.05 * force.exit_weight[0, eave(ledge, force)]


def test_a_sloping_lower_roof_is_met_later():
    """A roof that falls away is met farther out: it catches less of what a flat one as deep would."""
    flat, steep = house(deep=3.0, drop=3.0), house(deep=3.0, drop=4.4, low_pitch=25.0)
    shares = []
    for roof in (flat, steep):
        force, found, _ = landed(roof, row=SOUTH)
        k = eave(roof, force)
        shares.append(found.lower.weight[0, found.lower.edge == k].sum() / force.exit_weight[0, k])
    assert 0.0 < shares[1] < shares[0]


def test_half_as_wide_catches_half():
    whole, half = house(), house(wide=6.0)
    sums = [landed(roof, row=SOUTH)[1].lower.weight.sum() for roof in (whole, half)]
    assert sums[1] == pytest.approx(0.5 * sums[0], rel=1e-9)


def test_turned_house_lands_alike():
    plain, other = house(), house(angle=np.radians(180.0))
    first = landed(plain, row=SOUTH)
    second = landed(other, row={"plane": "S1", "up": "0.5 m"})
    for a, b in zip(sorted(first[1].lower.weight[0]), sorted(second[1].lower.weight[0]), strict=True):
        assert a == pytest.approx(b, rel=1e-9)


def test_no_lower_roof_no_pairs():
    roof = build_roof(
        [RoofPart("gable", rectangle(12.0, 16.0), np.radians([25.0, np.nan, 25.0, np.nan]), 6.0)]
    )
    force, found, _ = landed(roof)
    assert not len(found.lower.plane)
    np.testing.assert_allclose(found.lower.beyond, force.exit_weight, rtol=1e-12)


def test_a_ledge_that_only_the_top_of_the_snow_reaches_is_touched():
    """Past the landing of the blanket's foot, 3 m below the eave, and short of that of its top."""
    speed = np.sqrt(2.0 * G * RISE)

    def flight(fall):
        down = speed * np.sin(SLOPE)
        return speed * np.cos(SLOPE) * (np.sqrt(down**2 + 2.0 * G * fall) - down) / G

    foot, top = flight(3.0), flight(3.0 + 2000.0 / (300.0 * G))
    roof = house(deep=30.0)
    force, found, _ = landed(roof, row=SOUTH)
    k = eave(roof, force)
    patch = found.lower.patch[int(np.flatnonzero(found.lower.edge == k)[0])]
    (place,) = (shape for edge, _, shape in found.lower.touched if edge == k)
    assert patch.bounds[1] == pytest.approx(-foot, rel=1e-6)
    assert place.bounds[1] == pytest.approx(-top, rel=1e-6)
    pitches = np.radians([25.0, np.nan, 25.0, np.nan])
    ledge = rectangle(12.0, 10.0) - [0.0, 10.0 + 0.5 * (foot + top)]
    parts = [
        RoofPart("gable", rectangle(12.0, 16.0), pitches, 6.0),
        RoofPart("flat", ledge, np.zeros(0), 3.0),
    ]
    roof = build_roof(parts)
    force, found, _ = landed(roof, row=SOUTH)
    k = eave(roof, force)
    assert not (found.lower.edge == k).any()
    assert [roof.planes.name[p][0] for edge, p, _ in found.lower.touched if edge == k] == ["F"]
