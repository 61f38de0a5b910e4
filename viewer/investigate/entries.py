"""What stands in found.toml, entry by entry, in sentences."""

from __future__ import annotations

from roofmodel.project.evidence import GAVE_WAY, OWN_SCATTER, Evidence
from roofmodel.project.evidence_schema import PulledFound, RailFound
from roofmodel.units import UnitSystem


def _note(words: str) -> str:
    """What the user wrote beside an entry of found.toml, in brackets."""
    return f" ({words})" if words else ""


def splices_of(evidence: Evidence) -> tuple[RailFound, ...]:
    """Entries of splices, each beside its own of `Evidence.rails`."""
    return tuple(one for one in evidence.table.rail if one.at == "splice")


def rail_state(rail: RailFound) -> str:
    """How a splice was found, and its break if that was told."""
    words = rail.state if rail.fresh is None else f"{rail.state}, {'fresh' if rail.fresh else 'old'} break"
    if rail.screws is None:
        return words
    return f"{words}, {'its screws set' if rail.screws else 'no screws ever set'}"


def entries_told(evidence: Evidence, units: UnitSystem) -> list[str]:
    """A sentence for each thing that was found."""
    lines = []
    for one in evidence.table.found:
        what = "gave way" if one.state in GAVE_WAY else one.state
        words = one.state if one.state == what else f"{one.state} ({what})"
        lines.append(f"{one.clamps}: {words}, doubt {100.0 * one.doubt:g} % a clamp{_note(one.note)}.")
    for rail, (at, *_) in zip(splices_of(evidence), evidence.rails, strict=True):
        name = evidence.project.layout.clamp_name[at]
        where = f"{name} (named by {rail.near})" if name != rail.near else name
        lines.append(
            f"Splice at {where}: {rail_state(rail)}, doubt {100.0 * rail.doubt:g} %{_note(rail.note)}."
        )
    lines += [
        f"Rail at {one.near}, away from splices: {one.state}, doubt {100.0 * one.doubt:g} %{_note(one.note)}."
        for one in evidence.table.rail
        if one.at == "span"
    ]
    lines += [
        f"Snow at {deep.near}: {deep.over:g} ± {deep.doubt * deep.over:.2g} times as deep as where it lies "
        f"even{_note(deep.note)}; even snow scatters by {100.0 * OWN_SCATTER:.0f} % besides (judgment)."
        for deep in evidence.table.snow.along
    ]
    for screws, (clamps, loose, _) in zip(evidence.table.screws, evidence.screws, strict=True):
        lines.append(
            f"Screws of {screws.clamps}: {loose} of {len(clamps)} loose, "
            f"doubt {100.0 * screws.doubt:g} %{_note(screws.note)}."
        )
    for marks, (clamps, none, _) in zip(evidence.table.marks, evidence.marks, strict=True):
        lines.append(
            f"Seams at {marks.clamps}: {none} of {len(clamps)} without a mark of a clamp, "
            f"doubt {100.0 * marks.doubt:g} %{_note(marks.note)}."
        )
    for kinds, (clamps, wrong, _) in zip(evidence.table.type, evidence.kinds, strict=True):
        lines.append(
            f"Type of {kinds.clamps}: {wrong} of {len(clamps)} not the one made for this seam, "
            f"doubt {100.0 * kinds.doubt:g} %{_note(kinds.note)}."
        )
    for pulled, (_, held, wide, scatter, tightened) in zip(
        evidence.table.pulled, evidence.pulled, strict=True
    ):
        spread = ""
        if pulled.each is not None:
            ends = " to ".join(units.text(end(pulled.each), "force") for end in (min, max))
            spread = f", {ends}, so that they scatter by {units.text(scatter, 'force')}"
        how = _pulled_how(pulled, tightened)
        lines.append(
            f"{pulled.clamps}, pulled to failure{how}: {units.text(held, 'force')} ± "
            f"{units.text(wide, 'force')} in the mean{spread}{_note(pulled.note)}."
        )
    return lines


def _pulled_how(pulled: PulledFound, tightened: bool) -> str:
    """How clamps were pulled, if not as they stood."""
    words = ", tightened first" if tightened else ""
    return words if pulled.kept is None else f"{words}, over the {100.0 * pulled.kept:g} % kept"
