"""The command `handover`."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, notice, print_json


@click.command(
    cls=Spoken,
    short_help="Write the calculation package (PDF), installer's plan, quantities, workbook, 3D model.",
    epilog="Example: eavewright handover project.toml --out handover",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="handover", show_default=True, help="Folder for the files.")
@click.option(
    "--picture/--no-picture", default=True, show_default=True, help="Put 3D pictures into the package."
)
def handover(project: Path, out: Path, picture: bool) -> None:
    """Check PROJECT and write what others need of it.

    package.pdf and package.html are the whole calculation; plan.dxf shows the installer every rail and
    clamp on unfolded planes; quantities.csv and tables.xlsx say what to buy and what was found; roof.glb and
    model.vtm open in any 3D viewer. Exit code as of `check`: 0 every limit kept, 1 something exceeds its
    limit, is not verified or not settled, 2 bad input, nothing written.
    """
    stages = Stages()
    with contextlib.ExitStack() as stack:
        stack.enter_context(stages)
        stages.show("reading the project")
        from viewer.picture.render import Renderer

        renderer = stack.enter_context(Renderer()) if picture else None  # loads while we compute
        from roofmodel.project.load import load_project
        from viewer.analyzing import analyze_project
        from viewer.files import check_output, output_folder
        from viewer.handover.run import OUTPUTS, write_handover, written
        from viewer.package.sway import sway_findings

        loaded = load_project(project)
        check_output(out, list(loaded.inputs), list(OUTPUTS))
        stages.show("analyzing")
        analysis = analyze_project(loaded, stages.step)
        stages.show("running the check again with other inputs")
        sway = sway_findings(analysis)  # all that can fail comes before the first file
        folder = output_folder(out)
        stages.accept()
        from viewer.picture.deflected_sheet import finish_deflected, start_deflected
        from viewer.picture.draw import Picture, finish_picture, start_picture

        drawn = bent = Picture(None, "left out on request (--no-picture)")
        if renderer is not None:
            stages.show("drawing")
            started, bending = start_picture(analysis, renderer), start_deflected(analysis, renderer)
            drawn = finish_picture(started, folder / "utilization.png")
            bent = finish_deflected(bending, folder / "deflected.png")
        bill = write_handover(
            analysis, folder, drawn.path, drawn.reason, stages.show, sway=sway, deflected=bent.path
        )
    from viewer.handover.terminal import print_handover

    print_handover(analysis, bill, console())
    if drawn.reason and picture:
        notice(f"No picture: {drawn.reason}")
    print_json(folder / "handover.json")
    console().print(f"Written to {folder}/: " + ", ".join(written(folder)), highlight=False)
    sys.exit(0 if analysis.passed else 1)
