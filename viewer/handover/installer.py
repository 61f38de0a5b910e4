"""plan.dxf: where rails and clamps go, for the installer; every plane unfolded in true size.

Drawing units are millimeters or inches. Each plane with rows lies flat, seen square to the sheet from
outside, its eave below. Lengths along the slope are true.
"""

from __future__ import annotations

import textwrap
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.project.load import Project
from roofmodel.project.placement import left_reach, seam_grid
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.files import atomic
from viewer.handover.measures import dimension, dimension_style, measure_rows
from viewer.handover.overview import overview
from viewer.handover.pen import CLAMP, LETTER, Sheet, note, outline_of, put, write
from viewer.handover.row_lines import AT_END, row_lines, seam_numbers
from viewer.handover.shapes import clamp_block, glass, standing
from viewer.handover.sheets import TEXT, Place, add_sheets, scale_for
from viewer.package.bill import NOT_READY, Bill, missing_of, rail_words, splice_caution, splice_note
from viewer.picture.findings import called_clamp, clamp_utilization
from viewer.unheld import falling_sentence

Array = NDArray[np.float64]

# Layer: (DXF color index, line weight in 1/100 mm)
LAYERS = {
    "ROOF": (7, 35),
    "OBSTRUCTIONS": (8, 25),
    "SOLAR": (140, 25),
    "SEAMS": (253, 9),
    "RAILS": (5, 50),
    "CLAMPS": (1, 25),
    "SPLICES": (6, 25),
    "GOVERNING": (30, 35),
    "DIMENSIONS": (250, 13),
    "TEXT": (7, 18),
    "TITLE": (7, 35),
    "VIEWPORTS": (9, 13),
}
LEAST = 0.7  # size of words at clamps over that of text; smaller ones cannot be read on paper [-]
ALIKE = 2.0  # ratio of scales up to which planes have letters of one size [-]
LINE = 150  # letters of a line of notes
RING = 0.45  # radius of the ring of the governing clamp over the spacing of seams [-]
STEP = 1.7  # line spacing over the height of text [-]
SCHEDULE = 9.0  # the lines about rows begin so far below the plane, over the height of text [-]
INCH, MILLIMETER = 1, 4  # $INSUNITS of the DXF reference


def write_plan(
    analysis: Analysis,
    bill: Bill,
    path: Path,
    warn: str = "",
    notes: tuple[str, ...] = (),
    today: date | None = None,
) -> None:
    """Write plan.dxf: every plane with rows in model space, and on a sheet of its own.

    Parameters
    ----------
    analysis : Analysis
    bill : Bill
    path : Path
    warn : str
        Stands in the title, at every plane and on every sheet.
    notes : tuple of str
        Stand below the title, such as what rows out of place do, after missing splices and the snow that
        no row holds, which also stand on every sheet.
    today : date, optional
        For the title blocks, today by default.
    """
    import ezdxf

    project = analysis.project
    system = project.table.project.units
    unit = 0.0254 if system == "US" else 1e-3
    said = (splice_caution(project), falling_sentence(analysis, SYSTEMS[system]))
    loud = tuple(words for words in said if words)
    lines = tuple(line for words in (*loud, *notes) for line in textwrap.wrap(words, LINE))
    drawing: Any = ezdxf.new("R2013", setup=["linetypes"])
    drawing.header["$INSUNITS"] = INCH if system == "US" else MILLIMETER
    drawing.header["$MEASUREMENT"] = 0 if system == "US" else 1
    for name, (color, weight) in LAYERS.items():
        drawing.layers.add(name, color=color, lineweight=weight)
    drawing.layers.get("VIEWPORTS").dxf.plot = 0
    drawing.styles.add("PLAIN", font="arial.ttf")
    clamp_block(drawing)
    planes = [p for p in range(project.roof.planes.count) if (project.layout.row_plane == p).any()]
    sizes = np.array([np.ptp(outline_of(project, p), axis=0) for p in planes])
    scale = scale_for(sizes.max(axis=0), system)
    sheet = Sheet(drawing.modelspace(), unit, TEXT * 1e-3 * scale / unit, system)
    gap = sheet.text * unit
    at = np.zeros(2)
    _title(sheet, project, bill, planes, at, warn, lines)
    at -= [0.0, (9.0 + 2.0 * len(lines)) * gap]
    places = []
    at -= [0.0, 6.0 * gap]
    for plane, size in zip(planes, sizes, strict=True):
        # A small plane has a larger scale; far smaller ones have letters as large on paper, the others as
        # large as their neighbors in the model.
        own = scale_for(size, system)
        letters = scale if own * ALIKE >= scale else own
        sheet = Sheet(drawing.modelspace(), unit, TEXT * 1e-3 * letters / unit, system, f"PLAN-{letters}")
        dimension_style(drawing, sheet)
        gap = sheet.text * unit
        at -= [0.0, size[1] + 16.0 * gap]
        told = row_lines(project, bill, plane, sheet.say)
        for row in np.flatnonzero(project.layout.row_plane == plane).tolist():
            words, small = _clamp_words(sheet, project, row)
            if small < LEAST:  # no room at the rail
                told += textwrap.wrap(f"Clamps of {project.layout.row_name[row]}: {';  '.join(words)}", LINE)
        beside = np.maximum(_plane(sheet, analysis, told, plane, at.copy(), warn), 14.0 * gap)
        around = np.array([beside[0], 13.0 * gap])
        below = np.array([0.0, STEP * len(told) * gap])
        wide = max(float(size[0] + beside[1]), LETTER * max(map(len, told)) * gap)
        high = np.array([at[0] + wide, at[1] + size[1] + around[1]])
        places.append(Place(f"Plane {project.roof.planes.name[plane]}", at - around - below, high, own))
        at -= [0.0, 16.0 * gap + below[1]]
    places.insert(0, overview(sheet, project, at - [0.0, 40.0 * TEXT * 1e-3 * scale]))
    add_sheets(drawing, project, places, warn, loud, today or date.today())
    with atomic(path) as temporary:
        drawing.saveas(temporary)


def _title(
    sheet: Sheet,
    project: Project,
    bill: Bill,
    planes: list[int],
    at: Array,
    warn: str,
    notes: tuple[str, ...],
) -> None:
    table = project.table.project
    step = np.array([0.0, -2.0 * sheet.text * sheet.unit])
    revision = f", revision {table.revision}" if table.revision else ""
    names = ", ".join(project.roof.planes.name[p] for p in planes)
    stock = "" if np.isnan(bill.stock) else f" from {bill.bars} bars of {sheet.say(bill.stock)}"
    lengths = "feet and inches" if sheet.system == "US" else "millimeters"
    missing = missing_of(project).count
    more = f" as calculated, at least {missing} MORE ARE NEEDED (see below)" if missing else ""
    turn = f" ({splice_note(project)})" if bill.splices.any() and splice_note(project) else ""
    lines = (
        f"{table.name}{revision}: rows on planes {names}",
        f"Lengths in {lengths}, true along the slope; planes unfolded, seen from outside, eave below. "
        "Measure on site before cutting.",
        f"Rail {rail_words(project)}: {sheet.say(bill.length)}{stock}. "
        f"Clamps: {bill.clamps.sum()}, one at every seam marked. Splices: {bill.splices.sum()}{turn}{more}.",
        "Clamps only on the seam, sheet and tightening they were tested on. Review by a licensed engineer. "
        "Work at height can kill.",
        *notes,
    )
    write(sheet, lines[0], at, size=1.8)
    if warn:
        write(sheet, warn, at + np.array([0.0, 3.5 * sheet.text * sheet.unit]), size=1.8, layer="CLAMPS")
    if project.table.as_built is not None:
        lines += (f"Clamps as measured on site ({project.table.as_built.file})",)
    for number, words in enumerate(lines[1:], 1):
        write(sheet, words, at + number * step)


def _count_seams(sheet: Sheet, project: Project, plane: int, shift: Array) -> None:
    """Numbers at the lower ends of seams, the first and every fifth."""
    flat, before = seam_numbers(project, plane)
    if before is None:
        return
    spacing = project.panel.seam_spacing
    angle, first = seam_grid(project.table.plane, project.roof.planes.name[plane], spacing)
    across = np.array([np.cos(angle), -np.sin(angle)])
    left = float((outline_of(project, plane) @ across).min()) + first
    number = np.rint((flat[:, 0] @ across - left) / spacing).astype(int) + before
    foot = flat[np.arange(len(flat)), flat[..., 1].argmin(axis=1)]
    for one in np.unique(number):
        if one == 1 or one % 5 == 0:
            ends = foot[number == one]
            place = ends[ends[:, 1].argmin()] + shift - [0.0, 0.4 * sheet.text * sheet.unit]
            write(sheet, f"{one}", place, layer="DIMENSIONS", size=0.75, align="TOP_CENTER")


def _plane(sheet: Sheet, analysis: Analysis, lines: list[str], plane: int, at: Array, warn: str) -> Array:
    """One plane unfolded, its lower left corner at `at`; how far measures stand out at both sides (2,)."""
    project = analysis.project
    roof, layout = project.roof, project.layout
    low = outline_of(project, plane).min(axis=0)
    shift = at - low
    outline = roof.planes.outline[plane]
    for ring in (outline.exterior, *outline.interiors):
        put(sheet, np.asarray(ring.coords)[:-1] + shift, "ROOF", close=True)
    spacing = project.panel.seam_spacing
    for ends in seam_numbers(project, plane)[0] + shift:
        put(sheet, ends, "SEAMS")
    for name, ring in standing(project, plane):
        put(sheet, ring + shift, "OBSTRUCTIONS", close=True)
        top = np.array([ring[:, 0].mean(), ring[:, 1].max() - 0.3 * sheet.text * sheet.unit])
        write(sheet, name, top + shift, layer="OBSTRUCTIONS", size=0.75, align="TOP_CENTER")
    for name, ring in glass(project, plane):
        _array(sheet, name, ring + shift)
    _count_seams(sheet, project, plane, shift)
    gap = sheet.text * sheet.unit
    slope, size = np.degrees(roof.planes.slope[plane]), np.ptp(outline_of(project, plane), axis=0)
    words = f"Plane {roof.planes.name[plane]}   slope {slope:.1f} deg   seams every {sheet.say(spacing)}"
    words += f"   {NOT_READY}" if warn else ""
    write(sheet, words, at + np.array([0.0, size[1] + 2.0 * gap]), size=1.4)
    dimension(sheet, at, at + np.array([size[0], 0.0]), -6.0 * gap)
    clamp = called_clamp(analysis)
    for row in np.flatnonzero(layout.row_plane == plane):
        _row(sheet, project, int(row), shift, clamp)
    beside = measure_rows(sheet, project, plane, shift)
    for k, line in enumerate(lines):
        write(sheet, line, at - np.array([0.0, (SCHEDULE + STEP * k) * gap]), size=0.9)
    if clamp >= 0 and layout.row_plane[layout.clamp_row[clamp]] == plane:
        _governing(sheet, analysis, clamp, shift)
        use = style.utilization_text(float(clamp_utilization(analysis)[clamp]))
        words = f"Clamp {layout.clamp_name[clamp]} in the ring governs: utilization {use}"
        write(sheet, words, at + np.array([0.0, size[1] + 4.4 * gap]), layer="GOVERNING")
    return beside


def _row(sheet: Sheet, project: Project, row: int, shift: Array, ringed: int) -> None:
    """Rail with its name, clamps with their distance from its left end, splices; one clamp has a ring."""
    layout, gap = project.layout, sheet.text * sheet.unit
    start, end = layout.row_start[row], layout.row_end[row]
    way = (end - start) / np.linalg.norm(end - start)
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    side = np.array([-way[1], way[0]])
    put(sheet, np.stack([start, end]) + shift, "RAILS")
    size = CLAMP * project.panel.seam_spacing
    on = np.flatnonzero(layout.clamp_row == row)
    apart = float(np.diff(layout.clamp_s[on]).min(initial=np.inf))
    words, small = _clamp_words(sheet, project, row)
    if small < LEAST:
        words, small = [told.partition(":")[0] for told in words], LEAST
    # Beside the seam, so that the words of the last clamp stay on the plane.
    beside = min(0.5 * min(apart, project.panel.seam_spacing), 0.85 * small * gap)
    ring = RING * project.panel.seam_spacing
    for clamp, told in zip(on, words, strict=True):
        place = layout.clamp_uv[clamp] + shift
        up = ring + 0.2 * gap if clamp == ringed else 0.6 * size
        sheet.space.add_blockref(
            "CLAMP",
            (place / sheet.unit).tolist(),
            dxfattribs={
                "layer": "CLAMPS",
                "xscale": size / sheet.unit,
                "yscale": size / sheet.unit,
                "rotation": turn,
            },
        )
        write(
            sheet,
            told,
            place + beside * way + up * side,
            layer="DIMENSIONS",
            size=small,
            turn=turn + 90.0,
            align="MIDDLE_LEFT",
        )
    for s in layout.splice_s[layout.splice_row == row]:
        middle = start + s * way + shift
        put(sheet, np.stack([middle - 0.6 * size * side, middle + 0.6 * size * side]), "SPLICES")
    left = float(layout.row_length[row] - layout.clamp_s[on].max(initial=0.0))  # beyond the last clamp
    below = beside + 0.5 * small * gap > left + 0.3 * gap  # its words
    clear = max(0.5 * gap, ring - left + 0.3 * gap if ringed == on[-1] else 0.0)
    _row_name(sheet, project, row, shift, clear, below=below)


def _row_name(sheet: Sheet, project: Project, row: int, shift: Array, clear: float, *, below: bool) -> None:
    """A row's name beyond the right end of its rail, clear of it and of the plane's edge; else under it."""
    layout, gap = project.layout, sheet.text * sheet.unit
    start, end = layout.row_start[row], layout.row_end[row]
    way = (end - start) / np.linalg.norm(end - start)
    side = np.array([-way[1], way[0]])
    name = layout.row_name[row]
    wide = 0.9 * LETTER * len(name) * gap + 0.4 * gap
    plane = int(layout.row_plane[row])
    out = shapely.LineString([end, end + 1e3 * way]).intersection(project.roof.planes.outline[plane].boundary)
    edge = float(shapely.distance(shapely.Point(end), out)) if not out.is_empty else np.inf
    if edge < clear + wide:  # on paper, not across the edge
        clear = max(clear, edge + 0.4 * gap)
    others = layout.row_start[(layout.row_plane == plane) & (np.arange(len(layout.row_name)) != row)] - end
    ahead, aside = others @ way, np.abs(others @ side)
    if np.any((ahead > 0.0) & (ahead < clear + wide) & (aside < gap)):
        under = (0.5 * CLAMP * project.panel.seam_spacing + 0.3 * gap) * side
        note(sheet, name, end + shift - under, float(np.degrees(np.arctan2(way[1], way[0]))), corner=3)
        return
    at = end + shift + clear * way + (-0.3 if below else 0.3) * gap * side
    note(sheet, name, at, float(np.degrees(np.arctan2(way[1], way[0]))), corner=1 if below else 7)


def _array(sheet: Sheet, name: str, ring: Array) -> None:
    """A solar array: its outline, crossed, and its name and size on a ground of its own."""
    put(sheet, ring, "SOLAR", close=True)
    for ends in (ring[[0, 2]], ring[[1, 3]]):
        put(sheet, ends, "SOLAR")
    wide, deep = np.ptp(ring, axis=0)
    words = f"{name}  {sheet.say(float(wide))} x {sheet.say(float(deep))}"
    note(sheet, words, ring.mean(axis=0), 0.0, layer="SOLAR", corner=5)


def _clamp_words(sheet: Sheet, project: Project, row: int) -> tuple[list[str], float]:
    """Number and distance of every clamp of a row, and size at which they fit below what is above the row."""
    layout, gap = project.layout, sheet.text * sheet.unit
    on = np.flatnonzero(layout.clamp_row == row)
    words = [
        f"{layout.clamp_name[clamp].removeprefix(f'{layout.row_name[row]}-')}: "
        f"{sheet.say(float(layout.clamp_s[clamp]))}"
        for clamp in on
    ]
    apart = float(np.diff(layout.clamp_s[on]).min(initial=np.inf))
    top = float(outline_of(project, int(layout.row_plane[row]))[:, 1].max() - layout.clamp_uv[on, 1].max())
    room = min(
        _room_above(project, row, 1.8 * gap) - 0.5 * CLAMP * project.panel.seam_spacing, top + 1.8 * gap
    )
    room -= 0.6 * CLAMP * project.panel.seam_spacing + 0.6 * gap
    return words, min(0.75, 0.55 * apart / gap, room / (LETTER * max(map(len, words)) * gap))


def _room_above(project: Project, row: int, dimension: float) -> float:
    """Distance up the slope to the next row over any part of a row, or to its dimension below it. [m]."""
    layout = project.layout
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    low, high = ends[..., 0].min(axis=1), ends[..., 0].max(axis=1)
    rise = ends[..., 1].min(axis=1) - ends[row, :, 1].max()
    over = np.flatnonzero((layout.row_plane == layout.row_plane[row]) & (rise > 1e-6))
    reach = np.array([left_reach(project.roof, layout, int(r)) for r in over])
    room = np.where(reach > AT_END, rise[over] - dimension, rise[over])
    near = (low[over] - reach < high[row]) & (high[over] > low[row])
    return float(room[near].min(initial=np.inf))


def _governing(sheet: Sheet, analysis: Analysis, clamp: int, shift: Array) -> None:
    """A ring around the governing clamp."""
    place = analysis.project.layout.clamp_uv[clamp] + shift
    radius = RING * analysis.project.panel.seam_spacing
    sheet.space.add_circle(
        (place / sheet.unit).tolist(), radius / sheet.unit, dxfattribs={"layer": "GOVERNING"}
    )
