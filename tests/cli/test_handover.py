"""What is handed over, read back by libraries that did not write it."""

import csv
import io
import json
import re
from pathlib import Path

import ezdxf
import jsonschema
import meshio
import numpy as np
import openpyxl
import pypdf
import pytest
import shapely
import trimesh
from rich.console import Console
from shapely import LineString
from shapely.affinity import rotate, translate
from small_project import changed
from vtkmodules.vtkIOXML import vtkXMLMultiBlockDataReader

import viewer
from roofmodel.layout import rail_lengths
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from tests.demos import demo, demo_sway
from viewer.clamp_table import write_attachments
from viewer.handover.pen import inches
from viewer.handover.run import OUTPUTS, write_handover
from viewer.package.bill import bill_lines, bill_of, cut_bars, missing_of, splice_caution, splice_note
from viewer.picture.findings import clamp_utilization
from viewer.summary import verdict
from viewer.terminal import print_summary

MODELS = ("cedar-hollow", "sentier-house", pytest.param("tannery-hall", marks=pytest.mark.slow))


@pytest.fixture(scope="module", params=MODELS)
def handed(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp(request.param)
    analysis = demo(request.param)
    return analysis, write_handover(analysis, folder, sway=demo_sway(request.param)), folder


@pytest.fixture(scope="module")
def plan(handed):
    """The drawing, as it is read back."""
    return ezdxf.readfile(handed[2] / "plan.dxf")


def sheets_of(drawing):
    return [drawing.paperspace(name) for name in drawing.layouts.names() if name != "Model"]


def test_every_file_is_there(handed):
    _, _, folder = handed
    assert {path.name for path in folder.iterdir()} == set(OUTPUTS) - {"utilization.png", "deflected.png"}


def test_pieces_make_up_the_rails(handed):
    analysis, bill, _ = handed
    layout = analysis.project.layout
    found = np.bincount(bill.piece_row, bill.piece_length, minlength=len(layout.row_name))
    np.testing.assert_allclose(found, layout.row_length, rtol=1e-12)
    assert len(bill.piece_row) == len(layout.row_name) + len(layout.splice_row)
    assert bill.clamps.sum() == len(layout.clamp_name)
    section, metal = analysis.project.rail.section, analysis.project.rail.material
    np.testing.assert_allclose(bill.rail_mass, layout.row_length.sum() * section.area * metal.density)


def test_quantities_say_the_same(handed):
    analysis, bill, folder = handed
    units = SYSTEMS[analysis.project.table.project.units]
    lines = list(csv.DictReader((folder / "quantities.csv").read_text("utf-8-sig").splitlines()))
    clamps = [line for line in lines if line["item"] == "clamp"]
    assert int(clamps[0]["quantity"]) == len(analysis.project.layout.clamp_name)
    total = next(line for line in lines if line["item"] == "rail, total")
    assert float(total["quantity"]) == pytest.approx(units.convert(bill.length, "length"), abs=1e-3)
    assert sum(int(line["quantity"]) for line in lines if line["item"] == "rail piece") == len(bill.piece_row)


def test_plan_is_sound_and_true_in_size(handed, plan):
    project = handed[0].project
    layout, planes = project.layout, project.roof.planes
    assert not plan.audit().errors
    unit = 0.0254 if project.table.project.units == "US" else 1e-3
    assert plan.header["$INSUNITS"] == (1 if unit == 0.0254 else 4)
    space = plan.modelspace()
    clamps = [c for c in space.query("INSERT") if c.dxf.layer == "CLAMPS"]
    assert len(clamps) == len(layout.clamp_name)
    # Each plane is drawn in true size: clamps keep their distances and the rails their lengths.
    at = np.array([[c.dxf.insert.x, c.dxf.insert.y] for c in clamps]) * unit
    first = 0
    for plane in [p for p in range(planes.count) if (layout.row_plane == p).any()]:
        rows = np.flatnonzero(layout.row_plane == plane)
        uv = np.concatenate([layout.clamp_uv[layout.clamp_row == row] for row in rows])
        drawn = at[first : first + len(uv)]
        np.testing.assert_allclose(drawn - drawn[0], uv - uv[0], atol=1e-6)
        first += len(uv)
    rails = [line for line in space.query("LWPOLYLINE") if line.dxf.layer == "RAILS"]
    lengths = [np.linalg.norm(np.diff(np.array(line.get_points("xy")), axis=0)) * unit for line in rails]
    for length in layout.row_length:
        assert np.min(np.abs(np.array(lengths) - length)) < 1e-6


def test_plan_tells_each_clamp_its_place(handed, plan):
    """The number beside a clamp is its distance from the left end of its rail, as a tape reads it."""
    project = handed[0].project
    layout = project.layout
    texts = " ".join(t.dxf.text for t in plan.modelspace().query("TEXT"))
    us = project.table.project.units == "US"
    for clamp in (0, len(layout.clamp_name) // 2, len(layout.clamp_name) - 1):
        number = layout.clamp_name[clamp].rsplit("-", 1)[1]
        s = float(layout.clamp_s[clamp])
        assert f"{number}: {inches(s) if us else f'{1e3 * s:.0f}'}" in texts


def test_dimensions_of_the_plan_measure_what_they_say(handed, plan):
    """Real DIMENSION entities: heights of rows over the lower edge, and the width of every plane."""
    project = handed[0].project
    layout, planes = project.layout, project.roof.planes
    us = project.table.project.units == "US"
    unit = 0.0254 if us else 1e-3
    found = plan.modelspace().query("DIMENSION")
    measured = np.array([one.get_measurement() for one in found]) * unit
    for one, length in zip(found, measured, strict=True):
        assert one.dxf.text == (inches(length) if us else "<>")
        assert one.dxf.layer == "DIMENSIONS"
    for row, plane in enumerate(layout.row_plane.tolist()):
        left, low, right, _ = planes.outline[plane].bounds
        assert np.abs(measured - (right - left)).min() < 1e-6
        ends = [layout.row_start[row], layout.row_end[row]]
        over = []
        for end in ends:  # its height over the outline, straight down
            foot = planes.outline[plane].intersection(LineString([end, [end[0], low - 1.0]]))
            over.append(0.0 if foot.is_empty else end[1] - foot.bounds[1])
        assert np.abs(measured - max(over)).min() < 0.02
    if project.path.parent.name == "cedar-hollow":  # no measure from a rail's end to its valley
        given = [row.up for row in project.table.row]
        assert measured.min() > min(given) - 0.02


def test_sheets_have_scale_and_title_block(handed, plan):
    analysis, _, _ = handed
    project = analysis.project
    us = project.table.project.units == "US"
    rows = {int(p) for p in project.layout.row_plane}
    sheets = sheets_of(plan)
    assert len(sheets) == 1 + len(rows)
    for sheet in sheets:
        view = next(v for v in sheet.query("VIEWPORT") if v.dxf.id != 1)
        scale = view.dxf.view_height / view.dxf.height
        assert scale == pytest.approx(round(scale), rel=1e-9)
        words = [text.dxf.text for text in sheet.query("TEXT")]
        assert any(f"1:{round(scale)}" in word for word in words)
        assert project.table.project.name in words
        assert {"Client", "Checked by", "Revision", "Date"} <= set(words)
        assert ("NOT FOR INSTALLATION" in words) is not analysis.passed
    largest = max(float(np.ptp(project.roof.planes.outline[p].bounds[::2])) for p in rows)
    shown = [v for s in sheets for v in s.query("VIEWPORT") if v.dxf.id != 1]
    wide = max(v.dxf.width * v.dxf.view_height / v.dxf.height for v in shown) * (0.0254 if us else 1e-3)
    assert wide > largest


def boxes_of_words(plan):
    """Words of the model with their boxes: texts, notes and what stands at dimensions."""
    found = []
    for text in plan.modelspace().query("TEXT"):
        size = text.dxf.height
        box = shapely.box(0.0, 0.0, 0.55 * size * len(text.dxf.text), 0.8 * size)
        align, place, _ = text.get_placement()
        if align.name.endswith("CENTER"):
            box = translate(box, -0.5 * box.bounds[2])
        elif align.name.startswith("MIDDLE"):
            box = translate(box, 0.0, -0.5 * box.bounds[3])
        box = rotate(box, text.dxf.rotation, origin=(0.0, 0.0))
        found.append((text.dxf.text, translate(box, place.x, place.y)))
    notes = list(plan.modelspace().query("MTEXT"))
    for one in plan.modelspace().query("DIMENSION"):
        notes += one.get_geometry_block().query("MTEXT")
    for note in notes:
        size, words = note.dxf.char_height, note.text
        wide, high = 0.55 * size * len(words), 0.8 * size
        column, row = (note.dxf.attachment_point - 1) % 3, (note.dxf.attachment_point - 1) // 3
        left, low = -0.5 * column * wide, (-1.0, -0.5, 0.0)[row] * high
        box = rotate(shapely.box(left, low, left + wide, low + high), note.get_rotation(), origin=(0.0, 0.0))
        found.append((words, translate(box, note.dxf.insert.x, note.dxf.insert.y)))
    return found


def test_texts_of_the_plan_keep_off_each_other(plan):
    words = boxes_of_words(plan)
    boxes = [box for _, box in words]
    a, b = shapely.STRtree(boxes).query(boxes, predicate="overlaps")
    assert [(words[i][0], words[j][0]) for i, j in zip(a, b, strict=True) if i < j] == []


def test_an_independent_reader_finds_rails_and_the_ring_of_the_governing_clamp(handed):
    analysis, _, folder = handed
    layout = analysis.project.layout
    unit = 0.0254 if analysis.project.table.project.units == "US" else 1e-3
    with (folder / "plan.dxf").open("rb") as file:
        drawn = trimesh.load_path(file, file_type="dxf")
    layers = np.array([entity.layer for entity in drawn.entities])
    lengths = np.array([entity.length(drawn.vertices) for entity in drawn.entities]) * unit
    rails = lengths[layers == "RAILS"]
    for length in layout.row_length:
        assert np.abs(rails - length).min() < 1e-4
    assert (layers == "GOVERNING").sum() == 1


def test_workbook_holds_numbers(handed):
    analysis, _, folder = handed
    project = analysis.project
    units = SYSTEMS[project.table.project.units]
    book = openpyxl.load_workbook(folder / "tables.xlsx")
    assert book.sheetnames == ["Answer", "Attachments", "Rows", "Limits", "Cases", "Planes", "Quantities"]
    sheet = book["Attachments"]
    heads = [cell.value for cell in sheet[1]]
    use = [row[heads.index("Utilization")].value for row in sheet.iter_rows(min_row=2)]
    np.testing.assert_allclose(use, clamp_utilization(analysis), rtol=1e-12)
    along = heads.index(f"Along row [{units.label('length')}]")
    found = [row[along].value for row in sheet.iter_rows(min_row=2)]
    np.testing.assert_allclose(found, units.convert(1.0, "length") * project.layout.clamp_s, rtol=1e-12)
    for _, worst_at, demand, *_, status, _, _ in book["Limits"].iter_rows(min_row=2, values_only=True):
        assert (worst_at is None) == (demand is None) == (status == "not loaded")
    rows = book["Rows"]
    at = [cell.value for cell in rows[1]].index(f"And up to, from beyond the ends [{units.label('force')}]")
    beyond = analysis.force.end_bound.sum(axis=2).max(axis=0)  # both ends in one case
    found = [row[at].value for row in rows.iter_rows(min_row=2)]
    np.testing.assert_allclose(found, units.convert(1.0, "force") * beyond, rtol=1e-12)
    assert project.path.parent.name != "sentier-house" or max(found) > 1.0
    answer = {row[0].value: row[1].value for row in book["Answer"].iter_rows(min_row=2)}
    assert answer["Input SHA-256"] == project.digest
    assert sum("engineer" in str(row[1].value) for row in book["Answer"].iter_rows(min_row=2))


def test_workbook_and_csv_are_one_table(handed, tmp_path):
    """The same columns in the same order, and the same values to the digits of the file."""
    analysis, _, folder = handed
    write_attachments(analysis, tmp_path / "attachments.csv")
    with (tmp_path / "attachments.csv").open(encoding="utf-8-sig", newline="") as file:
        heads, *lines = csv.reader(file)
    sheet = list(openpyxl.load_workbook(folder / "tables.xlsx")["Attachments"].iter_rows(values_only=True))
    assert [head[0].lower() + head[1:] for head in sheet[0]] == heads
    assert len(lines) == len(sheet) - 1 == len(analysis.project.layout.clamp_name)
    for line, cells in zip(lines, sheet[1:], strict=True):
        for text, cell in zip(line, cells, strict=True):
            if isinstance(cell, str):
                assert text == cell
            elif cell is None:
                assert text == ""
            else:
                assert float(text) == pytest.approx(cell, rel=6e-4, abs=6e-4)


def test_glb_has_y_up_and_true_areas(handed):
    analysis, _, folder = handed
    roof = analysis.project.roof
    scene = trimesh.load_scene(folder / "roof.glb")
    assert set(scene.geometry) == {"roof", "building", "rails", "clamps"}
    mesh = scene.geometry["roof"]
    # Cells cover the planes with a fall: true area of planes is that of the mesh.
    cells = analysis.graph.cells
    true = cells.plan_area / np.cos(roof.planes.slope[cells.plane])
    assert mesh.area == pytest.approx(true.sum(), rel=1e-5)
    high = roof.points[:, 2].max()
    assert mesh.bounds[1][1] == pytest.approx(high, abs=1e-4)  # y is up
    assert mesh.bounds[0][2] == pytest.approx(-roof.points[:, 1].max(), abs=1e-3)  # north is -z
    # The rails' tubes are as long as the rails.
    around = 12 * 2.0 * np.sin(np.pi / 12) * 0.5 * analysis.project.rail.section.depth_z
    assert scene.geometry["rails"].area == pytest.approx(
        around * analysis.project.layout.row_length.sum(), rel=1e-4
    )


def test_multiblock_names_files_that_open(handed):
    _, _, folder = handed
    names = re.findall(r'file="([^"]+)"', (folder / "model.vtm").read_text())
    assert names == ["roof.vtu", "rails.vtu", "clamps.vtu"]
    assert all(len(meshio.read(folder / name).points) for name in names)
    reader = vtkXMLMultiBlockDataReader()  # what every VTK-based viewer reads it with
    reader.SetFileName(str(folder / "model.vtm"))
    reader.Update()
    blocks = reader.GetOutput()
    assert [blocks.GetBlock(i).GetNumberOfPoints() for i in range(blocks.GetNumberOfBlocks())] == [
        len(meshio.read(folder / name).points) for name in names
    ]


def test_a_failed_check_warns_on_every_file(handed, plan):
    analysis, _, folder = handed
    words = "NOT FOR INSTALLATION"
    texts = [t.dxf.text for t in plan.modelspace().query("TEXT")]
    book = openpyxl.load_workbook(folder / "tables.xlsx")
    cells = [str(row[0].value) for row in book["Quantities"].iter_rows(min_row=2)]
    said = [
        sum(words in text for text in texts) > 1,
        words in (folder / "quantities.csv").read_text("utf-8-sig"),
        any(words in cell for cell in cells),
        words in str(trimesh.load_scene(folder / "roof.glb").geometry["roof"].metadata),
    ]
    assert said == [not analysis.passed] * 4


def _plan_words(drawing):
    """Lines of model space as one text, and of every sheet."""
    spaces = [drawing.modelspace(), *sheets_of(drawing)]
    return [" ".join(text.dxf.text for text in space.query("TEXT")) for space in spaces]


def test_missing_splices_are_told_wherever_rails_are(handed, plan):
    """The installer's plan and its sheets, the first page, the page and the workbook."""
    analysis, bill, folder = handed
    words = splice_caution(analysis.project)
    needed = sum(line[2] for line in bill_lines(analysis.project, bill) if line[0] == "splice, missing")
    assert bool(words) == bool(needed)
    head = f"At least {needed} more splice" if needed else "more splice"
    first = " ".join(pypdf.PdfReader(folder / "package.pdf").pages[0].extract_text().split())
    answer = openpyxl.load_workbook(folder / "tables.xlsx")["Answer"]
    texts = _plan_words(plan)
    said = [
        *(head in text for text in texts),
        head in first,
        head in (folder / "package.html").read_text("utf-8"),
        any(head in str(row[1].value) for row in answer.iter_rows(min_row=2)),
    ]
    assert said == [bool(needed)] * len(said)
    out = io.StringIO()
    print_summary(analysis, Console(file=out, width=300))
    assert (f"At least {needed} more splice" in out.getvalue()) is bool(needed)
    assert ("NOT in this calculation" in out.getvalue()) is bool(needed)
    note = splice_note(analysis.project)
    turn = f" ({note})" if note else ""
    assert (f"Splices: {bill.splices.sum()}{turn}." in texts[0]) is not bool(needed)
    lines = [line.dxf.text for line in plan.modelspace().query("TEXT")]
    rows = [line for line in lines if line.startswith("Row ")]
    missing = missing_of(analysis.project).per_row
    assert sum("TOO LONG" in note for note in rows) == (missing > 0).sum()


def test_what_the_project_must_know_stands_in_workbook_and_plan(handed, plan):
    """Not only the standing cautions: snow that no row holds, and every caution of this project."""
    analysis, _, folder = handed
    said = verdict(analysis, SYSTEMS[analysis.project.table.project.units])
    answer = openpyxl.load_workbook(folder / "tables.xlsx")["Answer"]
    found = {str(row[1].value) for row in answer.iter_rows(min_row=2)}
    assert {said.sentence, *said.more, *said.cautions} <= found
    if said.falling:
        assert said.falling in found
        assert all(said.falling in text for text in _plan_words(plan))


def test_data_agrees(handed):
    _, bill, folder = handed
    data = json.loads((folder / "handover.json").read_text())
    schema = Path(viewer.__file__).parent / "handover.schema.json"
    jsonschema.validate(data, json.loads(schema.read_text()))
    assert sum(piece["length"] for piece in data["pieces"]) == pytest.approx(bill.length, rel=1e-12)
    assert {*data["files"], "handover.json"} == {path.name for path in folder.iterdir()}


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (0.0254 * 147.25, "12'-3 1/4\""),
        (0.0, '0"'),
        (0.0254 * 11.999, "1'-0\""),
        (0.0254 * 0.4375, '0 7/16"'),
        (0.3048, "1'-0\""),
    ],
)
def test_feet_and_inches(length, text):
    assert inches(length) == text


def test_bars_hold_their_pieces_and_are_few():
    """Lengths that pack by hand: 4 + 2, 3 + 3, and 2.5 + 2.5 + 1 in bars of 6."""
    length = np.array([2.5, 3.0, 4.0, 1.0, 2.0, 3.0, 2.5])
    bar, bars = cut_bars(length, 6.0)
    assert bars == 3
    assert np.bincount(bar, length).max() <= 6.0 + 1e-9


def test_a_piece_longer_than_the_stock_is_told():
    bar, bars = cut_bars(np.array([7.0, 1.0]), 6.0)
    assert bar.tolist() == [-1, 0]
    assert bars == 1


def test_stock_length_from_the_project(tmp_path):
    path = tmp_path / "p.toml"
    path.write_text(changed('yield_strength = "200 MPa"', 'yield_strength = "200 MPa"\nstock_length = "3 m"'))
    project = load_project(path)
    bill = bill_of(project)
    assert bill.stock == 3.0
    _, length = rail_lengths(project.layout)
    assert set(bill.too_long) == set(np.flatnonzero(length > 3.0))
    bars = next(line for line in bill_lines(project, bill) if line[0] == "rail, stock bars")
    assert (f"WITHOUT {len(bill.too_long)} of" in bars[-1]) == bool(len(bill.too_long))


@pytest.mark.parametrize(("given", "longest"), [("3 m", 3.0), ("", 6.5)])
def test_pieces_too_long_say_how_many_splices_they_need(tmp_path, given, longest):
    path = Path("models/ridge-school/project.toml")
    if given:
        path = tmp_path / "p.toml"
        stock = f'yield_strength = "200 MPa"\nstock_length = "{given}"'
        path.write_text(changed('yield_strength = "200 MPa"', stock))
    project = load_project(path)
    bill = bill_of(project)
    lines = [line for line in bill_lines(project, bill) if line[0] == "splice, missing"]
    parts = np.ceil((bill.piece_length - 5e-4) / longest)
    assert sum(line[2] for line in lines) == np.maximum(parts - 1, 0).sum() > 0
    many = (bill.piece_length > longest + 5e-4).sum()
    assert lines[0][4].startswith(
        f"{many} piece{'s' if many > 1 else ''} of rail {'are' if many > 1 else 'is'} longer than"
    )
    # With that many splices in equal parts, every piece fits.
    assert (bill.piece_length / parts <= longest + 5e-4).all()
