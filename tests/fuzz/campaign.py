"""Fuzzes the whole command line.

OMP_NUM_THREADS=1 PYTHONPATH=. python tests/fuzz/campaign.py --minutes 10 [--target roofs] [--seed 1]

Every case is a good input after random changes, given to a command in a forked child. The outcome must be a
result or one line of refusal: exit code 0, 1 or 2, nothing written on refusal, inputs as they were, 60 s and
2 GB at most, JSON that keeps its schema, no control characters on the screen.
Cases that break this are kept, with what was said, in the folder of --keep.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import json
import random
import re
import shutil
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import harness
import mutations
import seeds
import traps

from roofmodel.project.campaign_schema import CampaignFile
from roofmodel.project.evidence_schema import EvidenceFile
from roofmodel.project.schema import ProjectFile
from roofmodel.project.span_schema import SpanFile
from tests.seam_command.seam_project import SEAM

Case = tuple[list[str], str]  # arguments, what was changed
Target = Callable[[random.Random, Path], Case]

# Commands on a project, with how often they are taken.
COMMANDS = {
    ("check", "--no-picture"): 30,
    ("snow",): 12,
    ("roof", "--no-picture"): 8,
    ("seam", "--no-picture"): 8,
    ("plan", "--no-picture"): 8,
    ("push",): 8,
    ("risk", "--processes", "1"): 6,
    ("handover", "--no-picture"): 3,
    ("blanket",): 6,
}


def _changed(rng: random.Random, table: dict, model: type | None) -> tuple[str, str]:
    """Text of a table after some changes."""
    told = []
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        if not table:
            break
        table, what = mutations.changed(rng, table, model)
        told.append(what)
    try:
        text = mutations.written(table)
    except Exception:  # a change that TOML cannot write
        return _changed(rng, seeds.projects()["small"], model)
    if rng.random() < 0.15:
        text, what = mutations.scratched(rng, text)
        told.append(what)
    return text, "; ".join(told)


def _scratched(rng: random.Random, text: str) -> tuple[str, list[str]]:
    """A text after a few changes, and what they were."""
    told = []
    for _ in range(rng.choice([1, 1, 3])):
        text, what = mutations.scratched(rng, text)
        told.append(what)
    return text, told


def _put(path: Path, data: str | bytes) -> None:
    path.write_bytes(data.encode("utf-8", "surrogatepass") if isinstance(data, str) else data)


def projects(rng: random.Random, folder: Path) -> Case:
    command, name, seed = _project(rng)
    text, told = _changed(rng, seed, ProjectFile)
    _put(folder / "project.toml", text)
    return [command[0], "project.toml", *command[1:], "--out", "out"], f"{name}: {told}"


def sizes(rng: random.Random, folder: Path) -> Case:
    """Projects with other numbers, most of which pass and are worked through."""
    command, name, table = _project(rng)
    told = []
    for _ in range(rng.choice([1, 2, 3, 5])):
        table, what = mutations.scaled(rng, table)
        told.append(what)
    if rng.random() < 0.3:
        told.append(mutations.grow(rng, table, ProjectFile))
    _put(folder / "project.toml", mutations.written(table))
    return [command[0], "project.toml", *command[1:], "--out", "out"], f"{name}: {'; '.join(told)}"


def _project(rng: random.Random) -> tuple[tuple[str, ...], str, dict[str, Any]]:
    """A command, and a project for it."""
    known = [name for name in COMMANDS if name[0] in _commands()]
    command = rng.choices(known, [COMMANDS[name] for name in known])[0]
    cheap = command[0] in ("check", "snow", "roof")
    names = list(seeds.projects()) if cheap and rng.random() < 0.4 else ["small", *seeds.OTHER_SITES]
    name = rng.choice(names)
    more = {"risk": seeds.UNCERTAIN, "seam": SEAM}.get(command[0])
    seed = seeds.projects()[name]
    return command, name, seed | tomllib.loads(more) if more and rng.random() < 0.95 else seed


def _commands() -> list[str]:
    from viewer.cli import commands

    return list(commands.commands)


def as_built(rng: random.Random, folder: Path) -> Case:
    head = rng.choice(["row,along [m]", "row;along [mm]", "row,along", "Row\tAlong (ft)"])
    cut = ";" if ";" in head else "\t" if "\t" in head else ","
    scale = 1000 if "mm" in head else 3.28 if "ft" in head else 1
    unit = "" if head[-1] in ")]" else " m"
    lines = [f"{row}{cut}{(0.25 + 0.5 * i) * scale:g}{unit}" for row in ("R1", "R2") for i in range(12)]
    text, told = _scratched(rng, "\n".join([head, *lines]) + "\n")
    _put(folder / "clamps.csv", text)
    _put(folder / "project.toml", seeds.SMALL + '\n[as_built]\nfile = "clamps.csv"\n')
    return ["check", "project.toml", "--no-picture", "--out", "out"], "; ".join(told)


def weather(rng: random.Random, folder: Path) -> Case:
    _put(folder / "project.toml", seeds.SMALL)
    text, told = _scratched(rng, seeds.weather().decode())
    if rng.random() < 0.2:
        thaw, what = _changed(rng, seeds.projects()["small"] | {"thaw": {}}, ProjectFile)
        _put(folder / "project.toml", thaw)
        told.append(what)
    _put(folder / "weather.csv", text)
    return ["history", "project.toml", "weather.csv", "--out", "out"], "; ".join(told)


def investigations(rng: random.Random, folder: Path) -> Case:
    table, beside = seeds.found()
    for name, data in beside.items():
        _put(folder / name, data)
    text, told = _changed(rng, table, EvidenceFile)
    _put(folder / "found.toml", text)
    return ["investigate", "found.toml", "--out", "out"], told


def spans(rng: random.Random, folder: Path) -> Case:
    text, told = _changed(rng, seeds.spans(), SpanFile)
    _put(folder / "spans.toml", text)
    return ["span", "spans.toml", "--out", "out"], told


def campaigns(rng: random.Random, folder: Path) -> Case:
    table, curves = seeds.campaign()
    if rng.random() < 0.5:
        text, what = _changed(rng, table, CampaignFile)
        told = [what]
    else:
        text = mutations.written(table)
        name = rng.choice(sorted(curves))
        curve, changes = _scratched(rng, curves[name].decode("utf-8", "ignore"))
        curves[name] = curve.encode("utf-8", "ignore")
        told = [f"{name} {what}" for what in changes]
    for name, data in curves.items():
        _put(folder / name, data)
    _put(folder / "tests.toml", text)
    return ["tests", "tests.toml", "--out", "out"], "; ".join(told)


def joined(rng: random.Random, folder: Path) -> Case:
    table, curves = seeds.campaign()
    for name, data in curves.items():
        _put(folder / name, data)
    _put(folder / "tests.toml", mutations.written(table))
    text, told = _scratched(rng, seeds.joined())
    _put(folder / "pull.json", text)
    return ["tests", "tests.toml", "--join", "pull.json", "--out", "out"], "; ".join(told)


def sections(rng: random.Random, folder: Path) -> Case:
    name = rng.choice(sorted(seeds.profiles()))
    data, options = seeds.profiles()[name]
    data, told = _damaged(rng, name, data)
    _put(folder / name, data)
    return ["section", name, *options, "--out", "out"], f"{name} {told}"


def roofs(rng: random.Random, folder: Path) -> Case:
    name = rng.choice(sorted(seeds.roofs()))
    data, options = seeds.roofs()[name]
    data, told = _damaged(rng, name, data)
    _put(folder / name, data)
    return ["roof", name, *options, "--no-picture", "--out", "out"], f"{name} {told}"


def tiles(rng: random.Random, folder: Path) -> Case:
    name = rng.choice(["roof.city.json", "roof.gml"])
    data, told = _damaged(rng, name, seeds.roofs()[name][0])
    _put(folder / name, data)
    more = ["--ground-snow", "1.5 kN/m^2"]
    if rng.random() < 0.3:
        text, what = _changed(rng, {"site": seeds.projects()["small"]["site"]}, None)
        _put(folder / "site.toml", text)
        told, more = f"{told}; {what}", ["--site", "site.toml"]
    return ["screen", name, *more, "--processes", "1", "--out", "out"], f"{name} {told}"


def buildings(rng: random.Random, folder: Path) -> Case:
    """A building model; apart from the others, as its reader takes long."""
    data = (seeds.DATA / "roofs" / "IfcOpenHouse_ifc4.ifc").read_bytes()
    data, told = _damaged(rng, "roof.ifc", data)
    _put(folder / "roof.ifc", data)
    return ["roof", "roof.ifc", "--no-picture", "--out", "out"], told


def _damaged(rng: random.Random, name: str, data: bytes) -> tuple[bytes, str]:
    """A file after changes that know its kind, or do not."""
    ending = name.rsplit(".", 1)[1]
    if rng.random() < 0.35:
        return mutations.flipped(rng, data)
    if ending in ("json", "gltf"):
        table, told = json.loads(data), []
        for _ in range(rng.choice([1, 1, 2, 4])):
            if table:
                table, what = mutations.changed(rng, table, None)
                told.append(what)
        return json.dumps(table, default=str).encode(), "; ".join(told)
    if ending == "3mf":
        members = seeds.unzipped(data)
        inner = rng.choice(sorted(members))
        text, told = mutations.scratched(rng, members[inner].decode("utf-8", "ignore"))
        return seeds.zipped(members | {inner: text.encode("utf-8", "ignore")}), f"{inner}: {told}"
    if ending in ("obj", "off", "gml", "ifc", "dxf", "csv") or name.startswith("text"):
        text, told = data.decode("latin-1"), []
        for _ in range(rng.choice([1, 1, 2, 5])):
            change = _tag if ending in ("gml", "vtu") and rng.random() < 0.4 else mutations.scratched
            text, what = change(rng, text)
            told.append(what)
        return text.encode("latin-1", "ignore"), "; ".join(told)
    return mutations.flipped(rng, data)


def _tag(rng: random.Random, text: str) -> tuple[str, str]:
    """XML with one element left out, twice, or wrapped in itself."""
    spots = list(re.finditer(r"<([\w:]+)[^<>]*>", text))
    if not spots:
        return text, "nothing"
    spot = rng.choice(spots)
    end = text.find(f"</{spot[1]}>", spot.end())
    if end < 0:
        return text[: spot.start()] + text[spot.end() :], f"<{spot[1]}> opened no more"
    end += len(spot[1]) + 3
    whole = text[spot.start() : end]
    new = rng.choice(["", whole * 2, spot[0] * 30 + whole + f"</{spot[1]}>" * 30])
    return text[: spot.start()] + new + text[
        end:
    ], f"<{spot[1]}> at {spot.start()} {len(whole)} -> {len(new)}"


TARGETS: dict[str, Target] = {
    "projects": projects,
    "sizes": sizes,
    "as built": as_built,
    "weather": weather,
    "investigations": investigations,
    "spans": spans,
    "joined": joined,
    "campaigns": campaigns,
    "sections": sections,
    "roofs": roofs,
    "tiles": tiles,
    "buildings": buildings,
}


@contextlib.contextmanager
def _workplace() -> Iterator[tuple[Path, Path]]:
    """Folders of one case, side by side: its inputs, and what it says."""
    with tempfile.TemporaryDirectory() as work:
        inputs, logs = Path(work) / "inputs", Path(work) / "logs"
        inputs.mkdir()
        logs.mkdir()
        yield inputs, logs


def _trapped() -> int:
    """Give every file of `traps` to the commands that may get it; how many broke the rules."""
    groups = (("roof", traps.roofs(), ("--no-picture",)), ("section", traps.sections(), ()))
    tiles = {name: trap for name, trap in traps.roofs().items() if trap[0].endswith((".json", ".gml"))}
    tiles = {name: (file, data, ()) for name, (file, data, _) in tiles.items()}
    bad = 0
    for command, files, more in (*groups, ("screen", tiles, ("--ground-snow", "1 kPa", "--processes", "1"))):
        for name, (file, data, options) in files.items():
            with _workplace() as (inputs, logs):
                _put(inputs / file, data)
                outcome = harness.run([command, file, *options, *more, "--out", "out"], inputs, logs)
            print(f"{command}, {name}: {outcome.code} {outcome.seconds:.1f} s {outcome.err.strip()[:150]}")
            if outcome.faults:
                bad += 1
                print(f"   {outcome.faults}", flush=True)
    return bad


def _warm_up() -> None:
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        _put(folder / "project.toml", seeds.SMALL)
        good = [["snow", "project.toml"]]  # not what solves: a forked child may hang on its threads
        for name in ("roof.stl", "roof.vtu", "roof.dxf", "roof.3mf"):
            data, options = seeds.roofs()[name]
            _put(folder / name, data)
            good.append(["roof", name, *options, "--no-picture"])
        harness.warm_up(good, folder)


def main() -> int:
    """Fuzz until the time is over; 1 where anything was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--cases", type=int, default=10**9, help="stop after so many")
    parser.add_argument("--target", action="append", choices=list(TARGETS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for cases that went wrong, and a log of all")
    parser.add_argument("--traps", action="store_true", help="only the files made to harm, once")
    asked = parser.parse_args()
    _warm_up()
    if asked.traps:
        return 1 if _trapped() else 0
    names = asked.target or list(TARGETS)
    end, number, bad = time.monotonic() + 60.0 * asked.minutes, 0, 0
    codes: collections.Counter[tuple[str, int]] = collections.Counter()
    while time.monotonic() < end and number < asked.cases:
        name = names[number % len(names)]
        case = f"{name}/{asked.seed}/{number}"
        with _workplace() as (inputs, logs):
            arguments, told = TARGETS[name](random.Random(case), inputs)
            if asked.keep:
                (asked.keep / "now").mkdir(parents=True, exist_ok=True)
                shutil.copytree(inputs, asked.keep / "now", dirs_exist_ok=True)
            outcome = harness.run(arguments, inputs, logs)
            codes[name, outcome.code] += 1
            number += 1
            if asked.keep:
                spent = f"{outcome.seconds:.1f}\t{outcome.memory / 1e6:.0f}"
                said = f"{' '.join(arguments)}\t{told[:300]!r}\t{outcome.err.strip()[:400]!r}"
                with (asked.keep / "log").open("a", encoding="utf-8") as log:
                    log.write(f"{case}\t{outcome.code}\t{spent}\t{said}\n")
            if outcome.faults:
                bad += 1
                print(f"{case}: {' '.join(arguments)}: {told[:200]!r}\n   {outcome.faults}", flush=True)
                if asked.keep:
                    kept = asked.keep / case.replace("/", "-")
                    shutil.rmtree(kept, ignore_errors=True)
                    shutil.copytree(inputs.parent, kept)
    print(
        f"{number} cases, {bad} with faults; exit codes "
        + ", ".join(f"{n} {c}: {k}" for (n, c), k in sorted(codes.items()))
    )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
