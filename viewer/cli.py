"""The command line. Heavy modules are imported where a command needs them, so that help is quick."""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from viewer.app.command import open_command
from viewer.blanket.command import blanket
from viewer.handover.command import handover
from viewer.history.command import history
from viewer.investigate.command import investigate
from viewer.plan.command import plan
from viewer.push.command import push
from viewer.risk.command import risk
from viewer.screen.command import screen
from viewer.section.command import section
from viewer.span.command import span
from viewer.stages import Commands, Stages, complain, console, named, notice, print_json
from viewer.strength.command import tests

if TYPE_CHECKING:
    from fea.analysis import Analysis
    from fea.sensitivity import Tolerance
    from viewer.picture.render import Renderer

OUTPUTS = [
    "results.json",
    "attachments.csv",
    "utilization.png",
    "roof.vtu",
    "rails.vtu",
    "clamps.vtu",
    "structure.inp",
    "building.csv",
    "report.html",
]

ROOF_OUTPUTS = ["roof.png", "roof.json"]
SNOW_OUTPUTS = ["snow.json", "snow.csv", "snow.png", "snow.html"]

SCHEMAS = [
    "blanket",
    "handover",
    "history",
    "investigation",
    "plan",
    "push",
    "results",
    "risk",
    "roof",
    "screen",
    "seam",
    "section",
    "snow",
    "spans",
    "tests",
]

SEAM_OUTPUTS = ["seam.json", "seam.png", "seam.vtu", "seam.inp", "seam.html"]

CODES = (
    "Exit codes: 0 done and every limit kept, 1 something exceeds its limit, is not verified or not "
    "settled, 2 bad input (nothing written), 3 a defect of the program, 130 stopped."
)

CAUTION = (
    "Results need review by a licensed engineer; local code governs; clamp strengths must come from tests "
    "by the maker. Falling snow and work at height kill."
)


def _print_version(context: click.Context, option: click.Parameter, wanted: bool) -> None:
    if wanted:
        from importlib import metadata

        try:
            version = metadata.version("eavewright")
        except metadata.PackageNotFoundError:
            version = "unknown (run from its source, not installed)"
        click.echo(f"eavewright, version {version}")
        context.exit()


@click.group(
    cls=Commands,
    help="Will the snow on this metal roof stay put, which attachment governs, and by what margin?",
    epilog=f"{CODES}\n\n{CAUTION}",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Show the version and exit.",
)
def commands() -> None:
    """Group of all commands."""


@commands.command(
    short_help="Check a project: every row, clamp, rail and panel strip.",
    epilog="Example: eavewright check project.toml --out results",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="results", show_default=True, help="Folder for the results.")
@click.option(
    "--compare",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="OTHER",
    help="Also check another project, such as one by another standard, side by side; may be repeated.",
)
@click.option(
    "--every",
    multiple=True,
    type=click.IntRange(1, 50),
    metavar="N",
    help="Also check with clamps on every N-th seam in all rows, side by side; may be repeated.",
)
@click.option("--picture/--no-picture", default=True, show_default=True, help="Draw utilization.png.")
def check(project: Path, out: Path, compare: tuple[Path, ...], every: tuple[int, ...], picture: bool) -> None:
    """Check PROJECT and write table, picture, report and data to a folder.

    What it is compared with is not written and has no say in the exit code.

    Exit code 0: every limit in the table kept; seam, sheet and clips under the clamps are a matter of
    `eavewright seam`. 1: something exceeds its limit, is not verified or not settled. 2: bad input,
    nothing written.
    """
    stages = Stages()
    with contextlib.ExitStack() as stack:
        stack.enter_context(stages)
        stages.show("reading the project")
        from viewer.files import check_output, output_folder
        from viewer.picture.render import Renderer

        renderer = stack.enter_context(Renderer()) if picture else None  # loads while we compute
        from roofmodel.project.load import load_project
        from viewer.analyzing import analyze_project
        from viewer.compare import labels, print_compared, projects_beside

        loaded = load_project(project)
        own, *names = labels([project, *compare])
        beside = projects_beside(loaded, compare, every, names)
        inputs = [path for one in (loaded, *(other.project for other in beside)) for path in one.inputs]
        check_output(out, inputs, OUTPUTS)
        stages.show("analyzing")
        analysis = analyze_project(loaded, stages.step)
        compared = [(other, analyze_project(other.project, stages.step)) for other in beside]
        stages.show("moving rows and clamps a little")
        from fea.near_limit import near_limit
        from fea.sensitivity import out_of_place
        from roofmodel.project.validation import read_text
        from viewer.examples import examples_line
        from viewer.places import joined, near_line, place_line
        from viewer.quantities import system

        units = system(loaded.table.project.units)
        place = out_of_place(analysis)
        said = joined(
            near_line(near_limit(analysis)),
            place_line(place, analysis, units),
            examples_line(read_text(project), units),
        )
        folder = output_folder(out)
        stages.accept()
        reason = _write(analysis, folder, renderer, stages, place, said)
    from viewer.terminal import print_summary

    print_summary(analysis, console(), said)
    if compared:
        print_compared(own, analysis, compared, console())
    if reason and picture:
        notice(f"No picture: {reason}")
    print_json(folder / "results.json")
    console().print(f"Written to {folder}/: report.html, " + ", ".join(_written(folder)), highlight=False)
    sys.exit(0 if analysis.passed else 1)


def _write(
    analysis: Analysis,
    folder: Path,
    renderer: Renderer | None,
    stages: Stages,
    place: Tolerance | None,
    said: str,
) -> str:
    """Write every output; the reason why there is no picture, empty if there is one."""
    from viewer.building_export import write_building
    from viewer.clamp_table import write_attachments
    from viewer.export import write_meshes, write_results
    from viewer.picture.draw import Picture, finish_picture, start_picture
    from viewer.rails_deck import write_rails_deck
    from viewer.report.page import write_report

    stages.show("drawing and writing data")
    started = start_picture(analysis, renderer) if renderer else None
    write_results(analysis, folder / "results.json", place)
    write_attachments(analysis, folder / "attachments.csv")
    write_meshes(analysis, folder)
    write_rails_deck(analysis, folder / "structure.inp")
    write_building(analysis, folder / "building.csv")
    result = Picture(None, "left out on request (--no-picture)")
    if started is not None:
        result = finish_picture(started, folder / "utilization.png")
    if result.path is None:
        (folder / "utilization.png").unlink(missing_ok=True)
    stages.show("writing the report")
    write_report(analysis, folder / "report.html", result.path, result.reason, place=said)
    return result.reason


def _written(folder: Path) -> list[str]:
    return [name for name in OUTPUTS if name != "report.html" and (folder / name).exists()]


@commands.command(
    short_help="Study one clamp on its seam: how its pull goes into the panel.",
    epilog="Example: eavewright seam project.toml --clamp R1-07 --out seam",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--clamp", metavar="NAME", help="Clamp, such as R1-07; the one that uses most by default.")
@click.option("--out", callback=named, default="seam", show_default=True, help="Folder for the results.")
@click.option("--picture/--no-picture", default=True, show_default=True, help="Draw seam.png.")
def seam(project: Path, clamp: str | None, out: Path, picture: bool) -> None:
    """Study one clamp of PROJECT on its seam, as a shell model of fold, sheet, clips and bearing.

    Exit code 0: every limit of the panel kept. 1: something exceeds its limit, is not verified, or fails
    the self-audit. 2: bad input, nothing written.
    """
    stages = Stages()
    with contextlib.ExitStack() as stack:
        stack.enter_context(stages)
        stages.show("reading the project")
        from viewer.files import check_output, output_folder
        from viewer.picture.render import Renderer

        renderer = stack.enter_context(Renderer()) if picture else None  # loads while we compute
        from roofmodel.project.load import load_project
        from viewer.seam.run import study_project, write_seam

        loaded = load_project(project)
        check_output(out, list(loaded.inputs), SEAM_OUTPUTS)
        stages.show("analyzing the roof and the seam")
        analysis, detail = study_project(loaded, clamp, stages.step)
        folder = output_folder(out)
        stages.accept()
        stages.show("drawing and writing data")
        written = write_seam(analysis, detail, folder, renderer)
    from viewer.seam.findings import verdict_code
    from viewer.seam.terminal import print_seam

    print_seam(analysis, detail, written.substitutions, console())
    if written.reason and picture:
        notice(f"No picture: {written.reason}")
    print_json(folder / "seam.json")
    names = ", ".join(name for name in SEAM_OUTPUTS[:-1] if (folder / name).exists())
    console().print(f"Written to {folder}/: seam.html, {names}", highlight=False)
    sys.exit(0 if verdict_code(detail) == "pass" else 1)


@commands.command(
    short_help="Show how a roof is understood: planes, edges, repairs.",
    epilog="Example: eavewright roof house.stl --unit mm --up y --out roof",
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="roof", show_default=True, help="Folder for the results.")
@click.option("--picture/--no-picture", default=True, show_default=True, help="Draw the 3D view of roof.png.")
@click.option("--units", type=click.Choice(["SI", "US"]), default="SI", show_default=True)
@click.option("--unit", metavar="UNIT", help="Length unit of the file: m, mm, cm, ft or in.")
@click.option("--up", type=click.Choice(["y", "z"]), help="Axis of the file that points up.")
@click.option("--building", metavar="ID", help='Building of a city or building model; "all" for all.')
@click.option("--lod", metavar="LEVEL", help="Level of detail of a city model; the finest by default.")
@click.option("--layer", "layers", multiple=True, metavar="NAME", help="Layer of a drawing; may be repeated.")
@click.option("--all-surfaces", is_flag=True, help="Set aside what the file marks as roof.")
def roof(file: Path, out: Path, picture: bool, units: str, **options: Any) -> None:
    """Read the roof of FILE (a project.toml, mesh, city model, building model or drawing).

    Prints planes and edges, and what was assumed and repaired; draws them with their names. The options
    below --picture are for roof files; a project says these things itself. Exit code 0: understood. 2: bad
    input, nothing written.
    """
    stages = Stages()
    with contextlib.ExitStack() as stack:
        stack.enter_context(stages)
        stages.show("reading the roof")
        from viewer.files import check_output, output_folder
        from viewer.picture.render import Renderer

        renderer = stack.enter_context(Renderer()) if picture else None  # loads while we compute
        from viewer.roof.export import write_roof_data
        from viewer.roof.picture import draw_roof
        from viewer.roof.read import see_roof

        seen = see_roof(file, units, options)
        check_output(out, list(seen.inputs), ROOF_OUTPUTS)
        folder = output_folder(out)
        stages.show("drawing and writing data")
        write_roof_data(seen, folder)
        drawn = draw_roof(seen, renderer, folder / "roof.png")
    from viewer.roof.terminal import print_roof

    print_roof(seen, console())
    if drawn.reason and picture:
        notice(f"No 3D view: {drawn.reason}")
    print_json(folder / "roof.json")
    console().print(f"Written to {folder}/: " + ", ".join(ROOF_OUTPUTS), highlight=False)


@commands.command(
    short_help="Show the snow cases: plans, sections, and every number worked out.",
    epilog="Example: eavewright snow project.toml --out snow",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="snow", show_default=True, help="Folder for the results.")
def snow(project: Path, out: Path) -> None:
    """Show the snow that the standard of PROJECT asks for on its roof, to be checked by hand.

    Exit code 0: done. 1: the self-check of the totals failed. 2: bad input, nothing written.
    """
    stages = Stages()
    with stages:
        stages.show("reading the project")
        from roofmodel.project.load import load_project
        from viewer.files import check_output, output_folder
        from viewer.snow.run import write_snow
        from viewer.snow.study import snow_study

        loaded = load_project(project, rows_needed=False)
        check_output(out, list(loaded.inputs), SNOW_OUTPUTS)
        stages.show("finding the snow cases")
        study = snow_study(loaded)
        folder = output_folder(out)
        stages.show("drawing and writing data")
        write_snow(study, folder)
    from viewer.snow.terminal import print_snow

    print_snow(study, console())
    print_json(folder / "snow.json")
    console().print(f"Written to {folder}/: snow.html, " + ", ".join(SNOW_OUTPUTS[:-1]), highlight=False)
    sys.exit(0 if study.findings.proven else 1)


@commands.command(
    short_help="Write a commented starting project, or file of an investigation.",
    epilog="Example: eavewright new gable --units US --out project.toml; "
    "eavewright new found --project project.toml",
)
@click.argument("shape", type=click.Choice(["shed", "gable", "hip", "L", "two-level", "imported", "found"]))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="File to write; project.toml by default, found.toml with found.",
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
def new(shape: str, out: Path | None, project: Path | None, units: str, standard: str | None) -> None:
    """Write a commented project file for a roof SHAPE, ready to edit.

    Or, with found in place of a shape, the file of an investigation of the roof of --project.
    """
    if (shape == "found") is (project is None):
        message = "found wants --project, the file of the roof; a shape takes none"
        raise click.UsageError(message)
    if project is not None:
        from viewer.investigate.starter import write_found

        words = write_found(project, out or Path("found.toml"))
        console().print(words, highlight=False, markup=False, soft_wrap=True)
        return
    from viewer.starter import write_starter

    out = out or Path("project.toml")
    write_starter(shape, units, out, standard)
    console().print(
        f"Wrote {out}. Its numbers are examples: replace them by those of your site, roof and tested "
        f"hardware, then run: eavewright check {out} --out results",
        highlight=False,
        markup=False,
        soft_wrap=True,
    )


@commands.command(
    short_help="List every field of the project file, or of another.",
    epilog="Example: eavewright fields; eavewright fields --table protect; eavewright fields tests",
)
@click.argument("file", type=click.Choice(["project", "tests", "span", "investigate"]), default="project")
@click.option("--table", metavar="NAME", help="Only this table of the file and those within it.")
def fields(file: str, table: str | None) -> None:
    """List every field of the project file with its meaning, or of the file that a command FILE reads."""
    from viewer.fields import print_fields

    print_fields(console(), file, table)


@commands.command(
    short_help="Print the JSON schema of a written file.",
    epilog="Example: eavewright schema results > results.schema.json",
)
@click.argument("name", type=click.Choice(SCHEMAS))
def schema(name: str) -> None:
    """Print the JSON schema that NAME.json follows."""
    click.echo((Path(__file__).parent / f"{name}.schema.json").read_text(encoding="utf-8"), nl=False)


@commands.command(
    short_help="Print what makes a shell complete commands and options.",
    epilog="Example: eavewright completion bash >> ~/.bashrc",
)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print a script for SHELL; put it where the shell reads its settings."""
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    assert found is not None
    click.echo(found(commands, {}, "eavewright", "_EAVEWRIGHT_COMPLETE").source())


commands.add_command(risk)
commands.add_command(investigate)
commands.add_command(history)
commands.add_command(handover)
commands.add_command(plan)
commands.add_command(push)
commands.add_command(open_command)
commands.add_command(tests)
commands.add_command(screen)
commands.add_command(section)
commands.add_command(span)
commands.add_command(blanket)


def main() -> None:
    """Entry point: one clear line for bad input, never a traceback."""
    from roofmodel.errors import InputError

    # Plugins of other packages have no say in what a project means, and to look for them takes time.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    debug = bool(os.environ.get("EAVEWRIGHT_DEBUG"))
    if not debug:
        warnings.filterwarnings("ignore", append=True)  # after the filters that a user or test has set
        logging.getLogger().addHandler(logging.NullHandler())  # readers of meshes log whole tracebacks
    try:
        commands.main(sys.argv[1:] or ["--help"], prog_name="eavewright", standalone_mode=False)
    except InputError as error:
        _fail(str(error), 2)
    except (click.Abort, KeyboardInterrupt):
        _fail("stopped", 130)
    except click.ClickException as error:
        _fail(_usage(error), 2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has gone, such as head
        sys.exit(141)
    except OSError as error:
        _fail(f"{error.filename or 'file'}: {error.strerror or error}", 2)
    except MemoryError:
        _fail("not enough memory for a roof of this size", 2)
    except Exception as error:
        if debug:
            raise
        _fail(
            f"internal error: {type(error).__name__}: {error} (a defect of Eavewright; "
            "set EAVEWRIGHT_DEBUG=1 for the details to report)",
            3,
        )


def _usage(error: click.ClickException) -> str:
    message = error.format_message().rstrip(".")
    hint = ""
    if isinstance(error, click.UsageError) and error.ctx is not None:
        hint = f" (see {error.ctx.command_path} --help)"
    return message + hint


def _fail(message: str, code: int) -> None:
    complain(message)
    sys.exit(code)
