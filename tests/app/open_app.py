"""A project on disk and browsers that talk to its server, without a real browser."""

from __future__ import annotations

import contextlib
import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from viewer.app.server import make_app
from viewer.app.session import open_state

HOST = "127.0.0.1:8000"
TOKEN = "the-token-of-this-test"
MODELS = Path(__file__).parents[2] / "models"


def copied(folder: Path, model: str = "granary-door") -> Path:
    shutil.copytree(MODELS / model, folder / model)
    return folder / model / "project.toml"


class Browser:
    """One browser: sends messages with numbers and waits for their answers."""

    def __init__(self, socket: Any) -> None:
        self.socket = socket
        self.numbers = itertools.count(1)
        self.heard: list[dict[str, Any]] = []
        self.state = self.wait(lambda m: m["type"] == "state")
        if self.state["solving"]:
            self.state = self.wait(lambda m: m["type"] == "state" and ("verdict" in m or m["trouble"]))

    def wait(self, wanted: Any) -> dict[str, Any]:
        while True:
            message = self.socket.receive_json()
            self.heard.append(message)
            if message["type"] == "state":
                self.state = message
            if wanted(message):
                return message

    def ask(self, **message: Any) -> dict[str, Any]:
        number = next(self.numbers)
        if message["type"] not in ("pick", "cancel"):
            message = {"revision": self.state["revision"], **message}
        self.socket.send_json({"id": number, **message})
        return self.wait(lambda m: m.get("id") == number)


@contextlib.contextmanager
def served(path: Path) -> Iterator[TestClient]:
    app = make_app(lambda: open_state(path), TOKEN, frozenset({HOST}))
    with TestClient(app, base_url=f"http://{HOST}", headers={"x-eavewright-token": TOKEN}) as client:
        yield client


@contextlib.contextmanager
def browser(client: TestClient) -> Iterator[Browser]:
    with client.websocket_connect("/ws", headers={"host": HOST, "origin": f"http://{HOST}"}) as socket:
        socket.send_json({"type": "hello", "token": TOKEN})
        yield Browser(socket)


def fine_roof(folder: Path, faces: int) -> Path:
    """A project whose gable roof is a mesh of that many triangles."""
    import numpy as np
    import trimesh

    n = int(np.ceil(np.sqrt(faces / 2)))
    n += n % 2  # so that the ridge lies on a line of the grid
    u, v = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1), indexing="ij")
    points = np.stack([30 * u, 16 * v, 4 + 8 * np.minimum(v, 1 - v)], axis=-1).reshape(-1, 3)
    low = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    quads = np.stack([low, low + n + 1, low + n + 2, low + 1], axis=1)
    mesh = trimesh.Trimesh(points, quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3), process=False)
    assert len(mesh.faces) >= faces
    mesh.export(folder / "roof.ply")
    text = (MODELS / "sentier-house" / "project.toml").read_text()
    roof, surface, row, design = (text.index(head) for head in ("[roof]", "[surface]", "[[row]]", "[design]"))
    rows = "".join(
        f'[[row]]\nname = "{n}"\nplane = "S1"\nup = "{up} m"\n\n' for n, up in (("low", 1), ("high", 4))
    )
    roofs = '[roof]\nfile = "roof.ply"\nunit = "m"\nup = "z"\n\n'
    path = folder / "project.toml"
    path.write_text(text[:roof] + roofs + text[surface:row] + rows + text[design:])
    return path
