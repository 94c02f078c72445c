"""Every solid of what somebody drew, in CadQuery or in a library that wraps the same kernel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import cadquery as cq

from fixturecheck.errors import SetupError
from fixturecheck.kernel.place import taken_apart
from fixturecheck.kernel.script import nodes_of, shapes_in
from fixturecheck.kernel.shapes import Location, Solid
from fixturecheck.kernel.step import faces_outside


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
        solids = every_solid(thing)
    except SetupError as reason:
        message = f"{name!r} {reason}" if name else str(reason)
        raise SetupError(message) from reason
    for n, (solid, place) in enumerate(map(taken_apart, solids), start=1):
        yield DrawnSolid(
            name=name if len(solids) == 1 or not name else f"{name}_{n}",
            solid=solid,
            at=at * place,
            faces=faces if len(solids) == 1 else {},
        )


def every_solid(thing: object) -> list[Solid]:
    """Return all solids in what somebody drew, at least one.

    Parameters
    ----------
    thing : cadquery.Shape, cadquery.Workplane or object with `wrapped`
        As for `one_solid`.

    Raises
    ------
    SetupError
        There is none in it, or there are faces that bound none; the message says what there is.
    """
    shapes = shapes_in(thing)
    solids = [solid for shape in shapes for solid in shape.Solids()]
    if not solids:
        kinds = ", ".join(sorted({s.ShapeType().lower() for s in shapes})) or "nothing"
        message = f"holds no closed solid (in it: {kinds}); only solids touch and overlap"
        raise SetupError(message)
    sheets = sum(len(s.Faces()) for s in shapes) - sum(len(s.Faces()) for s in solids)
    if sheets:
        message = f"holds {faces_outside(sheets)}; only solids touch and overlap"
        raise SetupError(message)
    return solids
