"""`fields`: every field of every file is listed with its words."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from pydantic import BaseModel
from small_project import run

from roofmodel.project.schema import ProjectFile
from roofmodel.project.site_schema import site_models
from viewer.fields import model_of, models_in, tables


def test_fields_lists_every_field_in_80_columns(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    assert run(["fields"], monkeypatch) == 0
    told = capfd.readouterr().out
    assert max(map(len, told.splitlines())) <= 80
    sections = {part.splitlines()[0]: part for part in re.split(r"\n\n+", told.strip())}
    reached: set[type[BaseModel]] = set()
    for title, model in tables(ProjectFile):
        reached.add(model)
        heads = [s for s in sections.values() if s.startswith(title)]
        for name, info in model.model_fields.items():
            if not models_in(info.annotation):
                found = [s for s in heads if re.search(rf"^  {name} +\S", s, re.MULTILINE)]
                words = " ".join((info.description or "").split())
                assert any(words in " ".join(s.split()) for s in found), f"{title} {name}"
    assert reached == set(all_models(ProjectFile)) - {ProjectFile, *holders(ProjectFile)}


def all_models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield model
    for info in model.model_fields.values():
        for inner in models_in(info.annotation):
            yield from all_models(inner)


def holders(model: type[BaseModel]) -> set[type[BaseModel]]:
    """Tables that hold nothing but other tables."""
    return {m for m in all_models(model) if all(models_in(f.annotation) for f in m.model_fields.values())}


@pytest.mark.parametrize("file", ["tests", "span", "investigate"])
def test_fields_of_the_other_files_are_listed_too(file, monkeypatch, capfd):
    """Every field of the file's own model, those above its tables included."""
    monkeypatch.setenv("COLUMNS", "80")
    assert run(["fields", file], monkeypatch) == 0
    told = capfd.readouterr().out
    assert max(map(len, told.splitlines())) <= 80
    models = [model_of(file), *(model for _, model in tables(model_of(file)))]
    for model in models:
        for name, info in model.model_fields.items():
            assert models_in(info.annotation) or re.search(rf"^  {name} +\S", told, re.MULTILINE), name


def test_fields_of_one_table(monkeypatch, capfd):
    assert run(["fields", "--table", "row"], monkeypatch) == 0
    told = capfd.readouterr().out
    heads = re.findall(r"^\S.*", told, re.MULTILINE)
    assert [head.split("  ")[0] for head in heads] == ["[[row]]", "row.splice = [{ ... }]"]
    assert run(["fields", "--table", "rows"], monkeypatch) == 2
    assert '--table "rows" is no table of this file; it has project, site, roof' in capfd.readouterr().err


def test_one_standard_lists_its_own_site_only(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    for name in site_models():
        assert run(["fields", "--table", "site", "--standard", name], monkeypatch) == 0
        text = capfd.readouterr().out
        assert text.count("[site]") == 1
        assert f'"{name}"; needed' in text
        assert ("site.layers" in text) is (name == "measured")
