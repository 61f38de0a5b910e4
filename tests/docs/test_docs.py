"""The documentation: its commands run, its numbers are the tool's, its site is whole without the internet."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from viewer.cli import commands
from viewer.docs import figures as made
from viewer.docs.drawings_of_force import row_force
from viewer.docs.generated import commands_page, fields_page
from viewer.fields import models_in, tables

ROOT = Path(__file__).parents[2]
PAGES = sorted((ROOT / "viewer" / "docs" / "pages").glob("*.md"))
TUTORIAL = (ROOT / "viewer" / "docs" / "pages" / "tutorial.md").read_text()
MECHANICS = (ROOT / "viewer" / "docs" / "pages" / "mechanics.md").read_text()


def shell_lines(text):
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if "eavewright " in line]


def run(line):
    """Exit code of a line of the documentation, run in this process."""
    words = shlex.split(line, comments=True)
    words = words[next(i for i, word in enumerate(words) if word.endswith("eavewright")) + 1 :]
    try:
        commands.main(words, prog_name="eavewright", standalone_mode=False)
    except SystemExit as stop:
        return stop.code or 0
    return 0


def variants(folder):
    """The three files that the tutorial tells its reader to write."""
    text = re.search(r"```toml\n(.*?)```", TUTORIAL, re.DOTALL).group(1)
    whole = re.sub(r"(?m)^(start|end) = .*\n", "", text)
    (folder / "bakery.toml").write_text(text)
    (folder / "whole.toml").write_text(whole)
    (folder / "sparse.toml").write_text(whole.replace("[[row]]\n", "[[row]]\nevery = 2\n"))


@pytest.mark.slow
def test_tutorial_runs_as_written(tmp_path, monkeypatch, capsys):
    variants(tmp_path)
    monkeypatch.chdir(tmp_path)
    said = {}
    for line in shell_lines(TUTORIAL):
        expected = int(found[1]) if (found := re.search(r"# exit code (\d)", line)) else 0
        code = run(line)
        assert code == expected, line
        said[tuple(line.split()[1:3])] = " ".join(capsys.readouterr().out.split())
    for name, row, use in (("bakery", "door-01", 321), ("whole", "door-37", 77)):
        answer = said["check", f"{name}.toml"]
        assert f"{row} uses {use} % of its strength" in answer
        assert f"{use} %" in TUTORIAL
        assert row in TUTORIAL
    assert "by half" in TUTORIAL
    sparse = int(re.search(r"uses (\d+) % of its strength", said["check", "sparse.toml"])[1])
    assert 140 <= sparse <= 160
    assert re.search(r"door 37 3\.68 all along 3\.68", said["check", "whole.toml"])
    assert (tmp_path / "package" / "package.pdf").exists()


@pytest.mark.parametrize("path", [*PAGES, ROOT / "README.md"], ids=lambda path: path.name)
def test_commands_of_every_page_exist(path):
    """Every command and option on any page is known; files it reads from this project are there."""
    text = path.read_text()
    lines = [*shell_lines(text), *re.findall(r"`(eavewright [a-z][^`\n]*)`", text)]
    for line in lines:
        words = shlex.split(line, comments=True)
        words = words[next(i for i, word in enumerate(words) if word.endswith("eavewright")) + 1 :]
        command = commands.commands[words[0]]
        known = {option for param in command.params for option in (*param.opts, *param.secondary_opts)}
        assert {word for word in words if word.startswith("--")} - {"--help"} <= known, line
        for word in words[1:]:
            if word.startswith(("models/", "tests/")):
                assert (ROOT / word).exists(), line


@pytest.mark.slow
def test_readme_runs_from_an_empty_folder(tmp_path, monkeypatch, capsys):
    """What a new user types, line by line; `house.gml` is the user's own file."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(ROOT / "tests" / "data" / "roofs" / "building_and_garage_lod2_citygml2.gml", "house.gml")
    block = re.search(
        r"## The job in six commands\n\n```sh\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL
    ).group(1)
    done = []
    for line in block.splitlines():
        words = shlex.split(line, comments=True)
        if words[1] == "open":
            assert _first_line(line).startswith("http://127.0.0.1:")
        else:
            assert run(line) == 0, (line, capsys.readouterr().err)
        done.append(words[1])
        if "--out" in words:
            assert Path(words[words.index("--out") + 1]).exists(), line
    assert done == ["roof", "new", "plan", "check", "open", "handover"]


def _first_line(line):
    """What a line that serves until it is stopped says first."""
    words = [*shlex.split(line, comments=True)[1:], "--no-browser"]
    code = "import sys; sys.argv[0] = 'eavewright'; from viewer.cli import main; main()"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    program = subprocess.Popen(
        [sys.executable, "-c", code, *words], stdout=subprocess.PIPE, text=True, env=environment
    )
    try:
        return program.stdout.readline()
    finally:
        program.terminate()
        program.wait(20)
        program.stdout.close()


PROJECT_COMMANDS = sorted(
    {
        line.split("#")[0].strip().replace(".venv/bin/", "")
        for path in [*PAGES, ROOT / "README.md"]
        if path.name != "tutorial.md"
        for line in shell_lines(path.read_text())
        if "models/" in line or "tests/" in line
    }
    | {f"eavewright check models/{name}/project.toml" for name in ("sentier-house", "tannery-hall")}
    | {"eavewright snow models/tannery-hall/project.toml", "eavewright seam models/cedar-hollow/project.toml"}
    | {"eavewright plan models/granary-door/project.toml"}
)
MADE = {
    "blanket": "blanket.png",
    "check": "report.html",
    "handover": "package.pdf",
    "history": "history.png",
    "investigate": "investigation.html",
    "plan": "plan.json",
    "risk": "risk.png",
    "screen": "screen.html",
    "seam": "seam.html",
    "snow": "snow.html",
    "tests": "tests.png",
}
MAY_EXCEED = {"blanket", "check", "handover", "plan", "push"}


@pytest.mark.slow
@pytest.mark.parametrize("line", PROJECT_COMMANDS)
def test_commands_on_demos_run(line, tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    words = [str(tmp_path / "out") if before == "--out" else word for before, word in _pairs(line)]
    command = words[1]
    assert run(shlex.join(words)) in ((0, 1) if command in MAY_EXCEED else (0,))
    if command in MADE:
        assert (tmp_path / "out" / MADE[command]).stat().st_size > 0


def _pairs(line):
    words = shlex.split(line)
    words = words if "--out" in words else [*words, "--out", "x"]
    return zip(["", *words], words, strict=False)


def test_figures_say_what_the_pages_say():
    for name, (_, numbers) in made.figures().items():
        section = MECHANICS.split(f"figures/{name}.svg")
        assert len(section) == 2, name
        text = " ".join(section[1].split("\n## ")[0].split())
        for number in numbers:
            assert number in text, (
                f"{name}: the page does not say {number}; see viewer/docs/pages/mechanics.md"
            )


def test_figures_are_the_ones_computed_now(tmp_path):
    made.main(tmp_path)
    for path in sorted(tmp_path.glob("*.svg")):
        kept = made.FIGURES / path.name
        assert _numbers(kept) == pytest.approx(_numbers(path), abs=0.02), "run python -m viewer.docs.figures"


def _numbers(path):
    return [float(n) for n in re.findall(r"-?\d+\.?\d*", path.read_text())]


def test_force_of_the_figure_is_the_closed_form():
    """EN 1991-1-3 6.4: F = p b sin(theta), mu = 0.8 where snow is held (5.3.3)."""
    project = made.bakery()
    pitch = np.radians(35.0)
    run_above = 4.5 - 0.6 * np.cos(pitch)
    assert row_force(project)[0] == pytest.approx(0.8 * 2000.0 * run_above * np.sin(pitch), rel=1e-9)


def test_purlins_carry_the_weight_of_the_plane_and_no_more():
    analysis = made.checked()
    held = analysis.building.held.total[0, :6].sum()
    assert held == pytest.approx(0.8 * 2000.0 * 4.5 * 16.0, rel=1e-9)


def test_reference_names_every_field_and_command():
    fields, listed = fields_page(), commands_page()
    from roofmodel.project.schema import ProjectFile

    for title, model in tables(ProjectFile):
        assert f"## `{title}`" in fields
        for name, info in model.model_fields.items():
            assert models_in(info.annotation) or f"| `{name}` |" in fields
    for name, command in commands.commands.items():
        assert f"## {name}\n" in listed
        assert all(param.opts[0] in listed for param in command.params if param.opts[0].startswith("--"))


class Links(HTMLParser):
    def __init__(self):
        super().__init__()
        self.outside, self.inside, self.ids = [], [], set()

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.ids.add(attrs.get("id"))
        for key in ("href", "src"):
            target = attrs.get(key) or ""
            if tag != "a" and re.match(r"(https?:)?//", target):
                self.outside.append(target)
            if target and not re.match(r"(https?:)?//|#|mailto:", target):
                self.inside.append(target)


def test_site_is_built_without_warnings_and_needs_no_internet(tmp_path):
    pytest.importorskip("mkdocs")
    config = ROOT / "viewer" / "docs" / "mkdocs.yml"
    command = [
        sys.executable,
        "-m",
        "mkdocs",
        "build",
        "--strict",
        "-q",
        "-f",
        str(config),
        "-d",
        str(tmp_path),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    pages = {path: Links() for path in tmp_path.glob("*.html")}
    for path, links in pages.items():
        links.feed(path.read_text())
        assert not links.outside, path
    assert len(pages) >= 18
    for path, links in pages.items():
        for target in links.inside:
            name, _, anchor = target.partition("#")
            aim = path.parent / name
            assert aim.exists(), f"{path.name}: {target}"
            assert not anchor or anchor in pages[aim].ids, f"{path.name}: {target}"
    assert "url(" not in (tmp_path / "style.css").read_text()
