"""The files of `eavewright screen`."""

from __future__ import annotations

from pathlib import Path

from viewer.screen.export import write_screen_data
from viewer.screen.findings import ScreenFindings
from viewer.screen.map import map_drawing, write_map
from viewer.screen.page import write_screen_page


def write_screen(findings: ScreenFindings, folder: Path) -> None:
    """Write every output into a folder that exists, each whole or not at all."""
    write_screen_data(findings, folder)
    sheet = map_drawing(findings)
    write_map(sheet, folder / "screen.png")
    write_screen_page(findings, sheet, folder / "screen.html")
