"""One line of the verification page, and the check values that several problems share."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CHECKS = Path(__file__).parents[2] / "tests" / "data" / "fea_checks.json"


@dataclass(frozen=True)
class Finding:
    """A value found and the one it is held against.

    Attributes
    ----------
    problem, source, mesh : str
        `source` says where the reference stands, with "from memory" where the text was not at hand.
    unit : str
        As printed; empty for a ratio.
    value, reference : float
    bar : float
        Largest relative error that is no miss.
    """

    problem: str
    source: str
    mesh: str
    unit: str
    value: float
    reference: float
    bar: float

    @property
    def error(self) -> float:
        """Relative, with its sign."""
        return self.value / self.reference - 1.0

    @property
    def kept(self) -> bool:
        """Whether the error stays within the bar."""
        return abs(self.error) <= self.bar


def check_cases() -> dict[str, dict[str, Any]]:
    """Check values by name."""
    return {case["name"]: case for case in json.loads(CHECKS.read_text())["cases"]}
