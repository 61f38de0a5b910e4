"""From the project file to everything the calculation needs, in SI."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from roofmodel.errors import InputError
from roofmodel.framing import Framing
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail, SeamDetail
from roofmodel.layout import Layout, no_rows
from roofmodel.project.arrays import place_arrays
from roofmodel.project.as_built import AS_MEASURED, as_found, read_measured
from roofmodel.project.base_file import FILE_FIELDS, BaseFile, read_base
from roofmodel.project.framing_tables import make_framing
from roofmodel.project.hardware_tables import make_clamp, make_panel, make_rail
from roofmodel.project.import_schema import ImportedRoof
from roofmodel.project.obstacles import place_obstacles
from roofmodel.project.part_tables import built_roof
from roofmodel.project.placement import check_grips, place_rows
from roofmodel.project.protected import check_protected
from roofmodel.project.schema import BuiltRoof, ProjectFile, RoofFile, RowTable
from roofmodel.project.screw_tables import with_screws
from roofmodel.project.seam_tables import make_seam
from roofmodel.project.sites import make_site
from roofmodel.project.standing import with_what_stands
from roofmodel.project.stops_tables import place_stops
from roofmodel.project.strength_doubts import load_height_doubts
from roofmodel.project.tested import check_tested
from roofmodel.project.validation import Model, check_given, modeled, read_text, read_toml
from roofmodel.shape.up_axis import doubts
from roofmodel.sliding.thrust import SlideOptions, ValleyThrust
from roofmodel.snow.inputs import Site
from roofmodel.stops import Stops, no_stops
from roofmodel.surface import RoofSurface
from roofmodel.units import SYSTEMS

LEAST_GRIP = 1e-3  # of seam above the grip's lower end, where the seam is modeled (judgment) [m]


@dataclass(frozen=True)
class Project:
    """A project, read and understood.

    Attributes
    ----------
    path : Path
        The project file.
    table : ProjectFile
        What it says, SI.
    digest : str
        SHA-256 of the project file and the files it names, so that a result can be reproduced; with a base,
        of all these, each after its length (8 bytes, big end first), the base second; empty
        once `with_rows` has moved rows.
    roof, site, rail, clamp, panel, seam, layout, slide
        Inputs of the calculation; seam is None without its table.
    framing : Framing or None
        What carries the roof, if the user says it.
    stops : Stops
        Single stops; they relieve no row.
    base : BaseFile or None
        The project file that this one builds on.
    """

    path: Path
    table: ProjectFile
    digest: str
    roof: RoofSurface
    site: Site
    rail: Rail
    clamp: Clamp
    panel: Panel
    seam: SeamDetail | None
    layout: Layout
    slide: SlideOptions
    framing: Framing | None = None
    stops: Stops = field(default_factory=no_stops)
    base: BaseFile | None = None

    @property
    def inputs(self) -> tuple[Path, ...]:
        """The project file, its base and every file they name; no output may take their place."""
        named = [] if self.base is None else [self.base.path]
        for place in FILE_FIELDS:
            found: Any = self.table
            for name in place:
                found = getattr(found, name, None)
            named += [] if found is None else [self.path.parent / str(found)]
        return (self.path, *named)

    @property
    def source(self) -> str:
        """Name of the project file, and of the one it builds on."""
        return self.path.name if self.base is None else f"{self.path.name} on {self.base.name}"


def load_project(path: str | Path, *, rows_needed: bool = True, rows_count: bool = True) -> Project:
    """Read a project file, build or import its roof and place its rows.

    Parameters
    ----------
    path : str or Path
        TOML file.
    rows_needed : bool
        Whether a project without rows is refused; if not, its layout is empty.
    rows_count : bool
        Whether rows are placed; if not, the layout is empty and rows that do not fit are no error.

    Returns
    -------
    Project

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = read_text(path)
    data = read_toml(text, path.name)
    base = read_base(data, path)
    table, base, _ = _based(data, base, path.name, ProjectFile)
    digest = _digest(text, base)
    return _assemble(table, path, digest, base, rows_needed=rows_needed, rows_count=rows_count)


class _Several:
    """SHA-256 of several files, each after its length, so that what moves between them shows."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def update(self, data: bytes) -> None:
        self._hash.update(len(data).to_bytes(8, "big"))
        self._hash.update(data)

    def hexdigest(self) -> str:
        return self._hash.hexdigest()


def _digest(text: str, base: BaseFile | None) -> Any:
    if base is None:
        return hashlib.sha256(text.encode())
    digest = _Several()
    for one in (text, base.text):
        digest.update(one.encode())
    return digest


def _based(
    data: Mapping[str, Any], base: BaseFile | None, name: str, model: type[Model]
) -> tuple[Model, BaseFile | None, Mapping[str, Any]]:
    """Tables of a project after a model, those of its base below them; the base; both as plain data."""
    if base is None:
        return modeled(data, name, model), None, data
    data, base = base.below(data)
    try:
        return modeled(data, name, model), base, data
    except InputError as error:
        raise InputError(base.told(str(error))) from None


def edited_project(known: Project, data: Mapping[str, Any]) -> Project:
    """A project with other content, for what is tried out before it is saved.

    Parameters
    ----------
    known : Project
        Its path counts, and its roof is taken over where the table `roof` is the same.
    data : mapping
        Content of a project file, as a TOML reader gives it; tables that it lacks are those of its base.

    Returns
    -------
    Project
        Without a digest, as no file holds it.

    Raises
    ------
    InputError
    """
    table, base, _ = _based(data, known.base, known.path.name, ProjectFile)
    if table.as_built is not None and table.row != known.table.row:
        message = f"{known.path.name}: {_MEASURED}"
        raise InputError(message)
    roof = None
    if table.roof == known.table.roof:
        notes = tuple(note for note in known.roof.notes if not note.startswith(AS_MEASURED))
        roof = replace(known.roof, notes=notes)  # what was measured is found anew, or no more
    return replace(_assemble(table, known.path, hashlib.sha256(), base, roof), digest="")


def without_rows(known: Project) -> Project:
    """A project as if it had no rows, for planning."""
    return replace(known, layout=no_rows())


_MEASURED = "as_built: its clamps were measured where the rows stand; take it out to move rows"


def _assemble(
    table: ProjectFile,
    path: Path,
    digest: Any,
    base: BaseFile | None = None,
    roof: RoofSurface | None = None,
    *,
    rows_needed: bool = True,
    rows_count: bool = True,
) -> Project:
    """Everything in SI; a roof that is known is not read again."""
    lies = ""  # doubts about a roof on its side, by which planes have other names
    try:
        if rows_needed and not table.row:
            message = "row is missing; add [[row]] and its fields below it (`eavewright plan` can)"
            raise InputError(message)
        form, units = DesignFormat(table.design.format), SYSTEMS[table.project.units]
        panel = make_panel(table.panel, form)
        lock = None if table.seam is None else table.seam.lock
        check_tested(table.clamp, table.panel, units, lock)
        least = 0.0 if table.seam is None else LEAST_GRIP
        clamp = make_clamp(table.clamp, form, table.panel.seam_height, units, least)
        clamp = with_screws(clamp, table.clamp, form, units)
        seam = None if table.seam is None else make_seam(table.seam, table.panel, form, units)
        rail = make_rail(table.rail, form, path.parent, digest)
        load_height_doubts(table.clamp, (rail,), units)
        measured = None
        if table.as_built is not None and rows_count:
            measured = read_measured(path.parent / table.as_built.file, table.as_built.file, digest)
        # A roof file takes longest to read: what needs no roof was refused before.
        roof = _read_roof(table, path, digest) if roof is None else roof
        lies = f"; {doubts(roof)[0]}" if doubts(roof) else ""
        check_protected(roof, table.protect, units)
        roof = replace(roof, obstacles=place_obstacles(roof, table.parapet, table.obstruction, units))
        roof = replace(roof, arrays=place_arrays(roof, table.solar, table.plane, panel.seam_spacing, units))
        placed = rows_count and bool(table.row)
        layout = place_rows(roof, table.row, table.plane, panel, units) if placed else no_rows()
        if measured is not None:
            layout, found = as_found(layout, measured, panel, units)
            roof = replace(roof, notes=tuple(dict.fromkeys((*roof.notes, found))))
        check_grips(layout, clamp.grip_length, units)
        return Project(
            path=path,
            table=table,
            digest=digest.hexdigest(),
            roof=roof,
            site=make_site(table, roof.planes.name),
            rail=rail,
            clamp=clamp,
            panel=panel,
            seam=seam,
            layout=layout,
            slide=SlideOptions(
                friction=table.surface.friction,
                strip_width=table.analysis.strip_width,
                valley=ValleyThrust(table.analysis.valley_thrust),
                valley_spread=table.analysis.valley_spread,
                spread_angle=table.analysis.spread_angle,
            ),
            framing=make_framing(roof, table.framing, form, units),
            stops=place_stops(
                roof, table.stops, table.plane, panel, clamp.height + rail.section.highest_top, units
            ),
            base=base,
        )
    except InputError as error:
        message = f"{path.name}: {SYSTEMS[table.project.units].reworded(str(error))}{lies}"
        raise InputError(message if base is None else base.told(message)) from None


def with_rows(project: Project, rows: Sequence[RowTable]) -> Project:
    """The same project with other rows, its roof and hardware as they are.

    Parameters
    ----------
    project : Project
    rows : sequence of RowTable
        All rows, in place of those of the file.

    Returns
    -------
    Project
        Its digest is empty: no file says what it holds.

    Raises
    ------
    InputError
        One line that names the field, the value and what would be right.
    """
    names = [row.name for row in rows]
    twice = next((name for name in names if names.count(name) > 1), None)
    if not rows or twice is not None:
        message = "row: give at least one" if not rows else f'row.name: "{twice}" is used twice'
        raise InputError(message)
    if project.table.as_built is not None:
        if list(rows) == list(project.table.row):
            return project
        raise InputError(_MEASURED)
    units = SYSTEMS[project.table.project.units]
    layout = place_rows(project.roof, rows, project.table.plane, project.panel, units)
    check_grips(layout, project.clamp.grip_length, units)
    table = project.table.model_copy(update={"row": list(rows)})
    return replace(project, table=table, layout=layout, digest="")


def load_roof(path: str | Path) -> tuple[RoofSurface, RoofFile, str]:
    """Build or import the roof of a project file; its other tables may be missing, no value of them wrong.

    Returns
    -------
    roof : RoofSurface
    table : RoofFile
        Title, units and roof as the file gives them.
    digest : str
        As in `Project`.

    Raises
    ------
    InputError
    """
    path = Path(path)
    text = read_text(path)
    data = read_toml(text, path.name)
    table, base, whole = _based(data, read_base(data, path), path.name, RoofFile)
    try:
        check_given(whole, path.name)
    except InputError as error:
        raise InputError(str(error) if base is None else base.told(str(error))) from None
    digest = _digest(text, base)
    try:
        roof = _read_roof(table, path, digest)
        return (
            with_what_stands(roof, whole, SYSTEMS[table.project.units]),
            table,
            digest.hexdigest(),
        )
    except InputError as error:
        message = f"{path.name}: {SYSTEMS[table.project.units].reworded(str(error))}"
        raise InputError(message if base is None else base.told(message)) from None


def _read_roof(table: ProjectFile | RoofFile, path: Path, digest: Any) -> RoofSurface:
    """The roof, its notes in the units of the project."""
    roof, units = _roof(table.roof, path, digest), SYSTEMS[table.project.units]
    return replace(roof, notes=tuple(units.reworded(note) for note in roof.notes))


def _roof(roof: BuiltRoof | ImportedRoof, path: Path, digest: Any) -> RoofSurface:
    if isinstance(roof, BuiltRoof):
        return built_roof(roof)
    from roofmodel.project.import_tables import read_roof

    return read_roof(roof, path.parent, digest)
