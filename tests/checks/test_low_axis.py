"""A rail that would lie below the grip of its clamps is told, by how far, in check and span alike."""

import hashlib
from pathlib import Path

import pytest

from fea.spans.study import run_study
from roofmodel.hardware import DesignFormat
from roofmodel.project.hardware_tables import make_rail
from roofmodel.project.low_axis import below_axis, low_axis_words
from roofmodel.project.schema import RailTable
from roofmodel.project.span_study import load_study
from roofmodel.units import SYSTEMS
from tests.spans.test_span_conditions import put

FEWEST = (
    ('"6.8 to 7.6 kN"', '"6.8 kN"'),
    ('"0.4 m", "0.8 m", "2.0 m"', '"0.4 m"'),
    ('"single span", "end span"', '"single span"'),
)
METAL = {"material": "aluminum", "yield_strength": "200 MPa"}
# A T that stands on its flange: 40 x 4 below, a web of 3 x 46 on it.
TEE = ((0, 0), (40, 0), (40, 4), (21.5, 4), (21.5, 50), (18.5, 50), (18.5, 4), (0, 4))
FOOT = (40 * 4 * 2 + 3 * 46 * 27) / (40 * 4 + 3 * 46) * 1e-3


def rail(**given):
    return make_rail(RailTable.model_validate(METAL | given), DesignFormat.EN, Path(), hashlib.sha256())


@pytest.mark.parametrize(("turn", "below"), [(1, FOOT), (-1, 0.05 - FOOT)])
def test_the_underside_is_that_of_the_drawing(tmp_path, turn, below):
    rows = "\n".join(f"{y},{turn * z}" for y, z in TEE)
    (tmp_path / "tee.csv").write_text(f"y [mm],z [mm]\n{rows}\n")
    table = RailTable.model_validate(METAL | {"shape": "profile", "profile": {"file": "tee.csv"}})
    one = make_rail(table, DesignFormat.EN, tmp_path, hashlib.sha256())
    assert below_axis(one) == pytest.approx(below, rel=1e-9)
    assert low_axis_words(below, {"T": one}, SYSTEMS["SI"]) == []
    (words,) = low_axis_words(below - 0.0105, {"T": one}, SYSTEMS["SI"])
    assert SYSTEMS["SI"].text(0.0105, "size") + " below the grip" in words


def test_the_rail_that_reaches_lowest_is_named():
    thin = rail(shape="round tube", diameter="30 mm", wall="2 mm")
    thick = rail(shape="round tube", diameter="60 mm", wall="2 mm")
    (words,) = low_axis_words(0.012, {"thin": thin, "thick": thick}, SYSTEMS["SI"])
    assert "thick reaches" in words
    assert low_axis_words(0.03, {"thin": thin, "thick": thick}, SYSTEMS["SI"]) == []


@pytest.mark.parametrize(("height", "told"), [("60 mm", False), ("6 mm", True)])
def test_a_span_study_says_it(tmp_path, height, told):
    study = load_study(put(tmp_path, ('\nheight = "60 mm"', f'\nheight = "{height}"'), *FEWEST))
    assert any("axis nearly at the grip" in note for note in run_study(study).notes) is told
