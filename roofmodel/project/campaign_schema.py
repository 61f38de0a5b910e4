"""The file of a test campaign: load tests of one clamp in one direction on one panel."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import Force, Line, Moment, SeamHeight, Sheet, Size, Size0, Stress, Words
from roofmodel.project.rigs import RigTable

Direction = Literal["along", "across", "pull", "push"]


class Campaign(Table):
    """What was tested, where, and how it is to be read."""

    name: Line = Field(min_length=1, max_length=120, description="Title.")
    units: Literal["SI", "US"] = Field("SI", description="Unit system of everything that is printed.")
    report: Line = Field("", max_length=200, description="Laboratory, report number and date.")


class Specimen(Table):
    """What the strength is valid for; it goes wherever the strength goes."""

    clamp: Line = Field(min_length=1, max_length=80, description="The clamp, as its maker calls it.")
    direction: Direction = Field(description="Direction of the load, of the seam.")
    seam: Line = Field(min_length=1, max_length=80, description='Seam, such as "double lock".')
    seam_height: SeamHeight = Field(description="Height of the seam over the pan.")
    metal: Literal["steel", "aluminum", "stainless steel", "copper", "zinc"] = Field(
        description="Of the sheet."
    )
    thickness: Sheet = Field(description="Nominal thickness of the sheet.")
    yield_strength: Stress | None = Field(None, description="Nominal yield strength of the sheet.")
    measured_thickness: Sheet | None = Field(
        None, description="Measured thickness of all specimens from one coil, where a test gives none itself."
    )
    measured_yield_strength: Stress | None = Field(
        None, description="Measured yield strength of that coil, where a test gives none itself."
    )
    substrate: Line = Field(min_length=1, max_length=80, description="What the panel lay on in the test.")
    screw_torque: Moment = Field(description="Tightening of the clamp's screws.")
    load_height: Size0 | None = Field(
        None,
        description="Height of the load above the grip, for tests along: the clamp has then held the load's "
        "moment too. Without it the load counts as at the grip, which is safe and costs much.",
    )


class Method(Table):
    """How strengths are read from the tests and what becomes of them."""

    take: Literal["peak", "slip", "proof"] = Field(
        "peak", description="Force that counts: peak, first slip, or proof load at the offset."
    )
    offset: Size = Field(0.5e-3, description="Permanent displacement at the proof load.")
    distribution: Literal["lognormal", "normal"] = Field(
        "lognormal", description="Of the strengths; lognormal has no negative strengths."
    )
    known_scatter: float | None = Field(
        None, gt=0.0, le=0.5, description="Coefficient of variation known from before, with scatter_reason."
    )
    scatter_reason: Words = Field("", description="Where the known scatter comes from; printed.")
    partial_factor: float = Field(
        1.25, ge=1.0, le=5.0, description="gamma_M on the characteristic strength; national choice."
    )
    conversion: float = Field(
        1.0, gt=0.0, le=1.0, description="eta_d, for duration, temperature, wear; 1 for none."
    )
    safety_factor: float | None = Field(
        None,
        ge=1.0,
        le=10.0,
        description="Asked of the mean strength, as a plain rule beside the statistics.",
    )
    reliability_index: float = Field(
        3.5, ge=1.5, le=5.0, description="beta_0 of AISI S100 K2: 3.5 for connections, 2.5 for members."
    )
    connection: Literal["not listed", "screws"] = Field(
        "not listed",
        description="Row of AISI S100 Table K2.1.1-1; screws only where screws failed in shear or pull.",
    )
    thickness_power: float = Field(
        2.0,
        ge=0.0,
        le=3.0,
        description="Thicker specimens are brought down by this power (EN 1993-1-3 A.6.2: 2).",
    )
    strength_power: float = Field(
        1.0, ge=0.0, le=3.0, description="And with this power of the sheet's yield strength."
    )

    format: Literal["EN", "ASD", "LRFD"] = Field(
        "EN",
        description="Design format whose strengths clamp.toml holds; those of the others stand there as "
        "comments.",
    )

    heads_checked: Words = Field(
        "",
        description="Where heads of curves are in other units than seam and sheet: who held them against the "
        "load cell, and how; without it no clamp.toml is written.",
    )

    @model_validator(mode="after")
    def _known(self) -> Method:
        if self.known_scatter is not None and not self.scatter_reason.strip():
            msg = "known_scatter needs scatter_reason, the earlier tests it comes from"
            raise ValueError(msg)
        return self


LETTERS = {"name": 40, "failure": 80, "excluded": 200}  # of a test's words at most, in a CSV file too


class TestTable(Table):
    """One test."""

    __test__ = False

    name: Line = Field("", max_length=LETTERS["name"], description="Mark of the specimen.")
    strength: Force | None = Field(None, description="Force at failure, or")
    curve: str | None = Field(
        None, description='CSV file with the heads "displacement [mm]" and "force [kN]", beside the campaign.'
    )
    curves: str | None = Field(
        None,
        description='In place of both, for many tests at once: files such as "along/*.csv", each a test '
        "named by its file, for which all else here holds. What differs for one goes into a table of its own "
        "with its name.",
    )
    thickness: Sheet | None = Field(None, description="Measured thickness of this specimen's sheet.")
    yield_strength: Stress | None = Field(None, description="Measured yield strength of its sheet.")
    calculated: Force | None = Field(
        None, description="Strength of this specimen by calculation, for the model factor."
    )
    failure: Line = Field(
        "",
        max_length=LETTERS["failure"],
        description='How it failed, in the same words for the same way: "slid on the seam".',
    )
    excluded: Line = Field(
        "",
        max_length=LETTERS["excluded"],
        description="Why this test does not count; it stays in every table.",
    )

    @field_validator("excluded")
    @classmethod
    def _reasoned(cls, value: str) -> str:
        if not value.strip():
            msg = "gives no reason; write why the test does not count, or leave it out and the test counts"
            raise ValueError(msg)
        return value

    @model_validator(mode="after")
    def _read(self) -> TestTable:
        if self.curves is not None:
            if self.name or self.strength is not None or self.curve is not None:
                msg = "curves names many tests by their files; give it no name, strength or curve"
                raise ValueError(msg)
            return self
        if not self.name.strip():
            msg = 'give name, the mark of the specimen, or curves, such as "along/*.csv", for many at once'
            raise ValueError(msg)
        if self.strength is not None and self.curve is not None:
            msg = 'give either strength, such as "5.2 kN", or curve, a CSV file'
            raise ValueError(msg)
        return self


class CampaignFile(Table):
    """A whole campaign."""

    campaign: Campaign
    specimen: Specimen
    method: Method = Field(default_factory=Method)
    rig: RigTable | None = Field(
        None, description="How curves were measured: fits stiffness and slip of the clamp to them."
    )
    file: str | None = Field(
        None,
        description="CSV file in place of test tables: heads test and strength [kN]; thickness [mm], "
        "yield_strength [MPa], calculated [kN], failure and excluded where wanted.",
    )
    test: list[TestTable] = Field(default_factory=list)

    @model_validator(mode="after")
    def _tests(self) -> CampaignFile:
        if (self.file is None) == (not self.test):
            msg = "give either [[test]] tables or file, a CSV file with columns test and strength"
            raise ValueError(msg)
        if all(test.curves is None for test in self.test):
            bare = next((t.name for t in self.test if t.strength is None and t.curve is None), None)
            if bare is not None:
                msg = f'test "{bare}": give either strength, such as "5.2 kN", or curve, a CSV file'
                raise ValueError(msg)
        names = [test.name for test in self.test if test.curves is None]
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice is not None:
            msg = f'test.name: "{twice}" is used twice; every test needs its own name'
            raise ValueError(msg)
        return self
