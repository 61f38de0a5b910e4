"""Trial projects for the report, and a reader of its HTML."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

from fea.analysis import Analysis, analyze
from roofmodel.project.load import load_project

SHED = """
[project]
name = "Linden Yard cart shed"
units = "{units}"
revision = "B"
engineer = "M. Okafor"

[site]
standard = "EN 1991-1-3"
ground_snow = "1.6 kN/m^2"

[[roof.part]]
name = "shed"
shape = "shed"
footprint = "0 0, {length} 0, {length} 6, 0 6 m"
pitch = "20 deg"
fall = "180 deg"
eave_height = "3 m"

[surface]
slippery = true

[panel]
metal = "steel"
seam_spacing = "500 mm"
seam_height = "50 mm"
thickness = "0.6 mm"
anchorage = "30 kN"
anchorage_kind = "characteristic"
anchorage_factor = 1.25

[rail]
shape = "round tube"
diameter = "42 mm"
wall = "3 mm"
material = "aluminum"
yield_strength = "200 MPa"
deflection_ratio = 100

[clamp]
height = "40 mm"
grip_length = "80 mm"
test_height = "61 mm"
stiffness = {{ along = "2 kN/mm", across = "1 kN/mm", pull = "4 kN/mm", rocking = "7442 N*m/rad" }}
strength = {{ along = "12 kN", across = "4 kN", pull = "9 kN", push = "9 kN" }}
strength_kind = "characteristic"
factor = 1.25
test_basis = "bench series C3, 5 pulls"

[[row]]
name = "A"
plane = "S1"
up = "0.5 m"

[design]
format = "EN"
rail_height_ratio = 0.05
"""

L_ROOF = """
[project]
name = "Tamarack Street workshop"
units = "US"

[site]
standard = "ASCE/SEI 7-22"
ground_snow = "60 psf"
risk_category = "III"
thermal = "heated"
roof_r_value = 40
winter_wind = 0.5

[[roof.part]]
name = "workshop"
shape = "L"
footprint = "0 0, 72 0, 72 32, 34 32, 34 70, 0 70 ft"
pitches = ["6:12", "gable", "6:12", "6:12", "gable", "6:12"]
eave_height = "12 ft"

[surface]
slippery = true

[panel]
metal = "steel"
seam_spacing = "16 in"
seam_height = "2 in"
thickness = "0.024 in"
anchorage = "2600 lbf"
anchorage_kind = "nominal"
anchorage_factor = 2.0

[rail]
shape = "rectangular tube"
width = "1.5 in"
depth = "1.5 in"
wall = "0.125 in"
material = "aluminum"
yield_strength = "35 ksi"

[clamp]
height = "1.75 in"
grip_length = "2 in"
strength_kind = "nominal"
factor = 2.0
test_height = "1.75 in"
stiffness = { along = "12 kip/in", across = "5 kip/in", pull = "20 kip/in", rocking = "36.75 kip*in/rad" }
strength = { along = "2100 lbf", across = "700 lbf", pull = "900 lbf", push = "1500 lbf" }

[[row]]
name = "R1"
plane = "S1"
up = "2 ft"

[[row]]
name = "R2"
plane = "E1"
up = "2 ft"

[design]
format = "ASD"
"""

STEPPED = """
[[roof.part]]
name = "hall"
shape = "gable"
footprint = "0 6, 12 6, 12 14, 0 14 m"
pitch = "30 deg"
eave_height = "8 m"
"""


def shed(units: str = "SI", length: float = 12.0) -> str:
    """A shed of 20 degrees with one row; everything is strong enough."""
    return SHED.format(units=units, length=length)


def l_roof() -> str:
    """An L roof with drifts and a valley, in US units, whose clamps are too weak."""
    return L_ROOF


def projects() -> dict[str, str]:
    """Projects that differ in standard, format, shape, verdict and units."""
    lrfd = l_roof().replace('format = "ASD"', 'format = "LRFD"')
    lrfd = lrfd.replace("anchorage_factor = 2.0", "anchorage_factor = 0.5").replace(
        "\nfactor = 2.0", "\nfactor = 0.5"
    )
    measured = shed().replace(
        'standard = "EN 1991-1-3"\nground_snow = "1.6 kN/m^2"',
        'standard = "measured"\nlevel = "measured"\ndepth_direction = "square to the roof"\nlayers = ['
        '{ depth = "60 cm", density = ["200 kg/m^3", "300 kg/m^3"] }, '
        '{ depth = "20 cm", density = ["100 kg/m^3"] }]',
    )
    return {
        "shed": shed(),
        "shed in US units": shed("US"),
        "L roof with drifts": l_roof(),
        "load and resistance factors": lrfd,
        "measured snow": measured,
        "doorway": shed().replace('up = "0.5 m"', 'up = "0.5 m"\nstart = "4 m"\nend = "7 m"'),
        "two levels": shed().replace("[surface]", STEPPED + "\n[surface]"),
        "no anchorage": without_anchorage(shed()),
        "no push strength": shed().replace(', push = "9 kN"', ""),
        "weak anchorage": shed().replace('anchorage = "30 kN"', 'anchorage = "1 kN"'),
        "warm rail on skewed seams": skewed(shed()),
        "weak anchorage of skewed strips": skewed(shed()).replace(
            'anchorage = "30 kN"', 'anchorage = "1 kN"'
        ),
        "circular with friction": shed()
        .replace("factor = 1.25\ntest", 'factor = 1.25\ninteraction = "circular"\ntest')
        .replace("slippery = true", 'slippery = true\nfriction = 0.05\nfriction_reason = "tested"')
        .replace("deflection_ratio = 100", 'deflection_ratio = 100\ntemperature_change = "-30 K"'),
    }


def skewed(text: str) -> str:
    """Let seams run askew under a warm rail, which then loads clamps along their seams."""
    warm = text.replace("deflection_ratio = 100", 'deflection_ratio = 100\ntemperature_change = "40 K"')
    return warm + '[[plane]]\nname = "S1"\nseam_angle = "20 deg"\n'


def without_anchorage(text: str) -> str:
    """Leave out the strength of the panel's fixed point."""
    return "\n".join(line for line in text.splitlines() if not line.startswith("anchorage"))


def run(text: str, folder: Path) -> Analysis:
    """Analysis of a project given as text."""
    path = folder / "project.toml"
    path.write_text(text, encoding="utf-8")
    return analyze(load_project(path))


VOID = {"meta", "img", "br", "link", "hr", "input", "path", "circle", "line", "rect", "polygon", "polyline"}


class Page(HTMLParser):
    """Tables, steps of the hand check, attributes and text of a report; unclosed tags are an error."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self.steps: list[dict[str, str]] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.heads: list[dict[str, str | None]] = []
        self._stack: list[tuple[str, str]] = []
        self._rows: list[list[str]] = []
        self._caption = ""
        self.feed(text)
        self.close()
        assert not self._stack

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        kind = named.get("class") or ""
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self._stack.append((tag, kind))
        if tag == "table":
            self._rows, self._caption = [], ""
        if tag == "tr":
            self._rows.append([])
        if tag in ("th", "td") and self._rows:
            self._rows[-1].append("")
        if tag == "th":
            self.heads.append(named)
        if tag == "div" and kind == "what":
            self.steps.append({"title": "", "expression": "", "result": "", "unit": ""})

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        opened, _ = self._stack.pop()
        assert opened == tag, f"<{opened}> is closed by </{tag}>"
        if tag == "table":
            self.tables[self._caption.strip()] = self._rows

    def handle_data(self, data: str) -> None:
        tags = [tag for tag, _ in self._stack]
        kinds = [kind for _, kind in self._stack]
        if "style" in tags:
            return
        self.words.append(data)
        if "caption" in tags:
            self._caption += data
        elif ("th" in tags or "td" in tags) and self._rows:
            self._rows[-1][-1] += data
        if "what" in kinds and tags[-1] == "b":
            self.steps[-1]["title"] += data
        for part in ("expression", "result"):
            if part in kinds:
                if "u" in kinds:
                    self.steps[-1]["unit"] = data if part == "result" else self.steps[-1]["unit"]
                else:
                    self.steps[-1][part] += data
