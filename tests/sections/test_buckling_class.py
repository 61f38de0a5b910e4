"""Buckling classes of EN 1999-1-1: formulas meet their limits, A is never below B."""

import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.sections.buckling_class import class_words
from fea.sections.effective import effective
from fea.sections.plates import _ALUMINUM, plate_factor
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat, Material
from roofmodel.project.hardware_tables import make_rail
from roofmodel.project.schema import RailTable

METAL = Material("aluminum", 70e9, 27e9, 23e-6, 2700.0, 250e6)
EN = DesignFormat.EN


@pytest.mark.parametrize(("kind", "welded"), list(_ALUMINUM))
def test_each_curve_starts_at_one_where_its_class_ends(kind, welded):
    """C1 / beta_3 - C2 / beta_3^2 = 1: tables 6.2 and 6.3 agree (from memory)."""
    for limit, c1, c2 in _ALUMINUM[kind, welded]:
        assert c1 / limit - c2 / limit**2 == pytest.approx(1.0, abs=0.012)


@pytest.mark.parametrize("outstand", [False, True])
@pytest.mark.parametrize("welded", [False, True])
def test_class_a_is_never_below_b_and_welds_bring_it_there(outstand, welded):
    ratio = np.linspace(1.0, 80.0, 200)
    held = np.full(200, outstand)

    def rho(kind, *, welds):
        return plate_factor(
            ratio, np.ones(200), held, replace(METAL, buckling_class=kind), True, welded=welds
        )

    assert (rho("A", welds=welded) >= rho("B", welds=welded) - 1e-12).all()
    np.testing.assert_allclose(rho("A", welds=True), rho("B", welds=False))


def rail(**more):
    given = {
        "shape": "profile",
        "profile": {"shape": "rectangular tube", "width": "36 mm", "depth": "46 mm", "wall": "1.6 mm"},
        "material": "aluminum",
        "yield_strength": "250 MPa",
    }
    return make_rail(RailTable.model_validate(given | more), EN, Path(), hashlib.sha256())


def test_a_thin_wall_by_hand_and_what_is_said_of_it():
    """Flat width 46 - 3.2 over 1.6: 26.75; class A 32 / 26.75 - 220 / 26.75^2 = 0.889, class B 0.807."""
    beta = 42.8 / 1.6
    b, a = rail(), rail(alloy="EN AW-6082 T6", buckling_class="A")
    for one, c1, c2 in ((b, 29.0, 198.0), (a, 32.0, 220.0)):
        share = effective(one.profile, one.material, EN).share[0]
        assert share == pytest.approx(c1 / beta - c2 / beta**2, rel=1e-3)
    (safe,), (told,) = class_words("R", b, "", EN), class_words("R", a, "EN AW-6082 T6", EN)
    assert "class B" in safe
    assert "89 % in place of 81 %" in safe
    assert "EN AW-6082 T6" in told
    assert class_words("R", b, "", DesignFormat.ASD) == []


@pytest.mark.parametrize("alloy", ["", "EN AW-6082", "6060 T5", "AlMg3 H14", "T4"])
def test_class_a_wants_a_temper_that_has_it(alloy):
    with pytest.raises(InputError, match=r"rail\.buckling_class"):
        rail(alloy=alloy, buckling_class="A")


@pytest.mark.parametrize("alloy", ["EN AW-6060 T66", "6082-T6", "6005a t64", "6061T651"])
def test_tempers_of_class_a(alloy):
    assert rail(alloy=alloy, buckling_class="A").material.buckling_class == "A"


def test_steel_has_no_buckling_class():
    with pytest.raises(InputError, match="is of aluminum"):
        rail(material="steel", alloy="T6", buckling_class="A")
