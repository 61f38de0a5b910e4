"""The command `section`."""

from __future__ import annotations

from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, notice, print_json

OUTPUTS = ("section.json", "section.png")


@click.command(
    cls=Spoken,
    short_help="Show a rail's section: values, walls, what buckling leaves.",
    epilog='Example: eavewright section rail.dxf --yield-strength "215 MPa" --out section',
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="section", show_default=True, help="Folder for the results.")
@click.option(
    "--unit",
    metavar="UNIT",
    help='Of a drawing that does not say it; "mm instead of in" where it says it wrong.',
)
@click.option("--layer", metavar="NAME", help="Layer of a drawing; all by default.")
@click.option(
    "--material",
    type=click.Choice(["steel", "stainless steel", "aluminum"]),
    default="aluminum",
    show_default=True,
)
@click.option(
    "--yield-strength", "strength", default="160 MPa", show_default=True, help="Of the metal, with its unit."
)
@click.option("--alloy", metavar="TEXT", default="", help='Alloy and temper, such as "EN AW-6082 T6".')
@click.option(
    "--buckling-class",
    "kind",
    type=click.Choice(["A", "B"]),
    default="B",
    show_default=True,
    help="Of aluminum by EN 1999-1-1 table 3.2; A wants --alloy.",
)
@click.option("--rail", "rail_name", metavar="NAME", help="Which one, of a span study with several.")
@click.option("--units", type=click.Choice(["SI", "US"]), default="SI", show_default=True)
@click.option("--format", "form", type=click.Choice(["ASD", "LRFD", "EN"]), default="EN", show_default=True)
def section(
    file: Path, out: Path, unit: str | None, layer: str | None, material: str, strength: str, alloy: str,
    kind: str, rail_name: str | None, units: str, form: str,
) -> None:  # fmt: skip
    """Show the rail section of FILE: a project.toml, a span study, or an outline as DXF or CSV.

    The options below --out but --rail are for outlines; a project or study says these things itself, with
    turn, holes and welds. Exit code 0: done. 1: local
    buckling is not known, as walls were not recognized, or tested moments are more than its section can
    hold. 2: bad input, nothing written.
    """
    import numpy as np

    with Stages() as stages:
        stages.show("reading the section")
        from viewer.files import check_output, output_folder
        from viewer.picture.drawing import write_png
        from viewer.section.export import write_section
        from viewer.section.picture import section_drawing
        from viewer.section.read import see_section

        seen = see_section(file, unit, layer, (material, strength, alloy, kind), units, form, rail_name)
        check_output(out, list(seen.inputs), list(OUTPUTS))
        folder = output_folder(out)
        stages.accept()
        write_section(seen, folder / "section.json")
        write_png(section_drawing(seen), folder / "section.png")
    from viewer.section.words import effective_table, notes, section_table
    from viewer.terminal import print_table

    for table in (section_table(seen), effective_table(seen)):
        print_table(console(), table)
    for line in notes(seen):
        console().print(f"- {line}", highlight=False, markup=False)
    print_json(folder / "section.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)
    unknown = bool(np.isnan(seen.left.share).any())
    if unknown:
        from fea.sections.lost_walls import lost_words

        where = lost_words(seen.profile, seen.units)
        notice(" ".join(["Local buckling is not known: some walls were not recognized.", *where]))
    for line in seen.doubts:
        notice(f"NOT VERIFIED: {line}.")
    raise SystemExit(int(unknown or bool(seen.doubts)))
