"""Slips in rows, seams and choices for planes, told in one line."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_project import changed, outline, refused, row, site, two_rows

BAD: dict[str, tuple[str, list[str]]] = {
    "unknown plane": (changed('plane = "S1"', 'plane = "N1"'), ['row "R1".plane', '"N1"', "S1"]),
    "unknown eave": (changed('plane = "S1"', 'eave = "N1 eave"'), ['row "R1".eave', '"N1 eave"', "S1 eave"]),
    "plane and eave": (row('eave = "S1 eave"'), ['row "R1"', "either plane or eave"]),
    "neither plane nor eave": (changed('plane = "S1"', ""), ['row "R1"', "either plane or eave"]),
    "too high": (changed('"0.6 m"', '"60 m"'), ['row "R1".up', "60.00 m", "S1", "4.26 m"]),
    "too high in feet": (
        changed('units = "SI"', 'units = "US"', changed('"0.6 m"', '"60 ft"')),
        ['row "R1".up', "60.00 ft", "13.97 ft"],
    ),
    "start right of end": (
        row('start = "4 m"\nend = "2 m"'),
        ['row "R1".start', "4.00 m", "2.00 m", "left of"],
    ),
    "beyond the end": (row('end = "60 m"'), ['row "R1".end', "60.00 m", "S1", "6.00 m"]),
    "start beyond the plane": (row('start = "60 m"'), ['row "R1".start', "60.00 m", "6.00 m"]),
    "before the start": (row('start = "-3 m"'), ['row "R1".start', "-3.00 m", "0.00 m"]),
    "squeezed out": (
        row('edge_distance = "4 m"'),
        ['row "R1".edge_distance', "4.00 m", "leaves no rail", "6.00 m"],
    ),
    "shorter than half a bay": (row('start = "1 m"\nend = "1.1 m"'), ['row "R1"', "0.10 m", "0.50 m"]),
    "no seam under it": (row('start = "0.8 m"\nend = "1.2 m"'), ['row "R1"', "no clamp", "0.50 m"]),
    "first beyond the seams": (row("first = 40"), ['row "R1"', "no clamp", "first = 40"]),
    "rows on top": (two_rows("R2", "0.6 m"), ['row "R2"', 'row "R1"', "S1", "up"]),
    "rows that cross": (two_rows("R2", "605 mm"), ['row "R2"', 'row "R1"', "S1", "up"]),
    "splice beyond": (row('splice = [{ at = "60 m" }]'), ['row "R1".splice', "60.00 m", "6.00 m"]),
    "splice at zero": (
        row('splice = [{ at = "0 m" }]'),
        ['row "R1".splice 1.at', '"0 m"', "greater than zero"],
    ),
    "splices in one place": (row('splice = [{ at = "2 m" }, { at = "2 m" }]'), ['row "R1".splice', "2.00 m"]),
    "splice every millimeter": (row('splice_every = "1 mm"'), ['row "R1".splice_every', "50.0 mm"]),
    "one clamp only": (row('start = "0.1 m"\nend = "0.6 m"'), ['row "R1"', "clamp"]),
    "piece without clamp": (
        row('splice = [{ at = "1 m" }, { at = "1.1 m" }, { at = "1.2 m" }]'),
        ['row "R1"', "1", "splice|clamp"],
    ),
    "clamps without end": (
        changed('"500 mm"', '"51 mm"', outline("0 0, 4900 0, 4900 4, 0 4 m")),
        ["96,078 clamps", "20,000", "panel.seam_spacing", "51.0 mm"],
    ),
    "choice for no plane": (
        changed("[design]", '[[plane]]\nname = "W7"\n\n[design]'),
        ['plane "W7".name', '"W7"', "S1"],
    ),
    "choice twice": (
        changed("[design]", '[[plane]]\nname = "S1"\n\n' * 2 + "[design]"),
        ['plane "S1".name', "twice"],
    ),
    "measured without level": (
        site('standard = "measured"\nlayers = [{ depth = "0.5 m", density = ["300 kg/m^3"] }]'),
        ["site.level", "missing"],
    ),
    "snow factor without reason": (
        changed('format = "EN"', 'format = "EN"\nsnow_factor = 0.5'),
        ["snow_factor_reason"],
    ),
    "circular without tests": (
        changed(
            'strength_kind = "characteristic"', 'interaction = "circular"\nstrength_kind = "characteristic"'
        ),
        ["circular", "test_basis", "linear"],
    ),
    "rail of no length": (
        row('start = "0.1 m"\nend = "0.6 m"\ncantilever = "0 m"'),
        ['row "R1".cantilever', "only clamp"],
    ),
    "two-line name": (changed('"Test shed"', '"Test\\nshed"'), ["project.name", "one line"]),
    "row name with a tab": (changed('name = "R1"', 'name = "R\\t1"'), ["name", "one line"]),
    "endless name": (changed('"Test shed"', f'"{"x" * 500}"'), ["project.name", "120"]),
    "absurd light density": (
        changed('ground_snow = "1.8 kN/m^2"', 'ground_snow = "1.8 kN/m^2"\nlight_density = "5 kg/m^3"'),
        ["light_density", "5 kg/m^3"],
    ),
    "seams along the rail": (
        changed("[design]", '[[plane]]\nname = "S1"\nseam_angle = "90 deg"\n\n[design]'),
        ["seam_angle", '"90 deg"', "80 deg"],
    ),
}


@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=list(BAD))
def test_bad_row_is_told_in_one_line(
    text: str,
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    refused(text, words, tmp_path, monkeypatch, capfd)
