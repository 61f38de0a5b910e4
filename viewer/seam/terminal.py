"""The short answer about one clamp on its seam on the terminal."""

from __future__ import annotations

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from fea.analysis import Analysis
from fea.panel.detail import ClampDetail
from roofmodel.units import UnitSystem
from viewer.quantities import brief, percent, quantity, significant, system
from viewer.seam.findings import (
    clamp_label,
    force_words,
    mesh_words,
    path_lines,
    place_words,
    seam_lines,
    seam_verdict,
    share_text,
    shares,
    stiffness_rows,
    up,
)
from viewer.summary import EXCEEDED, NOT_LOADED, NOT_VERIFIED, combination
from viewer.terminal import plain_table

_LOUD = "bold white on red3"
_GOOD = "bold white on green4"
_CAUTION = "bold black on yellow3"
WIDE = 92  # narrower consoles get no column of places


def print_seam(
    analysis: Analysis, detail: ClampDetail, substitutions: tuple[str, ...], console: Console
) -> None:
    """Print verdict, force at the grip, limits, load path, stiffness, self-audit and cautions."""
    units = system(analysis.project.table.project.units)
    answer = seam_verdict(analysis, detail, units)
    head = Text()
    for word in answer.words:
        head.append(f" {word.upper()} ", style=_GOOD if answer.passed else _LOUD).append(" ")
    lines: list[Text | Table] = [
        Text(analysis.project.table.project.name, style="bold"),
        head,
        Text(answer.sentence),
        *(Text(f"- {line}") for line in answer.more),
        *(Text(" CAUTION ", style=_CAUTION).append(f" {line}", style="bold") for line in answer.cautions),
        *_force(analysis, detail, units),
        Text(),
        _limits(detail, units, wide=console.width >= WIDE),
        _path(detail, units),
        _stiffness(analysis, detail, units),
        Text(),
        _audit(detail),
        *(Text(f"seam.inp: {line}", style="dim") for line in substitutions),
        Text(
            "A licensed engineer must review this; local code governs; strengths must come from tests. "
            "Falling snow and work at height can kill.",
            style="dim",
        ),
    ]
    for line in lines:
        console.print(line, highlight=False)


def _force(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> tuple[Text, ...]:
    along, across, pull = force_words(detail.study.action.grip[:3], detail, units)
    moment = quantity(float(detail.study.action.grip[4]), "grip moment", units)
    where = "top" if detail.at_top else "axis"
    return (
        Text(f"Case: {analysis.snow.cases[detail.case].name}; {combination(analysis, detail.case)}"),
        Text("At the grip of ")
        .append(clamp_label(analysis, detail), style="bold")
        .append(
            f", {up(detail.place, units)} up a seam of {up(detail.length, units)}: along {along}, "
            f"across {across}, pull {pull}, overturning {moment} (sliding force at the rail's {where})"
        ),
    )


def _limits(detail: ClampDetail, units: UnitSystem, *, wide: bool) -> Table:
    table = plain_table("Limits of the panel")
    table.add_column("limit", no_wrap=True)
    if wide:
        table.add_column("where", no_wrap=True)
    for name in ("demand", "mesh", "resistance", "used"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for line in seam_lines(detail):
        idle, loud = line.status == NOT_LOADED, line.status in (EXCEEDED, NOT_VERIFIED)
        where = place_words(line, units).removeprefix("at ").removesuffix(" up the seam")
        table.add_row(
            line.name,
            *(("" if idle else where,) if wide else ()),
            "none" if idle else brief(line.demand, line.kind, units),
            "" if idle else mesh_words(line.change),
            quantity(line.resistance, line.kind, units),
            "?" if line.status == NOT_VERIFIED else percent(line.utilization),
            Text(line.status, style=_LOUD if loud else ""),
        )
    return table


def _path(detail: ClampDetail, units: UnitSystem) -> Table:
    table = plain_table("\nWho takes the clamp's force (on the panel; along is down the slope)")
    table.add_column("part", no_wrap=True)
    for name in ("along", "%", "across", "pull", "%"):
        table.add_column(name, justify="right", no_wrap=True)
    total = np.sum([line.force for line in path_lines(detail)], axis=0)
    for name, force in (
        *((line.name, line.force) for line in path_lines(detail)),
        ("all", total),
        ("clamp", detail.study.action.grip[:3]),
    ):
        share = ("", "") if name == "clamp" else tuple(share_text(part) for part in shares(force, detail))
        along, across, pull = force_words(force, detail, units)
        table.add_row(name, along, share[0], across, pull, share[1], style="bold" if name == "clamp" else "")
    return table


def _stiffness(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> Table:
    table = plain_table("\nStiffness at the grip, other motions held")
    table.add_column("motion", no_wrap=True)
    for name in ("panel", "mesh", "clamp", "both"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    for name, kind, panel, clamp, both in stiffness_rows(analysis, detail):
        change = detail.study.change.get(f"stiffness {name}")
        table.add_row(
            name,
            significant(units.convert(panel, kind)),
            "" if change is None else mesh_words(change),
            significant(units.convert(clamp, kind)),
            significant(units.convert(both, kind)),
            units.label(kind),
        )
    return table


def _audit(detail: ClampDetail) -> Text:
    study = detail.study
    failed = [p for p in study.proofs if not p.met]
    if failed:
        words = "; ".join(f"{p.name}: {p.error:.1e}, bar {p.bar:.0e}" for p in failed)
        return Text(f"SELF-CHECK FAILED: {words}", style=_LOUD)
    worst = max(p.error for p in study.proofs)
    return Text(
        f"Self-check: equilibrium, equations and one-way bearing agree to {worst:.0e} or better "
        f"({len(study.proofs)} of {len(study.proofs)} met); more of the seam meshed changes "
        f"{percent(max(study.window.values(), default=0.0))} at most"
    )
