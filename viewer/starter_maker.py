"""Starting files of a clamp's maker: a test campaign and a span study, with comments."""

from __future__ import annotations

import re
from pathlib import Path
from string import Template

from roofmodel.project.starting import STARTING

DIRECTIONS = ("along", "across", "pull", "push")
_TESTS = Template("""\
# Load tests of one clamp in one direction, for `eavewright tests`. All fields: eavewright fields tests
# The numbers below are examples. Replace all of them by those of your tests.

[campaign]
name = "$name, $direction"
units = "$units"
report = ""                     # laboratory, report number, date

[specimen]                      # the strengths are valid for this and nothing else; nominal values
clamp = "Example"
direction = "$direction"             # "along", "across", "pull" or "push", of the seam
seam = "double lock"
seam_height = "$seam"
metal = "steel"
thickness = "$sheet"
yield_strength = "$yield_"
measured_thickness = "$measured"      # as measured, of all specimens; of one alone in its [[test]]
measured_yield_strength = "$strong"
substrate = "clips on timber boards"
screw_torque = "$torque"
$load_height
[method]
take = "proof"                  # what counts: "proof" (slides slowly), "slip" (with a knock) or "peak"
partial_factor = 1.25
format = "$form"                   # whose strengths clamp.toml holds: "EN", "ASD" or "LRFD"

[rig]                           # each clamp alone, pulled straight; gives the stiffness

[[test]]
curves = "$direction/*.csv"          # one file a test, heads "displacement [$way]" and "force [$force]"
failure = "slid on the seam"

# What differs for one test stands in a table of its own, with the name of its file:
# [[test]]
# name = "A6"
# failure = "seam tore open"
# excluded = "why it does not count"
""")
_SPANS = Template("""\
# Span tables of rails on one clamp, for `eavewright span`. All fields: eavewright fields span
# The numbers below are examples. Replace all of them by those of your clamp and rails.

[study]
name = "$name"
units = "$units"
slope = "25 deg"
panel_length = "$long"
seams_per_span = [1, 2, 3, 4]   # spans, counted in seams
loads = [$loads]
level = "$level"
arrangements = ["single span", "two spans", "end span", "inner span", "with overhangs"]

[panel]
metal = "steel"
seam_spacing = ["$near", "$far"]   # a table for each
seam_height = "$seam"
thickness = "$sheet"
substrate = "clips on timber boards"
anchorage = "$anchorage"            # of one strip of sheet between seams, from the roofer
anchorage_kind = "$kind"
anchorage_factor = $factor

[clamp]                         # in place of this table: clamp.toml of `eavewright tests`, and
height = "$height"                # of the rail's axis above the grip
grip_length = "$grip"           # along the seam
test_height = "$high"           # of the load above the grip in tests along the seam
stiffness = { along = "$k_along", across = "$k_across", pull = "$k_pull" }
strength = { along = "$s_along", across = "$s_across", pull = "$s_pull", push = "$s_push" }
strength_kind = "$kind"
factor = $clamp_factor

[[rail]]
name = "Example 48"
shape = "round tube"            # or shape = "profile" with profile = { file = "rail.dxf" }
diameter = "$diameter"
wall = "$wall"
material = "aluminum"
yield_strength = "$rail"
deflection_ratio = 100          # span over the largest deflection

[design]
format = "$form"
""")
_SIZES = {
    "SI": {
        "seam": "32 mm", "sheet": "0.6 mm", "yield_": "250 MPa", "measured": "0.62 mm", "strong": "290 MPa",
        "torque": "13 N*m", "way": "mm", "force": "kN", "high": "40 mm", "form": "EN",
        "long": "10 m", "loads": '"0.5 kN/m", "1 kN/m", "2 kN/m", "3 kN/m", "4 kN/m"', "near": "430 mm",
        "far": "600 mm", "anchorage": "9 kN", "kind": "characteristic", "factor": "1.25",
        "clamp_factor": "1.25", "height": "50 mm", "grip": "60 mm", "k_along": "4 to 6 kN/mm",
        "k_across": "0.8 kN/mm", "k_pull": "2 kN/mm", "s_along": "4 kN", "s_across": "1.5 kN",
        "s_pull": "2 kN", "s_push": "3 kN", "diameter": "48 mm", "wall": "3 mm", "rail": "200 MPa",
        "level": "characteristic",
    },
    "US": {
        "seam": "1.25 in", "sheet": "0.024 in", "yield_": "36 ksi", "measured": "0.0245 in",
        "strong": "42 ksi", "torque": "115 lbf*in", "way": "in", "force": "lbf", "high": "1.5 in",
        "form": "ASD", "long": "30 ft",
        "loads": '"40 lbf/ft", "80 lbf/ft", "120 lbf/ft", "200 lbf/ft"', "near": "16 in", "far": "24 in",
        "anchorage": "2000 lbf", "kind": "nominal", "factor": "2.0", "clamp_factor": "2.0", "height": "2 in",
        "grip": "2.4 in", "k_along": "23 to 34 kip/in", "k_across": "4.5 kip/in", "k_pull": "11 kip/in",
        "s_along": "900 lbf", "s_across": "340 lbf", "s_pull": "450 lbf", "s_push": "675 lbf",
        "diameter": "1.9 in", "wall": "0.12 in", "rail": "29 ksi", "level": "characteristic",
    },
}  # fmt: skip
NEXT = {
    "tests": "tests, then run: eavewright tests {out} --out results",
    "spans": "clamp and rails, then run: eavewright span {out} --out results",
}


def maker_text(what: str, units: str, path: Path) -> str:
    """Starting file of a campaign, whose direction the name of the file may say, or of a study ("spans")."""
    sizes = _SIZES[units]
    if what == "spans":
        return _SPANS.substitute(sizes, units=units, name=STARTING["study"])
    direction = direction_of(path) or DIRECTIONS[0]
    height = (
        f'# load_height = "{sizes["high"]}"         # of the load above the grip, from the drawing: yours\n'
    )
    along = height if direction == "along" else ""
    name = STARTING["campaign"]
    return _TESTS.substitute(sizes, units=units, name=name, direction=direction, load_height=along)


def direction_of(path: Path) -> str:
    """The direction that the first word of a file's name says, "Across-2.toml" too; empty for none."""
    word = re.match(r"[a-z]*", path.stem.lower())
    return word[0] if word is not None and word[0] in DIRECTIONS else ""
