"""Test tables that stand for many curves, such as `curves = "along/*.csv"`; what differs for one."""

from __future__ import annotations

import fnmatch
import os
import re
from collections.abc import Sequence
from pathlib import Path

from roofmodel.errors import InputError
from roofmodel.project.campaign_schema import LETTERS, TestTable

MOST = 300  # curves of one pattern, beyond which it is the wrong folder


def spread(tests: Sequence[TestTable], folder: Path) -> tuple[TestTable, ...]:
    """One test for each curve of every pattern, in the natural order of their names, and all others.

    A table of a test with a curve or name of a pattern takes its place, and takes from it what it does not
    say itself.

    Raises
    ------
    InputError
        A pattern without files, a curve or name twice, a test without strength that is in no pattern.
    """
    own = {test.name: test for test in tests if test.curves is None}
    of_curve = {_path(folder, test.curve): test for test in own.values() if test.curve is not None}
    found: dict[str, TestTable] = {}
    by_pattern: dict[Path, str] = {}
    taken: set[str] = set()
    for test in tests:
        if test.curves is None:
            continue
        for name in _files(test.curves, folder):
            path = _path(folder, name)
            if path in by_pattern:
                message = (
                    f'test.curves: {name} is in "{by_pattern[path]}" and in "{test.curves}"; give it once'
                )
                raise InputError(message)
            by_pattern[path] = test.curves
            stem = Path(name).stem
            table = of_curve.get(path) or own.get(stem)
            if table is not None and table.curve is not None and _path(folder, table.curve) != path:
                message = (
                    f'test "{stem}".curve: {table.curve} is not {name} of test.curves, which has that name '
                    "too; every test needs its own name"
                )
                raise InputError(message)
            one = _one(test, table, name, stem)
            if one.name in found:
                message = f'test.curves: two curves are named "{one.name}"; every test needs its own name'
                raise InputError(message)
            found[one.name] = one
            taken |= {one.name} if table is not None else set()
    rest = [own[name] for name in own if name not in taken]
    stems = {Path(path.name).stem.strip().lower(): path.name for path in by_pattern}
    for test in rest:
        file = stems.get(test.name.strip().lower())
        if file is not None and Path(file).stem != test.name:
            message = (
                f'test "{test.name}": {file} of test.curves has that name but for capitals or spaces; write '
                f'name = "{Path(file).stem}" if it is that test, else another name'
            )
            raise InputError(message)
        if test.curve is None and test.strength is None:
            message = (
                f'test "{test.name}": give either strength, such as "5.2 kN", or curve, a CSV file; no file '
                "of that name is in test.curves"
            )
            raise InputError(message)
        if test.name in found:
            message = f'test.name: "{test.name}" is used twice; every test needs its own name'
            raise InputError(message)
    return (*found.values(), *rest)


def _one(pattern: TestTable, table: TestTable | None, name: str, stem: str) -> TestTable:
    """The test of one curve: the pattern's words, and over them those of its own table."""
    if table is None:
        if len(stem) > LETTERS["name"]:
            message = f"test.curves: {name}: {LETTERS['name']} letters at most name a test; rename the file"
            raise InputError(message)
        return pattern.model_copy(update={"name": stem, "curve": name, "curves": None})
    given = {field: getattr(table, field) for field in table.model_fields_set}
    curve = None if table.strength is not None else table.curve or name
    return pattern.model_copy(update={**given, "curve": curve, "curves": None})


def left_out(tests: Sequence[TestTable], folder: Path) -> tuple[str, ...]:
    """CSV files in the folders of patterns, and in folders there, that belong to no test."""
    patterns = [test.curves for test in tests if test.curves is not None]
    used = {_path(folder, name) for pattern in patterns for name in _files(pattern, folder)}
    used |= {_path(folder, test.curve) for test in tests if test.curve is not None}
    found: set[str] = set()
    for place in {Path(pattern).parent for pattern in patterns}:
        for name in _listed(folder / place):
            below = _listed(folder / place / name) if (folder / place / name).is_dir() else []
            found |= {(place / one).as_posix() for one in (name, *(f"{name}/{other}" for other in below))}
    return tuple(
        sorted(
            (
                name
                for name in found
                if name.lower().endswith(".csv")
                and not Path(name).name.startswith(".")
                and (folder / name).is_file()
                and _path(folder, name) not in used
            ),
            key=_natural,
        )
    )


def _files(pattern: str, folder: Path) -> list[str]:
    """Files of a pattern as a campaign would name them, whatever their case, test 2 before test 10."""
    place = Path(pattern).parent
    if re.search(r"[*?]", str(place)):  # a search through all folders may last for hours
        message = f'test.curves: "{pattern}" has a * in its folder; name the folder, as "along/*.csv"'
        raise InputError(message)
    wanted = re.compile(fnmatch.translate(Path(pattern).name), re.IGNORECASE)
    hidden = Path(pattern).name.startswith(".")
    names = [
        (place / name).as_posix()
        for name in _listed(folder / place)
        if wanted.match(name) and (hidden or not name.startswith(".")) and (folder / place / name).is_file()
    ]
    if not names:
        message = f'test.curves: no file is "{pattern}"; give the CSV files of the curves, as "along/*.csv"'
        raise InputError(message)
    if len(names) > MOST:
        message = f'test.curves: {len(names)} files are "{pattern}"; {MOST} at most, is it the right folder?'
        raise InputError(message)
    return sorted(names, key=_natural)


def _listed(folder: Path) -> list[str]:
    """Names in a folder; none where it cannot be read."""
    try:
        return os.listdir(folder)
    except (OSError, ValueError):  # such as a null byte
        return []


def _natural(name: str) -> list[tuple[int, str]]:
    parts = re.split(r"(\d+)", name.lower())
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]


def _path(folder: Path, name: str) -> Path:
    return Path((folder / name).absolute()).resolve()
