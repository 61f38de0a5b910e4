"""What all tables of the project file share."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

StrengthKind = Literal["allowable", "nominal", "characteristic", "design"]


class Table(BaseModel):
    """Base of all tables: unknown fields are refused, bare numbers are not turned into text."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False, defer_build=True)
