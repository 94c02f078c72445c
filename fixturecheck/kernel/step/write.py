"""How named and coloured shapes are written as one AP242 assembly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cadquery as cq
from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.STEPCAFControl import STEPCAFControl_Writer
from OCP.STEPConstruct import STEPConstruct
from OCP.TCollection import TCollection_ExtendedString, TCollection_HAsciiString
from OCP.TDataStd import TDataStd_Name
from OCP.TDocStd import TDocStd_Document
from OCP.TopLoc import TopLoc_Location
from OCP.XCAFApp import XCAFApp_Application
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool
from OCP.XSControl import XSControl_WorkSession

from fixturecheck.errors import KernelError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Shape

Rgb = tuple[float, float, float]

_SCHEMA = "AP242DIS"
_TIME_STAMP = "1970-01-01T00:00:00"
_POINT_MARK_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Named:
    """One component of the assembly.

    Parameters
    ----------
    name : str
        Name of the product and of its instance.
    shape : Shape
        Solid, face, edge, vertex or a compound of them, where it stands.
    rgb : tuple of float
        Colour, 0 to 1, sRGB.
    face_names : tuple of str
        One name for each face in the order of `faces_of`, or empty.
    """

    name: str
    shape: Shape
    rgb: Rgb
    face_names: tuple[str, ...] = field(default=())


def write_step(path: Path, assembly_name: str, components: Sequence[Named]) -> None:
    """Write an AP242 file: one assembly, one product for each component, names and colours kept.

    Every component is copied first: two instances of one solid would otherwise share their face names.
    The time stamp is fixed, so that the same set-up does not differ from run to run for its date alone.

    Raises
    ------
    KernelError
        The writer refused a shape, a setting or the file.
    """
    session = XSControl_WorkSession()
    writer = STEPCAFControl_Writer(session, False)
    _set_up_writer()
    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    XCAFApp_Application.GetApplication_s().InitDocument(document)
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    colours = XCAFDoc_DocumentTool.ColorTool_s(document.Main())
    root = shapes.NewShape()
    _label(root, assembly_name)
    named: list[tuple[Any, str]] = []
    for component in components:
        try:
            named += _add(shapes, colours, root, component)
        except Exception as trouble:
            message = f"{component.name} could not be put into the STEP assembly: {trouble}"
            raise KernelError(message) from trouble
    shapes.UpdateAssemblies()
    if not writer.Transfer(document):
        message = f"the STEP writer could not translate the assembly {assembly_name!r}"
        raise KernelError(message)
    _name_faces(session, named)
    _head(writer, assembly_name)
    if writer.Write(str(path)) != IFSelect_ReturnStatus.IFSelect_RetDone:
        message = f"the STEP writer could not write {path.name}"
        raise KernelError(message)


def _set_up_writer() -> None:
    """Choose the schema and the unit, which are ignored before the first writer exists."""
    settings_taken = (
        Interface_Static.SetCVal_s("write.step.schema", _SCHEMA),
        # Whatever else wrote in this process may have turned it on; faces are named here, after the transfer.
        Interface_Static.SetIVal_s("write.stepcaf.subshapes.name", 0),
        Interface_Static.SetCVal_s("write.step.unit", "MM"),
    )
    if not all(settings_taken) or Interface_Static.CVal_s("write.step.schema") != _SCHEMA:
        message = f"the STEP writer did not take the schema {_SCHEMA}"
        raise KernelError(message)


def _label(label: Any, name: str) -> None:
    TDataStd_Name.Set_s(label, TCollection_ExtendedString(name, True))


def _name_faces(session: XSControl_WorkSession, named: Sequence[tuple[Any, str]]) -> None:
    """Name the faces' own entities in the file.

    The writer's own way, by sub-shape labels, silently loses most faces that carry a location within
    their solid, as extruded and primitive solids have. The entities are there, kept with the location or
    without it.
    """
    finder = session.TransferWriter().FinderProcess()
    for face, name in named:
        entity = STEPConstruct.FindEntity_s(finder, face)
        if entity is None:
            entity = STEPConstruct.FindEntity_s(finder, face.Located(TopLoc_Location()))
        if entity is None:
            message = f"the STEP writer lost the face {name!r}"
            raise KernelError(message)
        entity.SetName(TCollection_HAsciiString(name))


def _add(shapes: Any, colours: Any, root: Any, component: Named) -> list[tuple[Any, str]]:
    """Add one component under the root with its colour; return its faces with their names."""
    shape = _marked(component.shape).wrapped
    place = shape.Location()
    # A label refuses sub-shapes of a shape that carries a location: the location goes to the instance.
    own = BRepBuilderAPI_Copy(shape.Located(TopLoc_Location()), False, False).Shape()
    label = shapes.AddShape(own, False)
    _label(label, component.name)
    colour = Quantity_Color(*component.rgb, Quantity_TypeOfColor.Quantity_TOC_sRGB)
    colours.SetColor(label, colour, XCAFDoc_ColorType.XCAFDoc_ColorGen)
    _label(shapes.AddComponent(root, label, place), component.name)
    if not component.face_names:
        return []
    faces = faces_of(cq.Shape.cast(own))
    return [(face.wrapped, name) for face, name in zip(faces, component.face_names, strict=True)]


def _marked(shape: Shape) -> Shape:
    """Give a lone vertex a small three-armed mark: bare points lose name and colour in the file."""
    vertices = shape.Vertices()
    if not vertices or shape.Edges():
        return shape
    reach = _POINT_MARK_MM / 2
    pieces: list[Shape] = list(vertices)
    for vertex in vertices:
        centre = cq.Vector(*vertex.toTuple())
        arms = (cq.Vector(reach, 0, 0), cq.Vector(0, reach, 0), cq.Vector(0, 0, reach))
        pieces.extend(cq.Edge.makeLine(centre - arm, centre + arm) for arm in arms)
    return cq.Compound.makeCompound(pieces)


def _head(writer: Any, name: str) -> None:
    """Fill the file's header without anything that changes from run to run."""
    header = APIHeaderSection_MakeHeader(writer.ChangeWriter().Model())
    header.SetName(TCollection_HAsciiString(name))
    header.SetTimeStamp(TCollection_HAsciiString(_TIME_STAMP))
    header.SetAuthorValue(1, TCollection_HAsciiString(""))
    header.SetOrganizationValue(1, TCollection_HAsciiString(""))
    header.SetOriginatingSystem(TCollection_HAsciiString("fixturecheck"))
