"""A push never carries what the check refuses: slender rails let go, whole ones bend on."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from fea import analyze
from fea.push.bending import rail_bending
from fea.push.project import push_project
from fea.push.watch import OFF, Failures
from roofmodel import load_project
from roofmodel.hardware import DesignFormat
from tests.cli.small_project import put
from viewer.cli import commands

MODELS = Path(__file__).parents[2] / "models"
BAY = """
[project]
name = "Bay of two spans"
[site]
standard = "measured"
level = "measured"
[[site.layers]]
depth = "0.2 m"
density = ["300 kg/m^3"]
[[roof.part]]
shape = "shed"
footprint = "0 0, 2.0 0, 2.0 6, 0 6 m"
pitch = "30 deg"
fall = "180 deg"
eave_height = "3 m"
[[plane]]
name = "S1"
first_seam = "0.0 m"
[surface]
slippery = true
[panel]
metal = "aluminum"
seam_spacing = "1.0 m"
seam_height = "65 mm"
thickness = "0.9 mm"
anchorage = "200 kN"
anchorage_kind = "characteristic"
anchorage_factor = 1.0
[rail]
RAIL
material = "aluminum"
yield_strength = "100 MPa"
deflection_ratio = RATIO
[clamp]
height = "60 mm"
grip_length = "80 mm"
test_height = "200 mm"
stiffness = { along = "2000 kN/mm", across = "9 kN/mm", pull = "2000 kN/mm", rocking = "90000 kN*m/rad" }
strength = { along = "50 kN", across = "50 kN", pull = "50 kN", push = "50 kN" }
strength_kind = "characteristic"
factor = 1.0
test_basis = "invented"
[[row]]
name = "R1"
plane = "S1"
up = "0.5 m"
[design]
format = "EN"
rail_height_ratio = 0.1
"""
SLENDER = 'shape = "rectangular tube"\nwidth = "60 mm"\ndepth = "60 mm"\nwall = "0.8 mm"'
STOUT = 'shape = "round tube"\ndiameter = "48 mm"\nwall = "4 mm"'
BAR = 'shape = "flat bar"\nwidth = "8 mm"\ndepth = "50 mm"'


def bay(folder, rail, ratio=50):
    return put(folder, BAY.replace("RAIL", rail).replace("RATIO", str(ratio)))


def test_a_slender_rail_lets_go_where_the_check_has_its_reserve(tmp_path):
    path = bay(tmp_path, SLENDER)
    analysis = analyze(load_project(path))
    found = push_project(analysis, Failures())
    assert analysis.reserve[found.case] < 1.0
    assert found.push.most == found.push.first == pytest.approx(analysis.reserve[found.case], rel=2e-3)
    assert [event.kind for event in found.push.events] == ["breaks"]
    assert found.push.collapsed
    assert not found.passes
    assert found.push.rail_use == pytest.approx(1.0, abs=1e-3)
    done = CliRunner().invoke(commands, ["push", str(path), "--out", str(tmp_path / "o")])
    assert done.exit_code == 1
    assert "THE CHECK GOVERNS: the check fails in this case (rail local buckling" in " ".join(
        done.output.split()
    )
    data = json.loads((tmp_path / "o" / "push.json").read_text())
    assert data["check"]["governs"]
    assert data["rail_bends"]["lets_go_because"]


def test_a_stout_tube_bends_on_past_its_yield_moment(tmp_path):
    found = push_project(analyze(load_project(bay(tmp_path, STOUT))), Failures())
    assert not found.bending.brittle
    assert found.bending.share == (1.0, 1.0)
    assert "hinge" in [event.kind for event in found.push.events]
    assert found.push.most > 1.1 * found.push.first


@pytest.mark.parametrize("rail", [SLENDER, BAR, STOUT], ids=["slender", "bar", "stout"])
def test_the_moment_is_what_the_check_leaves(tmp_path, rail):
    """Bending by the moment alone uses just all of the most used limit; half of it, half."""
    project = load_project(bay(tmp_path, rail))
    form = DesignFormat("EN")
    bending = rail_bending(project.rail, project.layout, form)
    from fea.checks.member_strength import member_strength, station_use

    member = member_strength(project.rail, form, np.array([1.0]))
    for axis in (0, 1):
        force = np.zeros((1, 6))
        force[0, 4 + axis] = bending.moment[axis]
        use = [station_use(member, kind, force, np.array([0]), always=True) for kind in member.kinds]
        used = float(np.max(use))
        assert used == pytest.approx(1.0, rel=1e-6)


def test_any_limit_of_the_check_that_is_exceeded_fails_the_push(tmp_path):
    path = bay(tmp_path, STOUT, 2000)
    found = push_project(analyze(load_project(path)), Failures())
    assert found.push.first > 1.0
    assert any(text.startswith("rail deflection") for text in found.exceeded)
    assert not found.passes
    assert push_project(analyze(load_project(bay(tmp_path, STOUT))), Failures()).passes


@pytest.mark.slow
def test_a_clamp_that_breaks_first_is_named_before_the_slender_rail_that_follows():
    """The rail uses a small share of its moment where the first clamp breaks; only then it lets go."""
    analysis = analyze(load_project(MODELS / "tannery-hall" / "project.toml"))
    push = push_project(analysis, Failures()).push
    names, worst = push.bay.layout.clamp_name, analysis.attachment
    assert push.broken
    assert [event.kind for event in push.events][-1] == "breaks"
    assert push.events[0].kind == "off"
    assert analysis.limits[worst.limit].target_name[worst.target] in push.events[0].words
    assert push.rail_use < 0.5
    assert push.first == pytest.approx(analysis.reserve[worst.case], rel=1e-6)
    off = {name for name, state in zip(names, push.clamp_state, strict=True) if state == OFF}
    assert off >= {event.words.split()[1] for event in push.events if event.kind == "off"}
    # Lengths are for the tables, which have units: words must serve every unit system.
    assert not any(re.search(r"\d m\b", event.words) for event in push.events)
