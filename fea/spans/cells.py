"""One cell of a span table: its worst row at a load, and the project that `check` repeats it by."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fea.checks.screws import SCREW_LIMITS
from fea.rails.rows import rails_to_solve
from fea.spans.capacity import Choices
from fea.spans.lines import Arrangement, Line
from fea.spans.rows import Hardware, row_limits, solve_rows
from roofmodel.errors import InputError
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

DENSITY = 400.0  # of the snow that stands for the line load [kg/m^3]
SAME = 1e-9  # utilizations that differ less are one
ROW_UP = 0.5  # of the row above the eave [m]


@dataclass(frozen=True)
class Cell:
    """A span at a load.

    Attributes
    ----------
    span, load : float
        [m, N/m]
    line : Line
        The worst.
    limit : str
        Its most used limit, as `check` names it.
    target : int
        Which clamp, or piece of rail, of the row.
    utilization : float
        NaN where a direction is loaded without a strength, or the rail's walls are not known.
    kind : str
        What the target is, as `fea.checks.limits.Limit.target`.
    """

    span: float
    load: float
    line: Line
    limit: str
    target: int
    utilization: float
    kind: str = ""


def worst_cell(
    roof: RoofSurface,
    hardware: Hardware,
    choices: Choices,
    arrangement: Arrangement,
    span: float,
    load: float,
) -> Cell:
    """Worst row of an arrangement at one span [m] and line load [N/m], with nothing left out."""
    kinds = () if choices.splice is None else (choices.splice,)
    found = [
        _worst(roof, replace(hardware, rail=rail), choices, arrangement, span, load)
        for rail in rails_to_solve(kinds, hardware.rail)
    ]
    return max(found, key=lambda one: np.inf if np.isnan(one.utilization) else one.utilization)


def _worst(
    roof: RoofSurface,
    hardware: Hardware,
    choices: Choices,
    arrangement: Arrangement,
    span: float,
    load: float,
) -> Cell:
    """The same with splices that pass torsion on or not."""
    lines = choices.lines(arrangement)
    rows = solve_rows(roof, lines, np.full(len(lines), span), hardware, choices.splice)
    at = np.full((1, len(lines)), load)
    clamps = np.concatenate([line.counts_clamp for line in lines])
    pieces = np.concatenate([line.counts_piece for line in lines])
    row_of_clamp = rows.layout.clamp_row
    row_of_piece = np.repeat(np.arange(len(lines)), [len(line.clamps) + 1 for line in lines])
    best: Cell | None = None
    for limit in row_limits(rows, at, hardware):
        of_rail = limit.target == "span"
        counts, row = (pieces, row_of_piece) if of_rail else (clamps, row_of_clamp)
        if np.isnan(limit.resistance).all() and limit.name not in SCREW_LIMITS:
            continue
        use = np.where(counts, limit.utilization[0], 0.0)
        worst = int(np.argmax(use))  # unknown comes before everything
        first = int(np.flatnonzero(row == row[worst])[0])
        unknown = best is not None and np.isnan(best.utilization)
        if best is None or not (unknown or use[worst] <= best.utilization * (1.0 + SAME)):
            best = Cell(
                span, load, lines[row[worst]], limit.name, worst - first, float(use[worst]), limit.target
            )
    assert best is not None
    return best


def cell_project(
    cell: Cell, choices: Choices, tables: dict[str, Any], slope: float, panel_length: float, level: str
) -> tuple[dict[str, Any], str]:
    """Tables of the project of a cell, and the CSV file of its clamps.

    A plain shed roof whose snow brings the cell's line load to one row near the eave; bands of snow make
    the pattern of load. The check of rail height is left out: it says nothing about spans.

    Parameters
    ----------
    cell : Cell
    choices : Choices
    tables : dict
        Panel, clamp, rail (one) and design as a project file has them.
    slope, panel_length : float
        [rad, m]
    level : str
        As `site.level` of measured snow.

    Raises
    ------
    InputError
        A load that no depth of snow on this roof makes.
    """
    line, span = cell.line, cell.span
    width, run = float(line.edges[-1] * span), float(panel_length * np.cos(slope))
    above = (panel_length - ROW_UP) * np.cos(slope)
    if above <= 0.0:
        message = (
            f"cell: the row of its project stands {ROW_UP:g} m up the sheets, and sheets of "
            f"{panel_length:g} m have no snow above it; give a longer study.panel_length"
        )
        raise InputError(message)
    depth = cell.load / (above * np.sin(slope) * DENSITY * STANDARD_GRAVITY)
    if not 1e-3 <= depth <= 20.0:
        message = (
            f"cell: {cell.load / 1e3:g} kN/m needs snow {depth:g} m deep on sheets of {panel_length:g} m; "
            "give another study.panel_length"
        )
        raise InputError(message)
    layers = []
    even = float(line.share.min())
    if even > 0.0:
        layers.append({"depth": _m(even * depth), "density": [f"{DENSITY!r} kg/m^3"], "plane": "S1"})
    layers += [
        {
            "depth": _m((float(line.share[piece]) - even) * depth),
            "density": [f"{DENSITY!r} kg/m^3"],
            "plane": "S1",
            "left": _m(line.edges[piece] * span),
            "right": _m(line.edges[piece + 1] * span),
        }
        for piece in np.flatnonzero(line.share > even).tolist()
    ]
    row: dict[str, Any] = {"name": "R1", "plane": "S1", "up": _m(ROW_UP)}
    if not np.isnan(line.splice):
        row["splice"] = [{"at": _m(line.splice * span), "kind": str(choices.splice)}]
    design = {k: v for k, v in tables["design"].items() if k != "rail_height_ratio"}
    project = {
        "project": {
            "name": f"Cell of a span table: {cell.line.arrangement}, {span:g} m, {cell.load / 1e3:g} kN/m"
        },
        "site": {"standard": "measured", "level": level, "layers": layers},
        "roof": {
            "part": [
                {
                    "shape": "shed",
                    "footprint": f"0 0, {width!r} 0, {width!r} {run!r}, 0 {run!r} m",
                    "pitch": f"{float(np.degrees(slope))!r} deg",
                    "fall": "180 deg",
                    "eave_height": "3 m",
                }
            ]
        },
        "plane": [{"name": "S1", "first_seam": _m(line.clamps[0] * span)}],
        "surface": {"slippery": True},
        **{name: tables[name] for name in ("panel", "rail", "clamp")},
        "row": [row],
        "as_built": {"file": "clamps.csv"},
        "design": design,
        "analysis": {"strip_width": "10 m"},
    }
    clamps = "row,along [m]\n" + "".join(f"R1,{float(s * span)!r}\n" for s in line.clamps)
    return project, clamps


def _m(value: float) -> str:
    return f"{float(value)!r} m"
