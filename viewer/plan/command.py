"""The command `plan`."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, notice, print_json

OUTPUTS = ["plan.json", "planned.toml", "plan.png"]


@click.command(
    cls=Spoken,
    short_help="Find rows that hold the snow and pass the check at least material.",
    epilog="Example: eavewright plan project.toml --out plan",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="plan", show_default=True, help="Folder for the results.")
@click.option(
    "--compare",
    nargs=2,
    type=click.IntRange(1, 50),
    metavar="N M",
    help="Also plan with clamps on every N-th and on every M-th seam only, side by side.",
)
@click.option("--picture/--no-picture", default=True, show_default=True, help="Draw plan.png.")
def plan(project: Path, out: Path, compare: tuple[int, int] | None, picture: bool) -> None:
    """Find rows for PROJECT: how many, where up the slope, from where to where, on which seams.

    The tables [[protect]] say what no snow may slide onto (all around the roof without them), [plan] what may
    be chosen. Rows in the project do not count. planned.toml is the project with the rows found, to be
    checked and changed. Exit code 0: rows found that keep every limit. 1: none found (the best are written),
    or a limit is not verified. 2: bad input, nothing written.
    """
    # Checks of rows are many small products: a second thread only waits for them, and burns a core.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    stages = Stages()
    with contextlib.ExitStack() as stack:
        stack.enter_context(stages)
        stages.show("reading the project")
        from roofmodel.errors import InputError
        from viewer.files import check_output, output_folder
        from viewer.picture.render import Renderer

        renderer = stack.enter_context(Renderer()) if picture else None  # loads while we compute
        from roofmodel.project.load import load_project
        from viewer.plan.run import compare_spacings, planned, write_plan

        if compare is not None and compare[0] == compare[1]:
            message = f"--compare {compare[0]} {compare[1]}: give two different spacings, like --compare 1 2"
            raise InputError(message)
        loaded = load_project(project, rows_needed=False, rows_count=False)
        check_output(out, list(loaded.inputs), OUTPUTS)
        stages.show("planning rows")

        def tell(words: str) -> None:
            stages.accept()  # what can be refused was, before anything is checked
            stages.step(words)

        found = planned(loaded, tell)
        beside = compare_spacings(loaded, compare, tell) if compare else ()
        folder = output_folder(out)
        stages.accept()
        stages.show("drawing and writing data")
        reason = write_plan(loaded, found, beside, folder, renderer)
    from viewer.plan.terminal import print_plan

    print_plan(found, beside, console())
    if reason and picture:
        notice(f"No picture: {reason}")
    print_json(folder / "plan.json")
    names = ", ".join(name for name in OUTPUTS if (folder / name).exists())
    console().print(f"Written to {folder}/: {names}", highlight=False)
    sys.exit(0 if found.passed else 1)
