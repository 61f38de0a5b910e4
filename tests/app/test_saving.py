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
from viewer.app.session import change, open_state, save

ENDLESS = """
import dataclasses, sys
from pathlib import Path
from viewer.app.session import open_state, save

state = open_state(Path(sys.argv[1]))
texts = [state.now.text, state.now.text + "# " + "x" * 800_000 + "\\n"]
print("ready", flush=True)
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
    root = str(Path(__file__).parents[2])
    saved = 0
    for number in range(8):
        program = subprocess.Popen(
            [sys.executable, "-c", ENDLESS, str(path)],
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": root},
        )
        assert program.stdout is not None
        program.stdout.readline()
        before = path.stat().st_ino
        time.sleep(0.03 + 0.0037 * number)
        program.send_signal(signal.SIGKILL)
        program.wait()
        program.stdout.close()
        assert path.read_bytes() in (old, new)
        saved += path.stat().st_ino != before
        path.write_bytes(old)
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
