"""Sun on planes and thaw at the bond: geometry, limits, and the balance written out again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roofmodel.snow.thaw import (
    HOURS,
    SURFACE,
    ThawAid,
    clear_sky,
    coldest_thaw,
    conductivity,
    warmth_at_bond,
)

NOON = int(np.argmin(np.abs(HOURS - 12.0)))
MIDWINTER, EQUINOX = 355, 81
AID = ThawAid(latitude=np.radians(46.0), day=32)


def sky(latitude, day, slope, azimuth):
    return clear_sky(np.radians(latitude), day, np.radians([slope]), np.radians([azimuth]))[0]


def test_sun_overhead_on_the_equator_at_the_equinox():
    """Air mass 1: 1353 x 0.7 = 947 W/m^2 direct (Meinel), and a tenth of it from the sky."""
    assert sky(0.0, EQUINOX, 0.0, 0.0)[NOON] == pytest.approx(1.1 * 947.1, rel=1e-3)


def test_day_length():
    """cos(omega_s) = -tan(latitude) tan(declination): 8.6 h at 45 degrees in midwinter, then 12 h."""
    for day, hours in ((MIDWINTER, 8.6), (EQUINOX, 12.0)):
        lit = (sky(45.0, day, 0.0, 0.0) > 0.0).sum() * 0.25
        assert lit == pytest.approx(hours, abs=0.3)
    assert not sky(80.0, MIDWINTER, 0.0, 0.0).any()


def test_a_plane_square_to_the_noon_sun_gets_the_most():
    """At latitude L and declination 0 that is a slope of L to the south."""
    noon = [sky(45.0, EQUINOX, slope, 180.0)[NOON] for slope in (30.0, 45.0, 60.0)]
    assert noon[1] > noon[0] > 0.0
    assert noon[1] > noon[2]


def test_north_and_south_east_and_west():
    day = 32
    assert sky(46.0, day, 30.0, 180.0).sum() > 3.0 * sky(46.0, day, 30.0, 0.0).sum()
    east, west = sky(46.0, day, 30.0, 90.0), sky(46.0, day, 30.0, 270.0)
    np.testing.assert_allclose(east[1:], west[:0:-1], atol=1e-9)
    assert HOURS[east.argmax()] < 12.0
    assert sky(-46.0, day + 182, 30.0, 0.0)[NOON] == pytest.approx(
        sky(46.0, day, 30.0, 180.0)[NOON], rel=0.05
    )


def test_no_sun_and_no_heat_thaws_at_freezing_only():
    assert float(coldest_thaw(AID, 0.0, 0.4, 250.0)) == 0.0


def test_balance_at_the_bond():
    """At that air temperature the heat that comes is the heat that goes, and the bond stands at 0."""
    aid = replace(AID, roof_conductance=0.25, inside=18.0)
    depth, density, sun = 0.35, 280.0, 600.0
    air = float(coldest_thaw(aid, sun, depth, density))
    up = (0.0 - air) / (depth / float(conductivity(density)) + 1.0 / SURFACE)
    assert up == pytest.approx(float(warmth_at_bond(aid, sun, depth)) + 0.25 * 18.0)
    assert air < -5.0


def test_conductivity_of_seasonal_snow():
    """About 0.23 W/m K at 300 kg/m^3, 0.05 to 0.1 when fresh (Yen's curve, from memory)."""
    assert float(conductivity(300.0)) == pytest.approx(0.23, abs=0.01)
    assert 0.02 < float(conductivity(100.0)) < 0.1


def test_darker_snow_and_thinner_snow_let_more_through():
    depth = np.array([0.05, 0.1, 0.2, 0.4])
    assert np.all(np.diff(warmth_at_bond(AID, 500.0, depth)) < 0.0)
    assert warmth_at_bond(replace(AID, reflected=0.5), 500.0, 0.2) > warmth_at_bond(AID, 500.0, 0.2)
