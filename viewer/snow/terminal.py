"""The short answer about the snow on a roof on the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from viewer.quantities import column
from viewer.snow.findings import clauses
from viewer.snow.governing import governing_words
from viewer.snow.sheet import summary_words
from viewer.snow.study import SnowStudy
from viewer.snow.words import pressure_words, proof_words
from viewer.style import CAUTION
from viewer.terminal import plain_table

_LOUD = "bold white on red3"
_WIDE = 100  # narrower consoles get no column of clauses


def print_snow(study: SnowStudy, console: Console) -> None:
    """Print the cases, what governs by hand, what does not apply, and whether the totals agree."""
    findings = study.findings
    lines: list[Text | Table | Padding] = [
        Text(findings.project.table.project.name, style="bold"),
        Text(summary_words(findings, study.units)),
        *(Text(line) for line in pressure_words(findings)),
        Text(),
        _cases(study, console.width >= _WIDE),
    ]
    if findings.snow.skipped:
        lines.append(_skipped(study))
    lines += [
        Text(),
        Text("Working of the largest zone of each clause; snow.html has every zone", style="bold"),
        *governing_words(findings, study.units),
        Text(),
        Text(proof_words(findings), style="" if findings.proven else _LOUD),
        Text(CAUTION, style="dim"),
    ]
    for line in lines:
        console.print(line, highlight=False)


def _cases(study: SnowStudy, wide: bool) -> Table:
    findings, units = study.findings, study.units
    table = plain_table("Cases, vertical per plan area")
    table.add_column("", justify="right", no_wrap=True)
    table.add_column("case", overflow="fold")
    pressure, force = units.label("pressure"), units.label("force")
    for name in (f"max {pressure}", "on", f"mean {pressure}", f"total {force}"):
        table.add_column(name, justify="left" if name == "on" else "right", no_wrap=True)
    if wide:
        table.add_column("clause", overflow="fold")
    cases = findings.cases
    largest = column([case.largest for case in cases], "pressure", units, each=True)
    mean = column([case.mean for case in cases], "pressure", units, each=True)
    total = column([case.total for case in cases], "force", units, 4)
    for n, case in enumerate(cases):
        plane = findings.project.roof.planes.name[case.largest_plane]
        row = [str(n + 1), case.case.name, largest[n], plane, mean[n], total[n]]
        table.add_row(*row, *([clauses(findings, n)] if wide else []))
    return table


def _skipped(study: SnowStudy) -> Table:
    table = plain_table("\nConsidered, not applied")
    table.add_column("case", overflow="fold")
    table.add_column("why", overflow="fold")
    for name, why in study.findings.snow.skipped:
        table.add_row(name, why)
    return table
