"""Small building models, written by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np

SLAB = np.array([[0, 1, 2, 3], [7, 6, 5, 4], [0, 4, 5, 1], [1, 5, 6, 2], [2, 6, 7, 3], [3, 7, 4, 0]])
NAMES = iter(f"0000000000000000{number:06d}" for number in range(10**6))


def slab(corners, thickness=0.3, plumb=False):
    """Upper corners (4, 3) counter-clockwise from above; cut square or plumb. Points, quadrangles."""
    upper = np.array(corners, dtype=float)
    normal = np.cross(upper[1] - upper[0], upper[3] - upper[0])
    down = np.array([0.0, 0.0, 1.0]) if plumb else normal / np.linalg.norm(normal)
    lower = upper - thickness * down
    return np.vstack([upper, lower]), SLAB


class Model:
    """One project with elements as closed bodies of flat faces; lengths in meters whatever the unit."""

    def __init__(self, schema="IFC4", unit=1.0, north=None):
        import ifcopenshell

        self.file = file = ifcopenshell.file(schema=schema)
        self.unit = unit
        prefix = {1.0: None, 1e-3: "MILLI"}.get(unit)
        length = file.create_entity("IfcSIUnit", UnitType="LENGTHUNIT", Prefix=prefix, Name="METRE")
        if unit == 0.3048:
            exponents = file.create_entity("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
            value = file.create_entity("IfcLengthMeasure", 0.3048)
            measure = file.create_entity("IfcMeasureWithUnit", value, length)
            length = file.create_entity("IfcConversionBasedUnit", exponents, "LENGTHUNIT", "FOOT", measure)
        units = file.create_entity("IfcUnitAssignment", [length])
        self.context = file.create_entity(
            "IfcGeometricRepresentationContext",
            ContextType="Model",
            CoordinateSpaceDimension=3,
            Precision=1e-5,
            WorldCoordinateSystem=self._axes(),
            TrueNorth=None
            if north is None
            else file.create_entity("IfcDirection", [float(c) for c in north]),
        )
        self.project = file.create_entity(
            "IfcProject", next(NAMES), Name="p", RepresentationContexts=[self.context], UnitsInContext=units
        )

    def _axes(self, at=(0.0, 0.0, 0.0)):
        point = self.file.create_entity("IfcCartesianPoint", [float(c) for c in at])
        return self.file.create_entity("IfcAxis2Placement3D", point)

    def building(self, name):
        made = self.file.create_entity("IfcBuilding", next(NAMES), Name=name)
        self.aggregate(self.project, [made])
        return made

    def aggregate(self, whole, parts):
        self.file.create_entity("IfcRelAggregates", next(NAMES), RelatingObject=whole, RelatedObjects=parts)

    def contain(self, building, elements):
        self.file.create_entity(
            "IfcRelContainedInSpatialStructure",
            next(NAMES),
            RelatedElements=elements,
            RelatingStructure=building,
        )

    def element(self, kind, name, body=None, at=(0.0, 0.0, 0.0), **more):
        file = self.file
        placement = file.create_entity(
            "IfcLocalPlacement", RelativePlacement=self._axes(np.array(at) / self.unit)
        )
        shape = None
        if body is not None:
            points, quads = body
            corners = [
                file.create_entity("IfcCartesianPoint", point) for point in (points / self.unit).tolist()
            ]
            loops = [file.create_entity("IfcPolyLoop", [corners[k] for k in quad]) for quad in quads.tolist()]
            bounds = [file.create_entity("IfcFaceOuterBound", loop, True) for loop in loops]
            faces = [file.create_entity("IfcFace", [bound]) for bound in bounds]
            brep = file.create_entity("IfcFacetedBrep", file.create_entity("IfcClosedShell", faces))
            items = file.create_entity("IfcShapeRepresentation", self.context, "Body", "Brep", [brep])
            shape = file.create_entity("IfcProductDefinitionShape", Representations=[items])
        return file.create_entity(
            kind, next(NAMES), Name=name, ObjectPlacement=placement, Representation=shape, **more
        )

    def write(self, path: Path) -> Path:
        self.file.write(str(path))
        return path
