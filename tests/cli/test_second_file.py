"""The second file of a roof by another standard: nothing of the first format's strengths slips into it."""

import json

import pytest
from small_project import GOOD, put, run

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
    out.write_text(text.replace("# winter_wind = 0.5 ", "winter_wind = 0.5 "))
    assert check(out, monkeypatch) == 2
    assert "clamp.strength" in capsys.readouterr().err
    text = out.read_text().replace("# strength = ", "strength = ")
    out.write_text(text)
    assert check(out, monkeypatch) == 1
    data = json.loads((tmp_path / "out" / "results.json").read_text())
    assert data["verdict"] == "not verified"
    out.write_text(text.replace("# anchorage = ", "anchorage = "))
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
