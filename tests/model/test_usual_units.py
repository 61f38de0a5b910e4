"""The table of usual units against the registry of all, and what reading a project loads."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from roofmodel.units import EXAMPLES, SYSTEMS, factor, registry
from roofmodel.usual_units import USUAL, VALUE

ROOT = Path(__file__).parents[2]
PAIRS = [(kind, unit) for kind, units in USUAL.items() for unit in units]


@pytest.mark.parametrize(("kind", "unit"), PAIRS)
def test_a_usual_unit_is_that_of_the_registry(kind: str, unit: str) -> None:
    quantity = registry().Quantity(1.0, unit)
    assert USUAL[kind][unit] == pytest.approx(float(quantity.to_base_units().magnitude), rel=1e-15)
    assert VALUE[unit] == USUAL[kind][unit]
    if kind in EXAMPLES:
        assert quantity.check(EXAMPLES[kind][0])
        # Spelled otherwise, the registry is asked.
        assert factor(f" {unit}", kind) == pytest.approx(factor(unit, kind), rel=1e-15)


def test_a_usual_unit_of_something_else_is_refused() -> None:
    with pytest.raises(ValueError, match="is not a unit of length"):
        factor("kN", "length")
    with pytest.raises(ValueError, match="is a mass, not a force"):
        factor("kg/m^3", "unit_weight")


def test_units_that_people_read_need_no_registry() -> None:
    written = {unit for system in SYSTEMS.values() for unit, _, _ in system.units.values()}
    assert written - {""} <= set(VALUE)


def test_reading_a_built_roof_loads_neither_registry_nor_solver() -> None:
    code = (
        "import sys; from pathlib import Path; from viewer.app.session import open_state\n"
        "open_state(Path('models/cedar-hollow/project.toml'))\n"
        "print(sorted({'pint', 'scipy', 'fea'} & set(sys.modules)))\n"
    )
    told = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert told.stdout.strip() == "[]", told.stdout + told.stderr
