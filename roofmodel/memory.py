"""Results that are found again by what they were made from, while rows move on a roof that stays."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, TypeVar

T = TypeVar("T")

MOST = 2_000  # results kept; the oldest go first


class Memory:
    """Results by key, for one roof, its snow and its hardware; safe to share between threads.

    A key names the kind of result and everything that it depends on and that may change while the memory
    lives. Results are shared: nobody may change them.
    """

    def __init__(self, most: int = MOST) -> None:
        self._found: OrderedDict[Hashable, Any] = OrderedDict()
        self._most = most
        self._last: dict[str, tuple[tuple[Any, ...], Any]] = {}
        self._lock = Lock()

    def known(self, key: Hashable) -> Any:
        """The result kept under a key, None if there is none."""
        with self._lock:
            return self._found.get(key)

    def recall(self, key: Hashable, make: Callable[[], T]) -> T:
        """The result kept under a key, made first if there is none."""
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
                kept: T = self._found[key]
                return kept
        made = make()
        with self._lock:
            self._found[key] = made
            while len(self._found) > self._most:
                self._found.popitem(last=False)
        return made

    def latest(self, kind: str, of: tuple[Any, ...], make: Callable[[], T]) -> T:
        """The one result kept of a kind while the objects it is `of` are the same: for large ones."""
        with self._lock:
            before, kept = self._last.get(kind, ((), None))
        if len(before) == len(of) and all(a is b for a, b in zip(before, of, strict=True)):
            same: T = kept
            return same
        made = make()
        with self._lock:
            self._last[kind] = (of, made)
        return made


def recall(memory: Memory | None, key: Hashable, make: Callable[[], T]) -> T:
    """`Memory.recall`, or just the result where there is no memory."""
    return make() if memory is None else memory.recall(key, make)
