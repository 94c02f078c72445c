"""Reads a set-up from a CadQuery assembly whose nodes carry the facts in their metadata."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.assembly import Assembly, Node, nodes_of, tagged
from fixturecheck.setup.build import body_of, build_setup
from fixturecheck.setup.facts import BodyFacts, body_facts
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.stated import Path, Stated
from fixturecheck.setup.tables import ALL
from fixturecheck.setup.told import told_in

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
    nodes = list(_bodies(assembly, tables.values))

    def bodies(units: str) -> Sequence[partial[BodyFacts]]:
        return [partial(_body_facts, node, entry, units) for node, entry in nodes]

    told = told_in(tables, known=ALL, name=assembly.name, bodies=bodies)
    made = [partial(_body, node, facts) for (node, _), facts in zip(nodes, told.bodies, strict=True)]
    return build_setup(told, bodies=made)


def _bodies(assembly: Assembly, whole: Mapping[str, Any]) -> Iterator[tuple[Node, Stated]]:
    """Yield each node that is a body, with what it states."""
    for node in nodes_of(assembly, KEY):
        top = node.drawn is assembly.obj and node.name == assembly.name
        entry = Stated(
            what=f"body {node.name!r}",
            values=_facts(whole.get("body") if top else node.facts, node.name, "its solid"),
            path=(),
            where=partial(_where, node.name),
        )
        if not entry.get("skip", "flag", default=False):
            yield node, entry


def _body_facts(node: Node, entry: Stated, units: str) -> BodyFacts:
    return body_facts(entry, units, name=node.name, besides=("skip",), tags=partial(tagged, node.drawn))


def _body(node: Node, facts: BodyFacts) -> Body:
    return body_of(facts, node.drawn, node.at, named=node.face_names)


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
