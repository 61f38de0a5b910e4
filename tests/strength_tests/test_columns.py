"""Heads that name the wrong column or unit: refused or told, and no false alarm on honest curves."""

import re

import numpy as np
import pytest
from click.testing import CliRunner

from fea.strength_tests.campaign import judge
from fea.strength_tests.curves import read_curve
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from tests.strength_tests.test_campaign import HEAD
from viewer.cli import commands
from viewer.strength.rig_chart import fitted_to

STIFF, SLIP = 3e6, 5e3  # of a clamp [N/m, N]


def pushed(rng, after=0.6):
    """A clamp that softens, lets go at its slip force and slides on at a part of it. [m, N]."""
    u = np.linspace(0.0, 10e-3, 160)
    k, slip = STIFF * np.exp(0.05 * rng.normal()), SLIP * np.exp(0.03 * rng.normal())
    f = 1.2 * slip * (1.0 - np.exp(-k * u / (1.2 * slip)))
    gone = int(np.argmax(f >= slip))
    f[gone:] = after * slip
    return u, np.maximum(f + 5.0 * rng.normal(size=len(u)), 0.0)


def campaign(folder, units=("mm", "kN"), odd=(), heads="displacement [{}],force [{}]", direction="pull"):
    """Six tests; those in `odd` have another head."""
    rng, text = np.random.default_rng(3), HEAD.replace('direction = "pull"', f'direction = "{direction}"')
    for i in range(6):
        u, f = pushed(rng)
        head = heads.format(*units) if not odd or i in odd else "displacement [mm],force [kN]"
        rows = "\n".join(f"{a * 1e3:.6f},{b / 1e3:.6f}" for a, b in zip(u, f, strict=True))
        (folder / f"c{i}.csv").write_text(f"{head}\n{rows}")
        text += f'[[test]]\nname = "T{i}"\ncurve = "c{i}.csv"\n'
    (folder / "c.toml").write_text(text)
    return folder / "c.toml"


def noted(found, words):
    return [note for note in found.notes if note.startswith(words)]


def test_honest_curves_are_not_doubted(tmp_path):
    found = judge(load_campaign(campaign(tmp_path)))
    assert not noted(found, "CHECK")


@pytest.mark.parametrize("odd", [(), (2,)], ids=["all", "one"])
def test_swapped_columns_are_refused(tmp_path, odd):
    path = campaign(tmp_path, ("kN", "mm"), odd, "force [{}],displacement [{}]")
    with pytest.raises(InputError, match=r"c\d\.csv falls back .* swapped; check the heads") as told:
        judge(load_campaign(path))
    assert "\n" not in str(told.value)
    done = CliRunner().invoke(commands, ["tests", str(path), "--out", str(tmp_path / "o")])
    assert isinstance(done.exception, InputError)
    assert not (tmp_path / "o").exists()


def test_unloading_and_seating_are_no_swap():
    """A clamp loaded, unloaded along its own stiffness and loaded again; and one that unloads at the end."""
    slow = np.linspace(0.0, 3e3, 40)
    plastic = 1e-3
    u = np.concatenate(
        [slow / STIFF, plastic + slow[::-1] / STIFF, plastic + np.linspace(0, 5e3, 60) / STIFF]
    )
    f = np.concatenate([slow, slow[::-1], np.linspace(0, 5e3, 60)])
    back = np.linspace(5e3, 0.0, 30)
    u, f = np.append(u, u[-1] + 1e-3 - (5e3 - back) / STIFF), np.append(f, back)
    assert read_curve(u, f).peak == pytest.approx(5e3)


def test_swapped_columns_without_a_loss_are_told(tmp_path):
    """Up to the slip alone nothing falls back, but what softened now stiffens."""
    path = campaign(tmp_path, ("kN", "mm"), (), "force [{}],displacement [{}]")
    for one in tmp_path.glob("c*.csv"):
        head, *rows = one.read_text().splitlines()
        force = np.array([float(row.split(",")[1]) for row in rows])
        until = int(np.argmax(force))  # the measured force, which stands below "displacement" here
        one.write_text("\n".join([head, *rows[:until]]))
    found = judge(load_campaign(path))
    assert "swapped" in noted(found, "CHECK THE HEADS")[-1]


@pytest.mark.parametrize(("unit", "factor"), [("in", 25.4), ("cm", 10.0)])
def test_a_wrong_unit_of_every_displacement_is_doubted(tmp_path, unit, factor):
    found = judge(load_campaign(campaign(tmp_path, (unit, "kN"))))
    note = noted(found, "CHECK THE HEADS")[0]
    told = float(re.search(r"given way by ([\d.]+) mm", note)[1])
    # The curve at 40 % of its peak: f = 1.2 s (1 - exp(-k u / 1.2 s)) = 0.4 s, about 0.8 mm; line from 10 %.
    exact = -1.2 * SLIP / STIFF * np.log(1.0 - 0.4 / 1.2) * 1e3
    assert told == pytest.approx(factor * exact, rel=0.15)


@pytest.mark.parametrize(("units", "ratio"), [(("mm", "kip"), 4.448), (("in", "kN"), 1 / 25.4)])
def test_a_wrong_unit_of_one_test_stops_the_clamp_file(tmp_path, units, ratio):
    path = campaign(tmp_path, units, (4,))
    out = tmp_path / "o"
    out.mkdir()
    (out / "clamp.toml").write_text("of an earlier run")
    done = CliRunner().invoke(commands, ["tests", str(path), "--out", str(out)])
    assert done.exit_code == 1, done.output
    assert not (out / "clamp.toml").exists()
    note = noted(judge(load_campaign(path)), "CHECK THE UNITS of T4")[0]
    assert float(re.search(r": ([\d.]+) times", note)[1]) == pytest.approx(ratio, rel=0.15)


def test_a_height_that_nobody_gave_is_asked_for(tmp_path):
    found = judge(load_campaign(campaign(tmp_path, direction="along")))
    assert noted(found, "specimen.load_height is not given")
    assert not noted(judge(load_campaign(campaign(tmp_path))), "specimen.load_height")


def test_a_force_out_of_range_is_told_with_its_digits(tmp_path):
    path = campaign(tmp_path, ("mm", "N"))
    with pytest.raises(InputError, match=r"0\.00\d+ kN is outside 0\.01 to 200 kN"):
        judge(load_campaign(path))


def test_the_picture_ends_its_model_where_the_fit_ends(tmp_path):
    """Beyond the last first loss no curve holds what the model holds."""
    text = campaign(tmp_path).read_text().replace("[[test]]", "[rig]\n\n[[test]]", 1)
    (tmp_path / "c.toml").write_text(text)
    found = judge(load_campaign(tmp_path / "c.toml"))
    loss = [u[int(np.argmax(f >= one.slip)) + 1] for (u, f), one in zip(*_read(found), strict=True)]
    last = max(u - one.seating for u, (_, one) in zip(loss, zip(*_read(found), strict=True), strict=True))
    assert fitted_to(found.calibration) == pytest.approx(last, rel=0.03)
    assert fitted_to(found.calibration) < 0.4 * 10e-3


def _read(found):
    return found.campaign.curves, found.readings


def softened(folder, swap=(), scaled=(), times=1.6):
    """Six clamps that soften up to a failure that ends the record, read at even steps of displacement."""
    rng, text = np.random.default_rng(8), HEAD
    for i in range(6):
        u = 0.05e-3 * np.arange(120)
        k, peak = STIFF * np.exp(0.06 * rng.normal()), SLIP * np.exp(0.04 * rng.normal())
        f = peak * (1.0 - np.exp(-k * u / peak)) * (times if i in scaled else 1.0)
        f = np.maximum.accumulate(f + 2.0 * rng.normal(size=len(u)) * (u > 0.0)) + 0.1 * np.arange(len(u))
        a, b = (f / 1e3, u * 1e3) if i in swap else (u * 1e3, f / 1e3)
        rows = "\n".join(f"{x:.6f},{y:.6f}" for x, y in zip(a, b, strict=True))
        (folder / f"c{i}.csv").write_text(f"displacement [mm],force [kN]\n{rows}")
        text += f'[[test]]\nname = "T{i}"\ncurve = "c{i}.csv"\n'
    (folder / "c.toml").write_text(text)
    return folder / "c.toml"


@pytest.mark.parametrize("swap", [(), range(6)], ids=["honest", "all"])
def test_swapped_columns_that_only_rise_give_no_clamp_file(tmp_path, swap):
    done = CliRunner().invoke(
        commands, ["tests", str(softened(tmp_path, swap)), "--out", str(tmp_path / "o")]
    )
    said = " ".join(done.output.split())
    assert done.exit_code == bool(swap), said
    assert ("contradict their heads" in said) == bool(swap)
    assert (tmp_path / "o" / "clamp.toml").exists() != bool(swap)


@pytest.mark.parametrize(("scaled", "times"), [((), 1.0), ((4,), 1.6), ((1, 4), 2.0)])
def test_tests_of_another_scale_are_doubted_by_their_stiffness(tmp_path, scaled, times):
    """Two hide each other from Grubbs's test."""
    found = judge(load_campaign(softened(tmp_path, (), scaled, times)))
    told = noted(found, "CHECK THE SCALE of ")
    assert len(told) == bool(scaled)
    for note in told:
        names = note.removeprefix("CHECK THE SCALE of ").split(":")[0].split(", ")
        assert sorted(names) == [f"T{i}" for i in scaled]
    assert found.counted.all()


def test_several_ways_to_fail_are_told(tmp_path):
    path = softened(tmp_path)
    for number, way in enumerate(("slid", "slid", "lip tore")):
        path.write_text(path.read_text().replace(f'"c{number}.csv"', f'"c{number}.csv"\nfailure = "{way}"'))
    found = judge(load_campaign(path))
    assert noted(found, "The tests failed in 2 ways (slid: 2; lip tore: 1)")
    path.write_text(path.read_text().replace("lip tore", "slid"))
    assert not noted(judge(load_campaign(path)), "The tests failed in")
