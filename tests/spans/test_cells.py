"""Cells of span tables against `check` of their own projects."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from fea.analysis import analyze
from fea.spans.bench import LIMITS
from fea.spans.capacity import span_table
from fea.spans.cells import cell_project, worst_cell
from fea.spans.study import study_choices, study_hardware, study_roof
from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.project.span_study import load_study
from tests.spans.test_span_tables import BAR, HAT, ROUND, THIN

MODEL = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"


def studied(tmp_path, **changes):
    text = MODEL.read_text()
    for old, new in changes.get("replace", {}).items():
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "spans.toml"
    path.write_text(text)
    return load_study(path)


def checked(study, cell, choices, folder, rail):
    table, variant = study.table.study, study.variants[0]
    tables = dict(variant.tables)
    tables["rail"] = {k: v for k, v in tables["rail"][rail].items() if k != "name"}
    project, clamps = cell_project(cell, choices, tables, table.slope, table.panel_length, table.level)
    (folder / "project.toml").write_text(tomlkit.dumps(project))
    (folder / "clamps.csv").write_text(clamps)
    return analyze(load_project(folder / "project.toml"))


@pytest.mark.parametrize("case", range(14))
@pytest.mark.parametrize(
    "change",
    [
        {},
        {'level = "characteristic"': 'level = "characteristic"\nsplice = "hinge"\nunloaded_share = 0.4'},
        {"deflection_ratio = 100": 'deflection_ratio = 100\ntemperature_change = "35 K"'},
        {ROUND: THIN},
        {ROUND: BAR, "deflection_ratio = 100": ""},
        {ROUND: HAT + 'temperature_change = "20 K"\n', "deflection_ratio = 100": ""},
    ],
    ids=["plain", "splice", "warm", "thin", "bar", "hat"],
)
def test_any_cell_is_what_check_finds(tmp_path, change, case):
    study = studied(tmp_path, replace=change)
    choices = study_choices(study)
    draw = np.random.default_rng((case, len(str(change))))
    arrangement = choices.arrangements[case % len(choices.arrangements)]
    rail, span, load = case % 2, draw.uniform(0.4, 2.2), draw.uniform(300.0, 9000.0)
    hardware = study_hardware(study, study.variants[0], rail)
    cell = worst_cell(study_roof(study), hardware, choices, arrangement, span, load)
    analysis = checked(study, cell, choices, tmp_path, rail)
    limit = next(one for one in analysis.limits if one.name == cell.limit)
    assert limit.utilization[0, cell.target] == pytest.approx(cell.utilization, rel=1e-6)
    assert analysis.tributary.sum() == pytest.approx(
        load * span * float(np.diff(cell.line.edges) @ cell.line.share), rel=1e-9
    )
    counted = []
    for one in analysis.limits:
        if one.target == "row" or one.target == "solar clamp" or one.target == "solar strip":
            continue
        counts = cell.line.counts_piece if one.target == "span" else cell.line.counts_clamp
        counted.append(np.nan_to_num(one.utilization[0][counts]).max())
    assert max(counted) == pytest.approx(cell.utilization, rel=1e-6)


def test_what_is_not_known_is_the_worst_of_a_cell(tmp_path):
    """A direction without a strength comes before every number, whatever comes after it."""
    study = studied(tmp_path, replace={', push = "7.5 kN" }': " }"})
    choices = study_choices(study)
    hardware = study_hardware(study, study.variants[0], 0)
    cell = worst_cell(study_roof(study), hardware, choices, choices.arrangements[4], 0.8, 3000.0)
    assert cell.limit == "clamp combined"
    assert np.isnan(cell.utilization)


@pytest.mark.parametrize("rail", [ROUND, THIN], ids=["round", "thin"])
def test_table_and_its_cells_agree(tmp_path, rail):
    study = studied(tmp_path, replace={ROUND: rail})
    choices = study_choices(study)
    hardware = study_hardware(study, study.variants[0], 0)
    roof = study_roof(study)
    found = span_table(roof, hardware, choices)
    for i, a, m in [(0, 0, 3), (4, 2, 5), (7, 4, 9), (6, 5, 1), (2, 3, 7), (5, 1, 2)]:
        cell = worst_cell(
            roof, hardware, choices, choices.arrangements[a], choices.spans[i], choices.loads[m]
        )
        assert np.nanmax(found.use[i, a, m]) == pytest.approx(cell.utilization, rel=1e-9)
        use = np.nan_to_num(found.use[i, a, m])
        assert LIMITS[int(np.argmax(use >= use.max() * (1.0 - 1e-9)))] == cell.limit
        largest = float(found.load[i, a].min())
        full = worst_cell(roof, hardware, choices, choices.arrangements[a], choices.spans[i], largest)
        assert full.utilization == pytest.approx(1.0, abs=1e-8)


def test_the_largest_load_of_a_cell_is_just_at_its_limit_in_check(tmp_path):
    study = studied(tmp_path)
    choices = study_choices(study)
    hardware = study_hardware(study, study.variants[0], 1)
    roof = study_roof(study)
    found = span_table(roof, hardware, choices)
    arrangement = choices.arrangements[4]
    cell = worst_cell(roof, hardware, choices, arrangement, choices.spans[5], float(found.largest[5, 4]))
    analysis = checked(study, cell, choices, tmp_path, 1)
    assert analysis.governing.utilization == pytest.approx(1.0, abs=1e-6)


def test_snow_on_a_part_of_a_plane_loads_that_part_only(tmp_path):
    study = studied(tmp_path)
    choices = study_choices(study)
    hardware = study_hardware(study, study.variants[0], 0)
    cell = worst_cell(study_roof(study), hardware, choices, choices.arrangements[1], 1.0, 1000.0)
    line = replace(cell.line, share=np.array([1.0, 0.25]))
    analysis = checked(study, replace(cell, line=line), choices, tmp_path, 0)
    zones = analysis.snow.cases[0].zones
    assert [zone.polygon.area > 0.0 for zone in zones] == [True, True]
    first = analysis.force.span[:, 1] <= 1.0 + 1e-9
    thrust = -analysis.force.thrust[0, :, 1]
    assert thrust[first].sum() == pytest.approx(1000.0, rel=1e-9)
    assert thrust[~first].sum() == pytest.approx(250.0, rel=1e-9)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ('left = "1 m"', "left and right"),
        ('left = "2 m", right = "1 m", plane = "S1"', "less than right"),
        ('left = "0 m", right = "1 m"', "plane"),
        ('left = "0 m", right = "90 m", plane = "S1"', "wide"),
    ],
)
def test_bad_bands_of_snow_are_refused(tmp_path, fields, words):
    study = studied(tmp_path)
    choices = study_choices(study)
    hardware = study_hardware(study, study.variants[0], 0)
    cell = worst_cell(study_roof(study), hardware, choices, choices.arrangements[0], 1.0, 1000.0)
    checked(study, cell, choices, tmp_path, 0)
    path = tmp_path / "project.toml"
    text = path.read_text()
    at = text.index("[[site.layers]]")
    end = text.index("plane = ", at)
    bare = text[:end] + text[end:].split("\n", 1)[1]
    path.write_text(
        bare.replace("[[site.layers]]\n", "[[site.layers]]\n" + fields.replace(", ", "\n") + "\n")
    )
    with pytest.raises(InputError, match=words):
        analyze(load_project(path))
