"""The server of the browser app: this computer only, one project, and only for who has the link."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import secrets
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from roofmodel.errors import InputError
from viewer.app import messages
from viewer.app.desk import WAITING, Desk
from viewer.app.exports import inside, run_parts
from viewer.app.guard import Guard
from viewer.app.pages import ROUTES
from viewer.app.session import (
    State,
    Version,
    again,
    change,
    find_plan,
    place_answer,
    preview,
    redo,
    reload,
    save,
    solved,
    take_plan,
    undo,
)
from viewer.plain import plain_data

# What makes pictures and answers is imported where it is used, beside the loop: the page comes first.

if TYPE_CHECKING:
    from fea.analysis import Analysis

LARGEST_MESSAGE = 64 * 1024  # bytes
PATIENCE = 10.0  # for the first message of a browser [s]
NEARLY = 1.0  # that a browser waits for the first answer, so that it fills its page once [s]


class CanceledError(Exception):
    """The user asked to stop."""


def make_app(state: State, token: str, hosts: frozenset[str]) -> Starlette:
    """The application.

    Parameters
    ----------
    state : State
        From `viewer.app.session.open_state`.
    token : str
        Secret of this run, in the link that the terminal shows.
    hosts : frozenset of str
        Values of the header Host that are this server, such as "127.0.0.1:8000".

    Returns
    -------
    Starlette
        Its `state.desk` is the `Desk`.
    """
    desk = Desk(state, token)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> Any:
        first = asyncio.create_task(_first_answer(desk))
        yield
        first.cancel()
        desk.stop.set()
        if desk.export is not None:
            desk.export.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await desk.export

    app = Starlette(
        routes=[*ROUTES, WebSocketRoute("/ws", _socket)],
        lifespan=lifespan,
    )
    app.state.desk = desk
    app.add_middleware(Guard, hosts=hosts)
    return app


async def _first_answer(desk: Desk) -> None:
    """Solve what was opened, while the browser loads its page and draws the roof."""
    desk.solving = True
    async with desk.lock:
        try:
            now = await _in_thread(desk, lambda tell: _opened(desk.state.now, tell))
        except CanceledError:
            now = replace(
                desk.state.now, trouble="stopped before there was an answer; any change solves anew"
            )
        except Exception as error:
            logging.getLogger(__name__).exception("while solving what was opened")
            now = replace(desk.state.now, trouble=_defect(error))
        desk.state = replace(desk.state, now=now)
        desk.solving = False
    desk.answered.set()
    desk.send_all(desk.state_message())


def _opened(now: Version, tell: Callable[[str], None]) -> Version:
    """The answer; first what the roof is drawn with, so that a browser has it while the solving goes on."""
    from viewer.app.surface import roof_block
    from viewer.app.view import forms

    roof_block(now.project)
    forms()
    return solved(now, tell)


def _defect(error: Exception) -> str:
    return f"internal error: {type(error).__name__}: {error} (a defect of Eavewright)"


async def _in_thread(desk: Desk, work: Callable[[Callable[[str], None]], Any]) -> Any:
    """Run work beside the loop; it is told to stop through what it uses to say how far it is."""
    loop, told = asyncio.get_running_loop(), []
    desk.stop.clear()

    def tell(text: str) -> None:
        if desk.stop.is_set():
            raise CanceledError
        told.append(text)
        loop.call_soon_threadsafe(desk.tell, text)

    try:
        return await asyncio.to_thread(work, tell)
    finally:
        if told:
            desk.tell("")


# --- messages -------------------------------------------------------------------------------------------


async def _socket(socket: WebSocket) -> None:
    desk: Desk = socket.app.state.desk
    await socket.accept()
    try:
        async with asyncio.timeout(PATIENCE):
            hello = messages.Hello.model_validate_json(await socket.receive_text())
        known = secrets.compare_digest(hello.token.encode(), desk.token.encode())
    except (ValueError, KeyError, TimeoutError, WebSocketDisconnect):
        known = False
    if not known:
        with contextlib.suppress(RuntimeError, WebSocketDisconnect):
            await socket.close(4403, "open the link that the terminal shows")
        return
    client, out, work = secrets.randbits(62), asyncio.Queue[Any](), asyncio.Queue[str](WAITING)
    first = await _first_words(desk)
    desk.clients[client] = out
    out.put_nowait(first)
    tasks = [asyncio.create_task(_speak(socket, out)), asyncio.create_task(_work(desk, client, out, work))]
    try:
        await _listen(socket, desk, out, work)
    finally:
        desk.clients.pop(client, None)
        for task in tasks:
            task.cancel()


async def _first_words(desk: Desk) -> dict[str, Any]:
    """What a browser is told first, as things stand at the end of telling it."""
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(desk.answered.wait(), NEARLY)
    while True:
        state, solving = desk.state, desk.solving
        said = await asyncio.to_thread(_all_words, desk)
        if desk.state is state and desk.solving is solving:
            return said


def _all_words(desk: Desk) -> dict[str, Any]:
    from viewer.app.view import forms

    return {**desk.state_message(), "forms": forms()}


async def _speak(socket: WebSocket, out: asyncio.Queue[Any]) -> None:
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        while True:
            await socket.send_json(plain_data(await out.get()))


async def _listen(socket: WebSocket, desk: Desk, out: asyncio.Queue[Any], work: asyncio.Queue[str]) -> None:
    """Take messages; the one that stops others does not wait behind them."""
    while True:
        event = await socket.receive()
        if event["type"] == "websocket.disconnect":
            return
        text = event.get("text")
        if text is None or len(text) > LARGEST_MESSAGE:
            out.put_nowait(
                {"type": "error", "id": None, "message": "message: is not text of a sensible size"}
            )
        elif '"cancel"' in text and _is_cancel(text):
            _cancel(desk)
        else:
            await work.put(text)


def _is_cancel(text: str) -> bool:
    try:
        return isinstance(messages.read_message(text), messages.Cancel)
    except InputError:
        return False


def _cancel(desk: Desk) -> None:
    desk.stop.set()
    if desk.export is not None and not desk.export.done():
        desk.export.cancel()


async def _work(desk: Desk, client: int, out: asyncio.Queue[Any], work: asyncio.Queue[str]) -> None:
    """Answer messages in order; whatever goes wrong is told in one line and the next one is taken."""
    while True:
        text = await work.get()
        try:
            message = messages.read_message(text)
            await _answer(desk, client, out, message)
        except InputError as error:
            said = str(error).replace(", without quotes", "")  # a form has none
            out.put_nowait({"type": "error", "id": messages.sender_id(text), "message": said})
        except CanceledError:
            out.put_nowait({"type": "error", "id": messages.sender_id(text), "message": "stopped"})
        except Exception as error:
            logging.getLogger(__name__).exception("while answering a browser")
            out.put_nowait({"type": "error", "id": messages.sender_id(text), "message": _defect(error)})


async def _answer(desk: Desk, client: int, out: asyncio.Queue[Any], message: Any) -> None:
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

            found = await _in_thread(desk, lambda tell: find_plan(state, message.revision, tell))
            desk.plan = (state.revision, found)
            out.put_nowait({"type": "planned", "id": message.id, **plan_answer(found)})
            return
        if isinstance(message, messages.Edit) and message.preview:
            from viewer.app.view import answer_data, governing

            version = await _in_thread(desk, lambda tell: preview(state, message, tell))
            data = {**answer_data(version), "label": version.label, "before": governing(state.now)}
            out.put_nowait({"type": "preview", "id": message.id, **data})
            return
        from viewer.app.view import governing

        desk.state = await _in_thread(desk, lambda tell: _next(desk, message, tell))
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
    from viewer.app.session import check_base, check_revision

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
