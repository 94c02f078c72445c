"""How a script states bodies, equipment and places; the other ways in build on the same functions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.kernel.brep.recognise import recognised
from fixturecheck.kernel.brep.topology import canonical_order
from fixturecheck.kernel.construct import copied
from fixturecheck.kernel.place import composed, rotation, translation
from fixturecheck.kernel.script import one_solid
from fixturecheck.kernel.select import by_point, by_selector, by_shape
from fixturecheck.kernel.shapes import Location, Solid
from fixturecheck.kernel.step import Imported, PartFile, read
from fixturecheck.names import BY_PLACE, nearest, plain
from fixturecheck.result import Source
from fixturecheck.setup.facts import Turn, point, turns
from fixturecheck.setup.model import Body
from fixturecheck.shop import catalogue
from fixturecheck.shop.piece import Piece

Place = Location | Sequence[float] | None
"""Where something stands: a location, the point its origin goes to, or nowhere else than drawn."""

_STEP = "step:"

T = TypeVar("T")


def place(*, at: Sequence[float] = (0.0, 0.0, 0.0), rotate: Iterable[Turn] = ()) -> Location:
    """Return where a body stands: turned about its own origin, then moved.

    Parameters
    ----------
    at : sequence of float, shape (3,)
        Where the body's origin goes in the machine's frame, mm.
    rotate : iterable of (axis, angle in degrees)
        Turns in the order they are made, each about an axis through the body's origin that keeps the
        direction of the machine's frame.

    Returns
    -------
    Location
        From the body's own frame to the machine's.

    Raises
    ------
    SetupError
        An axis is unknown or has no length, or a number is not finite.
    """
    location = translation(point(at, "at"))
    turned = translation()
    for axis, angle_deg in turns(tuple(rotate)):
        turned = composed(rotation(axis, angle_deg), turned)
    return composed(location, turned)


def body(
    name: str,
    solid: object,
    *,
    at: Place = None,
    role: str = "part",
    material: str | None = None,
    faces: Mapping[str, object] | None = None,
    finish: str | Mapping[str, str] | None = None,
    tolerance_mm: float | Mapping[str, float] | None = None,
    orientation_mm: float | Mapping[str, float] | None = None,
    no_function: Iterable[str] = (),
    pole: str | None = None,
    poles: Iterable[Body] = (),
    group: str | None = None,
    fastened: bool = False,
    which: str | int | None = None,
    named: Mapping[str, tuple[int, ...]] | None = None,
) -> Body:
    """State one body of a set-up.

    Parameters
    ----------
    name : str
        Unique in the set-up; letters, digits, `_` and `-`.
    solid : cadquery.Shape, cadquery.Workplane, str or pathlib.Path
        One closed solid in the body's own frame, or the STEP or BREP file that holds it.
    at : Location or sequence of float, optional
        Where it stands; see `place`.
    material : str, optional
        A name from the materials table; steel_1018 where it is left out, and reported as assumed.
    role, pole, poles, group, fastened
        As in `Body`.
    faces : mapping of str to reference
        A name for each face that matters. A reference is a CadQuery selector string, a point on or
        near the face, a face or a workplane with faces selected (`w.faces(tag="floor")`),
        `step:NAME` for the name in the file, or a list of these.
    finish, tolerance_mm, orientation_mm : value or mapping by face name, optional
        One value holds for every face; in a mapping `*` is the rest.
    no_function : iterable of str
        Names of faces where a relief is allowed.
    which : str or int, optional
        The solid meant in a file of several: its name, or its number from 1.
    named : mapping of str to tuple of int, optional
        Names that faces of the solid already have, as indices; used as those in a file are.

    Returns
    -------
    Body
        With every face named that was named here or in the file.

    Raises
    ------
    SetupError
        There is not exactly one solid, or a reference finds no face.
    """
    file = _file_of(name, solid)
    drawn, in_file, source = _drawn(name, file, which)
    # References may be faces of the solid as drawn; indices hold for the recognised one too.
    stated = _face_names(name, drawn, named or in_file, faces or {})
    found = recognised(drawn)
    adopted, unclear = _adopted(found, named or in_file, stated)
    made = Body(
        name=name,
        solid=found,
        at=_location_from(at),
        role=role,
        faces=stated | adopted,
        unclear=unclear,
        finish=_by_face(finish),
        tolerance_mm=_by_face(tolerance_mm),
        orientation_mm=_by_face(orientation_mm),
        no_function=frozenset(no_function),
        pole=pole,
        poles=tuple(poles),
        group=group,
        fastened=fastened,
        source=source,
        says_unit=not isinstance(file, PartFile) or file.says_unit,
    )
    if material is None:
        return made
    return replace(made, material=material, stated=made.stated | {"material"})


def equipment(
    kind: str, *, name: str, at: Place = None, fastened: bool = False, **params: catalogue.Value
) -> tuple[Body, ...]:
    """State a piece of the shop's equipment, which may be several bodies.

    Parameters
    ----------
    kind : str
        A name from the shop's catalogue, as `fixturecheck shop` lists it.
    name : str
        What it is called here; several bodies are called `<name>_<suffix>`.
    at : Location or sequence of float, optional
        Where it stands; see `place`.
    fastened : bool
        It is screwed or clamped where it stands.
    **params
        Sizes and options of that kind; a value left out takes the catalogue's own.

    Returns
    -------
    tuple of Body
        The first keeps the parameters that were left out, with their values, as `shop_sizes`.

    Raises
    ------
    SetupError
        The kind or a parameter is unknown, or a size makes no solid.
    """
    try:
        pieces = catalogue.make(kind, **params)
    except FixturecheckError as reason:
        raise SetupError(f"equipment {name!r}: {reason}") from reason
    where = _location_from(at)
    first, *others = (replace(_of_piece(piece, name, where), fastened=fastened) for piece in pieces)
    left = {key: value for key, value in catalogue.checked_params(kind, params).items() if key not in params}
    return (replace(first, shop_sizes=left), *others)


def _of_piece(piece: Piece, name: str, where: Location) -> Body:
    """Return a piece of equipment as a body; its poles stay in its own frame."""
    return Body(
        name=piece.body_name(name),
        solid=piece.solid,
        at=where,
        role=piece.role,
        material=piece.material,
        faces=dict(piece.faces),
        finish=dict(piece.finish),
        pole=piece.pole,
        inclines=piece.inclines,
        poles=tuple(_of_piece(p, name, translation()) for p in piece.poles),
        group=name,
    )


def _location_from(at: Place) -> Location:
    """Return a location from a location, a point or nothing."""
    if at is None:
        return translation()
    return place(at=at) if isinstance(at, Sequence) else at


def _find_faces(solid: Solid, named: Mapping[str, tuple[int, ...]], ref: object) -> tuple[int, ...]:
    """Find the faces that a reference means; `named` are the names the file gave.

    Raises
    ------
    SetupError
        No face is meant by it, or it cannot be understood.
    """
    if isinstance(ref, str) and ref.startswith(_STEP):
        wanted = ref.removeprefix(_STEP)
        if wanted not in named:
            raise SetupError(f"the file names no face {wanted!r}; {nearest(wanted, named)}")
        return named[wanted]
    if isinstance(ref, str):
        return by_selector(solid, ref)
    if isinstance(ref, list | tuple) and ref and all(isinstance(v, int | float) for v in ref):
        return by_point(solid, point(ref, "a point"))
    if isinstance(ref, list | tuple):
        return tuple(sorted({i for one in ref for i in _find_faces(solid, named, one)}))
    return by_shape(solid, ref)


def _by_face(value: T | Mapping[str, T] | None) -> dict[str, T]:
    """Return a mapping by face; one value for all faces is that of the rest."""
    if isinstance(value, Mapping):
        return dict(value)
    return {} if value is None else {"*": value}


def _file_of(name: str, solid: object) -> object:
    """Return the file that a path names, read; anything else as it is."""
    if not isinstance(solid, str | Path):
        return solid
    try:
        return read(Path(solid))
    except SetupError as reason:
        raise SetupError(f"body {name!r}: {reason}") from reason


def _drawn(
    name: str, solid: object, which: str | int | None
) -> tuple[Solid, Mapping[str, tuple[int, ...]], Source | None]:
    """Return the solid, its names from the file, and the file if it came from one."""
    try:
        if isinstance(solid, PartFile):
            return _imported(solid, which)
        return one_solid(solid), {}, None
    except SetupError as reason:
        raise SetupError(f"body {name!r}: {reason}") from reason


def _imported(
    file: PartFile, which: str | int | None
) -> tuple[Solid, Mapping[str, tuple[int, ...]], Source | None]:
    """Return one solid of a file that was read, its face names, and where it came from."""
    one: Imported = file.pick(which)
    # A copy, so that two bodies of one file do not share faces: a name given to one is not the other's.
    return copied(one.solid), one.faces, Source(path=str(file.path), sha256=file.sha256)


def _face_names(
    name: str, solid: Solid, named: Mapping[str, tuple[int, ...]], refs: Mapping[str, object]
) -> dict[str, tuple[int, ...]]:
    """Return the faces that the set-up names."""
    faces: dict[str, tuple[int, ...]] = {}
    for face, ref in refs.items():
        try:
            faces[face] = _find_faces(solid, named, ref)
        except SetupError as reason:
            raise SetupError(f"body {name!r}, face {face!r}: {reason}") from reason
    return faces


def _adopted(
    solid: Solid, named: Mapping[str, tuple[int, ...]], taken: Mapping[str, tuple[int, ...]]
) -> tuple[dict[str, tuple[int, ...]], dict[str, tuple[str, ...]]]:
    """Return the names of the file for faces that the set-up does not name, and the names that are unclear.

    A name that is allowed as it stands wins over one that only becomes the same when its characters are
    replaced; that one is still reached by its own name in the file. Names that are alike only when cleaned,
    and names like `face_3` on another face than the third by place, are taken for no face.
    """
    used = {i for indices in taken.values() for i in indices}
    groups: dict[str, list[str]] = {}
    for raw, indices in named.items():
        if plain(raw) and plain(raw) not in taken and not used.issuperset(indices):
            groups.setdefault(plain(raw), []).append(raw)
    faces: dict[str, tuple[int, ...]] = {}
    unclear: dict[str, tuple[str, ...]] = {}
    for face, raws in groups.items():
        exact = [face] if face in raws else raws
        free = tuple(i for i in named[exact[0]] if i not in used)
        if BY_PLACE.fullmatch(face):
            if free != _by_number(solid, face):
                unclear[face] = tuple(raws)
        elif len(exact) > 1:
            unclear[face] = tuple(raws)
        else:
            faces[face] = free
    return faces, unclear


def _by_number(solid: Solid, face: str) -> tuple[int, ...]:
    """Return the face that a name like `face_3` means by its place; empty where the solid has fewer."""
    rank = int(face.removeprefix("face_"))
    return canonical_order(solid)[rank - 1 : rank] if rank else ()
