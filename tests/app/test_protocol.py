"""What browsers say to the server: edits, undo, saving, two at once, and everything that must be refused."""

from __future__ import annotations

import base64
import random
import tomllib

import numpy as np
import pytest
from open_app import HOST, browser, copied, served
from starlette.websockets import WebSocketDisconnect

from fea.analysis import analyze
from roofmodel.project.load import load_project


def numbers(text, kind="<f4"):
    return np.frombuffer(base64.b64decode(text), dtype=kind)


def test_numbers_on_screen_are_those_of_the_check(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        row = one.state["rows"][0]
        moved = one.ask(type="row", row=row["name"], fields={"up": "1.1 m"})
        assert moved["type"] == "state"
        assert one.ask(type="save")["unsaved"] is False
    checked = analyze(load_project(path))
    limits = [limit for limit in checked.limits if limit.target == "clamp"]
    worst = np.max([np.nan_to_num(limit.utilization) for limit in limits], axis=0)
    shown = numbers(moved["limits"]["clamp"]["use"]).reshape(worst.shape)
    np.testing.assert_allclose(np.nan_to_num(shown), worst, rtol=1e-6)
    assert moved["governing"]["use"] == pytest.approx(checked.attachment.utilization, rel=1e-12)
    assert moved["before"]["use"] != pytest.approx(moved["governing"]["use"], rel=1e-6)


def test_preview_says_the_same_and_keeps_nothing(tmp_path):
    path = copied(tmp_path)
    text = path.read_bytes()
    with served(path) as client, browser(client) as one:
        name = one.state["rows"][0]["name"]
        tried = one.ask(type="row", row=name, fields={"up": "1.3 m"}, preview=True)
        assert tried["type"] == "preview"
        again = one.ask(type="row", row=name, fields={"up": "1.3 m"})
        assert again["limits"] == tried["limits"]
        assert again["revision"] == 2
    assert path.read_bytes() == text


def test_save_changes_one_line_and_keeps_every_comment(tmp_path):
    path = copied(tmp_path, "cedar-hollow")
    before = path.read_text().splitlines()
    with served(path) as client, browser(client) as one:
        one.ask(type="row", row="S-low", fields={"up": "3 ft"})
        one.ask(type="save")
    after = path.read_text().splitlines()
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert changed == [('up = "2 ft"', 'up = "3 ft"')]
    assert tomllib.loads(path.read_text())["row"][4]["up"] == "3 ft"


def test_undo_leads_back_to_the_same_text_and_numbers(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        first = one.state
        name = first["rows"][0]["name"]
        one.ask(type="row", row=name, fields={"every": 2})
        one.ask(type="set", table="clamp", field=["strength", "along"], value="1 kN")
        assert one.ask(type="undo")["undo"].startswith(name)
        back = one.ask(type="undo")
        assert back["limits"] == first["limits"]
        assert back["rows"] == first["rows"]
        assert not back["unsaved"]
        assert one.ask(type="undo")["message"] == "nothing to undo"
        assert one.ask(type="redo")["unsaved"]
        again = one.ask(type="redo")
        assert again["hardware"]["clamp"]["strength"]["along"] == "1 kN"
        assert one.ask(type="redo")["message"] == "nothing to redo"


def test_split_keeps_every_clamp_where_it_is(tmp_path):
    path = copied(tmp_path, "cedar-hollow")
    with served(path) as client, browser(client) as one:
        one.ask(type="row", row="S-high", fields={"every": 3, "first": 2})
        places = numbers(one.state["clamps"]["at"]).reshape(-1, 3)
        name = [n for n in one.state["clamps"]["names"] if n.startswith("S-high")][5]
        done = one.ask(type="split", row="S-high", after=name)
        assert [r["name"] for r in done["rows"]][-2:] == ["S-high", "S-high-2"]
        np.testing.assert_allclose(numbers(done["clamps"]["at"]).reshape(-1, 3), places, atol=1e-4)
        refused = one.ask(type="split", row="S-high", after="nobody")
        assert refused["type"] == "error"


def test_add_and_remove_rows(tmp_path):
    path = copied(tmp_path, "cedar-hollow")
    with served(path) as client, browser(client) as one:
        added = one.ask(type="add", row="new one", plane="S1", up="6 ft")
        assert added["rows"][-1]["name"] == "new one"
        crossing = one.ask(type="add", row="twin", plane="S1", up="6 ft")
        assert "touches or crosses" in crossing["message"]
        gone = one.ask(type="remove", row="new one")
        assert all(row["name"] != "new one" for row in gone["rows"])
        assert one.ask(type="remove", row="new one")["type"] == "error"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"type": "row", "fields": {"up": "2"}}, "has no unit"),
        ({"type": "row", "fields": {"up": "900 m"}}, "is off plane"),
        ({"type": "row", "fields": {"sideways": "1 m"}}, "not a field"),
        ({"type": "row", "fields": {"up": None}}, "up is missing"),
        ({"type": "set", "table": "clamp", "field": ["strength", "along"], "value": -3}, "has no unit"),
        ({"type": "set", "table": "rail", "field": ["wall"], "value": "1 m"}, "wall"),
    ],
)
def test_bad_values_are_refused_in_one_line_and_nothing_changes(tmp_path, change, words):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        if change["type"] == "row":
            change = {**change, "row": one.state["rows"][0]["name"]}
        said = one.ask(**change)
        assert said["type"] == "error"
        assert words in said["message"]
        assert "\n" not in said["message"]
        assert one.ask(type="undo")["message"] == "nothing to undo"


def test_roof_and_its_file_cannot_be_set(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        said = one.ask(type="set", table="roof", field=["file"], value="/etc/passwd")
        assert said["type"] == "error"


def test_working_of_a_clamp_ends_in_its_utilization(tmp_path):
    path = copied(tmp_path, "cedar-hollow")
    with served(path) as client, browser(client) as one:
        worst = one.state["governing"]
        said = one.ask(type="pick", kind=worst["kind"], index=worst["index"])
        assert said["name"] == worst["name"]
        assert worst["percent"] in said["sentence"]
        assert said["steps"][0]["formula"].startswith("Σ p b sin θ")
        assert said["zones"][0]["clause"]
        assert one.ask(type="pick", kind="clamp", index=10**6)["type"] == "error"


def test_two_browsers_see_the_same_and_a_stale_change_is_refused(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one, browser(client) as two:
        name = one.state["rows"][0]["name"]
        one.ask(type="row", row=name, fields={"up": "1.2 m"})
        stale = two.ask(type="row", row=name, fields={"up": "1.4 m"}, revision=1)
        assert stale["type"] == "error"
        assert "another window" in stale["message"]
        assert two.state["rows"][0]["fields"]["up"] == "1.2 m"
        assert two.state["revision"] == one.state["revision"] == 2
        assert two.ask(type="save", revision=1)["type"] == "error"
        assert two.ask(type="save")["unsaved"] is False
    assert 'up = "1.2 m"' in path.read_text()


def test_save_does_not_undo_what_another_program_wrote(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        name = one.state["rows"][0]["name"]
        one.ask(type="row", row=name, fields={"up": "1.2 m"})
        path.write_text(path.read_text() + "\n# by hand\n")
        said = one.ask(type="save")
        assert "changed by another program" in said["message"]
        assert path.read_text().endswith("# by hand\n")
        assert one.ask(type="reload")["unsaved"] is False
        assert one.ask(type="undo")["rows"][0]["fields"]["up"] == "1.2 m"


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example:8000"},
        {"host": "127.0.0.1:8001"},
        {"host": "127.0.0.1"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:8000"},
        {"origin": "http://127.0.0.1:9000"},
    ],
)
def test_foreign_hosts_and_origins_are_refused(tmp_path, headers):
    with served(copied(tmp_path)) as client:
        for place in ("/", "/static/app.css", "/api/roof", "/out/x/y"):
            assert client.get(place, headers=headers).status_code == 403
        with pytest.raises(WebSocketDisconnect):
            client.websocket_connect("/ws", headers=headers).__enter__()
        assert client.get("/", headers={"origin": f"http://{HOST}"}).status_code == 200


def test_nothing_without_the_token(tmp_path):
    with served(copied(tmp_path)) as client:
        for place in ("/api/roof", "/api/surface?case=0"):
            assert client.get(place, headers={"x-eavewright-token": "no"}).status_code == 403
        with client.websocket_connect("/ws", headers={"host": HOST}) as socket:
            socket.send_json({"type": "hello", "token": "no"})
            with pytest.raises(WebSocketDisconnect):
                socket.receive_json()


@pytest.mark.parametrize(
    "place",
    [
        "/static/../server.py",
        "/static/..%2fserver.py",
        "/static/%2e%2e%2fserver.py",
        "/static//etc/passwd",
        "/static/%2fetc%2fpasswd",
        "/out/../project.toml",
        "/out/x/project.toml",
        "/project.toml",
        "/static/server.py",
    ],
)
def test_files_cannot_be_reached_by_path(tmp_path, place):
    with served(copied(tmp_path)) as client:
        answer = client.get(place)
        assert answer.status_code == 404
        assert "def " not in answer.text


@pytest.mark.parametrize(
    "folder", ["../out", "/tmp/out", ".", "a/../../out", "~/out", "link", "link/x", "c:out", "a\\b", " "]
)
def test_exports_stay_inside_the_project_folder(tmp_path, folder):
    path = copied(tmp_path)
    (tmp_path / "elsewhere").mkdir()
    (path.parent / "link").symlink_to(tmp_path / "elsewhere")
    with served(path) as client, browser(client) as one:
        said = one.ask(type="export", folder=folder, parts=["check"])
        assert said["type"] == "error"
        assert "folder" in said["message"]
    assert not list((tmp_path / "elsewhere").iterdir())
    assert {p.name for p in tmp_path.iterdir()} == {"elsewhere", "granary-door"}


def test_export_needs_a_saved_project(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        one.ask(type="row", row=one.state["rows"][0]["name"], fields={"up": "1.2 m"})
        assert "save project.toml first" in one.ask(type="export", folder="out", parts=["check"])["message"]


def test_export_writes_what_the_command_writes_and_serves_it(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        done = one.ask(type="export", folder="results", parts=["snow"])
        assert done["type"] == "exported", done
        link = done["links"][0]
        assert (path.parent / "results" / "snow" / "snow.json").is_file()
        page = client.get(f"/out/{link['ticket']}/snow.html")
        assert page.status_code == 200
        assert "sandbox" in page.headers["content-security-policy"]
        assert client.get(f"/out/{link['ticket']}/project.toml").status_code == 404
        assert any(m["type"] == "progress" and m["text"] for m in one.heard)


def test_export_stops_when_told(tmp_path):
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        one.socket.send_json(
            {"id": 900, "type": "export", "revision": 1, "folder": "results", "parts": ["check", "seam"]}
        )
        one.wait(lambda m: m["type"] == "progress" and m["text"])
        one.socket.send_json({"id": 901, "type": "cancel"})
        assert one.wait(lambda m: m.get("id") == 900)["message"] == "stopped"
        assert (
            one.ask(type="row", row=one.state["rows"][0]["name"], fields={"up": "1.2 m"})["type"] == "state"
        )


def test_a_project_without_an_answer_says_why_and_can_be_mended(tmp_path):
    path = copied(tmp_path)
    text = path.read_text()
    piece = 'splice = [{ at = "0.30 m" }, { at = "0.36 m" }, { at = "0.42 m" }]'
    path.write_text(text.replace("[[row]]", "[[row]]\n" + piece, 1))
    with served(path) as client, browser(client) as one:
        assert "verdict" not in one.state
        assert one.state["trouble"]
        assert one.ask(type="pick", kind="clamp", index=0)["message"] == one.state["trouble"]
        mended = one.ask(type="row", row=one.state["rows"][0]["name"], fields={"splice": None})
        assert mended["verdict"]["words"]
        assert not mended["trouble"]


def test_long_work_is_told_and_stops_when_asked(tmp_path):
    path = copied(tmp_path, "cedar-hollow")
    with served(path) as client, browser(client) as one:
        flexible = {"type": "set", "table": "analysis", "field": ["panel_flexibility"], "value": True}
        one.socket.send_json({"id": 900, "revision": 1, **flexible})
        one.wait(lambda m: m["type"] == "progress" and m["text"])
        one.socket.send_json({"id": 901, "type": "cancel"})
        assert one.wait(lambda m: m.get("id") == 900)["message"] == "stopped"
        assert one.state["revision"] == 1
        assert one.ask(type="row", row="E", fields={"up": "3 ft"})["revision"] == 2


def test_rows_with_measured_clamps_do_not_move_in_silence(tmp_path):
    path = copied(tmp_path)
    layout = load_project(path).layout
    name = layout.row_name[0]
    places = "".join(
        f"{layout.row_name[r]},{s}\n" for r, s in zip(layout.clamp_row, layout.clamp_s, strict=True)
    )
    (path.parent / "clamps.csv").write_text("row,along [m]\n" + places)
    path.write_text(path.read_text() + '\n[as_built]\nfile = "clamps.csv"\n')
    with served(path) as client, browser(client) as one:
        said = one.ask(type="row", row=name, fields={"up": "1.2 m"})
        assert "measured" in said["message"]


GOOD = {
    "id": 1,
    "type": "row",
    "revision": 1,
    "row": "x",
    "fields": {"up": "1 m"},
    "preview": True,
}


def _broken(random_: random.Random) -> str:
    """A message that is wrong somewhere: text cut, characters changed, values of other kinds, deep nests."""
    import json

    kinds = [None, True, -1, 2**70, 1.5, "", "x" * 5000, [], {}, [[[]]], {"a": {"b": 1}}, "\x00", "\ud800"]
    match random_.randrange(6):
        case 0:
            text = json.dumps(GOOD)
            return text[: random_.randrange(len(text))]
        case 1:
            text = list(json.dumps(GOOD))
            text[random_.randrange(len(text))] = chr(random_.randrange(1, 0x2FF))
            return "".join(text)
        case 2:
            return json.dumps({**GOOD, random_.choice(list(GOOD)): random_.choice(kinds)})
        case 3:
            known = "set add remove split splices put thing take plan takeplan undo redo pick export nothing"
            kind = random_.choice(known.split())
            return json.dumps({**GOOD, "type": kind, "id": random_.choice(kinds)})
        case 4:
            return "[" * random_.randrange(1, 3000)
        case _:
            return json.dumps({k: v for k, v in GOOD.items() if random_.random() < 0.5} | {"extra": 1})


@pytest.mark.parametrize("count", [2_500, pytest.param(10_000, marks=pytest.mark.slow)])
def test_thousands_of_malformed_messages_leave_the_project_as_it_was(tmp_path, count):
    path = copied(tmp_path)
    before = path.read_bytes()
    random_ = random.Random(20261125)
    with served(path) as client, browser(client) as one:
        state = one.state
        for number in range(count):
            text = _broken(random_)
            one.socket.send({"type": "websocket.receive", "text": text})
            if number % 97 == 0:
                one.socket.send({"type": "websocket.receive", "bytes": random_.randbytes(40)})
            if number % 250 == 0:  # let it answer, so that none is dropped
                one.ask(type="pick", kind="clamp", index=0)
        last = one.ask(type="pick", kind="clamp", index=0)
        assert last["type"] == "working"
        errors = [m for m in one.heard if m["type"] == "error"]
        assert len(errors) > 0.9 * count
        assert not any("internal error" in m["message"] for m in errors)
        assert not any("\n" in m["message"] for m in errors)
        assert one.state["revision"] == state["revision"]
    assert path.read_bytes() == before
