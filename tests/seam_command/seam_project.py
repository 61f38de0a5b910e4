"""A small project with a seam, and ways to break it; invented data."""

from __future__ import annotations

from tests.cli import small_project

SEAM = """
[seam]
lock = "double lock"
yield_strength = "320 MPa"
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
clip_strength = "2 kN"
opening_strength = "15 N/mm"
strength_kind = "characteristic"
factor = 1.33
bearing = "deck"
"""
GOOD = small_project.GOOD
for _old, _new in (
    ('"Test shed"', '"Test shed with a seam"'),
    ("0 0, 6 0, 6 4, 0 4 m", "0 0, 4 0, 4 2.5, 0 2.5 m"),
    ('thickness = "0.63 mm"\n', 'thickness = "0.63 mm"\nclip_spacing = "400 mm"\n'),
    ("\n[rail]", SEAM + "\n[rail]"),
):
    GOOD = small_project.changed(_old, _new, GOOD)


def changed(old: str, new: str, text: str = GOOD) -> str:
    """The project with one piece of text replaced."""
    return small_project.changed(old, new, text)


def without_seam() -> str:
    """The project without its table [seam]."""
    return changed(SEAM, "")
