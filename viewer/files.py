"""Writing files so that a half-written or lost one cannot happen."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from roofmodel.errors import InputError


@contextlib.contextmanager
def atomic(path: Path) -> Iterator[Path]:
    """Give a temporary path in the same folder that replaces `path` when the block ends well."""
    handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        os.chmod(temporary, 0o666 & ~_umask())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write text atomically, UTF-8."""
    with atomic(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def output_folder(path: Path, inputs: list[Path], names: list[str]) -> Path:
    """Make sure that results can be written to a folder without touching an input.

    Raises
    ------
    InputError
        The path is a file, cannot be made or written, or an output would replace an input.
    """
    if path.exists() and not path.is_dir():
        message = f"--out {path}: is a file; give a folder for the results"
        raise InputError(message)
    taken = {source.resolve() for source in inputs}
    for name in names:
        if (path / name).resolve() in taken:
            message = f"--out {path}: {name} there is an input of this project; choose another folder"
            raise InputError(message)
    try:
        path.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=path):
            pass
    except OSError as error:
        message = f"--out {path}: cannot be written ({error.strerror})"
        raise InputError(message) from None
    return path


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
