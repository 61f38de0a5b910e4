"""The command `investigate`."""

from __future__ import annotations

from pathlib import Path

import click

from viewer.stages import Spoken, Stages, console, named, print_json

OUTPUTS = (
    "investigation.json",
    "investigation.html",
    "investigation.png",
    "sequence.gif",
    "sequence.csv",
)


@click.command(
    cls=Spoken,
    short_help="Why a row let go: rank explanations against what was found.",
    epilog="Example: eavewright investigate models/alder-barn/found.toml --out investigation",
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="investigation", show_default=True, help="Folder for results.")
def investigate(file: Path, out: Path) -> None:
    """Rank explanations for what FILE says was found on a roof.

    FILE is TOML: [case] names the project of the roof, [[found]] says which clamps came off and which stand,
    [snow] what is known of it. Exit code 0: done, whatever was found. 2: bad input, nothing written.
    """
    with Stages() as stages:
        stages.show("reading what was found")
        from roofmodel.project.evidence import load_evidence
        from viewer.files import check_output, output_folder

        evidence = load_evidence(file)
        check_output(out, list(evidence.inputs), list(OUTPUTS))
        stages.show("checking the roof")
        from viewer.investigate.run import case_findings
        from viewer.investigate.terminal import print_case
        from viewer.investigate.write import write_case

        def tell(text: str) -> None:
            stages.accept()  # what is told after the first samples is known to be good
            stages.step(text)

        found = case_findings(evidence, tell)
        folder = output_folder(out)
        stages.show("writing")
        write_case(found, folder)
    print_case(found, console())
    print_json(folder / "investigation.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)
