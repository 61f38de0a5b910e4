"""Random damage to tables, texts and bytes; every function takes a `random.Random`."""

from __future__ import annotations

import copy
import datetime
import math
import random
import re
import types
from collections.abc import Iterator
from typing import Any, Literal, Union, get_args, get_origin

import tomlkit
from pydantic import BaseModel

from roofmodel.units import EXAMPLES
from viewer.fields import field_quantity, models_in

Random = random.Random

COMMON_UNITS = (
    *("m", "mm", "ft", "in", "km", "m^2", "cm4", "psf", "kN/m^2", "Pa", "kPa", "MPa", "ksi", "N", "kN"),
    *("lbf", "lb", "kg", "kN/mm", "kip/in", "N*m"),
)
UNITS = (
    *COMMON_UNITS,
    *("kN*m/rad", "deg", "rad", "%", "K", "degC", "delta_degF", "kg/m^3", "pcf", "1/m", "12e-6 / K", ""),
    *("parsec", "m*m*m*m*m*m", "µm", "m\u200b", "nano", "m^99999", "m**m"),
)
NUMBERS = (
    *("0", "-0", "1", "-1", "1e-300", "1e300", "1e309", "-1e309", "nan", "inf", "-inf", "NaN", "9" * 400),
    *(
        "0x10",
        "1_0",
        "1,5",
        "1.5.5",
        "٣",
        "½",
        "1e",
        "--1",
        "1e-9",
        "1e9",
        "0.0001",
        "100000",
        "12 to 3",
        "3 to 12",
    ),
)
TEXTS = (
    *("", " ", "\x00", "\x1b[31mred", "\u202e evil", "a\nb", "[bold]x[/bold]", "[/x]", "{{7*7}}", "%s%n"),
    *(
        "<script>alert(1)</script>",
        "../../etc/passwd",
        "/dev/zero",
        "/dev/stdin",
        "~",
        ".",
        "..",
        "CON",
        "é" * 300,
    ),
    *(
        "x" * 5000,
        "名前",
        "👩‍👩‍👧",
        "\ud7ff",
        "=1+1",
        "S1",
        "N1",
        "gable",
        "hip",
        "R1",
        "row low",
        "a..b",
        "low-1..low-9999999",
    ),
    *(
        '#import "x"',
        "#{1/0}",
        "$x$",
        "\\",
        "`",
        "*",
        "all",
        "none",
        "None",
        "true",
        "project.toml",
        "row R1",
        "1..999999999",
    ),
)


def number(rng: Random) -> str:
    """A number as text, sane or not."""
    match rng.randrange(4):
        case 0:
            return rng.choice(NUMBERS)
        case 1:
            return f"{rng.choice([-1, 1, 1, 1]) * 10 ** rng.uniform(-12, 12):.4g}"
        case 2:
            return f"{rng.uniform(-5, 60):.4g}"
        case _:
            return str(rng.randint(-3, 100))


def scalar(rng: Random) -> Any:
    """A value of any kind that TOML has."""
    return rng.choice(
        [
            lambda: rng.choice(TEXTS),
            lambda: f"{number(rng)} {rng.choice(UNITS)}",
            lambda: rng.choice([0, 1, -1, 2, 7, 10**6, 10**12, 2**63, -(2**70), 10**400]),
            lambda: rng.choice(
                [0.0, -0.0, 0.5, -1.5, 1e308, 5e-324, float("nan"), float("inf"), -float("inf")]
            ),
            lambda: rng.choice([True, False]),
            lambda: [],
            lambda: {},
            lambda: [scalar(rng) for _ in range(rng.randint(1, 3))],
            lambda: {rng.choice(TEXTS): scalar(rng)},
            lambda: datetime.date(2026, 2, 3),
        ]
    )()


def near(rng: Random, old: Any) -> Any:
    """A value like the old one: another size, sign or unit."""
    if isinstance(old, bool):
        return not old
    if isinstance(old, int):
        real = float(old) if abs(old) < 2**1023 else math.inf
        return rng.choice([old + 1, old - 1, -old, 0, old * 10, rng.randint(0, 60), real, str(old)])
    if isinstance(old, float):
        whole = round(old) if math.isfinite(old) else 0
        return rng.choice([-old, 0.0, old * 10, old / 10, old + 1, whole, rng.uniform(0, 3), 1.0])
    if isinstance(old, str):
        numbers = list(re.finditer(r"\d+(\.\d+)?", old))
        if numbers and rng.random() < 0.8:
            at = rng.choice(numbers)
            value = float(at[0])
            new = rng.choice(
                [
                    lambda: f"{value * 10 ** rng.uniform(-1, 1):.4g}",
                    lambda: f"{value * rng.uniform(0.7, 1.4):.4g}",
                    lambda: f"{value * rng.uniform(0.3, 3):.4g}",
                    lambda: f"{value * rng.uniform(0.3, 3):.4g}",
                    lambda: f"{value * 10 ** rng.uniform(-5, 5):.4g}",
                    lambda: f"-{at[0]}",
                    lambda: "0",
                    lambda: number(rng),
                ]
            )()
            return old[: at.start()] + new + old[at.end() :]
        words = old.split(" ")
        if len(words) > 1 and rng.random() < 0.6:
            return " ".join([*words[:-1], rng.choice(UNITS)])
        if old and rng.random() < 0.5:
            at = rng.randrange(len(old))
            return old[:at] + rng.choice(["", "x", "\t", old[at] * 2, ".."]) + old[at + 1 :]
        return rng.choice(TEXTS)
    if isinstance(old, list) and old:
        return rng.choice([old * 2, old[:-1], old[::-1], [old], old[0]])
    return scalar(rng)


def example(rng: Random, annotation: Any, metadata: Any = (), depth: int = 0) -> Any:
    """A value that a field of a schema would often take."""
    kind = field_quantity(types.SimpleNamespace(annotation=annotation, metadata=list(metadata)))
    if kind is not None and rng.random() < 0.9:
        known = re.findall(r'"(.*?)"', EXAMPLES[kind][1])
        return near(rng, rng.choice(known)) if rng.random() < 0.5 else rng.choice(known)
    if hasattr(annotation, "__metadata__"):
        return example(rng, annotation.__origin__, annotation.__metadata__, depth)
    origin = get_origin(annotation)
    if origin is Literal:
        return rng.choice(get_args(annotation))
    if origin in (Union, types.UnionType):
        parts = [part for part in get_args(annotation) if part is not type(None)]
        return example(rng, rng.choice(parts), metadata, depth)
    if origin is list:
        return [example(rng, get_args(annotation)[0], (), depth + 1) for _ in range(rng.randint(1, 2))]
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return grown(rng, annotation, depth + 1)
    if annotation is bool:
        return rng.random() < 0.5
    if annotation is int:
        return rng.randint(0, 9)
    if annotation is float:
        return round(rng.choice([rng.random(), rng.uniform(0, 3), rng.uniform(0, 100)]), 3)
    return rng.choice(
        ["S1", "R1", "low", "high", "x", "0 0, 3 0, 3 2 m", "25 deg", "6:12", rng.choice(TEXTS)]
    )


def grown(rng: Random, model: type[BaseModel], depth: int = 0) -> dict[str, Any]:
    """A table with the fields that a schema needs and some that it knows."""
    table = {}
    for name, info in model.model_fields.items():
        if info.is_required() or rng.random() < (0.3 if depth < 3 else 0.05):
            table[info.alias or name] = example(rng, info.annotation, info.metadata, depth)
    return table


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Paths of everything inside plain data."""
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from places(inner, (*path, key))


def at(value: Any, path: tuple[Any, ...]) -> Any:
    """What stands at a path."""
    for step in path:
        value = value[step]
    return value


def changed(rng: Random, seed: dict[str, Any], model: type[BaseModel] | None) -> tuple[dict[str, Any], str]:
    """A table after one random change, and what it was."""
    table = copy.deepcopy(seed)
    path = rng.choice(list(places(table)))
    holder, key = at(table, path[:-1]), path[-1]
    where = ".".join(map(str, path))
    match rng.randrange(10):
        case 0:
            del holder[key]
            return table, f"delete {where}"
        case 1:
            holder[key] = scalar(rng)
        case 2 | 3 | 4 | 5:
            holder[key] = near(rng, holder[key])
        case 6:
            other = rng.choice(list(places(table)))
            holder[key] = copy.deepcopy(at(table, other))
            return table, f"{where} <- {'.'.join(map(str, other))}"
        case 7 if isinstance(holder, list):
            holder.append(copy.deepcopy(holder[key]))
            return table, f"twice {where}"
        case _ if model is not None:
            return table, grow(rng, table, model)
        case _:
            holder[key] = near(rng, holder[key])
    return table, f"{where} = {str(at(table, path))[:60]!r}"


def grow(rng: Random, table: dict[str, Any], model: type[BaseModel]) -> str:
    """Set a field that the schema knows, at the top or in a table that is there."""
    here, path = table, ""
    while True:
        name, info = rng.choice(list(model.model_fields.items()))
        key = info.alias or name
        inner = models_in(info.annotation)
        there = here.get(key)
        path = f"{path}.{key}"
        if inner and isinstance(there, list) and there and isinstance(there[0], dict) and rng.random() < 0.8:
            here, model = rng.choice([one for one in there if isinstance(one, dict)]), rng.choice(inner)
        elif inner and isinstance(there, dict) and rng.random() < 0.9:
            here, model = there, rng.choice(inner)
        else:
            here[key] = example(rng, info.annotation, info.metadata)
            return f"grow {path} = {str(here[key])[:80]}"


def scaled(rng: Random, seed: dict[str, Any]) -> tuple[dict[str, Any], str]:
    """A table with one number that is another but may well be right."""
    table = copy.deepcopy(seed)
    whole = re.compile(r"(?<![\w^.-])\d+(\.\d+)?(?=[ ,:]|$)")
    told = {path: at(table, path) for path in places(table) if isinstance(at(table, path), str)}
    path = rng.choice([path for path, text in told.items() if whole.search(text)])
    old = told[path]
    spot = rng.choice(list(whole.finditer(old)))
    new = f"{float(spot[0]) * rng.choice([0.3, 0.5, 0.7, 0.9, 1.1, 1.5, 2.0, 3.0]):.4g}"
    at(table, path[:-1])[path[-1]] = old[: spot.start()] + new + old[spot.end() :]
    return table, f"{'.'.join(map(str, path))}: {spot[0]} -> {new}"


def written(table: dict[str, Any]) -> str:
    """TOML of plain data."""
    return tomlkit.dumps(table)


HOLES = (
    "\x00",
    "\x1b[2J",
    "\ufeff",
    "\u202e",
    "\u2028",
    "\r",
    "\t",
    '"',
    "'",
    "]",
    "[",
    "{",
    "=",
    "#",
    ",",
    '"""',
    "\ud7ff",
)


def scratched(rng: Random, text: str) -> tuple[str, str]:
    """A text after one change that knows nothing of its grammar but lines and words."""
    lines = text.splitlines(keepends=True) or [""]
    i = rng.randrange(len(lines))
    match rng.randrange(9):
        case 0:
            del lines[i]
            return "".join(lines), f"line {i + 1} deleted"
        case 1:
            lines.insert(rng.randrange(len(lines)), lines[i])
            return "".join(lines), f"line {i + 1} twice"
        case 2:
            j = rng.randrange(len(lines))
            lines[i], lines[j] = lines[j], lines[i]
            return "".join(lines), f"lines {i + 1} and {j + 1} swapped"
        case 3:
            at = rng.randrange(len(text) + 1)
            hole = rng.choice(HOLES)
            return text[:at] + hole + text[at:], f"{hole!r} put in at {at}"
        case 4:
            at = rng.randrange(len(text) + 1)
            return text[:at], f"cut at {at}"
        case 5:
            deep = rng.choice([200, 2000, 50_000])
            return text + f"\nx = {'[' * deep}{']' * deep}\n", f"{deep} deep"
        case 6:
            deep = rng.choice([200, 2000])
            return text + "\n" + ".".join(["a"] * deep) + " = 1\n", f"{deep} dots"
        case 7:
            found = list(re.finditer(r"\d+(\.\d+)?", text))
            if not found:
                return text, "nothing"
            spot = rng.choice(found)
            new = number(rng)
            return text[: spot.start()] + new + text[
                spot.end() :
            ], f"{spot[0]} at {spot.start()} -> {new[:20]}"
        case _:
            found = list(re.finditer(r"[A-Za-z_]{2,}", text))
            if not found:
                return text, "nothing"
            a, b = rng.choice(found), rng.choice(found)
            return text[: a.start()] + b[0] + text[a.end() :], f"{a[0]} at {a.start()} -> {b[0]}"


def flipped(rng: Random, data: bytes) -> tuple[bytes, str]:
    """Bytes with a few pieces overwritten, put in, cut out or cut off."""
    work = bytearray(data)
    told = []
    for _ in range(rng.choice([1, 1, 2, 5])):
        at = rng.randrange(len(work) + 1)
        piece = rng.choice(
            [
                bytes([rng.randrange(256)]),
                rng.randbytes(4),
                b"\xff\xff\xff\xff",
                b"\xff\xff\xff\x7f",
                b"\x00\x00\x00\x00",
                b"\x00\x00\xc0\x7f",
                b"nan",
                b"1e39",
                b"-1",
                b"999999999999",
                b"\x00",
            ]
        )
        match rng.randrange(5):
            case 0 | 1:
                work[at : at + len(piece)] = piece
            case 2:
                work[at:at] = piece
            case 3:
                del work[at : at + rng.choice([1, 4, 100, 5000])]
            case _:
                if rng.random() < 0.3:
                    del work[at:]
                else:
                    low = min(at, rng.randrange(min(len(work), 400) + 1))
                    work[low : low + len(piece)] = piece  # heads lie more often
        told.append(f"{at}:{piece!r}")
    return bytes(work), " ".join(told)
