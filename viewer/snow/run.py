"""The files of `eavewright snow`."""

from __future__ import annotations

from pathlib import Path

from viewer.snow.export import write_snow_data
from viewer.snow.page import write_snow_page
from viewer.snow.sheet import sheet_drawing, write_sheet
from viewer.snow.study import SnowStudy


def write_snow(study: SnowStudy, folder: Path) -> None:
    """Write every output into a folder that exists, each whole or not at all."""
    write_snow_data(study, folder)
    sheet = sheet_drawing(study.findings, study.scale, study.units)
    write_sheet(sheet, folder / "snow.png")
    write_snow_page(study, sheet, folder / "snow.html")
