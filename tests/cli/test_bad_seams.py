"""Slips in the table [seam], told in one line and in the units of the project."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_project import changed, refused

from roofmodel.units import parse

SEAM = """\
[seam]
lock = "double lock"
yield_strength = "320 MPa"
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
bearing = "deck"

[rail]"""
SI = changed(
    "[rail]", SEAM, changed('seam_height = "50 mm"', 'seam_height = "50 mm"\nclip_spacing = "400 mm"')
)
US = changed('units = "SI"', 'units = "US"', SI)
DECK = 'bearing = "deck"'


def seam(more: str, text: str = SI) -> str:
    return changed(DECK, f"{DECK}\n{more}", text)


def clamp(more: str, text: str = SI) -> str:
    return changed('grip_length = "60 mm"', f'grip_length = "60 mm"\n{more}', text)


def clips(spacing: str, text: str = SI) -> str:
    return changed('clip_spacing = "400 mm"', f'clip_spacing = "{spacing}"', text)


BAD: dict[str, tuple[str, list[str]]] = {
    # --- sizes that do not fit each other ---
    "grip above the seam": (
        clamp('grip_height = "90 mm"'),
        ["clamp.grip_height: 90.0 mm", "panel.seam_height, 50.0 mm", "give less"],
    ),
    "grip above the seam in inches": (
        clamp('grip_height = "9 in"', US),
        ["clamp.grip_height: 9.00 in", "panel.seam_height, 1.97 in"],
    ),
    "grip at the very top": (
        clamp('grip_height = "50 mm"'),
        ["clamp.grip_height: 50.0 mm", "nothing of the seam"],
    ),
    "grip below the pan": (clamp('grip_height = "-5 mm"'), ["clamp.grip_height", '"-5 mm"', "negative"]),
    "fold as high as the seam": (
        seam('fold_height = "2 in"', US),
        ["seam.fold_height: 2.00 in", "less than panel.seam_height, 1.97 in"],
    ),
    "clip longer than the spacing": (
        seam('clip_length = "20 in"', US),
        ["seam.clip_length: 20.00 in", "less than panel.clip_spacing, 15.75 in"],
    ),
    "clip of five feet": (seam('clip_length = "5 ft"', US), ["seam.clip_length", '"5 ft"', "39.37 in"]),
    "clip over the eave": (
        seam('clip_first = "0 mm"'),
        ["seam.clip_first: 0.0 mm", "half of seam.clip_length, 25.0 mm"],
    ),
    "ribs wider than the pan": (
        seam('pan_ribs = 4\npan_rib_height = "0.1 in"\npan_rib_width = "5 in"', US),
        ["seam.pan_rib_width", "4 ribs 5.00 in wide", "panel.seam_spacing, 19.69 in"],
    ),
    "seam of two feet": (
        changed('seam_height = "50 mm"', 'seam_height = "2 ft"', US),
        ["panel.seam_height", '"2 ft"', "0.0164 to 0.6562 ft"],
    ),
    "purlins like a comb": (
        changed(DECK, 'bearing = "purlins"\npurlin_spacing = "1 mm"', SI),
        ["seam.purlin_spacing", '"1 mm"', "20 to 100,000 mm"],
    ),
    # --- off the seam; the plane is 4 m in plan, 4.26 m up the slope ---
    "first clip beyond the seam": (
        seam('clip_first = "10 m"'),
        ["seam.clip_first: 10.00 m", "no clip", "4.26 m", "give less"],
    ),
    "first clip on the ridge": (
        seam('clip_first = "4.25 m"'),
        ["seam.clip_first: 4.25 m", "no clip", "4.26 m"],
    ),
    "clips farther apart than the seam": (
        clips("40 ft", US),
        ["panel.clip_spacing: 40.00 ft", "20.00 ft up the seam", "13.97 ft", "seam.clip_first"],
    ),
    "screw beyond the seam": (
        seam('through_fixings = ["1 m", "12 m"]', US),
        ["seam.through_fixings: 39.37 ft", "13.97 ft"],
    ),
    "screw twice": (
        seam('through_fixings = ["1 m", "2 m", "100 cm"]'),
        ["seam.through_fixings: 1.00 m", "twice"],
    ),
    "purlins farther apart than the seam": (
        changed(DECK, 'bearing = "purlins"\npurlin_spacing = "20 ft"', US),
        ["seam.purlin_spacing: 20.00 ft", "13.97 ft", "give less"],
    ),
    "purlins without spacing": (
        changed(DECK, 'bearing = "purlins"', SI),
        ["seam: purlin_spacing is missing", "from purlin to purlin"],
    ),
    "purlins under a deck": (
        seam('purlin_spacing = "1 m"'),
        ["seam: purlin_spacing", "leave it out", '"deck"'],
    ),
    # --- warmth ---
    "a temperature for a difference": (
        seam('temperature_change = "40 degC"'),
        ["seam.temperature_change", '"40 degC"', "difference", '"40 K"'],
    ),
    "degrees Fahrenheit": (
        changed('wall = "3 mm"', 'wall = "3 mm"\ntemperature_change = "-54 °F"'),
        ["rail.temperature_change", '"-54 °F"', "difference", '"72 delta_degF"'],
    ),
    # --- too much for the panel field ---
    "more clamps than the panels can take": (
        changed(
            "0 0, 6 0, 6 4, 0 4 m",
            "0 0, 500 0, 500 4, 0 4 m",
            changed("[design]", "[analysis]\npanel_flexibility = true\n\n[design]", SI),
        ),
        ["analysis.panel_flexibility", "plane S1 carries 1000 clamps", "set it to false"],
    ),
}


@pytest.mark.parametrize("name", ["check", "seam"])
@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=list(BAD))
def test_bad_seam_is_told_in_one_line(
    text: str,
    words: list[str],
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    refused(text, words, tmp_path, monkeypatch, capfd, name)


@pytest.mark.parametrize(
    ("text", "kelvin"), [("-40 K", -40.0), ("72 delta_degF", 40.0), ("5 delta_degC", 5.0)]
)
def test_a_difference_of_temperature_is_taken_as_one(text: str, kelvin: float) -> None:
    assert parse(text, "temperature_change") == pytest.approx(kelvin, rel=1e-12)
