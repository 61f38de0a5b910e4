"""The command `tests`."""

from __future__ import annotations

from pathlib import Path

import click

from viewer.stages import Spoken, Stages, complain, console, named, print_json, voice

OUTPUTS = ("tests.json", "tests.html", "tests.png", "clamp.toml")
RIG = "rig.png"


@click.command(
    cls=Spoken,
    short_help="From load tests of a clamp to strengths that may be designed with.",
    epilog="Example: eavewright tests models/brackwater-clamp/tests.toml --out tests",
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="tests", show_default=True, help="Folder for the results.")
@click.option(
    "--join",
    "join",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="TESTS.JSON",
    help="Results of another direction, for one clamp.toml of all; may be repeated.",
)
def tests(file: Path, out: Path, join: tuple[Path, ...]) -> None:
    """Read the test campaign FILE and say what strength it justifies.

    FILE is TOML: [campaign], [specimen] (what the strength is valid for), [method], and [[test]] tables with
    strengths or curves (`curves = "along/*.csv"` for many), or `file = "all.csv"` above the tables, with
    columns test and strength. With [rig], which says how the specimens were loaded, stiffness and slip of the
    clamp are fitted to the curves and the rig's own model is held against them. Start with `eavewright new
    tests`; `eavewright fields tests` lists all fields. clamp.toml is the table [clamp] of a project.
    Exit code 0: done. 1: the model of the rig does not fit, a curve is unlike the others, an odd record
    may have raised the strength, or no clamp holds so much or is loaded so high; no clamp.toml then, and none
    of an earlier run stays, unless the strengths do not depend on that model. 2: bad input, nothing written.
    """
    with Stages() as stages:
        stages.show("reading the tests")
        from fea.strength_tests.campaign import judge
        from fea.strength_tests.record_notes import doubts
        from roofmodel.project.campaigns import load_campaign
        from viewer.files import check_output, output_folder
        from viewer.picture.drawing import write_png
        from viewer.strength.chart import campaign_drawing
        from viewer.strength.clamp_file import write_clamp
        from viewer.strength.export import write_campaign
        from viewer.strength.joined import load_joined
        from viewer.strength.page import write_campaign_page

        campaign = load_campaign(file)
        written = [*OUTPUTS, RIG] if campaign.rig is not None else list(OUTPUTS)
        check_output(out, [*campaign.inputs, *join], written)
        found = judge(campaign)
        joined = load_joined(join, found)
        folder = output_folder(out)
        stages.accept()
        write_campaign(found, folder / "tests.json")
        write_campaign_page(found, folder / "tests.html")
        write_png(campaign_drawing(found), folder / "tests.png")
        doubted = "; ".join(doubts(found))
        if doubted:
            written.remove("clamp.toml")
            (folder / "clamp.toml").unlink(missing_ok=True)
        else:
            write_clamp(found, joined, folder / "clamp.toml")
        if found.calibration is not None:
            from viewer.strength.rig_chart import rig_drawing

            write_png(rig_drawing(found), folder / RIG)
    from viewer.strength.rig_words import rig_remedy, rig_verdict
    from viewer.strength.terminal import print_campaign

    print_campaign(found, console())
    print_json(folder / "tests.json")
    console().print(f"Written to {folder}/: " + ", ".join(written), highlight=False)
    if doubted:
        console().print(f"NO clamp.toml is written: {doubted}.", highlight=False)
        if voice() != "text":
            complain(f"{file.name}: no clamp.toml is written: {doubted}")
    elif found.calibration is not None and not found.calibration.fits and voice() != "text":
        complain(f"{file.name}: {rig_verdict(found.calibration)} {rig_remedy(found)}")
    if doubted or not (found.calibration is None or found.calibration.fits):
        raise SystemExit(1)
