"""Snow by the weather against closed forms, conservation, and nasty tables."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.snow.history import Spread, fresh_density, gauge_catch, snow_history, windows
from roofmodel.snow.thaw import SURFACE, ThawAid, coldest_thaw
from roofmodel.snow.weather import Weather, read_weather
from viewer.cli import commands
from viewer.history.chart import history_drawing
from viewer.history.command import OUTPUTS
from viewer.history.findings import find_history, until
from viewer.picture.drawing import box_of

ROOT = Path(__file__).parents[2]
ALDER = ROOT / "models" / "alder-barn"
COLD = ThawAid(latitude=0.0, day=1)
CERTAIN = Spread((1.0, 1.0), (0.0, 0.0), (2.0, 2.0), (0.05, 0.05), (1.0, 1.0), (0.0, 0.0))


def weather(snow, temperature, *, rain=0.0, sun=0.0, wind=0.0, step=3600.0) -> Weather:
    n = len(snow)
    time = np.datetime64("2026-01-01T00:00:00", "s") + (np.arange(n) * step).astype("timedelta64[s]")
    full = [np.broadcast_to(np.asarray(v, dtype=float), (n,)) for v in (rain, temperature, sun, wind)]
    return Weather(time, np.full(n, step), np.asarray(snow, dtype=float), np.full(n, np.nan), *full, ())


def test_all_snow_stays_in_the_cold():
    """Conservation: below freezing, calm, all caught: the load is the weight of what fell."""
    snow = np.r_[np.full(48, 1.5), np.zeros(240)]
    found = snow_history(weather(snow, -8.0), 0.4, COLD, spread=CERTAIN)
    assert found.load[-1] == pytest.approx(snow.sum() * 9.80665)
    assert found.fallen == pytest.approx(snow.sum())
    assert not found.thaws.any()


def test_an_open_gauge_misses_snow_in_wind_and_a_board_does_not():
    """Kochendorfer et al. 2017, from memory; conservation: what lies is what fell over the gauge's catch."""
    assert gauge_catch(np.array([-5.0]), np.array([0.0])) == pytest.approx(1.0)
    blow = gauge_catch(np.full(8, -5.0), np.arange(8.0))
    assert (np.diff(blow[:6]) < 0.0).all()
    assert blow[3] == pytest.approx(np.exp(-0.0785 * 3.0 * (1.407 + np.arctan(0.729 * 5.0))))
    open_ = replace(CERTAIN, missed=(1.0, 1.0))
    air = weather(np.r_[np.full(40, 2.0), np.zeros(5)], -5.0, wind=3.0)
    found = snow_history(air, 0.4, COLD, spread=open_)
    assert found.load[-1] == pytest.approx(80.0 / blow[3] * 9.80665)
    assert found.missed == pytest.approx(80.0 / blow[3] - 80.0)
    depth = replace(air, snow=np.full(45, np.nan), depth=air.snow / 100.0)
    board = snow_history(depth, 0.4, COLD, spread=open_)
    assert board.load[-1] == pytest.approx(board.fallen * 9.80665)
    assert board.missed == 0.0
    added = snow_history(replace(air, corrected=True), 0.4, COLD, spread=open_)
    assert added.load[-1] == pytest.approx(80.0 * 9.80665)


def test_melt_is_that_of_the_degree_days():
    """Two mm a degree and day, without sun: 3 degrees for 5 days take 30 mm; water stays up to its share."""
    snow = np.r_[200.0, np.zeros(120)]
    found = snow_history(weather(snow, np.r_[-1.0, np.full(120, 3.0)]), 0.4, COLD, spread=CERTAIN)
    ice = 200.0 - 30.0
    assert found.load[-1, 1] == pytest.approx(1.05 * ice * 9.80665)


def test_rain_stays_up_to_what_snow_holds():
    snow = np.r_[100.0, np.zeros(10)]
    found = snow_history(weather(snow, -0.5, rain=np.r_[0.0, np.full(10, 20.0)]), 0.4, COLD, spread=CERTAIN)
    assert found.load[-1, 1] == pytest.approx(105.0 * 9.80665, rel=0.01)
    assert found.load.max() <= 1.051 * 100.0 * 9.80665 * (1.0 + 20.0 * 2.0 / 24.0 / 100.0)


def test_snow_settles_and_never_loosens():
    found = snow_history(weather(np.r_[np.full(24, 3.0), np.zeros(480)], -4.0), 0.4, COLD, spread=CERTAIN)
    density = found.density[24:, 1]
    assert (np.diff(density) >= 0.0).all()
    assert 100.0 < density[-1] < 400.0
    assert (found.depth[24:, 1] * density * 9.80665) == pytest.approx(found.load[24:, 1])


def test_fresh_density_is_the_published_curve():
    """Hedstrom and Pomeroy 1998 (from memory): 119 kg/m^3 at 0, 68 far below."""
    assert fresh_density(np.array([0.0, 3.0, -30.0])) == pytest.approx([119.17, 119.17, 67.92], abs=0.01)


def test_bond_thaws_where_the_steady_balance_says():
    """The step's own balance against `coldest_thaw` with the same light and snow."""
    snow = np.r_[40.0, np.zeros(5)]
    aid = ThawAid(latitude=0.0, day=1, reflected=0.0, roof_conductance=0.01, inside=20.0)
    told, right = [], []
    for t in np.linspace(-25.0, -0.1, 24):
        found = snow_history(weather(snow, t), 0.0, aid, spread=CERTAIN)
        limit = float(coldest_thaw(aid, 0.0, found.depth[-1, 1], found.density[-1, 1]))
        assert limit < -1.0 / SURFACE
        told.append(found.thaws[-1])
        right.append(t >= limit)
    assert told == pytest.approx(np.array(right, dtype=float))
    assert 0 < sum(right) < len(right)


def test_sun_opens_windows_at_noon_and_frost_closes_them():
    hours = np.arange(24 * 6)
    sun = 700.0 * np.clip(np.sin(np.pi * ((hours % 24) - 6.0) / 12.0), 0.0, None)
    snow = np.r_[25.0, np.zeros(len(hours) - 1)]
    found = snow_history(weather(snow, -1.0, sun=sun), 0.5, COLD)
    times = windows(found, least=0.3)
    assert 1 <= len(times) <= 6
    assert all(6 < int(str(w.begin)[11:13]) <= int(str(w.end)[11:13]) < 18 for w in times)


def test_a_case_tells_no_window_that_begins_after_its_day():
    found = find_history(load_project(ALDER / "project.toml"), ALDER / "weather.csv", "weather.csv")
    day = date(2026, 2, 3)
    told = until(found, day)
    assert 0 < len(told.windows) < len(found.windows)
    assert all(str(one.begin)[:10] <= "2026-02-03" for one in (*told.windows, *told.likely))
    assert all(str(one.begin)[:10] > "2026-02-03" for one in found.windows if one not in told.windows)
    assert until(found, None) is found


def test_wider_doubt_gives_a_wider_band_and_the_same_seed_the_same_digits():
    air = weather(np.r_[np.full(48, 2.0), np.zeros(100)], -2.0, wind=8.0)
    a, b = (snow_history(air, 0.4, COLD) for _ in range(2))
    np.testing.assert_array_equal(a.load, b.load)
    narrow = snow_history(air, 0.4, COLD, spread=CERTAIN)
    assert np.ptp(a.load[-1]) > np.ptp(narrow.load[-1])


def table(folder: Path, text: str) -> Path:
    (folder / "weather.csv").write_text(text, encoding="utf-8")
    return folder / "weather.csv"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,snow_mm\n2026-01-01,1\n2026-01-02,1\n", "no column of temperature"),
        ("time,temperature_c\n2026-01-01,1\n2026-01-02,1\n", "no column of snow"),
        ("time,temperature_c,snow_mm\n2026-01-02,1,0\n2026-01-01,1,0\n", "later than"),
        ("time,temperature_c,snow_mm\nmonday,1,0\n2026-01-01,1,0\n", "line 2: time"),
        ("time,temperature_c,snow_mm\n2026-01-01,x,0\n2026-01-02,1,0\n", "must be a number"),
        ("time,temperature_c,snow_mm\n2026-01-01,,0\n2026-01-02,1,0\n", "is empty"),
        ("time,temperature_c,snow_mm\n2026-01-01,271,0\n2026-01-02,1,0\n", "from -70 to 55"),
        ("time,temperature_c,snow_mm\n2026-01-01,1,-3\n2026-01-02,1,0\n", "from 0 to 300"),
        ("time,temperature_c,snow_mm\n2026-01-01,1,nan\n2026-01-02,1,0\n", "from 0 to 300"),
        ("time,temperature_c,snow_mm\n2026-01-01,1,0\n", "at least two"),
        ("time,temperature_c,snow_mm\n2026-01-01,1,0\n2026-01-05,1,0\n", "every hour or every day"),
        (
            "time,temperature_c,snow_mm,new_snow_cm\n2026-01-01,1,0,0\n2026-01-02,1,0,0\n",
            "water and as depth",
        ),
        ("time,temperature_c,temperature_f,snow_mm\n2026-01-01,1,34,0\n2026-01-02,1,34,0\n", "two units"),
    ],
)
def test_nasty_tables_are_refused_in_one_line(tmp_path, text, words):
    with pytest.raises(InputError, match=words) as caught:
        read_weather(table(tmp_path, text), "weather.csv")
    assert "\n" not in str(caught.value)


def test_units_and_decimal_commas(tmp_path):
    one = read_weather(
        table(tmp_path, "time;temperature_c;snow_mm\n2026-01-01;-3,5;2,54\n2026-01-02;0;\n"), "w"
    )
    other = read_weather(
        table(tmp_path, "time,temperature_f,snow_in\n2026-01-01,25.7,0.1\n2026-01-02,32,0\n"), "w"
    )
    assert one.temperature == pytest.approx(other.temperature, abs=1e-9)
    assert one.snow == pytest.approx(other.snow)


def test_the_day_of_an_event_is_written_inside_the_sheet():
    """Days from before the table to its end: words cut by an edge were those of the last day."""
    found = find_history(load_project(ALDER / "project.toml"), ALDER / "weather.csv", "weather.csv")
    for at in (found.history.time[0], found.history.time[-1] - np.timedelta64(13, "h")):
        drawing = history_drawing(found, at.astype(datetime).date())
        words = [text for text in drawing.texts if text.text == "day of the event"]
        assert len(words) == 1
        left, _, right, _ = box_of(words[0])
        assert 0.0 < left < right < drawing.size[0]


def test_command_writes_what_it_says(tmp_path):
    found = CliRunner().invoke(
        commands,
        ["history", str(ALDER / "project.toml"), str(ALDER / "weather.csv"), "--out", str(tmp_path / "out")],
    )
    assert found.exit_code == 0, found.output
    assert "Most snow" in found.output
    assert "licensed engineer" in found.output
    assert {p.name for p in (tmp_path / "out").iterdir()} == set(OUTPUTS)
    data = json.loads((tmp_path / "out" / "history.json").read_text())
    jsonschema.validate(data, json.loads((ROOT / "viewer" / "history.schema.json").read_text()))
    assert len(data["load"]) == len(data["time"])
