"""From the file of a test campaign to its numbers, SI."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.csv_tables import read_table
from roofmodel.errors import InputError
from roofmodel.project.campaign_schema import LETTERS, CampaignFile, TestTable
from roofmodel.project.hardware_tables import check_yield
from roofmodel.project.record_prints import is_same_record, record_print
from roofmodel.project.rigs import Rig, make_rig
from roofmodel.project.test_patterns import spread
from roofmodel.project.tested import sheet_text
from roofmodel.project.validation import read_text, validated
from roofmodel.units import SYSTEMS, shown

Array = NDArray[np.float64]

# What a specimen's sheet may measure over its nominal value; beyond it is another sheet (judgment). [-]
ALIKE = {"thickness": (0.8, 1.25), "yield_strength": (0.7, 3.0)}
YIELD = ("yield_strength", "yield")  # heads of one column of a CSV file of tests


@dataclass(frozen=True)
class Campaign:
    """A campaign, read.

    Attributes
    ----------
    path : Path
    table : CampaignFile
    digest : str
        SHA-256 of the file and all that it names.
    tests : tuple of TestTable
    curves : tuple of ((n,) float, (n,) float) or None
        Displacement and force of each test that has a curve. [m, N]
    inputs : tuple of Path
    rig : Rig or None
    """

    path: Path
    table: CampaignFile
    digest: str
    tests: tuple[TestTable, ...]
    curves: tuple[tuple[Array, Array] | None, ...]
    inputs: tuple[Path, ...]
    rig: Rig | None = None


def load_campaign(path: str | Path) -> Campaign:
    """Read a campaign and its curves.

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = read_text(path, "the file of a test campaign")
    table = validated(text, path.name, CampaignFile, "write [campaign], [specimen] and a [[test]] for each")
    digest = hashlib.sha256(text.encode())
    inputs = [path]
    try:
        tests = spread(table.test, path.parent)
        if table.file is not None:
            inputs.append(path.parent / table.file)
            tests = _tests(path.parent / table.file, table.file, digest)
        tests = tuple(_of_coil(table, test) for test in tests)
        _alike(table, tests)
        curves: list[tuple[Array, Array] | None] = []
        for test in tests:
            if test.curve is None:
                curves.append(None)
                continue
            inputs.append(path.parent / test.curve)
            found = read_table(
                path.parent / test.curve,
                test.curve,
                (),
                {"displacement": "size", "force": "force"},
                digest=digest,
                what="a CSV file with displacement and force",
            )
            curves.append((found.number["displacement"], found.number["force"]))
        _differ(tests, curves)
        rig = _rig(table, path.parent, inputs, digest)
    except InputError as error:
        message = f"{path.name}: {error}"
        raise InputError(message) from None
    if rig is not None and not any(curve is not None for curve in curves):
        message = f"{path.name}: rig: there is no test with a curve to fit it to"
        raise InputError(message)
    return Campaign(path, table, digest.hexdigest(), tests, tuple(curves), tuple(inputs), rig)


def _of_coil(table: CampaignFile, test: TestTable) -> TestTable:
    """The test with what was measured once for all of them, where it says nothing itself."""
    once = {name: getattr(table.specimen, f"measured_{name}") for name in ALIKE}
    return test.model_copy(update={k: v for k, v in once.items() if getattr(test, k) is None})


def _alike(table: CampaignFile, tests: tuple[TestTable, ...]) -> None:
    """Refuse measured sheets that cannot be the specimen's: a slip of the unit or of the decimal point."""
    units, specimen = SYSTEMS[table.campaign.units], table.specimen
    if specimen.yield_strength is not None:
        check_yield("specimen.yield_strength", specimen.yield_strength, specimen.metal, units)
    for test in tests:
        for name, (least, most) in ALIKE.items():
            own, nominal = getattr(test, name), getattr(table.specimen, name)
            if own is None or nominal is None or least <= own / nominal <= most:
                continue
            texts = [
                sheet_text(one, units) if name == "thickness" else units.text(one, "stress")
                for one in (own, nominal)
            ]
            message = (
                f'test "{test.name}".{name}: {texts[0]} cannot be that of a sheet of {texts[1]} '
                f"(specimen.{name}): {least:g} to {most:g} times it; check both and their units"
            )
            raise InputError(message)


def _differ(tests: tuple[TestTable, ...], curves: list[tuple[Array, Array] | None]) -> None:
    """Refuse one record given for two tests: it would count twice."""
    prints = [None if curve is None else record_print(*curve) for curve in curves]
    for i, one in enumerate(prints):
        for j, other in enumerate(prints[:i]):
            if one is not None and other is not None and is_same_record(one, other):
                message = (
                    f'test "{tests[i].name}".curve: {tests[i].curve} is the record of test "{tests[j].name}" '
                    f"({tests[j].curve}) again; one record is one test, give each its own"
                )
                raise InputError(message)


def _rig(table: CampaignFile, folder: Path, inputs: list[Path], digest: Any) -> Rig | None:
    if table.rig is None:
        return None
    profile = None if table.rig.rail is None else table.rig.rail.profile
    if profile is not None and profile.file is not None:
        inputs.append(folder / profile.file)
    return make_rig(table.rig, table.specimen.direction, folder, digest)


def _tests(path: Path, name: str, digest: object) -> tuple[TestTable, ...]:
    found = read_table(
        path,
        name,
        ("test", "failure", "excluded"),
        {"strength": "force", "calculated": "force", "thickness": "size", **dict.fromkeys(YIELD, "stress")},
        frozenset({"excluded", "failure", "thickness", "calculated", *YIELD}),
        digest=digest,
        what="a CSV file of tests",
    )
    names = found.text["test"]
    for head, most in (("test", LETTERS["name"]), *LETTERS.items()):
        for line, words in zip(found.line, found.text.get(head, ()), strict=False):
            if len(words) > most:
                message = (
                    f"{name}, line {line}: {head}: {shown(words)} has {len(words)} letters; {most} at most"
                )
                raise InputError(message)
    bad = np.flatnonzero(~(found.number["strength"] > 0.0))
    if len(bad):
        message = f"{name}, line {found.line[bad[0]]}: strength: must be greater than zero"
        raise InputError(message)
    for i, test in enumerate(names):
        if test in names[:i]:
            message = f'{name}, line {found.line[i]}: test: "{test}" is there twice'
            raise InputError(message)

    def cell(head: str, i: int) -> float | None:
        value = found.number[head][i] if head in found.number else np.nan
        return None if np.isnan(value) else float(value)

    bare = ("",) * len(names)
    excluded, failure = (found.text.get(head, bare) for head in ("excluded", "failure"))
    return tuple(
        TestTable.model_construct(
            name=test,
            strength=float(found.number["strength"][i]),
            curve=None,
            thickness=cell("thickness", i),
            yield_strength=next((one for head in YIELD if (one := cell(head, i)) is not None), None),
            calculated=cell("calculated", i),
            failure=failure[i],
            excluded=excluded[i],
        )
        for i, test in enumerate(names)
    )
