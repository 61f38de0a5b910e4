"""A project on a base: its own tables whole, the rest from the base, whose files are found beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tomlkit
from small_project import GOOD, IMPORTED, US, changed, command, gable_mesh, stl

from roofmodel.errors import InputError
from roofmodel.project.load import load_project, load_roof
from viewer.app import messages
from viewer.app.session import change, open_state, reload, save
from viewer.app.view import state_data
from viewer.plan.export import _moved

ASCE = f"""\
builds_on = "common/en.toml"  # the same roof by another standard

[site]
{US}

[design]
format = "LRFD"

[panel]
metal = "steel"
seam_spacing = "500 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
anchorage = "9 kN"
anchorage_kind = "nominal"
anchorage_factor = 0.6

[clamp]
height = "35 mm"
grip_length = "60 mm"
strength_kind = "nominal"
factor = 0.6
stiffness = {{ along = "2.5 kN/mm", across = "1 kN/mm", pull = "4 kN/mm" }}
strength = {{ along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }}
"""


def pair(folder: Path, base: str = GOOD, text: str = ASCE) -> Path:
    (folder / "common").mkdir(exist_ok=True)
    (folder / "common" / "en.toml").write_text(base)
    path = folder / "us.toml"
    path.write_text(text)
    return path


def whole_file(folder: Path, base: str, text: str) -> Path:
    """What the two say together, in one file, by hand."""
    document = tomlkit.parse(base)
    for name, value in tomlkit.parse(text).items():
        if name != "builds_on":
            document[name] = value
    path = folder / "common" / "whole.toml"
    path.write_text(tomlkit.dumps(document))
    return path


@pytest.mark.parametrize("base", [GOOD, IMPORTED], ids=["built", "imported"])
def test_the_same_as_one_file_that_says_it_all(tmp_path: Path, base: str) -> None:
    path = pair(tmp_path, base)
    (tmp_path / "common" / "roof.stl").write_text(stl(*gable_mesh()))
    found, wanted = load_project(path), load_project(whole_file(tmp_path, base, ASCE))
    for name in type(found.table).model_fields:
        if name not in ("builds_on", "roof"):
            assert getattr(found.table, name) == getattr(wanted.table, name)
    np.testing.assert_array_equal(found.roof.points, wanted.roof.points)
    assert found.site == wanted.site
    assert found.source == "us.toml on common/en.toml"
    roof, table, digest = load_roof(path)
    np.testing.assert_array_equal(roof.points, found.roof.points)
    assert digest == found.digest
    assert table.builds_on == "common/en.toml"
    read = [tmp_path / "us.toml", tmp_path / "common" / "en.toml"]
    read += [tmp_path / "common" / "roof.stl"] if base == IMPORTED else []
    assert list(found.inputs) == read


def test_the_hash_holds_both_files(tmp_path: Path) -> None:
    path = pair(tmp_path)
    first = load_project(path).digest
    (tmp_path / "common" / "en.toml").write_text(GOOD + "# other\n")
    second = load_project(path).digest
    path.write_text(ASCE + "# other\n")
    assert len({first, second, load_project(path).digest}) == 3


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ('"gone.toml"', 'us.toml: builds_on: "gone.toml": there is no such file; give a project file'),
        ('"us.toml"', 'us.toml: builds_on: "us.toml" is this file itself'),
        ('"common"', 'us.toml: builds_on: "common": is a folder'),
        ('"common/chain.toml"', 'builds_on: "common/chain.toml" builds on another file itself'),
        ('"common/broken.toml"', 'builds_on: "common/broken.toml": is not valid TOML'),
        ('"common/empty.toml"', 'builds_on: "common/empty.toml": is empty'),
        ('""', "us.toml: builds_on: "),
        ('"a\\u0000b"', "us.toml: builds_on: "),
        ('"loop.toml"', 'us.toml: builds_on: "loop.toml": cannot be read'),
        ('"/dev/zero"', 'us.toml: builds_on: "/dev/zero": is not a regular file'),
        ("3", "us.toml: builds_on: 3 must be the name of a project file"),
        ('"common/weak.toml"', 'clamp.strength.along: "1 N" is outside'),
    ],
)
def test_a_bad_base_is_told_in_one_line(tmp_path: Path, name: str, words: str) -> None:
    pair(tmp_path)
    folder = tmp_path / "common"
    (folder / "chain.toml").write_text('builds_on = "en.toml"\n' + GOOD)
    (folder / "broken.toml").write_text("[project\n")
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    (folder / "empty.toml").write_text("")
    (folder / "weak.toml").write_text(changed('along = "7 kN"', 'along = "1 N"'))
    (tmp_path / "us.toml").write_text(f"builds_on = {name}\n")
    with pytest.raises(InputError) as raised:
        load_project(tmp_path / "us.toml")
    said = str(raised.value)
    assert words in said
    assert "\n" not in said
    assert said.startswith("us.toml: ")
    assert ("taken from common/weak.toml" in said) == ("weak" in name)


def test_check_runs_and_spares_the_base(tmp_path: Path) -> None:
    """Exit code 2 and one line for a bad base; outputs take the place of no input."""
    pair(tmp_path, text='builds_on = "common/no.toml"\n')
    done = command("check", "us.toml", folder=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "check").exists()


def test_the_app_shows_the_whole_and_writes_the_project_only(tmp_path: Path) -> None:
    path = pair(tmp_path)
    base = (tmp_path / "common" / "en.toml").read_bytes()
    state = open_state(path)
    assert state.now.text == ASCE
    assert not state.unsaved
    shown = state_data(state)
    assert [row["name"] for row in shown["rows"]] == ["R1"]
    assert shown["hardware"]["rail"]["diameter"] == "42 mm"
    edit = messages.SetField(id=1, type="set", revision=1, table="clamp", field=["height"], value="40 mm")
    state = change(state, edit)
    assert state.now.text == ASCE.replace('height = "35 mm"', 'height = "40 mm"')
    row = messages.SetRow(id=2, type="row", revision=2, row="R1", fields={"up": "0.8 m"})
    state = change(state, row)
    assert "[row] now stands in us.toml" in state.now.label
    assert state.now.project.table.row[0].up == pytest.approx(0.8)
    assert "[rail]" not in state.now.text
    state = save(state, state.revision)
    assert load_project(path).table == state.now.project.table
    assert (tmp_path / "common" / "en.toml").read_bytes() == base
    (tmp_path / "common" / "en.toml").write_text(changed('"42 mm"', '"48 mm"'))
    with pytest.raises(InputError, match="on which it builds, was changed since it was read"):
        save(state, state.revision)
    state = reload(state, state.revision)
    assert state_data(state)["hardware"]["rail"]["diameter"] == "48 mm"
    assert save(state, state.revision) is not None


def test_a_planned_project_elsewhere_finds_its_base_and_all_files(tmp_path: Path) -> None:
    path = tmp_path / "us.toml"
    text = '[rail]\nprofile = { file = "p.dxf" }\n[uncertainty.strength]\ntests = "t.toml"\n'
    (tmp_path / "plan").mkdir()
    found = tomlkit.parse(_moved('builds_on = "common/en.toml"\n' + text, _Named(path), tmp_path / "plan"))
    assert found["builds_on"] == "../common/en.toml"
    assert found["rail"]["profile"]["file"] == "../p.dxf"
    assert found["uncertainty"]["strength"]["tests"] == "../t.toml"


class _Named:
    """A project of which only the path counts."""

    def __init__(self, path: Path) -> None:
        self.path = path
