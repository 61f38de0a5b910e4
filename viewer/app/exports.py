"""Results written by the program's own commands in a process of their own, so that they can be stopped."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePath

from roofmodel.errors import InputError
from roofmodel.units import shown

RUN = "from viewer.cli import main; main()"


@dataclass(frozen=True)
class Part:
    """One command that can be exported: its name, what it writes, and what to open first."""

    command: str
    about: str
    pages: tuple[str, ...] = ()


PARTS = (
    Part("check", "Report, results, tables, meshes and structure deck", ("report.html",)),
    Part(
        "handover",
        "Calculation package (PDF and page), installer's plan, quantities, workbook, 3D model",
        ("package.pdf", "package.html"),
    ),
    Part("snow", "Snow cases: plans, sections, every number worked out", ("snow.html",)),
    Part("seam", "The governing clamp on its seam, as a shell model", ("seam.html",)),
    Part("roof", "How the roof is understood: picture, table of planes and edges", ("roof.png",)),
    Part("section", "The rail's section and its values", ("section.png",)),
    Part("plan", "Rows of least material that hold, beside the rows of the project", ("plan.png",)),
    Part("blanket", "The snow as a layer: row ends, sharing between rows, thaw", ("blanket.html",)),
    Part("push", "Virtual test of the governing row: what gives way, in which order", ("push.png",)),
    Part("risk", "Chance that a row lets go; takes [uncertainty] in the file, and long", ("risk.png",)),
)
ELSEWHERE = (
    "What needs more than this project is made in the terminal: history (a winter’s weather), investigate "
    "(what was found after a failure), span and tests (a rail or clamp by itself), screen (a whole town)."
)
HOUR = 3600.0  # longer than any export should take [s]


@dataclass(frozen=True)
class Exported:
    """What one command wrote: files by name, in a folder; `note` says why there is less."""

    part: Part
    folder: Path
    names: tuple[str, ...]
    note: str = ""


def inside(root: Path, name: str, field: str = "folder", example: str = "results") -> Path:
    """Folder or file inside the project's own folder, by a name that cannot lead out of it.

    Raises
    ------
    InputError
        Absolute, with "..", or through a link that leads elsewhere.
    """
    plain = PurePath(name)
    odd = any(ord(c) < 32 or c in '\\:*?"<>|' for c in name)
    if not name.strip() or odd or plain.is_absolute() or any(p in ("..", "~") for p in plain.parts):
        message = f"{field}: {shown(name)} must be a name inside the project's folder, such as {example}"
        raise InputError(message)
    root = root.resolve()
    path = (root / plain).resolve()
    if path == root or root not in path.parents:
        message = f"{field}: {shown(name)} leads out of the project's folder; give a name inside it"
        raise InputError(message)
    return path


async def run_parts(
    project: Path, folder: Path, names: list[str], tell: Callable[[str], None]
) -> list[Exported]:
    """Run the commands one after the other.

    Parameters
    ----------
    project : Path
        Project file as it stands on the disk.
    folder : Path
        From `inside`; every command gets a folder of its own in it.
    names : list of str
        Commands out of `PARTS`.
    tell : callable
        Is told how far it has come.

    Returns
    -------
    list of Exported

    Raises
    ------
    InputError
        The only command refused, in its own words. Canceling the task stops the command.
    """
    known = {part.command: part for part in PARTS}
    wrong = next((name for name in names if name not in known), None)
    if wrong is not None:
        message = f"parts: {shown(wrong)} is not known; use {', '.join(known)}"
        raise InputError(message)
    done = []
    for name in dict.fromkeys(names):
        part, out = known[name], folder / name
        tell(f"{part.about}: starting")
        code, said = await _run([name, str(project), "--out", str(out)], project.parent, part, tell)
        if code not in (0, 1):
            message = f"{name}: {said or f'ended with code {code}'}"
            if len(names) == 1:
                raise InputError(message)
            done.append(Exported(part, out, (), message))  # the others are not lost for it
            continue
        files = tuple(sorted(p.name for p in out.iterdir() if p.is_file()))
        done.append(Exported(part, out, files, said if said.startswith("No ") else ""))
    return done


async def _run(
    arguments: list[str], folder: Path, part: Part, tell: Callable[[str], None]
) -> tuple[int, str]:
    """Exit code and last line on standard error; the whole process group ends when we do."""
    source = str(Path(__file__).resolve().parents[2])
    paths = [source, *filter(None, [os.environ.get("PYTHONPATH")])]
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-c",
        RUN,
        *arguments,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.DEVNULL,
        stderr=asyncio.subprocess.PIPE,
        start_new_session=True,
    )
    last = ""
    try:
        assert process.stderr is not None
        async with asyncio.timeout(HOUR):
            async for line in process.stderr:
                text = line.decode(errors="replace").strip()
                if text.endswith(" ..."):
                    tell(f"{part.about}: {text.removesuffix(' ...')}")
                elif text:
                    last = text.removeprefix("eavewright: ")
            return await process.wait(), last
    finally:
        if process.returncode is None:
            os.killpg(process.pid, signal.SIGKILL)
            await process.wait()
