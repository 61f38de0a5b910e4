"""The command `history`."""

from __future__ import annotations

from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, print_json

OUTPUTS = ("history.json", "history.csv", "history.png")


@click.command(
    cls=Spoken,
    short_help="Snow on the roof through a winter's weather, and when its bond can let go.",
    epilog="Example: eavewright history models/alder-barn/project.toml models/alder-barn/weather.csv",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.argument("weather", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="history", show_default=True, help="Folder for the results.")
def history(project: Path, weather: Path, out: Path) -> None:
    """Build the dated snow on the roof of PROJECT from WEATHER, a CSV file.

    Columns: time, temperature_c, snow_mm (water in an open gauge), snow_corrected_mm or new_snow_cm (depth),
    and rain_mm, sun_w_m2, wind_m_s if known. An aid to judgment, no code. Exit code 0: done. 2: bad input,
    nothing written.
    """
    with Stages() as stages:
        stages.show("reading the weather")
        from roofmodel.project.load import load_project
        from viewer.files import check_output, output_folder
        from viewer.history.findings import find_history
        from viewer.history.terminal import print_history
        from viewer.history.write import write_history

        loaded = load_project(project, rows_needed=False)
        check_output(out, [*loaded.inputs, weather], list(OUTPUTS))
        found = find_history(loaded, weather, weather.name)
        folder = output_folder(out)
        stages.accept()
        write_history(found, folder)
    print_history(found, console())
    print_json(folder / "history.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)
