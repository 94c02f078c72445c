"""A set-up from a file, whichever way it is stated there: TOML with solids, a script, or an assembly."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from pathlib import Path, PurePath
from typing import Any

from fixturecheck.errors import Mistakes, Problem, SetupError
from fixturecheck.files import SETUP_SUFFIXES, no_setup
from fixturecheck.kernel.script import Assembly, Node, Ran, is_assembly, nodes_of, run, tagged
from fixturecheck.kernel.shapes import Location
from fixturecheck.kernel.step import PartFile, read
from fixturecheck.result import Source
from fixturecheck.setup.facts import BodyFacts, EquipmentFacts, PlaceFacts, body_facts
from fixturecheck.setup.gangs import StatedPlacing, placing_of_node, seat_table, spread_out
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.make import body, equipment, place
from fixturecheck.setup.model import Body, Setup, read_from
from fixturecheck.setup.outline import origins_in_script, origins_of_tables
from fixturecheck.setup.placed import placed_as_stated
from fixturecheck.setup.reader import KeyPath, Stated
from fixturecheck.setup.text import StatedSetup, read_setup_text, read_tables
from fixturecheck.shop.tables import among_ours
from fixturecheck.units import Writing, shown_in


def _build_setup(
    stated: StatedSetup,
    *,
    bodies: Iterable[Callable[[], Body]],
    sources: Callable[[Sequence[Body]], tuple[Source, ...]] = lambda _bodies: (),
) -> Setup:
    """Make a set-up of what its tables state.

    Parameters
    ----------
    bodies : iterable of callable
        Each makes one of the bodies that are no equipment.
    sources : callable, optional
        Lists the files that it was read from, given all bodies.

    Raises
    ------
    SetupError
        A solid cannot be read or made, or something stated does not fit it; with the place of each.
    """
    with among_ours(stated.own):
        return _made(stated, bodies, sources)


def _made(
    stated: StatedSetup,
    bodies: Iterable[Callable[[], Body]],
    sources: Callable[[Sequence[Body]], tuple[Source, ...]],
) -> Setup:
    """Make the set-up, the user's materials being known."""
    wrong = Mistakes()
    made = [one for piece in wrong.each(stated.equipment, _equipment) for one in piece]
    everything = (*made, *wrong.each(bodies, lambda make: make()))
    wrong.raise_any()
    rest = stated.rest
    write = Writing(units=shown_in(rest["units"], rest["small_lengths"]))
    everything = placed_as_stated(everything, rest["seats"], stated.placings, rest["tolerances"], write)
    try:
        return Setup(
            bodies=everything,
            sources=sources(everything),
            own=stated.own,
            origins=origins_of_tables(stated.facts),
            **rest,
        )
    except SetupError as reason:
        for line in reason.problems:
            wrong.add(f"{_where_stated(stated.facts, line)}: {line}")
        wrong.raise_any()
        raise


def body_of(facts: BodyFacts, drawn: object, at: Location, **more: Any) -> Body:
    """Make one body of its facts, its solid and its place.

    Parameters
    ----------
    facts : BodyFacts
        What is stated about it.
    drawn : object
        The solid, or the file that holds it.
    at : Location
        From its own frame to where it stands.
    **more
        What `fixturecheck.body` takes besides.

    Returns
    -------
    Body

    Raises
    ------
    SetupError
        The solid or a face is not found.
    """
    try:
        return body(facts.name, drawn, at=at, **facts.stated, **more)
    except SetupError as reason:
        facts.entry.several("", reason)


def _stated_place(place_stated: PlaceFacts) -> Location:
    """Return the stated place as a location of the kernel."""
    return place(at=place_stated.at, rotate=place_stated.rotate)


def _equipment(facts: EquipmentFacts) -> tuple[Body, ...]:
    """Make a piece of equipment."""
    try:
        return equipment(
            facts.kind,
            name=facts.name,
            at=_stated_place(facts.place),
            fastened=facts.fastened,
            **facts.params,
        )
    except SetupError as reason:
        facts.entry.several("", reason)


def _where_stated(facts: Stated, problem: str) -> str:
    """Say where what a problem is about stands; the file where that is not known."""
    kind, *names = problem.about if isinstance(problem, Problem) and problem.about else ("",)
    wanted = dict(zip(("body", "on") if kind == "seat" else ("name",), names, strict=False))
    entries: Any = facts.values.get(kind)
    if not isinstance(entries, list | tuple):
        return facts.where((kind, *names) if kind else facts.path)
    for n, entry in enumerate(entries):
        if all(entry.get(k) == v for k, v in wanted.items()):
            return facts.where((kind, n))
    return facts.where(facts.path)


def _load_toml(path: Path, overrides: Mapping[str, str], *, sources: Any) -> Setup:
    """Read a set-up from a TOML file.

    Parameters
    ----------
    overrides : mapping of str to str
        Values for dotted keys: `cut.floor.downfeed_mm`, `wheel.diameter_mm`, `seat.1.min_share`.
        Entries of a list go by their name, or by their number from 1.
    sources : callable
        Lists the files that it was read from, given the bodies and what other files were read.

    Raises
    ------
    SetupError
        The file cannot be read, does not parse, or states something wrong; with its line.
    """
    return setup_of_text(read_setup_text(path, overrides), path.parent, sources=sources)


InState = Callable[[Body, str], Body]
"""Given a body that is a job's part, finished, and `before` or `after`, returns it in that state."""


def setup_of_text(stated: StatedSetup, home: Path, *, sources: Any, in_state: InState | None = None) -> Setup:
    """Make a set-up of what a TOML file states.

    Parameters
    ----------
    stated : StatedSetup
        What it states.
    home : Path
        The folder that the files it names are looked for from.
    sources : callable
        Lists the files that it was read from, given the bodies and what other files were read.
    in_state : callable, optional
        Turns the part of a job into the state that its body asks for; None where there is no job.

    Returns
    -------
    Setup
        Validated, with what `sources` lists.

    Raises
    ------
    SetupError
        A solid cannot be read, or something stated does not fit it; with its line.
    """
    read_part = cache(read)
    bodies = [partial(_body, facts, home, read_part, in_state) for facts in stated.bodies]
    files = [] if stated.shop_file is None else [stated.shop_file]
    holding: Holding | None = stated.rest["holding"]
    if holding is not None and holding.calibrated is not None:
        files.append(Path(holding.calibrated.path))

    def listed(everything: Sequence[Body]) -> tuple[Source, ...]:
        return tuple(sources(everything, files))

    return _build_setup(stated, bodies=bodies, sources=listed)


def _body(
    facts: BodyFacts, home: Path, read_part: Callable[[Path], PartFile], in_state: InState | None
) -> Body:
    """Make one body whose solid is in a file of its own, which each call reads once for all bodies."""
    if facts.file is None or facts.place is None:
        facts.entry.fail(f"{facts.entry.what} lacks the key 'file'")
    try:
        part = read_part(home / facts.file)
    except SetupError as trouble:
        facts.entry.fail(f"body {facts.name!r}: {trouble}", "file")
    made = body_of(facts, part, _stated_place(facts.place), which=facts.solid)
    if facts.state is None:
        return made
    if in_state is None:
        reason = f"state of body {facts.name!r} is known in a job only; check the job that names this set-up"
        facts.entry.fail(reason, "state")
    return in_state(made, facts.state)


KEY = "fixturecheck"
"""The metadata entry that holds the facts."""


def setup_from_assembly(assembly: Assembly, *, facts: Mapping[str, Any] | None = None) -> Setup:
    """Build a set-up from a CadQuery assembly, as it stands now.

    Every node with a solid is a body of the node's name, standing where its own and its parents'
    locations put it; solve the assembly's constraints first. Under the key `fixturecheck` in its
    metadata a node states what a `[[body]]` of a TOML set-up may state: role, material, faces,
    finish, tolerance_mm, orientation_mm, no_function, pole, group, fastened; `{"skip": True}` leaves it
    out. With seats, along_mm and turn_deg it is placed by its seats, from how it is turned in the assembly.
    Faces that were named with `addSubshape` keep those names; a reference may also be `{"tag": NAME}`,
    a face, or a workplane with faces selected. The top node states the rest: the tables setup, machine,
    wheel, tolerances, severity, and lists of equipment, seat and cut. Should it hold a solid itself, the
    facts about that body stand under `body`.

    Parameters
    ----------
    assembly : cadquery.Assembly
        The top node.
    facts : mapping, optional
        Tables to use in place of those in the top node's metadata.

    Returns
    -------
    Setup
        Validated; it lists no files that it was read from.

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
    wrong = Mistakes()
    spread = spread_out(tables, wrong)
    nodes, placings = [], list(spread.placings)
    for node, entry in _bodies(assembly, tables.values):
        bare, placing = placing_of_node(entry, node.name, wrong)
        nodes.append((node, bare))
        placings += [placing] if placing is not None else []
    stated = read_tables(
        _with_seats(spread.facts, placings),
        name=assembly.name,
        bodies=lambda units: [partial(_body_facts, node, entry, units) for node, entry in nodes],
        wrong=wrong,
        as_stated=tables,
    )
    made = [
        partial(_body_of_node, node, facts) for (node, _), facts in zip(nodes, stated.bodies, strict=True)
    ]
    return _build_setup(replace(stated, placings=tuple(map(_apart, placings))), bodies=made)


def _with_seats(tables: Stated, placings: Iterable[StatedPlacing]) -> Stated:
    """Return the tables with the seats that stand with bodies of an assembly among their own."""
    seats = [
        seat_table(p.name, s)
        for p in placings
        if "kind" not in p.entry.values
        for s in p.only
        if not s.gap_mm
    ]
    if not seats:
        return tables
    return replace(tables, values={**tables.values, "seat": [*tables.values.get("seat", ()), *seats]})


def _apart(placing: StatedPlacing) -> StatedPlacing:
    """Return how a body is placed without the seats that are seats of the set-up as well."""
    if "kind" in placing.entry.values:
        return placing
    return replace(placing, only=tuple(s for s in placing.only if s.gap_mm))


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
            yield node, replace(entry, values={k: v for k, v in entry.values.items() if k != "skip"})


def _body_facts(node: Node, entry: Stated, units: str) -> BodyFacts:
    return body_facts(entry, units, name=node.name, tags=partial(tagged, node.drawn))


def _body_of_node(node: Node, facts: BodyFacts) -> Body:
    return body_of(facts, node.drawn, node.at, named=node.face_names)


def _facts(stated: object, name: str, what: str) -> Mapping[str, Any]:
    """Return what a node states, which must be something."""
    if isinstance(stated, Mapping):
        return stated
    raise SetupError(
        f"assembly node {name!r}: nothing is stated about {what}; "
        f"give it metadata={{{KEY!r}: {{...}}}}, with 'skip': True to leave it out"
    )


def _where(node: str, path: KeyPath) -> str:
    """Say where a key stands: the node, and the way down in its facts."""
    inside = "".join(f"[{part!r}]" for part in path)
    return f"assembly node {node!r}" + (f", {inside}" if inside else "")


_NO_OVERRIDES: Mapping[str, str] = {}


def load(path: str | Path, overrides: Mapping[str, str] = _NO_OVERRIDES) -> Setup:
    """Read a set-up from a script or a TOML file.

    Parameters
    ----------
    path : str or Path
        A `.py` script that leaves a set-up or an assembly in the variable `setup` or shows it with
        `show_object`, or a `.toml` file.
    overrides : mapping of str to str
        For a script, values of its parameters by name; for TOML, values by dotted key.

    Returns
    -------
    Setup
        With `sources`: the file and every file read on its behalf, as paths from its folder.

    Raises
    ------
    SetupError
        The file cannot be used; one line that says why and what to do.
    """
    file = Path(path)
    suffix = file.suffix.lower()
    if not file.is_file() or suffix not in SETUP_SUFFIXES:
        raise SetupError(no_setup(file))
    if suffix == ".toml":
        return _load_toml(file.absolute(), overrides, sources=partial(sources_of, file.absolute()))
    return setup_of_script(file.absolute(), run(file.absolute(), overrides))


def setup_of_script(file: Path, ran: Ran) -> Setup:
    """Return the set-up that a script left.

    Parameters
    ----------
    file : Path
        The script.
    ran : Ran
        What it left behind.

    Returns
    -------
    Setup
        With its sources and where things stand in the script.

    Raises
    ------
    SetupError
        It left none, or several.
    """
    candidates = [ran.variables["setup"]] if "setup" in ran.variables else list(ran.shown)
    found = [c for c in candidates if isinstance(c, Setup) or is_assembly(c)]
    if len(found) != 1:
        raise SetupError(
            f"{file.name} {_missing(candidates, found)}; assign one to the variable 'setup' or show_object it"
        )
    setup = found[0] if isinstance(found[0], Setup) else _from_assembly(file, found[0])
    home = file.parent.resolve()
    files = [(_from_home(path, home), path) for path in (file, *ran.modules)]
    sources = sources_of(file, setup.bodies, (*ran.modules, *ran.read))
    return read_from(setup, sources, origins_in_script(setup, files))


def _missing(candidates: list[Any], found: list[Any]) -> str:
    """Say what a script left instead of one set-up."""
    if found:
        return f"shows {len(found)} set-ups or assemblies"
    if candidates:
        return f"leaves an object of type {type(candidates[0]).__name__}, not a set-up or an assembly"
    return "leaves no set-up"


def _from_assembly(file: Path, assembly: Any) -> Setup:
    try:
        return setup_from_assembly(assembly)
    except SetupError as reason:
        raise SetupError(f"{file.name}: {reason}") from reason


def sources_of(file: Path, bodies: Iterable[Body], read: Iterable[Path]) -> tuple[Source, ...]:
    """List the set-up file, what a script imported and read, and the part files, each once.

    Parameters
    ----------
    file : Path
        The set-up file; paths are told from its folder.
    bodies : iterable of Body
        Bodies, of which some were read from files.
    read : iterable of Path
        Other files that were read.

    Returns
    -------
    tuple of Source
        The set-up file first.
    """
    home = file.parent.resolve()
    found = {file.name: _digest(file)}
    for path in read:
        found.setdefault(_from_home(path, home), _digest(path))
    for each in bodies:
        if each.source is not None:
            found.setdefault(_from_home(home / each.source.path, home), each.source.sha256)
    return tuple(Source(path=path, sha256=sha256) for path, sha256 in found.items())


def _from_home(path: Path, home: Path) -> str:
    """Write a path as seen from the set-up's folder, the same on every machine."""
    return PurePath(os.path.relpath(path.resolve(), home)).as_posix()


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
