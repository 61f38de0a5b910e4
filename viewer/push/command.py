"""The command `push`."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, print_json

OUTPUTS = ("push.json", "push.csv", "events.csv", "push.png", "push.svg")
SHARE = click.FloatRange(0.0, 1.0)


@click.command(
    cls=Spoken,
    short_help="Virtual test: push the rows of a plane with snow until one lets go.",
    epilog="Example: eavewright push project.toml --slip-keeps 0.7 --out push",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="push", show_default=True, help="Folder for the results.")
@click.option("--row", metavar="NAME", help="Row whose plane is pushed; the one that governs by default.")
@click.option("--case", metavar="NAME", help="Snow case; the row's worst by default.")
@click.option(
    "--slip-keeps",
    type=SHARE,
    metavar="SHARE",
    help="Share that a clamp keeps along its seam once it slips; by default clamp.slip_residual.",
)
@click.option(
    "--off-keeps",
    type=SHARE,
    default=0.0,
    metavar="SHARE",
    help="Share of its forces that a clamp keeps once it comes off its seam.  [default: 0, brittle]",
)
@click.option(
    "--anchorage-keeps",
    type=SHARE,
    default=0.0,
    metavar="SHARE",
    help="Share that the clamps of a seam keep once its fixed point lets go.  [default: 0, brittle]",
)
@click.option(
    "--unzip",
    type=click.FloatRange(0.0, 1.0, max_open=True),
    default=0.0,
    metavar="SHARE",
    help="Share of strength that a seam which opens takes from its other clamps.  [default: 0]",
)
@click.option(
    "--nominal",
    is_flag=True,
    help="Strengths as given and loads without factors, to compare with tests; not for design.",
)
@click.option(
    "--up-to",
    type=click.FloatRange(0.1, 1000.0),
    default=20.0,
    show_default=True,
    help="Times the snow at which to stop if everything still holds.",
)
def push(
    project: Path,
    out: Path,
    row: str | None,
    case: str | None,
    slip_keeps: float | None,
    off_keeps: float,
    anchorage_keeps: float,
    unzip: float,
    nominal: bool,
    up_to: float,
) -> None:
    """Push the rows of one plane of PROJECT: snow grows until nothing more can be held.

    Clamps slip or come off, fixed points let go and the rail bends on, one after the other; the curve of load
    over displacement has every event. Exit code 0: nothing gives way below the factored snow, here or in the
    check. 1: something does, a strength is missing, or there is no answer. 2: bad input, nothing written.
    """
    with Stages() as stages:
        stages.show("reading the project")
        from fea.push.project import check_pushed, push_project
        from fea.push.watch import Failures
        from roofmodel.errors import InputError
        from roofmodel.project.load import load_project
        from viewer.analyzing import analyze_project
        from viewer.files import check_output, output_folder, write_text
        from viewer.picture.drawing import drawing_svg, write_png
        from viewer.push.drawing import push_drawing
        from viewer.push.export import write_curve, write_events, write_push

        loaded = load_project(project)
        check_output(out, list(loaded.inputs), list(OUTPUTS))
        kept = loaded.clamp.residual if slip_keeps is None else slip_keeps
        failures = Failures(kept, off_keeps, anchorage_keeps, unzip)
        try:
            check_pushed(loaded.layout, row)
            stages.show("analyzing")
            analysis = analyze_project(loaded, stages.step)
            stages.show("pushing")
            found = push_project(analysis, failures, row=row, case=case, nominal=nominal, growth=up_to)
        except InputError as error:
            message = f"{project.name}: {error}"
            raise InputError(message) from None
        folder = output_folder(out)
        stages.accept()
        stages.show("drawing and writing data")
        drawing = push_drawing(analysis, found)
        write_push(analysis, found, folder / "push.json")
        write_curve(analysis, found, folder / "push.csv")
        write_events(analysis, found, folder / "events.csv")
        write_text(folder / "push.svg", drawing_svg(drawing, "Load over displacement") + "\n")
        write_png(drawing, folder / "push.png")
    from viewer.push.words import print_push

    print_push(analysis, found, console())
    print_json(folder / "push.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)
    sys.exit(0 if found.passes else 1)
