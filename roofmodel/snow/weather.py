"""A table of weather: times, snow, rain, temperature, sun and wind, SI.

Heads say their unit, so that a temperature cannot be mistaken: `snow_mm` is water in an open gauge,
`snow_corrected_mm` the same with what gauges miss in wind added, `new_snow_cm` is depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.csv_tables import CsvTable, read_table
from roofmodel.errors import InputError
from roofmodel.units import shown

Array = NDArray[np.float64]

INCH, MILE_AN_HOUR = 25.4, 0.44704  # [mm], [m/s]
LONGEST_STEP = 86400.0 + 3700.0  # a day, with an hour of summer time [s]
HEADS = {  # head: (quantity, factor, offset, least, most)
    "snow_mm": ("snow", 1.0, 0.0, 0.0, 300.0),
    "snow_in": ("snow", INCH, 0.0, 0.0, 12.0),
    "snow_corrected_mm": ("snow", 1.0, 0.0, 0.0, 300.0),
    "snow_corrected_in": ("snow", INCH, 0.0, 0.0, 12.0),
    "new_snow_cm": ("depth", 0.01, 0.0, 0.0, 300.0),
    "new_snow_in": ("depth", 0.0254, 0.0, 0.0, 120.0),
    "rain_mm": ("rain", 1.0, 0.0, 0.0, 500.0),
    "rain_in": ("rain", INCH, 0.0, 0.0, 20.0),
    "temperature_c": ("temperature", 1.0, 0.0, -70.0, 55.0),
    "temperature_f": ("temperature", 5.0 / 9.0, -32.0, -94.0, 131.0),
    "sun_w_m2": ("sun", 1.0, 0.0, 0.0, 1500.0),
    "wind_m_s": ("wind", 1.0, 0.0, 0.0, 90.0),
    "wind_mph": ("wind", MILE_AN_HOUR, 0.0, 0.0, 200.0),
}
WANTED = (
    "time, temperature_c, and snow_mm (water), snow_corrected_mm or new_snow_cm; rain_mm, sun_w_m2, wind_m_s "
    "if there are any"
)


@dataclass(frozen=True)
class Weather:
    """Weather in steps; amounts are those of the step that ends at its time.

    Attributes
    ----------
    time : (n,) datetime64[s]
    seconds : (n,) float
        Length of each step. [s]
    snow : (n,) float
        Water of the snow that fell, NaN where depth was given. [kg/m^2]
    depth : (n,) float
        Depth of the snow that fell, NaN where water was given. [m]
    rain : (n,) float
        [kg/m^2]
    temperature : (n,) float
        [degrees C]
    sun : (n,) float
        On level ground. [W/m^2]
    wind : (n,) float
        [m/s]
    notes : tuple of str
        Columns and lines that were not there.
    corrected : bool
        What gauges miss in wind is in the snow already.
    """

    time: NDArray[np.datetime64]
    seconds: Array
    snow: Array
    depth: Array
    rain: Array
    temperature: Array
    sun: Array
    wind: Array
    notes: tuple[str, ...]
    corrected: bool = False


def read_weather(path: Path, name: str, digest: Any = None) -> Weather:
    """Read a weather table.

    Raises
    ------
    InputError
        Names file, line, value, and what would be right.
    """
    heads = ("time", *HEADS)
    table = read_table(path, name, heads, {}, frozenset(HEADS), digest=digest, what="a CSV table of weather")
    time, seconds = _times(table)
    there: dict[str, Array] = {}
    for head in (h for h in HEADS if h in table.text):
        quantity = HEADS[head][0]
        if quantity in there:
            message = f"{name}, line 1: {quantity} is there in two units; keep one column of it"
            raise InputError(message)
        there[quantity] = _numbers(table, head)
    if "temperature" not in there or ("snow" not in there and "depth" not in there):
        what = "temperature" if "temperature" not in there else "snow"
        message = f"{name}, line 1: there is no column of {what}; the heads must be {WANTED}"
        raise InputError(message)
    if "snow" in there and "depth" in there:
        message = f"{name}, line 1: snow is there as water and as depth; keep one column of it"
        raise InputError(message)
    n = len(time)
    words = {"rain": "no rain: none is counted", "sun": "no sun: none is counted", "wind": "no wind: calm"}
    notes = tuple(f"{name} has {text}." for quantity, text in words.items() if quantity not in there)
    notes += _gaps(table, seconds)
    gap = np.full(n, np.nan)
    none = np.zeros(n)
    return Weather(
        time=time,
        seconds=seconds,
        snow=there.get("snow", gap),
        depth=there.get("depth", gap),
        rain=there.get("rain", none),
        temperature=there["temperature"],
        sun=there.get("sun", none),
        wind=there.get("wind", none),
        notes=notes,
        corrected=any(head.startswith("snow_corrected") for head in table.text),
    )


def _times(table: CsvTable) -> tuple[NDArray[np.datetime64], Array]:
    found = []
    for line, cell in zip(table.line, table.text["time"], strict=True):
        try:
            moment = datetime.fromisoformat(cell)
        except ValueError:
            message = f'{table.name}, line {line}: time: {shown(cell)} must be like "2026-02-03 14:00"'
            raise InputError(message) from None
        found.append(moment.replace(tzinfo=None))
    if len(found) < 2:
        message = f"{table.name}: has one line of weather; at least two are needed"
        raise InputError(message)
    time = np.array(found, dtype="datetime64[s]")
    step = np.diff(time).astype(float)
    if not (step > 0.0).all():
        at = table.line[1:][step <= 0.0][0]
        message = f"{table.name}, line {at}: time: must be later than that of the line before"
        raise InputError(message)
    if step.max() > LONGEST_STEP:
        at = table.line[1:][step > LONGEST_STEP][0]
        hours = f"{step.max() / 3600.0:.0f} h after the line before"
        message = f"{table.name}, line {at}: time: {hours}; give every hour or every day"
        raise InputError(message)
    return time, np.concatenate([step[:1], step])


def _gaps(table: CsvTable, seconds: Array) -> tuple[str, ...]:
    """Says where lines are missing: the snow that fell then is in no line."""
    usual = float(np.median(seconds))
    longer = seconds > 1.5 * usual
    if not longer.any():
        return ()
    worst = int(seconds.argmax())
    usually, longest = usual / 3600.0, seconds[worst] / 3600.0
    times = "once" if longer.sum() == 1 else f"{longer.sum()} times"
    return (
        f"LINES ARE MISSING: {table.name} steps longer than its usual {usually:g} h {times}, at most "
        f"{longest:g} h before line {table.line[worst]}; what fell in missing lines is not counted.",
    )


def _numbers(table: CsvTable, head: str) -> Array:
    _, factor, offset, least, most = HEADS[head]
    values = np.empty(len(table.line))
    for i, (line, cell) in enumerate(zip(table.line, table.text[head], strict=True)):
        text = cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell
        try:
            values[i] = float(text) if text else 0.0 if head[:4] in ("snow", "new_", "rain") else np.nan
        except ValueError:
            message = f"{table.name}, line {line}: {head}: {shown(cell)} must be a number"
            raise InputError(message) from None
        if not least <= values[i] <= most:
            reason = "is empty" if not text else f"{shown(cell)} must be from {least:g} to {most:g}"
            message = f"{table.name}, line {line}: {head}: {reason}"
            raise InputError(message)
    return (values + offset) * factor
