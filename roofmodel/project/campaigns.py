"""From the file of a test campaign to its numbers, SI."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.csv_tables import read_table
from roofmodel.errors import InputError
from roofmodel.project.campaign_schema import LETTERS, CampaignFile, TestTable
from roofmodel.project.hardware_tables import check_yield
from roofmodel.project.record_prints import (
    COPIED,
    is_same_record,
    noise_print,
    record_print,
    shared_noise,
)
from roofmodel.project.rigs import Rig, make_rig
from roofmodel.project.test_patterns import left_out, spread
from roofmodel.project.tested import sheet_text
from roofmodel.project.validation import modeled, read_text, read_toml
from roofmodel.units import SYSTEMS, factor, shown, split

Array = NDArray[np.float64]

# What a specimen's sheet may measure over its nominal value; beyond it is another sheet (judgment). [-]
ALIKE = {"thickness": (0.8, 1.25), "yield_strength": (0.7, 3.0)}
US_UNITS = (0.0254, 2.54e-5, 0.3048, 4.4482216152605, 4448.2216152605)  # in, mil, ft, lbf, kip
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
    heads : tuple of (str, str)
        Of each test, the units of displacement and force in the heads of its curve, or "" and that of its
        strength in a CSV file: "us", "metric" or "".
    sheet : str
        The units that seam height and thickness of the specimen are given in: "us", "metric", "" for both.
    left_out : tuple of str
        CSV files in the folders of patterns that belong to no test.
    """

    path: Path
    table: CampaignFile
    digest: str
    tests: tuple[TestTable, ...]
    curves: tuple[tuple[Array, Array] | None, ...]
    inputs: tuple[Path, ...]
    rig: Rig | None = None
    heads: tuple[tuple[str, str], ...] = ()
    sheet: str = ""
    left_out: tuple[str, ...] = ()


def load_campaign(path: str | Path) -> Campaign:
    """Read a campaign and its curves.

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = read_text(path, "the file of a test campaign")
    data = read_toml(text, path.name, "write [campaign], [specimen] and a [[test]] for each")
    table = modeled(data, path.name, CampaignFile)
    digest = hashlib.sha256(text.encode())
    inputs = [path]
    try:
        tests, unit = spread(table.test, path.parent), ""
        if table.file is not None:
            inputs.append(path.parent / table.file)
            tests, unit = _tests(path.parent / table.file, table.file, digest)
        tests = tuple(_of_coil(table, test) for test in tests)
        _alike(table, tests)
        curves: list[tuple[Array, Array] | None] = []
        heads: list[tuple[str, str]] = []
        for test in tests:
            if test.curve is None:
                curves.append(None)
                heads.append(("", unit))
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
            heads.append((_system(found.unit.get("displacement")), _system(found.unit.get("force"))))
        _differ(tests, curves)
        rig = _rig(table, path.parent, inputs, digest)
        odd = left_out(table.test, path.parent)
    except InputError as error:
        message = f"{path.name}: {error}"
        raise InputError(message) from None
    if rig is not None and not any(curve is not None for curve in curves):
        message = f"{path.name}: rig: there is no test with a curve to fit it to"
        raise InputError(message)
    sheet = _sheet_system(data["specimen"])
    inputs_, curves_ = tuple(inputs), tuple(curves)
    return Campaign(path, table, digest.hexdigest(), tests, curves_, inputs_, rig, tuple(heads), sheet, odd)


def _system(unit: float | None) -> str:
    """Whether a unit, by its SI value, is one of inches, feet and pounds; empty for none."""
    if unit is None:
        return ""
    return "us" if any(abs(unit / one - 1.0) < 1e-6 for one in US_UNITS) else "metric"


def _sheet_system(specimen: Mapping[str, Any]) -> str:
    """The units in which a specimen's seam and sheet are written, where both agree."""
    texts = [str(specimen[name]) for name in ("seam_height", "thickness")]
    found = {_system(factor(split(text, "size")[1], "size")) for text in texts}
    return found.pop() if len(found) == 1 else ""


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
    """Refuse one record given for two tests: it would count twice.

    Forces of the other sign have no way to a peak to compare; they are refused where they are read.
    """
    prints = [
        None if curve is None or float(curve[1].max()) < -float(curve[1].min()) else record_print(*curve)
        for curve in curves
    ]
    for i, one in enumerate(prints):
        for j, other in enumerate(prints[:i]):
            if one is not None and other is not None and is_same_record(one, other):
                message = (
                    f'test "{tests[i].name}".curve: {tests[i].curve} is the record of test "{tests[j].name}" '
                    f"({tests[j].curve}) again; one record is one test, give each its own"
                )
                raise InputError(message)
    noise = [
        None if curve is None or test.excluded.strip() else noise_print(curve[1])
        for test, curve in zip(tests, curves, strict=True)
    ]
    for i, own in enumerate(noise):
        for j, other_noise in enumerate(noise[:i]):
            if own is None or other_noise is None:
                continue
            alike = shared_noise(own, other_noise)
            if alike > COPIED:
                message = (
                    f'test "{tests[i].name}".curve: {tests[i].curve} has the noise of test "{tests[j].name}" '
                    f"({tests[j].curve}), correlation {alike:.2f}: a copy, scaled or shifted, as no two "
                    "tests share it; give each test its own record, or exclude one with a reason"
                )
                raise InputError(message)


def _rig(table: CampaignFile, folder: Path, inputs: list[Path], digest: Any) -> Rig | None:
    if table.rig is None:
        return None
    profile = None if table.rig.rail is None else table.rig.rail.profile
    if profile is not None and profile.file is not None:
        inputs.append(folder / profile.file)
    return make_rig(table.rig, table.specimen.direction, folder, digest)


def _tests(path: Path, name: str, digest: object) -> tuple[tuple[TestTable, ...], str]:
    """Tests of a CSV file, and the units of their strengths."""
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
    tests = tuple(
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
    return tests, _system(found.unit.get("strength"))
