"""What users draw in CadQuery: scripts that are run, assemblies that are walked, one closed solid each."""

from __future__ import annotations

import ast
import inspect
import io
import math
import os
import re
import sys
import sysconfig
from collections.abc import Callable, Iterator, Mapping
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache, wraps
from pathlib import Path
from traceback import extract_tb
from typing import Any, TypeAlias

import cadquery as cq
from cadquery import cqgi
from OCP.BRep import BRep_Tool
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS_Shape
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape, TopTools_IndexedMapOfShape
from pyparsing import ParseBaseException

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.kernel.brep.topology import faces_of, once_per_drawing, solids_of
from fixturecheck.kernel.place import taken_apart
from fixturecheck.kernel.shapes import Location, Solid
from fixturecheck.kernel.step import faces_outside
from fixturecheck.names import nearest

_KINDS = {
    cqgi.NumberParameterType: "number",
    cqgi.BooleanParameterType: "boolean",
    cqgi.StringParameterType: "string",
    cqgi.TupleParameterType: "tuple",
}
_YES = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
Assembly: TypeAlias = cq.Assembly
_FLAT_MM3 = 1e-12
_READERS: tuple[tuple[Any, str], ...] = (
    *((cq.importers, name) for name in ("importStep", "importBrep", "importBin", "importDXF", "importShape")),
    *((cq.Shape, name) for name in ("importBrep", "importBin")),
    *((cq.Assembly, name) for name in ("importStep", "load")),
)
"""What reads geometry: the kernel opens these files itself, where Python hears nothing of it."""
Heard = Callable[[Path], None]
_listening: list[Heard] = []


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ran:
    """What a script left behind.

    Parameters
    ----------
    variables : mapping of str to object
        Its top-level variables at the end.
    shown : tuple of object
        What it passed to `show_object`, in order.
    modules : tuple of Path
        Files that it imported, other than what is installed.
    read : tuple of Path
        Other files that it read.
    """

    variables: Mapping[str, Any]
    shown: tuple[Any, ...]
    modules: tuple[Path, ...]
    read: tuple[Path, ...] = ()


class _ScriptModel(cqgi.CQModel):  # type: ignore[misc]  # CQGI has no types
    """A CQGI model whose parameters may also be negative numbers."""

    def _find_vars(self) -> None:
        for node in self.ast_tree.body:
            if isinstance(node, ast.Assign):
                node.value = _Folded().visit(node.value)
        # CQGI prints about assignments that are no parameters.
        with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
            super()._find_vars()


class _Folded(ast.NodeTransformer):
    """Turns `-5` from an operation on 5 into the number that it is."""

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        number = node.operand.value if isinstance(node.operand, ast.Constant) else None
        if isinstance(node.op, ast.USub) and isinstance(number, int | float) and not isinstance(number, bool):
            return ast.copy_location(ast.Constant(-number), node)
        return node


def run(path: Path, overrides: Mapping[str, str]) -> Ran:
    """Run a script through CQGI.

    The script sees `cq`, `show_object` and `__file__`, its `__name__` is `__cqgi__`, and it runs in
    its own folder: relative paths count from there, and modules that lie there can be imported.

    Parameters
    ----------
    path : Path
        The script.
    overrides : mapping of str to str
        Values for its parameters: top-level variables that it sets to a number, text, truth value or
        tuple of these.

    Returns
    -------
    Ran

    Raises
    ------
    SetupError
        The script cannot be read, does not parse or raises, with its own file and line; an override
        names no parameter or does not fit it.
    """
    model = _model(path)
    for name, text in overrides.items():
        _override(path, model.metadata.parameters, name, text)
    collector = cqgi.ScriptCallback()
    variables = (
        cqgi.EnvironmentBuilder()
        .with_real_builtins()
        .with_cadquery_objects()
        .add_entry("__name__", "__cqgi__")
        .add_entry("__file__", str(path))
        .add_entry("show_object", collector.show_object)
        .add_entry("debug", collector.debug)
        .add_entry("describe_parameter", collector.describe_parameter)
        .build()
    )
    with chdir(path.parent), files_read(path.parent) as read, _beside(path.parent) as modules:
        try:
            # Compiled under its own name rather than CQGI's, so that tracebacks show the user's file.
            exec(compile(model.ast_tree, str(path), "exec"), variables)  # noqa: S102 - running it is the job
        except (Exception, SystemExit) as reason:
            raise SetupError(_blame(path, reason)) from reason
    shown = tuple(o.shape for o in collector.outputObjects)
    return Ran(variables=variables, shown=shown, modules=tuple(modules), read=tuple(read))


@contextmanager
def more_of(path: Path) -> Iterator[None]:
    """Run what a script left to be run later, such as its functions, as it ran itself.

    Parameters
    ----------
    path : Path
        The script, which has run.

    Yields
    ------
    None

    Raises
    ------
    SetupError
        What is run raises, with the script's own file and line.
    """
    with chdir(path.parent), _beside(path.parent):
        try:
            yield
        except FixturecheckError:
            raise
        except (Exception, SystemExit) as reason:
            raise SetupError(_blame(path, reason)) from reason


def _model(path: Path) -> _ScriptModel:
    """Parse a script."""
    try:
        return _ScriptModel(path.read_text(encoding="utf-8"))
    except FileNotFoundError as reason:
        raise SetupError(f"{path} does not exist") from reason
    except (OSError, UnicodeDecodeError) as reason:
        raise SetupError(f"{path.name} cannot be read: {_one_line(reason)}") from reason
    except SyntaxError as reason:
        raise SetupError(
            f"{path.name}, line {reason.lineno}: {type(reason).__name__}: {reason.msg}"
        ) from reason
    except ValueError as reason:
        raise SetupError(f"{path.name} is not a Python script: {_one_line(reason)}") from reason


def _override(path: Path, parameters: Mapping[str, Any], name: str, text: str) -> None:
    """Give one parameter another value."""
    if name not in parameters:
        raise SetupError(f"{path.name} has no parameter {name!r} to set; {nearest(name, parameters)}")
    parameter = parameters[name]
    try:
        parameter.set_value(_value(text, parameter.varType))
    except (ValueError, SyntaxError, cqgi.InvalidParameterError) as reason:
        kind = _KINDS.get(parameter.varType, "value")
        raise SetupError(
            f"--set {name}={text}: {path.name} needs a {kind} there, like {parameter.default_value!r}"
        ) from reason


def _value(text: str, kind: type) -> object:
    """Read an override as the kind of value that the parameter has."""
    if kind is cqgi.NumberParameterType:
        number = ast.literal_eval(text.strip())
        if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
            raise ValueError(text)
        return number
    if kind is cqgi.BooleanParameterType:
        if text.strip().lower() not in _YES:
            raise ValueError(text)
        return _YES[text.strip().lower()]
    if kind is cqgi.TupleParameterType:
        values = ast.literal_eval(text.strip())
        return tuple(values) if isinstance(values, list | tuple) else (values,)
    return text


@contextmanager
def _beside(folder: Path) -> Iterator[list[Path]]:
    """Let a script import what lies beside it; afterwards forget it, for the next script's sake."""
    home = str(folder.resolve())
    before, kept = set(sys.modules), sys.dont_write_bytecode
    found: list[Path] = []
    sys.path.insert(0, home)
    # A cached module is recognised by size and second alone, and an edit may change neither.
    sys.dont_write_bytecode = True
    try:
        yield found
    finally:
        sys.dont_write_bytecode = kept
        if home in sys.path:
            sys.path.remove(home)
        for name in set(sys.modules) - before:
            file = getattr(sys.modules[name], "__file__", None)
            if file and _is_own(Path(file).resolve()):
                found.append(Path(file))
                del sys.modules[name]
        found.sort()


def _is_own(file: Path) -> bool:
    """Tell whether a module is the user's: neither installed nor of this package."""
    return not any(file.is_relative_to(root) for root in _installed())


@cache
def _installed() -> frozenset[Path]:
    roots = (*sysconfig.get_paths().values(), sys.prefix, sys.base_prefix)
    ours = Path(__file__).resolve().parents[1]
    # A home for all users, as /usr is, holds folders of users' own.
    return frozenset((ours, *(Path(root).resolve() for root in roots if Path(root) != Path("/usr"))))


def _blame(path: Path, reason: BaseException) -> str:
    """Say on which line of the user's own files a script failed, in one line."""
    home = path.parent.resolve()
    file, line = path.name, None
    for frame in extract_tb(reason.__traceback__):
        own = Path(frame.filename)
        if own.resolve() == path.resolve() or (own.exists() and own.resolve().parent == home):
            file, line = own.name, frame.lineno
    if isinstance(reason, SyntaxError) and reason.filename:
        file, line = Path(reason.filename).name, reason.lineno
    where = file if line is None else f"{file}, line {line}"
    return f"{where}: {_says(reason)}"


_UNKNOWN_WORD = re.compile(r"(\w+)(?:\.__init__)?\(\) got an unexpected keyword argument '(\w+)'")


def _says(reason: BaseException) -> str:
    """Say what went wrong in a script, and what to do about what is no fault of Python's."""
    what = _one_line(reason)
    if isinstance(reason, FixturecheckError):
        return what
    if isinstance(reason, ParseBaseException):
        # Its own words list the whole grammar.
        return f"selector {reason.pstr!r} does not parse; write it like '>Z' or '|Y'"
    if type(reason).__module__.startswith("OCP"):
        return (
            f"the geometry kernel could not do this ({type(reason).__name__}: {what}); look whether a "
            "chamfer or fillet is larger than its faces, or a size is zero"
        )
    named = _UNKNOWN_WORD.fullmatch(what)
    if isinstance(reason, TypeError) and named is not None:
        of, word = named.groups()
        # Of this package only; a script may call anything.
        takes = getattr(sys.modules["fixturecheck"], of, None)
        if takes is not None:
            return f"{of}() takes no {word!r}; {nearest(word, inspect.signature(takes).parameters)}"
    return f"{type(reason).__name__}: {what}" if what else type(reason).__name__


def _one_line(reason: BaseException) -> str:
    return " ".join(str(reason).split())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Node:
    """One node of an assembly that holds a shape.

    Parameters
    ----------
    name : str
        The node's own name.
    drawn : object
        Its shape or workplane, which still knows its tags.
    at : Location
        Where it stands in the assembly's frame, all parents counted.
    facts : object
        What its metadata holds under the key asked for, or None.
    face_names : mapping of str to tuple of int
        Sub-shape names of its faces, as indices into `faces_of` its solid.
    """

    name: str
    drawn: Any
    at: Location
    facts: Any
    face_names: Mapping[str, tuple[int, ...]]


def is_assembly(thing: object) -> bool:
    """Say whether something is a CadQuery assembly.

    Parameters
    ----------
    thing : object

    Returns
    -------
    bool
    """
    return isinstance(thing, cq.Assembly)


def nodes_of(assembly: Assembly, key: str) -> Iterator[Node]:
    """Yield every node that holds a shape, parents before children, in the order they were added.

    Parameters
    ----------
    assembly : cadquery.Assembly
    key : str
        The metadata entry that holds the facts.

    Yields
    ------
    Node

    Raises
    ------
    SetupError
        A node holds no single solid.
    """
    yield from _walk(assembly, Location(), key)


def _walk(node: Assembly, parent: Location, key: str) -> Iterator[Node]:
    at = parent * node.loc
    if node.obj is not None:
        yield Node(
            name=node.name, drawn=node.obj, at=at, facts=node.metadata.get(key), face_names=_face_names(node)
        )
    for child in node.children:
        yield from _walk(child, at, key)


def tagged(drawn: object, tag: str) -> Any:
    """Return the faces that a tag of the node's workplane holds.

    Parameters
    ----------
    drawn : object
        What a node of the assembly holds.
    tag : str
        As given to the workplane's `tag`.

    Returns
    -------
    Workplane
        With those faces on its stack.

    Raises
    ------
    SetupError
        The node holds a plain shape, or its workplane has no such tag.
    """
    if not isinstance(drawn, cq.Workplane):
        raise SetupError(
            f"tag {tag!r}: only a workplane has tags; add the workplane, not its shape, to the assembly"
        )
    try:
        return drawn.faces(tag=tag)
    except ValueError as reason:
        raise SetupError(f"tag {tag!r} is not on the workplane; set it with .tag({tag!r})") from reason


def _face_names(node: Assembly) -> dict[str, tuple[int, ...]]:
    """Return the names that `addSubshape` gave to faces of the node's solid."""
    names = node._subshape_names  # noqa: SLF001 - CadQuery has no public way to list them
    if not names:
        return {}
    try:
        solid: Solid = one_solid(node.obj)
    except SetupError as reason:
        raise SetupError(f"assembly node {node.name!r}: {reason}") from reason
    groups: dict[str, list[int]] = {}
    for i, face in enumerate(faces_of(solid)):
        name = next((n for shape, n in names.items() if shape.isSame(face)), None)
        if name:
            groups.setdefault(name, []).append(i)
    return {name: tuple(groups[name]) for name in sorted(groups)}


def one_solid(thing: object) -> Solid:
    """Return the single solid in what somebody drew.

    Parameters
    ----------
    thing : cadquery.Shape, cadquery.Workplane or object with `wrapped`
        A solid, a compound of one solid, a workplane whose stack or history holds one, or another library's
        shape around one of the kernel's own.

    Returns
    -------
    Solid

    Raises
    ------
    SetupError
        There is no solid in it, or more than one; the message says what there is.
    """
    shapes = _shapes_in(thing)
    solids = [solid for shape in shapes for solid in solids_of(shape)]
    if len(solids) != 1:
        kinds = ", ".join(sorted({s.ShapeType().lower() for s in shapes})) or "nothing"
        raise SetupError(
            f"one solid was expected, got {len(solids)} (in: {kinds}); give each body one closed solid"
        )
    return solids[0]


def _shapes_in(thing: object) -> list[cq.Shape]:
    """Return the shapes of what somebody drew in CadQuery, or in a library that wraps the kernel's shapes."""
    if isinstance(thing, cq.Workplane):
        shapes = [v for v in thing.vals() if isinstance(v, cq.Shape)]
        return shapes if any(s.Solids() for s in shapes) else _history(thing)
    if isinstance(thing, cq.Shape):
        return [thing]
    wrapped = getattr(thing, "wrapped", None)
    if isinstance(wrapped, TopoDS_Shape) and not wrapped.IsNull():
        return [cq.Shape.cast(wrapped)]
    raise SetupError(f"a solid was expected, got {type(thing).__name__}; give a CadQuery solid or workplane")


@once_per_drawing(256)
def flaw_of(solid: Solid) -> str | None:
    """Say what is wrong with a solid and what to do, or None when it is sound.

    Looks for an open surface, one that is inside out, no volume, and whatever the kernel's own
    validity check objects to.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    str or None
        The end of a sentence that the name of the body begins.
    """
    try:
        open_edges = _open_edges(solid)
        if open_edges:
            return f"is open: {open_edges} edges have a face on one side only; stitch it into a closed solid"
        volume_mm3 = solid.Volume()
        if volume_mm3 < -_FLAT_MM3:
            return (
                f"is inside out: its volume is {volume_mm3:.6g} mm³ because its faces point inward; "
                "reverse the solid where it was drawn"
            )
        if volume_mm3 <= _FLAT_MM3:
            return "has no volume; give a solid, not a sheet"
        if not solid.isValid():
            return (
                "is not a valid solid by the kernel's own check; heal it where it was drawn and export again"
            )
    except Standard_Failure as reason:
        return f"could not be examined by the kernel ({reason}); heal it where it was drawn and export again"
    return None


def _history(workplane: cq.Workplane) -> list[cq.Shape]:
    """Return the solid that a workplane's chain was built on, when its stack holds faces or edges."""
    try:
        found = workplane.findSolid()
    except ValueError:
        return []
    return [found] if isinstance(found, cq.Shape) else []


def _open_edges(solid: Solid) -> int:
    """Count the edges with a face on one side only; seams and degenerate edges are not counted."""
    shells = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(solid.wrapped, TopAbs_ShapeEnum.TopAbs_SHELL, shells)
    if shells.Extent() and all(BRep_Tool.IsClosed_s(shells.FindKey(i + 1)) for i in range(shells.Extent())):
        return 0
    owners = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(
        solid.wrapped, TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE, owners
    )
    singles: int = sum(owners.FindFromIndex(i + 1).Extent() == 1 for i in range(owners.Extent()))
    return max(singles, 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnSolid:
    """One solid of what somebody drew, with or without a set-up.

    Parameters
    ----------
    name : str
        What it is called there, any text; empty where it has no name.
    solid : Solid
        In its own frame.
    at : Location
        Where it stands.
    faces : mapping of str to tuple of int
        Names of its faces, as indices into `faces_of` the solid.
    """

    name: str
    solid: Solid
    at: Location
    faces: Mapping[str, tuple[int, ...]]


def drawn_solids(thing: object) -> list[DrawnSolid]:
    """Return every solid of what somebody drew, each where it stands.

    Parameters
    ----------
    thing : object
        A `cadquery.Assembly`; a shape or workplane; another library's shape whose `wrapped` is one of the
        kernel's, with `children` and `label` where it is an assembly, as build123d has them; a mapping of
        names to such; or a list of such.

    Returns
    -------
    list of DrawnSolid

    Raises
    ------
    SetupError
        Something in it is not a shape, or holds no solid; the message names it.
    """
    return list(_drawn(thing, "", Location()))


def _drawn(thing: Any, name: str, parent: Location) -> Iterator[DrawnSolid]:
    if isinstance(thing, cq.Assembly):
        for node in nodes_of(thing, ""):
            yield from _each(node.drawn, node.name, parent * node.at, node.face_names)
    elif isinstance(thing, Mapping):
        for key, one in thing.items():
            yield from _drawn(one, str(key), parent)
    elif isinstance(thing, list | tuple) and not isinstance(thing, cq.Shape):
        for one in thing:
            yield from _drawn(one, name, parent)
    elif children := tuple(getattr(thing, "children", ())):
        # A child stands in the frame of what it belongs to.
        at = parent * cq.Location(thing.wrapped.Location())
        for child in children:
            yield from _drawn(child, name, at)
    else:
        yield from _each(thing, str(getattr(thing, "label", "") or name), parent, {})


def _each(
    thing: object, name: str, at: Location, faces: Mapping[str, tuple[int, ...]]
) -> Iterator[DrawnSolid]:
    """Yield the solids of one shape; what names its faces have holds for a single one."""
    try:
        solids = _every_solid(thing)
    except SetupError as reason:
        raise SetupError(f"{name!r} {reason}" if name else str(reason)) from reason
    for n, (solid, place) in enumerate(map(taken_apart, solids), start=1):
        yield DrawnSolid(
            name=name if len(solids) == 1 or not name else f"{name}_{n}",
            solid=solid,
            at=at * place,
            faces=faces if len(solids) == 1 else {},
        )


def _every_solid(thing: object) -> list[Solid]:
    """Return all solids in what somebody drew, at least one.

    Parameters
    ----------
    thing : cadquery.Shape, cadquery.Workplane or object with `wrapped`
        As for `one_solid`.

    Raises
    ------
    SetupError
        There is no solid in it, or its faces enclose none; the message says what there is.
    """
    shapes = _shapes_in(thing)
    solids = [solid for shape in shapes for solid in solids_of(shape)]
    if not solids:
        kinds = ", ".join(sorted({s.ShapeType().lower() for s in shapes})) or "nothing"
        raise SetupError(f"holds no closed solid (in it: {kinds}); only solids touch and overlap")
    sheets = sum(len(s.Faces()) for s in shapes) - sum(len(s.Faces()) for s in solids)
    if sheets:
        raise SetupError(f"holds {faces_outside(sheets)}; only solids touch and overlap")
    return solids


@contextmanager
def files_read(home: Path) -> Iterator[list[Path]]:
    """Give the files that are read in the block.

    Geometry counts wherever it lies. Whatever else Python opens counts in the script's folder only, since the
    settings of libraries lie elsewhere.

    Parameters
    ----------
    home : Path
        The script's folder.

    Yields
    ------
    list of Path
        Each file once, in order; filled when the block has ended.
    """
    inside, found, filled = home.resolve(), set[Path](), list[Path]()

    def read(path: Path) -> None:
        if path.is_file():
            found.add(path.resolve())

    def opened(path: Path) -> None:
        there = path.resolve()
        own = there.relative_to(inside).parts if there.is_relative_to(inside) else (".",)
        if there.suffix != ".py" and not any(part.startswith((".", "__")) for part in own):
            read(there)

    _hear()
    _listening.append(opened)
    try:
        with _geometry_noted(read):
            yield filled
    finally:
        _listening.remove(opened)
        filled.extend(sorted(found))


@contextmanager
def _geometry_noted(read: Heard) -> Iterator[None]:
    """Have cadquery's readers of files say what they read."""
    before = [(owner, name, vars(owner)[name]) for owner, name in _READERS if name in vars(owner)]
    for owner, name, reader in before:
        if isinstance(reader, classmethod):
            setattr(owner, name, classmethod(_saying(reader.__func__, read, at=1)))
        else:
            setattr(owner, name, _saying(reader, read, at=0))
    try:
        yield
    finally:
        for owner, name, reader in before:
            setattr(owner, name, reader)


def _saying(reader: Callable[..., Any], read: Heard, *, at: int) -> Callable[..., Any]:
    """Return a reader that says which file it is given, by its place among the arguments or by any name."""

    @wraps(reader)
    def said(*given: Any, **named: Any) -> Any:
        for one in (*given[at:], *named.values()):
            if isinstance(one, str | os.PathLike):
                read(Path(one))
        return reader(*given, **named)

    return said


@cache
def _hear() -> None:
    """Hear of every file that Python opens to read, once and for all: a hook cannot be taken off again."""

    def hook(event: str, given: tuple[Any, ...]) -> None:
        if event == "open" and _listening:
            path, _, flags = given
            written = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR)
            if isinstance(path, str | os.PathLike) and not written:
                for heard in tuple(_listening):
                    heard(Path(path))

    sys.addaudithook(hook)
