"""The command `screen`: same results however it runs, resumable, one bad building never stops the rest."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest
from tiles import broken_city, city, write

import viewer
from viewer import cli
from viewer.batches.journal import Journal
from viewer.batches.run import Work, batches_of, run_batches
from viewer.picture.drawing import box_of
from viewer.screen.command import BATCH
from viewer.screen.command import PARTIAL as NAME
from viewer.screen.findings import screen_findings, short_id
from viewer.screen.map import map_drawing
from viewer.screen.plan import plan_screening
from viewer.screen.work import failed, screen_batch

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((Path(viewer.__file__).parent / "screen.schema.json").read_text())
SNOW = ("--ground-snow", "1.5 kN/m^2")
MADE = ("screen.json", "screen.csv", "screen.png", "screen.html")
CODE = "from viewer.cli import main; main()"


def start(*words):
    command = [sys.executable, "-c", CODE, "screen", *map(str, words)]
    return subprocess.Popen(
        command,
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # ignored below background jobs
    )


def screen(*words):
    process = start(*words)
    out, err = process.communicate(timeout=300)
    return process.returncode, out, err


def screened(capsys, *words):
    """As `screen`, by this process alone."""
    sys.argv = ["eavewright", "screen", *map(str, words), "--processes", "1"]
    try:
        code = cli.main()
    except SystemExit as left:
        code = left.code
    return code or 0, *capsys.readouterr()


def test_a_level_that_no_building_has_is_refused(tmp_path, capsys):
    tile = write(tmp_path, city(3))
    gml = ROOT / "tests/data/roofs/building_and_garage_lod2_citygml2.gml"
    for file, lod in ((tile, "9"), (gml, "9"), (gml, "1")):
        said = refused(capsys, file, *SNOW, "--lod", lod, "--out", tmp_path / "out")
        assert f'no building has level of detail "{lod}"; the file has 2' in said
    assert not (tmp_path / "out").exists()


def contents(folder):
    return {name: (folder / name).read_bytes() for name in MADE}


def refused(capsys, *words):
    sys.argv = ["eavewright", "screen", *map(str, words)]
    with pytest.raises(SystemExit) as left:
        cli.main()
    said = capsys.readouterr().err
    assert left.value.code == 2
    assert said.count("\n") == 1
    return said


@pytest.fixture(scope="module")
def tile(tmp_path_factory):
    return write(tmp_path_factory.mktemp("tile"), city(24))


@pytest.fixture(scope="module")
def plain(tile, tmp_path_factory):
    """Results of one process."""
    out = tmp_path_factory.mktemp("plain") / "out"
    code, said, err = screen(tile, *SNOW, "--out", out, "--processes", "1")
    assert (code, err) == (0, "")
    assert "24 buildings" in said
    return contents(out)


def test_results_follow_the_schema_and_rank(plain):
    data = json.loads(plain["screen.json"])
    jsonschema.validate(data, SCHEMA)
    edges = {(b["number"], e["edge"]): e for b in data["buildings"] for e in b["edges"]}
    energy = [edges[one["number"], one["edge"]]["energy"] for one in data["ranking"]]
    assert energy == sorted(energy, reverse=True)
    assert len(energy) == sum(e["force"] > 0.0 for e in edges.values()) >= 48
    rows = list(csv.reader(plain["screen.csv"].decode("utf-8-sig").splitlines()))
    assert len({len(row) for row in rows}) == 1
    assert float(rows[1][-3]) == pytest.approx(energy[0] / 1e3, rel=1e-5)
    page = plain["screen.html"].decode()
    assert "licensed engineer" in page
    assert "Falling snow and work at height can kill" in page


def test_two_processes_give_the_same_bytes(tile, plain, tmp_path):
    assert screen(tile, *SNOW, "--out", tmp_path, "--processes", "2")[0] == 0
    assert contents(tmp_path) == plain
    assert not (tmp_path / NAME).exists()


def wait_for_lines(path, count, process):
    for _ in range(3000):
        if path.exists() and path.read_bytes().count(b"\n") >= count:
            return
        assert process.poll() is None, process.communicate()
        time.sleep(0.005)
    raise AssertionError("the run made no progress")


def workers_of(pid):
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [int(c) for c in children if b"spawn_main" in Path(f"/proc/{c}/cmdline").read_bytes()]


def gone(pids):
    for _ in range(1000):
        if not any(Path(f"/proc/{pid}").exists() for pid in pids):
            return True
        time.sleep(0.01)
    return False


@pytest.mark.slow
def test_a_killed_worker_costs_nothing(tile, plain, tmp_path):
    process = start(tile, *SNOW, "--out", tmp_path, "--processes", "2")
    wait_for_lines(tmp_path / NAME, 1, process)
    while not (workers := workers_of(process.pid)):
        time.sleep(0.01)
    os.kill(workers[0], signal.SIGKILL)
    said = process.communicate(timeout=300)
    assert process.returncode == 0, said
    assert contents(tmp_path) == plain


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_stopped_run_goes_on(tmp_path, how):
    tile = write(tmp_path, city(40))
    first, second = tmp_path / "first", tmp_path / "second"
    process = start(tile, *SNOW, "--out", first, "--processes", "1")
    wait_for_lines(first / NAME, 2, process)
    workers = workers_of(process.pid)
    process.send_signal(how)
    _, err = process.communicate(timeout=60)
    assert process.returncode == (130 if how == signal.SIGINT else -9)
    assert gone(workers)  # nobody outlives the run
    assert ("are kept in" in err) == (how == signal.SIGINT)
    assert not (first / "screen.json").exists()
    code, _, err = screen(tile, *SNOW, "--out", first, "--processes", "2")
    assert code == 0
    assert "buildings were done before" in err
    assert screen(tile, *SNOW, "--out", second, "--processes", "2")[0] == 0
    assert contents(first) == contents(second)


def test_torn_and_spoiled_lines_are_done_again(tmp_path):
    with Journal(tmp_path / NAME, "key") as journal:
        journal.add(0, [{"a": 0.1}])
        journal.add(1, [{"a": 0.2}])
        with pytest.raises(Exception, match="another run writes there"):
            Journal(tmp_path / NAME, "key")
    whole = (tmp_path / NAME).read_bytes()
    for cut in range(1, len(whole.splitlines(keepends=True)[-1])):
        (tmp_path / NAME).write_bytes(whole[:-cut])
        with Journal(tmp_path / NAME, "key") as journal:
            assert journal.done == {0: [{"a": 0.1}]}
            journal.add(1, [{"a": 0.2}])
        assert (tmp_path / NAME).read_bytes() == whole
    (tmp_path / NAME).write_bytes(whole.replace(b"0.2", b"0.3"))
    with Journal(tmp_path / NAME, "key") as journal:
        assert journal.done == {0: [{"a": 0.1}]}
    (tmp_path / NAME).write_bytes(whole)
    with Journal(tmp_path / NAME, "other") as journal:
        assert journal.done == {}
        assert journal.fresh


def test_other_inputs_are_not_mixed(tile, tmp_path, capsys):
    key = "another run"
    with Journal(tmp_path / NAME, key) as journal:
        journal.add(0, [{"number": 1}])
    code, _, err = screened(capsys, tile, *SNOW, "--out", tmp_path)
    assert code == 0
    assert "begins anew" in err


def test_bad_buildings_stay_alone(tmp_path, capsys):
    file = write(tmp_path, broken_city())
    code, said, err = screened(capsys, file, *SNOW, "--out", tmp_path / "out")
    assert (code, err) == (0, "")
    data = json.loads((tmp_path / "out" / "screen.json").read_text())
    jsonschema.validate(data, SCHEMA)
    state = {one["id"]: one for one in data["buildings"]}
    assert len(state) == 12
    good = [f"house-{n}" for n in (11, 12)]
    assert all(state[name]["status"] == "screened" for name in good)
    for name in set(state) - set(good):
        assert state[name]["status"] == "failed", name
        assert "\n" not in state[name]["reason"]
        assert "internal" not in state[name]["reason"], state[name]
    assert "10 could not be screened" in said
    alone = tmp_path / "alone"
    assert screened(capsys, write(tmp_path, city(), "whole.json"), *SNOW, "--out", alone)[0] == 0
    whole = {one["id"]: one for one in json.loads((alone / "screen.json").read_text())["buildings"]}
    assert all(whole[name] == state[name] for name in good)


def test_ids_that_stand_twice_are_both_there(tmp_path, capsys):
    text = json.dumps(city(4)).replace('"house-2"', '"house-1"').replace('"house-3"', '"house-1"')
    assert screened(capsys, write(tmp_path, text), *SNOW, "--out", tmp_path / "out")[0] == 0
    found = json.loads((tmp_path / "out" / "screen.json").read_text())["buildings"]
    assert [one["id"] for one in found] == ["house-1", "house-1 (2)", "house-1 (3)", "house-4"]
    assert len({json.dumps(one["outline"]) for one in found}) == 4


def test_nothing_but_bad_buildings(tmp_path, capsys):
    tile = city(2)
    tile["vertices"] = [[0.0, 0.0, 0.0]] * len(tile["vertices"])
    code, said, _ = screened(capsys, write(tmp_path, tile), *SNOW, "--out", tmp_path / "out")
    assert code == 0
    assert "2 could not be screened" in said


def test_gml_and_site_file(tmp_path, capsys):
    site = tmp_path / "site.toml"
    site.write_text(
        '[project]\nname = "x"\n[site]\nstandard = "ASCE/SEI 7-22"\nground_snow = "50 psf"\n'
        'risk_category = "II"\nwinter_wind = 0.4\n[rail]\nodd = 1\n'
    )
    gml = ROOT / "tests/data/roofs/building_and_garage_lod2_citygml2.gml"
    code, said, _ = screened(capsys, gml, "--site", site, "--units", "US", "--out", tmp_path / "out")
    assert code == 0
    assert "lbf/ft" in said
    data = json.loads((tmp_path / "out" / "screen.json").read_text())
    assert data["buildings"][0]["level"] == "strength"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "empty|not JSON"),
        ("{", "not JSON"),
        ('{"type": "CityJSON", "version": "1.1", "CityObjects": {}, "vertices": []}', "no buildings"),
        ('{"type": "CityJSON", "version": "1.1", "CityObjects": [], "vertices": []}', "needs"),
    ],
)
def test_bad_tiles_are_refused(tmp_path, capsys, text, word):
    import re

    out = tmp_path / "out"
    said = refused(capsys, write(tmp_path, text), *SNOW, "--out", out)
    assert re.search(word, said)
    assert not out.exists()


def test_bad_options_are_refused(tile, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("viewer.batches.run.PATIENCE", "1s")
    out = ("--out", tmp_path / "out")
    layers = tmp_path / "layers.toml"
    layers.write_text(
        '[site]\nstandard = "measured"\nlevel = "measured"\n'
        '[[site.layers]]\ndepth = "1 m"\ndensity = ["200 kg/m^3"]\nplane = "S1"\n'
    )
    for words, right in (
        ((), "--ground-snow"),
        ((*SNOW, "--site", layers), "either"),
        (("--ground-snow", "1.5"), "has no unit"),
        (("--ground-snow", "-2 kN/m^2"), "above 0"),
        (("--ground-snow", "900 kN/m^2"), "at most"),
        (("--site", layers), "names a plane"),
        (("--site", tmp_path / "none.toml"), "no such file"),
        ((*SNOW, "--unit", "yd"), "unit"),
        ((*SNOW, "--processes", "0"), "processes"),
        ((*SNOW, "--cluster", "tcp://127.0.0.1:1"), "no scheduler answers|not installed"),
    ):
        import re

        said = refused(capsys, tile, *words, *out)
        assert re.search(right, said), said
    said = refused(capsys, tmp_path / "mesh.stl", *SNOW, *out)
    assert "no such file" in said
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_building_that_kills_its_process_is_named(tmp_path):
    """The process dies on one building: that one is told, its neighbors in the batch are calculated."""
    from roofmodel.screening import ScreenRules
    from roofmodel.shape.tile import read_tile
    from roofmodel.sliding.thrust import SlideOptions
    from roofmodel.snow.inputs import EnSite

    batches = batches_of(read_tile(write(tmp_path, city(8))), BATCH)
    with Journal(tmp_path / NAME, "key") as journal:
        rules = ScreenRules(EnSite(ground_snow=1e3), SlideOptions())
        found = run_batches(batches, Work(deadly, rules, failed), journal, lambda done, total: None, 2)
    assert [one["number"] for one in found] == list(range(1, 9))
    assert [one["number"] for one in found if one["status"] == "failed"] == [3]
    assert "died twice" in found[2]["reason"]


def deadly(batch, rules):
    from viewer.screen.work import screen_batch

    if any(one.number == 3 for one in batch):
        os.kill(os.getpid(), signal.SIGKILL)
    return screen_batch(batch, rules)


@pytest.mark.slow
def test_an_address_that_is_none_is_refused_at_once_and_quietly(tile, tmp_path):
    pytest.importorskip("distributed")
    began = time.monotonic()
    for address in ("nonsense", "http://localhost:8786", "tcp://"):
        code, out, err = screen(tile, *SNOW, "--out", tmp_path / "out", "--cluster", address)
        assert (code, out) == (2, "")
        assert len(err.splitlines()) == 1
        assert f"--cluster {address}" in err
    assert time.monotonic() - began < 45.0
    assert not (tmp_path / "out").exists()


def test_long_ids_keep_head_and_tail():
    first, other = (f"UUID_{n}9810e-cbdf-43ba-89d5-ed338c7b3d1{n}" for n in (1, 2))
    assert short_id("house 7") == "house 7"
    assert short_id(first) != short_id(other)
    assert len(short_id(first)) == 24
    assert first.startswith(short_id(first).split("…")[0])
    assert first.endswith(short_id(first).split("…")[1])


def test_the_map_says_which_buildings_its_numbers_are(tmp_path):
    found = planned(tmp_path)
    drawing = map_drawing(found)
    words = [text.text for text in drawing.texts]
    size = {text.size for text in drawing.texts}
    assert min(size) >= 25.0  # 9 points where the map is as wide as an A4 page
    b, e = found.ranking[0]
    assert short_id(str(found.buildings[b]["id"]), 23) in words
    assert any(found.edge((b, e))["edge"] in word for word in words)
    for text in drawing.texts:
        left, _, right, _ = box_of(text)
        assert 0.0 <= left < right <= drawing.size[0] + 1.0, text.text


def planned(tmp_path):
    """A tile screened in this process."""
    plan = plan_screening(write(tmp_path, city(5)), SNOW[1], None, "SI")
    return screen_findings(plan, screen_batch(plan.buildings, plan.rules))


@pytest.mark.slow
def test_a_cluster_gives_the_same_bytes(tile, plain, tmp_path):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        code, _, err = screen(tile, *SNOW, "--out", tmp_path, "--cluster", cluster.scheduler_address)
    assert (code, err) == (0, "")
    assert contents(tmp_path) == plain
