"""The second file of a roof by another standard: nothing of the first format's strengths slips into it."""

import json
import re
import tomllib
from typing import get_args

import pytest
from pydantic import BaseModel
from small_project import GOOD, put, run

from roofmodel.project.schema import ProjectFile

FULL = GOOD.replace('format = "EN"', 'format = "EN"\nrail_height_ratio = 0.01 # ours').replace(
    '"200 MPa"', '"200 MPa"\ndeflection_ratio = 50'
)


def write(folder, monkeypatch, standard, text=FULL):
    base = put(folder, text, "en.toml")
    out = folder / "second.toml"
    code = run(["new", "--builds-on", str(base), "--standard", standard, "--out", str(out)], monkeypatch)
    return code, out


def check(path, monkeypatch):
    return run(["check", str(path), "--out", str(path.parent / "out"), "--no-picture"], monkeypatch)


def test_another_format_is_checked_only_once_its_numbers_are_given(tmp_path, monkeypatch, capsys):
    """Refused without site and clamp, NOT VERIFIED without anchorage; then as a file written whole."""
    code, out = write(tmp_path, monkeypatch, "ASCE/SEI 7-22")
    assert code == 0
    assert check(out, monkeypatch) == 2
    assert "ground_snow is missing" in capsys.readouterr().err
    text = out.read_text().replace('# ground_snow = "2.2 kPa" ', 'ground_snow = "1.2 kPa" ')
    text = text.replace("# winter_wind = 0.5 ", "winter_wind = 0.5 ")
    out.write_text(text)
    assert check(out, monkeypatch) == 2
    assert "risk_category is missing" in capsys.readouterr().err
    out.write_text(text.replace("# risk_category", "risk_category"))
    assert check(out, monkeypatch) == 2
    assert "clamp.strength" in capsys.readouterr().err
    out.write_text(out.read_text().replace("# strength = ", "strength = "))
    assert check(out, monkeypatch) == 2
    assert "clamp.factor" in capsys.readouterr().err
    text = out.read_text().replace("# factor = 2.0 ", "factor = 2.0 ")
    out.write_text(text)
    assert check(out, monkeypatch) == 1
    data = json.loads((tmp_path / "out" / "results.json").read_text())
    assert data["verdict"] == "not verified"
    text = text.replace("# anchorage = ", "anchorage = ")
    out.write_text(text)
    assert check(out, monkeypatch) == 2
    assert "panel.anchorage_factor" in capsys.readouterr().err
    out.write_text(text.replace("# anchorage_factor = 2.0 ", "anchorage_factor = 2.0 "))
    assert check(out, monkeypatch) == 0
    found = json.loads((tmp_path / "out" / "results.json").read_text())
    whole = FULL.replace(
        'standard = "EN 1991-1-3"\nground_snow = "1.8 kN/m^2"',
        'standard = "ASCE/SEI 7-22"\nground_snow = "1.2 kPa"\nrisk_category = "II"\nterrain = "C"\n'
        'exposure = "partially exposed"\nthermal = "unheated"\nwinter_wind = 0.5',
    )
    whole = whole.replace('"characteristic"', '"nominal"').replace("factor = 1.33", "factor = 2.0")
    path = put(tmp_path, whole.replace('format = "EN"', 'format = "ASD"'), "whole.toml")
    assert check(path, monkeypatch) == 0
    same = json.loads((tmp_path / "out" / "results.json").read_text())
    assert found["governing"] == same["governing"]
    assert found["limits"] == same["limits"]


def test_one_format_needs_a_site_only(tmp_path, monkeypatch):
    text = FULL.replace('standard = "EN 1991-1-3"\nground_snow = "1.8 kN/m^2"', US_SITE)
    text = text.replace('"characteristic"', '"nominal"').replace("factor = 1.33", "factor = 2.0")
    code, out = write(tmp_path, monkeypatch, "ASCE/SEI 7-16", text.replace('"EN"', '"ASD"'))
    assert code == 0
    assert "[clamp]" not in out.read_text()
    out.write_text(out.read_text().replace("# ground_snow", "ground_snow"))
    assert check(out, monkeypatch) in (0, 1)


US_SITE = 'standard = "ASCE/SEI 7-22"\nground_snow = "2 kPa"\nrisk_category = "II"\nwinter_wind = 0.5'
CRUSHED = FULL.replace("deflection_ratio = 50", 'deflection_ratio = 50\nbearing_strength = "9 kN"')
FACTORED = FULL.replace("deflection_ratio = 50", "deflection_ratio = 50\nresistance_factor = 1.1")
TESTED = """
[clamp.tested]
seam_height = "50 mm"
metal = "steel"
thickness = "0.63 mm"
directions = ["along"]
tests = 6
"""


@pytest.mark.parametrize(
    ("standard", "text", "words"),
    [
        ("EN 1991-1-3", FULL, "by that standard already"),
        ("ASCE/SEI 7-22", FULL + TESTED, "[clamp.tested] goes with format EN"),
        ("ASCE/SEI 7-22", CRUSHED, "rail.bearing_strength goes with format EN"),
        (
            "ASCE/SEI 7-22",
            FACTORED,
            "rail.resistance",
        ),
    ],
)
def test_what_cannot_be_written_is_refused_in_a_line(tmp_path, monkeypatch, capsys, standard, text, words):
    code, out = write(tmp_path, monkeypatch, standard, text)
    assert code == 2
    assert not out.exists()
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


def test_the_command_wants_a_shape_or_a_project(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for more in ([], ["gable", "--builds-on", "en.toml"], ["--builds-on", "en.toml"]):
        assert run(["new", *more], monkeypatch) == 2
        assert capsys.readouterr().err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


# Fields of other tables that say what something bears by a format, and which a second file does not refuse.
MARKED = {
    "panel": ("anchorage", "anchorage_factor"),
    "clamp": ("strength", "factor", "test_basis"),
    "seam": ("opening_strength", "clip_strength", "factor", "yield_factor"),
    "solar": ("clamp_strength",),
}
REFUSED = {  # of each table, in words of the message
    "rail": ("moment_slope", "moment_normal", "moment_factor", "bearing_strength", "resistance_factor"),
    "framing": ("moment_strength", "moment_strength_factor"),
}
FREE = {  # are the same by every format: metal and snow, means, loads, and what stands beside a strength
    *("seam.yield_strength", "rail.yield_strength", "rail.ultimate_strength", "rail.weld_strength"),
    *("obstruction.strength", "design.snow_factor", "design.snow_factor_reason", "design.thermal_factor"),
    *("blanket.tensile_strength", "blanket.shear_strength", "blanket.compressive_strength"),
    *("uncertainty.strength", "uncertainty.loose_strength", "clamp.long_term_test", "clamp.test_height"),
    *("panel.anchorage_kind", "clamp.strength_kind", "seam.strength_kind", "rail.moment_kind"),
    *("framing.moment_strength_kind",),
}
ARRAY = """
[[solar]]
name = "array"
plane = "S1"
across = "4 m"
up = "2 m"
width = "2 m"
depth = "1 m"
gap = "120 mm"
weight = "0.15 kPa"
clamp_strength = "2 kN"
[seam]
lock = "double lock"
yield_strength = "280 MPa"
yield_factor = 1.1
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
clip_strength = "2 kN"
opening_strength = "15 N/mm"
strength_kind = "characteristic"
factor = 1.33
bearing = "deck"
"""


def test_every_strength_of_a_format_is_marked_or_refused(tmp_path, monkeypatch):
    """A new field that bears something must be named here, so that nobody forgets the second file."""
    asked = {
        f"{where}.{name}"
        for where, table in ProjectFile.model_fields.items()
        for model in models_in(table.annotation)
        for name in model.model_fields
        if re.search("strength|anchorage|factor|moment_|test", name) and where not in ("site", "roof")
    }
    known = {
        f"{where}.{name}" for some in (MARKED, REFUSED) for where, names in some.items() for name in names
    }
    # [clamp.tested] is refused as a whole
    assert asked - known - FREE == {"clamp.tested"}
    text = FULL.replace("[clamp]\n", '[clamp]\ntest_basis = "ours"\n').replace(
        "[panel]\n", '[panel]\nclip_spacing = "0.6 m"\n'
    )
    code, out = write(tmp_path, monkeypatch, "NBCC 2020", text + ARRAY)
    assert code == 0
    data = tomllib.loads(out.read_text())
    for where, names in MARKED.items():
        table = data[where][0] if where == "solar" else data[where]
        for name in names:
            assert name not in table
            assert re.search(rf"(?m)^# {name} = .", out.read_text())
    assert data["solar"][0]["weight"] == "0.15 kPa"
    assert set(data["site"]) == {"standard"}
    assert " # FILL IN" in out.read_text()
    assert not re.search(r"\S# FILL IN", out.read_text())


def models_in(annotation):
    """Models of tables that an annotation holds."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for one in get_args(annotation) for model in models_in(one)]


def test_strengths_in_a_table_of_their_own_are_one_line(tmp_path, monkeypatch):
    line = next(line for line in FULL.splitlines() if line.startswith("strength = "))
    inner = line.removeprefix("strength = {").removesuffix("}").strip().replace(", ", "\n")
    text = FULL.replace(f"{line}\n", "")
    code, out = write(tmp_path, monkeypatch, "ASCE/SEI 7-22", f"{text}\n[clamp.strength]\n{inner}\n")
    assert code == 0
    plain = tomllib.loads(out.read_text().replace("# strength = ", "strength = "))
    assert plain["clamp"]["strength"] == tomllib.loads(FULL)["clamp"]["strength"]


def test_editions_of_one_standard_share_category_and_exposure(tmp_path, monkeypatch):
    """A post-disaster building stays one; what only one edition knows is to be filled in."""
    site = (
        US_SITE.replace('"II"', '"IV"')
        + '\nexposure = "sheltered"\nterrain = "B"\nthermal = "cold ventilated"'
    )
    text = FULL.replace('standard = "EN 1991-1-3"\nground_snow = "1.8 kN/m^2"', site)
    text = text.replace('"characteristic"', '"nominal"').replace("factor = 1.33", "factor = 2.0")
    text = text.replace('format = "EN"', 'format = "ASD"')
    code, out = write(tmp_path, monkeypatch, "ASCE/SEI 7-16", text)
    assert code == 0
    found = tomllib.loads(out.read_text())
    assert found["site"] == {
        "standard": "ASCE/SEI 7-16", "risk_category": "IV", "terrain": "B", "exposure": "sheltered",
        "thermal": "cold ventilated",
    }  # fmt: skip
    assert "design" not in found
    out.unlink()
    own = text.replace('"cold ventilated"', '"cold ventilated"\nthermal_factor = 1.1')
    own = own.replace('format = "ASD"', 'format = "ASD"\nsnow_factor = 0.7\nsnow_factor_reason = "ours"')
    assert write(tmp_path, monkeypatch, "ASCE/SEI 7-16", own)[0] == 0
    found = tomllib.loads(out.read_text())
    assert "thermal_factor" not in found["site"]
    assert "snow_factor" not in found["design"]
    assert "# snow_factor = 0.7" in out.read_text()


def test_a_base_that_is_not_whole_is_refused(tmp_path, monkeypatch, capsys):
    put(tmp_path, FULL, "first.toml")
    code, out = write(
        tmp_path, monkeypatch, "NBCC 2020", 'builds_on = "first.toml"\n[project]\nname = "Another"\n'
    )
    assert code == 2
    assert not out.exists()
    said = capsys.readouterr().err
    assert "builds on first.toml itself" in said
    assert said.count("\n") == 1
