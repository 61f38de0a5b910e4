"""Saving: whole or not at all, whatever happens to the program."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from open_app import copied

from roofmodel.errors import InputError
from viewer.app import messages
from viewer.app.session import _alone, again, change, open_state, reload, save, undo

ROOT = str(Path(__file__).parents[2])
ENDLESS = """
import dataclasses, os, signal, sys
from pathlib import Path
from viewer.app.session import open_state, save

state = open_state(Path(sys.argv[1]))
texts = [state.now.text, state.now.text + "# " + "x" * 800_000 + "\\n"]
for _ in range(8):
    if not (child := os.fork()):
        break  # a child saves until it is killed
    print(child, flush=True)
    os.waitpid(child, 0)
    sys.stdin.readline()
if child:
    sys.exit()
signal.alarm(60)  # whatever becomes of the test
number = 0
while True:
    number += 1
    now = dataclasses.replace(state.now, text=texts[number % 2])
    state = save(dataclasses.replace(state, now=now), state.revision)
"""


def moved(path):
    state = open_state(path)
    row = state.now.project.layout.row_name[0]
    edit = messages.SetRow(id=1, type="row", revision=1, row=row, fields={"up": "1.2 m"})
    return state, change(state, edit)


def test_killed_while_saving_the_file_is_the_old_or_the_new_one(tmp_path):
    path = copied(tmp_path)
    old = path.read_bytes()
    new = old + b"# " + b"x" * 800_000 + b"\n"
    saved = 0
    program = subprocess.Popen(
        [sys.executable, "-c", ENDLESS, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": ROOT},
    )
    assert program.stdin is not None
    assert program.stdout is not None
    for number in range(8):
        child = int(program.stdout.readline())
        before = path.stat().st_ino
        time.sleep(0.03 + 0.0037 * number)
        os.kill(child, signal.SIGKILL)
        while Path(f"/proc/{child}").exists():
            time.sleep(0.001)
        assert path.read_bytes() in (old, new)
        saved += path.stat().st_ino != before
        path.write_bytes(old)
        print(file=program.stdin, flush=True)
    program.communicate(timeout=60)
    assert saved  # it was killed among savings, not before the first


def test_a_link_to_the_project_stays_a_link(tmp_path):
    path = copied(tmp_path)
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    save(moved(link)[1], 2)
    assert link.is_symlink()
    assert 'up = "1.2 m"' in path.read_text()


def test_a_byte_order_mark_and_line_ends_stay(tmp_path):
    path = copied(tmp_path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    before = path.read_bytes()
    opened, edited = moved(path)
    assert not opened.unsaved
    save(edited, 2)
    after = path.read_bytes()
    assert after.startswith(b"\xef\xbb\xbf")
    assert after.count(b"\r\n") == before.count(b"\r\n") == after.count(b"\n")


def test_a_folder_that_cannot_be_written_is_told(tmp_path, monkeypatch):
    state = open_state(copied(tmp_path))

    def refused(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkstemp", refused)
    with pytest.raises(InputError, match="cannot be written"):
        save(state, 1)


def test_a_project_that_was_taken_away_is_not_written_again_in_silence(tmp_path):
    path = copied(tmp_path)
    edited = moved(path)[1]
    path.rename(tmp_path / "elsewhere.toml")
    with pytest.raises(InputError, match="gone from its folder"):
        save(edited, 2)
    assert not path.exists()
    save(edited, 2, anew=True)
    assert 'up = "1.2 m"' in path.read_text()


def test_a_folder_that_is_gone_is_told(tmp_path):
    path = copied(tmp_path)
    edited = moved(path)[1]
    path.parent.rename(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="folder cannot be opened"):
        save(edited, 2)


def test_what_another_program_wrote_is_safe_from_undo_past_its_reading(tmp_path):
    path = copied(tmp_path)
    state = moved(path)[1]
    foreign = path.read_text() + "\n# by hand\n"
    path.write_text(foreign)
    with pytest.raises(InputError, match="Read it again"):
        save(state, state.revision)
    read = reload(state, state.revision)
    assert not read.behind
    assert not read.unsaved
    back = undo(read, read.revision)
    assert back.behind
    assert back.unsaved
    row = back.now.project.layout.row_name[0]
    edit = messages.SetRow(id=1, type="row", revision=back.revision, row=row, fields={"up": "1.3 m"})
    for lost in (back, undo(back, back.revision), change(back, edit)):
        with pytest.raises(InputError, match="lacks what another program wrote"):
            save(lost, lost.revision)
        assert path.read_text() == foreign
    # The way out that the refusal names: read again, also with nothing new there, and repeat the change.
    anew = reload(back, back.revision)
    edit = edit.model_copy(update={"revision": anew.revision})
    kept = change(anew, edit)
    save(kept, kept.revision)
    assert path.read_text().endswith("# by hand\n")
    assert 'up = "1.3 m"' in path.read_text()


def test_undo_past_a_reading_of_the_same_file_can_be_saved(tmp_path):
    state = moved(copied(tmp_path))[1]
    read = reload(state, state.revision)
    back = undo(read, read.revision)
    assert not back.behind
    save(back, back.revision)
    assert 'up = "1.2 m"' in state.path.read_text()


def test_changes_not_saved_are_made_again_on_what_another_program_wrote(tmp_path):
    path = copied(tmp_path)
    state = moved(path)[1]
    row, at = state.now.project.layout.row_name[0], state.revision
    added = messages.AddRow(id=2, type="add", revision=at, row="mine", plane="S1", up="2.5 m")
    state = change(state, added)
    foreign = path.read_text().replace(f'name = "{row}"', f'name = "{row}"  # seen on site')
    path.write_text(foreign + '\n[[row]]\nname = "mine"\nplane = "S1"\nup = "2 m"\n')
    read = reload(state, state.revision)
    assert not read.unsaved
    assert [one.edit for one in read.lost.versions] == [state.past[-1].edit, added]
    made = again(read, read.revision)
    assert 'up = "1.2 m"' in made.now.text
    assert "# seen on site" in made.now.text
    assert made.now.analysis is not None
    assert [one.edit for one in made.lost.versions] == [added]  # the file has another row of this name
    assert made.lost.tried
    with pytest.raises(InputError, match="left behind"):
        again(state, state.revision)
    save(made, made.revision)
    assert 'up = "2 m"' in path.read_text()
    assert "# seen on site" in path.read_text()


def test_what_a_killed_program_left_is_swept_at_the_next_start(tmp_path):
    path = copied(tmp_path)
    code = """
import os, sys
from pathlib import Path
from viewer.files import atomic
with atomic(Path(sys.argv[1])) as temporary:
    temporary.write_text("half")
    os.kill(os.getpid(), 9)
"""
    for _ in range(2):
        subprocess.run(
            [sys.executable, "-c", code, str(path)], env={**os.environ, "PYTHONPATH": ROOT}, check=False
        )
    old, young = sorted(one for one in path.parent.iterdir() if one.name.startswith("."))
    others = [path.parent / name for name in (".project-notes_12.toml", ".project.eavewright-mine.toml")]
    link = path.parent / old.name.replace(old.name[-13:-5], "abcd_123")
    link.symlink_to(path)
    for one in others:
        one.write_text("not ours")
    for one in (old, *others, path):
        os.utime(one, (time.time() - 120,) * 2)
    with _alone(path.parent):  # somebody saves at this moment
        open_state(path)
        assert old.exists()
    open_state(path)
    assert not old.exists()
    assert all(one.exists() for one in (young, link, *others, path))
