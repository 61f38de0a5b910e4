"""From the file of an investigation to what was found, clamp by clamp, SI."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.project.evidence_schema import (
    EvidenceFile,
    FoundTable,
    MarksFound,
    PulledFound,
    RailFound,
    ScrewsFound,
    TypesFound,
)
from roofmodel.project.load import Project, load_project
from roofmodel.project.screw_tables import need_along
from roofmodel.project.validation import read_text, validated
from roofmodel.units import STANDARD_GRAVITY, SYSTEMS

Array = NDArray[np.float64]

GAVE_WAY = ("off", "slipped", "bent")
# Doubt that a clamp was there whose screws or type were looked at, or that was pulled (judgment).
AT_HAND = 0.01
FAR = 2  # clamps from a splice that a name may be
MOST_HELD = 5.0  # of a clamp that was pulled over its strength in the project (judgment) [-]
OWN_SCATTER = 0.15  # of the depth along a row where no wind heaped snow (judgment) [-]


@dataclass(frozen=True)
class Evidence:
    """What was found.

    Attributes
    ----------
    path : Path
    table : EvidenceFile
    project : Project
        The roof as it was meant to be.
    digest : str
        SHA-256 of the file and the project's inputs.
    known : (c,) bool
        Clamps of which something is known.
    gave_way : (c,) bool
        Those found off, slipped or bent.
    doubt : (c,) float
        Chance that a clamp is told wrong.
    rails : tuple of (int, str, float, bool or None)
        Clamp nearest to each splice that was looked at, how it was found, the doubt, and whether a parted one
        looked fresh; None for not told.
    along : tuple of (int, float, float)
        Clamp nearest to each place where depth was looked at, depth there over that of even snow, and its
        deviation. [-]
    screws : tuple of ((k,) int, int, float)
        Clamps whose screws were looked at, how many of them were loose, and the doubt of each.
    marks : tuple of ((k,) int, int, float)
        Clamps whose seams were looked at, how many left no mark, and the doubt of each.
    there : tuple of ((k,) int, float)
        Clamps that were seen to be clamps, and the doubt of each: bent, slipped, with their screws or type
        looked at, pulled, or standing in a row of which none gave way.
    pulled : tuple of ((k,) int, float, float, float, bool)
        Clamps that were pulled to failure, the mean of what they held before they were torn off, its
        deviation, how far they scattered (root mean square; NaN for not told), and whether they were
        tightened first. [N]
    load : (float, float)
        Load without drift and its standard deviation; NaN for not measured. [Pa]
    fallen : (float, float)
        Weight of the snow that fell and its standard deviation; NaN for not measured. [N]
    kinds : tuple of ((k,) int, int, float)
        Clamps whose type was checked, how many were wrong, and the doubt of each.
    splice_screws, spans : tuple of (int, bool, float)
        Clamp nearest to a splice, whether its screws had been set; clamp nearest to a place of a rail away
        from splices, whether it is bent; the doubt of both.
    """

    path: Path
    table: EvidenceFile
    project: Project
    digest: str
    known: NDArray[np.bool_]
    gave_way: NDArray[np.bool_]
    doubt: Array
    rails: tuple[tuple[int, str, float, bool | None], ...]
    along: tuple[tuple[int, float, float], ...]
    screws: tuple[tuple[NDArray[np.int64], int, float], ...]
    marks: tuple[tuple[NDArray[np.int64], int, float], ...]
    there: tuple[tuple[NDArray[np.int64], float], ...]
    pulled: tuple[tuple[NDArray[np.int64], float, float, float, bool], ...]
    load: tuple[float, float]
    fallen: tuple[float, float]
    kinds: tuple[tuple[NDArray[np.int64], int, float], ...] = ()
    splice_screws: tuple[tuple[int, bool, float], ...] = ()
    spans: tuple[tuple[int, bool, float], ...] = ()

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Files that no output may replace."""
        weather = () if self.table.weather is None else (self.path.parent / self.table.weather,)
        return (self.path, *self.project.inputs, *weather)


def load_evidence(path: str | Path) -> Evidence:
    """Read an investigation and the project it is about.

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = read_text(path, "the file of an investigation")
    table = validated(text, path.name, EvidenceFile, "write [case] and a [[found]] for what was found")
    if not (path.parent / table.case.project).exists():
        message = (
            f'{path.name}: case.project = "{table.case.project}": no such file; give the project file of the '
            f"roof, from the folder of {path.name}"
        )
        raise InputError(message)
    project = load_project(path.parent / table.case.project)
    need_along(project.table.clamp, "an investigation", project.path.name)
    try:
        states = _states(project.layout, table.found)
        known, gave_way, doubt, hurt = states
        rails, splice_screws, spans = _rails(project.layout, table.rail)
        along = tuple(
            (
                int(clamps_named(project.layout, one.near, f"snow.along {i}.near")[0]),
                one.over,
                float(np.hypot(one.doubt, OWN_SCATTER)) * one.over,
            )
            for i, one in enumerate(table.snow.along, 1)
        )
        screws = tuple(_screws(project.layout, one, i) for i, one in enumerate(table.screws, 1))
        _once(project.layout, screws, "screws")
        marks = tuple(_screws(project.layout, one, i) for i, one in enumerate(table.marks, 1))
        _once(project.layout, marks, "marks")
        kinds = tuple(_screws(project.layout, one, i) for i, one in enumerate(table.type, 1))
        _once(project.layout, kinds, "type")
        pulled = tuple(_pulled(project.layout, one, i, gave_way) for i, one in enumerate(table.pulled, 1))
        _can_be_held(table.pulled, pulled, float(project.clamp.nominal[0]), project.table.project.units)
        _once(project.layout, tuple((at, 0, 0.0) for at, *_ in pulled), "pulled")
        closer = {
            name: [at for at, *_ in looks]
            for name, looks in (("screws", screws), ("type", kinds), ("pulled", pulled))
        }
        _were_there(closer, marks, (known & ~gave_way) | hurt)
    except InputError as error:
        message = f"{path.name}: {error}"
        raise InputError(message) from None
    snow = table.snow
    load = snow.load
    if snow.depth is not None and snow.density is not None:
        load = snow.depth * snow.density * STANDARD_GRAVITY
    fallen, share = snow.fallen, snow.fallen_doubt
    if snow.heap is not None:
        heap = snow.heap
        fallen = heap.length * heap.width * heap.depth * heap.density * STANDARD_GRAVITY
        share = heap.doubt
    digest = hashlib.sha256(text.encode() + project.digest.encode()).hexdigest()
    return Evidence(
        path, table, project, digest, known, gave_way, doubt, rails, along, screws,
        marks, _there(project.layout.clamp_row, states, [at for of in closer.values() for at in of]), pulled,
        (np.nan, np.nan) if load is None else (load, snow.doubt * load),
        (np.nan, np.nan) if fallen is None else (fallen, share * fallen),
        kinds, splice_screws, spans,
    )  # fmt: skip


def _splice(layout: Layout, near: str, field: str) -> int:
    """Clamp nearest to the splice that is nearest to the clamp that is named."""
    clamp = int(clamps_named(layout, near, field)[0])
    row = int(layout.clamp_row[clamp])
    splices, nearest = layout.splice_s[layout.splice_row == row], _at_splices(layout, row)
    if not len(splices):
        message = f"{field}: row {layout.row_name[row]} has no splice; its rail is one piece"
        raise InputError(message)
    at = int(nearest[np.abs(splices - layout.clamp_s[clamp]).argmin()])
    if abs(at - clamp) > FAR:
        names = ", ".join(layout.clamp_name[k] for k in nearest[:12].tolist())
        more = ", ..." if len(nearest) > 12 else ""
        message = (
            f'{field}: "{near}" is not near a splice; those of row {layout.row_name[row]} are nearest to '
            f"{names}{more}"
        )
        raise InputError(message)
    return at


def _at_splices(layout: Layout, row: int) -> NDArray[np.int64]:
    """Clamp nearest to each splice of a row."""
    splices, own = layout.splice_s[layout.splice_row == row], np.flatnonzero(layout.clamp_row == row)
    return np.asarray(own[np.abs(splices[:, None] - layout.clamp_s[own]).argmin(axis=1)])


def _there(
    row: NDArray[np.int64],
    states: tuple[NDArray[np.bool_], NDArray[np.bool_], Array, NDArray[np.bool_]],
    closer: Sequence[NDArray[np.int64]],
) -> tuple[tuple[NDArray[np.int64], float], ...]:
    """Clamps that were seen, each once, by the doubt that they were there.

    Whoever looks at the screws or the type of clamps, or pulls them (`closer`), has them before him: that a
    screw or a type is told wrong is no doubt of that. Those that stand beside clamps that gave way are left
    out: a sample that lost its clamps a little farther on is near all the same.
    """
    known, gave_way, doubt, seen = states
    hurt, doubt = np.isin(row, row[gave_way]), doubt.copy()
    for at in closer:  # a few
        doubt[at] = np.minimum(doubt[at], AT_HAND)
        seen = seen | np.isin(np.arange(len(seen)), at)
    seen = (seen & gave_way) | (known & ~gave_way & ~hurt)
    return tuple(
        (np.flatnonzero(seen & (doubt == wrong)), float(wrong)) for wrong in np.unique(doubt[seen]).tolist()
    )


def _rails(
    layout: Layout, rails: list[RailFound]
) -> tuple[
    tuple[tuple[int, str, float, bool | None], ...],
    tuple[tuple[int, bool, float], ...],
    tuple[tuple[int, bool, float], ...],
]:
    """Splices by their state, their screws, and rails away from splices."""
    numbered = list(enumerate(rails, 1))
    at = {i: _splice(layout, one.near, f"rail {i}.near") for i, one in numbered if one.at == "splice"}
    _one_state(layout, rails, at)
    spans: dict[int, tuple[bool, float]] = {}
    for i, one in numbered:
        if one.at == "span":
            clamp = int(clamps_named(layout, one.near, f"rail {i}.near")[0])
            if clamp in spans:
                message = f'rail {i}.near: the rail at "{one.near}" is told twice; tell each place once'
                raise InputError(message)
            if np.abs(_at_splices(layout, int(layout.clamp_row[clamp])) - clamp).min(initial=FAR + 1) <= FAR:
                message = (
                    f'rail {i}.at = "span", but {one.near} is within {FAR} clamps of a splice; tell it as '
                    'that splice (at = "splice"), or name a clamp farther from it'
                )
                raise InputError(message)
            spans[clamp] = one.state == "bent", one.doubt
    return (
        tuple((at[i], one.state, one.doubt, one.fresh) for i, one in numbered if i in at),
        tuple((at[i], one.screws, one.doubt) for i, one in numbered if i in at and one.screws is not None),
        tuple((clamp, *told) for clamp, told in spans.items()),
    )


def _screws(
    layout: Layout, one: ScrewsFound | MarksFound | TypesFound, number: int
) -> tuple[NDArray[np.int64], int, float]:
    if isinstance(one, ScrewsFound):
        table, field, count = "screws", "loose", one.loose
    elif isinstance(one, MarksFound):
        table, field, count = "marks", "none", one.none
    else:
        table, field, count = "type", "wrong", one.wrong
    at = clamps_named(layout, one.clamps, f"{table} {number}.clamps")
    if count > len(at):
        most = f"write {len(at)} or less, or name more clamps"
        message = f"{table} {number}.{field} = {count} of {len(at)} clamps; {most}"
        raise InputError(message)
    return at, count, one.doubt


def _once(layout: Layout, looks: tuple[tuple[NDArray[np.int64], int, float], ...], table: str) -> None:
    times = np.bincount(np.concatenate([np.zeros(0, dtype=np.int64), *(at for at, _, _ in looks)]))
    if (times > 1).any():
        name = layout.clamp_name[int(np.argmax(times))]
        message = f"{table}: {name} is in two [[{table}]]; each clamp was looked at once, so name it in one"
        raise InputError(message)


def _one_state(layout: Layout, rails: list[RailFound], at: dict[int, int]) -> None:
    """Each splice is told once: two readings of one would count twice or contradict each other."""
    seen: dict[int, int] = {}
    for i, clamp in at.items():
        if clamp in seen:
            one, other = rails[seen[clamp] - 1], rails[i - 1]
            what = f'"{one.state}"' if one.state == other.state else f'"{one.state}" and "{other.state}"'
            message = (
                f"rail {i}.near: the splice at {layout.clamp_name[clamp]} is told twice, {what} (rail "
                f'{seen[clamp]}, near "{one.near}"); tell each splice once, with its doubt'
            )
            raise InputError(message)
        seen[clamp] = i


def _were_there(
    closer: dict[str, list[NDArray[np.int64]]],
    marks: tuple[tuple[NDArray[np.int64], int, float], ...],
    found: NDArray[np.bool_],
) -> None:
    """A clamp that was found at its seam, or that somebody had before him, was there and left a mark."""
    how = {"screws": "the screws of {} were looked at", "type": "the type of {} was checked",
           "pulled": "{} were pulled"}  # fmt: skip
    for i, (seams, none, _) in enumerate(marks, 1):
        looked, of = found[seams], []
        if looked.any():
            of.append(f"{int(looked.sum())} were found standing, bent or slipped")
        for table, groups in closer.items():
            by = [k for k, at in enumerate(groups, 1) if np.isin(at, seams).any()]
            if by:
                own = np.isin(seams, np.concatenate([groups[k - 1] for k in by]))
                tables = " and ".join(f"{table} {k}" for k in by)
                of.append(f"{how[table].format(int(own.sum()))} ({tables})")
                looked = looked | own
        there = int(looked.sum())
        if none > len(seams) - there:
            message = (
                f"marks {i}.none = {none}, but {there} of these {len(seams)} clamps were there, "
                f"{', '.join(of)}; at most {len(seams) - there} can have left no mark"
            )
            raise InputError(message)


def _pulled(
    layout: Layout, one: PulledFound, number: int, gave_way: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], float, float, float, bool]:
    at, held, scatter = clamps_named(layout, one.clamps, f"pulled {number}.clamps"), one.mean, np.nan
    off = gave_way[at]
    if one.kept is None and off.any():
        name = layout.clamp_name[int(at[off][0])]
        message = (
            f"pulled {number}.kept is missing: {name} gave way as found says; give the share of its strength "
            "that such a clamp keeps after it was torn off, such as kept = 0.85"
        )
        raise InputError(message)
    if one.kept is not None and not off.all():
        name = layout.clamp_name[int(at[~off][0])]
        message = (
            f"pulled {number}.kept = {one.kept:g}, but {name} did not give way as found says; put "
            "clamps that stood into a [[pulled]] of their own, without kept"
        )
        raise InputError(message)
    if one.kept is not None and one.tightened is False:
        message = (
            f"pulled {number}.tightened = false with kept: clamps that came off are gripped anew for it, "
            "so that it says nothing of their screws; leave tightened out, and tell loose ones in [[screws]]"
        )
        raise InputError(message)
    if one.each is not None:
        if len(one.each) != len(at):
            message = (
                f"pulled {number}.each has {len(one.each)} strengths of {len(at)} clamps; give one for each"
            )
            raise InputError(message)
        held, scatter = float(np.mean(one.each)), float(np.std(one.each))
    before = (held or 0.0) / (one.kept or 1.0)
    tightened = bool(one.tightened) or bool(off.any())
    return at, before, one.doubt * before, scatter / (one.kept or 1.0), tightened


def _can_be_held(
    entries: list[PulledFound],
    pulled: tuple[tuple[NDArray[np.int64], float, float, float, bool], ...],
    strength: float,
    units: str,
) -> None:
    """No clamp holds many times its strength: a wrong unit or scale."""
    for i, (one, (_, mean, *_)) in enumerate(zip(entries, pulled, strict=True), 1):
        held = max([mean, *(value / (one.kept or 1.0) for value in one.each or ())])
        if held > MOST_HELD * strength:
            field = "mean" if one.each is None else "each"
            told, own = (SYSTEMS[units].text(value, "force") for value in (held, strength))
            before = "" if one.kept is None else f" before it was torn off (kept = {one.kept:g})"
            message = (
                f"pulled {i}.{field}: {told}{before} is {held / strength:,.0f} times the {own} of the clamp "
                f"in the project; no clamp holds more than {MOST_HELD:g} times its strength: check value and "
                "unit"
            )
            raise InputError(message)


def _states(
    layout: Layout, found: list[FoundTable]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Array, NDArray[np.bool_]]:
    """Known, gave way, doubt, and bent or slipped (c,); what stands later in the file counts."""
    c = len(layout.clamp_name)
    known, gave_way, seen, doubt = *(np.zeros(c, dtype=bool) for _ in range(3)), np.zeros(c)
    for i, one in enumerate(found, 1):
        at = clamps_named(layout, one.clamps, f"found {i}.clamps")
        known[at] = one.state != "unknown"
        gave_way[at] = one.state in GAVE_WAY
        seen[at] = one.state in ("bent", "slipped")
        doubt[at] = one.doubt
    if not gave_way.any():
        message = 'found: nothing gave way; name the clamps that are "off", "slipped" or "bent"'
        raise InputError(message)
    return known, gave_way, doubt, seen


def clamps_named(layout: Layout, text: str, field: str) -> NDArray[np.int64]:
    """Indices of the clamps that a text names.

    Raises
    ------
    InputError
        A name that the project does not have.
    """
    number = {name: i for i, name in enumerate(layout.clamp_name)}
    found: list[int] = []
    for part in (piece.strip() for piece in text.split(",")):
        if part.startswith("row "):
            name = part[4:].strip()
            if name not in layout.row_name:
                message = f'{field}: there is no row "{name}"; there are {", ".join(layout.row_name[:20])}'
                raise InputError(message)
            found += np.flatnonzero(layout.clamp_row == layout.row_name.index(name)).tolist()
            continue
        ends = [piece.strip() for piece in part.split("..")]
        bad = next((end for end in ends if end not in number), None)
        if bad is not None or len(ends) > 2:
            row = next((r for r in layout.row_name if (bad or "").startswith(f"{r}-")), layout.row_name[0])
            own = np.flatnonzero(layout.clamp_row == layout.row_name.index(row))
            left, end = layout.clamp_name[own[0]], layout.clamp_name[own[-1]]
            right = f'row {row} has {left} to {end}; write "{left}..{end}" or "row {row}"'
            message = f'{field}: there is no clamp "{bad or part}"; {right}'
            raise InputError(message)
        first, last = number[ends[0]], number[ends[-1]]
        if layout.clamp_row[first] != layout.clamp_row[last] or last < first:
            message = f'{field}: "{part}" must run along one row, from its left end to the right'
            raise InputError(message)
        found += range(first, last + 1)
    return np.unique(np.array(found, dtype=np.int64))
