"""CityGML: real files with known counts, the forms the standard allows, and messages for the rest."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely
from test_importing import city, write

from roofmodel.errors import InputError
from roofmodel.shape.citygml import city_buildings
from roofmodel.shape.importing import import_roof
from roofmodel.surface import EdgeKind

DATA = Path(__file__).parents[1] / "data"
LADDER = DATA / "roofs" / "gable_ladder_100_citygml3.gml"
GARAGE = DATA / "roofs" / "building_and_garage_lod2_citygml2.gml"
HIPS = DATA / "roofs_sharealike" / "ingolstadt_4018149a_hip_valley_lod3.gml"
DORMERS = DATA / "roofs_sharealike" / "ingolstadt_4018258_dormers_lod3.gml"


def kinds(roof):
    return Counter(kind.value for kind in roof.edges.kind)


def test_a_ladder_of_100_gables_has_its_100_ridges():
    """Counts and the eight pitches as the test case was made (see tests/data/roofs/README.md)."""
    roof = import_roof(LADDER, building="all")
    assert kinds(roof) == {"ridge": 100, "eave": 200, "rake": 400}
    assert roof.planes.count == 200
    pitch = np.unique(np.round(np.degrees(roof.planes.slope), 1))
    assert pitch == pytest.approx([18.4, 33.7, 45.0, 53.1, 59.0, 63.4, 66.8, 69.4])
    assert (roof.steps.gap > 1.9).all()  # nothing but lanes of 2 m and 4 m between the houses
    ridge = np.array([kind == EdgeKind.RIDGE for kind in roof.edges.kind])
    assert roof.edges.length[ridge] == pytest.approx(np.round(roof.edges.length[ridge]))


def test_one_gable_of_the_ladder_is_found_by_its_id():
    roof = import_roof(LADDER, building="FZK_GUID_1F3E679D-E226-4535-926C-7390977FB25A")
    assert kinds(roof) == {"ridge": 1, "eave": 2, "rake": 4}
    assert roof.planes.plan_area.sum() == pytest.approx(48.0)  # 6 m x 8 m
    eaves = np.array([kind == EdgeKind.EAVE for kind in roof.edges.kind])
    assert roof.edges.height[eaves] == pytest.approx(5.0)
    with pytest.raises(InputError, match="give the id of one building") as caught:
        import_roof(LADDER)
    assert "FZK_GUID_1F3E679D-E226-4535-926C-7390977FB25A (107 m2)" in str(caught.value)
    assert "and 70 more; or 'all'" in str(caught.value)


def test_house_and_garage_make_a_step():
    """Gable of 38.7 degrees, flat garage (2.9 degrees) against its wall, which belongs to a building part."""
    roof = import_roof(GARAGE)
    assert np.degrees(roof.planes.slope) == pytest.approx([38.66, 38.66, 2.86], abs=0.01)
    assert roof.steps.count >= 1
    assert (roof.steps.lower == 2).all()
    assert kinds(roof)["ridge"] == 1
    assert kinds(roof)["step"] >= 1
    np.testing.assert_allclose(roof.offset[:2], [458880, 5438352], atol=6)


def sloping(roof, hollow):
    """Shared edges that are not level, by name: those that are hollow, or those that are not."""
    shared = np.flatnonzero(roof.edges.plane[:, 1] >= 0)
    rise = np.abs(roof.edges.end - roof.edges.start)[shared, 2] / roof.edges.length[shared]
    keep = (rise > np.sin(np.radians(2.0))) & ((bends(roof) > 0.0) == hollow)
    return {roof.edges.name[index] for index in shared[keep]}


def test_hips_of_single_triangles_and_two_hollow_edges():
    """323 m2 between 30 and 73 degrees; "6 hips, 2 valleys" are 6 sloping edges out and 2 in.

    Of the six, two fall toward one side only by 5.7 and 11.2 degrees of bend: snow crosses them, so they are
    pitch breaks here. So is the hollow one of 2.4 degrees between two planes that both fall north.
    """
    roof = import_roof(HIPS)
    assert roof.planes.count == 8
    assert roof.planes.true_area.sum() == pytest.approx(322.7, abs=0.5)
    slope = np.degrees(roof.planes.slope)
    assert slope.min() > 30
    assert slope.max() == pytest.approx(73.1, abs=0.1)
    out, hollow = sloping(roof, hollow=False), sloping(roof, hollow=True)
    assert out == {
        "N1|W1 hip",
        "N2|E1 hip",
        "S3|W1 hip",
        "S4|E1 hip",
        "S1|S3 pitch break",
        "S2|S4 pitch break",
    }
    assert hollow == {"S1|S2 valley", "N1|N2 pitch break"}
    assert kinds(roof)["ridge"] == 2
    for name in ("S1|S3", "S2|S4", "N1|N2"):  # snow comes over them: one plane falls to, the other from
        edge = roof.edges.name.index(f"{name} pitch break")
        step = (roof.edges.end - roof.edges.start)[edge, :2]
        fall = [roof.planes.normal[p, :2] @ [step[1], -step[0]] for p in roof.edges.plane[edge]]
        assert np.prod(fall) > 0.0


def bends(roof):
    """Signed bend of the shared edges, positive where hollow: the rise of one plane above the other."""
    shared = np.flatnonzero(roof.edges.plane[:, 1] >= 0)
    first, second = roof.edges.plane[shared].T
    middle = 0.5 * (roof.edges.start + roof.edges.end)[shared]
    inside = np.array([np.array(p.representative_point().coords[0]) for p in roof.planes.outline])
    place = roof.planes.to_world(second, inside[second])
    return np.sum((place - middle) * roof.planes.normal[first], axis=1)


def test_dormer_terrace_and_soffits_are_understood():
    roof = import_roof(DORMERS)
    slope = np.degrees(roof.planes.slope)
    area = roof.planes.true_area
    assert slope.max() < 75.0  # the cheeks that the file marks as roof are walls
    assert (roof.planes.normal[:, 2] > 0.0).all()
    assert area.sum() == pytest.approx(0.88 * 423.0, rel=0.015)  # 12% of 423 m2 are cheeks
    assert area[(slope > 30) & (slope < 45)].sum() == pytest.approx(0.8 * 423.0, rel=0.015)
    flat = roof.planes.outline[roof.planes.name.index("F1")]
    assert flat.area == pytest.approx(13.3, abs=0.1)
    # "13 hips, 4 valleys": 13 sloping edges out, of which 4 have a cheek steeper than 75 degrees on one side
    # and 1, of 2.7 degrees, lies within W4 (1.7 m2). Of the hollow ones one is the foot of a cheek, a step.
    assert sloping(roof, hollow=False) == {
        *("S1|E1 hip", "S1|W2 hip", "E1|N1 hip", "W1|N1 hip", "S2|N3 hip", "N3|W3 hip", "W3|S3 hip"),
        "N2|N3 pitch break",
    }
    assert sloping(roof, hollow=True) == {"W2|S2 valley", "S2|S3 pitch break"}
    assert {"N2|F2 pitch break", "W1 step"} <= set(roof.edges.name)
    assert any("13 soffits" in note for note in roof.notes)
    assert any("5 installations" in note for note in roof.notes)
    assert any("taken as walls" in note for note in roof.notes)


@pytest.mark.parametrize("path", [HIPS, DORMERS, GARAGE])
def test_planes_of_real_roofs_do_not_overlap_on_plan(path):
    roof = import_roof(path)
    plan = [
        shapely.transform(outline, lambda uv, i=i: roof.planes.to_world(i, uv)[:, :2])
        for i, outline in enumerate(roof.planes.outline)
    ]
    assert shapely.union_all(plan).area == pytest.approx(roof.planes.plan_area.sum(), rel=0.01)


GML = 'xmlns:gml="http://www.opengis.net/gml" xmlns:x="http://www.w3.org/1999/xlink"'
HEAD = f'<CityModel xmlns="http://www.opengis.net/citygml/2.0" {GML}>'


def polygon(corners, name="", form="posList", **more):
    given = "".join(f' {key}="{value}"' for key, value in more.items())
    own = f' gml:id="{name}"' if name else ""
    numbers = [" ".join(f"{c:.12g}" for c in corner) for corner in [*corners, corners[0]]]
    inner = {
        "posList": f"<gml:posList{given}>{' '.join(numbers)}</gml:posList>",
        "pos": "".join(f"<gml:pos>{corner}</gml:pos>" for corner in numbers),
        "pointProperty": "".join(
            f"<gml:pointProperty><gml:Point><gml:pos>{corner}</gml:pos></gml:Point></gml:pointProperty>"
            for corner in numbers
        ),
        "coordinates": "<gml:coordinates>"
        + " ".join(corner.replace(" ", ",") for corner in numbers)
        + "</gml:coordinates>",
    }[form]
    ring = f"<gml:LinearRing>{inner}</gml:LinearRing>"
    return f"<gml:Polygon{own}><gml:exterior>{ring}</gml:exterior></gml:Polygon>"


def surface(kind, *members, lod=2):
    inner = "".join(f"<gml:surfaceMember>{member}</gml:surfaceMember>" for member in members)
    geometry = f"<lod{lod}MultiSurface><gml:MultiSurface>{inner}</gml:MultiSurface></lod{lod}MultiSurface>"
    return f"<boundedBy><{kind}>{geometry}</{kind}></boundedBy>" if kind else geometry


def model(*buildings, head=HEAD):
    inner = "".join(f"<cityObjectMember>{one}</cityObjectMember>" for one in buildings)
    return f"{head}{inner}</CityModel>"


def building(content, name="b"):
    return f'<Building gml:id="{name}">{content}</Building>'


SLOPE = [(0, 0, 3), (10, 0, 3), (10, 6, 6), (0, 6, 6)]
WALL = [(0, 0, 0), (10, 0, 0), (10, 0, 3), (0, 0, 3)]
FLOOR = [(0, 0, 0), (0, 6, 0), (10, 6, 0), (10, 0, 0)]
SHELL = surface("RoofSurface", polygon(SLOPE)) + surface("WallSurface", polygon(WALL))


def put(tmp_path, text, name="c.gml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


SHED = 10 * np.hypot(6, 3)  # [m2]


def assert_shed(roof, area=SHED):
    assert roof.planes.count == 1
    assert roof.planes.true_area[0] == pytest.approx(area)
    assert roof.planes.name == ("S1",)


@pytest.mark.parametrize("form", ["posList", "pos", "pointProperty", "coordinates"])
def test_every_form_of_a_ring_is_read(tmp_path, form):
    roof = import_roof(put(tmp_path, model(building(surface("RoofSurface", polygon(SLOPE, form=form))))))
    assert_shed(roof)


def test_holes_stay_holes(tmp_path):
    hole = [(4, 2, 4), (4, 4, 5), (6, 4, 5), (6, 2, 4)]
    inner = polygon(hole).partition("<gml:exterior>")[2].partition("</gml:exterior>")[0]
    holed = polygon(SLOPE).replace("</gml:Polygon>", f"<gml:interior>{inner}</gml:interior></gml:Polygon>")
    roof = import_roof(put(tmp_path, model(building(surface("RoofSurface", holed)))))
    assert_shed(roof, (60 - 4) * np.hypot(6, 3) / 6)
    assert len(roof.planes.outline[0].interiors) == 1


def test_surfaces_named_by_the_solid_keep_their_meaning_in_both_directions(tmp_path):
    """The polygon stands in the solid and the RoofSurface only points to it, or the other way round."""
    link = '<gml:surfaceMember x:href="#p"/>'
    shell = "<gml:exterior><gml:CompositeSurface>{}</gml:CompositeSurface></gml:exterior>"
    solid = f"<lod2Solid><gml:Solid>{shell}</gml:Solid></lod2Solid>"
    inline = f"<gml:surfaceMember>{polygon(SLOPE, 'p')}</gml:surfaceMember>"
    walls = f"<gml:surfaceMember>{polygon(WALL)}</gml:surfaceMember>"
    pointing = surface("RoofSurface").replace("<gml:MultiSurface>", f"<gml:MultiSurface>{link}")
    holding = surface("RoofSurface", polygon(SLOPE, "p"))
    for content in (solid.format(inline + walls) + pointing, solid.format(link + walls) + holding):
        roof = import_roof(put(tmp_path, model(building(content))))
        assert_shed(roof)
        assert any("1 surfaces that the file marks as roof" in note for note in roof.notes)


def test_a_building_without_marks_is_found_from_above(tmp_path):
    text = model(building(surface("", polygon(SLOPE), polygon(WALL), polygon(FLOOR))))
    roof = import_roof(put(tmp_path, text))
    assert_shed(roof)
    assert any("seen from above" in note for note in roof.notes)


def test_wrong_marks_can_be_set_aside(tmp_path):
    """An exporter that marks the floor as roof and the roof as wall."""
    text = model(
        building(surface("RoofSurface", polygon(FLOOR)) + surface("WallSurface", polygon(SLOPE, lod=2)))
    )
    path = put(tmp_path, text)
    assert import_roof(path).planes.name == ("F1",)
    assert_shed(import_roof(path, marks=False))


def test_the_level_of_detail_can_be_chosen(tmp_path):
    low = [(x, y, 4.0) for x, y, _ in SLOPE]
    path = put(
        tmp_path,
        model(
            building(
                surface("RoofSurface", polygon(low), lod=1) + surface("RoofSurface", polygon(SLOPE), lod=3)
            )
        ),
    )
    roof = import_roof(path)
    assert_shed(roof)
    assert any("level of detail 3 was taken, of 1, 3" in note for note in roof.notes)
    assert import_roof(path, lod="1").planes.name == ("F1",)
    with pytest.raises(InputError, match="no surfaces"):
        import_roof(path, lod="2")
    with pytest.raises(InputError, match='"fine" is not known'):
        import_roof(path, lod="fine")


def test_parts_keep_their_own_level_and_soffits_windows_and_stairs_stay_out(tmp_path):
    other = [(x + 20, y, z) for x, y, z in SLOPE]
    stairs = building(SHELL).replace("Building", "BuildingInstallation")
    window = f"<opening><Window>{surface('', polygon(WALL))}</Window></opening>"
    content = (
        surface("RoofSurface", polygon(SLOPE), lod=2).replace("</RoofSurface>", f"{window}</RoofSurface>")
        + surface("OuterCeilingSurface", polygon([(x, y, z - 0.2) for x, y, z in SLOPE]))
        + f"<outerBuildingInstallation>{stairs}</outerBuildingInstallation>"
        + f'<consistsOfBuildingPart><BuildingPart gml:id="q">{surface("RoofSurface", polygon(other), lod=3)}'
        "</BuildingPart></consistsOfBuildingPart>"
    )
    roof = import_roof(put(tmp_path, model(building(content))))
    assert roof.planes.count == 2
    assert roof.planes.plan_area.sum() == pytest.approx(120.0)
    told = " ".join(roof.notes)
    assert "1 installations" in told
    assert "1 soffits (67.1 m2)" in told


@pytest.mark.parametrize("tag", ["BuildingInstallation", "BuildingConstructiveElement"])
def test_a_chimney_drawn_as_an_installation_stands_on_the_roof(tmp_path, tag):
    """Whatever its faces are marked as, its top is no plane of the roof."""
    (a, b), (c, d), top = (4, 2), (5, 3), 7.0
    corners = [(a, b), (c, b), (c, d), (a, d)]
    sides = [
        polygon([(*p, 3.5), (*q, 3.5), (*q, top), (*p, top)])
        for p, q in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    own = surface("WallSurface", *sides, lod=3) + surface(
        "RoofSurface", polygon([(*p, top) for p in corners]), lod=3
    )
    chimney = f"<outerBuildingInstallation><{tag}>{own}</{tag}></outerBuildingInstallation>"
    for lod in (None, "2"):
        roof = import_roof(put(tmp_path, model(building(SHELL + chimney))), lod=lod)
        assert_shed(roof)
        assert roof.found.height == pytest.approx([top - 4.0], abs=0.05)  # above its lower edge


def test_map_coordinates_lose_nothing(tmp_path):
    far = np.array([3_512_345.678, 5_412_345.678, 512.345])
    text = model(building(surface("RoofSurface", polygon((np.array(SLOPE) + far).tolist()))))
    roof = import_roof(put(tmp_path, text.replace(";", "")))
    back = roof.points + roof.offset
    np.testing.assert_allclose(np.sort(back, axis=0), np.sort(np.array(SLOPE) + far, axis=0), atol=1e-6)
    assert np.abs(roof.points).max() < 50


@pytest.mark.parametrize(
    "reference", ["http://www.opengis.net/def/crs/EPSG/0/6697", "urn:ogc:def:crs:OGC:1.3:CRS84"]
)
def test_degrees_become_meters(tmp_path, reference):
    """One degree of latitude at 45 degrees is 111 132 m, of longitude 78 847 m (WGS 84, from memory)."""
    base = np.array([45.0, 9.0])
    ring = [(base[0] + y / 111_132, base[1] + x / 78_847, z) for x, y, z in SLOPE]
    if "CRS84" in reference:
        ring = [(east, north, z) for north, east, z in ring]
    envelope = f'<gml:boundedBy><gml:Envelope srsName="{reference}"/></gml:boundedBy>'
    numbers = polygon(ring)
    for corner in ring:
        numbers = numbers.replace(
            " ".join(f"{c:.12g}" for c in corner), " ".join(f"{c:.12f}" for c in corner)
        )
    roof = import_roof(put(tmp_path, model(building(surface("RoofSurface", numbers)), head=HEAD + envelope)))
    assert roof.planes.true_area[0] == pytest.approx(10 * np.hypot(6, 3), rel=2e-4)
    assert np.degrees(roof.planes.slope[0]) == pytest.approx(26.565, abs=0.02)
    assert np.degrees(roof.planes.azimuth[0]) == pytest.approx(180.0, abs=0.1)
    assert any("in degrees" in note for note in roof.notes)


def test_a_foreign_unit_can_be_given(tmp_path):
    feet = [(x / 0.3048, y / 0.3048, z / 0.3048) for x, y, z in SLOPE]
    path = put(tmp_path, model(building(surface("RoofSurface", polygon(feet)))))
    assert_shed(import_roof(path, unit="ft"))
    geometry = [{"type": "MultiSurface", "lod": "2", "boundaries": [[[4, 5, 6, 7]]]}]
    roof = import_roof(write(tmp_path / "c.city.json", city(geometry)), unit="ft")
    assert roof.planes.plan_area.sum() == pytest.approx(80 * 0.3048**2)


def test_ground_can_be_given(tmp_path):
    path = put(tmp_path, model(building(SHELL)))
    assert import_roof(path).edges.height.min() == pytest.approx(3.0)
    roof = import_roof(path, ground=-1.5)
    assert roof.edges.height.min() == pytest.approx(4.5)
    assert any("as given" in note for note in roof.notes)


def shed_with(corner):
    return model(building(surface("RoofSurface", polygon(SLOPE).replace("10 0 3", corner))))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<CityModel>", "cannot be read from line 1"),
        ("nothing", "not XML"),
        ("<html><body/></html>", 'begins with "html"'),
        (model(), "no buildings"),
        (model(building("")), "no surfaces"),
        (model(building(surface("WallSurface", polygon(WALL)))), "no roof"),
        (
            model(building(surface("RoofSurface", polygon(SLOPE).replace("10 0 3", "10 zero 3")))),
            "three numbers",
        ),
        (shed_with("10 3"), "three numbers"),
        (model(building(surface("RoofSurface", polygon(SLOPE, srsDimension="2")))), "no heights"),
        (shed_with("10 nan 3"), "not finite"),
        (shed_with("1e12 0 3"), "any map"),
        (model(building(surface("RoofSurface", polygon(SLOPE), lod=0))), "no surfaces"),
        (f"{HEAD}{'<a>' * 5000}{'</a>' * 5000}</CityModel>", "no buildings"),
        (model(building("<a>" * 5000 + "</a>" * 5000)), "deeper"),
        (
            '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>'
            + model(building("&c;")),
            "no surfaces",
        ),
    ],
)
def test_bad_files_are_told_in_one_line(tmp_path, text, words):
    with pytest.raises(InputError, match=words) as caught:
        import_roof(put(tmp_path, text))
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("c.gml: ")


def test_links_in_a_circle_end(tmp_path):
    ring = '<gml:CompositeSurface gml:id="p"><gml:surfaceMember x:href="#p"/></gml:CompositeSurface>'
    content = (
        SHELL
        + surface("RoofSurface", ring)
        + surface("RoofSurface").replace(
            "<gml:MultiSurface>", '<gml:MultiSurface><gml:surfaceMember x:href="#nowhere"/>'
        )
    )
    roof = import_roof(put(tmp_path, model(building(content))))
    assert_shed(roof)
    assert any("1 surfaces that stand elsewhere" in note for note in roof.notes)


def test_a_tile_is_read_building_by_building(tmp_path):
    """Memory stays with one building: the elements of earlier ones are freed."""
    many = [building(SHELL, f"b{number}") for number in range(50)]
    found = list(city_buildings(put(tmp_path, model(*many))))
    assert [one.name for one in found] == [f"b{number}" for number in range(50)]
    assert all(len(one.points) == 8 for one in found)


def test_city_json_in_degrees_becomes_meters(tmp_path):
    geometry = [{"type": "MultiSurface", "lod": "2", "boundaries": [[[4, 5, 6, 7]]]}]
    file = city(geometry, metadata={"referenceSystem": "https://www.opengis.net/def/crs/EPSG/0/4979"})
    file["transform"] = {"scale": [1e-9 / 0.111132, 1e-9 / 0.078847, 1e-3], "translate": [45.0, 9.0, 0.0]}
    file["vertices"] = [[y, x, z] for x, y, z in file["vertices"]]
    roof = import_roof(write(tmp_path / "c.city.json", file))
    assert roof.planes.plan_area.sum() == pytest.approx(80.0, rel=1e-3)
