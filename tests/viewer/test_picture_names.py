"""Names of rows and planes in the picture: beside what they name, and never lost without a word."""

import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from test_picture import GABLE, SIZE, lay_out, read

from fea.analysis import Analysis
from viewer import style
from viewer.picture.camera import View, hidden
from viewer.picture.labels import Crowd, crossings, leader_end
from viewer.picture.scene import Scene

HIP = GABLE.replace('shape = "gable"', 'shape = "hip"').replace(
    '"0 0, 14 0, 14 9, 0 9 m"', '"0 0, 80 0, 80 48, 0 48 ft"'
)


@pytest.fixture(scope="module")
def hip(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    """Two rows on each plane of a hip roof."""
    rows = "".join(
        f'[[row]]\nname = "{plane}-{word}"\nplane = "{plane}"\nup = "{up}"\n'
        for plane in ("S1", "E1", "N1", "W1")
        for word, up in (("low", "2 ft"), ("high", "12 ft"))
    )
    head, design = HIP[: HIP.index("[[row]]")], HIP[HIP.index("[design]") :]
    return read(head + rows + design, tmp_path_factory.mktemp("hip"))


def test_no_line_to_a_name_crosses_more_than_a_quarter_of_the_roof(hip: Analysis) -> None:
    scene, view, overlay = lay_out(hip, SIZE)
    planes = hip.project.roof.planes
    rings = [planes.to_world(k, np.array(one.exterior.coords)) for k, one in enumerate(planes.outline)]
    roof = shapely.union_all([shapely.Polygon(view.project(ring)).buffer(0.5) for ring in rings])
    low, _, high, _ = roof.bounds
    lines = [s.points for s in overlay.shapes if s.line == style.MUTED and len(s.points) == 2]
    assert lines
    for points in lines:
        assert shapely.length(shapely.intersection(roof, shapely.linestrings(points))) <= 0.26 * (high - low)
    words = [text.text for text in overlay.texts]
    for row, name in enumerate(hip.project.layout.row_name):
        seen = any(word.startswith(f"{name}  ") or f"  {name}  " in word for word in words)
        assert seen or name in overlay.unnamed or not _end_is_seen(hip, scene, view, row)


def _end_is_seen(analysis: Analysis, scene: Scene, view: View, row: int) -> bool:
    normal = analysis.project.roof.planes.normal[analysis.project.layout.row_plane[row]]
    share = np.array([[0.03], [0.97]])
    points = scene.rows[row, 0] * (1.0 - share) + scene.rows[row, 1] * share + 0.02 * normal
    return not hidden(points, view.toward, scene.body).all()


def test_names_lie_beside_their_own_end(hip: Analysis) -> None:
    """A tie starts at a row near one of its ends, and its text stands at the tie's other end."""
    scene, view, overlay = lay_out(hip, SIZE)
    ends = view.project(scene.rows)
    lines = [s.points for s in overlay.shapes if s.line == style.MUTED and len(s.points) == 2]
    tied = 0
    for row, name in enumerate(hip.project.layout.row_name):
        text = next((t for t in overlay.texts if t.text.startswith(f"{name}  ")), None)
        if text is None:
            continue
        left, _, right, _ = text.box
        near = [p for p in lines if min(abs(p[0] - (x, text.at[1])).max() for x in (left, right)) < 10.0]
        assert len(near) == 1, name
        inside = [ends[row, e] + 0.04 * (ends[row, 1 - e] - ends[row, e]) for e in (0, 1)]
        assert min(np.linalg.norm(near[0][1] - point) for point in inside) < 1.0
        tied += 1
    assert tied >= 5


def test_every_plane_with_room_is_named(hip: Analysis) -> None:
    _, view, overlay = lay_out(hip, (2000, 1400))
    words = [text.text for text in overlay.texts]
    for plane, name in enumerate(hip.project.roof.planes.name):
        if hip.project.roof.planes.normal[plane] @ view.toward > 0.3:
            assert name in words or any(re.fullmatch(rf"{name}  [\d.]+°", word) for word in words), name


def test_names_of_small_planes_stand_on_them_or_are_led_to_them(tmp_path: Path) -> None:
    small = 'kind = "gable"\nwidth = "1 m"\nheight = "0.4 m"\nup = "1 m"\npitch = "35 deg"\nplane = "S1"\n'
    dormers = "".join(f'[[roof.dormer]]\nname = "D{x}"\nacross = "{x} m"\n{small}' for x in (3, 8))
    surface, row, design = (GABLE.index(head) for head in ("[surface]", "[[row]]", "[design]"))
    rows = '[[row]]\nname = "Low"\nplane = "S1"\nup = "0.4 m"\n\n'
    text = f"{GABLE[:surface]}{dormers}{GABLE[surface:row]}{rows}{GABLE[design:]}"
    _, view, overlay = lay_out(analysis := read(text, tmp_path), SIZE)
    planes, led = analysis.project.roof.planes, 0
    lines = [s.points for s in overlay.shapes if s.line == style.MUTED and len(s.points) == 2]
    for plane, outline in enumerate(planes.outline):
        name = planes.name[plane]
        found = next((t for t in overlay.texts if re.fullmatch(rf"{name}(  [\d.]+°)?", t.text)), None)
        if found is None:
            continue
        seen = shapely.Polygon(view.project(planes.to_world(plane, np.array(outline.exterior.coords))))
        box = shapely.box(*found.box)
        if shapely.intersection(seen, box).area > 0.8 * box.area:
            continue
        ends = [b for a, b in lines if shapely.distance(box, shapely.Point(a)) < 10.0]
        assert any(seen.contains(shapely.Point(end)) for end in ends), name
        led += 1
    assert led >= 1, (overlay.unnamed, [t.text for t in overlay.texts], planes.name)


def test_the_line_to_a_label_goes_around_other_labels() -> None:
    """A wide label would stand nearest right of its place; with another name between, its line shuns that."""
    crowd = Crowd((0.0, 0.0, 800.0, 800.0))
    crowd.cover_polygon(np.array([[0.0, 0.0], [560.0, 0.0], [560.0, 800.0], [0.0, 800.0]]), 30.0)
    anchor, size = (400.0, 400.0), (200.0, 80.0)
    name = (460.0, 380.0, 540.0, 420.0)
    crowd.take(name)
    plain = crowd.place(size, anchor, pull=0.2, least=20.0)
    shy = crowd.place(size, anchor, pull=0.2, least=20.0, shun=np.array([name]))
    lines = []
    for box in (plain, shy):
        x, y = leader_end(anchor, tuple(np.array(side) for side in box))
        lines.append(shapely.LineString([anchor, (float(x), float(y))]))
        count = crossings(anchor, (np.array([[x]]), np.array([[y]])), np.array([name]))
        assert int(count[0, 0]) == lines[-1].intersects(shapely.box(*name))
    assert lines[0].intersects(shapely.box(*name))
    assert not lines[1].intersects(shapely.box(*name))
