"""How far long work has come, on a terminal."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

from viewer.stages import voice


@contextlib.contextmanager
def progress(word: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on terminals, nothing elsewhere; gives what is to be told items done and all of them."""
    if voice() == "quiet" or not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn(word), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(word, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
