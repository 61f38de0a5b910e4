"""The command `span`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from viewer.stages import Spoken, Stages, console, named, notice, print_json

if TYPE_CHECKING:
    from roofmodel.project.span_study import SpanStudy

OUTPUTS = (
    "spans.json", "spans.csv", "loads.csv", "conditions.csv", "spans.xlsx", "spans.pdf", "spans.html",
    "spans.png", "spans.svg",
)  # fmt: skip
CELL = ("cell/project.toml", "cell/clamps.csv")


@click.command(
    cls=Spoken,
    short_help="Which line load a rail carries over which span, and what governs.",
    epilog="Example: eavewright span models/cove-rails/spans.toml --out spans",
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="spans", show_default=True, help="Folder for the results.")
@click.option(
    "--cell",
    metavar="RAIL,ARRANGEMENT,SPAN,LOAD",
    help='Write the project of one cell into cell/, for `check`: "Cove 48, end span, 1.2 m, 2 kN/m".',
)
def span(file: Path, out: Path, cell: str | None) -> None:
    """Make span tables of the rails in FILE.

    FILE is TOML: [study] (spans, loads, arrangements), [panel], [clamp], [[rail]] and [design] as in a
    project. Start with `eavewright new spans`; `eavewright fields span` lists all fields. A
    quantity such as "4 to 5 kN" is a range: loads become bands, the tables take
    their low ends. Exit code 0: done. 1: NOT VERIFIED, as a
    strength, the anchorage or a deflection limit is missing, a number of the clamp is doubted or walls
    are not known. 2: bad input, nothing written.
    """
    with Stages() as stages:
        stages.show("reading the study")
        from fea.spans.study import run_study
        from roofmodel.project.span_study import load_study
        from viewer.files import check_output, output_folder, write_text
        from viewer.picture.drawing import drawing_svg, write_png
        from viewer.span.chart import study_drawing
        from viewer.span.export import write_book, write_conditions, write_loads, write_study, write_table
        from viewer.span.page import write_study_page
        from viewer.span.pdf import write_study_pdf

        study = load_study(file)
        written = list(OUTPUTS + CELL) if cell else list(OUTPUTS)
        check_output(out, list(study.inputs), written)
        stages.show("solving the rows")
        from roofmodel.errors import InputError

        try:
            project = None if cell is None else _cell(study, cell)  # first, as it is soon refused
            found = run_study(study)
        except InputError as error:
            message = f"{file.name}: {error}"
            raise InputError(message) from None
        folder = output_folder(out)
        stages.accept()
        stages.show("writing")
        drawing = study_drawing(found)
        write_study(found, folder / "spans.json")
        write_table(found, folder / "spans.csv")
        write_loads(found, folder / "loads.csv")
        write_conditions(found, folder / "conditions.csv")
        write_book(found, folder / "spans.xlsx")
        write_study_page(found, folder / "spans.html")
        write_study_pdf(found, folder / "spans.pdf")
        write_text(folder / "spans.svg", drawing_svg(drawing, study.table.study.name) + "\n")
        write_png(drawing, folder / "spans.png")
        if project is not None:
            output_folder(folder / "cell")
            write_text(folder / "cell" / "project.toml", project[0])
            write_text(folder / "cell" / "clamps.csv", project[1])
            for drawing_of, data in project[3].items():
                (folder / "cell" / drawing_of).write_bytes(data)
    from viewer.span.terminal import print_study

    print_study(found, console())
    if project is not None:
        notice(project[2])
    print_json(folder / "spans.json")
    console().print(f"Written to {folder}/: " + ", ".join(written), highlight=False)
    sys.exit(0 if found.verified else 1)


def _no_span(study: SpanStudy, rail: str, fitting: list[str]) -> str:
    """Why a span does not say on which of several seams a rail is."""
    from roofmodel.units import SYSTEMS

    if fitting:
        return f"is a span on several seam spacings; name one: {', '.join(fitting)}"
    units = SYSTEMS[study.table.study.units]
    spans = sorted({round(span, 9) for seam in study.seams for span in study.spans(seam).tolist()})
    listed = ", ".join(f"{units.convert(span, 'length'):.4g}" for span in spans)
    seams = " or ".join(units.text(seam, "size") for seam in study.seams)
    return (
        f"ends between seams; the spans of {rail} are {listed} {units.label('length')}, or other whole "
        f"multiples of {seams}"
    )


def _cell(study: SpanStudy, text: str) -> tuple[str, str, str, dict[str, bytes]]:
    """Project of a cell, its clamps, what it uses, and the drawings that it reads."""
    import numpy as np
    import tomlkit

    from fea.spans.cells import cell_project, worst_cell
    from fea.spans.study import study_choices, study_hardware, study_roof, tableau_name
    from roofmodel.errors import InputError
    from roofmodel.project.span_schema import LONGEST
    from roofmodel.project.span_study import OFF_SEAM
    from roofmodel.units import SYSTEMS, parse, shown

    parts, choices = [part.strip() for part in text.split(",")], study_choices(study)
    table, rails = study.table.study, range(len(study.table.rail))
    tables = {
        tableau_name(study, rail, seam, system): (rail, seam)
        for system in sorted(SYSTEMS, key=lambda one: one != table.units)
        for rail in rails
        for seam in study.seams
    }
    names = [tableau_name(study, rail, seam) for rail in rails for seam in study.seams]  # in its units
    known = [str(one) for one in choices.arrangements]
    if len(parts) != 4:
        right = f'"{names[0]}, {known[0]}, 1.2 m, 2 kN/m"'
        message = f"--cell: {shown(text)} must be rail, arrangement, span, load, like {right}"
        raise InputError(message)
    try:
        length, load = parse(parts[2], "length"), parse(parts[3], "line_load")
    except ValueError as error:
        message = f"--cell: {error}"
        raise InputError(message) from None
    named = [name for name in names if study.table.rail[tables[name][0]].name == parts[0]]
    fitting = [
        name
        for name, (_, seam) in tables.items()
        if name in named and abs(length - max(round(length / seam), 1) * seam) <= OFF_SEAM
    ]
    name = fitting[0] if len(fitting) == 1 else parts[0]  # its span may say on which seams it is
    for found, have, value, what in (
        (name in tables or bool(named), names, name, "rail"),
        (parts[1] in known, known, parts[1], "arrangement"),
    ):
        if not found:
            message = f"--cell: there is no {what} {shown(value)} in this study; it has {', '.join(have)}"
            raise InputError(message)
    if name not in tables:
        message = f"--cell: {shown(parts[2])} {_no_span(study, parts[0], fitting)}"
        raise InputError(message)
    rail, seam = tables[name]
    seams = max(round(length / seam), 1)
    if abs(length - seams * seam) > OFF_SEAM or length > LONGEST or not load > 0.0:
        units = SYSTEMS[table.units]
        size, far = units.text(seam, "size"), units.text(LONGEST, "length")
        message = (
            f"--cell: {shown(parts[2])}, {shown(parts[3])}: the span must be whole multiples of the seam "
            f"spacing {size}, to {far}, the load above 0"
        )
        raise InputError(message)
    arrangement = choices.arrangements[known.index(parts[1])]
    roof = study_roof(study)
    cells = [
        worst_cell(roof, study_hardware(study, one, rail, seam), choices, arrangement, length, load)
        for one in study.variants
    ]
    worst = int(np.argmax([one.utilization for one in cells]))  # one that is not verified comes first
    given = dict(study.variants[worst].tables)
    given["panel"] = {**given["panel"], "seam_spacing": f"{seam!r} m"}
    given["rail"] = {k: v for k, v in given["rail"][rail].items() if k != "name"}
    drawings = {}
    if "file" in (given["rail"].get("profile") or {}):
        source = study.path.parent / given["rail"]["profile"]["file"]
        given["rail"]["profile"] = {**given["rail"]["profile"], "file": source.name}
        drawings[source.name] = source.read_bytes()
    project, clamps = cell_project(cells[worst], choices, given, table.slope, table.panel_length, table.level)
    one = cells[worst]
    of_clamp = one.kind != "span"
    where = f"{one.limit}, {'clamp' if of_clamp else 'piece'} {one.target + of_clamp}"
    words = (
        f"Cell {text}: {one.utilization:.6f} of {where} ({one.line.words}); repeat it by `check`, whose roof "
        "is made up: NOT VERIFIED for the rail's height, clamps at edges of the sheet, snow that no row "
        "holds and clamps that differ from the planned ones say nothing of the cell there"
    )
    return tomlkit.dumps(project), clamps, words, drawings
