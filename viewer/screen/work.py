"""What a worker does: a batch of buildings, each by itself; imported in every process."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

from roofmodel.errors import InputError
from roofmodel.screening import ScreenRules, screen_building
from roofmodel.shape.tile import TileBuilding

LONGEST = 300  # characters of a reason


def screen_batch(batch: Sequence[TileBuilding], rules: ScreenRules) -> list[dict[str, Any]]:
    """Results of some buildings; what is wrong with one stays with it."""
    return [screen_one(one, rules) for one in batch]


def screen_one(one: TileBuilding, rules: ScreenRules) -> dict[str, Any]:
    """Result of one building: what `screen_building` gives, or why it cannot be screened."""
    head = {"number": one.number, "id": one.name}
    if one.building is None:
        return failed(one, one.reason)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return {**head, "status": "screened", "reason": None, **screen_building(one.building, rules)}
    except InputError as error:
        return failed(one, str(error))
    except Exception as error:  # a defect met by one building must not stop the others
        return failed(one, f"internal error: {type(error).__name__}: {error}")


def failed(one: TileBuilding, reason: str) -> dict[str, Any]:
    """Entry of a building that could not be screened, with one line why."""
    line = "".join(c if c.isprintable() else "?" for c in " ".join(reason.split())).rstrip(".")
    return {"number": one.number, "id": one.name, "status": "failed", "reason": line[:LONGEST]}
