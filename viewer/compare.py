"""Checks of other projects, or of other clamp spacings, side by side with one that is written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from fea.analysis import Analysis
from fea.off_place import clamps_of_row
from fea.rails.rows import loose_rows
from roofmodel.errors import InputError
from roofmodel.project.load import Project, load_project, with_rows
from roofmodel.snow.level_words import CALLED
from roofmodel.units import UnitSystem
from viewer.plan.words import nth_seam
from viewer.quantities import percent, significant, system
from viewer.summary import NOT_LOADED, NOT_VERIFIED, least_reserve, limit_lines, verdict
from viewer.terminal import plain_table

NOTHING = "–"
GIVEN = ", of what is given"  # strengths that nobody gave have no say in it
RESERVE, SNOW = "reserve, unfactored", "unfactored snow is"
FEW = 5  # columns that leave room for the heads on 80 characters
WORSE = 0.01  # of a row's most used clamp, from which on it is told [-]
BETWEEN = 2  # characters between columns
MOST = 5  # beside the project itself, for a terminal


@dataclass(frozen=True)
class Other:
    """A project to compare with: how it is called, and rows that could not take its clamp spacing."""

    label: str
    project: Project
    kept: tuple[str, ...] = ()


def projects_beside(
    project: Project, paths: Sequence[Path], spacings: Sequence[int], names: Sequence[str]
) -> list[Other]:
    """Other projects, and the project itself with clamps on every n-th seam in all rows.

    Raises
    ------
    InputError
        A project that cannot be read, rows that cannot stand, or more than a terminal shows.
    """
    count = len(paths) + len(spacings)
    if count > MOST:
        message = f"--compare, --every: {count} are too many for one table; give {MOST} at most"
        raise InputError(message)
    found = [Other(label, load_project(path)) for label, path in zip(names, paths, strict=True)]
    return [*found, *(_spaced(project, n) for n in dict.fromkeys(spacings))]


def labels(paths: Sequence[Path]) -> list[str]:
    """Names of files, with their folders where names alone do not tell them apart."""
    names = [path.name for path in paths]
    if len(set(names)) < len(names):
        names = [str(path) for path in paths]
    return [name if names.count(name) == 1 else f"{name} ({i + 1})" for i, name in enumerate(names)]


def _spaced(project: Project, every: int) -> Other:
    """The project with other clamps; rows that would not stand with so few keep their own."""
    rows, kept = project.table.row, tuple[str, ...]()
    try:
        changed = with_rows(project, [row.model_copy(update={"every": every}) for row in rows])
        loose = loose_rows(changed.layout, project.rail, project.clamp)
        if all(loose):
            message = "no row of the project would stand on so few clamps; give a smaller number"
            raise InputError(message)
        if any(loose):
            kept = tuple(row.name for row, why in zip(rows, loose, strict=True) if why)
            both = zip(rows, changed.table.row, strict=True)
            changed = with_rows(project, [old if old.name in kept else new for old, new in both])
    except InputError as error:
        message = f"--every {every}: {error}"
        raise InputError(message) from None
    return Other(f"every {nth_seam(every)}", changed, kept)


def print_compared(
    label: str, analysis: Analysis, others: Sequence[tuple[Other, Analysis]], console: Console
) -> None:
    """A table of a check and of others that are not written, and the answer of each other in a sentence.

    Parameters
    ----------
    label : str
    analysis : Analysis
    others : sequence of (Other, Analysis)
    console : rich Console
    """
    units = system(analysis.project.table.project.units)
    columns = [(label, analysis), *((other.label, one) for other, one in others)]
    for table in _fitting(columns, units, console):
        console.print(table, highlight=False)
    for other, one in others:
        said = verdict(one, units).sentence
        kept = ", ".join(other.kept)
        said += f" Too short for such clamps, with those of the project: {kept}." if kept else ""
        console.print(Text(f"{other.label}: ", style="bold").append(said, style="none"), highlight=False)
        if other.project.path == analysis.project.path:
            for words in worse_for_closer(analysis, one):
                console.print(Text(words), highlight=False)
    words = "The others are compared only: run check with each for its cautions, report and data."
    console.print(Text(words), highlight=False)


def worse_for_closer(analysis: Analysis, other: Analysis) -> list[str]:
    """Rows of which closer clamps make the most used one worse, and why.

    Load on an overhang a levers the rail over its end clamp: with the next clamp at a distance L it takes
    1 + a / L of it (statics of two supports), so more the closer that stands.
    """
    units, found = system(analysis.project.table.project.units), []
    limits = [[limit for limit in one.limits if limit.target == "clamp"] for one in (analysis, other)]
    for row, name in enumerate(analysis.project.layout.row_name):
        sides = []
        for one, own in zip((analysis, other), limits, strict=True):
            layout = one.project.layout
            on = np.flatnonzero(layout.clamp_row == row)
            use, at = clamps_of_row(one.project, own, row)
            sides.append((len(on), use, at, layout.clamp_s[on], float(layout.row_length[row])))
        (few, before, _, old, _), (many, after, at, s, length) = sides
        if many <= few or few < 2 or after < (1.0 + WORSE) * before or not at:
            continue
        on = other.project.layout.clamp_row == row
        place = int(np.flatnonzero(np.array(other.project.layout.clamp_name)[on] == at)[0])
        ends = {0: (s[0], s[1] - s[0], old[0]), many - 1: (length - s[-1], s[-1] - s[-2], length - old[-1])}
        why = "it stands elsewhere along the rail, and takes more there"
        if place in ends:
            beyond, next_one, was = (units.text(float(one), "size") for one in ends[place])
            why = (
                f"it stands {beyond} from the rail's end, where the last one stood {was} from it before"
                if ends[place][0] > ends[place][2] + 1e-3
                else f"what loads the rail's end, {beyond} beyond it, levers the rail over it, the more the "
                f"nearer the next clamp stands, {next_one} here"
            )
        change = f"{percent(before)} to {percent(after)} ({at})"
        found.append(f"Closer clamps make the worst one of {name} worse, {change}: {why}.")
    return found


def _fitting(columns: Sequence[tuple[str, Analysis]], units: UnitSystem, console: Console) -> list[Table]:
    """One table, or several with the project itself in each, so that no word is broken."""
    first, *others = columns
    for most in range(len(others), 0, -1):
        parts = [others[i : i + most] for i in range(0, len(others), most)]
        tables = [compared_table([first, *part], units) for part in parts]
        if all(_fits(one, console.width) for one in tables):
            break
    return tables


def _fits(table: Table, width: int) -> bool:
    """Whether a table fits with no word broken; its columns get their widths, the shortest of them first."""
    least, whole = [], []
    for column in table.columns:
        texts = [str(column.header).strip(), *map(str, column.cells)]
        whole.append(max(map(len, texts)))
        words = texts if column.no_wrap else [word for text in texts for word in text.split()]
        least.append(max(map(len, words), default=0))
    room = width - sum(least) - BETWEEN * (len(least) - 1)
    for i in sorted(range(len(least)), key=lambda i: whole[i] - least[i]):
        more = min(whole[i] - least[i], max(room, 0))
        table.columns[i].width = least[i] + more
        room -= more
    return room >= 0


def compared_table(compared: Sequence[tuple[str, Analysis]], units: UnitSystem) -> Table:
    """Verdict, governing attachment, reserve, use of each limit and material, a column each."""
    table = plain_table("\nSide by side")
    table.add_column("", no_wrap=len(compared) < FEW)
    for label, _ in compared:
        table.add_column(label, justify="right", overflow="fold")
    found = [_column(analysis, units) for _, analysis in compared]
    heads = list(dict.fromkeys(head for column in found for head in column))
    for head in heads:
        cells = [column.get(head, NOTHING) for column in found]
        if head == SNOW and len(set(cells)) == 1:  # said once in the head of the line before
            continue
        if head == SNOW and len(compared) >= FEW:  # no word of such columns may be longer
            cells = [cell.replace("characteristic", "char.").replace("-", " ") for cell in cells]
        if any(cell != NOTHING for cell in cells):
            alike = head == RESERVE and len({column[SNOW] for column in found}) == 1
            table.add_row(f"reserve on {found[0][SNOW]} snow" if alike else head, *cells)
    return table


def _column(analysis: Analysis, units: UnitSystem) -> dict[str, str]:
    """What a column says, in its order, by the head of each line."""
    worst, layout = analysis.attachment, analysis.project.layout
    case = least_reserve(analysis)
    reserve = float(analysis.reserve[case]) * analysis.factors[case].snow
    table = analysis.project.table
    found = {
        "standard": table.site.standard,
        "format": table.design.format,
        "verdict": ", ".join(verdict(analysis, units).words),
    }
    if worst is not None:
        limit = analysis.limits[worst.limit]
        found["governing"] = f"{limit.target_name[worst.target]} {percent(worst.utilization)}"
    if analysis.unverified and worst is not None:
        found["governing"] += GIVEN
    of = GIVEN if analysis.unverified else ""
    times = f"× {significant(reserve)}{of}, {analysis.factors[case].snow:g} needed"
    found[RESERVE] = times if math.isfinite(reserve) else "no end"
    found[SNOW] = CALLED[analysis.snow.cases[case].level]
    for line in limit_lines(analysis):
        use = "?" if line.status == NOT_VERIFIED else percent(line.utilization)
        found[line.limit.name] = NOTHING if line.status == NOT_LOADED else use
    for one in analysis.protected:
        found[f"falls on {one.name}"] = units.text(one.weight, "force")
    found["mean row force, most, but ends"] = units.text(_most_line(analysis), "line")
    found["rail"] = units.text(float(layout.row_length.sum()), "length")
    found["clamps"] = f"{len(layout.clamp_name):,}"
    return found


def _most_line(analysis: Analysis) -> float:
    """Largest mean snow force of a row in any case, before load factors, without that at its ends. [N/m]."""
    force, layout = analysis.force, analysis.project.layout
    total = np.zeros((len(force.thrust), len(layout.row_name)))
    np.add.at(total.T, force.row, np.abs((force.thrust + force.aside)[..., 1]).T)
    return float((total / layout.row_length).max(initial=0.0))
