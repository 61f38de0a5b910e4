from __future__ import annotations

import json
from pathlib import Path

import pytest

DATA = Path(__file__).parents[1] / "data" / "snow_checks.json"


@pytest.fixture(scope="session")
def check():
    """One check by its id: inputs, outputs, relative tolerance; the file names every source."""
    cases = {case["id"]: case for case in json.loads(DATA.read_text(encoding="utf-8"))["cases"]}

    def find(name):
        case = cases[name]
        return case["inputs"], case["outputs"], case["tol_rel"]

    return find
