"""What the server of the app works on, and how it speaks to all browsers."""

from __future__ import annotations

import asyncio
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from viewer.app.exports import ELSEWHERE, PARTS
from viewer.app.session import State

if TYPE_CHECKING:
    from fea.planning.plan import Plan

WAITING = 400  # messages for one browser before it counts as gone


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
    answered: asyncio.Event = field(default_factory=asyncio.Event)

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
        from viewer.app.view import state_data

        parts = tuple((part.command, part.about) for part in PARTS)
        data = {**state_data(self.state, exports=parts), "elsewhere": ELSEWHERE}
        return {"type": "state", "solving": self.solving, **data, **more}
