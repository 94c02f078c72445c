"""STEP and BREP files: solids with the names of solids and faces, read; and shapes with names, written.

OCCT's writer loses the names of faces that carry a location within their solid, so the entities are named
directly after the transfer.
"""

from __future__ import annotations

import hashlib
import re
import stat
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cadquery as cq
from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy
from OCP.BRepTools import BRepTools
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.Message import Message, Message_Gravity
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.Standard import Standard_Failure
from OCP.STEPCAFControl import STEPCAFControl_Reader, STEPCAFControl_Writer
from OCP.STEPConstruct import STEPConstruct
from OCP.StepShape import StepShape_AdvancedFace, StepShape_ManifoldSolidBrep
from OCP.TCollection import TCollection_ExtendedString, TCollection_HAsciiString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_AttributeIterator, TDF_Label, TDF_LabelSequence
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape
from OCP.XCAFApp import XCAFApp_Application
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool
from OCP.XSControl import XSControl_WorkSession

from fixturecheck.errors import KernelError, SetupError
from fixturecheck.files import BREP_SUFFIXES, STEP_SUFFIXES
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Shape, Solid

MOST_BYTES = 300_000_000
"""A part of a hundred thousand faces is a tenth of this."""


_NO_NAME = {"", "NONE", "SOLID", "COMPOUND", "SHELL"}
"""What writers put where they have no name to give; the last three are the kernel's own stopgaps."""


def faces_outside(count: int) -> str:
    """Return what lies beside the solids of a drawing, in words.

    Parameters
    ----------
    count : int
        Faces that bound no solid.

    Returns
    -------
    str
        `1 face outside its solids`, `3 faces outside its solids`.
    """
    return f"{count} face{'' if count == 1 else 's'} outside its solids"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Imported:
    """One solid of a file, standing where the file puts it, in mm.

    Parameters
    ----------
    name : str
        What the file calls it; `solid_<n>` when it has no name.
    aliases : tuple of str
        Every name the file gives it: of the occurrence, the product and the solid itself.
    faces : mapping of str to tuple of int
        Face names exactly as in the file, each with its indices into `faces_of(solid)`.
    """

    name: str
    aliases: tuple[str, ...]
    solid: Solid
    faces: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartFile:
    """A file of solids that has been read.

    Parameters
    ----------
    loose : int
        Faces that belong to no solid.
    unshown : int
        Solids in the file that no product of it shows, and that were not read.
    says_unit : bool
        Whether the file says what unit its lengths are in; where it does not, they were taken for mm.
    """

    path: Path
    sha256: str
    solids: tuple[Imported, ...]
    loose: int
    unshown: int = 0
    says_unit: bool = True

    def pick(self, which: str | int | None = None) -> Imported:
        """Return the solid of that name, or of that number counted from 1; the only one when None.

        Raises
        ------
        SetupError
            No solid is called that, several are, or there is more than one and none was named.
        """
        if isinstance(which, int):
            return self._by_number(which)
        if which is not None:
            return self._by_name(which)
        if self.loose:
            message = f"{self.path.name} holds {faces_outside(self.loose)}; export the solid alone"
            message += " or name the one that is meant"
            raise SetupError(message)
        if self.unshown:
            raise SetupError(
                f"{self.path.name} holds {self.unshown} more solids that no product of it shows; export the "
                "part alone, or name the solid that is meant"
            )
        if len(self.solids) > 1:
            raise SetupError(
                f"{self.path.name} holds {len(self.solids)} solids ({self._names()}); name the one meant"
            )
        return self.solids[0]

    def _by_number(self, which: int) -> Imported:
        if 1 <= which <= len(self.solids):
            return self.solids[which - 1]
        raise SetupError(f"{self.path.name} has no solid number {which}; count from 1 to {len(self.solids)}")

    def _by_name(self, which: str) -> Imported:
        found = [s for s in self.solids if s.name == which] or [s for s in self.solids if which in s.aliases]
        if len(found) == 1:
            return found[0]
        many = f"{len(found)} solids" if found else "no solid"
        message = f"{self.path.name} has {many} named {which!r}; it holds {self._names()}"
        raise SetupError(message + (": give its number, from 1, instead" if found else ""))

    def _names(self) -> str:
        names = [s.name for s in self.solids]
        return ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")


_known: ContextVar[dict[tuple[Path, str], PartFile] | None] = ContextVar("_known", default=None)


@contextmanager
def reading_once() -> Iterator[None]:
    """Read each file once within the block, as long as its bytes stay the same.

    Yields
    ------
    None
    """
    token = _known.set({})
    try:
        yield
    finally:
        _known.reset(token)


def read(path: Path) -> PartFile:
    """Read every solid of a STEP or BREP file, in mm, with the names of its faces.

    A face's name is the first attribute of its ADVANCED_FACE; several faces of one name are one
    group; empty names and `NONE` are no names. Colours, layers and tolerances are passed over.

    Parameters
    ----------
    path : Path
        A file ending in .step, .stp, .p21, .brep or .brp.

    Returns
    -------
    PartFile

    Raises
    ------
    SetupError
        The file is missing, empty, cut short, of another kind, or holds no solid.
    """
    data = _bytes_of(path)
    known, key = _known.get(), (path.absolute(), hashlib.sha256(data).hexdigest())
    if known is None:
        return _read(path, data, key[1])
    if key not in known:
        known[key] = _read(path, data, key[1])
    return replace(known[key], path=path)


def _read(path: Path, data: bytes, sha256: str) -> PartFile:
    suffix = path.suffix.lower()
    if suffix in STEP_SUFFIXES:
        _refuse_broken_step(path, data)
        read_shapes = _read_step
    elif suffix in BREP_SUFFIXES:
        _refuse_broken_brep(path, data)
        read_shapes = _read_brep
    else:
        raise SetupError(
            f"{path.name} is neither STEP nor BREP by its ending {path.suffix!r}; use .step or .brep"
        )
    try:
        with _quiet():
            solids, loose, unshown = read_shapes(path)
    except Standard_Failure as reason:
        raise SetupError(
            f"{path.name} could not be read as {suffix[1:].upper()} ({reason}); export it again"
        ) from reason
    if not solids:
        what = f"only {loose} face{'s' * (loose != 1)} of open shells" if loose else "no shapes of any volume"
        raise SetupError(f"{path.name} holds no solid, {what}; export the part as a closed solid")
    return PartFile(
        path=path,
        sha256=sha256,
        solids=tuple(solids),
        loose=loose,
        unshown=unshown,
        says_unit=suffix in BREP_SUFFIXES or _says_unit(data),
    )


def _says_unit(data: bytes) -> bool:
    """Say whether a STEP file assigns a unit of length to its geometry."""
    units = set(re.findall(rb"#(\d+)\s*=\s*\([^;]*\bLENGTH_UNIT\s*\(", data))
    assigned = re.findall(rb"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\(([^)]*)\)", data)
    return any(units.intersection(re.findall(rb"#(\d+)", refs)) for refs in assigned)


def _refuse_broken_brep(path: Path, data: bytes) -> None:
    """Refuse what is no BREP text or ends early: the kernel would look for the rest for ever."""
    if b"CASCADE Topology" not in data[:4096]:
        raise SetupError(
            f"{path.name} is no BREP text: CASCADE Topology is missing at its start; export it again"
        )
    _, _, shapes = data.partition(b"TShapes ")
    count, _, rest = shapes.partition(b"\n")
    # The list of shapes closes each with an asterisk; after it comes the one shape that is meant.
    body, _, last = rest.rpartition(b"*")
    if not count.strip().isdigit() or body.count(b"*") + 1 < int(count) or not last.strip():
        raise SetupError(
            f"{path.name} is cut short: not all of the shapes it announces are there; export it again"
        )


def _bytes_of(path: Path) -> bytes:
    """Read a file whole, or say why it cannot be."""
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise SetupError(f"{path.name} is no regular file; give the STEP or BREP file of the part")
        if found.st_size > MOST_BYTES:
            raise SetupError(
                f"{path.name} has {found.st_size} bytes; a part file of more than {MOST_BYTES} is not read"
            )
        data = path.read_bytes()
    except FileNotFoundError as reason:
        raise SetupError(
            f"{path} does not exist; check the path, which counts from the set-up file's folder"
        ) from reason
    except OSError as reason:
        raise SetupError(f"{path} cannot be read: {reason.strerror}") from reason
    if not data.strip():
        raise SetupError(f"{path.name} is empty; export the part again")
    return data


def _refuse_broken_step(path: Path, data: bytes) -> None:
    """Refuse what is no Part 21 file or ends early: the kernel would read the part of it that is there."""
    if b"ISO-10303-21" not in data[:4096]:
        raise SetupError(
            f"{path.name} is no STEP file: it does not begin with ISO-10303-21; export the part again"
        )
    if b"END-ISO-10303-21" not in data:
        raise SetupError(
            f"{path.name} is cut short: END-ISO-10303-21 is missing at its end; export or copy it again"
        )


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the kernel's own messages off the terminal while a file is read; ours are raised."""
    levels = [(p, p.GetTraceLevel()) for p in Message.DefaultMessenger_s().Printers()]
    for printer, _ in levels:
        printer.SetTraceLevel(Message_Gravity.Message_Fail)
    try:
        yield
    finally:
        for printer, level in levels:
            printer.SetTraceLevel(level)


def _read_brep(path: Path) -> tuple[list[Imported], int, int]:
    """Read the solids of a BREP file, which knows no names."""
    shape = TopoDS_Shape()
    if not BRepTools.Read_s(shape, str(path), BRep_Builder()) or shape.IsNull():
        raise SetupError(f"{path.name} could not be read as BREP; export the part again")
    solids = [
        Imported(name=f"solid_{i}", aliases=(), solid=solid, faces={})
        for i, solid in enumerate(_solids_in(shape), start=1)
    ]
    return solids, _loose_faces(shape), 0


def _read_step(path: Path) -> tuple[list[Imported], int, int]:
    """Read the solids of a STEP file with the names of products, solids and faces."""
    reader = STEPCAFControl_Reader()
    for switch in ("Color", "Layer", "Props", "GDT", "Mat", "View", "SHUO"):
        getattr(reader, f"Set{switch}Mode")(False)
    # These statics do nothing before the first reader of the process exists.
    Interface_Static.SetIVal_s("read.stepcaf.subshapes.name", 1)
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    document = TDocStd_Document(TCollection_ExtendedString("fixturecheck"))
    done = reader.ReadFile(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone
    # A line that does not parse is skipped by the reader, which may crash on what refers to it.
    damaged = done and reader.Reader().WS().Model().GlobalCheck(True).HasFailed()
    if not done or damaged or not reader.Transfer(document):
        raise SetupError(
            f"{path.name} could not be read as STEP: its data section does not parse; export it again"
        )
    names = _Names(reader)
    found: list[Imported] = []
    loose = 0
    for aliases, shape in _products(document):
        solids = list(_solids_in(shape))
        loose += _loose_faces(shape)
        for n, solid in enumerate(solids, start=1):
            own = names.of_solid(solid)
            kept = [a for a in (*aliases, own) if a.upper() not in _NO_NAME]
            # Solids that share one product are told apart by their own name, else by number.
            several = len(solids) > 1
            name = own if several and own else kept[0] if kept else ""
            name = f"{name}_{n}" if several and name and not own else name
            found.append(
                Imported(
                    name=name or f"solid_{len(found) + 1}",
                    aliases=tuple(dict.fromkeys(kept)),
                    solid=solid,
                    faces=names.of_faces(solid),
                )
            )
    return found, loose, names.unshown


class _Names:
    """Names of faces and solids, taken from the STEP entities that they were made from.

    The document's own sub-shape labels lack the names wherever a product's shape is stated at one
    remove, as several CAD systems do, so the entities are asked directly.
    """

    def __init__(self, reader: STEPCAFControl_Reader) -> None:
        session = reader.Reader().WS()
        process = session.TransferReader().TransientProcess()
        model = session.Model()
        self._shapes = TopTools_IndexedMapOfShape()
        self._names: list[str] = []
        self.unshown = 0
        for i in range(model.NbEntities()):
            entity = model.Value(i + 1)
            if isinstance(entity, StepShape_AdvancedFace | StepShape_ManifoldSolidBrep):
                shape = STEPConstruct.FindShape_s(process, entity)
                solid = isinstance(entity, StepShape_ManifoldSolidBrep)
                self.unshown += solid and (shape is None or shape.IsNull())
                self._note(entity, shape)

    def _note(self, entity: Any, shape: TopoDS_Shape | None) -> None:
        """Remember an entity's name for the faces, or the solids, that it became."""
        name = entity.Name().ToCString().strip() if entity.Name() is not None else ""
        if name.upper() in _NO_NAME or shape is None or shape.IsNull():
            return
        kind = TopAbs_ShapeEnum.TopAbs_FACE
        if isinstance(entity, StepShape_ManifoldSolidBrep):
            kind = TopAbs_ShapeEnum.TopAbs_SOLID
        walk = TopExp_Explorer(shape, kind)
        while walk.More():
            if self._shapes.Add(walk.Current().Located(TopLoc_Location())) > len(self._names):
                self._names.append(name)
            walk.Next()

    def _of(self, shape: TopoDS_Shape) -> str:
        place = self._shapes.FindIndex(shape.Located(TopLoc_Location()))
        return self._names[place - 1] if place else ""

    def of_solid(self, solid: Solid) -> str:
        """Return the name of the solid's own entity, or an empty string."""
        return self._of(solid.wrapped)

    def of_faces(self, solid: Solid) -> dict[str, tuple[int, ...]]:
        """Return the named faces of a solid, by name in alphabetical order."""
        groups: dict[str, list[int]] = {}
        for i, face in enumerate(faces_of(solid)):
            name = self._of(face.wrapped)
            if name:
                groups.setdefault(name, []).append(i)
        return {name: tuple(groups[name]) for name in sorted(groups)}


def _products(document: TDocStd_Document) -> Iterator[tuple[list[str], TopoDS_Shape]]:
    """Yield every occurrence of every product that is no assembly: its names, and its shape in place."""
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = TDF_LabelSequence()
    tool.GetFreeShapes(roots)

    def walk(
        label: TDF_Label, at: TopLoc_Location, names: list[str]
    ) -> Iterator[tuple[list[str], TopoDS_Shape]]:
        if tool.IsReference_s(label):
            product = TDF_Label()
            tool.GetReferredShape_s(label, product)
            yield from walk(product, at.Multiplied(tool.GetLocation_s(label)), [_label_name(label)])
        elif tool.IsAssembly_s(label):
            parts = TDF_LabelSequence()
            tool.GetComponents_s(label, parts)
            for part in parts:
                yield from walk(part, at, [])
        else:
            yield [n for n in (*names, _label_name(label)) if n], tool.GetShape_s(label).Moved(at)

    for root in roots:
        yield from walk(root, TopLoc_Location(), [])


def _label_name(label: TDF_Label) -> str:
    """Return a label's name, or an empty string where the name is one that the reader made up."""
    # Not FindAttribute: it frees the object it was given while Python still holds it, and later crashes.
    attributes = TDF_AttributeIterator(label)
    text = ""
    while attributes.More():
        attribute = attributes.Value()
        if isinstance(attribute, TDataStd_Name):
            text = str(attribute.Get().ToExtString()).strip()
        attributes.Next()
    made_up = text.startswith(("=>", "Open CASCADE STEP translator")) or text.isdigit()
    return "" if made_up else text


def _solids_in(shape: TopoDS_Shape) -> Iterator[Solid]:
    """Yield the solids in a shape, each once, in the file's order."""
    index = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_ShapeEnum.TopAbs_SOLID, index)
    for i in range(index.Extent()):
        yield cq.Solid(index.FindKey(i + 1))


def _loose_faces(shape: TopoDS_Shape) -> int:
    """Count the faces that belong to no solid."""
    count = 0
    walk = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_FACE, TopAbs_ShapeEnum.TopAbs_SOLID)
    while walk.More():
        count += 1
        walk.Next()
    return count


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

    Parameters
    ----------
    path : Path
        The file to write.
    assembly_name : str
        Name of the assembly and of the file in its header.
    components : sequence of Named
        In one frame.

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
            raise KernelError(
                f"{component.name} could not be put into the STEP assembly: {trouble}"
            ) from trouble
    shapes.UpdateAssemblies()
    if not writer.Transfer(document):
        raise KernelError(f"the STEP writer could not translate the assembly {assembly_name!r}")
    _name_faces(session, named)
    _head(writer, assembly_name)
    if writer.Write(str(path)) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise KernelError(f"the STEP writer could not write {path.name}")


def _set_up_writer() -> None:
    """Choose the schema and the unit, which are ignored before the first writer exists."""
    settings_taken = (
        Interface_Static.SetCVal_s("write.step.schema", _SCHEMA),
        # Whatever else wrote in this process may have turned it on; faces are named here, after the transfer.
        Interface_Static.SetIVal_s("write.stepcaf.subshapes.name", 0),
        Interface_Static.SetCVal_s("write.step.unit", "MM"),
    )
    if not all(settings_taken) or Interface_Static.CVal_s("write.step.schema") != _SCHEMA:
        raise KernelError(f"the STEP writer did not take the schema {_SCHEMA}")


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
            raise KernelError(f"the STEP writer lost the face {name!r}")
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
