"""The command `risk`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from viewer.stages import Spoken, Stages, console, named, notice, print_json

if TYPE_CHECKING:
    from fea.failure.jobs import Job, Sampling

OUTPUTS = ("risk.json", "risk.csv", "risk.png", "risk.svg", "course.csv", "thaw.csv", "course.gif")
PARTIAL = "risk.partial.jsonl"  # what is done of a run that is not


@click.command(
    cls=Spoken,
    short_help="Chance that a row lets go when snow, bond and clamps are uncertain.",
    epilog="Example: eavewright risk models/granary-door/project.toml --out risk",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--out", callback=named, default="risk", show_default=True, help="Folder for the results.")
@click.option("--processes", type=click.IntRange(1, 1024), help="Processes; one for each core by default.")
@click.option(
    "--cluster", metavar="ADDRESS", help="Dask scheduler that does the work, such as tcp://host:8786."
)
def risk(project: Path, out: Path, processes: int | None, cluster: str | None) -> None:
    """Sample the roof of PROJECT: snow, bond, clamps and their places as its table [uncertainty] says.

    Every sample is followed clamp by clamp until the rows hold or let go. A run that was stopped goes on
    when the same command is given again. Exit code 0: done, whatever was found. 2: bad input, nothing
    written.
    """
    stages = Stages()
    with stages:
        stages.show("reading the project")
        from fea.failure.inputs import laws_of, read_uncertainty
        from fea.failure.jobs import Sampling, jobs_of, mean_course, risk_of
        from fea.failure.thaw import follow_thaw
        from fea.failure.thaw_front import front_shares
        from fea.failure.unknown_ends import choose_ends
        from roofmodel.errors import InputError
        from roofmodel.project.load import load_project
        from viewer.analyzing import analyze_project
        from viewer.batches.journal import Journal
        from viewer.batches.progress import progress
        from viewer.batches.run import Work, batches_of, check_cluster, processors, run_batches
        from viewer.files import check_output, output_folder
        from viewer.risk.findings import RiskFindings
        from viewer.risk.terminal import print_risk
        from viewer.risk.write import write_risk

        loaded = load_project(project)
        check_output(out, list(loaded.inputs), list(OUTPUTS))
        check_cluster(cluster)
        uncertain = read_uncertainty(loaded)
        stages.show("checking the roof")
        analysis = analyze_project(loaded)
        table = uncertain.table
        laws = laws_of(loaded, uncertain.mean_strength, uncertain.frictions)
        try:
            chosen = choose_ends(analysis, table.case, laws)
            front = None
            if table.thaw.thaw_from is not None:
                front = front_shares(analysis, chosen[0], table.thaw.thaw_from, table.thaw.thaw_steps)
            thaw = follow_thaw(chosen[0].roof, loaded.roof, loaded.layout, table.thaw, front)
        except InputError as error:
            message = f"{project.name}: {error}"
            raise InputError(message) from None
        sampling = Sampling(
            chosen[0].roof,
            uncertain.scatter,
            table.method,
            table.samples,
            table.seed,
            tuple(one.roof for one in chosen[1:]),
        )
        folder = output_folder(out)
        stages.accept()
    jobs = jobs_of(sampling)
    with Journal(folder / PARTIAL, f"{loaded.digest} {uncertain.digest}") as journal:
        if journal.fresh:
            notice("An unfinished run of other inputs or another version was there; this one begins anew.")
        elif journal.done:
            notice(f"Going on: {len(journal.done)} of {len(jobs)} batches were done before.")
        work = Work(do_jobs, sampling, failed)
        try:
            with progress("sampling") as tell:
                results = run_batches(
                    batches_of(jobs, 1), work, journal, tell, processes or processors(), cluster
                )
        except KeyboardInterrupt:
            kept = f"{len(journal.done)} of {len(jobs)} batches are kept in {journal.path}"
            notice(f"{kept}; the same command goes on.")
            raise
        broken = next((one["reason"] for one in results if "reason" in one), None)
        if broken is not None:
            journal.remove()
            message = f"{project.name}: a batch of samples could not be done: {broken}"
            raise InputError(message)
        found = RiskFindings(
            analysis,
            uncertain,
            chosen,
            sampling,
            risk_of(sampling, jobs, results),
            mean_course(chosen[0].roof),
            thaw,
        )
        write_risk(found, folder)
        journal.remove()
    print_risk(found, console())
    print_json(folder / "risk.json")
    console().print(f"Written to {folder}/: " + ", ".join(OUTPUTS), highlight=False)


def do_jobs(batch: tuple[Job, ...], sampling: Sampling) -> list[dict[str, Any]]:
    """Numbers of some jobs, in a worker."""
    from fea.failure.jobs import do_job

    return [do_job(job, sampling) for job in batch]


def failed(job: Job, reason: str) -> dict[str, Any]:
    """Entry of a job that could not be done."""
    return {"reason": f"{job.kind} {job.number}: {reason}"}
