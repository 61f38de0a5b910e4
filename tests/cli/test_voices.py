"""Every command speaks alike: help with an example, quiet and JSON modes, completion, schemas."""

import json
from pathlib import Path

import jsonschema
import pytest
from small_project import GOOD, put, run

import viewer
from viewer.cli import SCHEMAS, commands


@pytest.mark.parametrize("name", sorted(commands.commands))
def test_help_shows_an_example(name, capsys, monkeypatch):
    assert run([name, "--help"], monkeypatch) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert f"Example: eavewright {name}" in words
    assert "--quiet" in words


@pytest.mark.parametrize("name", sorted(commands.commands))
def test_no_command_asks_where_to_write(name):
    """Whoever gives no folder finds the results in one that the help names."""
    out = next((option for option in commands.commands[name].params if option.name == "out"), None)
    assert out is None or (out.default and not out.required and out.show_default), name


def test_quiet_says_nothing(tmp_path, monkeypatch, capsys):
    project = str(put(tmp_path, GOOD))
    for name in ("check", "handover", "snow"):
        more = ["--no-picture"] if name == "check" else []
        assert run([name, project, "--out", str(tmp_path / name), "--quiet", *more], monkeypatch) in (0, 1)
        said = capsys.readouterr()
        assert (said.out, said.err) == ("", "")
        assert any((tmp_path / name).iterdir())


def test_quiet_still_names_errors(tmp_path, monkeypatch, capsys):
    assert run(["check", str(tmp_path / "no.toml"), "--out", "x", "--quiet"], monkeypatch) == 2
    assert "no.toml" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "file"), [("check", "results.json"), ("snow", "snow.json"), ("handover", "handover.json")]
)
def test_json_is_what_was_written(name, file, tmp_path, monkeypatch, capsys):
    project = str(put(tmp_path, GOOD))
    more = ["--no-picture"] if name == "check" else []
    assert run([name, project, "--out", str(tmp_path / "out"), "--json", *more], monkeypatch) in (0, 1)
    said = json.loads(capsys.readouterr().out)
    assert said == json.loads((tmp_path / "out" / file).read_text())


@pytest.mark.parametrize("name", SCHEMAS)
def test_schemas_are_schemas(name, monkeypatch, capsys):
    assert run(["schema", name], monkeypatch) == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(capsys.readouterr().out))


def test_every_schema_can_be_printed():
    files = {path.name.split(".")[0] for path in Path(viewer.__file__).parent.glob("*.schema.json")}
    assert files == set(SCHEMAS)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_knows_the_program(shell, monkeypatch, capsys):
    assert run(["completion", shell], monkeypatch) == 0
    assert "_EAVEWRIGHT_COMPLETE" in capsys.readouterr().out


def test_completion_offers_the_commands(monkeypatch, capsys):
    monkeypatch.setenv("_EAVEWRIGHT_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", "eavewright ")
    monkeypatch.setenv("COMP_CWORD", "1")
    run(["x"], monkeypatch)
    assert set(commands.commands) <= {line.split(",")[1] for line in capsys.readouterr().out.split()}
