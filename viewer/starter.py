"""Starting projects with comments."""

from __future__ import annotations

import re
from pathlib import Path
from string import Template

from roofmodel.errors import InputError
from roofmodel.project.schema import STARTING_NAME
from roofmodel.project.site_schema import FORMATS
from viewer.files import write_text
from viewer.starter_maker import DIRECTIONS, NEXT, direction_of, maker_text

EXAMPLES = "The numbers below are examples."
_HEAD = """\
# A starting project for Eavewright. Every quantity is text with a unit: "30 psf", "1.4 kN/m^2", "24 in".
# All fields with their meaning: eavewright fields
# The numbers below are examples. Replace all of them by those of your site, roof and tested hardware.

[project]
name = "{title}"
units = "{units}"            # units of all output: "SI" or "US"
revision = "A"
client = ""             # for the title block, as the three below; blank lines to sign where empty
project_number = ""
engineer = ""           # who answers for this calculation
checked_by = ""

"""

OTHERS = '# or another: eavewright new --standard; "measured" for depth and density'
SITE = {
    "EN 1991-1-3": """\
[site]
standard = "EN 1991-1-3"        $others
ground_snow = "$snow"      # s_k from the national annex, characteristic
topography = "normal"           # "windswept", "normal" or "sheltered", gives C_e
thermal_factor = 1.0            # C_t
""",
    "ASCE/SEI 7-22": """\
[site]
standard = "ASCE/SEI 7-22"      $others
ground_snow = "$strength"          # p_g for the risk category, strength level, from the authority
risk_category = "II"
terrain = "C"                   # surface roughness, gives C_e
exposure = "partially exposed"  # "fully exposed", "partially exposed" or "sheltered"
thermal = "unheated"            # or "heated" with roof_r_value, "cold ventilated", ...
winter_wind = 0.5               # W_2, from the authority
""",
    "ASCE/SEI 7-16": """\
[site]
standard = "ASCE/SEI 7-16"      $others
ground_snow = "$nominal"          # p_g, nominal (50 years); not the strength level of 7-22
risk_category = "II"            # gives I_s
terrain = "C"                   # surface roughness, gives C_e
exposure = "partially exposed"  # "fully exposed", "partially exposed" or "sheltered"
thermal = "unheated"            # "heated", "kept above freezing", "cold ventilated", ...
# roof_r_value = 30             # a warm slippery roof needs it for a lower C_s
""",
    "NBCC 2020": """\
[site]
standard = "NBCC 2020"          $others
ground_snow = "$snow"      # S_s, 1 in 50 years
associated_rain = "$rain"  # S_r, 1 in 50 years
importance = "normal"           # "low", "normal", "high" or "post-disaster", gives I_s
wind_factor = 1.0               # C_w
""",
}
LOADS = {
    "SI": {"snow": "1.8 kN/m^2", "strength": "2.2 kPa", "nominal": "1.4 kPa", "rain": "0.4 kN/m^2"},
    "US": {"snow": "38 psf", "strength": "45 psf", "nominal": "28 psf", "rain": "8 psf"},
}
STANDARDS = tuple(SITE)
USUAL = {"SI": "EN 1991-1-3", "US": "ASCE/SEI 7-22"}  # standard where the user names none
# What strengths are in each format, the factor on them, and what it is called.
RESISTANCE = {
    "EN": {"kind": "characteristic", "factor": "1.33", "called": "gamma_M"},
    "ASD": {"kind": "nominal", "factor": "2.0", "called": "Omega"},
    "LRFD": {"kind": "nominal", "factor": "0.65", "called": "phi"},
}

_SHAPES = {
    "shed": """\
[[roof.part]]
name = "shed"
shape = "shed"
footprint = "{a}"     # plan outline of the roof, edge to edge, in order
pitch = "{low_pitch}"
fall = "180 deg"                # compass direction of the fall: 180 deg is south
eave_height = "{eave}"
""",
    "gable": """\
[[roof.part]]
name = "house"
shape = "gable"
footprint = "{a}"     # plan outline of the roof, eave to eave, in order
pitch = "{pitch}"                # over the two long edges; or pitches = [...], one per edge
eave_height = "{eave}"
""",
    "hip": """\
[[roof.part]]
name = "house"
shape = "hip"
footprint = "{a}"     # any outline, in order
pitch = "{pitch}"                # or pitches = [...], one per edge; "gable" for an upright end
eave_height = "{eave}"
""",
    "L": """\
[[roof.part]]
name = "house"
shape = "L"
footprint = "{l}"     # six corners, in order
pitch = "{pitch}"                # or pitches = [...], one per edge; "gable" for an upright end
eave_height = "{eave}"
""",
    "two-level": """\
[[roof.part]]                   # the higher roof
name = "hall"
shape = "gable"
footprint = "{a}"     # plan outline of the roof, eave to eave, in order
pitch = "{pitch}"
eave_height = "{high}"

[[roof.part]]                   # the lower roof against its wall: drift and sliding from above
name = "porch"
shape = "shed"
footprint = "{b}"
pitch = "{low_pitch}"
fall = "180 deg"                # compass direction of the fall: 180 deg is south
eave_height = "{eave}"
""",
    "imported": """\
[roof]
file = "roof.stl"               # mesh, CityJSON, CityGML, IFC or DXF, relative to this file
unit = "m"                      # STL, OBJ and PLY do not say: "m", "mm", "cm", "ft" or "in"
up = "z"                        # "z" or "y"
# building = "..."              # city models: the building's id
# leave_out = ["F1"]            # a plane of each part that is no roof, such as a floor slab or a tree
""",
}

_SIZES = {
    "SI": {
        "a": "0 0, 14 0, 14 9, 0 9 m",
        "b": "0 -4, 14 -4, 14 0, 0 0 m",
        "l": "0 0, 18 0, 18 8, 9 8, 9 17, 0 17 m",
        "pitch": "30 deg",
        "low_pitch": "12 deg",
        "eave": "3 m",
        "high": "5.5 m",
    },
    "US": {
        "a": "0 0, 46 0, 46 30, 0 30 ft",
        "b": "0 -13, 46 -13, 46 0, 0 0 ft",
        "l": "0 0, 60 0, 60 28, 30 28, 30 56, 0 56 ft",
        "pitch": "6:12",
        "low_pitch": "3:12",
        "eave": "10 ft",
        "high": "18 ft",
    },
}

_TAIL = {
    "SI": """\
[surface]
slippery = true                 # smooth metal is slippery
friction = 0.0                  # counted on to hold snow; above 0 give friction_reason

[panel]                         # standing-seam panel
metal = "steel"
seam_spacing = "430 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
clip_spacing = "600 mm"
anchorage = "9 kN"              # fixed point of one panel strip; without it the result is NOT VERIFIED
anchorage_kind = "$kind"
anchorage_factor = $factor

# [seam]                        # for `eavewright seam`: fold, clips, bearing; see `eavewright fields`
# lock = "double lock"
# yield_strength = "280 MPa"
# clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
# clip_strength = "2 kN"        # uplift of one clip, from tests; without it NOT VERIFIED
# opening_strength = "15 N/mm"  # fold against opening, from tests; without it NOT VERIFIED
# strength_kind = "$kind"
# factor = $factor of both
# bearing = "deck"              # "deck", "purlins" with purlin_spacing, or "none"

# [[plane]]                     # only where a plane differs: seam direction, first seam
# name = "S1"
# first_seam = "215 mm"

# [[framing]]                   # what carries the roof: demands with the rows and without
# purlin_spacing = "1.5 m"
# frame_spacing = "5 m"
# overhang = "0.5 m"            # eave beyond the wall

# [[solar]]                     # slippery glass; its clamps share seams and panel anchorage with the rows
# name = "array"
# plane = "S1"
# across = "6 m"                # its middle, from the plane's left end; up, width and depth likewise
# gap = "120 mm"
# weight = "0.15 kPa"
# clamp_strength = "2 kN"       # along the seam; without it NOT VERIFIED

[rail]
shape = "rectangular tube"      # "round tube", "round bar", "flat bar", or "values"
width = "40 mm"                 # along the slope
depth = "40 mm"                 # square to the roof
wall = "3 mm"
material = "aluminum"
yield_strength = "200 MPa"
deflection_ratio = 100          # span / 100 under snow as it lies
# stock_length = "6 m"          # bars as bought: longer rails need splices, and plan gives them some

[clamp]                         # from tests by the maker on this seam and sheet
height = "35 mm"                # rail axis above the grip
grip_length = "60 mm"
test_height = "35 mm"           # height at which the along-seam strength was tested
# rocking (against tipping): measured by the maker; take it out where nobody measured it
stiffness = { along = "2.5 kN/mm", across = "1 kN/mm", pull = "4 kN/mm", rocking = "3.2 kN*m/rad" }
strength = { along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }
strength_kind = "$kind"
factor = $factor
interaction = "linear"          # directions add up unless tests show better
test_basis = ""                 # seam, sheet, torque, number of tests, report

[[row]]
name = "R1"
plane = "S1"                    # see the plane names in the report
up = "0.6 m"                    # up the slope from the eave
every = 1                       # a clamp on every n-th seam
# start = "1 m"                 # a row over part of the plane
# end = "9 m"
# splice_every = "6 m"          # rails of 6 m; splices as hinges, or with splice_kind = "continuous"

# [[protect]]                   # what no snow may fall onto; or onto, eave, planes in place of area
# name = "entrance"
# area = "10 -3, 14 -3, 14 0, 10 0 m"  # on plan, as roof.png has it

[design]
$format
rail_height_ratio = 0.06        # least rail top over snow depth: no standard says it; tests or judgment
""",
    "US": """\
[surface]
slippery = true                 # smooth metal is slippery
friction = 0.0                  # counted on to hold snow; above 0 give friction_reason

[panel]                         # standing-seam panel
metal = "steel"
seam_spacing = "16 in"
seam_height = "2 in"
thickness = "0.024 in"
clip_spacing = "24 in"
anchorage = "2400 lbf"          # fixed point of one panel strip; without it the result is NOT VERIFIED
anchorage_kind = "$kind"
anchorage_factor = $factor

# [seam]                        # for `eavewright seam`: fold, clips, bearing; see `eavewright fields`
# lock = "double lock"
# yield_strength = "50 ksi"
# clip_stiffness = { across = "6 kip/in", pull = "11 kip/in" }
# clip_strength = "420 lbf"     # uplift of one clip, from tests; without it NOT VERIFIED
# opening_strength = "60 lbf/in"  # fold against opening, from tests; without it NOT VERIFIED
# factor = $factor of both
# bearing = "deck"              # "deck", "purlins" with purlin_spacing, or "none"

# [[plane]]                     # only where a plane differs: seam direction, first seam
# name = "S1"
# first_seam = "8 in"

# [[framing]]                   # what carries the roof: demands with the rows and without
# purlin_spacing = "5 ft"
# frame_spacing = "16 ft"
# overhang = "18 in"            # eave beyond the wall

# [[solar]]                     # slippery glass; its clamps share seams and panel anchorage with the rows
# name = "array"
# plane = "S1"
# across = "20 ft"              # its middle, from the plane's left end; up, width and depth likewise
# gap = "5 in"
# weight = "3 psf"
# clamp_strength = "450 lbf"    # along the seam; without it NOT VERIFIED

[rail]
shape = "round tube"            # "rectangular tube", "round bar", "flat bar", or "values"
diameter = "1.5 in"
wall = "0.125 in"
material = "aluminum"
yield_strength = "35 ksi"
deflection_ratio = 100          # span / 100 under snow as it lies
# stock_length = "20 ft"        # bars as bought: longer rails need splices, and plan gives them some

[clamp]                         # from tests by the maker on this seam and sheet
height = "1.5 in"               # rail axis above the grip
grip_length = "2.5 in"
test_height = "1.5 in"          # height at which the along-seam strength was tested
# rocking (against tipping): measured by the maker; take it out where nobody measured it
stiffness = { along = "14 kip/in", across = "6 kip/in", pull = "22 kip/in", rocking = "32 kip*in/rad" }
strength = { along = "1800 lbf", across = "700 lbf", pull = "1000 lbf", push = "1500 lbf" }
strength_kind = "$kind"
factor = $factor
interaction = "linear"          # directions add up unless tests show better
test_basis = ""                 # seam, sheet, torque, number of tests, report

[[row]]
name = "R1"
plane = "S1"                    # see the plane names in the report
up = "2 ft"                     # up the slope from the eave
every = 1                       # a clamp on every n-th seam
# start = "3 ft"                # a row over part of the plane
# end = "30 ft"
# splice_every = "20 ft"        # rails of 20 ft; splices as hinges, or with splice_kind = "continuous"

# [[protect]]                   # what no snow may fall onto; or onto, eave, planes in place of area
# name = "entrance"
# area = "30 -10, 40 -10, 40 0, 30 0 ft"  # on plan, as roof.png has it

[design]
$format
rail_height_ratio = 0.07        # least rail top over snow depth: no standard says it; tests or judgment
""",
}


_LOWER_ROW = """\
[[row]]                         # the lower roof
name = "R2"
plane = "S2"
up = "{up}"

"""


def starter_text(shape: str, units: str, standard: str | None = None) -> str:
    """Project file for a roof shape in a unit system ("SI" or "US").

    Parameters
    ----------
    shape, units : str
    standard : str, optional
        One of `STANDARDS`; what is usual with the units by default.
    """
    code = standard or USUAL[units]
    head = _HEAD.format(title=f"{STARTING_NAME}, {shape} roof", units=units)
    site = Template(SITE[code]).substitute(LOADS[units], others=OTHERS)
    form = FORMATS[code][0]
    values = RESISTANCE[form]
    factor = f"{values['factor']} # {values['called']}"
    formats = ", ".join(f'"{one}"' for one in FORMATS[code])
    line = f'format = "{form}"'
    tail = Template(_TAIL[units]).substitute(
        kind=values["kind"], factor=factor, format=f"{line:<32}# {formats} with {code}"
    )
    tail = re.sub(r"(?m)^(.*factor = [\d.]+) # ", lambda found: f"{found[1]:<32}# ", tail)
    if shape == "two-level":
        row = _LOWER_ROW.format(up="0.6 m" if units == "SI" else "2 ft")
        tail = tail.replace("[design]", f"{row}[design]")
    return "\n".join([head.rstrip() + "\n", site, _SHAPES[shape].format(**_SIZES[units]), tail])


def to_do(shape: str, path: Path) -> str:
    """Whose numbers are wanted in a starting file, and the command that takes it."""
    roof = "site, roof and tested hardware, then run: eavewright check {out} --out results"
    text = NEXT.get(shape, roof).format(out=path)
    if shape == "tests" and not direction_of(path):
        text += (
            f'\nDirection "{DIRECTIONS[0]}" was written, as the name of the file begins with none of '
            f"{', '.join(DIRECTIONS)}: change it where the tests were others."
        )
    return text


def write_starter(shape: str, units: str, path: Path, standard: str | None = None) -> None:
    """Write the starting file; an existing one is never replaced."""
    check_new(path)
    if shape in NEXT:
        if standard is not None:
            message = f"--standard: a file of {shape} has no snow standard; leave it out"
            raise InputError(message)
        write_text(path, maker_text(shape, units, path))
        return
    write_text(path, starter_text(shape, units, standard))


def check_new(path: Path) -> None:
    """Refuse a file that exists or has no folder.

    Raises
    ------
    InputError
    """
    if path.exists():
        message = f"{path}: exists already; choose another name with --out"
        raise InputError(message)
    if not path.parent.is_dir():
        message = f"{path}: the folder {path.parent} does not exist"
        raise InputError(message)
