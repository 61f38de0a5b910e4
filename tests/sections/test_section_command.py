"""The command `section`: data after its schema, a picture, refusals."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

import viewer
from roofmodel.errors import InputError
from roofmodel.profiles.shapes import shape_outline
from roofmodel.project.span_study import load_study
from tests.checks.projects import GABLE_EN
from tests.sections.test_profile_files import with_profile
from viewer.cli import commands
from viewer.section.read import see_section

SCHEMA = json.loads((Path(viewer.__file__).parent / "section.schema.json").read_text())


def run(*words):
    return CliRunner().invoke(commands, ["section", *map(str, words)])


def channel(folder, wall=0.002):
    outline = shape_outline("channel", {"width": 0.03, "depth": 0.06, "wall": wall})
    rows = [f"{y * 1e3},{z * 1e3}" for y, z in np.array(outline.exterior.coords)[:-1]]
    (folder / "c.csv").write_text("y [mm],z [mm]\n" + "\n".join(rows))
    return folder / "c.csv"


def test_outline(tmp_path):
    """A channel of a CSV table: values as by hand, thin flanges buckle before yield."""
    done = run(channel(tmp_path), "--out", tmp_path / "o", "--yield-strength", "350 MPa")
    assert done.exit_code == 0
    data = json.loads((tmp_path / "o" / "section.json").read_text())
    jsonschema.validate(data, SCHEMA)
    np.testing.assert_allclose(data["section"]["area"], 0.002 * (0.06 + 2 * 0.028), rtol=1e-6)
    assert len(data["walls"]) == 3
    assert data["effective"]["compression"] < 0.9
    assert sorted(w["free_ends"] for w in data["walls"]) == [0, 1, 1]
    assert (tmp_path / "o" / "section.png").stat().st_size > 20_000
    assert "Warping constant" in done.output
    assert "Design strength" in done.output
    np.testing.assert_allclose(data["effective"]["design_stress"], 350e6 / 1.1)  # EN 1999-1-1 gamma_M1
    web, flange = 0.06 * 0.002, 2 * 0.028 * 0.002  # centroid by hand, from the outline's own corner
    middle = (web * 0.001 + flange * (0.002 + 0.014)) / (web + flange)
    np.testing.assert_allclose(data["origin"], [middle, 0.03], atol=1e-5)
    thick = run(channel(tmp_path, 0.005), "--out", tmp_path / "p", "--units", "US", "--json")
    assert json.loads(thick.stdout)["effective"]["compression"] > data["effective"]["compression"]


def test_project(tmp_path):
    """The rail of a project, plain tube or profile."""
    values = {"sk": 1.5, "mu": 0.0, "warm": 0, "test_height": 0, "interaction": "linear", "row": ""}
    values["strength"] = 'along = "6 kN", across = "2 kN", pull = "4 kN", push = "6 kN"'
    size = 'shape = "hat", width = "40 mm", depth = "30 mm", lip = "15 mm", wall = "3 mm"'
    for name, text in (("tube", GABLE_EN), ("hat", with_profile(size))):
        path = tmp_path / f"{name}.toml"
        path.write_text(text.format(**values))
        assert run(path, "--out", tmp_path / name).exit_code == 0
        data = json.loads((tmp_path / name / "section.json").read_text())
        jsonschema.validate(data, SCHEMA)
        assert data["section"]["round"] == (name == "tube")


def test_unknown_walls_and_refusals(tmp_path):
    t = np.linspace(0, np.pi, 40)
    arc = np.concatenate([np.c_[30 * np.cos(t), 30 * np.sin(t)], np.c_[28 * np.cos(t), 28 * np.sin(t)][::-1]])
    (tmp_path / "arc.csv").write_text("y [mm],z [mm]\n" + "\n".join(f"{a},{b}" for a, b in arc))
    done = run(tmp_path / "arc.csv", "--out", tmp_path / "o")
    assert done.exit_code == 1
    data = json.loads((tmp_path / "o" / "section.json").read_text())
    assert data["effective"]["compression"] is None
    for words, says in (
        ((tmp_path / "none.dxf",), "no such file"),
        ((channel(tmp_path), "--yield-strength", "35"), "has no unit"),
    ):
        done = run(*words, "--out", tmp_path / "q")
        assert isinstance(done.exception, InputError)
        assert says in str(done.exception)
        assert not (tmp_path / "q").exists()


def test_bad_strength_names_what_is_right(tmp_path):
    done = run(channel(tmp_path), "--yield-strength", "1 MPa", "--out", tmp_path / "q")
    with pytest.raises(InputError, match="yield"):
        raise done.exception


def test_a_rail_of_a_span_study():
    """The rail that the study's tables are of; several want a name, and an outline has no other."""
    study = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"
    metal = ("aluminum", "160 MPa", "", "B")
    seen = see_section(study, None, None, metal, "SI", "EN", "Cove 60")
    rail = load_study(study).variants[0].rails[1]
    assert seen.profile.section.area == pytest.approx(rail.section.area, rel=1e-6)
    assert seen.metal == rail.material
    for name, words in ((None, "has several rails"), ("Cove 61", "there is no rail")):
        with pytest.raises(InputError, match=words):
            see_section(study, None, None, metal, "SI", "EN", name)


def test_the_modulus_that_counts_is_that_of_check_and_span(tmp_path):
    """An angle bends askew: the moment of the design strength makes just the design stress there."""
    import numpy as np

    from fea.checks.rail_section import bending_stress
    from viewer.section.export import section_data
    from viewer.section.read import see_section

    path = tmp_path / "angle.csv"
    path.write_text("y [mm],z [mm]\n0,0\n60,0\n60,5\n5,5\n5,40\n0,40\n")
    seen = see_section(path, None, None, ("aluminum", "160 MPa", "", "B"), "SI", "EN")
    data, section = section_data(seen), seen.profile.section
    moments = np.diag(data["counted"])
    np.testing.assert_allclose(bending_stress(moments[0], moments[1], section), 1.0)
    assert (np.array(data["counted"]) < np.array(data["alone"])).all()
