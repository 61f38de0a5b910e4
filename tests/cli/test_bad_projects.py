"""Every slip in a project file: exit code 2, one line that names field, value and what would be right."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_project import EN, GOOD, IMPORTED, US, changed, outline, put, refused, row, site, two_rows

from fea.analysis import analyze
from roofmodel.project.load import load_project

L = 'shape = "L"\nfootprint = "{0}"\npitch = "20 deg"\n'
RECTANGLE = 'shape = "{0}"\nfootprint = "0 0, 6 0, 6 4, 0 4 m"\n'
PROTECT = '[[protect]]\nname = "door"\n'
MEASURED = 'standard = "measured"\nlevel = "measured"\nlayers = [{{ depth = "{0}", density = ["{1}"]{2} }}]'


def part(new: str) -> str:
    """The project with another shape, footprint and pitch."""
    old = 'shape = "shed"\nfootprint = "0 0, 6 0, 6 4, 0 4 m"\npitch = "20 deg"\nfall = "180 deg"\n'
    return changed(old, new)


def asd(clamp: str, anchorage: str = 'anchorage_kind = "nominal"\nanchorage_factor = 2.0') -> str:
    """An ASCE project with its strengths as given."""
    text = site(US, "ASD")
    text = changed('anchorage_kind = "characteristic"\nanchorage_factor = 1.33', anchorage, text)
    return changed('strength_kind = "characteristic"\nfactor = 1.33', clamp, text)


BAD: dict[str, tuple[str | bytes, list[str]]] = {
    # --- strengths a thousand times too large, or a rail in the seam ---
    "clamp stronger than any": (
        changed('along = "7 kN"', 'along = "7000 kN"'),
        ["clamp.strength.along", "7000 kN", "200 kN", "unit"],
    ),
    "clamp weaker than any": (
        changed('push = "6 kN"', 'push = "6 N"'),
        ["clamp.strength.push", "6 N", "unit"],
    ),
    "fixed point stronger than any": (
        changed('anchorage = "9 kN"', 'anchorage = "9 MN"'),
        ["panel.anchorage", "9 MN", "200 kN"],
    ),
    "roll stronger than any": (
        changed('push = "6 kN" }', 'push = "6 kN", roll = "300 kN m" }'),
        ["clamp.strength.roll", "300 kN m", "20,000 N*m"],
    ),
    "axis at the grip": (
        changed('height = "35 mm"\ngrip', 'height = "0 mm"\ntest_height = "35 mm"\ngrip'),
        ["clamp.height", "35.0 mm", "test_height", "above the grip"],
    ),
    # --- the file ---
    "empty file": ("", ["is empty", "eavewright new"]),
    "only comments": ("# nothing\n\n", ["is empty"]),
    "syntax": (changed('units = "SI"', "units = SI"), ["TOML", "line 3", "units = SI"]),
    "open quote": (changed('"Test shed"', '"Test shed'), ["TOML", "line 2", "Test shed"]),
    "field twice": (changed('units = "SI"', 'units = "SI"\nunits = "US"'), ["TOML", "line 4", "units"]),
    "table twice": (
        GOOD + "\n[panel]\n",
        ["TOML", "Cannot declare [panel] twice", "the line reads: [panel]"],
    ),
    "not UTF-8": (GOOD.replace("Test", "Tést").encode("latin-1"), ["UTF-8", "TOML"]),
    "UTF-16": (GOOD.encode("utf-16"), ["UTF-8"]),
    "binary": (bytes(range(256)) * 20, ["UTF-8"]),
    "NUL bytes": (b"\0" * 1000, ["TOML", "line 1"]),
    "garbage": ("garbage " * 250_000, ["project.toml", "MB is too large"]),
    "long garbage line": ("x" * 900_000, ["TOML", "after a key"]),
    "deep nesting": ("x = " + "[" * 100_000, ["TOML", "nested too deep"]),
    "JSON": ('{"project": {"name": "x"}}', ["TOML", "line 1"]),
    "digits": (
        changed("factor = 1.33", f"factor = {'9' * 5000}", changed("anchorage_factor = 1.33", "")),
        ["thousands of digits"],
    ),
    # --- tables and fields ---
    "no panel": (GOOD.replace("[panel]", "[panell]"), ["panell", "not a field", "did you mean panel?"]),
    "no rail at all": (GOOD[: GOOD.index("[rail]")] + GOOD[GOOD.index("[clamp]") :], ["rail is missing"]),
    "no row": (GOOD[: GOOD.index("[[row]]")] + GOOD[GOOD.index("[design]") :], ["row is missing"]),
    "row as a table": (changed("[[row]]", "[row]"), ["row", "must be a list", "[[row]]"]),
    "panel as a list": (
        changed("[panel]", "[[panel]]"),
        ["panel", "a list of 1", "must be a table", "[panel]"],
    ),
    "panel as text": (
        'panel = "steel"\n' + GOOD[: GOOD.index("[panel]")] + GOOD[GOOD.index("[rail]") :],
        ["panel", '"steel"', "a table", "[panel]"],
    ),
    "site as text": (
        'site = "EN"\n' + GOOD[: GOOD.index("[site]")] + GOOD[GOOD.index("[[roof.part]]") :],
        ["site", '"EN"', "must be a table", "[site]"],
    ),
    "missing field": (
        changed('seam_height = "50 mm"', ""),
        ["panel.seam_height is missing", "Height of the seam"],
    ),
    "missing name": (changed('name = "R1"', ""), ["row 1.name is missing"]),
    "missing standard": (
        changed('standard = "EN 1991-1-3"', ""),
        ["site.standard is missing", "EN 1991-1-3"],
    ),
    "unknown field": (
        changed("seam_spacing", "seem_spacing"),
        ["panel.seem_spacing", "did you mean seam_spacing?"],
    ),
    "unknown in a row": (row("evry = 2"), ['row "R1".evry', "did you mean every?"]),
    "unknown far off": (row("zzz = 2"), ['row "R1".zzz', "known here", "edge_distance"]),
    "unknown in stiffness": (
        changed('along = "2.5', 'alon = "2.5'),
        ["clamp.stiffness.alon", "did you mean along?"],
    ),
    "unknown standard": (
        changed("EN 1991-1-3", "ASCE 7-10"),
        ["site.standard", '"ASCE 7-10"', "ASCE/SEI 7-22"],
    ),
    "unknown shape": (
        changed('shape = "shed"', 'shape = "butterfly"'),
        ['roof.part "shed".shape', "butterfly", "gable"],
    ),
    "nearly a shape": (
        changed('"round tube"', '"round tub"'),
        ["rail.shape", "round tub", 'did you mean "round tube"?'],
    ),
    "text for a switch": (
        changed("slippery = true", 'slippery = "yes"'),
        ["surface.slippery", '"yes"', "true or false"],
    ),
    "number for text": (changed('name = "Test shed"', "name = 12"), ["project.name", "12", "text in quotes"]),
    "text for a number": (
        changed("\nfactor = 1.33", '\nfactor = "1.33"'),
        ["clamp.factor", '"1.33"', "number"],
    ),
    "fraction for a count": (row("every = 2.5"), ['row "R1".every', "2.5", "whole number"]),
    "count zero": (row("every = 0"), ['row "R1".every', "0", "at least 1"]),
    "count huge": (row("every = 1000"), ['row "R1".every', "1000", "at most 50"]),
    "empty name": (changed('name = "R1"', 'name = ""'), ["row 1.name", "must not be empty"]),
    "row names twice": (two_rows("R1", "1.5 m"), ["row.name", '"R1"', "twice"]),
    # --- quantities ---
    "bare number": (changed('"500 mm"', "500"), ["panel.seam_spacing", "500 has no unit", '"1.5 in"']),
    "number without unit": (
        changed('"500 mm"', '"500"'),
        ["panel.seam_spacing", '"500" has no unit', '"1.5 in"'],
    ),
    "unit only": (changed('"500 mm"', '"mm"'), ["panel.seam_spacing", '"mm"', "number"]),
    "wrong kind of unit": (
        changed('"500 mm"', '"500 kN"'),
        ["panel.seam_spacing", '"500 kN"', "not a unit of length"],
    ),
    "unknown unit": (
        changed('"500 mm"', '"500 furlogs"'),
        ["panel.seam_spacing", '"500 furlogs"', "unit of length"],
    ),
    "capital unit": (
        changed('"500 mm"', '"500 MM"'),
        ["panel.seam_spacing", '"500 MM"', 'did you mean "mm"?'],
    ),
    "mass for force": (
        changed('"7 kN"', '"1500 lb"'),
        ["clamp.strength.along", '"1500 lb"', "mass", '"650 lbf"'],
    ),
    "mass for pressure": (
        changed('"1.8 kN/m^2"', '"180 kg/m^2"'),
        ["site.ground_snow", "180 kg/m^2", "mass"],
    ),
    "decimal comma": (changed('"1.8 kN/m^2"', '"1,8 kN/m^2"'), ["site.ground_snow", '"1,8 kN/m^2"', "point"]),
    "negative length": (
        changed('"500 mm"', '"-500 mm"'),
        ["panel.seam_spacing", '"-500 mm"', "greater than zero"],
    ),
    "zero length": (changed('"500 mm"', '"0 mm"'), ["panel.seam_spacing", '"0 mm"', "greater than zero"]),
    "not a number": (changed('"500 mm"', '"nan mm"'), ["panel.seam_spacing", '"nan mm"', "finite"]),
    "infinite": (changed('"500 mm"', '"inf mm"'), ["panel.seam_spacing", '"inf mm"', "finite"]),
    "overflow": (changed('"500 mm"', '"1e999 mm"'), ["panel.seam_spacing", '"1e999 mm"', "finite"]),
    "gigantic": (
        changed('"500 mm"', '"500 km"'),
        ["panel.seam_spacing", '"500 km"', "50 to 2,000 mm", "unit"],
    ),
    "tiny": (changed('"500 mm"', '"500 nm"'), ["panel.seam_spacing", '"500 nm"', "unit"]),
    "tower of powers": (
        changed('"500 mm"', '"500 m^9^9^9^9"'),
        ["panel.seam_spacing", "m^9^9^9^9", "unit of length"],
    ),
    "endless text": (changed('"500 mm"', f'"{"5" * 300_000} mm"'), ["panel.seam_spacing", "..."]),
    "nan as a TOML number": (
        changed("\nfactor = 1.33", "\nfactor = nan"),
        ["clamp.factor", "nan", "finite|greater"],
    ),
    "inf as a TOML number": (
        changed("\nfactor = 1.33", "\nfactor = inf"),
        ["clamp.factor", "inf", "finite|at most"],
    ),
    "huge whole number": (
        changed("\nfactor = 1.33", f"\nfactor = {'9' * 400}"),
        ["clamp.factor", "999", "too large"],
    ),
    "escape codes": (changed('"500 mm"', r'"500 \u001b[31mm"'), ["panel.seam_spacing", "unit of length"]),
    # --- site ---
    "no snow": (
        changed('"1.8 kN/m^2"', '"0 kN/m^2"'),
        ["site.ground_snow", '"0 kN/m^2"', "greater than zero"],
    ),
    "snow in kPa": (
        changed('"1.8 kN/m^2"', '"500 kPa"'),
        ["site.ground_snow", '"500 kPa"', "0.01 to 50 kPa", "unit"],
    ),
    "ASCE with EN": (changed(EN, US), ["design.format", '"EN"', "ASCE/SEI 7-22", "ASD or LRFD"]),
    "EN with ASD": (
        changed('format = "EN"', 'format = "ASD"'),
        ["design.format", '"ASD"', "EN 1991-1-3", "use EN"],
    ),
    "winter wind in percent": (
        site(US.replace("= 0.5", "= 50"), "ASD"),
        ["site.winter_wind", "50", "at most 0.9"],
    ),
    "winter wind zero": (site(US.replace("= 0.5", "= 0"), "ASD"), ["site.winter_wind", "0", "at least 0.1"]),
    "heated without R": (
        asd('strength_kind = "allowable"', 'anchorage_kind = "allowable"').replace(
            "winter_wind", 'thermal = "heated"\nwinter_wind'
        ),
        ["site.roof_r_value", "missing", "heated"],
    ),
    "friction unexplained": (
        changed("slippery = true", "slippery = true\nfriction = 0.3"),
        ["surface", "friction_reason"],
    ),
    "layer on no plane": (
        site(MEASURED.format("0.5 m", "200 kg/m^3", ', plane = "N9"')),
        ["layers 1.plane", '"N9"', "S1"],
    ),
    "density of lead": (
        site(MEASURED.format("0.5 m", "11 t/m^3", "")),
        ["layers 1.density", '"11 t/m^3"', "unit"],
    ),
    "depth in km": (
        site(MEASURED.format("0.5 km", "200 kg/m^3", "")),
        ["layers 1.depth", '"0.5 km"', "0.001 to 20 m"],
    ),
    "three densities": (
        site(MEASURED.format("0.5 m", '200 kg/m^3", "220 kg/m^3", "240 kg/m^3', "")),
        ["layers 1.density", "at most 2"],
    ),
    # --- strengths ---
    "allowable with EN": (
        changed('strength_kind = "characteristic"', 'strength_kind = "allowable"'),
        ["clamp.strength_kind", '"allowable"', "EN", "characteristic"],
    ),
    "allowable with LRFD": (
        asd('strength_kind = "allowable"').replace('"ASD"', '"LRFD"').replace("factor = 2.0", "factor = 0.5"),
        ["clamp.strength_kind", '"allowable"', "LRFD", "nominal"],
    ),
    "factor missing": (changed("\nfactor = 1.33", ""), ["clamp.factor is missing", "gamma_M", "EN"]),
    "factor upside down": (
        changed("\nfactor = 1.33", "\nfactor = 0.75"),
        ["clamp.factor", "0.75", "below 1"],
    ),
    "phi above one": (
        asd('strength_kind = "nominal"\nfactor = 2.0')
        .replace('"ASD"', '"LRFD"')
        .replace("anchorage_factor = 2.0", "anchorage_factor = 0.5"),
        ["clamp.factor", "2", "phi"],
    ),
    "fractile with ASD": (
        asd('strength_kind = "characteristic"\nfactor = 2.0'),
        ["clamp.strength_kind", '"characteristic"', "EN", "ASD", "Omega"],
    ),
    "partial factor with ASD": (
        asd('strength_kind = "nominal"\nfactor = 1.25'),
        ["clamp.factor", "1.25", "ASD", "1.5", "Omega"],
    ),
    "partial factor of the panel with ASD": (
        asd('strength_kind = "allowable"', 'anchorage_kind = "nominal"\nanchorage_factor = 1.33'),
        ["panel.anchorage_factor", "1.33", "ASD", "Omega"],
    ),
    "factor superfluous": (
        asd('strength_kind = "allowable"\nfactor = 2.0'),
        ["clamp.factor", "allowable", "leave it out"],
    ),
    "no strength": (
        changed('strength = { along = "7 kN", ', "strength = { "),
        ["clamp.strength.along is missing"],
    ),
    "strength zero": (changed('"7 kN"', '"0 kN"'), ["clamp.strength.along", '"0 kN"', "greater than zero"]),
    "stiffness zero": (
        changed('"2.5 kN/mm"', '"0 kN/mm"'),
        ["clamp.stiffness.along", '"0 kN/mm"', "greater than zero"],
    ),
    "rail factor for the other format": (
        changed('yield_strength = "200 MPa"', 'yield_strength = "200 MPa"\nresistance_factor = 0.9'),
        ["rail.resistance_factor", "0.9", "EN", "1.1"],
    ),
    # --- rail ---
    "wall too thick": (changed('"3 mm"', '"25 mm"'), ["rail.wall: 25 mm", "42 mm"]),
    "yield in psi": (
        changed('"200 MPa"', '"200 psi"'),
        ["rail.yield_strength", '"200 psi"', "1,450 to 435,113 psi"],
    ),
    "size of another shape": (
        changed('wall = "3 mm"', 'wall = "3 mm"\nwidth = "40 mm"'),
        ["rail.width", "round tube", "diameter, wall"],
    ),
    "size missing": (changed('wall = "3 mm"', ""), ["rail.wall is missing", "round tube", "diameter, wall"]),
    # --- footprint and pitches ---
    "self-crossing": (outline("0 0, 6 4, 6 0, 0 4 m"), ['roof.part "shed"', "footprint", "cross"]),
    "two points": (outline("0 0, 6 0 m"), ['roof.part "shed".footprint', "0 0, 6 0 m", "2 points", "3"]),
    "no area": (outline("0 0, 3 0, 6 0 m"), ['roof.part "shed"', "footprint"]),
    "lone number": (outline("0 0, 6, 6 4, 0 4 m"), ['roof.part "shed".footprint', "point 2", "x and y"]),
    "no unit": (outline("0 0, 6 0, 6 4, 0 4"), ['roof.part "shed".footprint', "no unit at its end"]),
    "corner twice": (
        outline("0 0, 6 0, 6 4, 0 4, 0 0 m"),
        ['roof.part "shed"', "point 5 repeats", "each corner once"],
    ),
    "in millimeters": (
        outline("0 0, 6 0, 6 4, 0 4 mm"),
        ['roof.part "shed".footprint', "0.006 m across", "unit"],
    ),
    "in kilometers": (
        outline("0 0, 6 0, 6 4, 0 4 km"),
        ['roof.part "shed".footprint', "6000 m across", "5,000 m", "unit"],
    ),
    "points without end": (
        outline(", ".join("0 0" for _ in range(9000)) + " m"),
        ['roof.part "shed".footprint', "..."],
    ),
    "wrong number of pitches": (
        part('shape = "hip"\nfootprint = "0 0, 6 0, 6 4, 0 4 m"\npitches = ["20 deg", "20 deg", "20 deg"]\n'),
        ['roof.part "shed"', "3 pitches", "4"],
    ),
    "two kinds of pitch": (
        changed('pitch = "20 deg"', 'pitch = "20 deg"\npitches = ["20 deg"]'),
        ['roof.part "shed"', "either"],
    ),
    "no pitch": (changed('pitch = "20 deg"\n', ""), ['roof.part "shed"', "pitch"]),
    "a wall": (changed('"20 deg"', '"80 deg"'), ['roof.part "shed".pitch', '"80 deg"', "75 deg", "wall"]),
    "falls inward": (changed('"20 deg"', '"-20 deg"'), ['roof.part "shed".pitch', '"-20 deg"', "0"]),
    "pitch in percent": (changed('"20 deg"', '"36 %"'), ['roof.part "shed".pitch', '"36 %"', '"6:12"']),
    "pitch of nothing": (changed('"20 deg"', '"nan:12"'), ['roof.part "shed".pitch', '"nan:12"', '"6:12"']),
    "pitch over nothing": (changed('"20 deg"', '"6:0"'), ['roof.part "shed".pitch', '"6:0"', '"6:12"']),
    "gable as the only pitch": (
        changed('"20 deg"', '"gable"'),
        ['roof.part "shed".pitch', "gable", "pitches"],
    ),
    "L of four corners": (part(L.format("0 0, 6 0, 6 4, 0 4 m")), ['roof.part "shed"', "L", "6 corners"]),
    "L askew": (part(L.format("0 0, 9 0, 9 4, 5 5, 4 9, 0 9 m")), ['roof.part "shed"', "L", "right angles"]),
    "pitches for a shed": (
        changed('pitch = "20 deg"', 'pitches = ["20 deg", "20 deg", "20 deg", "20 deg"]'),
        ['roof.part "shed".pitches', "one pitch"],
    ),
    "fall of a hip roof": (
        changed('shape = "shed"', 'shape = "hip"'),
        ['roof.part "shed".fall', "sheds only"],
    ),
    "flat with a pitch": (changed('shape = "shed"', 'shape = "flat"'), ['roof.part "shed".pitch', "flat"]),
    "hip of no pitch": (part(RECTANGLE.format("hip") + 'pitch = "0 deg"\n'), ['"shed"', "pitch of 0", "hip"]),
    "gables side by side": (
        part(RECTANGLE.format("gable") + 'pitches = ["gable", "gable", "20 deg", "20 deg"]\n'),
        ['roof.part "shed".pitches', "two opposite edges"],
    ),
    "shed without fall": (changed('fall = "180 deg"', ""), ['roof.part "shed".fall is missing', "compass"]),
    "flat": (
        changed(
            'shape = "shed"',
            'shape = "flat"',
            changed('pitch = "20 deg"\nfall = "180 deg"\n', "").replace('plane = "S1"', 'plane = "F1"'),
        ),
        ['row "R1"', "F1", "flat", "choose a plane with a fall"],
    ),
    "flat by pitch": (
        changed('"20 deg"', '"0.2 deg"').replace('plane = "S1"', 'plane = "F1"'),
        ['row "R1"', "F1", "0.2", "flat"],
    ),
    # --- told before longer work: what is protected without snow, hardware without the roof ---
    "protected far away": (
        changed("[design]", PROTECT + 'area = "900 0, 909 0, 909 9 m"\n\n[design]'),
        ['protect "door".area', "lies 894.00 m from the roof", "roof.png"],
    ),
    "protected below no eave": (
        changed("[design]", PROTECT + 'eave = "N9 eave"\n\n[design]'),
        ['protect "door".eave', "N9 eave", "S1 eave"],
    ),
    "wrong clamp before a missing roof": (
        changed('along = "7 kN"', 'along = "7000 kN"', IMPORTED),
        ["clamp.strength.along", "7000 kN"],
    ),
    "wrong anchorage before a missing roof": (
        changed('anchorage = "9 kN"', 'anchorage = "9 MN"', IMPORTED),
        ["panel.anchorage", "9 MN"],
    ),
}


@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=list(BAD))
def test_bad_project_is_told_in_one_line(
    text: str | bytes,
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    refused(text, words, tmp_path, monkeypatch, capfd)


def shed(footprint: str, times: int = 1) -> str:
    """The project with its shed said in another way, or more than once."""
    part = f'[[roof.part]]\nname = "a"\nshape = "shed"\nfootprint = "{footprint}"\n'
    part += 'pitch = "20 deg"\nfall = "180 deg"\neave_height = "3 m"\n\n'
    return GOOD[: GOOD.index("[[roof.part]]")] + times * part + GOOD[GOOD.index("[surface]") :]


@pytest.mark.parametrize(
    "text",
    [
        shed("0 4, 6 4, 6 0, 0 0 m"),
        shed("6 4, 0 4, 0 0, 6 0 m"),
        shed("0 0, 3 0, 6 0, 6 4, 0 4 m"),
        shed("0 0, 236.2204724 0, 236.2204724 157.4803150, 0 157.4803150 in"),
        shed("0 0, 6 0, 6 4, 0 4 m", times=2),
        "\ufeff" + GOOD.replace("\n", "\r\n"),
        changed('"20 deg"', '"0.349065850398866 rad"'),
        changed('"1.8 kN/m^2"', '"1.8kPa"'),
        changed('"2.5 kN/mm"', '"2.5 MN / m"', changed('"9 kN"', '"9e3 N"')),
    ],
    ids=[
        "clockwise",
        "other corner",
        "corner on a side",
        "inches",
        "part twice",
        "BOM and CRLF",
        "rad",
        "kPa",
        "N",
    ],
)
def test_other_ways_to_say_the_same_are_welcome(text: str, tmp_path: Path) -> None:
    """Clockwise outlines, repeated parts, other units: the same forces as the plain project."""
    expected = analyze(load_project(put(tmp_path, GOOD)))
    found = analyze(load_project(put(tmp_path, text, "other.toml")))
    assert found.project.roof.planes.name == ("S1",)
    np.testing.assert_allclose(found.clamp_force, expected.clamp_force, rtol=1e-6, atol=1e-3)
    np.testing.assert_allclose(found.reserve, expected.reserve, rtol=1e-6)
    assert found.tributary.sum() > 1000.0
