"""A job from a file: TOML with solids, or a script that leaves one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.place import translation
from fixturecheck.kernel.script import more_of, run
from fixturecheck.kernel.shapes import Solid
from fixturecheck.process.model import Blank, Job, PartFunction, PartState, SetupMaker
from fixturecheck.process.records import Operation, refuse_bad_order
from fixturecheck.process.setups import by_function, in_state, refuse_missing
from fixturecheck.process.text import StatedJob, is_job, read_job_text, setup_text
from fixturecheck.setup.dials import Dials
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.load import body_of, load, setup_of_script, setup_of_text, sources_of
from fixturecheck.setup.make import body
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.outline import operations_in_script
from fixturecheck.setup.records import Cut
from fixturecheck.setup.text import StatedSetup
from fixturecheck.setup.tools import Drilling


def load_any(path: str | Path, overrides: Mapping[str, str]) -> Setup | Job:
    """Read a set-up or a whole job from a script or a TOML file.

    Parameters
    ----------
    path : str or Path
        A `.py` script that leaves a `Job` in the variable `job`, a `.toml` file with a table `[job]`, or any
        file that `load` takes.
    overrides : mapping of str to str
        For a script, values of its parameters by name; for TOML, values by dotted key.

    Returns
    -------
    Setup or Job

    Raises
    ------
    SetupError
        The file cannot be used; a line for each mistake.
    """
    file = Path(path)
    if file.is_file() and file.suffix.lower() == ".toml" and is_job(file):
        return load_job(file, overrides)
    if file.is_file() and file.suffix.lower() == ".py":
        ran = run(file.absolute(), overrides)
        job = ran.variables.get("job")
        if isinstance(job, Job):
            sources = sources_of(file.absolute(), [job.part], (*ran.modules, *ran.read))
            makers = {number: _of_script(file.absolute(), make) for number, make in job.makers.items()}
            read = [(s.path, file.absolute().parent / s.path) for s in sources]
            where = operations_in_script((called, path) for called, path in read if path.suffix == ".py")
            return replace(job, sources=sources, makers=makers, where=where)
        return setup_of_script(file.absolute(), ran)
    return load(file, overrides)


def _of_script(path: Path, maker: SetupMaker) -> SetupMaker:
    """Return what makes a set-up as its script runs: in its folder, and blamed by its lines."""

    def make(part: Body, before: PartState, after: PartState) -> Setup:
        with more_of(path):
            return maker(part, before, after)

    return make


def load_job(path: Path, overrides: Mapping[str, str]) -> Job:
    """Read a job from a TOML file.

    Parameters
    ----------
    path : Path
        A TOML file with a table `[job]`.
    overrides : mapping of str to str
        Values by dotted key.

    Returns
    -------
    Job

    Raises
    ------
    SetupError
        It cannot be read or states something wrong; a line for each mistake.
    """
    stated = read_job_text(path.absolute(), overrides)
    part = _part(stated)
    blank = _blank(stated)
    wrong = Mistakes()
    _note_strange_faces(stated, part, blank, wrong)
    solids = {
        o.number: solid
        for o in stated.operations
        if o.solid_before is not None and (solid := wrong.or_else(partial(_stated_solid, stated, o), None))
    }
    wrong.raise_any()
    return Job(
        name=stated.head.name or stated.path.stem,
        part=part,
        blank=blank,
        operations=stated.operations,
        makers={o.number: _maker(stated, o) for o in stated.operations if o.setup is not None},
        stated_solids=solids,
        count=stated.head.count,
        units=stated.head.units,
        sources=sources_of(stated.path, [part], _files_of(stated)),
        where=_where_of(stated),
    )


def _files_of(stated: StatedJob) -> Iterator[Path]:
    """Yield the files that a job is read from besides its own and the part's, as far as they are there."""
    home = stated.path.parent
    files = [stated.blank.file if stated.blank is not None else None]
    for operation in stated.operations:
        files += [operation.solid_before, operation.setup]
        if operation.setup is not None:
            inside = Path(operation.setup).parent
            bodies = setup_text(stated, operation).bodies
            files += [str(inside / body.file) for body in bodies if body.file is not None and not body.state]
    for file in files:
        if file is not None and (home / file).is_file():
            yield home / file


def _where_of(stated: StatedJob) -> dict[str, str]:
    """Return where the job, the part, the blank, each operation and each key of one stand."""
    tables = {"job": stated.facts.table("job"), "part": stated.part.entry}
    if stated.blank_facts is not None:
        tables["blank"] = stated.blank_facts.entry
    found = {name: entry.where(entry.path) for name, entry in tables.items()}
    for row in stated.facts.tables("operation"):
        number = row.values["number"]
        found[str(number)] = row.where((*row.path, "number"))
        found |= {f"{number}.{key}": row.where((*row.path, key)) for key in row.values}
    return found


def job_of(
    name: str,
    part: Body,
    operations: tuple[Operation, ...],
    *,
    setups: Mapping[int, PartFunction] | None = None,
    blank: Solid | Blank | None = None,
    solids_before: Mapping[int, Solid] | None = None,
    count: int = 1,
    units: str = "mm",
) -> Job:
    """State a job in a script.

    Parameters
    ----------
    name : str
        What the job is called.
    part : Body
        The finished part.
    operations : tuple of Operation
        In any order.
    setups : mapping of int to callable
        By the operation's number, a function of the part before and after it that returns its set-up.
    blank : Solid or Blank, optional
        What it is made from, in the part's frame.
    solids_before : mapping of int to Solid
        By the operation's number, the part before it, where that cannot be worked out.
    count : int
        How many parts are made.
    units : str
        `mm` or `inch`: what reports show.

    Returns
    -------
    Job

    Raises
    ------
    SetupError
        The operations cannot be done as stated, or name faces that are not there.
    """
    refuse_bad_order(operations, {})
    ordered = tuple(sorted(operations, key=lambda o: o.number))
    wrong = Mistakes()
    made = blank if isinstance(blank, Blank) or blank is None else Blank(solid=blank)
    for operation in ordered:
        for _, face in _strange_faces(operation, part, made):
            wrong.add(f"operation {operation.title!r}: the part has no face {face!r}")
    wrong.raise_any()
    return Job(
        name=name,
        part=part,
        blank=made,
        operations=ordered,
        makers={number: by_function(function) for number, function in (setups or {}).items()},
        stated_solids=dict(solids_before or {}),
        count=count,
        units=units,
    )


def _strange_faces(operation: Operation, part: Body, blank: Blank | None) -> list[tuple[str, str]]:
    """Return the faces that an operation names and that are not there, each with the key that names it.

    It makes and stones faces of the finished part; it may measure a face of the blank, or from one.
    """
    there = {} if blank is None else blank.faces
    asked = [("makes", name) for name in operation.makes]
    asked += [
        (key, n) for key in ("measured_from", "measures") for n in getattr(operation, key) if n not in there
    ]
    asked += [("stones", name) for pair in operation.stones for name in pair]
    return [(key, name) for key, name in dict.fromkeys(asked) if not part.face_indices(name)]


def _note_strange_faces(job: StatedJob, part: Body, blank: Blank | None, wrong: Mistakes) -> None:
    """Note faces that operations name and that the part does not have."""
    known = ", ".join(sorted(part.faces)) or "none by name"
    for operation in job.operations:
        for key, name in _strange_faces(operation, part, blank):
            where = job.where(operation, key)
            wrong.add(f"{where}: the part has no face {name!r}; it has {known}")


def _part(stated: StatedJob) -> Body:
    """Return the finished part with its names."""
    facts = stated.part
    return body_of(facts, stated.path.parent / str(facts.file), translation(), which=facts.solid)


def _blank(job: StatedJob) -> Blank | None:
    """Return the blank with its names."""
    stated = job.blank
    if stated is None or job.blank_facts is None:
        return None
    entry = job.blank_facts.entry
    try:
        if stated.file is not None:
            drawn: object = job.path.parent / stated.file
        else:
            low, size = stated.low_mm, stated.size_mm
            drawn = box((low[0], low[1], low[2]), (low[0] + size[0], low[1] + size[1], low[2] + size[2]))
        made = body("blank", drawn, faces=job.blank_facts.stated.get("faces", {}))
    except SetupError as reason:
        entry.several("", reason)
    return Blank(solid=made.solid, faces=made.faces)


def _stated_solid(stated: StatedJob, operation: Operation) -> Solid:
    """Return the solid that a file states for the part before an operation."""
    try:
        return body(stated.part.name, stated.path.parent / str(operation.solid_before)).solid
    except SetupError as reason:
        raise SetupError(f"{stated.where(operation, 'solid_before')}: {reason}") from reason


def _maker(job: StatedJob, operation: Operation) -> SetupMaker:
    """Return what makes the set-up of an operation."""
    path = job.path.parent / str(operation.setup)

    def make(_part: Body, before: PartState, after: PartState) -> Setup:
        stated = setup_text(job, operation)
        states = {"before": before, "after": after}
        parts = {facts.name: states[facts.state] for facts in stated.bodies if facts.state is not None}
        seats = _seats_used(stated)
        refuse_missing(seats, parts)
        used = {ref.face for ref in seats if ref.body in parts} | _cut_faces(stated)
        return setup_of_text(
            stated,
            path.parent,
            sources=lambda bodies, files: sources_of(path, bodies, files),
            in_state=lambda finished, state: in_state(finished, states[state], used),
        )

    return make


def _seats_used(stated: StatedSetup) -> list[FaceRef]:
    """Return the faces that a set-up seats by, and those that only say where something stands."""
    used = [ref for seat in stated.rest["seats"] for ref in (seat.own, seat.other)]
    return used + [
        FaceRef.of(placing.name, seat.face) for placing in stated.placings for seat in placing.only
    ]


def _cut_faces(stated: StatedSetup) -> set[str]:
    """Return the faces that a set-up cuts, drills, touches off on or clamps."""
    cuts: tuple[Cut, ...] = stated.rest["cuts"]
    drills: tuple[Drilling, ...] = stated.rest["drills"]
    dials: Dials | None = stated.rest["dials"]
    found = {face for cut in cuts for face in (cut.floor, cut.wall) if face}
    found |= {drill.hole for drill in drills}
    found |= {face for run in stated.rest["end_mills"] for face in run.makes}
    if dials is not None:
        touched = (dials.touch_top, dials.touch_side, *dials.may_mark)
        found |= {FaceRef(text).face for text in touched if text is not None}
    holding: Holding | None = stated.rest["holding"]
    if holding is None:
        return found
    return found | {mill.face for mill in holding.milling} | {c.face for c in holding.clamps if c.face}
