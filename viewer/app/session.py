"""An open project as plain state: what it says now, what it said before, what is on the disk."""

from __future__ import annotations

import contextlib
import math
import os
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.project.load import Project, edited_project, load_project, without_rows
from roofmodel.project.validation import read_text
from roofmodel.units import SYSTEMS
from viewer.app.lent import check_removed, lend, take_back, whole
from viewer.files import atomic, sweep

if TYPE_CHECKING:
    from fea.analysis import Analysis
    from fea.planning.plan import Plan
    from viewer.app import messages

Tell = Callable[[str], None]

KEPT_STEPS = 200  # that can be undone
KEPT_ANSWERS = 6  # of the last steps, so that undo shows its numbers at once


class StaleError(InputError):
    """A change that was made while looking at an older state."""


@dataclass(frozen=True)
class Version:
    """One state of the project.

    `text` is the whole file, `label` says what led to it; without an `analysis` the `trouble` says why.
    `memory` is what answers share that differ in nothing but their rows. `reading` counts how often the file
    had been read, with what others wrote into it, when the text was begun. `edit` is the change that led to
    it, if it is one that can be made again.
    """

    text: str
    label: str
    project: Project
    analysis: Analysis | None
    trouble: str = ""
    memory: Memory = field(default_factory=Memory)
    reading: int = 0
    edit: messages.Edit | messages.TakePlan | None = None


@dataclass(frozen=True)
class Lost:
    """Changes that the file, read again, does not hold: told and offered while the state has this revision.

    `tried` says that they could not be made again.
    """

    revision: int = 0
    versions: tuple[Version, ...] = ()
    tried: bool = False


@dataclass(frozen=True)
class State:
    """Everything that is open.

    `on_disk` are the bytes of the project file as last read or written; `revision` grows with every change;
    `reading` counts how often what others wrote into the file was read; `lost` is what a reading left behind.
    """

    path: Path
    revision: int
    now: Version
    past: tuple[Version, ...]
    future: tuple[Version, ...]
    on_disk: bytes
    reading: int = 0
    lost: Lost = field(default_factory=Lost)

    @property
    def behind(self) -> bool:
        """Whether this text was begun before the file was read again: it lacks what others wrote."""
        return self.now.reading != self.reading

    @property
    def unsaved(self) -> bool:
        """Whether the project says something else than its file."""
        return _bytes(self.now.text, self.on_disk) != self.on_disk


def open_state(path: Path) -> State:
    """Read a project without solving it.

    Raises
    ------
    InputError
    """
    path = Path(path).resolve()
    version, data = _read(path)
    with contextlib.suppress(InputError, OSError), _alone(path.parent, wait=False):
        sweep(path)
    return State(path, 1, version, (), (), data)


def _read(path: Path) -> tuple[Version, bytes]:
    project = load_project(path)
    data = path.read_bytes()
    text = data.decode("utf-8-sig")
    if edited_project(project, tomllib.loads(text)).table != project.table:
        message = f"{path.name}: changed while it was read; try again"
        raise InputError(message)
    return Version(text, "opened", project, None), data


def _answer(version: Version, tell: Tell | None, kept: Analysis | None = None) -> Version:
    """The version with its answer; what follows the first failure is left to the report.

    A trial beside a `kept` answer does not try other strips: where those failed it, they fail the trial too,
    and where they are met is seen when it is kept.
    """
    from fea.analysis import analyze  # a second to import, in which the browser starts
    from fea.checks.audit import REFINED

    analysis = analyze(version.project, tell, version.memory, beyond=False, trial=kept is not None)
    if kept is not None:
        coarse = [proof for proof in kept.proofs if proof.name == REFINED and not proof.met]
        analysis = replace(analysis, proofs=(*analysis.proofs, *coarse))
    return replace(version, analysis=analysis)


def _shared(known: Version, project: Project) -> Memory:
    """Memory of a known version, if the project differs from it in its rows only; else a new one."""
    rows = {"row": project.table.row}
    same = known.project.table.model_copy(update=rows) == project.table
    return known.memory if same else Memory()


def solved(version: Version, tell: Tell | None = None) -> Version:
    """The version with its answer, or with the reason why there is none."""
    if version.analysis is not None or version.trouble:
        return version
    try:
        return _answer(version, tell)
    except InputError as error:
        return replace(version, trouble=str(error))


def check_revision(state: State, revision: int) -> None:
    """Refuse what was meant for an older state. Raises StaleError."""
    if revision != state.revision:
        message = (
            "the project was changed in another window meanwhile; look at it again and repeat your change"
        )
        raise StaleError(message)


def preview(state: State, edit: messages.Edit, tell: Tell | None = None) -> Version:
    """What a change would give; nothing is kept.

    Raises
    ------
    InputError
    """
    # With what reads messages: nobody edits before the first picture.
    from viewer.app.edits import apply_edit, stays_empty

    check_revision(state, edit.revision)
    data = whole(state.now.text, state.now.project.base)
    label = apply_edit(data, edit, state.now.project)
    data |= {name: [] for name in stays_empty(state.now.text, edit) if name not in data}
    check_removed(data, state.now.project.base, state.path.name)
    project = edited_project(state.now.project, data)
    trial = Version("", label, project, None, memory=_shared(state.now, project))
    return _answer(trial, tell, state.now.analysis)


def change(state: State, edit: messages.Edit, tell: Tell | None = None) -> State:
    """The state after a change.

    Raises
    ------
    InputError
        The change is refused and nothing is different.
    """
    check_revision(state, edit.revision)
    return _push(state, _answer(_changed(state, edit), tell))


def _changed(state: State, edit: messages.Edit) -> Version:
    """The next version by a change, without its answer. Raises InputError."""
    import tomlkit

    from viewer.app.edits import apply_edit

    document, base = tomlkit.parse(state.now.text), state.now.project.base
    try:
        lent = {} if base is None else lend(document, base)
        label = apply_edit(document, edit, state.now.project)
        check_removed(document, base, state.path.name)
        taken = take_back(document, lent)
        label += f"; {', '.join(taken)} now stands in {state.path.name}" if taken else ""
        text = tomlkit.dumps(document)
        data = tomllib.loads(text)
    except (tomlkit.exceptions.TOMLKitError, ValueError, TypeError, AttributeError, KeyError) as error:
        if isinstance(error, InputError):
            raise
        message = f"{state.path.name}: this change would need another order of the file; edit it by hand"
        raise InputError(message) from None
    return _begun(state, text, label, edited_project(state.now.project, data), edit)


def _begun(
    state: State, text: str, label: str, project: Project, edit: messages.Edit | messages.TakePlan
) -> Version:
    """The next version, made from the present one."""
    return Version(text, label, project, None, "", _shared(state.now, project), state.now.reading, edit)


def find_plan(state: State, revision: int, tell: Tell | None = None) -> Plan:
    """Rows that hold, for the project as it stands; nothing is changed.

    Raises
    ------
    InputError
        Nothing threatens, no row can stand, or the rows were measured where they are.
    """
    from fea.planning.plan import plan_rows

    check_revision(state, revision)
    project = state.now.project
    if project.table.as_built is not None:
        message = "as_built: the clamps were measured where the rows stand; take it out of the file to plan"
        raise InputError(message)
    return plan_rows(without_rows(project), tell)


def place_answer(state: State, revision: int) -> dict[str, Any]:
    """Tolerance of place in a line and in a few words; empty without an answer. Raises StaleError."""
    from fea.near_limit import near_limit
    from fea.sensitivity import out_of_place
    from viewer.places import joined, near_line, near_short, place_line, place_short

    check_revision(state, revision)
    analysis = state.now.analysis
    if analysis is None:
        return {"line": "", "short": "", "use": 0.0}
    units, place = SYSTEMS[state.now.project.table.project.units], out_of_place(analysis)
    near = near_limit(analysis)
    short, use = near_short(near) if near else place_short(place, units)
    line = joined(near_line(near), place_line(place, analysis, units))
    return {"line": line, "short": short, "use": None if math.isnan(use) else use}


def take_plan(state: State, revision: int, plan: Plan, tell: Tell | None = None) -> State:
    """The state with planned rows in place of its own. Raises InputError."""
    from viewer.app import messages
    from viewer.plan.export import planned_content

    check_revision(state, revision)
    known = state.now.project
    text = planned_content(state.now.text, known, plan)
    project = edited_project(known, tomllib.loads(text))
    taken = messages.TakePlan(id=0, type="takeplan", revision=revision)
    return _push(state, _answer(_begun(state, text, "take the planned rows", project, taken), tell))


def _push(state: State, version: Version) -> State:
    if version.text == state.now.text and version.project.base == state.now.project.base:
        return state
    past = (*state.past, state.now)[-KEPT_STEPS:]
    old = tuple(replace(v, analysis=None) if v.analysis is not None else v for v in past[:-KEPT_ANSWERS])
    past = (*old, *past[-KEPT_ANSWERS:])
    return replace(state, revision=state.revision + 1, now=version, past=past, future=())


def undo(state: State, revision: int, tell: Tell | None = None) -> State:
    """The state before the last change. Raises InputError where there is none."""
    check_revision(state, revision)
    if not state.past:
        message = "nothing to undo"
        raise InputError(message)
    now, future = solved(state.past[-1], tell), (state.now, *state.future)
    return replace(state, revision=state.revision + 1, now=now, past=state.past[:-1], future=future)


def redo(state: State, revision: int, tell: Tell | None = None) -> State:
    """The state after the change that was undone. Raises InputError where there is none."""
    check_revision(state, revision)
    if not state.future:
        message = "nothing to redo"
        raise InputError(message)
    now, past = solved(state.future[0], tell), (*state.past, state.now)
    return replace(state, revision=state.revision + 1, now=now, past=past, future=state.future[1:])


def reload(state: State, revision: int, tell: Tell | None = None) -> State:
    """The state with the project file read again; undo then shows older texts, which cannot be saved.

    What was not saved is not in it; `again` makes those changes on what the file says now.

    Raises
    ------
    InputError
    """
    check_revision(state, revision)
    version, data = _read(state.path)
    reading = state.reading + (data != state.on_disk)
    version = replace(version, label=f"read {state.path.name} again", reading=reading)
    pushed = _push(state, solved(version, tell))
    now = replace(pushed.now, reading=reading)  # also where the text is the same
    lost = Lost(pushed.revision, _not_saved(state) if pushed.now is not state.now else ())
    return replace(pushed, now=now, on_disk=data, reading=reading, lost=lost)


def _not_saved(state: State) -> tuple[Version, ...]:
    """Versions by changes since the text that the file held."""
    versions = (*state.past, state.now)
    held = [i for i, one in enumerate(versions) if _bytes(one.text, state.on_disk) == state.on_disk]
    since = versions[held[-1] + 1 :] if held else versions
    return tuple(replace(one, analysis=None) for one in since if one.edit is not None)


def again(state: State, revision: int, tell: Tell | None = None) -> State:
    """The state with the changes that a reading left behind, each a step; `lost` then holds what is refused.

    Raises
    ------
    InputError
        Nothing was left behind, or more was changed since.
    """
    from viewer.app import messages

    check_revision(state, revision)
    if state.lost.revision != revision or not state.lost.versions:
        message = "no changes were left behind when the file was read"
        raise InputError(message)
    made, refused = state, list[Version]()
    for one in state.lost.versions:
        try:
            if not isinstance(one.edit, messages.Edit):
                message = "rows that were searched for the file as it was"
                raise InputError(message)
            made = _push(made, _changed(made, one.edit))
        except InputError:
            refused.append(one)
    if made is not state:
        made = replace(made, now=solved(made.now, tell))
    return replace(made, lost=Lost(made.revision, tuple(refused), tried=True))


def save(state: State, revision: int, *, anew: bool = False) -> State:
    """Write the project file whole or not at all; where it is gone only if it is to be made `anew`.

    Raises
    ------
    InputError
        The file was changed or taken away by someone else meanwhile, or the text was begun before such a
        change was read, or the file cannot be written.
    """
    check_revision(state, revision)
    if state.behind:
        message = (
            f"{state.path.name}: what you see was begun before the file was read again and lacks what "
            "another program wrote, so nothing was saved. Read the file again and repeat your changes there"
        )
        raise InputError(message)
    new = _bytes(state.now.text, state.on_disk)
    with _alone(state.path.parent):
        try:
            there = state.path.read_bytes()
        except FileNotFoundError:
            if not anew:
                message = (
                    f"{state.path.name}: is gone from its folder (moved, renamed or deleted); nothing was "
                    "written. Write it again only if that is what you want"
                )
                raise InputError(message) from None
            there = state.on_disk
        except OSError as error:
            message = f"{state.path.name}: cannot be read ({error.strerror})"
            raise InputError(message) from None
        check_base(state, "saved", "read the file again and repeat your changes there")
        if there not in (state.on_disk, new):
            message = (
                f"{state.path.name}: was changed by another program since it was read, and saving would "
                "undo that. Read it again and repeat your changes on what it says now; undo shows what they "
                "were"
            )
            raise InputError(message)
        with atomic(state.path) as temporary, open(temporary, "wb") as file:
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
    return replace(state, on_disk=new)


def check_base(state: State, done: str, remedy: str) -> None:
    """Refuse what is about to be done where the base says something else than what is shown.

    Raises
    ------
    InputError
    """
    base = state.now.project.base
    if base is not None and read_text(base.path) != base.text:
        message = (
            f"{state.path.name}: {base.name}, on which it builds, was changed since it was read, so "
            f"nothing was {done}; {remedy}"
        )
        raise InputError(message)


def _bytes(text: str, like: bytes) -> bytes:
    """Text as the file holds it; a byte order mark stays."""
    mark = b"\xef\xbb\xbf" if like.startswith(b"\xef\xbb\xbf") else b""
    return mark + text.encode()


@contextlib.contextmanager
def _alone(folder: Path, *, wait: bool = True) -> Iterator[None]:
    """Keep other Eavewright programs from saving in the folder at the same moment.

    Without `wait` a BlockingIOError says that one is at it.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle: Any = None
    try:
        try:
            handle = os.open(folder, os.O_RDONLY)
        except OSError as error:
            message = f"{folder.name}: the project's folder cannot be opened ({error.strerror})"
            raise InputError(message) from None
        fcntl.flock(handle, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        if handle is not None:
            os.close(handle)
