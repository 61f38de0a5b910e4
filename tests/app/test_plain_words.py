"""Refusals of forms in plain words; what is not loaded is called so and has no place."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from open_app import browser, copied, served

from fea.analysis import analyze
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from viewer.app.messages import read_message
from viewer.app.session import Version
from viewer.app.view import answer_data
from viewer.app.working import working_data

MODELS = Path(__file__).parents[2] / "models"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            {"type": "add", "revision": 1, "row": "r" * 300, "plane": "S1", "up": "1 m"},
            "Name of the row: is longer than 120 characters; shorten it",
        ),
        (
            {"type": "add", "revision": 1, "row": "", "plane": "S1", "up": "1 m"},
            "Name of the row: is empty; give one",
        ),
        (
            {"type": "export", "revision": 1, "folder": "f" * 300, "parts": ["check"]},
            "Folder: is longer than 120 characters; shorten it",
        ),
        ({"type": "export", "revision": 1, "folder": "a", "parts": []}, "parts: is empty; give at least one"),
        ({"type": "export", "revision": 1, "folder": "a", "parts": ["p"] * 13}, "parts: takes at most 12"),
    ],
)
def test_forms_are_refused_in_plain_words(said: dict[str, object], words: str) -> None:
    with pytest.raises(InputError) as told:
        read_message(json.dumps({"id": 1, **said}))
    assert str(told.value) == words


def test_what_is_not_loaded_has_no_place_and_no_demand() -> None:
    project = load_project(MODELS / "granary-door" / "project.toml")
    analysis = analyze(project, beyond=False)
    idle = {limit.name for limit in analysis.limits if not limit.utilization.any()}
    others = [one for one in answer_data(Version("", "", project, analysis))["others"] if one["name"] in idle]
    for one in others:
        assert (one["at"], one["demand"]) == ("–", "not loaded")
    lines = [one for one in working_data(analysis, "clamp", 0, None)["limits"] if one["use"] == 0.0]
    assert lines
    assert {one["demand"] for one in lines} == {"not loaded"}
    assert all(math.isfinite(one["use"]) for one in lines)


def test_the_tolerance_of_place_is_asked_for_by_revision(tmp_path: Path) -> None:
    with served(copied(tmp_path)) as client, browser(client) as one:
        said = one.ask(type="place")
        assert said["type"] == "place"
        assert "Tolerance of place: " in said["line"]
        assert one.ask(type="place", revision=99)["type"] == "error"
