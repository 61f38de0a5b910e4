"""The server of the browser app: this computer only, one project, and only for who has the link."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import mimetypes
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from roofmodel.errors import InputError
from viewer import style
from viewer.app import messages
from viewer.app.exports import PARTS, inside, run_parts
from viewer.app.guard import Guard
from viewer.app.session import (
    State,
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
from viewer.app.surface import roof_block, surface_block
from viewer.app.view import answer_data, forms, governing, state_data
from viewer.app.working import working_data
from viewer.export import plain_data

if TYPE_CHECKING:
    from fea.planning.plan import Plan

LARGEST_MESSAGE = 64 * 1024  # bytes
PATIENCE = 10.0  # for the first message of a browser [s]
WAITING = 400  # messages for one browser before it counts as gone

_PAGE_FONTS = ("SourceSansPro-Regular.ttf", "SourceSansPro-Semibold.ttf")


class CanceledError(Exception):
    """The user asked to stop."""


@dataclass
class Desk:
    """What the server works on: the state, the browsers that look at it, and what runs.

    `plan` is the last one found, with the revision that it was found for. `lock` lets one change at a time
    through; `stop` asks what runs to end.
    """

    state: State
    token: str
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    stop: threading.Event = field(default_factory=threading.Event)
    clients: dict[int, asyncio.Queue[dict[str, Any] | None]] = field(default_factory=dict)
    tickets: dict[str, tuple[Path, tuple[str, ...]]] = field(default_factory=dict)
    export: asyncio.Task[None] | None = None
    beside: set[asyncio.Task[None]] = field(default_factory=set)
    plan: tuple[int, Plan] | None = None
    solving: bool = False

    def tell(self, text: str) -> None:
        """Say to all browsers how far it has come."""
        self.send_all({"type": "progress", "text": text})

    def send_all(self, data: dict[str, Any], but: int | None = None) -> None:
        """Send to all browsers."""
        for client, queue in list(self.clients.items()):
            if client == but:
                continue
            if queue.qsize() < WAITING:
                queue.put_nowait(data)

    def state_message(self, **more: Any) -> dict[str, Any]:
        """The whole state for a browser."""
        parts = tuple((part.command, part.about) for part in PARTS)
        return {"type": "state", "solving": self.solving, **state_data(self.state, exports=parts), **more}


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
        routes=[
            Route("/", _page),
            Route("/static/{name}", _static),
            Route("/api/roof", _roof),
            Route("/api/surface", _surface),
            Route("/out/{ticket}/{name}", _result),
            WebSocketRoute("/ws", _socket),
        ],
        lifespan=lifespan,
    )
    app.state.desk = desk
    app.add_middleware(Guard, hosts=hosts)
    return app


async def _first_answer(desk: Desk) -> None:
    """Solve what was opened, while the browser draws the roof."""
    desk.solving = True
    async with desk.lock:
        try:
            now = await _in_thread(desk, lambda tell: solved(desk.state.now, tell))
        except CanceledError:
            now = replace(
                desk.state.now, trouble="stopped before there was an answer; any change solves anew"
            )
        except Exception as error:
            logging.getLogger(__name__).exception("while solving what was opened")
            now = replace(desk.state.now, trouble=_defect(error))
        desk.state = replace(desk.state, now=now)
        desk.solving = False
    desk.send_all(desk.state_message())


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


# --- pages and blocks -----------------------------------------------------------------------------------


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


async def _page(request: Request) -> Response:
    return _packaged("index.html")


async def _static(request: Request) -> Response:
    return _packaged(request.path_params["name"])


def _packaged(name: str) -> Response:
    """A file of the app by its plain name; nothing else can be asked for."""
    if name == "palette.css":
        return Response(style.css_variables() + _scales_css(), media_type="text/css")
    folder = resources.files("viewer.app") / "static"
    if name in _PAGE_FONTS:
        folder = resources.files("viewer.picture") / "fonts"
    elif name not in {item.name for item in folder.iterdir() if item.is_file()}:
        return PlainTextResponse("there is no such file", status_code=404)
    kind = "text/javascript" if name.endswith(".js") else mimetypes.guess_type(name)[0]
    return Response((folder / name).read_bytes(), media_type=kind or "application/octet-stream")


def _scales_css() -> str:
    """The two color scales, for legends."""
    snow, use = ", ".join(style.SNOW_ANCHORS), ", ".join(style.KEPT_ANCHORS)
    over = ", ".join(style.EXCEEDED_ANCHORS)
    return (
        f":root {{\n  --snow-scale: {snow};\n  --kept-scale: {use};\n  --exceeded-scale: {over};\n"
        f"  --wall: {style.WALL};\n  --wall-shade: {style.WALL_SHADE};\n}}\n"
    )


def _known(request: Request) -> bool:
    given = request.headers.get("x-eavewright-token", "")
    return secrets.compare_digest(given.encode(), _desk(request).token.encode())


async def _roof(request: Request) -> Response:
    if not _known(request):
        return PlainTextResponse("open the link that the terminal shows", status_code=403)
    project = _desk(request).state.now.project
    return Response(await asyncio.to_thread(roof_block, project), media_type="application/octet-stream")


async def _surface(request: Request) -> Response:
    desk = _desk(request)
    if not _known(request):
        return PlainTextResponse("open the link that the terminal shows", status_code=403)
    analysis = desk.state.now.analysis
    asked = request.query_params.get("case", "0")
    if analysis is None or not asked.isdecimal() or int(asked) >= len(analysis.snow.cases):
        return PlainTextResponse("there is no such case", status_code=404)
    data = await asyncio.to_thread(surface_block, analysis, int(asked))
    return Response(data, media_type="application/octet-stream")


async def _result(request: Request) -> Response:
    """A file that an export wrote; tickets cannot be guessed and name single files."""
    folder, names = _desk(request).tickets.get(request.path_params["ticket"], (Path(), ()))
    name = request.path_params["name"]
    if name not in names or not (folder / name).is_file() or (folder / name).is_symlink():
        return PlainTextResponse("there is no such file", status_code=404)
    policy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; font-src data:; sandbox"
    return FileResponse(folder / name, headers={"Content-Security-Policy": policy})


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
    desk.clients[client] = out
    out.put_nowait({**desk.state_message(), "forms": forms()})
    tasks = [asyncio.create_task(_speak(socket, out)), asyncio.create_task(_work(desk, client, out, work))]
    try:
        await _listen(socket, desk, out, work)
    finally:
        desk.clients.pop(client, None)
        for task in tasks:
            task.cancel()


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
            version = await _in_thread(desk, lambda tell: preview(state, message, tell))
            data = {**answer_data(version), "label": version.label, "before": governing(state.now)}
            out.put_nowait({"type": "preview", "id": message.id, **data})
            return
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
    return await asyncio.to_thread(working_data, analysis, message.kind, message.index, message.case)


async def _start_export(desk: Desk, out: asyncio.Queue[Any], message: messages.Export) -> None:
    """Begin an export beside everything else."""
    from viewer.app.session import check_revision

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
