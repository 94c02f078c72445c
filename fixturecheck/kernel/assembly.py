"""Walks a CadQuery assembly: what is in it, where each thing stands, and what its faces are called."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

import cadquery as cq

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Location, Solid
from fixturecheck.kernel.validity import one_solid

Assembly: TypeAlias = cq.Assembly


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
    """Say whether something is a CadQuery assembly."""
    return isinstance(thing, cq.Assembly)


def nodes_of(assembly: Assembly, key: str) -> Iterator[Node]:
    """Yield every node that holds a shape, parents before children, in the order they were added.

    Parameters
    ----------
    key : str
        The metadata entry that holds the facts.

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
            name=node.name,
            drawn=node.obj,
            at=at,
            facts=node.metadata.get(key),
            face_names=_face_names(node),
        )
    for child in node.children:
        yield from _walk(child, at, key)


def tagged(drawn: object, tag: str) -> Any:
    """Return the faces that a tag of the node's workplane holds.

    Raises
    ------
    SetupError
        The node holds a plain shape, or its workplane has no such tag.
    """
    if not isinstance(drawn, cq.Workplane):
        message = f"tag {tag!r}: only a workplane has tags; add the workplane, not its shape, to the assembly"
        raise SetupError(message)
    try:
        return drawn.faces(tag=tag)
    except ValueError as reason:
        message = f"tag {tag!r} is not on the workplane; set it with .tag({tag!r})"
        raise SetupError(message) from reason


def _face_names(node: Assembly) -> dict[str, tuple[int, ...]]:
    """Return the names that `addSubshape` gave to faces of the node's solid."""
    names = node._subshape_names  # noqa: SLF001 - CadQuery has no public way to list them
    if not names:
        return {}
    try:
        solid: Solid = one_solid(node.obj)
    except SetupError as reason:
        message = f"assembly node {node.name!r}: {reason}"
        raise SetupError(message) from reason
    groups: dict[str, list[int]] = {}
    for i, face in enumerate(faces_of(solid)):
        name = next((n for shape, n in names.items() if shape.isSame(face)), None)
        if name:
            groups.setdefault(name, []).append(i)
    return {name: tuple(groups[name]) for name in sorted(groups)}
