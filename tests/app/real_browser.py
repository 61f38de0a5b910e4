"""The app, started as a user does or in this process, and a real browser that shows it."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

from viewer.app.command import serving
from viewer.app.session import open_state

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
ROOT = Path(__file__).parents[2]
GL = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist"]


class Opened:
    """A running program, its project and a page that shows it."""

    def __init__(self, path, page, link):
        self.path, self.page, self.link, self.outside = path, page, link, []
        page.on("request", lambda r: r.url.startswith(link.split("/#")[0]) or self.outside.append(r.url))
        self.errors = []
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", lambda m: m.type == "error" and self.errors.append(m.text))
        page.goto(link)
        page.wait_for_selector("#view[data-case]")

    def clamp_at(self, name):
        return self.page.evaluate(
            """(name) => {
              const i = app.store.clamps.names.indexOf(name), at = app.store.clamps.at;
              const v = app.view.controls.target.clone().set(at[3 * i], at[3 * i + 1], at[3 * i + 2]);
              const p = app.view.project(v), box = app.view.canvas.getBoundingClientRect();
              return [p.x + box.left, p.y + box.top];
            }""",
            name,
        )

    def until(self, expression):
        """Wait for what a script says; the page's own policy forbids the driver's way."""
        ends = time.monotonic() + 15.0
        while not self.page.evaluate(expression):
            assert time.monotonic() < ends, expression
            time.sleep(0.05)

    def governing(self):
        return self.page.inner_text(".governs .pill:not(.old)")


@contextlib.contextmanager
def started(path):
    """A program started as a user does."""
    code = "import sys; sys.argv[0] = 'eavewright'; from viewer.cli import main; main()"
    program = subprocess.Popen(
        [sys.executable, "-c", code, "open", str(path), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    try:
        assert program.stdout is not None
        yield program
    finally:
        program.terminate()
        program.wait(10)
        program.stdout.close()


def worked(pid: int) -> float:
    """Time of the processor that a program has used, where the system tells it. [s]."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()
    except OSError:
        return float("nan")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def running(path):
    """Link of what the command serves, from a thread of this process: a second sooner than a program."""
    listener = socket.create_server(("127.0.0.1", 0))
    port, token = listener.getsockname()[1], secrets.token_urlsafe(24)
    _, server = serving(lambda: open_state(path), token, port)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{port}/#{token}"
    finally:
        server.should_exit = True
        thread.join(20)
        listener.close()
        assert not thread.is_alive()
