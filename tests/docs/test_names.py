"""Every name a person meets has a verdict: whose word it is. New names are thought about before they land."""

import re
import tomllib
from pathlib import Path

import pytest

from viewer.docs.names import GROUPS, KINDS, all_names, names_page, verdicts

ROOT = Path(__file__).parents[2]
FOUND = all_names()
GIVEN = verdicts()


@pytest.mark.parametrize("group", GROUPS)
def test_every_name_has_a_verdict_and_every_verdict_a_name(group: str) -> None:
    """Add new names to viewer/docs/names.toml, with the source or the reason; strike those that are gone."""
    without = sorted(set(FOUND[group]) - set(GIVEN[group]))
    assert not without, "no verdict in viewer/docs/names.toml: trade, standard, general or our own?"
    assert not sorted(set(GIVEN[group]) - set(FOUND[group])), "gone from the program"


def test_no_name_stands_twice_in_a_list() -> None:
    """Lists merge by union: what both sides moved would stay twice."""
    read = tomllib.loads((ROOT / "viewer" / "docs" / "names.toml").read_text(encoding="utf-8"))
    for group, kinds in read.items():
        names = [name for sources in kinds.values() for some in sources.values() for name in some]
        assert not sorted({name for name in names if names.count(name) > 1}), group
    lines = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()
    entries = [line for line in lines if line.startswith("- ")]
    assert not sorted({line for line in entries if entries.count(line) > 1})


def test_verdicts_say_why() -> None:
    for group in GIVEN.values():
        for name, (kind, source) in group.items():
            assert kind in KINDS, name
            assert len(source) > 5, name


def test_names_are_read_from_the_program() -> None:
    """One name of each place that a person meets."""
    for group, name in (
        ("commands", "check"),
        ("options", "--ground-snow"),
        ("options", "--no-picture"),
        ("keys", "seam_spacing"),
        ("keys", "specimen"),
        ("keys", "heap"),
        ("values", "double lock"),
        ("results", "utilization"),
        ("files", "plan.dxf"),
        ("files", "investigation.html"),
        ("labels", "Attachments"),
        ("labels", "Undo"),
        ("labels", "Seam to seam"),
        ("labels", "Add a splice"),
        ("labels", "Self-audit"),
        ("screens", "pane-rows"),
        ("colors", "SNOW_ANCHORS"),
        ("colors", "layer CLAMPS"),
    ):
        assert name in FOUND[group], name


def test_the_page_shows_them_all() -> None:
    rows = [line for line in names_page().splitlines() if line.startswith("| `")]
    assert len(rows) == sum(len(names) for names in FOUND.values())


OTHER_WORDS = {
    "skylight": "roof-?lights?|rooflights?",
    "obstruction": "roof penetrations?",
    "row": "snow (?:fences?|guards?|bars?|rails?)",
    "clamp": "seam (?:grips?|brackets?|clips? of the rail)",
    "rail": "cross ?bars?|snow (?:pipes?|tubes?)",
    "panel strip": "panel strings?|sheet strips?",
    "fixed point": "panel pins?|pinning points?",
    "utilization": "utili[sz]ation ratios?|unity checks?|usage ratios?",
    "solar array": "solar panels?|photovoltaics?|PV arrays?",
    "investigation": "forensics?|post-mortems?",
}
TEXTS = [
    *(ROOT / "viewer" / "docs" / "pages").glob("*.md"),
    *(path for path in (ROOT / "viewer" / "app" / "static").glob("*.js") if path.name != "three.js"),
    *(ROOT / "viewer" / "templates").glob("*.j2"),
    *(path for floor in ("roofmodel", "fea", "viewer") for path in (ROOT / floor).rglob("*.py")),
    ROOT / "README.md",
]


@pytest.mark.parametrize("word", OTHER_WORDS)
def test_one_thing_has_one_word(word: str) -> None:
    """The glossary's word, on pages, screens and in code."""
    assert word in (ROOT / "viewer" / "docs" / "pages" / "glossary.md").read_text(encoding="utf-8")
    other = re.compile(rf"\b(?:{OTHER_WORDS[word]})\b", re.IGNORECASE)
    found = {
        f"{path.relative_to(ROOT)}: {hit[0]}"
        for path in TEXTS
        if path.name != "considered.py"  # titles of clauses
        for hit in other.finditer(path.read_text(encoding="utf-8"))
    }
    assert found == set()
