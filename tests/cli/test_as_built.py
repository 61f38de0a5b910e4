"""Clamps measured on site take the place of those planned."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_project import GOOD

from fea.analysis import analyze
from roofmodel.errors import InputError
from roofmodel.project.as_built import as_found, read_measured
from roofmodel.project.load import load_project, with_rows
from viewer.clamp_table import write_attachments


def project_with(tmp_path, text, name="clamps.csv"):
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    path = tmp_path / "p.toml"
    path.write_text(f'{GOOD}\n[as_built]\nfile = "{name}"\n')
    return path


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    path = tmp_path_factory.mktemp("planned") / "p.toml"
    path.write_text(GOOD)
    return load_project(path)


def table(layout, separator=",", head="along [m]", factor=1.0, decimal="."):
    lines = [f"row{separator}{head}"]
    lines += [
        f"{layout.row_name[r]}{separator}{factor * s:.9f}".replace(".", decimal)
        for r, s in zip(layout.clamp_row, layout.clamp_s, strict=True)
    ]
    return "\n".join(lines)


@pytest.mark.parametrize(
    "form",
    [
        {},
        {"separator": ";", "decimal": ","},
        {"separator": "\t"},
        {"head": "along (mm)", "factor": 1000.0},
        {"head": "along [ft]", "factor": 1.0 / 0.3048},
    ],
)
def test_as_planned_changes_nothing(tmp_path, planned, form):
    found = load_project(project_with(tmp_path, table(planned.layout, **form)))
    np.testing.assert_allclose(found.layout.clamp_s, planned.layout.clamp_s, atol=1e-8)
    np.testing.assert_array_equal(found.layout.clamp_seam, planned.layout.clamp_seam)
    assert found.layout.clamp_name == planned.layout.clamp_name
    a, b = analyze(planned), analyze(found)
    assert a.governing.utilization == pytest.approx(b.governing.utilization, rel=1e-6)
    assert any("as measured" in note for note in found.roof.notes)
    assert any("as measured" in caution for caution in b.cautions)


def nasty(layout):
    """What a spreadsheet far away makes of it: mark, CRLF, semicolons, decimal commas, line of units."""
    lines = table(layout, separator=";", head="along", factor=1000.0, decimal=",").split("\n")
    lines[0] = '"Row"; "Along";"Found by"'
    lines[1:] = [f"{line};" for line in lines[1:]]
    return "\r\n".join([lines[0], "-;[mm];", *lines[1:], ";;", ""])


@pytest.mark.parametrize("code", ["utf-8-sig", "utf-8", "utf-16"])
@pytest.mark.parametrize("hint", ["", "sep=;\r\n"])
def test_lists_from_spreadsheets_are_read(tmp_path, planned, code, hint):
    found = load_project(project_with(tmp_path, (hint + nasty(planned.layout)).encode(code)))
    np.testing.assert_allclose(found.layout.clamp_s, planned.layout.clamp_s, atol=1e-8)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("row,along\n-,kg\nR1,1\n", "line 2: along"),
        ("row,along [m]\n,mm\nR1,1\n", 'line 2: along: the unit "mm" is not the one of line 1'),
        ("row,along\n-,m\n", "has heads but nothing below"),
        ("row;along\n;m\nR1;1.234,5\n", "line 3: along"),  # a thousand, or one?
        ("row;along\n-;m\nR1;0,3\n-;m\n", "line 4"),  # units once only
    ],
)
def test_lines_of_units_are_held_to_their_place(tmp_path, text, says):
    with pytest.raises(InputError) as told:
        load_project(project_with(tmp_path, text))
    assert says in str(told.value)
    assert "\n" not in str(told.value)


def test_attachments_of_a_check_can_be_filled_in_on_site(tmp_path, planned):
    write_attachments(analyze(planned), tmp_path / "clamps.csv")
    found = load_project(project_with(tmp_path, (tmp_path / "clamps.csv").read_bytes()))
    np.testing.assert_allclose(found.layout.clamp_s, planned.layout.clamp_s, atol=5.1e-4)
    np.testing.assert_array_equal(found.layout.clamp_seam, planned.layout.clamp_seam)


def test_a_missing_clamp_loads_its_neighbors(tmp_path, planned):
    lines = table(planned.layout).splitlines()
    middle = 1 + len(planned.layout.clamp_name) // 2
    found = load_project(project_with(tmp_path, "\n".join(lines[:middle] + lines[middle + 1 :])))
    assert len(found.layout.clamp_name) == len(planned.layout.clamp_name) - 1
    before, after = analyze(planned), analyze(found)
    assert after.governing.utilization > before.governing.utilization * 1.2
    total = [a.clamp_force[:, 0, :, 0].sum(axis=1) for a in (before, after)]
    np.testing.assert_allclose(*total, rtol=1e-9)  # the snow is the same


def test_rows_with_measured_clamps_do_not_move(tmp_path, planned):
    found = load_project(project_with(tmp_path, table(planned.layout)))
    same = with_rows(found, found.table.row)
    np.testing.assert_array_equal(same.layout.clamp_s, found.layout.clamp_s)
    with pytest.raises(InputError, match="as_built"):
        with_rows(found, [found.table.row[0].model_copy(update={"up": 1.0})])


def test_the_file_counts_in_the_digest(tmp_path, planned):
    a = load_project(project_with(tmp_path, table(planned.layout)))
    b = load_project(project_with(tmp_path, table(planned.layout) + "\n"))
    assert a.digest != b.digest
    assert (tmp_path / "clamps.csv") in a.inputs


@settings(deadline=None)
@given(st.lists(st.floats(-0.2, 0.2), min_size=3, max_size=3))
def test_shifts_within_a_seam_keep_the_seam(planned, shifts):
    layout, spacing = planned.layout, planned.panel.seam_spacing
    s = layout.clamp_s.copy()
    s[2:5] += np.array(shifts) * spacing
    buffer = io.StringIO()
    out = csv.writer(buffer)
    out.writerow(["row", "along [m]"])
    out.writerows((layout.row_name[r], repr(float(v))) for r, v in zip(layout.clamp_row, s, strict=True))
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "c.csv"
        path.write_text(buffer.getvalue())
        found, words = as_found(layout, read_measured(path, "c.csv"), planned.panel)
    np.testing.assert_array_equal(found.clamp_seam, layout.clamp_seam)
    np.testing.assert_allclose(found.clamp_s, s, atol=1e-12)
    if abs(np.abs(shifts).max() - 0.15) > 1e-6:
        assert ("is far from any" in words) == bool(np.abs(shifts).max() > 0.15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("row,along [m]\n", "has heads but nothing below"),
        ("row,at\nR1,1\n", 'the column along is missing; the heads must be "row", "along [m]"'),
        ("row,along [kg]\nR1,1\n", "line 1: along"),
        ("row,along\nR1,1\n", "line 2: along"),
        ("row,along [m]\nR9,1\n", 'line 2: there is no row "R9"'),
        ("row,along [m]\nR1,nan\n", "line 2: along"),
        ("row,along [m]\nR1,1e400\n", "line 2: along"),
        ("row,along [m]\nR1,\n", "line 2: along"),
        ("row,along [m]\nR1\n", "line 2: along: is empty"),
        ("row,along [m]\nR1,99\n", "is off the rail"),
        ("row,along [m]\nR1,-1\n", "is off the rail"),
        ("row,along [m]\nR1,1.0\nR1,1.01\n", "line 3"),
        ('row,along [m]\n"R1,1\n', "is not a CSV table"),
        (b"\xfer\x00o", "is not text in UTF-8"),
        (b"\xff\xfer\x00o", "is not text in UTF-8"),
        ("row,along [m]\nR1,1,5\n", "more cells than heads"),
    ],
)
def test_bad_files_are_named(tmp_path, text, says):
    with pytest.raises(InputError) as caught:
        load_project(project_with(tmp_path, text))
    message = str(caught.value)
    assert says in message
    assert message.startswith("p.toml: clamps.csv")
    assert "\n" not in message
