"""`eavewright open`: the browser app on this computer."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from viewer.stages import Spoken, complain, notice

if TYPE_CHECKING:
    import uvicorn
    from starlette.applications import Starlette

    from viewer.app.desk import Desk
    from viewer.app.session import State

LARGEST = 1_000_000  # file that is looked at before its browser starts [bytes]
USUAL = gc.get_threshold()
YOUNG = 100_000  # new objects before those in circles are looked for; imports alone make as many
TURN = 5e-4  # after which the thread that solves lets the one that answers the browser on [s]


@click.command(
    "open",
    cls=Spoken,
    short_help="Open a project in the browser: see it, move rows, save, export.",
    epilog="Example: eavewright open project.toml",
)
@click.argument("project", type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port; a free one by default.")
@click.option("--browser/--no-browser", default=True, show_default=True, help="Open the web browser.")
def open_command(project: Path, port: int, browser: bool) -> None:
    """Show PROJECT in the web browser, on this computer only and without the internet.

    Rows can be dragged and hardware changed; every number follows at once. Nothing is written before
    Save. Ctrl-C ends it. Exit code 2: bad input.
    """
    # A moved row is many small products: a second thread only waits for them, and burns a core.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(YOUNG, *USUAL[1:])  # a tenth of the start goes into looking otherwise
    known = None if _looks_whole(project) else _opened(project)  # the way without a browser
    import secrets
    import socket

    from roofmodel.errors import InputError

    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(("127.0.0.1", port))
    except OSError as error:
        message = f"--port {port}: cannot be used ({error.strerror}); give another one, or none"
        raise InputError(message) from None
    listener.listen(128)  # the link works from the moment it is printed
    port = listener.getsockname()[1]
    token = secrets.token_urlsafe(24)
    link = f"http://127.0.0.1:{port}/#{token}"
    click.echo(link)
    sys.stdout.flush()
    shown = browser and _show(link)
    # While the browser starts and waits for its page, the program loads the rest.
    sys.setswitchinterval(TURN)
    app, server = serving(lambda: known or _opened(project), token, port)
    desk: Desk = app.state.desk
    desk.awaited, desk.outcome, desk.rested = shown, lambda: _say(desk), _settle
    try:
        server.run(sockets=[listener])
    finally:
        if desk.kept is not None and desk.state.unsaved:
            notice(f"{desk.state.path.name}: the changes since the last save are gone")
    if isinstance(desk.refusal, InputError):
        sys.exit(2)
    if desk.refusal is not None:
        raise desk.refusal


def _say(desk: Desk) -> None:
    """Say what was opened; or at once why nothing was, also where a page is waited for that says it too."""
    from roofmodel.errors import InputError

    if isinstance(desk.refusal, InputError):
        complain(str(desk.refusal))
    elif desk.kept is not None:
        name = desk.state.path.name
        notice(f"shows {name} on this computer; the link is for you alone; Ctrl-C ends it")


def _settle() -> None:
    """From now on look for objects in circles as usual, and among new ones only."""
    gc.freeze()
    gc.set_threshold(*USUAL)


def _looks_whole(project: Path) -> bool:
    """Whether a file is there and is TOML; what it means is seen while the browser starts."""
    import tomllib

    try:
        if not project.is_file() or project.stat().st_size > LARGEST:
            return False
        tomllib.loads(project.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return False
    return True


def _opened(project: Path) -> State:
    from viewer.lazily import put_off

    put_off()
    from viewer.app.session import open_state

    return open_state(project)


def serving(opening: Callable[[], State], token: str, port: int) -> tuple[Starlette, uvicorn.Server]:
    """The app that shows what is opened, and what serves it on a port of this computer."""
    import uvicorn

    from viewer.app.server import LARGEST_MESSAGE, make_app

    app = make_app(opening, token, frozenset({f"127.0.0.1:{port}", f"localhost:{port}"}))
    config = uvicorn.Config(
        app,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        ws="websockets-sansio",
        ws_max_size=2 * LARGEST_MESSAGE,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=32 * 1024,
    )
    server = uvicorn.Server(config)
    app.state.desk.end = lambda: setattr(server, "should_exit", True)
    return app, server


def _show(link: str) -> bool:
    """Open the web browser where there is a screen, and tell whether; the link is printed anyway."""
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        return False
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()
    return True
