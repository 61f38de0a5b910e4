"""The short answer about one clamp on its seam on the terminal."""

from __future__ import annotations

import math

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail
from roofmodel.units import UnitSystem
from viewer.combining import combination
from viewer.quantities import percent, quantity, significant, system
from viewer.seam.findings import (
    SeamLine,
    clamp_label,
    force_columns,
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
    window_change,
)
from viewer.summary import EXCEEDED, NOT_LOADED, NOT_VERIFIED
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
        *_worst_in(detail),
        _path(detail, units),
        _stiffness(analysis, detail, units),
        Text(),
        _audit(detail),
        *_deck(substitutions),
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
    source = detail.shown_source
    where = "top" if source.at_top else "axis"
    pan = "no snow on the pan" if source.bare else "snow on the pan"
    case = f"{analysis.snow.cases[source.case].name}; {combination(analysis, source.case)}"
    return (
        Text(f"Shown: {pan}; {case}"),
        Text("At the grip of ")
        .append(clamp_label(analysis, detail), style="bold")
        .append(
            f", {up(detail.place, units)} up a seam of {up(detail.length, units)}: along {along}, "
            f"across {across}, pull {pull}, overturning {moment} (sliding force at the rail's {where})"
        ),
    )


def _demand(line: SeamLine, units: UnitSystem) -> str:
    return "not studied" if math.isnan(line.demand) else quantity(line.demand, line.kind, units)


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
            "none" if idle else _demand(line, units),
            "" if idle else mesh_words(line.change),
            quantity(line.resistance, line.kind, units),
            "?" if line.status == NOT_VERIFIED else percent(line.utilization),
            Text(line.status, style=_LOUD if loud else ""),
        )
    return table


def _worst_in(detail: ClampDetail) -> tuple[Text, ...]:
    """Which limits come from which state."""
    found: dict[str, list[str]] = {}
    for line in seam_lines(detail):
        if line.status != NOT_LOADED:
            found.setdefault(line.worst, []).append(line.name)
    return tuple(Text(f"Worst in {state}: {', '.join(names)}") for state, names in found.items())


def _deck(substitutions: tuple[str, ...]) -> tuple[Text, ...]:
    if not substitutions:
        return ()
    count = f"{len(substitutions)} thing{'s' if len(substitutions) > 1 else ''}"
    return (Text(f"seam.inp carries {count} in another way; seam.html lists them", style="dim"),)


def _path(detail: ClampDetail, units: UnitSystem) -> Table:
    table = plain_table("\nWho takes the clamp's force (on the panel; along is down the slope)")
    lines = [(line.name, line.force) for line in path_lines(detail)]
    total = np.sum([force for _, force in lines], axis=0)
    lines += [("all", total), ("clamp", detail.study.action.grip[:3])]
    text, unit = force_columns(np.array([force for _, force in lines]), detail, units)
    table.add_column("part", no_wrap=True)
    for name in (f"along, {unit}", "%", f"across, {unit}", f"pull, {unit}", "%"):
        table.add_column(name, justify="right", no_wrap=True)
    for (name, force), (along, across, pull) in zip(lines, text, strict=True):
        share = ("", "") if name == "clamp" else tuple(share_text(part) for part in shares(force, detail))
        table.add_row(name, along, share[0], across, pull, share[1], style="bold" if name == "clamp" else "")
    return table


def _stiffness(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> Table:
    table = plain_table("\nStiffness at the grip, other motions held")
    table.add_column("motion", no_wrap=True)
    for name in ("panel", "mesh", "clamp", "clamp on panel"):
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
    proofs = detail.proofs
    failed = [p for p in proofs if not p.met]
    if failed:
        words = "; ".join(f"{p.name}: {p.error:.1e}, bar {p.bar:.0e}" for p in failed)
        return Text(f"SELF-CHECK FAILED: {words}", style=_LOUD)
    worst = max(p.error for p in proofs)
    return Text(
        f"Self-check: equilibrium, equations and one-way bearing agree to {worst:.0e} or better "
        f"({len(proofs)} of {len(proofs)} met); more of the seam meshed changes "
        f"{percent(window_change(detail))} at most"
    )
