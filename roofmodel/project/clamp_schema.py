"""The table [clamp] of the project file: stiffness and strength by direction, and what was tested."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from roofmodel.project.base import StrengthKind, Table
from roofmodel.project.field_types import (
    Force,
    Grip,
    Holding,
    Line,
    Moment,
    OverSeam,
    Rotational,
    SeamHeight,
    Sheet,
    Stiffness,
    Turning,
    Words,
)
from roofmodel.project.screw_schema import ScrewsTable


class StiffnessTable(Table):
    """Clamp stiffness at the grip, by direction of the seam."""

    along: Stiffness = Field(
        description="Along the seam, as measured at the height of the load (test_height), tipping and all."
    )
    across: Stiffness = Field(description="Level, across the seam.")
    pull: Stiffness = Field(description="Square to the roof.")
    rocking: Rotational | None = Field(
        None,
        description="Against tipping down the slope; by default the larger of pull x grip_length^2 / 12 and "
        "along x test_height^2, below which it cannot lie. A stiffer clamp keeps more moment: where it is "
        "not given, or lies below that, `span` takes the worse of it and no tipping, and `check` does not "
        "pass where clamps that do not tip would exceed.",
    )
    roll: Rotational | None = Field(None, description="Against tipping across the seam; none by default.")
    twist: Rotational | None = Field(None, description="Against turning flat on the roof; none by default.")


class StrengthTable(Table):
    """Clamp strength by direction, from tests on this seam."""

    along: Holding | None = Field(None, description="Along the seam.")
    across: Holding | None = Field(None, description="Level, across the seam.")
    pull: Holding | None = Field(None, description="Away from the roof.")
    push: Holding | None = Field(None, description="Toward the roof.")
    roll: Turning | None = Field(
        None, description="Moment about the seam, wanted where stiffness.roll is given."
    )
    twist: Turning | None = Field(
        None, description="Moment about the axis square to the roof, wanted where stiffness.twist is given."
    )


class SharesTable(Table):
    """Strengths over today's, by direction."""

    along: float | None = Field(None, gt=0.0, le=10.0, description="Along the seam.")
    across: float | None = Field(None, gt=0.0, le=10.0, description="Level, across the seam.")
    pull: float | None = Field(None, gt=0.0, le=10.0, description="Away from the roof.")
    push: float | None = Field(None, gt=0.0, le=10.0, description="Toward the roof.")


class ThreeMoreTable(Table):
    """Strengths over today's after three more tests of each direction; `eavewright tests` writes it."""

    en: SharesTable = Field(
        default_factory=SharesTable,
        description="Characteristic strengths by EN 1990 annex D, for format EN: median of what may come.",
    )
    en_low: SharesTable = Field(
        default_factory=SharesTable, description="The same, below which one campaign in ten ends."
    )
    asd_lrfd: SharesTable = Field(
        default_factory=SharesTable,
        description="Strengths by AISI S100 K2, for formats ASD and LRFD; the median of what may come.",
    )
    asd_lrfd_low: SharesTable = Field(
        default_factory=SharesTable, description="The same, below which one campaign in ten ends."
    )


class SeriesTable(Table):
    """The tests of one direction behind a strength; `eavewright tests` writes it."""

    direction: Literal["along", "across", "pull", "push", "roll", "twist"] = Field(
        description="Direction that was tested."
    )
    tests: int = Field(ge=1, description="Number of tests that count.")
    mean: Force | None = Field(None, description="Mean of their strengths.")
    scatter: float | None = Field(None, ge=0.0, le=2.0, description="Scatter that was taken.")
    take: Line = Field(
        "", max_length=120, description='What counts of each test, such as "proof load at 0.5 mm".'
    )
    as_measured: Force | None = Field(
        None, description="Mean as measured, before it was brought down to nominal sheet and metal."
    )
    to_nominal: list[float] = Field(
        default_factory=list,
        max_length=2,
        description="Least and most factor by which strengths were brought down to nominal sheet and metal.",
    )
    largest: list[Force] = Field(
        default_factory=list,
        max_length=2,
        description="Least and most of the largest forces on the load cell.",
    )
    stiffness: list[Stiffness] = Field(
        default_factory=list,
        max_length=2,
        description="Stiffness that their curves gave, or its two ends; another clamp.stiffness is told.",
    )
    known_scatter: bool = Field(
        False, description="Whether the scatter was known from before, so that the fractile is higher."
    )
    characteristic: Force | None = Field(
        None, description="Characteristic strength that they give (format EN); none above it counts."
    )
    design: Force | None = Field(
        None, description="Design strength that they give in format EN, the larger of EN 1990 D7.2 and D7.3."
    )
    asd: Force | None = Field(None, description="Allowable strength that they give in format ASD.")
    lrfd: Force | None = Field(None, description="Design strength that they give in format LRFD.")
    failures: list[Line] = Field(default_factory=list, max_length=20, description="How they failed.")
    excluded: list[Line] = Field(
        default_factory=list, max_length=40, description="Tests that do not count, and why."
    )


class TestedTable(Table):
    """What the clamp's strengths were tested on; another panel is refused."""

    __test__ = False

    seam_height: SeamHeight = Field(description="Height of the seam over the pan in the tests.")
    metal: Literal["steel", "aluminum", "stainless steel", "copper", "zinc"] = Field(
        description="Of the sheet in the tests."
    )
    thickness: Sheet = Field(description="Nominal thickness of that sheet.")
    lock: Line = Field(
        "", description="How its seams were folded; compared with seam.lock where that is given."
    )
    substrate: Line = Field("", description="What the panel lay on in the tests.")
    screw_torque: Moment | None = Field(None, description="Tightening of the clamp's screws in the tests.")
    load_height: OverSeam | None = Field(
        None,
        description="Height of the load above the grip in the tests along the seam; another test_height "
        "of the clamp is refused.",
    )
    directions: list[Literal["along", "across", "pull", "push", "roll", "twist"]] = Field(
        min_length=1, description="Directions that were tested."
    )
    tests: int = Field(ge=1, description="Number of tests in the direction with the fewest.")
    notes: list[Line] = Field(
        default_factory=list,
        max_length=100,
        description="What the tests leave open, as `eavewright tests` found it; said wherever they count.",
    )
    series: list[SeriesTable] = Field(
        default_factory=list,
        description="The tests of each direction, for the data sheet; `eavewright tests` writes them.",
    )
    three_more: ThreeMoreTable | None = Field(
        None,
        description="What three more tests of each direction would make of the strengths; `span` says what "
        "its loads gain by them.",
    )

    @model_validator(mode="after")
    def _of_tested(self) -> TestedTable:
        for name, shares in self.three_more or ():
            untested = [one for one, value in shares if value is not None and one not in self.directions]
            if untested:
                msg = (
                    f"three_more.{name}.{untested[0]} is given, but directions does not name "
                    f'"{untested[0]}": more tests are those of a direction that was tested'
                )
                raise ValueError(msg)
        series = [one.direction for one in self.series]
        for one in series:
            if one not in self.directions or series.count(one) > 1:
                why = "is there twice" if series.count(one) > 1 else "is not in directions"
                msg = f'series: direction "{one}" {why}; give one for each of directions'
                raise ValueError(msg)
        return self


class ClampTable(Table):
    """Seam clamp."""

    height: OverSeam = Field(description="Height of the rail's axis above the grip on the seam.")
    grip_length: Grip = Field(description="Length of the grip along the seam.")
    stiffness: StiffnessTable = Field(description="Stiffness by direction.")
    strength: StrengthTable = Field(
        description="Strength by direction; a direction that is missing is not verified."
    )
    strength_kind: StrengthKind = Field(description="What the strengths are.")
    factor: float | None = Field(
        None, gt=0, le=10, description="ASD safety factor, LRFD resistance factor or EN partial factor."
    )
    grip_height: OverSeam | None = Field(
        None, description="Height of the grip above the pan; half the seam height by default."
    )
    test_height: OverSeam = Field(
        0.0,
        description="Height above the grip at which the along-seam strength was tested; at 0, the default, "
        "all that the rail's height does to tip the clamp counts as lift beyond the tests.",
    )
    interaction: Literal["linear", "circular", "separate"] = Field(
        "linear", description="How directions combine; linear addition unless tests show better."
    )
    test_basis: Words = Field(
        "", description="Tests behind the strengths: seam, sheet, torque, number, report."
    )
    screw_torque: Moment | None = Field(
        None, description="Tightening of its screws on this roof; compared with tested.screw_torque."
    )
    fastening: Literal["mechanical", "adhesive"] = Field(
        "mechanical", description="How it holds; adhesive alone needs long_term_test."
    )
    long_term_test: Words = Field(
        "",
        description="Strength of the bond under sustained load, heat, frost, sun and wet: report and years.",
    )
    tested: TestedTable | None = Field(None, description="What the strengths were tested on.")
    screws: ScrewsTable | None = Field(
        None, description="Screws of a bracket on an exposed-fastened panel; none on a seam."
    )
    slip_residual: float = Field(
        0.0,
        ge=0.0,
        le=1.0,
        description="Share of its strength along the seam that a clamp keeps once it slips, from tests; for "
        "analysis.beyond_first_failure.",
    )

    @model_validator(mode="after")
    def _lasting(self) -> ClampTable:
        if self.fastening == "adhesive" and not self.long_term_test.strip():
            msg = (
                'fastening = "adhesive" is refused: a bond to a paint film under sustained load, heat, '
                "frost, sun and wet does not last as long as a metal roof; give long_term_test, the tests "
                "that show it does"
            )
            raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _tested(self) -> ClampTable:
        if self.interaction != "linear" and not self.test_basis.strip():
            msg = f'interaction = "{self.interaction}" needs test_basis, the tests behind it; or use "linear"'
            raise ValueError(msg)
        return self
