"""What the page loads: modules joined to one script, and snow in as few faces as its colors need."""

from __future__ import annotations

import re
import shutil
import subprocess
import threading
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fea.analysis import analyze
from roofmodel.project.load import load_project
from tests.app.open_app import HOST, MODELS, TOKEN, copied, served
from viewer.app import server, session
from viewer.app.joined import one_script
from viewer.app.pages import _file, _names
from viewer.app.surface import joined_quads
from viewer.picture.scene import cell_quads


def test_all_modules_are_in_the_one_script_and_nothing_is_left_to_import():
    script = _file("all.js").decode()
    own = {name for name in _names() if name.endswith(".js")} - {"all.js", "begin.js", "three.js"}
    assert {f"// {name}" for name in own} <= set(script.splitlines())
    assert re.findall(r"^\s*(?:import|export)\b.*", script, re.MULTILINE) == [script.splitlines()[0]]
    assert script.splitlines()[0].endswith('from "./three.js";')


@pytest.mark.skipif(shutil.which("node") is None, reason="runs JavaScript")
def test_one_script_does_what_its_modules_do():
    modules = {
        "low": "export const held = [];\nexport function put(x) { held.push(x); }\n"
        'const own = "low";\nput(own);\n',
        "high": 'import {\n  held, put,\n} from "./low.js";\nconst own = "high";\nput(own);\n'
        'export class Sum { of = () => held.join(" "); }\n',
        "first": 'import { Sum } from "./high.js";\nimport { held } from "./low.js";\n'
        "console.log(new Sum().of(), held.length);\n",
    }
    said = subprocess.run(
        ["node", "--input-type=module", "-e", one_script(modules, "first", "three")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert said.stdout.split() == ["low", "high", "2"]


@pytest.mark.skipif(shutil.which("node") is None, reason="runs JavaScript")
def test_a_page_whose_program_cannot_be_loaded_says_so(tmp_path):
    """As when the program ends between page and script; there is no all.js beside."""
    page = """
        const box = { hidden: true, textContent: "" };
        globalThis.document = { getElementById: (id) => (id === "notice" ? box : null) };
        globalThis.addEventListener = (name, act) => act();
        setTimeout(() => console.log(box.hidden, box.textContent), 200);
    """
    (tmp_path / "begin.mjs").write_text(page + _file("begin.js").decode())
    said = subprocess.run(
        ["node", "begin.mjs"], capture_output=True, text=True, check=True, cwd=tmp_path
    ).stdout
    assert said.startswith("false The page cannot reach its program.")


@cache
def _snow():
    return analyze(load_project(MODELS / "cedar-hollow" / "project.toml"), beyond=False)


def _areas(quads):
    return 0.5 * sum(
        np.linalg.norm(np.cross(quads[:, k] - quads[:, 0], quads[:, k + 1] - quads[:, 0]), axis=1)
        for k in (1, 2)
    )


@pytest.mark.parametrize("case", [0, 3])
def test_joined_faces_keep_area_and_weight_and_the_color_of_every_place(case):
    quads, pressure, plane = cell_quads(_snow(), case)
    band = 10.0
    less, mean, of = quads, pressure, plane
    for sides in ((0, 3, 1, 2), (0, 1, 3, 2)):
        less, mean, of = joined_quads(less, mean, of, band, sides)
    assert len(less) < 0.1 * len(quads)
    for p in range(plane.max() + 1):
        before, after = _areas(quads[plane == p]), _areas(less[of == p])
        assert after.sum() == pytest.approx(before.sum(), rel=1e-12)
        weight = before @ pressure[plane == p]
        # The mean counts quads, not their areas, and all of them have one color.
        assert after @ mean[of == p] == pytest.approx(weight, abs=0.5 * band * before.sum())
        for color in np.unique(np.rint(pressure / band)):
            was = before[np.rint(pressure[plane == p] / band) == color].sum()
            now = after[np.rint(mean[of == p] / band) == color].sum()
            assert now == pytest.approx(was, rel=1e-12, abs=1e-12)


def test_faces_whose_common_side_bends_stay_two():
    def quad(x0, y0, x1, y1):
        return [[x0, 0.0, 0.0], [x1, 0.0, 0.0], [x1, y1, 0.0], [x0, y0, 0.0]]

    straight = np.array([quad(0.0, 1.0, 1.0, 2.0), quad(1.0, 2.0, 2.0, 3.0)])
    bent = np.array([quad(0.0, 1.0, 1.0, 2.0), quad(1.0, 2.0, 2.0, 2.0)])
    snow, plane = np.full(2, 700.0), np.zeros(2, dtype=np.int64)
    assert len(joined_quads(straight, snow, plane, 10.0, (0, 1, 3, 2))[0]) == 1
    assert len(joined_quads(bent, snow, plane, 10.0, (0, 1, 3, 2))[0]) == 2
    assert len(joined_quads(straight, np.array([700.0, 720.0]), plane, 10.0, (0, 1, 3, 2))[0]) == 2


@pytest.mark.parametrize(("patience", "first"), [(20.0, ["mended"]), (0.0, ["", "mended"])])
def test_a_first_answer_that_is_nearly_there_is_told_once_another_is_announced(
    tmp_path, monkeypatch, patience, first
):
    go = threading.Event()

    def slowly(now, tell):
        assert go.wait(20.0)
        return replace(now, trouble="mended")

    monkeypatch.setattr(server, "NEARLY", patience)
    monkeypatch.setattr(session, "solved", slowly)
    with served(copied(tmp_path)) as client:
        with client.websocket_connect("/ws", headers={"host": HOST, "origin": f"http://{HOST}"}) as socket:
            socket.send_json({"type": "hello", "token": TOKEN})
            heard = []
            if patience:
                threading.Timer(0.1, go.set).start()
            while not heard or heard[-1]["solving"]:
                heard.append(socket.receive_json())
                go.set()
        assert [one["trouble"] for one in heard] == first


def test_a_page_is_told_why_its_project_is_refused(tmp_path):
    path = copied(tmp_path)
    path.write_text(path.read_text().replace("[design]", "[dessign]"))
    with served(path) as client:
        with client.websocket_connect("/ws", headers={"host": HOST, "origin": f"http://{HOST}"}) as socket:
            socket.send_json({"type": "hello", "token": TOKEN})
            told = socket.receive_json()
        assert told["type"] == "refused"
        assert "dessign" in told["message"]
        assert client.get("/api/roof").status_code == 404
        assert client.get("/api/surface").status_code == 404
