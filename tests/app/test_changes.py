"""Changes beyond rows: splices one by one, what stands on the roof, planned rows; words of the fields."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
import shapely
from open_app import browser, copied, served

from fea.analysis import analyze
from fea.planning.plan import plan_rows
from roofmodel.errors import InputError
from roofmodel.project.load import load_project, without_rows
from roofmodel.project.site_schema import site_models
from roofmodel.units import parse
from viewer.app import messages
from viewer.app.session import open_state
from viewer.app.spots import free_spots
from viewer.app.view import forms
from viewer.app.words import LABELS

CHIMNEY = {
    "name": "chimney 1",
    "plane": "S1",
    "across": "20 ft",
    "up": "5.5 ft",
    "width": "3 ft",
    "depth": "3 ft",
    "height": "4 ft",
}
ARRAY = {**CHIMNEY, "name": "array 1", "plane": "W1", "gap": "4 in", "weight": "3 psf"}
del ARRAY["height"]


def comments(text):
    return [line for line in text.splitlines() if line.lstrip().startswith("#")]


@pytest.mark.parametrize(("table", "fields"), [("obstruction", CHIMNEY), ("solar", ARRAY)])
def test_things_are_put_moved_and_taken_and_the_check_says_the_same(tmp_path, table, fields):
    path = copied(tmp_path, "cedar-hollow")
    before = path.read_text()
    with served(path) as client, browser(client) as one:
        alone = one.state["roof_key"]
        put = one.ask(type="put", table=table, fields=fields)
        assert put["type"] == "state"
        assert [thing["name"] for thing in put["things"][table]] == [fields["name"]]
        assert put["roof_key"] != alone  # so browsers draw it
        twice = one.ask(type="put", table=table, fields=fields)
        assert "is there already" in twice["message"]
        moved = one.ask(type="thing", table=table, name=fields["name"], fields={"across": "31 ft"})
        assert moved["things"][table][0]["across"] == "31 ft"
        assert moved["roof_key"] not in (alone, put["roof_key"])
        off = one.ask(type="thing", table=table, name=fields["name"], fields={"up": "900 ft"})
        assert off["type"] == "error"
        one.ask(type="save")
        now = one.state["governing"]["use"]
        checked = analyze(load_project(path))
        assert now == pytest.approx(checked.attachment.utilization, rel=1e-12)
        assert comments(path.read_text()) == comments(before)
        assert path.read_text().startswith(before)
        gone = one.ask(type="take", table=table, name=fields["name"])
        assert gone["things"][table] == []
        one.ask(type="save")
    assert tomllib.loads(path.read_text()) == tomllib.loads(before)


def test_splices_are_set_one_by_one_and_keep_their_comments(tmp_path):
    path = copied(tmp_path, "cedar-hollow")
    text = path.read_text()
    at = text.index('splice_every = "20 ft"')
    line = 'splice = [{ at = "20 ft" }, { at = "40 ft", kind = "continuous" }]  # as on the drawing'
    path.write_text(text[:at] + line + text[at + len('splice_every = "20 ft"') :])
    with served(path) as client, browser(client) as one:
        row = next(r["name"] for r in one.state["rows"] if r["fields"].get("splice"))
        moved = [{"at": "21 ft"}, {"at": "40 ft", "kind": "continuous"}]
        assert one.ask(type="splices", row=row, splices=moved)["type"] == "state"
        one.ask(type="save")
        assert line.replace('"20 ft"', '"21 ft"') in path.read_text()
        more = [*moved, {"at": "55 ft", "kind": "sliding"}]
        one.ask(type="splices", row=row, splices=more)
        one.ask(type="save")
        table = next(r for r in load_project(path).table.row if r.name == row)
        assert [(s.at / 0.3048, s.kind) for s in table.splice] == [
            (pytest.approx(21), "hinge"),
            (pytest.approx(40), "continuous"),
            (pytest.approx(55), "sliding"),
        ]
        assert one.ask(type="splices", row=row, splices=[{"at": "900 ft"}])["type"] == "error"
        assert one.ask(type="splices", row=row, splices=[])["type"] == "state"
        one.ask(type="save")
    assert all(not r.splice for r in load_project(path).table.row)
    assert comments(path.read_text()) == comments(text)


def test_a_new_field_stands_in_its_own_row(tmp_path):
    """Comments between two rows are about the second one."""
    path = copied(tmp_path, "cedar-hollow")
    text = path.read_text().replace("[[row]]", "# about the next row\n[[row]]")
    path.write_text(text)
    with served(path) as client, browser(client) as one:
        one.ask(type="row", row="S-low", fields={"every": 2})
        one.ask(type="save")
    lines = path.read_text().splitlines()
    at = lines.index("every = 2")
    assert lines[at - 1].strip()
    assert not lines[at - 1].startswith("#")
    assert [line for line in lines if line != "every = 2"] == text.splitlines()


def test_planned_rows_are_those_of_the_command_and_can_be_undone(tmp_path):
    path = copied(tmp_path, "granary-door")
    with served(path) as client, browser(client) as one:
        first = one.state
        found = one.ask(type="plan")
        assert found["type"] == "planned"
        assert one.state["revision"] == first["revision"]  # nothing has changed
        taken = one.ask(type="takeplan")
        assert [row["name"] for row in taken["rows"]] == [row["name"] for row in found["rows"]]
        assert taken["before"]["name"] == first["governing"]["name"]
        plan = plan_rows(without_rows(load_project(path)))
        assert taken["governing"]["use"] == pytest.approx(plan.analysis.attachment.utilization, rel=1e-9)
        assert "changed since" in one.ask(type="takeplan")["message"]
        assert one.ask(type="undo")["rows"] == first["rows"]
        assert not one.state["unsaved"]


def test_files_cannot_be_named_from_the_browser(tmp_path):
    """A browser must not make the program read outside the project's folder."""
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        for preview in (False, True):
            said = one.ask(
                type="set", table="rail", field=["profile", "file"], value="/etc/passwd", preview=preview
            )
            assert "edit it there" in said["message"]


def test_every_field_has_plain_words():
    found = forms()
    names = {}
    for table, fields in found.items():
        names.setdefault(table.split(" ")[0], set()).update(".".join(field["path"]) for field in fields)
    assert {table: set(words) for table, words in LABELS.items()} == names
    for table, fields in found.items():
        labels = [field["label"] for field in fields]
        assert len(set(labels)) == len(labels), table
        assert not any("_" in label or not label[0].isupper() for label in labels)


@pytest.mark.parametrize("model", ["granary-door", "cedar-hollow", "sentier-house"])
def test_places_that_are_offered_are_free(tmp_path, model):
    state = open_state(copied(tmp_path, model))
    project = state.now.project
    spots = free_spots(project)
    planes = project.roof.planes
    rows = {planes.name[plane] for plane in project.layout.row_plane}
    assert set(list(spots)[: len(rows)]) == rows  # these are offered first
    side = 3 * 0.3048 if project.table.project.units == "US" else 1.0
    for name, offered in spots.items():
        plane = planes.name.index(name)
        boxes = []
        for one in offered:
            u, v = (parse(text, "length") for text in one.values())
            boxes.append(shapely.box(u - side / 2, v - side / 2, u + side / 2, v + side / 2))
            assert planes.outline[plane].contains(boxes[-1])
            for row in np.flatnonzero(project.layout.row_plane == plane):
                line = shapely.LineString([project.layout.row_start[row], project.layout.row_end[row]])
                assert line.distance(boxes[-1]) > 0.25
        assert len(boxes) < 2 or not boxes[0].intersects(boxes[1])
    assert all(spots[name] for name in rows)


def test_an_empty_name_is_refused_in_plain_words():
    text = '{"id": 1, "type": "export", "revision": 1, "folder": "", "parts": ["check"]}'
    with pytest.raises(InputError, match=r"Folder: is empty; give one$"):
        messages.read_message(text)


@pytest.mark.parametrize(
    ("model", "field", "value", "wrong"),
    [
        ("cedar-hollow", "exposure", "sheltered", "windy"),
        ("granary-door", "ground_snow", "2.5 kN/m^2", "2.5"),
    ],
)
def test_site_is_tried_kept_undone_and_saved_with_its_comments(tmp_path, model, field, value, wrong):
    path = copied(tmp_path, model)
    before = path.read_text()
    with served(path) as client, browser(client) as one:
        start = one.state["cases"]
        assert one.state["hardware"]["site"] == tomllib.loads(before)["site"]
        change = {"type": "set", "table": "site", "field": [field]}
        refused = one.ask(**change, value=wrong)
        assert refused["type"] == "error"
        assert f"site.{field}" in refused["message"]
        tried = one.ask(**change, value=value, preview=True)
        assert tried["cases"] != start
        assert one.state["cases"] == start
        kept = one.ask(**change, value=value)
        assert kept["cases"] == tried["cases"]
        assert one.ask(type="undo")["cases"] == start
        one.ask(type="redo")
        one.ask(type="save")
    saved = path.read_text()
    assert comments(saved) == comments(before)
    assert tomllib.loads(saved)["site"] == tomllib.loads(before)["site"] | {field: value}


def test_every_site_has_its_fields_and_the_standard_is_changed_in_the_file_only():
    known = forms()
    for standard, model in site_models().items():
        fields = {".".join(form["path"]): form for form in known[f"site {standard}"]}
        assert fields["standard"]["kind"] == "by hand"
        assert set(fields) == set(model.model_fields) - {"layers"}
