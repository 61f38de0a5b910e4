"""Runs commands in forked children and judges what comes of them."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import resource
import signal
import sys
import time
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CPU = 60.0  # a case may take so long; the largest detail meshes take a third of it on a slow core [s]
MEMORY = 2.0e9  # [bytes]
WALL = 300.0  # other work may share the machine; beyond this a case hangs [s]


@dataclass(frozen=True)
class Outcome:
    """What a command did.

    Attributes
    ----------
    code : int
        Exit code, minus the signal where one ended it.
    out, err : str
    seconds : float
        Processor time of the command and its children. [s]
    memory : float
        Largest resident size. [bytes]
    faults : tuple of str
        What must never be; empty for a good case.
    """

    code: int
    out: str
    err: str
    seconds: float
    memory: float
    faults: tuple[str, ...]


def warm_up(good: Sequence[Sequence[str]], folder: Path) -> None:
    """Run good commands here, so that children need not import and compile one by one."""
    import jsonschema  # noqa: F401

    from viewer.cli import main

    arguments = sys.argv
    try:
        with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()):
            for command in good:
                sys.argv = ["eavewright", *command]
                with contextlib.suppress(SystemExit):
                    main()
    finally:
        sys.argv = arguments


def contents(folder: Path) -> dict[str, str]:
    """Fingerprint of every file below a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def run(arguments: Sequence[str], folder: Path, logs: Path) -> Outcome:
    """Run a command in a folder of inputs, logs elsewhere, and judge it."""
    before = contents(folder)
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        _be_command(list(arguments), folder, logs)
    status, usage, hung = 0, None, False
    while usage is None:
        done, status, used = os.wait4(child, os.WNOHANG)
        if done:
            usage = used
        elif time.monotonic() - began > WALL:
            hung = True
            os.killpg(child, signal.SIGKILL)
            _, status, usage = os.wait4(child, 0)
        else:
            time.sleep(0.01)
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(child, signal.SIGKILL)  # what it may have left behind
    out, err = ((logs / name).read_text(encoding="utf-8", errors="replace") for name in ("out", "err"))
    code = os.waitstatus_to_exitcode(status)
    seconds, memory = usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024.0
    faults = [f"hangs: {WALL:g} s"] if hung else []
    faults += _faults(code, out, err, before, contents(folder), folder)
    if seconds > CPU:
        faults.append(f"slow: {seconds:.0f} s")
    if memory > MEMORY:
        faults.append(f"large: {memory / 1e9:.1f} GB")
    return Outcome(code, out, err, seconds, memory, tuple(faults))


def _be_command(arguments: list[str], folder: Path, logs: Path) -> None:
    code = 99
    try:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (int(CPU) + 15, int(CPU) + 20))
        resource.setrlimit(resource.RLIMIT_AS, (8 * 10**9, 8 * 10**9))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        null = os.open(os.devnull, os.O_RDONLY)
        os.dup2(null, 0)
        for number, name in ((1, "out"), (2, "err")):
            os.dup2(os.open(logs / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        sys.stdout, sys.stderr = (os.fdopen(k, "w", encoding="utf-8", closefd=False) for k in (1, 2))
        os.chdir(folder)
        os.environ.pop("EAVEWRIGHT_DEBUG", None)
        sys.argv = ["eavewright", *arguments]
        from viewer.cli import main

        try:
            main()
            code = 0
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        with contextlib.suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)


def _faults(
    code: int, out: str, err: str, before: dict[str, str], after: dict[str, str], folder: Path
) -> list[str]:
    faults = []
    if code not in (0, 1, 2):
        faults.append(f"exit code {code}: {(err.strip() or out.strip())[-300:]}")
    if "Traceback" in out + err or ("Error:" in err and "internal" in err):
        faults.append("a traceback")
    wild = {
        c for c in out + err if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp") and c not in "\n\t\r\xad"
    }
    if wild:
        faults.append(f"control characters on screen: {sorted(map(hex, map(ord, wild)))}")
    touched = [name for name, mark in before.items() if after.get(name) != mark]
    if touched:
        faults.append(f"inputs touched: {touched[:3]}")
    new = [name for name in after if name not in before]
    if code == 2:
        lines = [line for line in err.splitlines() if line.strip()]
        if len(lines) != 1 or not 10 < len(err) < 2000:
            faults.append(f"{len(lines)} lines of refusal, {len(err)} characters: {err[:200]!r}")
        if new or out.strip():
            faults.append(f"refused, but wrote {new[:3]} {out[:80]!r}")
    elif code in (0, 1):
        faults += [fault for name in new if name.endswith(".json") for fault in _json_faults(folder / name)]
        faults += [f"half-written file {name}" for name in new if Path(name).name.startswith(".")]
    return faults


def _no_constant(word: str) -> Any:
    raise ValueError(word)


def _json_faults(path: Path) -> list[str]:
    import jsonschema

    try:
        data = json.loads(path.read_text(encoding="utf-8"), parse_constant=_no_constant)
    except ValueError as error:
        return [f"{path.name} is not JSON: {error}"]
    schema = Path(__file__).parents[2] / "viewer" / f"{path.stem}.schema.json"
    if not schema.exists():
        return []
    try:
        jsonschema.validate(data, json.loads(schema.read_text(encoding="utf-8")))
    except jsonschema.ValidationError as error:
        return [f"{path.name} breaks its schema at {list(error.absolute_path)}: {error.message[:150]}"]
    return []
