"""The table [thaw] of the project file: an aid to judgment on when the bond of the snow can thaw."""

from __future__ import annotations

from datetime import date

from pydantic import Field, field_validator

from roofmodel.project.base import Table
from roofmodel.project.field_types import Angle, Line, RValue, Warmth
from roofmodel.snow.thaw import ThawAid

R_VALUE = 5.678263  # U in W/m^2 K for R = 1 h ft^2 F / Btu


class ThawTable(Table):
    """When sun and heat from below can thaw the bond: an aid to judgment, no code; for `eavewright snow`."""

    latitude: Angle = Field(description='Of the site, north positive; "46 deg".')
    date: Line = Field("02-01", description="Month and day.")
    reflected: float = Field(
        0.65, ge=0.0, lt=1.0, description="Share of the light thrown back: fresh snow 0.85, old snow 0.5."
    )
    extinction: float = Field(
        20.0, gt=0.0, le=200.0, description="Of light in the snow, 1/m: coarse old 10, fine fresh 40."
    )
    taken_up: float = Field(0.7, gt=0.0, le=1.0, description="Share of the light that the sheet takes up.")
    roof_r_value: RValue | None = Field(
        None, gt=0.0, le=200.0, description="Of the roof below the sheet, h ft^2 F/Btu; no heat without it."
    )
    inside_above_freezing: Warmth = Field(
        0.0, description='Temperature inside, over freezing; "20 K" or "36 delta_degF".'
    )

    @field_validator("date")
    @classmethod
    def _real(cls, text: str) -> str:
        try:
            date.fromisoformat(f"2001-{text}")
        except ValueError:
            msg = f'"{text[:20]}" is no month and day, like "02-01"'
            raise ValueError(msg) from None
        return text

    @property
    def aid(self) -> ThawAid:
        """The same for `roofmodel.snow.thaw`."""
        return ThawAid(
            latitude=self.latitude,
            day=date.fromisoformat(f"2001-{self.date}").timetuple().tm_yday,
            reflected=self.reflected,
            extinction=self.extinction,
            taken_up=self.taken_up,
            roof_conductance=0.0 if self.roof_r_value is None else R_VALUE / self.roof_r_value,
            inside=self.inside_above_freezing,
        )
