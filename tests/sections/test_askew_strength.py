"""Strengths of sections whose axes on the roof are not principal: of the worst corner, not from I / c."""

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from scipy.optimize import brentq

from fea.checks.beyond import row_limits
from fea.checks.rail_section import bending_stress, yield_moments
from fea.evidence.roof import MOMENT_SHARE, unknown_splices
from fea.push.bending import rail_bending
from roofmodel import load_project
from roofmodel.hardware import DesignFormat
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from tests.checks.test_rail_top import GOOD, analysis
from tests.sections.built_sections import moved
from viewer.cli import commands
from viewer.quantities import system
from viewer.report.inputs import hardware_table

YIELD = 200e6
ANGLE = [(0, 0), (60, 0), (60, 5), (5, 5), (5, 60), (0, 60)]


def by_principal_axes(profile):
    """Moduli of the worst corner, each moment taken apart into principal ones."""
    corner = shapely.get_coordinates(profile.outline)
    c, s = np.cos(profile.angle), np.sin(profile.angle)
    u, v = corner @ [c, s], corner @ [-s, c]
    large, small = profile.principal
    # Stress M z / I_y of a moment about y is that of a couple whose lever is z: e_z = s u + c v.
    lever = np.array([[s, c], [c, -s]])
    return [1.0 / np.abs(v * b / large + u * a / small).max() for a, b in lever]


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 120.0])
def test_moments_alone_are_those_of_the_principal_axes(turn):
    for shape, size in (
        ("angle", {"width": 0.06, "depth": 0.04, "wall": 0.005}),
        ("channel", {"width": 0.03, "depth": 0.06, "wall": 0.003}),
    ):
        profile = profile_of(moved(shape_outline(shape, size), np.radians(turn)))
        np.testing.assert_allclose(profile.alone, by_principal_axes(profile), rtol=1e-6)


def test_an_angle_by_hand(tmp_path):
    """60 x 5 mm, I and I_yz from two rectangles: what is printed yields the worst corner."""
    (tmp_path / "angle.csv").write_text("y [mm],z [mm]\n" + "\n".join(f"{y},{z}" for y, z in ANGLE))
    words = [
        "section",
        str(tmp_path / "angle.csv"),
        "--yield-strength",
        "200 MPa",
        "--out",
        str(tmp_path / "o"),
    ]
    done = CliRunner().invoke(commands, words)
    assert done.exit_code == 0, done.output
    areas, y, z = np.array([300.0, 275.0]), np.array([30.0, 2.5]), np.array([2.5, 32.5])
    middle = areas @ y / areas.sum()
    own = np.array([5.0**3 * 60, 55.0**3 * 5]) / 12
    I = own.sum() + areas @ (z - middle) ** 2  # noqa: E741
    product = areas @ ((y - middle) * (z - middle))
    corner = np.array(ANGLE) - middle
    modulus = (I**2 - product**2) / np.abs(I * corner[:, 1] - product * corner[:, 0]).max()
    data = json.loads((tmp_path / "o" / "section.json").read_text())
    np.testing.assert_allclose(data["alone"], modulus * 1e-9, rtol=1e-9)
    assert data["section"]["W_y"] > 1.29 * data["alone"][0]
    share, stress = data["effective"]["bending_y"], data["effective"]["design_stress"]
    printed = next(
        line for line in done.output.splitlines() if line.startswith("bending away") and "kN" in line
    )
    # Both parts of the stress add up at the corner of the box around the angle, where `check` holds it.
    counts = (I - product**2 / I) / np.abs(corner).max() / (1.0 + abs(product) / I)
    assert counts < modulus
    assert float(printed.split()[-2]) == pytest.approx(share * stress * counts * 1e-12, rel=2e-3)
    assert "The elastic modulus (I / c) is no strength" in " ".join(done.output.split())


def askew_rail(tmp_path, **more):
    path = tmp_path / "project.toml"
    path.write_text(GOOD)
    project = load_project(path)
    profile = profile_of(shapely.Polygon(np.array(ANGLE) * 1e-3))
    return replace(project.rail, profile=profile, section=profile.section, **more), project


def test_yield_moments_never_pass_first_yield(tmp_path):
    """Also beyond the check: rows past their first failure, virtual tests, splices that nobody knows."""
    rail, project = askew_rail(tmp_path)
    alone = rail.profile.alone
    found = yield_moments(YIELD, rail.section)
    for about, one in enumerate(np.eye(2)):
        reached = brentq(lambda m: bending_stress(*(m * one), rail.section) - YIELD, 1.0, 1e6)  # noqa: B023
        assert found[about] == pytest.approx(reached)
    assert (found <= YIELD * alone * (1 + 1e-9)).all()
    limits = row_limits(np.ones((2, 6)), project.clamp, rail, YIELD, 0.0)
    assert (limits.plastic_moment <= YIELD * alone * (1 + 1e-9)).all()
    for one in (rail, replace(rail, profile=None)):
        moment = np.array(rail_bending(one, project.layout, DesignFormat.EN).moment)
        assert (moment <= one.material.yield_strength * alone * (1 + 1e-9)).all()
    splice = unknown_splices(rail, 1.0).capacity[-2:]
    assert (splice <= MOMENT_SHARE * rail.material.yield_strength * alone * (1 + 1e-9)).all()


def test_principal_axes_leave_the_elastic_modulus(tmp_path):
    profile = profile_of(shape_outline("hat", {"width": 0.04, "depth": 0.03, "lip": 0.015, "wall": 0.003}))
    section = profile.section
    both = np.array([section.W_y, section.W_z])
    np.testing.assert_allclose(profile.alone, both, rtol=1e-9)
    np.testing.assert_allclose(yield_moments(YIELD, section), YIELD * both, rtol=1e-12)


@pytest.mark.parametrize("tall", ["60", "5"])
def test_the_report_names_the_modulus_that_counts(tmp_path, tall):
    """An angle has it beside I / c, as the check takes it; a bar has no such line."""
    points = "0 0, 60 0, 60 5, 5 5, 5 60, 0 60" if tall == "60" else "0 0, 60 0, 60 5, 0 5"
    found = analysis(tmp_path, f'shape = "profile"\nprofile = {{ points = "{points} mm" }}\n')
    value = {row[0]: row[1] for row in hardware_table(found, system("SI")).rows}
    section, alone = found.project.rail.section, found.project.rail.profile.alone
    for way, moment, exact in zip(("away from the roof", "down the slope"), np.eye(2), alone, strict=True):
        counts = value.get(f"Section modulus that counts in stress, bending {way} alone")
        assert (counts is None) == (tall == "5")
        if counts is not None:
            cubed = float(counts.split()[0]) * 1e-6
            assert cubed == pytest.approx(1.0 / bending_stress(*moment, section), rel=5e-3)
            assert cubed < exact
