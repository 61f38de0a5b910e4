"""The commands as a user meets them: files, exit codes, streams."""

from __future__ import annotations

import csv
import hashlib
import itertools
import json
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import meshio
import numpy as np
import pytest
import shapely
from small_project import GOOD, IMPORTED, changed, command, gable_mesh, put, run, stl

import viewer
from roofmodel.project.load import load_project
from roofmodel.snow import snow_cases
from roofmodel.units import SYSTEMS
from viewer.starter import STANDARDS, starter_text

SCHEMA = json.loads((Path(viewer.__file__).parent / "results.schema.json").read_text(encoding="utf-8"))
SHAPES = ("shed", "gable", "hip", "L", "two-level")
FILES = {
    "results.json",
    "attachments.csv",
    "roof.vtu",
    "rails.vtu",
    "clamps.vtu",
    "structure.inp",
    "building.csv",
    "report.html",
}


def passing() -> str:
    """A project that keeps every limit."""
    text = changed("[design]", '[analysis]\nstrip_width = "0.5 m"\n\n[design]\nrail_height_ratio = 0.05')
    text = changed('"200 MPa"', '"200 MPa"\ndeflection_ratio = 50', text)
    return changed('"1.8 kN/m^2"', '"0.5 kN/m^2"', text)


@pytest.fixture(scope="module", params=["SI", "US"])
def checked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Project and results folder of a checked two-level roof, in each unit system."""
    folder = tmp_path_factory.mktemp("checked")
    project = put(folder, starter_text("two-level", request.param))
    with pytest.MonkeyPatch.context() as patch:
        assert run(["check", str(project), "--out", str(folder / "out"), "--no-picture"], patch) in (0, 1)
    return project, folder / "out"


def results(out: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((out / "results.json").read_text(encoding="utf-8"))
    return found


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import sys; sys.argv = ['eavewright', '--help']\n"
        "from viewer.cli import main\n"
        "try: main()\n"
        "finally:\n"
        "    heavy = {'numpy', 'scipy', 'pint', 'pydantic', 'pyvista', 'vtkmodules', 'shapely', 'rich'}\n"
        "    print('loaded:', sorted(heavy & set(sys.modules)))\n"
    )
    told = command(folder=tmp_path, code=code)
    assert "loaded: []" in told.stdout, told.stdout + told.stderr
    assert "Check a project" in told.stdout
    assert "licensed engineer" in told.stdout


def test_what_is_put_off_is_loaded_when_it_is_used(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from viewer.lazily import put_off\n"
        "put_off(); import scipy.sparse, scipy.linalg\n"
        "print('loaded:', sorted({'numpy.f2py.f2py2e', 'unittest'} & set(sys.modules)))\n"
        "import numpy; numpy.testing.assert_allclose(1.0, 1.0 + 1e-9); print(callable(numpy.f2py.run_main))\n"
        "try: numpy.testing.assert_allclose(1.0, 2.0)\n"
        "except AssertionError: print('told')\n"
    )
    told = command(folder=tmp_path, code=code)
    assert told.stdout.split("\n")[:3] == ["loaded: []", "True", "told"], told.stdout + told.stderr


def test_version(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"], monkeypatch) == 0
    assert re.match(r"eavewright, version (\d+\.\d+|unknown)", capfd.readouterr().out)


@pytest.mark.parametrize(
    ("shape", "units"), [*zip(SHAPES, itertools.cycle(["US", "SI"]), strict=False), ("L", "SI")]
)
def test_new_writes_a_project_that_can_be_checked(
    shape: str, units: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    project = tmp_path / "mine.toml"
    assert run(["new", shape, "--units", units, "--out", str(project)], monkeypatch) == 0
    assert "eavewright check" in capfd.readouterr().out
    text = put(
        tmp_path,
        re.sub(r"\n\[design\]", '\n[analysis]\nstrip_width = "1 m"\n\n[design]', project.read_text()),
    )
    code = run(["check", str(text), "--out", str(tmp_path / "out"), "--no-picture"], monkeypatch)
    assert code in (0, 1), capfd.readouterr().err
    found = results(tmp_path / "out")
    jsonschema.validate(found, SCHEMA)
    assert found["project"]["units"] == units
    assert all(proof["met"] for proof in found["self_audit"])


@pytest.mark.parametrize("units", ["SI", "US"])
@pytest.mark.parametrize("standard", STANDARDS)
def test_new_knows_every_standard(
    standard: str, units: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = tmp_path / "mine.toml"
    given = ["new", "two-level", "--units", units, "--standard", standard, "--out", str(project)]
    assert run(given, monkeypatch) == 0
    loaded = load_project(project)
    assert loaded.site.standard == standard
    assert {case.standard for case in snow_cases(loaded.roof, loaded.site).cases} == {standard}


def test_new_imported_can_be_checked_once_the_roof_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = tmp_path / "project.toml"
    assert run(["new", "imported", "--out", str(project)], monkeypatch) == 0
    put(tmp_path, stl(*gable_mesh()), "roof.stl")
    assert load_project(project).roof.planes.name == ("S1", "N1")


def test_new_replaces_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    project = put(tmp_path, "mine")
    assert run(["new", "gable", "--out", str(project)], monkeypatch) == 2
    assert "exists already; choose another name with --out" in capfd.readouterr().err
    assert project.read_text() == "mine"
    assert run(["new", "gable", "--out", str(tmp_path / "no" / "p.toml")], monkeypatch) == 2
    assert "does not exist" in capfd.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["chek"], ["chek", "--help"]),
        (["check"], ["PROJECT", "check --help"]),
        (["check", "p.toml", "--out"], ["--out"]),
        (["check", "p.toml", "--out", "o", "--pictures"], ["--pictures", "--picture"]),
        (["check", "p.toml", "q.toml", "--out", "o"], ["q.toml"]),
        (["check", "nowhere.toml", "--out", "o"], ["nowhere.toml", "no such file"]),
        (["check", ".", "--out", "o"], [".", "is a folder", "give the project file"]),
        (["check", "/dev/null", "--out", "o"], ["null", "not a regular file"]),
        (["check", "x" * 300, "--out", "o"], ["cannot be read"]),
        (["new"], ["{shed|gable|hip|L|two-level|imported}|SHAPE"]),
        (["new", "barrel"], ["barrel", "two-level"]),
        (["new", "gable", "--units", "metric"], ["metric", "SI"]),
        (["new", "gable", "--standard", "ASCE 7-10"], ["ASCE 7-10", *STANDARDS]),
    ],
)
def test_wrong_command_is_told_in_one_line(
    arguments: list[str],
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(arguments, monkeypatch) == 2
    told = capfd.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.startswith("eavewright: ")
    for word in words:
        assert any(one in told.err for one in (word, *word.split("|"))), f"{word!r} is not in: {told.err}"
    assert list(tmp_path.iterdir()) == []


def test_out_must_be_a_folder_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    project = put(tmp_path, GOOD)
    for out in (project, project / "below"):
        assert run(["check", str(project), "--out", str(out)], monkeypatch) == 2
        assert "is a file; give a folder for the results" in capfd.readouterr().err
    assert project.read_text() == GOOD
    (tmp_path / "out").mkdir()
    taken = put(tmp_path / "out", GOOD, "results.json")
    assert run(["check", str(taken), "--out", str(tmp_path / "out")], monkeypatch) == 2
    assert "results.json there is an input of this project; choose another folder" in capfd.readouterr().err
    city = put(tmp_path, stl(*gable_mesh()), "out/roof.vtu")
    shutil.move(city, tmp_path / "out" / "roof.stl")
    (tmp_path / "out" / "roof.vtu").symlink_to(tmp_path / "out" / "roof.stl")
    inside = put(tmp_path, changed("roof.stl", "out/roof.stl", IMPORTED))
    assert run(["check", str(inside), "--out", str(tmp_path / "out")], monkeypatch) == 2
    assert "roof.vtu there is an input" in capfd.readouterr().err


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everywhere")
def test_out_must_be_writable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    project, locked = put(tmp_path, GOOD), tmp_path / "locked"
    locked.mkdir(mode=0o500)
    for out in (locked, locked / "below"):
        assert run(["check", str(project), "--out", str(out)], monkeypatch) == 2
        assert "cannot be written" in capfd.readouterr().err


def test_exit_codes_and_streams(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """0 kept, 1 exceeded or not verified, 2 bad input; the answer on stdout, what goes on on stderr."""
    folder = tmp_path / "Straße 7, Nº 3"
    folder.mkdir()
    put(folder, passing(), "good.toml")
    put(folder, changed('anchorage = "9 kN"\n', "", passing()).replace(
        'anchorage_kind = "characteristic"\nanchorage_factor = 1.33\n', ""
    ), "open.toml")  # fmt: skip
    put(folder, changed('"7 kN"', '"0.01 kN"', passing()), "weak.toml")
    put(folder, changed('"7 kN"', '"7"', passing()), "bad.toml")
    before = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}
    monkeypatch.chdir(folder)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "80")
    for name, code, word in (("good", 0, ""), ("open", 1, "NOT VERIFIED"), ("weak", 1, "EXCEEDED")):
        out = f"Ergebnisse {name} – Dach"
        words = ["check", f"{name}.toml", "--out", out, "--no-picture"]
        if name == "weak":  # as a process of its own too
            done = command(*words, folder=folder)
            found, said, told = done.returncode, done.stdout, done.stderr
        else:
            found = run(words, monkeypatch)
            said, told = capfd.readouterr()
        assert found == code, said + told
        assert word in said.upper()
        assert word or not any(w in said.upper() for w in ("NOT VERIFIED", "EXCEEDED"))
        assert "Test shed" in said
        assert all(line.endswith(" ...") for line in told.splitlines()), told
        assert {p.name for p in (folder / out).iterdir()} == FILES
        assert max(map(len, said.splitlines())) <= 80
    assert run(["check", "bad.toml", "--out", "never"], monkeypatch) == 2
    said, told = capfd.readouterr()
    assert said == ""
    assert told.count("\n") == 1
    assert not (folder / "never").exists()
    after = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.glob("*.toml")}
    assert after == before


def test_where_it_is_run_from_does_not_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    project = put(tmp_path / "a", IMPORTED)
    put(tmp_path / "a", stl(*gable_mesh()), "roof.stl")
    found = []
    for place, path in (
        (tmp_path / "a", "project.toml"),
        (tmp_path / "b", "../a/project.toml"),
        (tmp_path, project),
    ):
        monkeypatch.chdir(place)
        assert run(["check", str(path), "--out", "out", "--no-picture"], monkeypatch) in (0, 1)
        one = results(place / "out")
        del one["created"], one["seconds"]
        found.append(one)
    assert found[0] == found[1] == found[2]


def test_second_run_gives_the_same_files(checked: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    project, out = checked
    before = (
        results(out),
        {name: (out / name).read_bytes() for name in FILES - {"results.json", "report.html"}},
    )
    assert run(["check", str(project), "--out", str(out), "--no-picture"], monkeypatch) in (0, 1)
    again = results(out)
    for one in (before[0], again):
        one.pop("created"), one.pop("seconds")
    assert again == before[0]
    for name, content in before[1].items():
        assert (out / name).read_bytes() == content, name
    assert {p.name for p in out.iterdir()} == FILES, "no temporary file may stay"


def test_results_follow_their_schema(checked: tuple[Path, Path]) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    found = results(checked[1])
    jsonschema.validate(found, SCHEMA, format_checker=jsonschema.FormatChecker())
    digest = hashlib.sha256(checked[0].read_bytes()).hexdigest()
    assert found["input"] == {"file": "project.toml", "sha256": digest}
    for broken in ({**found, "more": 1}, {k: v for k, v in found.items() if k != "verdict"}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(broken, SCHEMA)


def parts_of(schema: Any, path: str = "results") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every named key of the schema."""
    if isinstance(schema, dict):
        for name, inner in schema.get("properties", {}).items():
            yield f"{path}.{name}", inner
        for name, inner in schema.items():
            yield from parts_of(inner, path if name in ("items", "properties") else f"{path}.{name}")
    elif isinstance(schema, list):
        for inner in schema:
            yield from parts_of(inner, path)


def test_schema_describes_every_key_and_its_unit() -> None:
    for path, inner in parts_of(SCHEMA):
        assert inner.get("description"), f"{path} is not described"
        numbers = inner.get("type") in ("number", ["number", "null"])
        told = "[" in inner["description"] or path.endswith((".snow", ".dead", ".thermal", ".value"))
        assert not numbers or told, f"{path} has no unit"


def test_every_case_list_has_one_entry_per_case(checked: tuple[Path, Path]) -> None:
    found = results(checked[1])
    cases, clamps = len(found["cases"]), len(found["clamps"])
    assert cases > 1

    def walk(value: Any, name: str) -> int:
        if isinstance(value, dict):
            return sum(
                walk(inner, name if name.endswith("_per_case") else key) for key, inner in value.items()
            )
        if name.endswith("_per_case"):
            assert len(value) == cases, name
            return 1
        return sum(walk(inner, name) for inner in value) if isinstance(value, list) else 0

    assert walk(found, "") > 10 * clamps


def test_results_agree_with_themselves(checked: tuple[Path, Path]) -> None:
    """Sliding balance closes, rows hold what is caught, utilization is demand over resistance."""
    found = results(checked[1])
    slide = {k: np.array(v) for k, v in found["sliding"].items() if isinstance(v, list) and k != "edges"}
    out = sum(slide[k] for k in ("caught", "friction", "over_edges", "gutters", "canceled_in_valleys"))
    np.testing.assert_allclose(out, slide["driving"], rtol=1e-9)
    down = sum(np.array(row["force_per_case"]).sum(axis=1) for row in found["rows"])
    np.testing.assert_allclose(down, slide["caught"], rtol=1e-9)
    hand = sum(np.array(clamp["tributary_per_case"]) for clamp in found["clamps"])
    np.testing.assert_allclose(hand, slide["caught"], rtol=1e-9)
    for limit in found["limits"]:
        known = [
            u is not None and r is not None
            for u, r in zip(limit["worst_utilization"], limit["resistance"], strict=True)
        ]
        ratio = [
            d / r if r else 0.0
            for d, r, k in zip(limit["worst_demand"], limit["resistance"], known, strict=True)
            if k
        ]
        use = [u for u, k in zip(limit["worst_utilization"], known, strict=True) if k]
        loaded = np.array(use) > 0.0
        np.testing.assert_allclose(
            np.array(ratio)[loaded], np.array(use)[loaded], rtol=1e-6, err_msg=limit["name"]
        )
    largest = max(u for limit in found["limits"] for u in limit["worst_utilization"] if u is not None)
    assert found["governing"]["utilization"] == pytest.approx(largest, rel=1e-12)
    assert (found["verdict"] == "exceeded") == (largest > 1.0)


def test_attachments_agree_with_results(checked: tuple[Path, Path]) -> None:
    found = results(checked[1])
    system = SYSTEMS[found["project"]["units"]]
    with (checked[1] / "attachments.csv").open(encoding="utf-8-sig", newline="") as file:
        lines = list(csv.DictReader(file))
    assert [line["attachment"] for line in lines] == [clamp["name"] for clamp in found["clamps"]]
    names = [case["name"] for case in found["cases"]]
    force, length = system.label("force"), system.label("length")
    strength = {
        limit["name"]: limit["resistance"][0]
        for limit in found["limits"]
        if limit["target"] == "clamp" and limit["unit"] == "N"
    }
    for line, clamp in zip(lines, found["clamps"], strict=True):
        q = names.index(line["worst case"])
        combined = clamp["utilization_per_case"]["clamp combined"]
        assert q == int(np.argmax(combined))
        assert float(line["utilization"]) == pytest.approx(combined[q], abs=5.1e-5)
        assert line["status"] == ("EXCEEDED" if combined[q] > 1.0 else "kept")
        assert float(line[f"along row [{length}]"]) == pytest.approx(
            system.convert(clamp["along_row"], "length"), abs=5.1e-4
        )
        newton = {f"tributary [{force}]": clamp["tributary_per_case"][q]}
        for name, resistance in strength.items():
            used = clamp["utilization_per_case"][name][q]
            if used:  # a direction that hardly counts is not loaded, and has its small demand in the table
                newton[f"demand {name.removeprefix('clamp ')} [{force}]"] = used * resistance
        assert len(newton) >= 2
        for name, value in newton.items():
            right = system.convert(float(value), "force")
            assert float(line[name]) == pytest.approx(right, rel=5.1e-4, abs=1e-9), name
        assert int(line["seam"]) == clamp["seam"]


def test_names_cannot_become_formulas(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    project = put(tmp_path, changed('name = "R1"', "name = '=1+2, \"R\"'"))
    assert run(["check", str(project), "--out", str(tmp_path / "out"), "--no-picture"], monkeypatch) in (0, 1)
    with (tmp_path / "out" / "attachments.csv").open(encoding="utf-8-sig", newline="") as file:
        first = next(csv.DictReader(file))
    assert first["row"] == '\'=1+2, "R"'


def test_meshes_read_back_with_the_right_totals(checked: tuple[Path, Path]) -> None:
    """Pressure times plan area over the cells is the weight of the zones, by exact integrals of polygons."""
    found, out = results(checked[1]), checked[1]
    roof = meshio.read(out / "roof.vtu")
    quads = roof.points[roof.cells_dict["quad"]][:, :, :2]
    turned = np.roll(quads, -1, axis=1)
    area = 0.5 * np.abs((quads[..., 0] * turned[..., 1] - quads[..., 1] * turned[..., 0]).sum(axis=1))
    assert area.sum() == pytest.approx(sum(plane["plan_area"] for plane in found["roof"]["planes"]), rel=1e-9)
    plan = {
        plane["name"]: shapely.Polygon(np.array(plane["outline"])[:, :2]) for plane in found["roof"]["planes"]
    }
    for number, case in enumerate(found["cases"], 1):
        pressure = roof.cell_data[f"pressure Pa, {number} {case['name']}"][0]
        weight = 0.0
        for zone in case["zones"]:
            part = shapely.intersection(shapely.from_wkt(zone["polygon_wkt"]), plan[zone["plane"]])
            if part.area > 0.0:
                p = zone["pressure"]
                middle = p["constant"] + p["per_x"] * part.centroid.x + p["per_y"] * part.centroid.y
                weight += part.area * middle
        assert (pressure * area).sum() == pytest.approx(weight, rel=1e-6), case["name"]
    clamps = meshio.read(out / "clamps.vtu")
    np.testing.assert_allclose(clamps.points, [clamp["position"] for clamp in found["clamps"]], atol=1e-9)
    worst = [max(clamp["utilization_per_case"]["clamp combined"]) for clamp in found["clamps"]]
    np.testing.assert_allclose(clamps.point_data["clamp combined"], worst, rtol=1e-9)
    rails = meshio.read(out / "rails.vtu")
    ends = rails.points[rails.cells_dict["line"]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()
    assert length == pytest.approx(sum(row["length"] for row in found["rows"]), rel=1e-9)


def test_reader_that_leaves_early_is_no_error(tmp_path: Path) -> None:
    code = (
        "import os, sys; sys.argv = ['eavewright', 'fields']\n"
        "read, write = os.pipe(); os.close(read); os.dup2(write, 1)\n"
        "from viewer.cli import main; main()\n"
    )
    told = command(folder=tmp_path, code=code)
    assert told.stderr == ""
    assert told.returncode == 141


@pytest.mark.parametrize("terminal", [True, False])
def test_progress_is_for_terminals(terminal, monkeypatch, capsys):
    from viewer.stages import Stages

    monkeypatch.setattr("sys.stderr.isatty", lambda: terminal)
    monkeypatch.setenv("COLUMNS", "30")
    with Stages() as stages:
        stages.accept()
        stages.step("panel strip 3 of 20, and so on and so on")
    said = capsys.readouterr().err
    assert ("panel strip 3 of 20" in said) is terminal
    assert max(len(part) for part in said.split("\r")) <= 30 + len("\x1b[K")
