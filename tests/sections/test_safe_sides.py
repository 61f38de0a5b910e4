"""Where a standard leaves open which of two values holds, the lower one counts."""

from dataclasses import replace

import numpy as np
import pytest

from fea.checks.member import crushing_open
from fea.checks.member_strength import member_strength
from fea.sections.plates import plate_factor
from roofmodel.hardware import DesignFormat
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from roofmodel.sections import rectangle
from tests.frame.rails import make_rail

KSI = 6.894757e6


@pytest.mark.parametrize("fy", [110e6, 200e6, 275e6])
def test_plates_of_the_aluminum_design_manual_take_the_lower_temper(fy):
    """B.5.4.2 with tables B.4.1 and B.4.2 (from memory), worked for plates held at both edges."""
    metal = replace(make_rail().material, name="aluminum", E=70e9, yield_strength=fy)
    ratio = np.linspace(5.0, 120.0, 60)
    found = plate_factor(ratio, np.ones(60), np.zeros(60, dtype=bool), metal, en=False)
    F, E, x = fy / KSI, 70e9 / KSI, 1.6 * ratio
    by = []
    for root, part, over, k1, k2 in ((440.0, 20.0, 6.0, 0.50, 2.04), (1500.0, 10.0, 1.0, 0.35, 2.27)):
        B = F * (1.0 + np.cbrt(F / root))
        D = B / part * np.sqrt(over * B / E)
        by.append(np.minimum(np.where(x < k1 * B / D, B - D * x, k2 * np.sqrt(B * E) / x) / F, 1.0))
    np.testing.assert_allclose(found, np.minimum(*by), rtol=1e-9)
    assert (by[0] < by[1]).any()
    assert (by[1] < by[0]).any()


@pytest.mark.parametrize("form", list(DesignFormat))
def test_welded_bars_buckle_sideways_with_the_strength_of_their_welds(form):
    length = np.array([0.05, 0.4, 1.2, 2.5])
    bar = make_rail(rectangle(0.06, 0.006))
    plain = member_strength(bar, form, length).sideways
    whole = member_strength(replace(bar, weld_strength=bar.material.yield_strength), form, length).sideways
    np.testing.assert_allclose(whole, plain, rtol=1e-12)
    soft = member_strength(
        replace(bar, weld_strength=0.6 * bar.material.yield_strength), form, length
    ).sideways
    assert soft[0] == pytest.approx(0.6 * plain[0], rel=0.05)  # short: the section alone
    lost = soft / plain  # longer bars lose more to buckling than to welds
    assert (np.diff(lost) >= -1e-12).all()
    assert (lost <= 1.0).all()


def test_crushing_of_plain_channels_is_told_as_open():
    """A channel pushed along its flanges has no web that carries it; tubes have one each way."""
    size = {"width": 0.04, "depth": 0.06, "wall": 0.003}
    for shape, open_ in (("channel", True), ("rectangular tube", False)):
        profile = profile_of(shape_outline(shape, size))
        rail = replace(make_rail(profile.section), profile=profile, bearing_length=0.05)
        assert crushing_open(rail, DesignFormat.EN) == open_
        assert not crushing_open(replace(rail, bearing_strength=3e3), DesignFormat.EN)
