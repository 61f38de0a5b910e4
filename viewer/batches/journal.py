"""The file that keeps what is done, batch by batch, so that a run that was stopped can go on."""

from __future__ import annotations

import fcntl
import json
import os
import zlib
from functools import cache
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Any

from roofmodel.errors import InputError


@cache
def code_digest() -> str:
    """SHA-256 of the program's sources: what another version left is not gone on with."""
    found = sha256()
    top = Path(__file__).parents[2]
    for room in ("roofmodel", "fea", "viewer"):
        for path in sorted((top / room).rglob("*.py")):
            found.update(path.relative_to(top).as_posix().encode())
            found.update(path.read_bytes())
    return found.hexdigest()


class Journal:
    """Batches of one run: a line each, with a checksum, on disk before it counts.

    Attributes
    ----------
    done : dict of int to list
        Results of the batches that are there.
    fresh : bool
        Whether what another run with other inputs, or of another version, left was set aside.
    """

    def __init__(self, path: Path, key: str) -> None:
        self.path = path
        self.done: dict[int, list[dict[str, Any]]] = {}
        self.fresh = False
        try:
            self._file = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            message = f"{self.path}: cannot be written ({error.strerror})"
            raise InputError(message) from None
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._file)
            message = f"{self.path}: another run writes there; give another folder or wait"
            raise InputError(message) from None
        self._restore(f"{code_digest()} {key}")

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self._file)

    def add(self, batch: int, results: list[dict[str, Any]]) -> None:
        """Keep a batch; after this nothing can lose it."""
        self._append(json.dumps([batch, results], ensure_ascii=False, allow_nan=False))
        self.done[batch] = results

    def remove(self) -> None:
        """The results are written: nothing is left to resume."""
        self.path.unlink(missing_ok=True)

    def _append(self, text: str) -> None:
        data = text.encode()
        line = memoryview(b"%08x %b\n" % (zlib.crc32(data), data))
        while len(line):  # a write to a full disk may be short; the checksum tells then
            line = line[os.write(self._file, line) :]
        os.fsync(self._file)

    def _restore(self, key: str) -> None:
        """Take the whole lines of the same run; cut off what a stop tore."""
        with os.fdopen(os.dup(self._file), "rb") as file:
            file.seek(0)
            raw = file.read()
        good = 0
        lines: list[Any] = []
        for line in raw.splitlines(keepends=True):
            text = _checked(line)
            if text is None:
                break
            lines.append(json.loads(text))
            good += len(line)
        if lines and lines[0] == key:
            self.done = {int(batch): results for batch, results in lines[1:]}
        else:
            self.fresh = bool(raw)
            good = 0
        os.ftruncate(self._file, good)
        os.lseek(self._file, good, os.SEEK_SET)
        if good == 0:
            self._append(json.dumps(key))


def _checked(line: bytes) -> bytes | None:
    """Text of a whole line; None where it is torn or spoiled."""
    text = line[9:-1]
    if not line.endswith(b"\n") or line[:9] != b"%08x " % zlib.crc32(text):
        return None
    return text
