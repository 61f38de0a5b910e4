"""How long the stages of the calculation take."""

from __future__ import annotations

import time


class Clock:
    """Time of named stages."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._last = time.perf_counter()

    def mark(self, stage: str) -> None:
        """Give the time since the last mark to a stage."""
        now = time.perf_counter()
        self.seconds[stage] = now - self._last
        self._last = now
