"""What the app answers to the messages of a browser; imported beside the loop, as it takes long."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from roofmodel.errors import InputError
from viewer.app import messages
from viewer.app.desk import Desk
from viewer.app.exports import inside, run_parts
from viewer.app.session import (
    State,
    again,
    change,
    check_base,
    check_revision,
    find_plan,
    place_answer,
    preview,
    redo,
    reload,
    save,
    take_plan,
    undo,
)

# What makes pictures and answers is imported where it is used, beside the loop: the page comes first.

if TYPE_CHECKING:
    from fea.analysis import Analysis


async def answer(desk: Desk, client: int, out: asyncio.Queue[Any], message: Any) -> None:
    """Do what a browser asks, and put what it is told on its queue.

    Raises
    ------
    InputError
        Refused; nothing is different.
    CanceledError
    """
    if isinstance(message, messages.Export):
        await _start_export(desk, out, message)
        return
    if isinstance(message, messages.Place):  # no change waits for it
        task = asyncio.create_task(_tell_place(desk.state, out, message))
        desk.beside.add(task)
        task.add_done_callback(desk.beside.discard)
        return
    async with desk.lock:
        state = desk.state
        if isinstance(message, messages.Pick):
            out.put_nowait({"type": "working", "id": message.id, **await _working(state, message)})
            return
        if isinstance(message, messages.Plan):
            from viewer.app.planning import plan_answer

            found = await desk.in_thread(lambda tell: find_plan(state, message.revision, tell))
            desk.plan = (state.revision, found)
            out.put_nowait({"type": "planned", "id": message.id, **plan_answer(found)})
            return
        if isinstance(message, messages.Edit) and message.preview:
            from viewer.app.view import answer_data, governing

            version = await desk.in_thread(lambda tell: preview(state, message, tell))
            data = {**answer_data(version), "label": version.label, "before": governing(state.now)}
            out.put_nowait({"type": "preview", "id": message.id, **data})
            return
        from viewer.app.view import governing

        desk.state = await desk.in_thread(lambda tell: _next(desk, message, tell))
        moved = not isinstance(message, messages.Save)
        before = governing(state.now) if moved else None
        told = desk.state_message(before=before, did=type(message).__name__)
        out.put_nowait({**told, "id": message.id})
        desk.send_all({**told, "id": None}, but=client)


async def _tell_place(state: State, out: asyncio.Queue[Any], message: messages.Place) -> None:
    try:
        said = await asyncio.to_thread(place_answer, state, message.revision)
    except InputError as error:
        out.put_nowait({"type": "error", "id": message.id, "message": str(error)})
    else:
        out.put_nowait({"type": "place", "id": message.id, **said})


def _next(desk: Desk, message: Any, tell: Callable[[str], None]) -> State:
    state = desk.state
    match message:
        case messages.Edit():
            return change(state, message, tell)
        case messages.Undo():
            return undo(state, message.revision, tell)
        case messages.Redo():
            return redo(state, message.revision, tell)
        case messages.Reload():
            return reload(state, message.revision, tell)
        case messages.Again():
            return again(state, message.revision, tell)
        case messages.TakePlan():
            if desk.plan is None or desk.plan[0] != state.revision:
                text = "the project was changed since these rows were found; search again"
                raise InputError(text)
            return take_plan(state, message.revision, desk.plan[1], tell)
        case messages.Save():
            return save(state, message.revision, anew=message.anew)
    text = f"{type(message).__name__}: is not done here"
    raise InputError(text)


async def _working(state: State, message: messages.Pick) -> dict[str, Any]:
    analysis = state.now.analysis
    if analysis is None:
        text = state.now.trouble or "the first answer is not there yet"
        raise InputError(text)
    return await asyncio.to_thread(_worked_out, analysis, message)


def _worked_out(analysis: Analysis, message: messages.Pick) -> dict[str, Any]:
    from viewer.app.working import working_data

    return working_data(analysis, message.kind, message.index, message.case)


async def _start_export(desk: Desk, out: asyncio.Queue[Any], message: messages.Export) -> None:
    """Begin an export beside everything else."""
    check_revision(desk.state, message.revision)
    folder = inside(desk.state.path.parent, message.folder)
    try:
        there = desk.state.path.read_bytes()
    except OSError as error:
        text = f"{desk.state.path.name}: cannot be read ({error.strerror}); nothing was exported"
        raise InputError(text) from None
    if desk.state.unsaved or there != desk.state.on_disk:
        text = f"save {desk.state.path.name} first: the report names this file and its fingerprint"
        raise InputError(text)
    check_base(desk.state, "exported", "read the file again")
    if desk.export is not None and not desk.export.done():
        text = "an export is running; wait for it or stop it"
        raise InputError(text)
    desk.export = asyncio.create_task(_export(desk, out, message, folder))


async def _export(desk: Desk, out: asyncio.Queue[Any], message: messages.Export, folder: Path) -> None:
    try:
        done = await run_parts(desk.state.path, folder, message.parts, desk.tell)
    except InputError as error:
        out.put_nowait({"type": "error", "id": message.id, "message": str(error)})
    except asyncio.CancelledError:
        out.put_nowait({"type": "error", "id": message.id, "message": "stopped"})
    else:
        links = []
        for one in done:
            ticket = secrets.token_urlsafe(18)
            desk.tickets[ticket] = (one.folder, one.names)
            links.append(
                {
                    "command": one.part.command,
                    "about": one.part.about,
                    "pages": [name for name in one.part.pages if name in one.names],
                    "ticket": ticket,
                    "names": list(one.names),
                    "folder": f"{message.folder}/{one.part.command}",
                    "note": one.note,
                }
            )
        out.put_nowait({"type": "exported", "id": message.id, "links": links})
    finally:
        desk.send_all({"type": "progress", "text": ""})
