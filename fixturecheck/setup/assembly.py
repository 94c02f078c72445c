"""Reads a set-up from a CadQuery assembly whose nodes carry the facts in their metadata."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.assembly import Assembly, Node, nodes_of, tagged
from fixturecheck.setup.build import BODY_KEYS, SETUP_TABLES, body_stated, build_setup
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.stated import Path, Stated, with_inches

KEY = "fixturecheck"
"""The metadata entry that holds the facts."""


def setup_from_assembly(assembly: Assembly, *, facts: Mapping[str, Any] | None = None) -> Setup:
    """Build a set-up from a CadQuery assembly, as it stands now.

    Every node with a solid is a body of the node's name, standing where its own and its parents'
    locations put it; solve the assembly's constraints first. Under the key `fixturecheck` in its
    metadata a node states what a `[[body]]` of a TOML set-up may state: role, material, faces,
    finish, tolerance_mm, orientation_mm, no_function, pole, group, fastened; `{"skip": True}` leaves it
    out. Faces that were named with `addSubshape` keep those names; a reference may also be `{"tag": NAME}`,
    a face, or a workplane with faces selected. The top node states the rest: the tables setup, machine,
    wheel, tolerances, severity, and lists of equipment, seat and cut. Should it hold a solid itself, the
    facts about that body stand under `body`.

    Parameters
    ----------
    assembly : cadquery.Assembly
        The top node.
    facts : mapping, optional
        Tables to use in place of those in the top node's metadata.

    Raises
    ------
    SetupError
        A node with a solid states nothing, or something stated is wrong; the message names the node.
    """
    whole = _facts(assembly.metadata.get(KEY), assembly.name, "the top node")
    tables = Stated(
        what="the top node's facts",
        values={**whole, **(facts or {})},
        path=(),
        where=partial(_where, assembly.name),
    )
    tables.only((*SETUP_TABLES, "body"))

    def bodies(units: str) -> Iterable[Body]:
        for node in nodes_of(assembly, KEY):
            top = node.drawn is assembly.obj and node.name == assembly.name
            stated = tables.values.get("body") if top else node.facts
            entry = Stated(
                what=f"body {node.name!r}",
                values=_facts(stated, node.name, "its solid"),
                path=(),
                where=partial(_where, node.name),
            )
            entry.only([*with_inches(BODY_KEYS), "skip"])
            if not entry.get("skip", "flag", default=False):
                yield _body(node, entry, units)

    return build_setup(tables, bodies=bodies, name=assembly.name)


def _body(node: Node, entry: Stated, units: str) -> Body:
    return body_stated(
        entry,
        units,
        name=node.name,
        drawn=node.drawn,
        at=node.at,
        tags=partial(tagged, node.drawn),
        besides=node.face_names,
    )


def _facts(stated: object, name: str, what: str) -> Mapping[str, Any]:
    """Return what a node states, which must be something."""
    if isinstance(stated, Mapping):
        return stated
    message = (
        f"assembly node {name!r}: nothing is stated about {what}; "
        f"give it metadata={{{KEY!r}: {{...}}}}, with 'skip': True to leave it out"
    )
    raise SetupError(message)


def _where(node: str, path: Path) -> str:
    """Say where a key stands: the node, and the way down in its facts."""
    inside = "".join(f"[{part!r}]" for part in path)
    return f"assembly node {node!r}" + (f", {inside}" if inside else "")
