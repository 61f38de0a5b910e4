"""The command `new`."""

from __future__ import annotations

from pathlib import Path

import click
from click.core import ParameterSource

from viewer.stages import Spoken, console


@click.command(
    cls=Spoken,
    short_help="Write a commented starting project, or file of tests, spans or an investigation.",
    epilog="Example: eavewright new gable --units US --out project.toml; "
    "eavewright new found --project project.toml",
)
@click.argument(
    "shape",
    type=click.Choice(["shed", "gable", "hip", "L", "two-level", "imported", "tests", "spans", "found"]),
    required=False,
)
@click.option(
    "--builds-on",
    type=click.Path(path_type=Path),
    metavar="PROJECT",
    help="In place of a shape: a second file that says what PROJECT differs in by --standard.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("project.toml"),
    show_default=True,
    help="File to write; tests.toml, spans.toml or found.toml for these.",
)
@click.option(
    "--project",
    type=click.Path(path_type=Path),
    help="With found: project of the roof whose clamps came off.",
)
@click.option("--units", type=click.Choice(["SI", "US"]), default="SI", show_default=True)
@click.option(
    "--standard",
    type=click.Choice(["EN 1991-1-3", "ASCE/SEI 7-22", "ASCE/SEI 7-16", "NBCC 2020"]),
    help="Snow standard; EN 1991-1-3 with SI units, ASCE/SEI 7-22 with US units by default.",
)
def new(
    shape: str | None,
    builds_on: Path | None,
    out: Path,
    project: Path | None,
    units: str,
    standard: str | None,
) -> None:
    """Write a commented project file for a roof SHAPE, ready to edit.

    With tests or spans in its place: the file of a test campaign (`--out pull.toml` says its direction), or
    of a span study. With found: the file of an investigation of the roof of --project.

    With --builds-on instead, a second file for the roof of another project by another --standard: its own
    [site] and [design], and [clamp] and [panel] with the strengths to be filled in.
    """
    if (shape is None) is (builds_on is None):
        message = "give a SHAPE, or --builds-on PROJECT in its place"
        raise click.UsageError(message)
    if (shape == "found") is (project is None):
        message = "found wants --project, the file of the roof; nothing else takes one"
        raise click.UsageError(message)
    given = click.get_current_context().get_parameter_source("out") is not ParameterSource.DEFAULT
    if project is not None:
        from viewer.investigate.starter import write_found

        words = write_found(project, out if given else Path("found.toml"))
    elif builds_on is not None:
        if standard is None:
            message = "--builds-on wants --standard, the one to be added"
            raise click.UsageError(message)
        from viewer.new.second_file import write_second

        write_second(builds_on, standard, out)
        words = (
            f"Wrote {out}, which builds on {builds_on}. Fill in what it says, then run: eavewright check "
            f"{builds_on} --compare {out} --out results"
        )
    else:
        from viewer.starter import to_do, write_starter

        kind = str(shape)
        path = Path(f"{kind}.toml") if kind in ("tests", "spans") and not given else out
        write_starter(kind, units, path, standard)
        words = f"Wrote {path}. Its numbers are examples: replace them by those of your {to_do(kind, path)}"
    console().print(words, highlight=False, markup=False, soft_wrap=True)
