"""Messages and notes of a project in US units name no meters."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.units import SI, US

PROJECT = Path(__file__).parents[2] / "models" / "ridge-school" / "project.toml"
METERS = re.compile(r"\d mm?\b")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("the ridge is 3.048 m above the eaves.", "the ridge is 10.00 ft above the eaves."),
        ("3.048 x 6.096 m", "10.00 x 20.00 ft"),
        ("from 0.3048 m to -1.524 m", "from 1.00 ft to -5.00 ft"),
        ("outside 0.3048 to 3,048 m; write", "outside 1.00 to 10,000.00 ft; write"),
        ('row.up: "3 m" is off; 3.048 m is the end', 'row.up: "3 m" is off; 10.00 ft is the end'),
        ("2.5 m/s, 3 m2, 4 mm2, 5 min, plane 3 meets", "2.5 m/s, 3 m2, 4 mm2, 5 min, plane 3 meets"),
        ("wall: 3.556 mm must be less than 5.08 mm", "wall: 0.14 in must be less than 0.2 in"),
        ("1 m, 2 planes", "3.28 ft, 2 planes"),
    ],
)
def test_lengths_are_turned_and_nothing_else(text: str, told: str) -> None:
    assert US.reworded(text) == told
    assert SI.reworded(text) == text
    assert US.reworded(told) == told


def test_a_builder_speaks_the_users_units(tmp_path: Path) -> None:
    """A half-hip whose clip lies above its ridge, in feet."""
    text = PROJECT.read_text(encoding="utf-8")
    text = text.replace(
        'shape = "hip"', 'shape = "half-hip"\nclip_height = "400 ft"\nclip_pitch = "60 deg"', 1
    )
    path = tmp_path / "project.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        load_project(path)
    assert "400.00 ft" in str(error.value)
    assert not METERS.search(str(error.value))
