"""`eavewright risk`: answers, files, refusals, and a run that was killed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

from roofmodel.errors import InputError
from viewer.cli import commands
from viewer.risk.command import OUTPUTS, PARTIAL

MODEL = Path(__file__).parents[2] / "models" / "granary-door" / "project.toml"
TABLE = """
[uncertainty]
samples = 2000
depth = { shape = "gumbel", mean = 0.9, deviation = 0.3 }
bond = { shape = "uniform", low = 0.0, high = 0.3 }
friction = { shape = "uniform", low = 0.0, high = 0.1 }
strength = { mean = 1.2, scatter = 0.15, together = 0.3 }
missing = 0.01
loose = 0.05
spacing_error = "20 mm"
thaw = { snow = 4.0 }
[[uncertainty.law]]
clamps = "row door"
kind = "slip"
residual = 0.3
"""


def project(folder: Path, table: str = TABLE) -> Path:
    text = MODEL.read_text(encoding="utf-8").partition("[uncertainty]")[0]
    (folder / "project.toml").write_text(text + table, encoding="utf-8")
    return folder / "project.toml"


def risk(*arguments: object):
    """Exit code and everything said, refusals worded as `main` does."""
    found = CliRunner().invoke(commands, ["risk", *map(str, arguments)])
    if isinstance(found.exception, InputError):
        return 2, str(found.exception)
    return found.exit_code, found.output


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("risk")
    code, output = risk(project(folder), "--out", folder / "out", "--processes", 1)
    assert code == 0, output
    return folder, output


def test_answer_files_and_cautions(done):
    folder, output = done
    data = json.loads((folder / "out" / "risk.json").read_text())
    schema = json.loads((Path(__file__).parents[2] / "viewer" / "risk.schema.json").read_text())
    jsonschema.validate(data, schema)
    assert "Chance that a row lets go" in output
    assert "licensed engineer" in output
    assert "Falling snow" in output
    assert {p.name for p in (folder / "out").iterdir()} == set(OUTPUTS)
    chance = data["chance"]
    assert chance["low"] <= chance["value"] <= chance["high"]
    assert sum(row["first_to_let_go"] for row in data["rows"]) == pytest.approx(1.0, abs=0.3)


def test_one_process_or_two_give_the_same_bytes(done, tmp_path):
    folder, _ = done
    code, output = risk(folder / "project.toml", "--out", tmp_path / "again", "--processes", 2)
    assert code == 0, output
    for name in OUTPUTS:
        assert (tmp_path / "again" / name).read_bytes() == (folder / "out" / name).read_bytes()


@pytest.mark.slow
def test_a_killed_run_goes_on_to_the_same_bytes(done, tmp_path):
    folder, _ = done
    command = [
        sys.executable, "-c", "from viewer.cli import main; main()", "risk",
        str(folder / "project.toml"), "--out", str(tmp_path), "--processes", "1",
    ]  # fmt: skip
    run = subprocess.Popen(
        command, start_new_session=True, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL
    )
    end = time.monotonic() + 120.0
    partial = tmp_path / PARTIAL
    while time.monotonic() < end and not (partial.exists() and partial.read_bytes().count(b"\n") > 3):
        assert run.poll() is None
        time.sleep(0.01)
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    assert partial.exists()
    code, output = risk(folder / "project.toml", "--out", tmp_path, "--processes", 2)
    assert code == 0
    assert "batches were done before" in output
    for name in OUTPUTS:
        assert (tmp_path / name).read_bytes() == (folder / "out" / name).read_bytes()


def test_more_snow_and_weaker_clamps_never_lower_the_chance(tmp_path):
    """The same random numbers: each sample alone can only get worse."""
    chances = []
    for i, (mean, strength) in enumerate(((0.6, 1.2), (0.9, 1.2), (0.9, 0.9))):
        table = f"""
[uncertainty]
samples = 1000
depth = {{ shape = "lognormal", mean = {mean}, deviation = {0.4 * mean} }}
strength = {{ mean = {strength}, scatter = 0.15 }}
release = 1.0
"""
        (tmp_path / str(i)).mkdir()
        assert risk(project(tmp_path / str(i), table), "--out", tmp_path / str(i), "--processes", 1)[0] == 0
        chances.append(json.loads((tmp_path / str(i) / "risk.json").read_text())["chance"]["value"])
    assert np.all(np.diff(chances) > 0.0)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("", "uncertainty is missing"),
        ("\n[uncertainty]\n", "nothing scatters"),
        ("\n[uncertainty]\ndepth = { shape = 'uniform', mean = 1.0 }\n", "low and high"),
        ("\n[uncertainty]\ndepth = { shape = 'gumbel', mean = 1.0, deviation = 0.0 }\n", "greater than zero"),
        ("\n[uncertainty]\ndepth = { shape = 'normal', mean = -1.0, deviation = 0.1 }\n", "depth: mean"),
        ("\n[uncertainty]\nbond = { shape = 'uniform', low = 2.0, high = 3.0 }\n", "bond: low and high"),
        ("\n[uncertainty]\nmissing = 0.1\ncase = 'none such'\n", 'no case "none such"'),
        ("\n[uncertainty]\nstrength = { tests = 'none.toml' }\n", "none.toml"),
        ("\n[uncertainty]\nstrength = { mean = 1.0 }\n", "scatter"),
        ("\n[uncertainty]\nmissing = 0.1\nthaw = { planes = ['S9'] }\n", 'no plane "S9"'),
        ("\n[uncertainty]\nmissing = 0.1\nlaw = [{ clamps = 'row door', kind = 'slip' }]\n", "residual"),
        (
            "\n[uncertainty]\nmissing = 0.1\nlaw = [{ clamps = 'row none', kind = 'brittle' }]\n",
            'uncertainty.law 1.clamps: there is no row "none"',
        ),
        (
            "\n[uncertainty]\nlaw = [{ clamps = 'row door', kind = 'ductile', unzip = 0.3 }]\n",
            "stays on its seam",
        ),
        (
            "\n[uncertainty]\nmissing = 0.1\ncorrelation = [{ of = ['depth', 'bond'], value = 0.5 }]\n",
            "uncertainty.depth is missing",
        ),
    ],
)
def test_refusals_name_the_field_and_write_nothing(tmp_path, table, words):
    code, output = risk(project(tmp_path, table), "--out", tmp_path / "out")
    assert code == 2
    assert words in output
    assert "Traceback" not in output
    assert not (tmp_path / "out").exists()


def test_a_campaign_gives_mean_and_scatter(tmp_path):
    """Six tests: their own mean and scatter, widened as for the next value (Student's t, closed form)."""
    from fea.failure.inputs import read_uncertainty
    from roofmodel.project.load import load_project

    strengths = np.array([5.0, 5.6, 5.2, 6.1, 5.4, 4.9])
    rows = "\n".join(f"P{i},{v}" for i, v in enumerate(strengths))
    (tmp_path / "pulls.csv").write_text(f"test,strength [kN]\n{rows}\n")
    (tmp_path / "pulls.toml").write_text(
        """
file = "pulls.csv"
[campaign]
name = "pulls"
[specimen]
clamp = "C"
direction = "along"
seam = "double lock"
seam_height = "32 mm"
metal = "steel"
thickness = "0.6 mm"
substrate = "battens"
screw_torque = "13 N m"
"""
    )
    loaded = load_project(project(tmp_path, "\n[uncertainty]\nstrength = { tests = 'pulls.toml' }\n"))
    found = read_uncertainty(loaded)
    scatter = strengths.std(ddof=1) / strengths.mean()
    assert found.mean_strength == pytest.approx(1e3 * strengths.mean() / loaded.clamp.nominal[0])
    assert found.scatter.strength == pytest.approx(scatter * np.sqrt(5.0 / 3.0 * 7.0 / 6.0))
    assert found.digest


@pytest.mark.slow
def test_a_cluster_gives_the_same_bytes(done, tmp_path):
    distributed = pytest.importorskip("distributed")
    folder, _ = done
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        code, output = risk(
            folder / "project.toml", "--out", tmp_path / "out", "--cluster", cluster.scheduler_address
        )
    assert code == 0, output
    for name in OUTPUTS:
        assert (tmp_path / "out" / name).read_bytes() == (folder / "out" / name).read_bytes()


def test_no_cluster_is_refused_before_anything_is_written(done, tmp_path, monkeypatch):
    monkeypatch.setattr("viewer.batches.run.PATIENCE", "1s")
    folder, _ = done
    code, output = risk(folder / "project.toml", "--out", tmp_path / "out", "--cluster", "tcp://127.0.0.1:1")
    assert code == 2
    assert "no scheduler answers" in output or "not installed" in output
    assert not (tmp_path / "out").exists()


def test_the_course_at_mean_strengths_is_in_order_and_ends(done):
    """Events in the order of the snow; the sum of the first row's clamps is there once it has let go."""
    folder, _ = done
    data = json.loads((folder / "out" / "risk.json").read_text())
    factors = [one["snow_over_case"] for one in data["course"]]
    assert factors == sorted(factors)
    assert len({one["clamp"] for one in data["course"]}) == len(factors) == len(data["clamps"])
    weakest = max(data["clamps"], key=lambda one: one["snow_over_mean_strength"])
    assert factors[0] == pytest.approx(1.0 / weakest["snow_over_mean_strength"], rel=0.05)


def test_a_falling_bond_brings_what_growing_snow_does(done):
    """Snow that lies still and sheds its bond evenly pulls as much as snow that grows to it: equilibrium."""
    folder, output = done
    data = json.loads((folder / "out" / "risk.json").read_text())
    thaw = data["thaw"]["course"]
    assert thaw
    grown = [one for one in data["course"] if one["snow_over_case"] <= 4.0]
    assert [one["clamp"] for one in thaw] == [one["clamp"] for one in grown]
    for falls, grows in zip(thaw, grown, strict=True):
        assert falls["bond_left"] == pytest.approx(1.0 - grows["snow_over_case"] / 4.0, abs=1e-9)
    assert "of the bond left" in output
    assert "slip then and hold 30 % of it" in " ".join(output.split())
