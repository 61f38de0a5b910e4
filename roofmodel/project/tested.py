"""Whether strengths from tests hold on the panel of the project."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from roofmodel.errors import InputError
from roofmodel.project.base import Table
from roofmodel.project.clamp_schema import ClampTable, TestedTable
from roofmodel.project.schema import PanelTable
from roofmodel.project.strength_doubts import (
    DIRECTIONS,
    FORCES,
    check_strengths,
    counted_strengths,
    least_of_tests,
)
from roofmodel.units import UnitSystem

SAME_HEIGHT = 1e-3  # of seams, and of loads above the grip, that count as alike [m]
THINNER = 0.98  # of the tested thickness that still counts as it (rolling tolerance, judgment) [-]
TURNED = 0.1  # share of the tested torque by which another one may differ (usual wrenches, judgment)
CAP = "a quarter of the least tested strength"  # what an untested force counts as at most
ARM = " times the length of the grip"  # and a moment
FEW = 3  # tests below which nothing is known of their scatter


def check_tested(clamp: ClampTable, panel: PanelTable, units: UnitSystem, lock: str | None = None) -> None:
    """Refuse strengths that were tested on another panel; `lock` is the seam's, where that is given.

    Raises
    ------
    InputError
        Another metal, seam or lock, a thinner sheet, another height of the load, screws that are tightened
        less, or a strength above the mean of its tests.
    """
    tested = clamp.tested
    if tested is None:
        return
    check_strengths(clamp, units)
    if tested.metal != panel.metal:
        _refuse("metal", tested.metal, "panel.metal", panel.metal)
    if abs(tested.seam_height - panel.seam_height) > SAME_HEIGHT:
        was, own = (units.text(h, "size") for h in (tested.seam_height, panel.seam_height))
        _refuse("seam_height", was, "panel.seam_height", own)
    if panel.thickness < THINNER * tested.thickness:
        was, own = (sheet_text(t, units) for t in (tested.thickness, panel.thickness))
        _refuse("thickness", was, "panel.thickness", own)
    was_high, high = tested.load_height, clamp.test_height
    if was_high is not None and abs(high - was_high) > SAME_HEIGHT:
        own, was = (units.text(h, "size") for h in (high, was_high))
        message = (
            f"clamp.test_height: {own}, but the load of the tests along the seam acted {was} above the grip "
            "(clamp.tested.load_height): clamps would count as tested for another moment; give that height "
            "(height is that of the rail), or tests at the other one"
        )
        raise InputError(message)
    turned, torque = tested.screw_torque, clamp.screw_torque
    if turned is not None and torque is not None and torque < (1.0 - TURNED) * turned:
        message = (
            f"clamp.screw_torque: {units.text(torque, 'bend')} tightens the clamps less than in the tests "
            f"(clamp.tested.screw_torque, {units.text(turned, 'bend')}): they may hold far less; give "
            "strengths tested with this torque"
        )
        raise InputError(message)
    if lock is not None and tested.lock.strip() and tested.lock.strip().lower() != lock:
        _refuse("lock", tested.lock.strip(), "seam.lock", lock)


# Notes on strengths of one format, as `eavewright tests` marks them.
_OF_EN = re.compile(r"[a-z, ]*, format EN: ")
_OF_AISI = re.compile(r"[a-z, ]*, formats ASD and LRFD: ")


def tested_notes(clamp: ClampTable, panel: PanelTable, units: UnitSystem, form: str) -> tuple[str, ...]:
    """What the tests behind the strengths leave open for a design format, one sentence each."""
    tested, thickness = clamp.tested, panel.thickness
    if tested is None:
        return ()
    given = counted_strengths(clamp)
    bare = [name for name, value in given.items() if value is not None and name not in tested.directions]
    notes = [f"Clamp strengths were tested on {words(tested, units)}."]
    if bare:
        notes.append(
            f"UNSUPPORTED: {', '.join(bare)} of the clamp NOT TESTED (clamp.tested.directions): "
            f"{_counted(clamp, given, bare, units)}. Have it tested (the page on strengths says how)."
        )
    if tested.tests < FEW:
        notes.append(
            f"UNSUPPORTED: {tested.tests} tests behind a clamp strength say nothing about its scatter."
        )
    told = any(one.direction == "along" for one in tested.series)
    if told and tested.load_height is None and clamp.test_height > 0.0:
        notes.append(
            f"CHECK clamp.test_height, {units.text(clamp.test_height, 'size')}: nothing says how high the "
            "tests along the seam were loaded (clamp.tested.load_height; `eavewright tests` writes it). "
            "UNSAFE if that was lower."
        )
    other = _OF_AISI if form == "EN" else _OF_EN
    notes += [f"Tests, {note.strip()}" for note in tested.notes if note.strip() and not other.match(note)]
    notes += _installed(clamp.screw_torque, panel.substrate.strip(), tested, units)
    if thickness > tested.thickness / THINNER:
        notes.append(
            f"The sheet is thicker ({sheet_text(thickness, units)}) than in the tests: clamps may close "
            "less on it; ask the maker."
        )
    return tuple(notes)


def _counted(
    clamp: ClampTable, given: Mapping[str, float | None], bare: Sequence[str], units: UnitSystem
) -> str:
    """What directions without tests count as."""
    forces = [name for name in bare if name in DIRECTIONS[:FORCES]]
    parts = [
        f"{name} counts as {units.text(value, 'force' if name in forces else 'bend')}"
        for name in bare
        if (value := given[name]) is not None
    ]
    if least_of_tests(clamp) is None:
        return f"{', '.join(parts)}, as given: no tested force has a strength to hold it against"
    share = CAP if forces else CAP + ARM
    share += f" ({', '.join(bare[len(forces) :])}:{ARM})" if 0 < len(forces) < len(bare) else ""
    return f"{', '.join(parts)}, no more than {share} (judgment)"


def untested_share(clamp: ClampTable, direction: int) -> str:
    """What a direction without tests counts as at most, for the data sheet."""
    if least_of_tests(clamp) is None:
        return "as given, held against no test"
    return f"{CAP}{'' if direction < FORCES else ARM} at most (judgment)"


def _installed(torque: float | None, substrate: str, tested: TestedTable, units: UnitSystem) -> list[str]:
    """Whether what lies below and the tightening are those of the tests."""
    notes, was = [], tested.substrate.strip()
    if was and substrate and was.lower() != substrate.lower():
        notes.append(
            f"UNSUPPORTED: the clamp strengths were tested on {was}, but panel.substrate is {substrate}. "
            "Pull and push hang on it: have them tested there; where only the words differ, write those of "
            "the tests."
        )
    if was and not substrate:
        notes.append(f"panel.substrate is not given: the clamp strengths hold on {was} only.")
    if tested.screw_torque is None:
        return notes
    turned = units.text(tested.screw_torque, "bend")
    if torque is None:
        notes.append(f"clamp.screw_torque is not given: the strengths hold with screws at {turned} only.")
    elif abs(torque - tested.screw_torque) > TURNED * tested.screw_torque:
        own = units.text(torque, "bend")
        notes.append(
            f"UNSUPPORTED: the clamp strengths were tested with screws at {turned}, but clamp.screw_torque "
            f"is {own}."
        )
    return notes


def untold_notes(clamp: ClampTable) -> tuple[str, ...]:
    """That nobody said which tests are behind the strengths."""
    if clamp.test_basis.strip() or clamp.tested is not None:
        return ()
    return ("Nobody said which tests the clamp strengths come from (clamp.test_basis).",)


def height_notes(clamp: ClampTable) -> tuple[str, ...]:
    """That nobody said how high above the grip the strength along the seam was tested."""
    given = "test_height" in clamp.model_fields_set
    if given or clamp.strength.along is None or clamp.height == 0.0:
        return ()
    return (
        "clamp.test_height is not given: the strength along the seam counts as tested at the grip, so that "
        "all that the rail's height does to tip the clamp comes on top. Safe, and it may cost four fifths "
        "or more of what a clamp carries: give the height of the load in the tests.",
    )


def bare_notes(form: str, tables: Mapping[str, Table | None]) -> tuple[str, ...]:
    """Factors of 1 by which loads for design of ASD or LRFD meet strengths whole, from tables by their names.

    EN has such factors (gamma_M0 of steel); snow that was measured may be met so in every format.
    """
    bare = [
        f"{where}.{name}"
        for where, table in tables.items()
        for name, value in table or ()
        if name.endswith("factor") and value == 1.0
    ]
    if form == "EN" or not bare:
        return ()
    return (
        f"NO SAFETY FACTOR: 1 is given as {', '.join(bare)}, so loads of format {form} meet whole strengths; "
        "only snow that was measured is looked into so.",
    )


def nominal_doubts(form: str, tables: Mapping[str, Table | None]) -> dict[str, str]:
    """Strengths of kind "nominal" in format EN, which wants 5 % fractiles (EN 1990 annex D; from memory).

    By field. A kind that stands in the file or by default counts where a factor was given for it. Nothing
    like it for ASD and LRFD: they refuse "characteristic", and their nominal strengths are means.
    """
    if form != "EN":
        return {}
    found = [
        f"{where}.{name}"
        for where, table in tables.items()
        for name, value in table or ()
        if name.endswith("kind")
        and value == "nominal"
        and getattr(table, "factor" if name == "strength_kind" else name.replace("_kind", "_factor"), None)
    ]
    return {
        field: f'{field} is "nominal" and would count as characteristic in format EN: UNSAFE for a mean or a '
        'catalog number. Say "characteristic" where it is a 5 % fractile of tests with its confidence (EN '
        "1990 annex D), else give that one"
        for field in found
    }


def bond_notes(clamp: ClampTable) -> tuple[str, ...]:
    """What is to be known of clamps that hold by adhesive alone."""
    if clamp.fastening != "adhesive":
        return ()
    return (
        f"The attachments hold by adhesive alone ({clamp.long_term_test.strip().rstrip('.')}): "
        "sustained load, heat and wet weaken a bond to paint for as long as the roof stands.",
    )


def words(tested: TestedTable, units: UnitSystem) -> str:
    """What was tested, such as "steel 0.6 mm, seams 32.0 mm high, screws at 13 N m; 6 tests"."""
    seams = f"{tested.lock.strip()} seams".strip()
    parts = [
        f"{tested.metal} {sheet_text(tested.thickness, units)}",
        f"{seams} {units.text(tested.seam_height, 'size')} high",
    ]
    parts += [f"on {tested.substrate.strip()}"] if tested.substrate.strip() else []
    parts += [] if tested.screw_torque is None else [f"screws at {units.text(tested.screw_torque, 'bend')}"]
    count = "1 test" if tested.tests == 1 else f"{tested.tests} tests"
    if len(tested.directions) > 1:
        alike = {one.tests for one in tested.series} == {tested.tests}
        count += " each" if alike and len(tested.series) == len(tested.directions) else " or more each"
    return f"{', '.join(parts)}; {', '.join(tested.directions)}; {count}"


def sheet_text(value: float, units: UnitSystem) -> str:
    """A small size such as a sheet's thickness, "0.6 mm" or "0.0236 in"; fixed digits would blur it."""
    return f"{value / 0.0254:.3g} in" if units.name == "US" else f"{1e3 * value:.4g} mm"


def _refuse(what: str, tested: str, field: str, own: str) -> None:
    message = (
        f"clamp.tested.{what}: the strengths were tested on {tested}, but {field} is {own}; give strengths "
        "tested on this panel"
    )
    raise InputError(message)
