"""The command itself: one line for bad input, and a link that works from the moment it is printed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

import pytest
from open_app import HOST, TOKEN, copied
from starlette.testclient import TestClient

from roofmodel.errors import InputError
from viewer.app.server import make_app

ROOT = Path(__file__).parents[2]
CODE = "import sys; sys.argv[0] = 'eavewright'; from viewer.cli import main; main()"


def started(*arguments):
    return subprocess.Popen(
        [sys.executable, "-c", CODE, "open", *map(str, arguments), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def test_a_bad_project_is_refused_in_one_line(tmp_path):
    path = copied(tmp_path)
    path.write_text(path.read_text().replace("[design]", "[dessign]"))
    program = started(path)
    out, err = program.communicate(timeout=60)
    assert program.returncode == 2
    assert out.count("\n") == 1, "the link: what the file means is seen while the browser starts"
    assert err.count("\n") == 1
    assert "dessign" in err


@pytest.mark.parametrize("text", ["[design", None])
def test_what_is_no_project_file_at_all_gets_no_link(tmp_path, text):
    path = tmp_path / "project.toml"
    if text is not None:
        path.write_text(text)
    program = started(path)
    out, err = program.communicate(timeout=60)
    assert program.returncode == 2
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith("eavewright: project.toml: ")


def test_a_port_that_is_taken_is_refused_in_one_line(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        program = started(copied(tmp_path), "--port", port)
        _, err = program.communicate(timeout=60)
    assert program.returncode == 2
    assert err.startswith(f"eavewright: --port {port}: cannot be used")
    assert err.count("\n") == 1


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_this_computer_only_and_ends_when_told(tmp_path, how):
    program = started(copied(tmp_path))
    assert program.stdout is not None
    link = program.stdout.readline().strip()
    with urllib.request.urlopen(link.split("#")[0], timeout=30) as answer:
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
        assert b"Eavewright" in answer.read()
    port = int(link.split(":")[2].split("/")[0])
    listening = [line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    here = [place for place in listening if int(place.split(":")[1], 16) == port]
    assert here
    assert all(place.startswith("0100007F") for place in here)
    program.send_signal(how)
    _, err = program.communicate(timeout=30)
    assert "Traceback" not in err


def test_the_end_does_not_wait_for_a_project_that_is_still_read():
    begun, enough = threading.Event(), threading.Event()

    def opening():
        begun.set()
        enough.wait(20)
        raise InputError("nobody hears it")

    with TestClient(make_app(opening, TOKEN, frozenset({HOST})), base_url=f"http://{HOST}"):
        assert begun.wait(20)
        ended = time.monotonic()
    assert time.monotonic() - ended < 10
    enough.set()


def test_garbage_on_the_wire_does_not_end_it(tmp_path):
    program = started(copied(tmp_path))
    assert program.stdout is not None
    link = program.stdout.readline().strip()
    port = int(link.split(":")[2].split("/")[0])
    pieces = [b"\x00" * 100, b"GET\r\n\r\n", b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"A" * 100_000]
    for piece in pieces * 25:
        with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
            line.sendall(piece)
    with urllib.request.urlopen(link.split("#")[0], timeout=30) as answer:
        assert answer.status == 200
    program.terminate()
    _, err = program.communicate(timeout=30)
    assert "Traceback" not in err
