"""plan.dxf: where rails and clamps go, for the installer; every plane unfolded in true size.

Drawing units are millimeters or inches. Each plane with rows lies flat, seen square to the sheet from
outside, its eave below. Lengths along the slope are true.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.project.load import Project
from roofmodel.project.placement import left_reach, seam_grid
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.files import atomic
from viewer.handover.row_lines import AT_END, eave_corner, foot_below, row_lines, seam_numbers
from viewer.handover.shapes import clamp_block, standing
from viewer.handover.sheets import TEXT, Place, add_sheets, scale_for
from viewer.package.bill import NOT_READY, Bill, missing_splices, rail_words, splice_caution, splice_note
from viewer.picture.findings import called_clamp, clamp_utilization
from viewer.unheld import falling_sentence

if TYPE_CHECKING:
    from ezdxf.layouts import Modelspace

Array = NDArray[np.float64]

# Layer: (DXF color index, line weight in 1/100 mm)
LAYERS = {
    "ROOF": (7, 35),
    "OBSTRUCTIONS": (8, 25),
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
LEAST = 0.5  # size of words at clamps over that of text; smaller ones cannot be read on paper [-]
CLAMP = 0.35  # size of a clamp on paper over the spacing of seams [-]
LINE = 150  # letters of a line of notes
STEP, LETTER = 1.7, 0.62  # line spacing and width of a letter over the height of text [-]
SCHEDULE = 9.0  # the lines about rows begin so far below the plane, over the height of text [-]
INCH, MILLIMETER = 1, 4  # $INSUNITS of the DXF reference


@dataclass(frozen=True)
class _Sheet:
    """Where drawing goes, its unit in meters, its text size in drawing units, how lengths read."""

    space: Modelspace
    unit: float
    text: float
    system: str

    def say(self, length: float) -> str:
        """A length [m] as an installer reads a tape."""
        return inches(length) if self.system == "US" else f"{1e3 * length:.0f}"


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
    said = (splice_caution(project, bill), falling_sentence(analysis, SYSTEMS[system]))
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
    sizes = np.array([np.ptp(_outline(project, p), axis=0) for p in planes])
    scale = scale_for(sizes.max(axis=0), system)
    sheet = _Sheet(drawing.modelspace(), unit, TEXT * 1e-3 * scale / unit, system)
    _dimension_style(drawing, sheet)
    gap = sheet.text * unit
    at = np.zeros(2)
    _title(sheet, project, bill, planes, at, warn, lines)
    at -= [0.0, (9.0 + 2.0 * len(lines)) * gap]
    places = []
    for plane, size in zip(planes, sizes, strict=True):
        at -= [0.0, size[1] + 16.0 * gap]
        told = row_lines(project, bill, plane, sheet.say)
        for row in np.flatnonzero(project.layout.row_plane == plane).tolist():
            words, small = _clamp_words(sheet, project, row)
            if small < LEAST:  # no room at the rail
                told += textwrap.wrap(f"Clamps of {project.layout.row_name[row]}: {';  '.join(words)}", LINE)
        _plane(sheet, analysis, told, plane, at.copy(), warn)
        around = np.array([14.0, 13.0]) * gap
        below = np.array([0.0, STEP * len(told) * gap])
        wide = max(float(size[0]) + around[0], LETTER * max(map(len, told)) * gap)
        high = np.array([at[0] + wide, at[1] + size[1] + around[1]])
        places.append(Place(f"Plane {project.roof.planes.name[plane]}", at - around - below, high))
        at -= [0.0, 16.0 * gap + below[1]]
    places.insert(0, _overview(sheet, project, at - [0.0, 6.0 * gap]))
    add_sheets(drawing, project, places, scale, warn, loud, today or date.today())
    with atomic(path) as temporary:
        drawing.saveas(temporary)


def _dimension_style(drawing: Any, sheet: _Sheet) -> None:
    """Dimensions with oblique ticks and their words above the line."""
    look, size = drawing.dimstyles.new("PLAN"), sheet.text
    look.dxf.dimtxt, look.dxf.dimtsz, look.dxf.dimasz = size, 0.5 * size, 0.5 * size
    look.dxf.dimexo, look.dxf.dimexe, look.dxf.dimgap = 0.4 * size, 0.5 * size, 0.35 * size
    look.dxf.dimtad, look.dxf.dimdec, look.dxf.dimscale = 1, 0, 1.0
    look.dxf.dimtih, look.dxf.dimtoh = 0, 0
    look.dxf.dimclrd, look.dxf.dimclre, look.dxf.dimclrt = 8, 8, 7
    look.dxf.dimtxsty = "PLAIN"


def inches(length: float) -> str:
    """Feet and inches of a length [m] to the nearest sixteenth, such as 12'-3 1/4 and the mark of inches."""
    sixteenths = round(length / 0.0254 * 16.0)
    feet, rest = divmod(abs(sixteenths), 192)
    whole, part = divmod(rest, 16)
    below = 16
    while part and part % 2 == 0:
        part, below = part // 2, below // 2
    sign = "-" if sixteenths < 0 else ""
    fraction = f" {part}/{below}" if part else ""
    return f"{sign}{feet}'-{whole}{fraction}\"" if feet else f'{sign}{whole}{fraction}"'


def _outline(project: Project, plane: int) -> Array:
    return np.asarray(project.roof.planes.outline[plane].exterior.coords)


def _put(sheet: _Sheet, points: Array, layer: str, *, close: bool = False) -> None:
    sheet.space.add_lwpolyline((points / sheet.unit).tolist(), close=close, dxfattribs={"layer": layer})


def _write(
    sheet: _Sheet,
    words: str,
    at: Array,
    *,
    layer: str = "TEXT",
    size: float = 1.0,
    turn: float = 0.0,
    align: str = "BOTTOM_LEFT",
) -> None:
    from ezdxf.enums import TextEntityAlignment

    text = sheet.space.add_text(
        words,
        height=size * sheet.text,
        rotation=turn,
        dxfattribs={"layer": layer, "style": "PLAIN"},
    )
    text.set_placement((at / sheet.unit).tolist(), align=TextEntityAlignment[align])


def _title(
    sheet: _Sheet,
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
    missing = missing_splices(bill).count
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
    _write(sheet, lines[0], at, size=1.8)
    if warn:
        _write(sheet, warn, at + np.array([0.0, 3.5 * sheet.text * sheet.unit]), size=1.8, layer="CLAMPS")
    if project.table.as_built is not None:
        lines += (f"Clamps as measured on site ({project.table.as_built.file})",)
    for number, words in enumerate(lines[1:], 1):
        _write(sheet, words, at + number * step)


def _count_seams(sheet: _Sheet, project: Project, plane: int, shift: Array) -> None:
    """Numbers at the lower ends of seams, the first and every fifth."""
    flat, before = seam_numbers(project, plane)
    if before is None:
        return
    spacing = project.panel.seam_spacing
    angle, first = seam_grid(project.table.plane, project.roof.planes.name[plane], spacing)
    across = np.array([np.cos(angle), -np.sin(angle)])
    left = float((_outline(project, plane) @ across).min()) + first
    number = np.rint((flat[:, 0] @ across - left) / spacing).astype(int) + before
    foot = flat[np.arange(len(flat)), flat[..., 1].argmin(axis=1)]
    for one in np.unique(number):
        if one == 1 or one % 5 == 0:
            ends = foot[number == one]
            place = ends[ends[:, 1].argmin()] + shift - [0.0, 0.4 * sheet.text * sheet.unit]
            _write(sheet, f"{one}", place, layer="DIMENSIONS", size=0.75, align="TOP_CENTER")


def _plane(sheet: _Sheet, analysis: Analysis, lines: list[str], plane: int, at: Array, warn: str) -> None:
    """One plane unfolded, its lower left corner at `at`."""
    project = analysis.project
    roof, layout = project.roof, project.layout
    low = _outline(project, plane).min(axis=0)
    shift = at - low
    outline = roof.planes.outline[plane]
    for ring in (outline.exterior, *outline.interiors):
        _put(sheet, np.asarray(ring.coords)[:-1] + shift, "ROOF", close=True)
    spacing = project.panel.seam_spacing
    for ends in seam_numbers(project, plane)[0] + shift:
        _put(sheet, ends, "SEAMS")
    for name, ring in standing(project, plane):
        _put(sheet, ring + shift, "OBSTRUCTIONS", close=True)
        top = np.array([ring[:, 0].mean(), ring[:, 1].max() - 0.3 * sheet.text * sheet.unit])
        _write(sheet, name, top + shift, layer="OBSTRUCTIONS", size=0.75, align="TOP_CENTER")
    _count_seams(sheet, project, plane, shift)
    gap = sheet.text * sheet.unit
    slope, size = np.degrees(roof.planes.slope[plane]), np.ptp(_outline(project, plane), axis=0)
    words = f"Plane {roof.planes.name[plane]}   slope {slope:.1f} deg   seams every {sheet.say(spacing)}"
    words += f"   {NOT_READY}" if warn else ""
    _write(sheet, words, at + np.array([0.0, size[1] + 2.0 * gap]), size=1.4)
    _dimension(sheet, at, at + np.array([size[0], 0.0]), -6.0 * gap)
    for row in np.flatnonzero(layout.row_plane == plane):
        _row(sheet, project, int(row), shift)
    for k, line in enumerate(lines):
        _write(sheet, line, at - np.array([0.0, (SCHEDULE + STEP * k) * gap]), size=0.9)
    clamp = called_clamp(analysis)
    if clamp >= 0 and layout.row_plane[layout.clamp_row[clamp]] == plane:
        _governing(sheet, analysis, clamp, shift)
        use = style.utilization_text(float(clamp_utilization(analysis)[clamp]))
        words = f"Clamp {layout.clamp_name[clamp]} in the ring governs: utilization {use}"
        _write(sheet, words, at + np.array([0.0, size[1] + 4.4 * gap]), layer="GOVERNING")


def _row(sheet: _Sheet, project: Project, row: int, shift: Array) -> None:
    """Rail with its name, clamps with their distance from its left end, splices, its place."""
    layout, gap = project.layout, sheet.text * sheet.unit
    start, end = layout.row_start[row], layout.row_end[row]
    way = (end - start) / np.linalg.norm(end - start)
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    side = np.array([-way[1], way[0]])
    _put(sheet, np.stack([start, end]) + shift, "RAILS")
    size = CLAMP * project.panel.seam_spacing
    on = np.flatnonzero(layout.clamp_row == row)
    apart = float(np.diff(layout.clamp_s[on]).min(initial=np.inf))
    words, small = _clamp_words(sheet, project, row)
    if small < LEAST:
        words, small = [told.partition(":")[0] for told in words], 0.6
    for clamp, told in zip(on, words, strict=True):
        place = layout.clamp_uv[clamp] + shift
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
        _write(
            sheet,
            told,
            place + 0.5 * min(apart, project.panel.seam_spacing) * way + 0.6 * size * side,
            layer="DIMENSIONS",
            size=small,
            turn=turn + 90.0,
            align="MIDDLE_LEFT",
        )
    for s in layout.splice_s[layout.splice_row == row]:
        middle = start + s * way + shift
        _put(sheet, np.stack([middle - 0.6 * size * side, middle + 0.6 * size * side]), "SPLICES")
    left = float(layout.row_length[row] - layout.clamp_s[on].max(initial=0.0))  # beyond the last clamp
    below = 0.5 * (min(apart, project.panel.seam_spacing) + small * gap) > left + 0.3 * gap  # its words
    name = end + shift + 0.5 * gap * way + (-0.3 if below else 0.3) * gap * side
    _note(sheet, layout.row_name[row], name, turn, corner=1 if below else 7)
    _places(sheet, project, row, shift, way)


def _clamp_words(sheet: _Sheet, project: Project, row: int) -> tuple[list[str], float]:
    """Number and distance of every clamp of a row, and size at which they fit below what is above the row."""
    layout, gap = project.layout, sheet.text * sheet.unit
    on = np.flatnonzero(layout.clamp_row == row)
    words = [
        f"{layout.clamp_name[clamp].removeprefix(f'{layout.row_name[row]}-')}: "
        f"{sheet.say(float(layout.clamp_s[clamp]))}"
        for clamp in on
    ]
    apart = float(np.diff(layout.clamp_s[on]).min(initial=np.inf))
    top = float(_outline(project, int(layout.row_plane[row]))[:, 1].max() - layout.clamp_uv[on, 1].max())
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


def _governing(sheet: _Sheet, analysis: Analysis, clamp: int, shift: Array) -> None:
    """A ring around the governing clamp."""
    place = analysis.project.layout.clamp_uv[clamp] + shift
    radius = 0.45 * analysis.project.panel.seam_spacing
    sheet.space.add_circle(
        (place / sheet.unit).tolist(), radius / sheet.unit, dxfattribs={"layer": "GOVERNING"}
    )


def _note(sheet: _Sheet, words: str, at: Array, turn: float, *, layer: str = "TEXT", corner: int = 1) -> None:
    """A line of text on a ground of its own, so that seams do not run through it; `at` is its corner."""
    note = sheet.space.add_mtext(
        words, dxfattribs={"layer": layer, "style": "PLAIN", "char_height": 0.9 * sheet.text}
    )
    note.set_location((at / sheet.unit).tolist(), rotation=turn, attachment_point=corner)
    note.set_bg_color("canvas", scale=1.15)


def _places(sheet: _Sheet, project: Project, row: int, shift: Array, way: Array) -> None:
    """Height of the ends over the lower edge, and the left end's distance from the plane's left end."""
    layout, outline = project.layout, project.roof.planes.outline[project.layout.row_plane[row]]
    gap = sheet.text * sheet.unit
    start, end = layout.row_start[row], layout.row_end[row]
    low, _, high, _ = outline.bounds
    rank = int((layout.row_plane[:row] == layout.row_plane[row]).sum())
    longest = max(
        len(n) for n, p in zip(layout.row_name, layout.row_plane, strict=True) if p == layout.row_plane[row]
    )
    inside = min(0.3, 0.2 * float(np.linalg.norm(end - start))) * way  # a rake may lean over the end
    spacing = project.panel.seam_spacing
    found = []
    along = []
    for place, step, out in (
        (start + inside, inside, start[0] - low),
        (end - inside, -inside, high - end[0]),
    ):
        foot, next_foot = foot_below(outline, place), foot_below(outline, place + 0.2 * step)
        if foot is not None and np.linalg.norm(foot - place) > 1e-3:
            found.append((foot, place, out))
            along.append(next_foot is not None and np.allclose(next_foot - foot, 0.2 * step, atol=1e-3))
    if any(along):  # no measure to a valley, which says nothing of where the row lies
        found = [one for one, level in zip(found, along, strict=True) if level]
    below = -0.5 * CLAMP * spacing - 1.8 * gap  # of the rail, clear of its clamps
    if (corner := eave_corner(project, row)) is not None:  # valleys at both ends: up from the eave's own end
        above = np.array([corner[0], start[1]])
        found = [(corner, above, above[0] - low)]
        _dimension(sheet, start + shift, above + shift, below)
    heights = [float(np.linalg.norm(place - foot)) for foot, place, _ in found]
    if len(found) == 2 and abs(heights[0] - heights[1]) < 3e-3:
        found = [min(found, key=lambda end: end[2])]  # one says it all
    for foot, place, out in found:
        turn = 1.0 if place is found[0][1] and place[0] - low <= high - place[0] else -1.0
        beyond = 3.0 if turn > 0.0 else max(3.0, 2.6 + 0.9 * LETTER * longest)  # names stand at right ends
        _dimension(sheet, foot + shift, place + shift, turn * (out + spacing + (beyond + 3.0 * rank) * gap))
    reach = left_reach(project.roof, layout, row)
    if reach > AT_END:
        _dimension(sheet, start - reach * way + shift, start + shift, below)


def _dimension(sheet: _Sheet, a: Array, b: Array, away: float) -> None:
    """A dimension of a -> b, its line at a distance to the left of it. [m]."""
    length = float(np.linalg.norm(b - a))
    words = "<>" if sheet.system == "SI" else sheet.say(length)
    dimension = sheet.space.add_aligned_dim(
        p1=(a / sheet.unit).tolist(),
        p2=(b / sheet.unit).tolist(),
        distance=away / sheet.unit,
        text=words,
        dimstyle="PLAN",
        dxfattribs={"layer": "DIMENSIONS"},
    )
    wide = 0.75 * len(sheet.say(length)) * sheet.text * sheet.unit
    if length < wide + 1.5 * sheet.text * sheet.unit:  # beyond the end, where it has room
        dimension.shift_text((0.5 * (length + wide) / sheet.unit + 0.8 * sheet.text), 0.0)
    dimension.render()


def _free_place(project: Project, plane: int, clear: float) -> shapely.Point:
    """A place on a plane away from its rows."""
    layout, outline = project.layout, project.roof.planes.outline[plane]
    on = layout.row_plane == plane
    rows = shapely.linestrings(np.stack([layout.row_start[on], layout.row_end[on]], axis=1))
    free = shapely.difference(outline, shapely.union_all(shapely.buffer(rows, clear)))
    parts = shapely.get_parts(free)
    best = outline if not len(parts) else parts[int(np.argmax(shapely.area(parts)))]
    return shapely.Point(
        shapely.centroid(best) if best.contains(best.centroid) else best.representative_point()
    )


def _overview(sheet: _Sheet, project: Project, at: Array) -> Place:
    """The roof seen from above with its planes and rows, north up; its top left corner at `at`."""
    roof, layout = project.roof, project.layout
    low, high = roof.points[:, :2].min(axis=0), roof.points[:, :2].max(axis=0)
    shift = at + np.array([-low[0], -high[1]])
    gap = sheet.text * sheet.unit
    _write(sheet, "Seen from above, north up", at + np.array([0.0, 2.0 * gap]), size=1.4)
    for start, end in zip(roof.edges.start[:, :2], roof.edges.end[:, :2], strict=True):
        _put(sheet, np.stack([start, end]) + shift, "ROOF")
    for one in np.flatnonzero(~roof.obstacles.parapet):
        foot = roof.obstacles.start[roof.obstacles.face == one, :2]
        _put(sheet, foot + shift, "OBSTRUCTIONS", close=True)
    for plane, name in enumerate(roof.planes.name):
        middle = shapely.get_coordinates(_free_place(project, plane, 2.0 * gap))
        place = roof.planes.to_world(plane, middle)[0, :2] + shift
        words = f"{name}  {np.degrees(roof.planes.slope[plane]):.1f} deg"
        wide = np.ptp(roof.planes.to_world(plane, _outline(project, plane))[:, 0])
        if wide < 0.9 * LETTER * len(words) * gap:
            words = name  # no room for more on a dormer
        _note(sheet, words, place, 0.0, corner=5)
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    world = roof.planes.to_world(np.repeat(layout.row_plane, 2), ends.reshape(-1, 2)).reshape(-1, 2, 3)
    for row, line in enumerate(world[..., :2]):
        _put(sheet, line + shift, "RAILS")
        way = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
        turn = float(np.degrees(np.arctan2(way[1], way[0])))
        turn = turn - 180.0 if turn > 90.0 or turn <= -90.0 else turn
        third = line[0] + 0.3 * (line[1] - line[0]) + shift
        third += 0.5 * gap * np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        _write(sheet, f"row {layout.row_name[row]}", third, size=0.9, turn=turn, align="BOTTOM_CENTER")
    arrow = at + np.array([high[0] - low[0] + 4.0 * gap, -6.0 * gap])
    _put(sheet, arrow + gap * np.array([[0.0, -3.0], [0.0, 3.0], [-0.8, 1.2]]), "TEXT")
    _put(sheet, arrow + gap * np.array([[0.0, 3.0], [0.8, 1.2]]), "TEXT")
    _write(sheet, "N", arrow + np.array([0.0, 3.6 * gap]), align="BOTTOM_CENTER")
    size = high - low
    around = np.array([8.0, 8.0]) * gap
    return Place("Roof from above", at - [0.0, size[1]] - around, at + np.array([size[0], 0.0]) + around)
