"""The server of the browser app: this computer only, one project, and only for who has the link."""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import json
import logging
import secrets
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.routing import WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from roofmodel.errors import InputError
from viewer.app.desk import WAITING, CanceledError, Desk, defect
from viewer.app.guard import Guard
from viewer.app.pages import ROUTES

# What reads and solves a project is imported beside the loop, which gives the browser its page meanwhile.

if TYPE_CHECKING:
    from viewer.app.session import State, Version

LARGEST_MESSAGE = 64 * 1024  # bytes
PATIENCE = 10.0  # for the first message of a browser, and for one that is to hear a refusal [s]
SOON = 1.0  # after the first answer, in which the browser draws it [s]
NEARLY = 1.5  # that a browser waits for the first answer, so that it fills its page once [s]


def make_app(opening: Callable[[], State], token: str, hosts: frozenset[str]) -> Starlette:
    """The application.

    Parameters
    ----------
    opening : callable
        Reads the project, such as `viewer.app.session.open_state` does; called once, beside the loop.
    token : str
        Secret of this run, in the link that the terminal shows.
    hosts : frozenset of str
        Values of the header Host that are this server, such as "127.0.0.1:8000".

    Returns
    -------
    Starlette
        Its `state.desk` is the `Desk`.
    """
    desk = Desk(token)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> Any:
        first = asyncio.create_task(_open(desk, opening))
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


async def _open(desk: Desk, opening: Callable[[], State]) -> None:
    """Read the project and solve it, while the browser loads its page and draws the roof."""
    try:
        desk.open_with(await _beside(opening))
    except Exception as error:
        desk.refuse(error)
        if desk.awaited and isinstance(error, InputError):
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(desk.heard.wait(), PATIENCE)
        desk.end()
        return
    desk.solving = True
    async with desk.lock:
        try:
            now = await desk.in_thread(lambda tell: _solved(desk.state.now, tell))
        except CanceledError:
            now = replace(
                desk.state.now, trouble="stopped before there was an answer; any change solves anew"
            )
        except Exception as error:
            logging.getLogger(__name__).exception("while solving what was opened")
            now = replace(desk.state.now, trouble=defect(error))
        desk.state = replace(desk.state, now=now)
        desk.solving = False
    desk.answered.set()
    desk.send_all(desk.state_message())
    await asyncio.sleep(SOON)
    await asyncio.to_thread(importlib.import_module, "viewer.app.answers")  # before somebody asks
    desk.rested()


def _beside(opening: Callable[[], State]) -> asyncio.Future[State]:
    """What is read by a thread that the end of the program does not wait for: nothing is lost with it."""
    reading: Future[State] = Future()
    reading.set_running_or_notify_cancel()  # so that whoever waits no longer leaves it alone

    def read() -> None:
        try:
            reading.set_result(opening())
        except Exception as error:
            reading.set_exception(error)

    threading.Thread(target=read, name="reading", daemon=True).start()
    return asyncio.wrap_future(reading)


def _solved(now: Version, tell: Callable[[str], None]) -> Version:
    """The answer; first what the roof is drawn with, so that a browser has it while the solving goes on."""
    from viewer.app.session import solved
    from viewer.app.surface import roof_block
    from viewer.app.view import forms

    roof_block(now.project)
    forms()
    return solved(now, tell)


# --- messages -------------------------------------------------------------------------------------------


async def _socket(socket: WebSocket) -> None:
    desk: Desk = socket.app.state.desk
    await socket.accept()
    try:
        async with asyncio.timeout(PATIENCE):
            said = await socket.receive_text()
        await desk.opened.wait()
        known = _knows(said, desk.token)
    except (ValueError, KeyError, RecursionError, TimeoutError, WebSocketDisconnect):
        known = False
    if not known:
        await _close(socket, 4403, "open the link that the terminal shows")
        return
    if desk.refusal is not None:
        with contextlib.suppress(RuntimeError, WebSocketDisconnect):
            await socket.send_json({"type": "refused", "message": str(desk.refusal)})
        await _close(socket, 4400, "the project cannot be read")
        desk.heard.set()
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


def _knows(said: str, token: str) -> bool:
    """Whether the first message of a browser holds the token. Raises ValueError or RecursionError."""
    hello = json.loads(said)
    fits = isinstance(hello, dict) and set(hello) == {"type", "token"} and hello["type"] == "hello"
    return fits and secrets.compare_digest(str(hello["token"]).encode(), token.encode())


async def _close(socket: WebSocket, code: int, reason: str) -> None:
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.close(code, reason)


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
    from viewer.plain import plain_data

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
    from viewer.app.messages import Cancel, read_message

    try:
        return isinstance(read_message(text), Cancel)
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
        from viewer.app import messages
        from viewer.app.answers import answer

        try:
            message = messages.read_message(text)
            await answer(desk, client, out, message)
        except InputError as error:
            said = str(error).replace(", without quotes", "")  # a form has none
            out.put_nowait({"type": "error", "id": messages.sender_id(text), "message": said})
        except CanceledError:
            out.put_nowait({"type": "error", "id": messages.sender_id(text), "message": "stopped"})
        except Exception as error:
            logging.getLogger(__name__).exception("while answering a browser")
            out.put_nowait({"type": "error", "id": messages.sender_id(text), "message": defect(error)})
