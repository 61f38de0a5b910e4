"""A project on a base: its own tables whole, the rest from the base, whose files are found beside it."""

from __future__ import annotations

import asyncio
import hashlib
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from small_project import GOOD, IMPORTED, US, changed, command, gable_mesh, stl

from roofmodel.errors import InputError
from roofmodel.project.load import load_project, load_roof
from viewer.app import messages
from viewer.app.answers import _start_export
from viewer.app.desk import Desk
from viewer.app.session import State, change, open_state, preview, reload, save
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


def test_what_moves_from_file_to_file_changes_the_hash(tmp_path: Path) -> None:
    """Rows of the project replace those of its base, those put on top of the base stand beside its own."""
    row, short = '[[row]]\nname = "R2"\nplane = "S1"\nup = "2 m"\n', 'builds_on = "common/en.toml"\n'
    one = load_project(pair(tmp_path, text=short + row))
    two = load_project(pair(tmp_path, base=row + GOOD, text=short))
    assert (len(one.table.row), len(two.table.row)) == (1, 2)
    assert one.digest != two.digest
    alone = tmp_path / "common" / "en.toml"
    assert load_project(alone).digest == hashlib.sha256(alone.read_bytes()).hexdigest()


def test_a_lent_roof_that_cannot_be_built_tells_where_it_is_from(tmp_path: Path) -> None:
    crossed = changed('footprint = "0 0, 6 0, 6 4, 0 4 m"', 'footprint = "0 0, 6 0, 0 4, 6 4 m"')
    path = pair(tmp_path, base=crossed, text='builds_on = "common/en.toml"\n')
    for read in (load_project, load_roof):
        with pytest.raises(InputError, match=r"\(\[roof\] is taken from common/en.toml\)$"):
            read(path)


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


def box(name: str, across: str) -> str:
    return (
        f'[[obstruction]]\nname = "{name}"\nplane = "S1"\nup = "2 m"\nacross = "{across}"\n'
        'width = "0.6 m"\ndepth = "0.6 m"\nheight = "1 m"\n'
    )


def standing(state: State) -> list[str]:
    return [one.name for one in state.now.project.table.obstruction]


@pytest.mark.parametrize("own", ["", box("vent", "4 m")], ids=["lent", "own"])
def test_the_last_thing_is_not_removed_for_one_of_the_base(tmp_path: Path, own: str) -> None:
    """Neither stays it without a word, nor comes another chimney that nobody put there."""
    short = 'builds_on = "common/en.toml"\n'
    path = pair(tmp_path, base=GOOD + box("flue", "2 m"), text=short + own)
    state = open_state(path)
    (name,) = standing(state)
    take = messages.RemoveThing(id=1, type="take", revision=1, table="obstruction", name=name)
    for step in (change, preview):
        with pytest.raises(InputError, match=r'nothing was removed.*from there; .*"obstruction = \[\]"'):
            step(state, take)
    path.write_text(f"{short}obstruction = []\n")  # as the message says
    state = open_state(path)
    assert standing(state) == []
    fields: dict[str, messages.Value] = {"name": "hood", "plane": "S1", "up": "2 m", "across": "3 m"}
    fields |= {"width": "0.6 m", "depth": "0.6 m", "height": "1 m"}
    add = messages.AddThing(id=1, type="put", revision=1, table="obstruction", fields=fields)
    state = change(state, add)
    assert standing(state) == ["hood"]
    take = messages.RemoveThing(id=2, type="take", revision=2, table="obstruction", name="hood")
    assert preview(state, take).project.roof.obstacles.name == ()
    assert change(state, take).now.text == path.read_text()


def test_one_of_two_lent_things_is_removed_and_the_other_is_own(tmp_path: Path) -> None:
    base = GOOD + box("flue", "2 m") + box("vent", "4 m")
    state = open_state(pair(tmp_path, base=base, text='builds_on = "common/en.toml"\n'))
    take = messages.RemoveThing(id=1, type="take", revision=1, table="obstruction", name="flue")
    state = change(state, take)
    assert standing(state) == ["vent"]
    assert "[obstruction] now stands in us.toml" in state.now.label


def test_no_export_of_a_base_that_is_not_shown(tmp_path: Path) -> None:
    path = pair(tmp_path)
    desk = Desk("", open_state(path))
    (tmp_path / "common" / "en.toml").write_text(changed('"42 mm"', '"48 mm"'))
    export = messages.Export(id=1, type="export", revision=1, folder="out", parts=["check"])
    with pytest.raises(InputError, match=r"en.toml, on which it builds, was changed .* nothing was exported"):
        asyncio.run(_start_export(desk, asyncio.Queue(), export))
    assert desk.export is None
    assert not (tmp_path / "out").exists()


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
