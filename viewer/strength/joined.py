"""Results of other directions for one clamp.toml: read again, and held to the same specimens."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field, ValidationError

from fea.strength_tests.results import CampaignResult
from roofmodel.errors import InputError
from roofmodel.project.record_prints import NEARLY, is_same_record
from roofmodel.project.validation import read_text
from viewer.strength.export import campaign_data

Array = NDArray[np.float64]

SAME = ("clamp", "seam", "seam_height", "metal", "thickness", "yield_strength", "substrate", "screw_torque")
LISTED = 3  # strengths of two directions that do not agree pairwise by chance (judgment)
ALIKE = 5e-4  # share within which they agree: a copy with rounded digits (judgment)

Number = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


class _Specimen(BaseModel):
    clamp: str
    direction: Literal["along", "across", "pull", "push"]
    seam: str
    seam_height: Number
    metal: str
    thickness: Number
    yield_strength: Number | None
    substrate: str
    screw_torque: Number
    load_height: Share | None


class _Input(BaseModel):
    file: str
    sha256: str


class _Method(BaseModel):
    take: Literal["peak", "slip", "proof"]
    offset: Number
    partial_factor: Number
    conversion: Number
    known_scatter: Share | None


class _Record(BaseModel):
    file: str
    near_peak_at: float
    force: list[float]


class _Curve(BaseModel):
    peak: Number


class _Test(BaseModel):
    name: str
    strength: Number
    at_nominal: Number
    counts: bool
    excluded: str
    failure: str
    record: _Record | None
    curve: _Curve | None


class _Justified(BaseModel):
    count: Annotated[int, Field(ge=1)]
    mean: Number
    scatter: Share
    characteristic: Share
    design: Share
    design_direct: Share
    asd: Share | None
    lrfd: Share | None


class _Factored(BaseModel):
    median: list[Number | None]
    low: list[Number | None]


class _More(BaseModel):
    added: list[int]
    median: list[Number | None]
    low: list[Number | None]
    factored: _Factored
    relied_on: bool


class _Mean(BaseModel):
    value: Number | None


class _Rig(BaseModel):
    fits: bool
    stiffness: _Mean
    between: tuple[Number | None, Number | None]


class _Results(BaseModel):
    """What is taken from a tests.json; the rest of it is left alone."""

    format: Literal["eavewright tests"]
    share: Number
    campaign: str
    report: str
    input: _Input
    specimen: _Specimen
    method: _Method
    justified: _Justified
    more_tests: _More
    tests: list[_Test]
    rig: _Rig | None
    doubts: list[str]
    notes: list[str]


def load_joined(paths: Sequence[Path], found: CampaignResult) -> list[dict[str, Any]]:
    """Results of campaigns in other directions, as `tests` wrote them, in the order of their directions.

    Raises
    ------
    InputError
        A file that is none, a direction twice, or another clamp, seam or sheet.
    """
    own = campaign_data(found)
    seen, joined = {own["specimen"]["direction"]}, []
    told: list[tuple[str, dict[str, Any]]] = [(found.campaign.path.name, own)]
    for path in paths:
        name = f"--join {path.parent.name}/{path.name}" if path.parent.name else f"--join {path.name}"
        try:
            data = _Results.model_validate_json(
                read_text(path, "tests.json of another direction")
            ).model_dump()
        except ValidationError as error:
            first = error.errors()[0]
            if first["type"] == "missing" and first["loc"][-1] in ("record", "near_peak_at"):
                message = (
                    f"{name}: an older version wrote it, without what tells its records apart: whether they "
                    f"are those of {found.campaign.path.name} cannot be compared; run that campaign again"
                )
                raise InputError(message) from None
            where = ".".join(map(str, first["loc"])) or "the file"
            message = (
                f"{name}: {where} is not that of a tests.json of this version; give the tests.json of "
                "another direction, written by `eavewright tests`"
            )
            raise InputError(message) from None
        if data["doubts"]:
            message = (
                f"{name}: doubts: {'; '.join(data['doubts'])}; correct that campaign and run it again first"
            )
            raise InputError(message)
        direction = data["specimen"]["direction"]
        if direction in seen:
            message = f'{name}: specimen.direction "{direction}" is there twice; give one file for each'
            raise InputError(message)
        for field in SAME:
            here, there = own["specimen"][field], data["specimen"][field]
            if field == "yield_strength" and (here is None or there is None):
                continue  # the one without has a note that its strengths are not corrected
            alike = math.isclose(here, there, rel_tol=1e-6) if isinstance(here, float) else here == there
            if not alike:
                message = (
                    f"{name}: specimen.{field} is {_word(there)}, but {_word(here)} in "
                    f"{found.campaign.path.name}; strengths of one [clamp] need the same specimens"
                )
                raise InputError(message)
        for other, there in told:
            _check_records(name, data, other, there)
        told.append((name, data))
        seen.add(direction)
        joined.append(data)
    return joined


def _check_records(name: str, data: dict[str, Any], other: str, there: dict[str, Any]) -> None:
    """Refuse one record, or one list of strengths, given for two directions."""
    ways = [one["specimen"]["direction"] for one in (data, there)]
    end = f"no test is one of two directions; give each direction its own, {ways[0]} too"
    for test in data["tests"]:
        for twin in there["tests"]:
            mine, its = test["record"], twin["record"]
            if mine is None or its is None or not is_same_record(mine, its, NEARLY):
                continue
            places = [
                f'test "{row["name"]}" ({row["record"]["file"]} of {one["input"]["file"]}, {way})'
                for row, one, way in zip((test, twin), (data, there), ways, strict=True)
            ]
            message = f"{name}: {places[0]} is the record of {places[1]}; {end}"
            raise InputError(message)
    most = max(_alike(data, there), _alike(there, data))
    if most >= LISTED:
        message = (
            f"{name}: {most} strengths of {data['input']['file']} ({ways[0]}) are those of "
            f"{there['input']['file']} ({ways[1]}); {end}, with its curves or all digits of its strengths"
        )
        raise InputError(message)


def _alike(one: dict[str, Any], other: dict[str, Any]) -> int:
    """How many tests of one direction that have no curve agree each with a test of the other."""
    bare = [test for test in one["tests"] if test["record"] is None]
    return max(
        _pairs(mine, theirs)
        for mine in _forces(bare, one["share"])
        for theirs in _forces(other["tests"], other["share"])
    )


def _forces(tests: list[dict[str, Any]], share: float) -> Array:
    """What may have been written down of tests: strength or peak, of one clamp or on the rig, (4, n). [N]."""
    of_clamp = [test["strength"] for test in tests]
    peaks = [test["strength"] / share if test["curve"] is None else test["curve"]["peak"] for test in tests]
    strengths, on_rig = np.array(of_clamp, dtype=float), np.array(peaks, dtype=float)
    return np.array([strengths, strengths / share, on_rig, share * on_rig])


def _pairs(some: Array, others: Array) -> int:
    """How many of some values have a partner of their own among others."""
    left, count = sorted(others.tolist()), 0
    for value in sorted(some.tolist()):
        partner = next((one for one in left if abs(one - value) <= ALIKE * value), None)
        if partner is not None:
            left.remove(partner)
            count += 1
    return count


def _word(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else f'"{value}"'
