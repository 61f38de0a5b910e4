"""The command `screen`."""

from __future__ import annotations

from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, notice, print_json

OUTPUTS = ("screen.json", "screen.csv", "screen.png", "screen.html")
PARTIAL = "screen.partial.jsonl"  # what is done of a run that is not
BATCH = 4  # buildings


@click.command(
    cls=Spoken,
    short_help="Screen a city tile: which eaves of which buildings shed most.",
    epilog='Example: eavewright screen tile.city.json --ground-snow "1.5 kN/m^2" --out screen',
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--ground-snow", metavar="PRESSURE", help="s_k of EN 1991-1-3; its other values by default.")
@click.option(
    "--site",
    "site_file",
    type=click.Path(path_type=Path),
    help="TOML file with a table [site], any standard.",
)
@click.option("--out", callback=named, default="screen", show_default=True, help="Folder for the results.")
@click.option("--units", type=click.Choice(["SI", "US"]), default="SI", show_default=True)
@click.option("--unit", metavar="UNIT", help="Length unit of the file; m by default.")
@click.option("--lod", metavar="LEVEL", help="Level of detail; the finest of each building by default.")
@click.option("--processes", type=click.IntRange(1, 1024), help="Processes; one for each core by default.")
@click.option(
    "--cluster", metavar="ADDRESS", help="Dask scheduler that does the work, such as tcp://host:8786."
)
def screen(
    file: Path,
    ground_snow: str | None,
    site_file: Path | None,
    out: Path,
    units: str,
    unit: str | None,
    lod: str | None,
    processes: int | None,
    cluster: str | None,
) -> None:
    """Screen every building of FILE (CityJSON or CityGML) for snow that can slide off.

    No rows are assumed. A run that was stopped goes on when the same command is given again. Exit code 0:
    done, whatever was found; buildings that could not be screened are listed. 2: bad input, nothing
    written.
    """
    stages = Stages()
    with stages:
        stages.show("reading the tile")
        from viewer.batches.journal import Journal
        from viewer.batches.progress import progress
        from viewer.batches.run import Work, batches_of, check_cluster, processors, run_batches
        from viewer.files import check_output, output_folder
        from viewer.screen.findings import screen_findings
        from viewer.screen.plan import plan_screening
        from viewer.screen.terminal import print_screen
        from viewer.screen.work import failed, screen_batch
        from viewer.screen.write import write_screen

        plan = plan_screening(file, ground_snow, site_file, units, unit, lod)
        check_output(out, list(plan.inputs), list(OUTPUTS))
        check_cluster(cluster)
        folder = output_folder(out)
        stages.accept()
    with Journal(folder / PARTIAL, plan.key) as journal:
        if journal.fresh:
            notice("An unfinished run with other inputs was there; this one begins anew.")
        elif journal.done:
            notice(f"Going on: {sum(map(len, journal.done.values()))} buildings were done before.")
        try:
            with progress("screening") as tell:
                results = run_batches(
                    batches_of(plan.buildings, BATCH),
                    Work(screen_batch, plan.rules, failed),
                    journal,
                    tell,
                    processes or processors(),
                    cluster,
                )
        except KeyboardInterrupt:
            kept = sum(map(len, journal.done.values()))
            count = len(plan.buildings)
            notice(f"{kept} of {count} buildings are kept in {journal.path}; the same command goes on.")
            raise
        findings = screen_findings(plan, results)
        write_screen(findings, folder)
        journal.remove()
    print_screen(findings, console())
    print_json(folder / "screen.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)
