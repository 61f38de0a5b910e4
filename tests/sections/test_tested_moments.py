"""Tested moments against the full plastic moment of the section: closed form b h^2 / 4 of a solid bar."""

import hashlib
from pathlib import Path

import pytest

from fea.doubts import project_doubts
from roofmodel.hardware import DesignFormat
from roofmodel.project.hardware_tables import make_rail
from roofmodel.project.moment_doubts import HARDENS, moment_doubts, moment_notes
from roofmodel.project.schema import RailTable
from roofmodel.units import SYSTEMS
from tests.checks.projects import project
from tests.sections.test_profile_files import with_profile
from viewer.section.read import see_section
from viewer.section.words import notes

WIDE, HIGH, YIELD = 0.02, 0.03, 200e6  # up the slope, away from the roof
NORMAL, SLOPE = WIDE * HIGH**2 / 4.0 * YIELD, HIGH * WIDE**2 / 4.0 * YIELD  # 900 and 600 N m
OUTLINE = 'points = "0 0, 20 0, 20 30, 0 30 mm"'
METAL = ("aluminum", "200 MPa", "", "B")


def doubts(normal, slope, kind="characteristic", form="EN", **given):
    table = RailTable.model_validate(
        {
            "material": "aluminum",
            "yield_strength": "200 MPa",
            "shape": "profile",
            "profile": {"points": "0 0, 20 0, 20 30, 0 30 mm"},
            "moment_normal": f"{normal} N*m",
            "moment_slope": f"{slope} N*m",
            "moment_kind": kind,
            **given,
        }
    )
    rail = make_rail(table, DesignFormat(form), Path(), hashlib.sha256())
    return moment_doubts("bar", table, rail, form, SYSTEMS["SI"]), (table, rail, form, SYSTEMS["SI"])


@pytest.mark.parametrize("over", [0.98, 1.02])
def test_a_moment_above_what_hardening_metal_holds_is_doubted(over):
    bound = HARDENS * over
    for normal, slope, field in (
        (bound * NORMAL, 1.0, "moment_normal"),
        (1.0, bound * SLOPE, "moment_slope"),
    ):
        found, _ = doubts(normal, slope, moment_factor=1.1)
        assert set(found) == ({f"bar.{field}"} if over > 1.0 else set())


def test_a_moment_that_holds_its_factor_is_held_against_the_factored_one():
    """gamma_M1 = 1.10 of aluminum."""
    assert not doubts(HARDENS * NORMAL / 1.10 * 0.98, 1.0, "design")[0]
    assert "UNSAFE" in doubts(HARDENS * NORMAL / 1.10 * 1.02, 1.0, "design")[0]["bar.moment_normal"]
    assert doubts(HARDENS * NORMAL / 1.10, 1.0, "allowable", "ASD")[0]


def test_a_digit_down_is_no_doubt_but_told_as_a_share():
    found, given = doubts(0.1 * NORMAL, 0.1 * SLOPE, "design")
    assert not found
    (note,) = moment_notes("bar", *given)
    assert note.startswith("Tested moments of bar, design: 0.090 kN·m away from the roof (11 % of")


def test_check_and_section_are_not_verified(tmp_path):
    text = with_profile(OUTLINE)
    moments = f'moment_slope = "{7.0 * SLOPE} N*m"\nmoment_normal = "{NORMAL} N*m"\nmoment_kind = "design"\n'
    odd = project(tmp_path, text.replace("[clamp]", f"{moments}[clamp]", 1))
    assert any(one.startswith("moment_slope of the rail") for one in project_doubts(odd, ()))
    seen = see_section(tmp_path / "project.toml", None, None, METAL, "SI", "EN")
    assert seen.doubts
    assert notes(seen)[0].startswith("NOT VERIFIED: moment_slope of this rail")
    plain = project(tmp_path, text)
    assert not any("moment_" in one for one in project_doubts(plain, ()))
