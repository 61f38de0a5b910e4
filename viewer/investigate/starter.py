"""A starting file of an investigation: every table with its comment, clamps and rows of the project in it."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.project.load import Project, load_project
from viewer.files import write_text
from viewer.starter import check_new

_UNITS = {
    "SI": {"depth": "0.44 m", "density": "240 kg/m^3", "heap": ("8 m", "2.7 m", "0.6 m", "310 kg/m^3"),
           "force": "3 kN"},
    "US": {"depth": "17 in", "density": "15 lb/ft^3", "heap": ("26 ft", "9 ft", "24 in", "19 lb/ft^3"),
           "force": "700 lbf"},
}  # fmt: skip


def found_text(project: Project, name: str) -> str:
    """Text of found.toml for a project that its case names so.

    Everything but the case and the clamps that stand is commented out: only what was seen may stand in it.
    """
    layout, units = project.layout, _UNITS[project.table.project.units]
    first, last = _loss(layout)
    splice = _splice(layout, first)
    length, width, depth, dense = units["heap"]
    rows = ", ".join(f"row {row}" for row in layout.row_name)
    return f"""\
# What was found on a roof whose clamps came off; for `eavewright investigate`.
# Take the # away where you looked, and put what you saw; leave the rest.
# All fields: eavewright fields investigate
# Clamps are counted from the left end of their row, looking up the slope:
{_rows(layout)}

[case]
name = "{_safe(project.table.project.name)}: clamps came off"
project = "{name}"
# day = 2026-02-03              # of the event, without quotes

[[found]]                       # later lines count over earlier ones
clamps = "{rows}"
state = "stands"

# [[found]]                     # what came off: investigate needs it
# clamps = "{first}..{last}"
# state = "off"                 # or "slipped", "bent", "unknown"

[snow]                          # of the roof and the ground, before it melts
# depth = "{units["depth"]}"            # on the roof as it fell, never of the heap or in a drift
# density = "{units["density"]}"
# heap = {{ length = "{length}", width = "{width}", depth = "{depth}", density = "{dense}" }}

# [[snow.along]]                # depth beside the loss: tells drift and heaped snow, or that there was none
# near = "{first}"
# over = 1.0                    # depth there over that where the same snow lies even

# [[rail]]                      # the splices nearest to where the loss ends
# near = "{splice}"
# state = "whole"               # or "bent", "parted"
# screws = true                 # false: none was ever set
# fresh = true                  # of a parted one: bright metal; false: rust or dirt in the break

# [[marks]]                     # seams of the gap: was there ever a clamp?
# clamps = "{first}..{last}"
# none = 0                      # how many left no mark

# [[screws]]                    # clamps in the heap, or that still stand
# clamps = "{first}..{last}"
# loose = 0                     # how many were loose

# [[type]]                      # stamp or size against what this seam needs
# clamps = "{first}..{last}"
# wrong = 0

# [[pulled]]                    # pulled to failure, on the roof or in a laboratory
# clamps = "{first}, {last}"
# mean = "{units["force"]}"
# kept = 1.0                    # of clamps that came off: what part of its strength such a one keeps

# [[explanation]]               # what you know that has no entry
# cause = "loose clamps"
# prior = 2.0                   # times as likely as the others before
# reason = "..."
"""


def _safe(text: str) -> str:
    return text.replace("\\", "").replace('"', "'")[:90]


def _loss(layout: Layout) -> tuple[str, str]:
    """Clamps that stand for a loss in the comments: the middle of the first row."""
    own = np.flatnonzero(layout.clamp_row == 0)
    return layout.clamp_name[own[len(own) // 3]], layout.clamp_name[own[max(2 * len(own) // 3 - 1, 0)]]


def _splice(layout: Layout, near: str) -> str:
    """Clamp nearest to a splice of the first row; the clamp itself where there is none."""
    places = layout.splice_s[layout.splice_row == 0]
    own = np.flatnonzero(layout.clamp_row == 0)
    if not len(places):
        return near
    s = layout.clamp_s[layout.clamp_name.index(near)]
    place = places[np.abs(places - s).argmin()]
    return layout.clamp_name[own[np.abs(layout.clamp_s[own] - place).argmin()]]


def _rows(layout: Layout) -> str:
    lines = []
    for r, name in enumerate(layout.row_name):  # a few
        own = np.flatnonzero(layout.clamp_row == r)
        lines.append(
            f"#   row {name}: {len(own)} clamps, {layout.clamp_name[own[0]]} to {layout.clamp_name[own[-1]]}"
        )
    return "\n".join(lines)


def write_found(project: Path, path: Path) -> str:
    """Write the starting file, and say what comes next; an existing one is never replaced.

    Raises
    ------
    InputError
    """
    check_new(path)
    read = load_project(project)
    if not len(read.layout.clamp_name):
        message = f"{project}: has no rows with clamps"
        raise InputError(message)
    try:
        name = os.path.relpath(project.resolve(), path.parent.resolve()).replace(os.sep, "/")
    except ValueError:  # on another drive
        name = project.resolve().as_posix()
    write_text(path, found_text(read, name))
    return f"Wrote {path}. Put in what came off and what you saw, then run: eavewright investigate {path}"
