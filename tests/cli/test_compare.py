"""Checks side by side: a column is what a check of its own says, and nothing of it is written."""

import json
import re

import pytest
from small_project import GOOD, put, run

from fea.analysis import analyze
from roofmodel.project.load import with_rows
from roofmodel.units import SYSTEMS
from tests.checks.test_off_place import wing
from viewer.compare import worse_for_closer

COLUMN = re.compile(r"^clamp combined\s+(.*)$", re.MULTILINE)


def check(folder, monkeypatch, capsys, *more, text=GOOD, name="project.toml"):
    """Exit code, and what was said on standard output."""
    project = put(folder, text, name)
    monkeypatch.setenv("COLUMNS", "100")
    code = run(["check", str(project), "--out", str(folder / "out"), "--no-picture", *more], monkeypatch)
    return code, capsys.readouterr()


def used(said):
    """Use of each column by the limit that takes all directions of a clamp together, as printed."""
    return re.findall(r"[\d.]+ %", COLUMN.findall(said.out[said.out.index("Side by side") :])[0])


def alone(said):
    return re.search(r"^clamp combined\s.*?([\d.]+ %)", said.out, re.MULTILINE)[1]


def test_other_spacings_are_what_their_own_projects_say(tmp_path, monkeypatch, capsys):
    _, said = check(tmp_path, monkeypatch, capsys, "--every", "1", "--every", "2", "--every", "3")
    found = used(said)
    assert found[0] == found[1]  # the project has a clamp on every seam
    for n, use in zip((2, 3), found[2:], strict=True):
        text = GOOD.replace('up = "0.6 m"', f'up = "0.6 m"\nevery = {n}')
        _, own = check(tmp_path, monkeypatch, capsys, text=text)
        assert alone(own) == use
    assert len(set(found)) == 3


def test_another_standard_is_what_its_own_project_says(tmp_path, monkeypatch, capsys):
    """The code is that of the project, whatever the other exceeds; no file of the other is written."""
    heavy = GOOD.replace("1.8 kN/m^2", "18 kN/m^2")
    other = put(tmp_path, heavy, "heavy.toml")
    code, said = check(tmp_path, monkeypatch, capsys, "--compare", str(other))
    assert "heavy.toml: " in said.out
    assert "EXCEEDED" in said.out
    written = json.loads((tmp_path / "out" / "results.json").read_text())
    assert written["input"]["file"] == "project.toml"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["heavy.toml", "out", "project.toml"]
    code_alone, _ = check(tmp_path, monkeypatch, capsys)
    assert code == code_alone
    code_heavy, own = check(tmp_path, monkeypatch, capsys, text=heavy, name="heavy.toml")
    assert code_heavy == 1
    assert used(said) == [alone(check(tmp_path, monkeypatch, capsys)[1]), alone(own)]


def test_files_of_one_name_are_told_with_their_folders(tmp_path, monkeypatch, capsys):
    (tmp_path / "b").mkdir()
    other = put(tmp_path / "b", GOOD)
    _, said = check(tmp_path, monkeypatch, capsys, "--compare", str(other))
    assert f"{other}: " in "".join(said.out.split("\n"))


def test_a_row_too_short_for_a_spacing_keeps_its_clamps_and_is_named(tmp_path, monkeypatch, capsys):
    short = GOOD.replace(
        "[design]", '[[row]]\nname = "R2"\nplane = "S1"\nup = "2 m"\nend = "1.1 m"\n\n[design]'
    )
    _, said = check(tmp_path, monkeypatch, capsys, "--every", "4", text=short)
    words = " ".join(said.out.split())
    assert "Too short for such clamps, with those of the project: R2." in words


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--compare", "nowhere.toml"], "nowhere.toml"),
        (["--every", "0"], "--every"),
        (["--every", "two"], "--every"),
        (["--every", "50"], "--every 50: no row"),
        ([word for n in range(1, 7) for word in ("--every", str(n))], "too many"),
    ],
)
def test_what_cannot_be_compared_is_refused_before_anything_is_written(
    more, words, tmp_path, monkeypatch, capsys
):
    code, said = check(tmp_path, monkeypatch, capsys, *more)
    assert code == 2
    assert words in said.err
    assert said.err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_reserves_name_their_snow_and_what_is_not_given(tmp_path, monkeypatch, capsys):
    """Multiples of characteristic and of strength-level snow are not alike; what nobody gave has no say."""
    bare = GOOD.replace(', pull = "4 kN"', "")
    other = put(tmp_path, bare, "bare.toml")
    _, said = check(tmp_path, monkeypatch, capsys, "--compare", str(other))
    words = " ".join(said.out[said.out.index("Side by side") :].split())
    assert "reserve on characteristic snow × " in words  # of both columns
    assert words.count("1.5 needed") + words.count("1.5 × ") == 2  # wrapped or not
    assert words.count(", of what is given") == 4  # of both governing attachments and reserves


@pytest.mark.parametrize("width", [80, 100])
def test_no_word_of_the_table_is_broken(tmp_path, monkeypatch, capsys, width):
    """Where columns do not fit beside one another they are told in several tables, the project in each."""
    other = put(tmp_path, GOOD, "a_rather_long_name.toml")
    monkeypatch.setenv("COLUMNS", str(width))
    more = ["--compare", str(other), *(f"--every={n}" for n in (1, 2, 3))]
    run(
        ["check", str(put(tmp_path, GOOD)), "--out", str(tmp_path / "out"), "--no-picture", *more],
        monkeypatch,
    )
    said = capsys.readouterr().out
    table = said[said.index("Side by side") : said.index("a_rather_long_name.toml: ")]
    words = table.split()
    assert max(map(len, table.splitlines())) <= width
    assert words.count("a_rather_long_name.toml") == 1
    assert words.count("project.toml") == table.count("Side by side")
    assert not set(words) & {"character", "charact", "istic", "ristic", "stic", "tic", "ic", "seam19"}
    assert words.count("verdict") == table.count("Side by side")


def test_closer_clamps_that_make_a_row_worse_are_explained(tmp_path):
    """W ends higher than S at their valley and takes a stream on its overhang: 1 + a / L of it."""
    for s, w, worse in ((1.0, 1.5, True), (2.0, 1.4, False)):
        project = wing(tmp_path, s, w)
        sparse, close = (
            analyze(with_rows(project, [row.model_copy(update={"every": n}) for row in project.table.row]))
            for n in (2, 1)
        )
        said = worse_for_closer(sparse, close)
        assert bool(said) is worse
        assert worse_for_closer(close, sparse) == []  # these have fewer clamps
        if not said:
            continue
        first, second = close.project.layout.clamp_s[close.project.layout.clamp_row == 1][:2]
        assert "worst one of W worse" in said[0]
        assert f"{SYSTEMS['SI'].text(float(first), 'size')} beyond it" in said[0]
        assert f"next clamp stands, {SYSTEMS['SI'].text(float(second - first), 'size')} here" in said[0]
