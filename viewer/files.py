"""Writing files so that a half-written or lost one cannot happen."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from roofmodel.errors import InputError

Cell = TypeVar("Cell")

STALE = 60.0  # after which a temporary file belongs to no program any more [s]


@contextlib.contextmanager
def atomic(path: Path) -> Iterator[Path]:
    """Give a temporary path in the same folder that replaces `path` when the block ends well."""
    try:
        handle, name = tempfile.mkstemp(prefix=_prefix(path), suffix=path.suffix, dir=path.parent)
    except OSError as error:
        message = f"{path}: cannot be written ({error.strerror})"
        raise InputError(message) from None
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        os.chmod(temporary, 0o666 & ~_umask())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def _prefix(path: Path) -> str:
    return f".{path.stem}.eavewright-"


def sweep(path: Path) -> None:
    """Remove what programs that were killed while writing `path` left beside it.

    Only plain files with the names of `atomic` that nobody has touched for `STALE`; what cannot be removed
    stays.
    """
    known = re.compile(re.escape(_prefix(path)) + r"[a-z0-9_]{8}" + re.escape(path.suffix))
    for other in path.parent.iterdir():
        if known.fullmatch(other.name) and other.is_file() and not other.is_symlink():
            with contextlib.suppress(OSError):
                if time.time() - other.stat().st_mtime > STALE:
                    other.unlink()


def write_text(path: Path, text: str) -> None:
    """Write text atomically, UTF-8."""
    with atomic(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def write_json(path: Path, data: object, indent: int | None = None) -> None:
    """Write plain data as JSON atomically, UTF-8; numbers that are none are refused."""
    write_text(path, json.dumps(data, indent=indent, ensure_ascii=False, allow_nan=False) + "\n")


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """Lines of a CSV table."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()


def check_output(path: Path, inputs: list[Path], names: list[str]) -> None:
    """Refuse an output folder that is a file or whose results would replace an input, before any work.

    Raises
    ------
    InputError
    """
    blocking = next((p for p in (path, *path.parents) if p.exists() and not p.is_dir()), None)
    if blocking is not None:
        message = (
            f"--out {path}: {'it' if blocking == path else blocking} is a file; give a folder for the results"
        )
        raise InputError(message)
    taken = {source.resolve() for source in inputs}
    for name in names:
        if (path / name).resolve() in taken:
            message = f"--out {path}: {name} there is an input of this project; choose another folder"
            raise InputError(message)


def output_folder(path: Path) -> Path:
    """Make the folder for the results.

    Raises
    ------
    InputError
        It cannot be made or written.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path):
            pass
    except OSError as error:
        message = f"--out {path}: cannot be written ({error.strerror}); give another folder"
        raise InputError(message) from None
    return path


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def safe(cell: Cell) -> Cell | str:
    """A cell of a table; a text that a spreadsheet would read as a formula is quoted."""
    if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r")):
        return f"'{cell}"
    return cell
