"""The command `blanket`."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, print_json

OUTPUTS = ("blanket.json", "blanket.csv", "blanket.png", "blanket.svg", "blanket.html", "layer.vtu")


@click.command(
    cls=Spoken,
    short_help="Follow the snow as a layer: row ends, sharing, gaps, single stops, thaw.",
    epilog="Example: eavewright blanket project.toml --out blanket",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="blanket", show_default=True, help="Folder for the results.")
def blanket(project: Path, out: Path) -> None:
    """Follow the snow of PROJECT as a layer that sticks, slips, cracks and leans on rows and stops.

    Compares the force on every row and clamp with its tributary value. The table [blanket] of the project
    says what is known of the snow; [[stops]] places single stops. Exit code 0: every clamp and stop keeps its
    strength under the layer and by `check`. 1: one does not, or is not verified, or the self-check failed.
    2: bad input, nothing written.
    """
    with Stages() as stages:
        stages.show("reading the project")
        from fea.blanket.study import study_blanket
        from roofmodel.project.load import load_project
        from viewer.blanket.export import write_blanket, write_layer, write_table
        from viewer.blanket.page import write_blanket_page
        from viewer.blanket.picture import blanket_drawing
        from viewer.files import check_output, output_folder, write_text
        from viewer.picture.drawing import drawing_svg, write_png

        loaded = load_project(project, rows_needed=False)
        check_output(out, list(loaded.inputs), list(OUTPUTS))
        stages.show("sliding the snow")
        study = study_blanket(loaded, stages.step)
        folder = output_folder(out)
        stages.accept()
        stages.show("drawing and writing data")
        write_blanket(study, folder / "blanket.json")
        write_table(study, folder / "blanket.csv")
        write_layer(study, folder / "layer.vtu")
        drawing = blanket_drawing(study)
        write_text(folder / "blanket.svg", drawing_svg(drawing, loaded.table.project.name) + "\n")
        write_png(drawing, folder / "blanket.png")
        write_blanket_page(study, folder / "blanket.html")
    from viewer.blanket.terminal import print_blanket

    print_blanket(study, console())
    print_json(folder / "blanket.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)
    sys.exit(0 if study.passed else 1)
