"""The table [uncertainty] of the project file: what is not known for certain, and how it scatters."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import Force, Line, Moment, Size0, Step

Uncertain = Literal["depth", "density", "drift", "friction", "bond"]
Finite = Annotated[float, Field(ge=-1e3, le=1e3)]


class Distribution(Table):
    """One uncertain input."""

    shape: Literal["normal", "lognormal", "gumbel", "weibull", "uniform"] = Field(
        description="Family; gumbel for yearly largest values, weibull for smallest ones."
    )
    mean: Finite | None = Field(None, description="Mean; not for uniform.")
    deviation: Finite | None = Field(None, description="Standard deviation; not for uniform.")
    low: Finite | None = Field(None, description="Lower bound of uniform.")
    high: Finite | None = Field(None, description="Upper bound of uniform.")

    @model_validator(mode="after")
    def _whole(self) -> Distribution:
        moments, bounds = (self.mean, self.deviation), (self.low, self.high)
        if self.shape == "uniform":
            if None in bounds or moments != (None, None):
                msg = "a uniform distribution takes low and high, and nothing else"
                raise ValueError(msg)
            if not bounds[0] < bounds[1]:  # type: ignore[operator]
                msg = f"low = {self.low:g} must be below high = {self.high:g}"
                raise ValueError(msg)
            return self
        if None in moments or bounds != (None, None):
            msg = f"a {self.shape} distribution takes mean and deviation, and nothing else"
            raise ValueError(msg)
        if not self.deviation > 0.0:  # type: ignore[operator]
            msg = f"deviation = {self.deviation:g} must be greater than zero"
            raise ValueError(msg)
        if self.shape in ("lognormal", "weibull") and not self.mean > 0.0:  # type: ignore[operator]
            msg = f"mean = {self.mean:g} must be greater than zero for {self.shape}"
            raise ValueError(msg)
        return self


class Correlated(Table):
    """Two uncertain inputs that go together."""

    of: list[Uncertain] = Field(
        min_length=2, max_length=2, description='Both names, such as ["depth", "density"].'
    )
    value: float = Field(gt=-1.0, lt=1.0, description="Correlation of the normal numbers behind them.")


class StrengthScatter(Table):
    """How a clamp's strength along the seam scatters about what the project gives."""

    tests: Line | None = Field(
        None,
        description="File of a test campaign along the seam, beside the project: mean and scatter of it.",
    )
    mean: float | None = Field(
        None, gt=0.1, le=5.0, description="Mean strength over clamp.strength.along; 1 by default."
    )
    scatter: float | None = Field(
        None, ge=0.0, le=1.0, description="Coefficient of variation from clamp to clamp, lognormal."
    )
    together: float = Field(
        0.0, ge=0.0, le=1.0, description="Correlation of two clamps' strengths, such as by one batch."
    )

    @model_validator(mode="after")
    def _one_source(self) -> StrengthScatter:
        if self.tests is not None and (self.mean is not None or self.scatter is not None):
            msg = "give either tests or mean and scatter, not both"
            raise ValueError(msg)
        if self.tests is None and self.scatter is None:
            msg = "give tests, the file of a campaign, or scatter, such as 0.12"
            raise ValueError(msg)
        return self


class AttachmentLaw(Table):
    """What some clamps do once their strength is reached; those not named follow clamp.slip_residual."""

    clamps: Line = Field(
        min_length=1, description='Names, such as "low-03..low-09", "low-03, low-07" or "row low".'
    )
    kind: Literal["brittle", "slip", "ductile"] = Field(
        description="brittle comes off; slip holds a residual from then on; ductile goes on holding it all."
    )
    residual: float | None = Field(
        None, gt=0.0, lt=1.0, description="Share of its strength that a slipping clamp still holds."
    )
    unzip: float | None = Field(
        None,
        ge=0.0,
        lt=1.0,
        description="Strength that other clamps of its seam lose when a brittle one breaks, as a share.",
    )
    reason: Line = Field("", max_length=300, description="Where the law comes from; printed.")

    @model_validator(mode="after")
    def _fits(self) -> AttachmentLaw:
        if self.kind == "slip" and self.residual is None:
            msg = 'kind = "slip" needs residual, the share it still holds, such as 0.6'
            raise ValueError(msg)
        if self.kind != "slip" and self.residual is not None:
            msg = f'residual belongs to kind = "slip"; leave it out for "{self.kind}"'
            raise ValueError(msg)
        if self.kind != "brittle" and self.unzip is not None:
            msg = f'unzip belongs to kind = "brittle": a clamp that is "{self.kind}" stays on its seam'
            raise ValueError(msg)
        return self


class SpliceLaw(Table):
    """What a splice of the rails holds in the mean, and what it does past that; without it none parts."""

    shear: Force | None = Field(
        None,
        description="Across the rail, down the slope and off the roof each; no limit without.",
    )
    pull: Force | None = Field(None, description="Along the rail; no limit without.")
    moment: Moment | None = Field(
        None, description="About each axis of the rail; only continuous splices pass it on. No limit without."
    )
    scatter: float = Field(0.1, ge=0.0, le=1.0, description="Coefficient of variation, lognormal.")
    kind: Literal["brittle", "hinge", "slip", "ductile"] = Field(
        "brittle",
        description="brittle parts, so that the rail becomes two; hinge loses its moment first and parts by "
        "a force; slip holds a residual from then on; ductile goes on holding it all.",
    )
    residual: float | None = Field(
        None, gt=0.0, lt=1.0, description="Share of its strength that a slipping splice still holds."
    )
    reason: Line = Field("", max_length=300, description="Where strength and law come from; printed.")

    @model_validator(mode="after")
    def _fits(self) -> SpliceLaw:
        if (self.shear, self.pull, self.moment) == (None, None, None):
            msg = 'give shear, pull or moment, what a splice holds, such as shear = "6 kN"'
            raise ValueError(msg)
        if self.kind == "hinge" and self.moment is None:
            msg = 'kind = "hinge" needs moment, at which the splice opens'
            raise ValueError(msg)
        if self.kind == "slip" and self.residual is None:
            msg = 'kind = "slip" needs residual, the share it still holds, such as 0.6'
            raise ValueError(msg)
        if self.kind != "slip" and self.residual is not None:
            msg = f'residual belongs to kind = "slip"; leave it out for "{self.kind}"'
            raise ValueError(msg)
        return self


class ThawTable(Table):
    """How the bond goes in the course in which the snow lies still and its bond falls."""

    snow: float = Field(1.0, gt=0.0, le=10.0, description="Snow that lies there, over that of the case.")
    planes: list[Line] = Field(
        default_factory=list,
        description='Planes whose bond goes one after another, such as ["S1", "N1"], the others last; all at '
        "once by default.",
    )
    thaw_from: Literal["eave", "ridge", "left", "right"] | None = Field(
        None,
        description="Where a front begins that moves over each of them, looking up the slope; the bond of a "
        "plane falls evenly by default.",
    )
    thaw_steps: int = Field(6, ge=2, le=20, description="Strips in which the front moves over a plane.")


class UncertaintyTable(Table):
    """For `eavewright risk`: snow, bond and clamps as distributions."""

    samples: int = Field(20_000, ge=1000, le=1_000_000, description="Samples, or of each level of subset.")
    seed: int = Field(1, ge=0, le=2**32 - 1, description="The same seed gives the same digits.")
    method: Literal["monte carlo", "latin hypercube", "subset"] = Field(
        "monte carlo", description="How samples are drawn; subset for chances below 1 in 1,000."
    )
    case: Line | None = Field(
        None, description="The one snow case to sample; all that may be the worst for a row by default."
    )
    depth: Distribution | None = Field(None, description="Depth over that of the case.")
    density: Distribution | None = Field(None, description="Density over that of the case.")
    drift: Distribution | None = Field(None, description="Drift over that of the case.")
    friction: Distribution | None = Field(None, description="Friction coefficient between snow and sheet.")
    bond: Distribution | None = Field(
        None, description="Share of the pull down the slope that the snow's bond still holds, 0 to 1."
    )
    correlation: list[Correlated] = Field(default_factory=list)
    strength: StrengthScatter | None = None
    missing: float = Field(0.0, ge=0.0, le=1.0, description="Chance that a clamp is not there.")
    loose: float = Field(0.0, ge=0.0, le=1.0, description="Chance that a clamp is loose.")
    loose_strength: float = Field(0.5, gt=0.0, le=1.0, description="Strength of a loose clamp, as a share.")
    spacing_error: Size0 = Field(0.0, description="Standard deviation of a clamp's place along the rail.")
    release: float = Field(
        2.0,
        ge=1.0,
        le=2.0,
        description="Swing of the neighbors when a clamp lets go: 2 for a sudden loss, 1 for a slow one.",
    )
    impact: float | None = Field(
        None,
        ge=0.0,
        le=50.0,
        description="Force of snow that runs onto a lower row, over its force at rest; by default from how "
        "far it runs and `stopping`, at least 2.",
    )
    stopping: Step = Field(
        1.0,
        description="Distance over which snow stops that runs onto a lower row: how far it and the snow at "
        "the row pack and ride up, about two depths of snow. No source: 1 m by default (judgment); half of "
        "it pushes nearly twice as hard.",
    )
    stopping_reason: Line = Field("", max_length=300, description="Why this distance; printed.")
    release_reason: Line = Field("", max_length=300, description="Why this release factor; printed.")
    impact_reason: Line = Field("", max_length=300, description="Why this impact factor; printed.")
    unzip: float = Field(
        0.0,
        ge=0.0,
        lt=1.0,
        description="Strength that clamps of a seam lose when one on it breaks, as a share.",
    )
    law: list[AttachmentLaw] = Field(default_factory=list)
    splice: SpliceLaw | None = None
    thaw: ThawTable = Field(default_factory=ThawTable)

    @model_validator(mode="after")
    def _ranges(self) -> UncertaintyTable:
        for name, most in (
            ("depth", 10.0),
            ("density", 5.0),
            ("drift", 10.0),
            ("friction", 1.0),
            ("bond", 1.0),
        ):
            one: Distribution | None = getattr(self, name)
            if one is None:
                continue
            ends = (one.low, one.high) if one.shape == "uniform" else (one.mean, one.mean)
            least = 0.0 if name in ("friction", "bond") or one.shape == "uniform" else 1e-6
            if not all(end is not None and least <= end <= most for end in ends):
                what = "low and high" if one.shape == "uniform" else "mean"
                msg = f"{name}: {what} must be from 0 to {most:g}"
                raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _pairs(self) -> UncertaintyTable:
        named = [frozenset(pair.of) for pair in self.correlation]
        twice = next((one for one in named if named.count(one) > 1), None)
        if twice is not None:
            msg = f"correlation of {' and '.join(sorted(twice))} is there twice; keep one"
            raise ValueError(msg)
        for pair in self.correlation:
            a, b = pair.of
            absent = next((name for name in (a, b) if getattr(self, name) is None), None)
            if absent is not None:
                msg = f'correlation of "{a}" and "{b}": uncertainty.{absent} is missing'
                raise ValueError(msg)
            if a == b:
                msg = f'correlation: "{a}" is named twice; name two inputs'
                raise ValueError(msg)
        return self
