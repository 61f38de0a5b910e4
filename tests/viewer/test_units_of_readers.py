"""Lengths off a tape go in; descriptions come out in the user's units."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fea.cautions import little_snow
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.units import SI, US, parse, split
from viewer.package import typeset, zones
from viewer.report.inputs import meaning

INCH = 0.0254
MODELS = Path(__file__).parents[2] / "models"


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("2 ft 6 in", 30.0),
        ("2' 6\"", 30.0),
        ("2'-6 1/2\"", 30.5),
        ("2' - 6-1/2\"", 30.5),
        ("-2′ 6″", -30.0),
        ("2 feet 6.25 inches", 30.25),
        ("7'", 84.0),
        ('6 3/64"', 6.046875),
        ("1/2 in", 0.5),
        ("0 ft 6 in", 6.0),
    ],
)
def test_feet_and_inches_are_read(text: str, inches: float) -> None:
    for kind in ("length", "size"):
        assert parse(text, kind) == pytest.approx(inches * INCH, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        *("2 ft 6", "2'-6", "2' 14\"", "2.5' 6\"", "6\" 2'", "2 ft 6 cm", "2 ft -6 in", "2 ft 6 in 3", "'"),
        *("1/3 in", "3/2 in", "1/0 in", "1.5 1/2 in", "1/2 ft", "1/2 m", "1 -1/2 in"),
    ],
)
def test_what_can_be_misread_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(ValueError, match=r'write it like "2 ft 6 1/2 in" or "2.5 ft"$') as told:
        parse(text, "length")
    assert "\n" not in str(told.value)


def test_feet_and_inches_are_no_other_quantity_and_keep_a_unit_for_steps() -> None:
    with pytest.raises(ValueError, match="not a unit of angle"):
        parse("2' 6\"", "angle")
    assert split("2 ft 6 in", "length") == (2.5, "ft")
    assert split('6 1/2"', "size") == (6.5, "in")
    assert split("24 in", "length") == (24.0, "in")


@pytest.mark.parametrize(
    ("told", "us"),
    [
        ('clip grips; "50 mm".', 'clip grips; "1.97 in".'),
        ('along the seam; "10 kN/mm" (judgment).', 'along the seam; "57.1 kip/in" (judgment).'),
        ("lowest row; 0.5 m (judgment).", "lowest row; 1.64 ft (judgment)."),
        ('such as "-30 K" or "-54 delta_degF"; it', 'such as "-54 °F"; it'),
        ("tests; 5, 20 and 20 N/mm^2 for", "tests; 725, 2,901 and 2,901 lbf/in² for"),
        ("Square meters: 3 mm2, 1 m/s, zone 3 meets", "Square meters: 3 mm2, 1 m/s, zone 3 meets"),
    ],
)
def test_descriptions_speak_the_users_units(told: str, us: str) -> None:
    assert meaning(told, US) == us
    assert meaning(told, SI) == told
    assert meaning("as `span` takes it", SI) == "as “span” takes it"


def test_so_little_ground_snow_that_the_unit_may_be_wrong_is_a_caution() -> None:
    """1.1 psf where 1.1 kN/m^2 was meant; a measured layer has no ground snow."""
    table = load_project(MODELS / "granary-door" / "project.toml").table
    for pressure, told in ((52.7, 1), (199.0, 1), (200.0, 0), (1100.0, 0)):
        said = little_snow(table.site.model_copy(update={"ground_snow": pressure}), SI)
        assert len(said) == told
        assert all(f"{pressure / 1000.0:.2f} kN/m²" in line and "unit" in line for line in said)
    measured = load_project(MODELS / "harbor-barn" / "project.toml").table
    assert not little_snow(measured.site, SI)


def test_the_wall_of_a_tube_is_refused_in_inches(tmp_path: Path) -> None:
    text = (MODELS / "cedar-hollow" / "project.toml").read_text(encoding="utf-8")
    path = tmp_path / "project.toml"
    path.write_text(re.sub(r'diameter = "1.66 in"', 'diameter = "0.2 in"', text), encoding="utf-8")
    with pytest.raises(InputError, match=r"rail\.wall: 0\.14 in must be less than half .* of 0\.2 in"):
        load_project(path)


def test_slices_of_a_drift_are_named_in_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    zone = {"number": 17, "name": "drift", "clause": "5.3.6", "cases": "1", "slices": "17–22", "lines": []}
    other = {**zone, "number": 23, "slices": "", "clause": "5.3.4"}
    monkeypatch.setattr(zones, "zone_chapters", lambda study: [zone, other])
    told = zones.zone_parts(None, SI)
    assert "zones 17–22, worked out where they are heaviest" in "".join(told)
    assert "".join(told).count("heaviest") == 1


def test_units_stay_whole_and_commands_lose_their_marks() -> None:
    assert typeset.text("Force kN/m, 1.2 kN/m² on A/B") == (
        '#"Force "#box[#"kN/m"]#", 1.2 "#box[#"kN/m²"]#" on A/B"'
    )
    assert typeset.paragraph("see `eavewright seam`; name `odd`", note=True).count("`") == 2
    assert "“eavewright seam”" in typeset.paragraph("see `eavewright seam`")
