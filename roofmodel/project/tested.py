"""Whether strengths from tests hold on the panel of the project."""

from __future__ import annotations

from roofmodel.errors import InputError
from roofmodel.project.clamp_schema import ClampTable, TestedTable
from roofmodel.project.schema import ProjectFile
from roofmodel.units import UnitSystem

SAME_HEIGHT = 1e-3  # of seams that count as alike [m]
THINNER = 0.98  # of the tested thickness that still counts as it (rolling tolerance, judgment) [-]
FEW = 3  # tests below which nothing is known of their scatter


def check_tested(table: ProjectFile, units: UnitSystem) -> None:
    """Refuse strengths that were tested on another panel.

    Raises
    ------
    InputError
        Another metal, seam or lock, or a thinner sheet.
    """
    tested, panel = table.clamp.tested, table.panel
    if tested is None:
        return
    if tested.metal != panel.metal:
        _refuse("metal", tested.metal, "panel.metal", panel.metal)
    if abs(tested.seam_height - panel.seam_height) > SAME_HEIGHT:
        was, own = (units.text(h, "size") for h in (tested.seam_height, panel.seam_height))
        _refuse("seam_height", was, "panel.seam_height", own)
    if panel.thickness < THINNER * tested.thickness:
        was, own = (units.text(t, "size") for t in (tested.thickness, panel.thickness))
        _refuse("thickness", was, "panel.thickness", own)
    if table.seam is not None and tested.lock.strip() and tested.lock.strip().lower() != table.seam.lock:
        _refuse("lock", tested.lock.strip(), "seam.lock", table.seam.lock)


def tested_notes(clamp: ClampTable, thickness: float, units: UnitSystem) -> tuple[str, ...]:
    """What the tests behind the strengths leave open, one sentence each."""
    tested = clamp.tested
    if tested is None:
        return ()
    given = [name for name, value in clamp.strength.model_dump().items() if value is not None]
    bare = [name for name in given if name not in tested.directions]
    notes = [f"Clamp strengths were tested on {words(tested, units)}."]
    if bare:
        notes.append(
            f"UNSUPPORTED: clamp.strength.{', '.join(bare)} was not tested (clamp.tested.directions)."
        )
    if tested.tests < FEW:
        notes.append(
            f"UNSUPPORTED: {tested.tests} tests behind a clamp strength say nothing about its scatter."
        )
    if thickness > tested.thickness / THINNER:
        notes.append(
            f"The sheet is thicker ({units.text(thickness, 'size')}) than in the tests: clamps may close "
            "less on it; ask the maker."
        )
    return tuple(notes)


def words(tested: TestedTable, units: UnitSystem) -> str:
    """What was tested, such as "steel 0.6 mm, seams 32.0 mm high, screws at 13 N m; 6 tests"."""
    seams = f"{tested.lock.strip()} seams".strip()
    parts = [
        f"{tested.metal} {units.text(tested.thickness, 'size')}",
        f"{seams} {units.text(tested.seam_height, 'size')} high",
    ]
    parts += [f"on {tested.substrate.strip()}"] if tested.substrate.strip() else []
    parts += [] if tested.screw_torque is None else [f"screws at {units.text(tested.screw_torque, 'bend')}"]
    count = "1 test" if tested.tests == 1 else f"{tested.tests} tests"
    return f"{', '.join(parts)}; {', '.join(tested.directions)}; {count}"


def _refuse(what: str, tested: str, field: str, own: str) -> None:
    message = (
        f"clamp.tested.{what}: the strengths were tested on {tested}, but {field} is {own}; give strengths "
        "tested on this panel"
    )
    raise InputError(message)
