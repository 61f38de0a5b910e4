"""What the server of the app works on, and how it speaks to all browsers."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fea.planning.plan import Plan
    from viewer.app.session import State

WAITING = 400  # messages for one browser before it counts as gone


class CanceledError(Exception):
    """The user asked to stop."""


@dataclass
class Desk:
    """What the server works on: the state, the browsers that look at it, and what runs.

    `opened` is set once there is a state, or a `refusal` that says why there will be none; `heard` once a
    browser was told that, which is waited for where one is `awaited`. `outcome` is called then, `rested` some
    time after the first answer, and `end` ends the server. `plan` is the last one found, with the revision
    that it was found for. `lock` lets one change at a time through; `stop` asks what runs to end.
    """

    token: str
    kept: State | None = None
    opened: asyncio.Event = field(default_factory=asyncio.Event)
    refusal: Exception | None = None
    awaited: bool = False
    heard: asyncio.Event = field(default_factory=asyncio.Event)
    outcome: Callable[[], None] = lambda: None
    end: Callable[[], None] = lambda: None
    rested: Callable[[], None] = lambda: None
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    stop: threading.Event = field(default_factory=threading.Event)
    clients: dict[int, asyncio.Queue[dict[str, Any] | None]] = field(default_factory=dict)
    tickets: dict[str, tuple[Path, tuple[str, ...]]] = field(default_factory=dict)
    export: asyncio.Task[None] | None = None
    beside: set[asyncio.Task[None]] = field(default_factory=set)
    plan: tuple[int, Plan] | None = None
    solving: bool = False
    answered: asyncio.Event = field(default_factory=asyncio.Event)

    @property
    def state(self) -> State:
        """What is open, once it is opened."""
        assert self.kept is not None
        return self.kept

    @state.setter
    def state(self, state: State) -> None:
        """What is open from now on."""
        self.kept = state

    def open_with(self, state: State) -> None:
        """Take what was read."""
        self.kept = state
        self.opened.set()
        self.outcome()

    def refuse(self, error: Exception) -> None:
        """Take why nothing can be opened."""
        self.refusal = error
        self.opened.set()
        self.outcome()

    async def in_thread(self, work: Callable[[Callable[[str], None]], Any]) -> Any:
        """Run work beside the loop; it is told to stop through what it uses to say how far it is."""
        loop, told = asyncio.get_running_loop(), []
        self.stop.clear()

        def tell(text: str) -> None:
            if self.stop.is_set():
                raise CanceledError
            told.append(text)
            loop.call_soon_threadsafe(self.tell, text)

        try:
            return await asyncio.to_thread(work, tell)
        finally:
            if told:
                self.tell("")

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
        from viewer.app.exports import ELSEWHERE, PARTS
        from viewer.app.view import state_data

        parts = tuple((part.command, part.about) for part in PARTS)
        data = {**state_data(self.state, exports=parts), "elsewhere": ELSEWHERE}
        return {"type": "state", "solving": self.solving, **data, **more}


def defect(error: Exception) -> str:
    """What a defect of the program is told as."""
    return f"internal error: {type(error).__name__}: {error} (a defect of Eavewright)"
