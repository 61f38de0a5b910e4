"""`eavewright open`: the browser app on this computer."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from viewer.stages import Spoken, notice

if TYPE_CHECKING:
    import uvicorn
    from starlette.applications import Starlette

    from viewer.app.session import State

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
    from viewer.app.session import open_state

    state = open_state(project)
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
    notice(f"shows {state.path.name} on this computer; the link is for you alone; Ctrl-C ends it")
    if browser:
        _show(link)
    # While the browser starts and waits for its page, the program loads the rest.
    sys.setswitchinterval(TURN)
    app, server = serving(state, token, port)
    try:
        server.run(sockets=[listener])
    finally:
        if app.state.desk.state.unsaved:
            notice(f"{state.path.name}: the changes since the last save are gone")


def serving(state: State, token: str, port: int) -> tuple[Starlette, uvicorn.Server]:
    """The app with a project open, and what serves it on a port of this computer."""
    import uvicorn

    from viewer.app.server import LARGEST_MESSAGE, make_app

    app = make_app(state, token, frozenset({f"127.0.0.1:{port}", f"localhost:{port}"}))
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
    return app, uvicorn.Server(config)


def _show(link: str) -> None:
    """Open the web browser where there is a screen; the link is printed anyway."""
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        return
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()
