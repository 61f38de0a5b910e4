"""Sheets of the installer's plan show all that is measured."""

import ezdxf
import ezdxf.bbox
import shapely

from fea.analysis import analyze
from roofmodel.project.load import with_rows
from roofmodel.project.schema import RowTable
from tests.demos import demo
from viewer.handover.installer import write_plan
from viewer.package.bill import bill_of


def test_no_measure_is_cut_by_the_edge_of_its_sheet(tmp_path):
    """Five rows that end at one side have five heights beside it, each farther out."""
    project = demo("granary-door").project
    rows = [
        RowTable.model_validate(
            {"name": f"row {k}", "plane": "S1", "up": f"{0.5 + 0.8 * k} m", "start": "9 m", "end": "15.9 m"}
        )
        for k in range(5)
    ]
    analysis = analyze(with_rows(project, rows), beyond=False)
    write_plan(analysis, bill_of(analysis.project), tmp_path / "plan.dxf")
    drawing = ezdxf.readfile(tmp_path / "plan.dxf")
    windows = []
    for layout in drawing.layouts:
        for view in layout.query('VIEWPORT[layer=="VIEWPORTS"]'):
            high = view.dxf.view_height
            wide = high * view.dxf.width / view.dxf.height
            x, y, *_ = view.dxf.view_center_point
            windows.append(shapely.box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2))
    measures = list(drawing.modelspace().query("DIMENSION"))
    assert len(measures) > 6
    for one in measures:
        box = ezdxf.bbox.extents(one.virtual_entities())
        drawn = shapely.box(box.extmin.x, box.extmin.y, box.extmax.x, box.extmax.y)
        assert any(window.covers(drawn) for window in windows), one.get_measurement()
